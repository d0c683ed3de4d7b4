"""Which run and which lap of it a car is on, because somebody says so."""

from __future__ import annotations

from dataclasses import replace

from pitwall.engine.car import CarTrack, Happening
from pitwall.engine.progress import PlanProgress
from pitwall.engine.run_state import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.plan import LapKind

JOINED = "not followed: pitwall joined later"
OUT_AT_LEAST = 0.6
"""Share of an out-lap before which no car is at its end, whatever was not seen (common practice, no source)."""


def choose_run(car: TeamCar, name: str, now: float) -> None:
    """The car is on this run, or leaves for it next. Nothing happens where it is so already."""
    progress = car.progress
    wanted = progress.find(name)
    if wanted is None or wanted in (progress.current, progress.next):
        return
    nothing_followed = not car.track.laps and all(run.start_t is None for run in progress.runs)
    running = progress.current
    if running is not None:
        _other_run(car, running, wanted, now)
    else:
        following = progress.next
        if following is not None:
            following.move("unchoose", now)
        wanted.move("choose", now)
    if nothing_followed:
        _skip_before(progress, wanted, now)
    progress.revision += 1


def _other_run(car: TeamCar, running: RunState, wanted: RunState, now: float) -> None:
    """What was driven since the car left counts for the run that it really is on; the other one stays in the plan."""
    for item in running.items:
        item.signal("call_lost", now)
    wanted.move("choose", now)
    wanted.move("leave", now, f"by hand: on this run, not on {running.run.run}")
    wanted.start_t = running.start_t if wanted.start_t is None else wanted.start_t
    wanted.leavings += 1
    wanted.pointer, wanted.boxed_early, wanted.boxed_from = _place_in(wanted, running), False, None
    wanted.boxed_past = False
    wanted.timed_done = _timed_before(wanted, wanted.pointer)
    running.move("put_back", now)
    running.leavings = max(0, running.leavings - 1)
    running.start_t = running.start_t if running.leavings else None
    running.pointer, running.timed_done, running.stayed_out = 0, running.timed_earlier, 0
    wanted.timed_earlier = running.timed_earlier = 0
    wanted.timed_before, running.timed_before = running.timed_before, 0
    wanted.left_as = running.left_as = None
    wanted.left_wet = running.left_wet
    if car.track.lap is not None:
        car.track.lap.run = wanted.run.run
    left_t = car.progress.left_t
    for at, lap in enumerate(car.track.laps):
        if lap.run == running.run.run and lap.start_t >= left_t:
            car.track.laps[at] = replace(lap, run=wanted.run.run)
    car.carried.named(wanted, car.plan, car.track, left_t)


def _place_in(wanted: RunState, running: RunState) -> int:
    """The lap of the run that the car is on: what an earlier leaving for the other one brought stays with that."""
    if not running.timed_earlier or running.pointer == 0:
        return min(running.pointer, len(wanted.laps) - 1)
    timed = [index for index, kind in enumerate(wanted.laps) if kind == "timed"]
    driven = min(max(running.timed_done - running.timed_earlier, 0), len(timed))
    return timed[driven - 1] + 1 if driven else min(1, len(wanted.laps) - 1)


def _skip_before(progress: PlanProgress, wanted: RunState, now: float) -> None:
    for run in progress.runs[: progress.runs.index(wanted)]:
        if run.laps and run.move("skip", now, JOINED):
            for item in run.items:
                item.signal("fail", now, JOINED)


def put_on_track(track: CarTrack, t: float, disturbed: bool, *, from_pits: bool) -> list[Happening]:
    """The car is out, whatever it was seen to do last: on its out-lap, or on a lap of which nobody saw the beginning.

    Such a lap teaches nothing, and a line that is seen after all mends it.

    Args:
        track: of a car that is in the pits, or on a lap that began there.
        t: since when, at the latest.
        disturbed: a slow or red period holds.
        from_pits: the lap is an out-lap.
    """
    lap = track.lap
    if from_pits:
        return track.leave(t)
    if lap is not None and t - lap.start_t < OUT_AT_LEAST * track.pace.lap_s("out"):
        # Too soon for the line: the exit was no exit. Where the car was seen stands, the lap is another one.
        track.move("line")
        lap.start_phase, lap.kind, lap.inferred_start = 0.0, "timed", True
        return []
    if lap is not None:
        lap.inferred_end = True
    track.pit_entry_t = None  # a line beside the pit lane is not meant
    found = track.cross("line", t, disturbed)
    if track.lap is not None:
        track.lap.inferred_start, track.lap.from_pits = True, False
    return found


def begins_at_line(car: TeamCar, lap: int | None, kind: LapKind | None) -> bool:
    """Guard: the lap that is meant is none that leads out of the pits."""
    run = car.progress.current or car.progress.next
    if run is None or lap is None or run.out_in:
        return kind in ("timed", "cool")
    return lap > 1 or kind in ("timed", "cool")


def put_on_lap(car: TeamCar, lap: int | None, kind: LapKind | None, now: float) -> None:
    """The running lap is that one of its run (1: the out-lap), and of that kind."""
    run, track = car.progress.current, car.track
    if run is not None and lap is not None:
        _set_pointer(run, lap - 1, now)
        own = [one.number for one in track.laps if one.run == run.run.run and one.start_t >= (run.start_t or 0.0) - 1.0]
        first = own[0] if own else track.lap_number if lap == 1 else 1
        # Laps on the record keep their numbers: the running one is always beyond them.
        track.lap_number = max(first + lap - 1, track.laps[-1].number + 1 if track.laps else 1)
        if track.lap is not None:
            track.lap.number = track.lap_number
    if kind == "in" and run is not None:
        car.progress.box_now()
    planned = run.expected_kind if run is not None else None
    _set_kind(car, kind or planned)
    car.progress.revision += 1


def _set_pointer(run: RunState, pointer: int, now: float) -> None:
    run.pointer = min(pointer, len(run.laps) - 1)
    run.boxed_early, run.boxed_from, run.stayed_out = False, None, 0
    run.boxed_past = False
    run.timed_done = _timed_before(run, run.pointer)
    run.timed_earlier = min(run.timed_earlier, run.timed_done)
    for item in run.items:
        if item.leg < run.pointer:
            over = "lap_over" if item.state == "called" else "fail"
            item.signal(over, now, item.reason or "its lap is behind the car")
        elif item.state == "not_done":
            item.signal("retry", now)


def _timed_before(run: RunState, pointer: int) -> int:
    return run.laps[:pointer].count("timed")


def _set_kind(car: TeamCar, kind: LapKind | None) -> None:
    track = car.track
    if track.state == "stopped":
        track.move("loop" if track.lap is not None and track.lap.start_phase > 0 else "line")
    if kind == "in":
        track.move("called_in")
    elif kind in ("timed", "cool"):
        track.move("let_run")
        track.move(f"judged_{kind}")
    elif kind == "out":
        track.move("let_run")
    if track.lap is not None and kind is not None and (track.lap.start_phase == 0.0) == (kind != "out"):
        track.lap.kind = kind
