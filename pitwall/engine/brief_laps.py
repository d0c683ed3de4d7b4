"""What the brief says of the laps of a run, as long as it is true: time that is lost in the garage takes laps away.

A run that is left for late, or after a red flag under a clock that runs on, may begin fewer timed laps before the flag
than its plan has. The brief names as many as can be begun, and where it was told already it is put right, in short; a
run that is none any more is called off, and briefed anew, all of it, should it be one again. A brief that may be on the
air keeps its words: they are what its key confirms. Heard on the radio desk it is put right after it; where nobody
knows, a whole one takes its place. What the driver was told counts as true until even the quickest usual laps cannot
keep it, and as true again once the likely ones do.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pitwall.engine.call import Call
from pitwall.engine.called_in import may_be_said
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
        out.brief_laps = out.brief_cut_s = out.off_s = out.brief_anew_s = None
    if run is None or car.track.on_track or not run.laps or clock.status not in RUNNING:
        return
    brief = _brief(car, run)
    told = _told(car, brief, now)
    if too_late(car, clock, now):
        run.off_s = now if run.off_s is None and (told or run.brief_anew_s is not None) else run.off_s
        return
    if run.off_s is not None:
        _is_one_again(car, run, now)
    if car.flag_run is not None:
        return  # what is laid out is the lap of the block after this flag; the laps of the run come in a later window
    before, most = run.brief_laps, _in_time(car, clock, now, run, quick=True)
    kept = most if before is None else min(max(before, _in_time(car, clock, now, run, quick=False)), most)
    if before is not None and kept != before and told:
        reads = brief is not None and brief.open
        if (reads and car.channel.talk.known) or (not reads and run.brief_cut_s is not None and kept > FEW):
            return
        _tell_anew(run, now, whole=reads)
    run.brief_laps = kept


def _is_one_again(car: TeamCar, run: RunState, now: float) -> None:
    """The flag moved back, and the run that was off is one. Whoever heard that it was is briefed anew, all of it, and
    called off once more should it come to that."""
    off = car.book.latest.get(off_key(run))
    run.off_s = None
    if off is None or not (_told(car, off, now) or run.brief_anew_s is not None):
        return
    off.unfounded = True
    run.brief_laps = None
    _tell_anew(run, now, whole=True)


def _tell_anew(run: RunState, now: float, *, whole: bool) -> None:
    """The brief is told once more at once: all of it, or only what puts its number right."""
    run.brief_edition += 1
    run.brief_anew_s, run.brief_cut_s = (now, None) if whole else (None, now)


def off_key(run: RunState) -> str:
    """The key of the call that the next leaving of this run is off."""
    return f"{run.run.run}-{run.leavings + 1}-off"


def _brief(car: TeamCar, run: RunState) -> Call | None:
    """The last edition of the brief of its next leaving."""
    of_laps = f"{run.run.run}-{run.leavings + 1}-brief"
    return next((call for key, call in reversed(car.book.latest.items()) if key.startswith(of_laps)), None)


def _told(car: TeamCar, call: Call | None, now: float) -> bool:
    """Guard: the call was told already, as far as anybody knows, or somebody may be saying it now."""
    return call is not None and (call.state not in UNTOLD or may_be_said(car, call, now))


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
