"""Timed laps that began with a switch that they must not have.

*Wrong* is what telemetry showed, *unverified* is what nothing showed to be in place; the two are kept apart. Of a lap
that the plan has as a timed one they are the alerts that the engine raised: what was told at the wall is what the lap
table says. A lap that was to be an in-lap or a cool-down lap, and was driven as a timed one, may have had none: while
it was driven the plan could still come true. There the positions that telemetry showed at the line say it too.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitwall.app.debrief_watch import CarWatch, Flag, LapStart, Retold
from pitwall.debrief.notes import Notes, SwitchNotes
from pitwall.engine.laps import LapRecord
from pitwall.engine.switch_watch import SETTLES_S
from pitwall.engine.team import TeamCar
from pitwall.model.car import Switch, position_text

BY_FLAG_S = 0.5
"""An alert that ends so soon after a change of the session's status ended by it."""


def switches_off(
    notes: Notes, flags: Sequence[Flag], car: TeamCar, watch: CarWatch, lap: LapRecord, start: LapStart | None,
    retold: Sequence[Retold] = (),
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """``(wrong, unverified)``: the words of the alerts about switches that were out of place as this lap began.

    Empty for a lap that is not timed, and for one whose beginning nobody followed.
    """
    if lap.kind != "timed" or start is None:
        return (), ()
    found: dict[str, list[str]] = {"switch_wrong": [], "switch_unverified": []}
    # That another lap than the planned one is a timed lap may show only by its pace.
    known_by = lap.end_t or float("inf")
    if _planned(car, watch, lap):
        # Under a status that was taken back later, another lap was begun: that it was this one was known only then.
        known_by = SETTLES_S + max([start.heard_s, *(
            one.t for one in retold if one.since_s <= start.heard_s < one.t < known_by)])
    for kind, texts in found.items():
        for switch in car.switches.car.switches:
            moves = [one.t for one in watch.moves if one.switch == switch.switch]
            alerts = [one.switches[switch.switch] for one in notes.alerts if switch.switch in one.switches
                      and (one.raised.kind, one.raised.car) == (kind, car.car)]
            told = [one for one in alerts if _of_the_start(one, start, moves, known_by, flags)]
            texts += [one.words for one in told]
            if kind == "switch_wrong" and not told:
                texts += _at_the_line(car, watch, start, switch)
    return tuple(dict.fromkeys(found["switch_wrong"])), tuple(dict.fromkeys(found["switch_unverified"]))


def _at_the_line(car: TeamCar, watch: CarWatch, start: LapStart, switch: Switch) -> list[str]:
    """Where this switch stood at the line of a lap that was driven timed instead of as planned; nothing where it was in
    place, or where telemetry did not speak of it yet."""
    name, choices = switch.switch, start.wanted_timed
    if not choices or name not in car.switches.watched(choices[0]):
        return []
    moves = [one.position for one in watch.moves if one.switch == name and one.t <= start.start_t]
    if not moves or watch.measured_from.get(name, float("inf")) > start.start_t:
        return []
    stood = moves[-1]  # also where it was only taken to stand: telemetry has spoken since, and showed no other place
    if not all(car.switches.changes({name: stood}, {name: wanted[name]}, free=True) for wanted in choices):
        return []
    needs = position_text(choices[0][name])
    return [f"{switch.word} stood at {position_text(stood)}, driven as a timed lap it needed {needs}"]


def _planned(car: TeamCar, watch: CarWatch, lap: LapRecord) -> bool:
    """Guard: the plan had a timed lap there."""
    name, leg = watch.legs.get(lap.number, ("", 0))
    run = car.progress.find(name)
    return run is None or leg >= len(run.laps) or run.laps[leg] == "timed"


def _of_the_start(
    alert: SwitchNotes, start: LapStart, moves: list[float], known_by: float, flags: Sequence[Flag]
) -> bool:
    """Guard: it stood after the line was heard of, or came so soon after it that it was about the lap's beginning.

    A switch that moved between the line and the alert was in place as the lap began. An alert that ended so soon, and
    no move ended it, was taken back: what became of the calls before the line showed another position to be wanted, or
    the driver's word that it was in place. Not so where a flag ended it: from then on the lap was to be another one.
    """
    settled, raised, over = start.heard_s + SETTLES_S, alert.from_s, alert.over_s
    if raised > known_by or (over is not None and over <= start.heard_s):
        return False
    if any(start.start_t < moved <= raised for moved in moves):
        return False
    if over is None or over > settled or any(start.start_t < moved <= over for moved in moves):
        return True
    return any(start.heard_s < flag.t <= over <= flag.t + BY_FLAG_S for flag in flags)
