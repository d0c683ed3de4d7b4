"""What the brief says of the laps of a run, as long as it is true: time that is lost in the garage takes laps away.

A run that is left for late, or after a red flag under a clock that runs on, may begin fewer timed laps before the flag
than its plan has. The brief names as many as can be begun, and where it was told already it is put right, in short; a
run that is none any more is called off. What the driver was told counts as true until even the quickest usual laps
cannot keep it, and as true again once the likely ones do.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pitwall.engine.last_release import last_release_s, needs_a_timed_lap, too_late
from pitwall.engine.remaining import SPREAD
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import RUNNING, SessionClock
from pitwall.model.plan import LapKind
from pitwall.radio.wording import run_phrase

if TYPE_CHECKING:  # the car asks for it
    from pitwall.engine.team import TeamCar

UNTOLD = ("planned", "shown", "withdrawn", "due")
FEW = 2
"""Put right once, a brief is put right again only where so few laps or fewer are left: of a long run the driver need
not hear of every lap that goes by (a choice of ours)."""


def keep_true(car: TeamCar, clock: SessionClock, now: float) -> None:
    """The laps are laid out anew: how many does the brief of the next run speak of, and is it to be told once more?"""
    out, run = car.progress.current, car.progress.next
    if out is not None and car.track.on_track:
        out.brief_laps = out.brief_cut_s = out.off_s = None
    if run is None or car.track.on_track or not run.laps or clock.status not in RUNNING:
        return
    told = _told(car, run)
    if too_late(car, clock, now):
        run.off_s = now if run.off_s is None and told else run.off_s
        return
    run.off_s = None
    if car.flag_run is not None:
        return  # what is laid out is the lap of the block after this flag; the laps of the run come in a later window
    before, most = run.brief_laps, _in_time(car, clock, now, run, quick=True)
    kept = most if before is None else min(max(before, _in_time(car, clock, now, run, quick=False)), most)
    if before is not None and kept != before and told:
        if run.brief_cut_s is not None and kept > FEW:
            return
        run.brief_edition, run.brief_cut_s = run.brief_edition + 1, now
    run.brief_laps = kept


def _told(car: TeamCar, run: RunState) -> bool:
    """Guard: the brief as it stands was told already, as far as anybody knows."""
    of_laps = f"{run.run.run}-{run.leavings + 1}-brief"
    told = [call for key, call in car.book.latest.items() if key.startswith(of_laps)]
    return bool(told) and told[-1].state not in UNTOLD


def _in_time(car: TeamCar, clock: SessionClock, now: float, run: RunState, *, quick: bool) -> int:
    """How many timed laps of the run can be begun before the flag, or done where none may be finished after it; all of
    them while nobody knows of a flag. One at least: where there is none, the run is none."""
    planned = sum(1 for leg in car.legs if leg.kind == "timed")
    if not car.legs or not needs_a_timed_lap(run) or last_release_s(car, run, clock, now) is None:
        return planned
    rules, at, found = car.setup.regulations, car.legs[0].start_s, 0
    flag_s = clock.end_s(now) + (rules.clock_uncertainty_s if quick else 0.0)
    for leg in car.legs:
        length = (leg.end_s - leg.start_s) * (SPREAD[leg.kind][0] if quick and leg.kind in SPREAD else 1.0)
        counts = leg.kind == "timed"
        if counts and at + (0.0 if rules.finish_started_lap else length) > flag_s:
            break
        found, at = found + counts, at + length
    return max(found, 1)


def in_words(kinds: Sequence[LapKind], most: int | None) -> str:
    """The laps of a run as its brief tells them: ``three timed laps``; where the flag leaves fewer than are planned
    ``time for one timed lap only``. ``kinds``: its laps that are to come; ``most``: timed ones that can be begun."""
    timed = kinds.count("timed")
    if most is None or most >= timed:
        return run_phrase(timed, kinds.count("cool"))
    number = itertools.accumulate(kind == "timed" for kind in kinds)
    driven = [kind for kind, so_far in zip(kinds, number, strict=True) if so_far <= most and kind in ("timed", "cool")]
    while driven and driven[-1] == "cool":
        driven.pop()
    return f"time for {run_phrase(most, driven.count('cool'))} only"
