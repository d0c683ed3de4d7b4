"""A lap of a run is behind the car: its items follow, by their calls first, then by telemetry and by the loops."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine import driven_again, hold_evidence, item_evidence, items
from pitwall.engine.laps import LapRecord
from pitwall.engine.run_state import RunState

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar


def at_the_line(car: TeamCar, run: RunState, leg: int, lap: LapRecord, now: float) -> None:
    """The lap ended at the line; ``leg`` was the planned lap, and the pointer of the run has moved since, or stayed."""
    if run.pointer != leg:
        item_evidence.judge(run, leg, car.switches, lap.start_t, now)
        items.lap_over(run, leg, car.setup.procedures, now, lap.kind)
    elif run.expected_kind == "timed":
        if not lap.disturbed:
            item_evidence.judge(run, leg, car.switches, lap.start_t, now, again=True)
        items.lap_put_in(run, now, driven_again.still_to_do(car, now) if lap.disturbed else ())
    hold_evidence.judge(car, run, leg, lap, now)
    driven_again.look(car, now)


def in_the_pits(car: TeamCar, ended: RunState, lap: LapRecord | None, now: float) -> None:
    """The car came in, and that was its run, for now or for good."""
    if ended.state == "done" and lap is not None:
        item_evidence.judge(ended, ended.pointer, car.switches, lap.start_t, now)
    items.run_over(ended, car.setup.procedures, now)
    if ended.state == "done" and lap is not None:
        hold_evidence.judge(car, ended, ended.pointer, lap, now)
