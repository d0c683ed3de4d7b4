"""Whether a lap that is over was clean, and if not, why: what a debrief takes lap times from, and what it leaves out.

A clean lap is one that says what car, tyres and driver can do. The others are told apart by where the time was lost: a
cool-down lap is slow all round, an aborted one was quick until some place, a mistake costs time on one stretch with
nobody ahead, traffic costs it behind another car, a yellow costs it where one was out. Stretches are compared with one
another, not with a lap time: a long run is slower all round and as clean as a quick one. All limits are common
practice, no source.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Literal

from pitwall.model.plan import LapKind

Why = Literal["clean", "traffic", "yellow", "mistake", "cool_down", "aborted", "not_complete", "unknown"]

LOST_AT_LEAST = 0.006
"""Time lost on one stretch that counts, as a share of the lap: half a second of 90."""
PUSHED_AT_MOST, GIVEN_UP_FROM = 1.03, 1.12
"""A stretch that was driven in earnest, and one that was not, over what is usual there."""
CLOSE_BEHIND_S = 2.0
"""A car so little ahead costs time: its wake and its line."""
MOST_KEPT = 4000


@dataclass(frozen=True)
class Cleanliness:
    """Why a lap was not clean, or that it was. ``at``: the place that ends the stretch where most was lost.

    ``lost_s``: seconds lost there against the rest of the lap; ``behind_s``: seconds to the car ahead there.
    """

    why: Why
    at: str = ""
    lost_s: float = 0.0
    behind_s: float | None = None

    @property
    def clean(self) -> bool:
        """True for a lap that says what car and driver can do."""
        return self.why == "clean"


@dataclass
class Passings:
    """Who passed which place when; messages may come in any order."""

    _at: dict[str, list[tuple[float, str]]] = field(default_factory=dict)

    def note(self, place: str, t: float, car: str) -> None:
        """A car passed a place at ``t``."""
        known = self._at.setdefault(place, [])
        insort(known, (t, car))
        if len(known) > MOST_KEPT:
            del known[0]

    def behind_s(self, place: str, t: float, car: str) -> float | None:
        """Seconds since the last other car passed there before ``t``; None where none did."""
        known = self._at.get(place, ())
        for at in range(bisect_left(known, (t, "")) - 1, -1, -1):
            when, other = known[at]
            if other != car:
                return t - when
        return None


@dataclass
class YellowTimes:
    """When a yellow was out somewhere, as seen whenever a car passed a place."""

    _from: list[float] = field(default_factory=list)
    _to: list[float] = field(default_factory=list)
    _out: bool = False

    def note(self, t: float, out: bool) -> None:
        """At ``t`` a yellow was out, or none."""
        if out and not self._out:
            self._from.append(t)
            self._to.append(t)
        elif out:
            self._to[-1] = max(self._to[-1], t)
        self._out = out

    def again(self, since: float, changes: Sequence[tuple[float, bool]], now: float) -> None:
        """From ``since`` on it was otherwise than was seen: at each of these moments a yellow was out, or none; the
        first is ``since``."""
        kept = [(begin, min(end, since)) for begin, end in zip(self._from, self._to, strict=True) if begin < since]
        self._from, self._to = [begin for begin, _ in kept], [end for _, end in kept]
        self._out = False
        for t, out in (*changes, (now, changes[-1][1])):
            if self._out:
                self._to[-1] = t
            self.note(t, out)

    def touched(self, begin: float, end: float) -> bool:
        """True when a yellow was out between these seconds."""
        return any(since <= end and until >= begin for since, until in zip(self._from, self._to, strict=True))


@dataclass(frozen=True)
class LapOver:
    """A lap as the judgement takes it.

    Args:
        kind: what kind of lap it was.
        sure: its beginning and its end were seen.
        slow: a slow or red period touched it.
        places: labels of the places that end its stretches, in order; the last is ``line`` for a complete lap.
        times: seconds since its beginning at each place; NaN where it was not seen.
        usual: what is usual there, in the same order.
        behind: seconds to the car ahead at each place; None where there was none.
        yellow: a yellow was out somewhere while the car was on the stretch that ends at the place.
    """

    kind: LapKind
    sure: bool
    slow: bool
    places: tuple[str, ...]
    times: tuple[float, ...]
    usual: tuple[float, ...]
    behind: tuple[float | None, ...]
    yellow: tuple[bool, ...]


@dataclass(frozen=True)
class _Stretch:
    """One stretch between two places that were both seen: its end, seconds, usual seconds, gaps at both ends."""

    at: str
    seconds: float
    usual: float
    behind: tuple[float | None, float | None]
    yellow: bool

    @property
    def ratio(self) -> float:
        return self.seconds / self.usual


def judge_clean(lap: LapOver) -> Cleanliness:
    """Whether the lap was clean, and if not, why.

    Raises:
        ValueError: when places, times, usual times and gaps are not equally many.
    """
    stretches = _stretches(lap)
    if not lap.sure or not stretches:
        return Cleanliness("unknown")
    if lap.kind in ("out", "installation"):
        return Cleanliness("not_complete")
    if lap.kind in ("cool", "in"):
        return _not_timed(lap, stretches)
    if lap.slow:
        return Cleanliness("yellow")
    return _timed(stretches)


def _not_timed(lap: LapOver, stretches: Sequence[_Stretch]) -> Cleanliness:
    if lap.slow:
        return Cleanliness("yellow") if lap.kind == "cool" else Cleanliness("not_complete")
    given_up = next((at for at, one in enumerate(stretches) if one.ratio >= GIVEN_UP_FROM), None)
    if given_up and all(one.ratio <= PUSHED_AT_MOST for one in stretches[:given_up]):
        one = stretches[given_up]
        return Cleanliness("aborted", one.at, one.seconds - one.usual, one.behind[1])
    return Cleanliness("cool_down" if lap.kind == "cool" else "not_complete")


def _timed(stretches: Sequence[_Stretch]) -> Cleanliness:
    whole = sum(one.usual for one in stretches)
    level = _level([one.ratio for one in stretches])
    lost = [one.seconds - level * one.usual for one in stretches]
    worst = max(range(len(lost)), key=lambda at: lost[at])
    if lost[worst] < LOST_AT_LEAST * whole:
        return Cleanliness("clean")
    one = stretches[worst]
    gaps = [gap for gap in one.behind if gap is not None]
    behind = min(gaps, default=None)
    why: Why = "traffic" if behind is not None and behind <= CLOSE_BEHIND_S else "mistake"
    return Cleanliness("yellow" if one.yellow else why, one.at, lost[worst], behind)


def _level(ratios: Sequence[float]) -> float:
    """How the lap went where nothing was lost: the median, or of one or two stretches the better."""
    return median(ratios) if len(ratios) > 2 else min(ratios)


def _stretches(lap: LapOver) -> list[_Stretch]:
    found, before, yellow = [], (0.0, 0.0), False
    gap_before: float | None = None
    for at, t, usual, gap, shown in zip(lap.places, lap.times, lap.usual, lap.behind, lap.yellow, strict=True):
        yellow |= shown
        if math.isnan(t) or math.isnan(usual):
            continue
        if t > before[0] and usual > before[1]:
            found.append(_Stretch(at, t - before[0], usual - before[1], (gap_before, gap), yellow))
        before, gap_before, yellow = (t, usual), gap, False
    return found
