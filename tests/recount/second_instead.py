"""Laps that were to be in-laps or cool-down laps and were driven timed: how many beyond the run, and with which
switches they began, reckoned again from the kinds of the laps, the plan, the car file and the reports of telemetry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tests.recount.sessions import Row, Told

if TYPE_CHECKING:
    from tests.recount.second_laps import Lap


def planned_kinds(laps: list[Lap]) -> dict[int, str]:
    """By lap number what the plan had there; a lap of another kind leaves what is next as it is, and a timed lap in
    place of a cool-down lap counts as the timed lap behind that."""
    found, at = {}, 0
    for lap in laps:
        whole = lap.planned["laps"]
        at = 0 if lap.first else at
        found[lap.number] = whole[at]
        if whole[at] in ("out", lap.kind) and whole[at] != "in":
            at += 1
        elif (whole[at], lap.kind) == ("cool", "timed"):
            at += 2 if whole[at + 1] == "timed" else 1
    return found


def beyond(laps: list[Lap], run: str) -> int:
    """Laps of a run that were driven on from where the car was to come in: of out-and-in, the first, too."""
    planned = planned_kinds(laps)
    return sum(lap.run == run and not lap.home and (planned[lap.number] == "in" or lap.planned["laps"] == ["out", "in"])
               for lap in laps)


def wrong_at_the_line(told: Told, car: str, lap: Lap, planned: str, switch: Row) -> str | None:
    """What telemetry had shown of a switch as such a lap began, in the words of the lap table; None where it stood as a
    timed lap wants it."""
    watched = told.setup["cars"][car]["forbidden_on_timed"]
    reports = [one for one in told.facts("switch_reported", car) if one["switch"] == switch["switch"]]
    shown = [one["position"] for one in sorted(reports, key=lambda one: one["t"]) if one["t"] <= lap.begin]
    if planned not in ("in", "cool") or not shown or (watched and switch["switch"] not in watched):
        return None
    wanted = lap.planned["switches"].get(switch["switch"], default_of(told, car, switch))
    if _near(shown[-1], wanted, switch) or (planned == "cool" and _asked_behind(lap, switch["switch"])):
        return None
    stood = f"{switch['word']} stood at {_shown(shown[-1])}"
    return f"{stood}, driven as a timed lap it needed {_shown(wanted)}"


def default_of(told: Told, car: str, switch: Row) -> Any:
    """Where the car file wants a switch on a timed lap of the plan's first driver."""
    driver, wet = told.plans[car].get("driver", told.setup["plans"][car]["driver"]), told.setup["wet"]
    real = {"lap": "timed", "driver": driver, "wet": wet}
    fits = [one for one in switch["defaults"] if all(one[key] in (None, value) for key, value in real.items())]
    best = max(fits, key=lambda one: sum(one[key] is not None for key in real), default=None)
    return switch["default"] if best is None else best["position"]


def _asked_behind(lap: Lap, switch: str) -> bool:
    """Does an item of this run ask for the switch? It may have been told already for the lap behind a cool-down lap,
    and no lap is wrong for that."""
    return any(switch in str(item["arguments"]) for item in lap.planned["items"])


def _near(stood: Any, wanted: Any, switch: Row) -> bool:
    if switch["kind"] == "bias":
        return abs(float(stood) - float(wanted)) <= (switch["free_range"] or 0.0) + 1e-9
    return switch["kind"] in ("momentary", "stationary") or str(stood) == str(wanted)


def _shown(position: Any) -> str:
    return f"{position:g}" if isinstance(position, float) else str(position)
