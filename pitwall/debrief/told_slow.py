"""Laps on which most was lost where the car did what it was told to do: no mistake of the driver, and no traffic.

What is done at a place costs time there (a hold, a coast, a pass at a camera), mostly more than any mistake would. So
the stretch on which a lap lost most says nothing of driver and car where such a thing was done on it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pitwall.model.debrief_rows import DataWindow, LapRow

EXPLAINED = ("mistake", "traffic", "aborted")


@dataclass(frozen=True)
class ToldSlow:
    """Something that was done at a place of a lap, or probably.

    Attributes:
        do: the procedure.
        lap_number: of the session, on which it was done.
        place: the phase of the lap at which it was to begin: from there on the driver slows.
        window: where it is known to have been done, if it is; not the window of a whole lap.
    """

    do: str
    lap_number: int
    place: float
    window: DataWindow | None = None


def as_told(laps: Sequence[LapRow], done: Sequence[ToldSlow], loops: Mapping[str, float]) -> tuple[LapRow, ...]:
    """The same laps; where what was done as told explains what a lap lost, that stands in the place of a mistake.

    Args:
        laps: of one car, each with why it was not clean.
        done: what it did at places.
        loops: the phase of each loop.
    """
    return tuple(_explained(lap, [one for one in done if one.lap_number == lap.number], loops) for lap in laps)


def _explained(lap: LapRow, done: Sequence[ToldSlow], loops: Mapping[str, float]) -> LapRow:
    if lap.clean not in EXPLAINED:
        return lap
    why = next((one.do for one in done if lost_to(lap, one, loops)), None)
    return lap if why is None else lap.model_copy(update={"clean": "told", "clean_for": why})


def lost_to(lap: LapRow, done: ToldSlow, loops: Mapping[str, float]) -> bool:
    """Guard: it was begun, or lasted, on the stretch on which the lap lost most: from the last loop that was seen
    before it to the one that ends it."""
    end = next((at for at, one in enumerate(lap.sectors) if one.loop == lap.clean_at), None)
    if end is None:
        return False
    begin = next((one for one in reversed(lap.sectors[:end]) if one.t is not None), None)
    since, until = lap.start_s if begin is None else begin.t, lap.sectors[end].t
    from_phase = 0.0 if begin is None else loops[begin.loop]
    if from_phase <= done.place < (loops[lap.clean_at] or 1.0):
        return True
    if done.window is None or since is None or until is None:
        return False
    return done.window.from_s.value < until and done.window.to_s.value > since
