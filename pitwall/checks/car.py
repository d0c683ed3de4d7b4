"""The switches of a car file against themselves: two defaults for one case, and keys of which their kind has no use."""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.codes import finding
from pitwall.errors import Finding
from pitwall.model.car import Car, Switch, SwitchDefault, SwitchKind, position_text, same_position

OF_A_KIND: dict[str, SwitchKind] = {"low": "bias", "high": "bias", "step": "bias", "home": "paged", "sets": "preset"}
"""Keys that only one kind of switch has a use for."""


def check_car_switches(car: Car) -> Iterator[Finding]:
    """Everything of the switches that can be read and contradicts itself; paths are those of the car file."""
    for index, switch in enumerate(car.switches):
        yield from _defaults(index, switch)
        for key, kind in OF_A_KIND.items():
            if switch.kind != kind and getattr(switch, key) not in (None, {}):
                yield finding("PW154", path=("switches", index, key), expected=f"no {key!r}, or 'kind: {kind}'",
                              found=f"{key!r} of {switch.switch!r}, which is of the kind {switch.kind!r}")
        if switch.kind == "bias" and switch.positions:
            yield finding("PW154", path=("switches", index, "positions"), expected="no 'positions'",
                          found=f"'positions' of {switch.switch!r}, which stands on its steps")


def _defaults(index: int, switch: Switch) -> Iterator[Finding]:
    """The first of two entries for one case would win without a word, and one for every case over ``default``."""
    first: dict[tuple[object, ...], SwitchDefault] = {}
    for number, entry in enumerate(switch.defaults):
        case = (entry.lap, entry.driver, entry.wet)
        other = first.setdefault(case, entry)
        taken = switch.default if not any(one is not None for one in case) else other.position
        if same_position(entry.position, taken):
            continue
        yield finding("PW153", path=("switches", index, "defaults", number, "position"),
                      found=f"{position_text(entry.position)} for {_words(entry)}, where {switch.switch!r} has "
                            f"{position_text(taken)} already", expected="one position for one case")


def _words(entry: SwitchDefault) -> str:
    told = [f"{entry.lap} laps" if entry.lap is not None else "", entry.driver or "",
            "" if entry.wet is None else "the wet" if entry.wet else "the dry"]
    return " and ".join(word for word in told if word) or "every lap"
