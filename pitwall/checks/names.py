"""Names in a plan that must exist elsewhere: session, car, driver, tyre sets, switches and their positions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from difflib import get_close_matches

from pitwall.checks.around import Around, meant, near_only
from pitwall.checks.codes import finding
from pitwall.errors import FilePath, Finding
from pitwall.model.car import Car, position_text, same_position
from pitwall.model.plan import Plan, Scalar


def check_head(plan: Plan, around: Around) -> Iterator[Finding]:
    """Session, car and driver of the plan."""
    if around.regulations is not None and around.regulations.window(plan.session) is None:
        known = [window.session for window in around.regulations.sessions]
        yield finding("PW107", path=("session",), found=f"unknown session {plan.session!r}",
                      expected=f"a session of the regulations ({', '.join(known)})",
                      suggestion=near_only(plan.session, known))
    if around.cars is not None and plan.car not in around.cars:
        yield finding("PW106", path=("car",), found=f"unknown car {plan.car!r}", expected="a car of the event file",
                      suggestion=meant(plan.car, around.cars))
    if around.drivers is not None and plan.driver not in around.drivers:
        yield finding("PW105", path=("driver",), found=f"unknown driver {plan.driver!r}",
                      expected="a driver of the event file", suggestion=meant(plan.driver, around.drivers))


def check_tyres(plan: Plan, around: Around) -> Iterator[Finding]:
    """With ``tyre_sets`` given, every set in use is one of them."""
    if not plan.tyre_sets:
        return
    used: list[tuple[FilePath, str | None]] = [(("starts_with", "tyres"), plan.starts_with.tyres)]
    used += [(("runs", index, "tyres"), run.tyres) for index, run in enumerate(plan.runs)]
    for path, label in used:
        if label is not None and label not in plan.tyre_sets:
            yield finding("PW108", path=path, found=f"unknown tyre set {label!r}", expected="one of tyre_sets",
                          suggestion=meant(label, plan.tyre_sets))


COMPOUNDS = ("hard", "medium", "soft", "intermediate", "wet")
"""The usual words for compounds (common practice, no source); a plan may have others."""

MISSPELT = 0.75


def check_compounds(plan: Plan, around: Around) -> Iterator[Finding]:
    """A compound that nothing else is called, but nearly like the usual words or like that of several other sets."""
    said = [tyres.compound.strip().lower() for tyres in plan.tyre_sets.values()]
    usual = [word for word in dict.fromkeys(said) if said.count(word) > 1 and word.isalpha()]
    for (label, tyres), word in zip(plan.tyre_sets.items(), said, strict=True):
        if word in COMPOUNDS or word in usual:
            continue
        near = get_close_matches(word, [*COMPOUNDS, *usual], n=1, cutoff=MISSPELT)
        if near:
            yield finding("PW115", path=("tyre_sets", label, "compound"), found=f"compound {tyres.compound!r}",
                          expected="one of the usual words", suggestion=f"did you mean {near[0]!r}?")


def check_run_switches(plan: Plan, around: Around) -> Iterator[Finding]:
    """The switches a session or a run starts with."""
    if around.car is None:
        return
    if isinstance(plan.starts_with.switches, dict):
        yield from switch_positions(plan.starts_with.switches, ("starts_with", "switches"), around.car, around.car_file)
    for index, run in enumerate(plan.runs):
        yield from switch_positions(run.switches, ("runs", index, "switches"), around.car, around.car_file)


def switch_positions(wanted: Mapping[str, Scalar], path: FilePath, car: Car, car_file: str) -> Iterator[Finding]:
    """Unknown switches, and positions that a switch does not have, in a mapping of switch to position."""
    for name, position in wanted.items():
        here = (*path, name)
        switch = car.switch(name)
        if switch is None:
            yield unknown_switch(name, here, car, car_file)
        elif not switch.can_be_set(position):
            yield bad_position(name, position, here, car)
        elif switch.kind == "momentary" and not same_position(position, switch.default):
            yield finding("PW102", path=here, found=f"position {position!r} of {name!r}, which springs back",
                          expected=f"{position_text(switch.default)}, the only position in which it stays")


def unknown_switch(name: str, path: FilePath, car: Car, car_file: str) -> Finding:
    """The finding for a switch that the car does not have."""
    return finding("PW101", path=path, found=f"unknown switch {name!r}", expected=f"a switch of {car_file}",
                   suggestion=meant(name, [switch.switch for switch in car.switches]))


def bad_position(name: str, position: Scalar, path: FilePath, car: Car) -> Finding:
    """The finding for a position that the switch does not have."""
    switch = car.switch(name)
    assert switch is not None
    near = switch.nearest_steps(position)
    if isinstance(position, str):
        near = near or near_only(position, [str(one) for one in switch.positions])
    return finding("PW102", path=path, found=f"position {position!r} of {name!r}", expected=switch.positions_text(),
                   suggestion=near)
