"""A lap that the plan has as in-lap or cool-down lap, and that is driven as a timed one: nobody told the driver, or he
did not hear it. Its switches matter like those of any timed lap.

At the line nobody knows it of a lap that is to be an in-lap: every in-lap begins like a timed one, and so does a
cool-down lap whose call comes late. It shows

* at the line, where the car was to be in the pits already, drove the lap before at the pace, and nobody told it to come
  in: it goes on as it did;
* at a loop, by its pace.

Told to box on this lap, the driver comes in, however quick the car still is.
"""

from __future__ import annotations

from pitwall.engine.call import Call
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.engine.run_state import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.car import Position
from pitwall.model.plan import LapKind

PLANNED: tuple[LapKind, ...] = ("in", "cool")


def timed_instead(car: TeamCar) -> bool:
    """Guard: the running lap is no timed one by the plan, and all that was seen says that it is driven as one."""
    lap = car.track.lap  # asked with every fact: what costs least, and most often says no, comes first
    if lap is None or lap.start_phase > 0 or lap.disturbed or lap.from_pits or not car.track.on_track:
        return False
    run = car.progress.current
    if run is None or run.pointer == 0 or run.out_in or run.expected_kind not in PLANNED:
        return False
    # Whether anybody called it in is asked last: for that all its calls are gone through.
    if any(car.lap_map.loops.get(loop, 0.0) > 0 for loop in lap.crossings):
        return lap.kind == "timed" and not (run.expected_kind == "in" and _called_in_since(car, run, lap.start_t))
    before = car.track.laps[-1] if car.track.laps else None
    if run.expected_kind != "in" or run.stayed_out == 0 or before is None:
        return False
    return before.kind == "timed" and before.complete and not _called_in_since(car, run, before.start_t)


def stayed_out(car: TeamCar) -> bool:
    """Guard: the lap on which the car was to come in is behind it."""
    run = car.progress.current
    return run is not None and run.stayed_out > 0 and run.expected_kind == "in"


def wanted_instead(car: TeamCar, run: RunState) -> dict[str, Position]:
    """Where the switches are wanted on such a lap: as on the timed lap that it takes the place of, or one more."""
    follows = run.pointer + 1
    if run.expected_kind == "cool" and run.laps[follows] == "timed":
        return car.switches.wanted(run, follows)
    return car.switches.wanted(run, run.pointer, instead="timed")


def _called_in_since(car: TeamCar, run: RunState, since: float) -> bool:
    """Guard: the driver was told to come in after ``since``, session seconds: somebody says so, or a board hung for a
    pass that is acted on after it. Of a desk that presses no keys nobody ever says so, and a call that was due there
    counts, until the car has stayed out once."""
    silent = car.book.keys < FEW_KEYS and not stayed_out(car)
    return any(call.spec.run == run.run.run and not call.unfounded and _heard(call, since, silent)
               for call in car.book.asking("box"))


def _heard(call: Call, since: float, silent: bool) -> bool:
    """Guard: this call told it after ``since``; ``silent``: what was due counts as told."""
    told_t = call.due_t if silent and call.said_t is None else call.said_t
    if told_t is None:
        return False
    # A board hangs before the line of the lap on which it is acted.
    acted_t = call.spec.act_at_s if call.spec.medium == "board" else None
    return told_t >= since or (acted_t is not None and acted_t > since)
