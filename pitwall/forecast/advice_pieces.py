"""The pieces that a changed plan is put together from: runs in each of their lengths, alone or without a stop between.

Every piece has its durations drawn once, from the streams of ``futures``, so all plans meet the same futures: common
random numbers make small differences between them sharp. A run shortened keeps its first timed laps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import takewhile

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.draws import draw_chain
from pitwall.forecast.pert import Floats
from pitwall.forecast.walk import ON_TRACK, WORKS, Chain, work_end
from pitwall.model.advice import CLASS_WEIGHT, AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity, CarSnapshot

LONGEST_MERGE = 3
"""So many runs at most follow one another without a stop: fuel and tyres last no longer (a choice of ours)."""


@dataclass(frozen=True)
class Part:
    """One run within a piece.

    Attributes:
        run: Its place among the question's choices.
        timed: Timed laps in all, those done already included.
        marks: Which activities of the piece count, by their indices: each timed lap, else the last item or the out-lap.
        by_start: A mark counts when it begins before the flag; else when it ends by it.
        shares: Shape (marks + 1,): what share of the run's worth is done when so many marks are in time.
        shortened: It has fewer timed laps than planned.
    """

    run: int
    timed: int
    marks: tuple[int, ...]
    by_start: bool
    shares: Floats
    shortened: bool


@dataclass(frozen=True)
class Piece:
    """Runs that follow one another without a stop, mostly one, and the garage work after them."""

    parts: tuple[Part, ...]
    chain: Chain
    work: Floats
    task: Activity | None
    earliest_s: float
    latest_s: float
    allowed: tuple[int, ...] = ()
    laps: tuple[tuple[str, int], ...] = ()

    @cached_property
    def length(self) -> Floats:
        """Seconds on track when nothing comes between, shape (N,)."""
        total: Floats = self.chain.durations.sum(axis=0)
        return total

    @cached_property
    def until_mark(self) -> tuple[Floats, ...]:
        """Per part, shape (marks, N): seconds from leaving to each mark when nothing comes between."""
        ends = self.chain.durations.cumsum(axis=0)
        begins = ends - self.chain.durations
        return tuple((begins if part.by_start else ends)[list(part.marks)] for part in self.parts)

    @cached_property
    def until_green_mark(self) -> tuple[Floats, ...]:
        """The same, counting only what no red flag lets go on: out-laps, timed and cool ones."""
        green = self.chain.durations * self._green[:, None]
        ends = green.cumsum(axis=0)
        return tuple(((ends - green) if part.by_start else ends)[list(part.marks)] for part in self.parts)

    @cached_property
    def green_length(self) -> Floats:
        """Seconds of it that no red flag lets go on, shape (N,)."""
        total: Floats = (self.chain.durations * self._green[:, None]).sum(axis=0)
        return total

    @property
    def _green(self) -> NDArray[np.float64]:
        return np.array([float(one.kind in ("out", "timed", "cool")) for one in self.chain.activities])

    @property
    def crew(self) -> tuple[str, ...]:
        """Who does the work after it."""
        return self.task.crew if self.task is not None else ()

    @cached_property
    def waits_inside(self) -> bool:
        """An activity behind the first waits for a moment of its own: no shortcut is possible."""
        return any(one.not_before_s is not None for one in self.chain.activities[1:])

    @cached_property
    def all_laps(self) -> bool:
        """Nothing but laps: a slow period stretches all of it."""
        return all(one.kind in ON_TRACK for one in self.chain.activities)

    @cached_property
    def runs(self) -> tuple[int, ...]:
        """Its runs, in order."""
        return tuple(part.run for part in self.parts)

    @property
    def edits(self) -> int:
        """How many changes it holds: runs shortened, and runs that follow without a stop."""
        return sum(part.shortened for part in self.parts) + len(self.parts) - 1


def weight(choice: RunChoice) -> float:
    """What the whole run is worth."""
    return CLASS_WEIGHT[choice.want] * choice.value


@dataclass(frozen=True)
class Drawn:
    """The durations of all that one car may do, in one chain: the work under way, then every run and its work.

    Attributes:
        chain: All of it.
        lead: How many activities come before any run: work that is under way, or the wait for the release.
        spans: By choice, where its activities lie.
        work: By choice, where the work after it lies.
    """

    chain: Chain
    lead: int
    spans: dict[int, tuple[int, int]]
    work: dict[int, int]

    @classmethod
    def of(cls, question: AdviceQuestion, car: CarSnapshot) -> Drawn:
        """Draw them for this car, in the order of its plan."""
        own = [(i, choice) for i, choice in enumerate(question.choices) if choice.car == car.car]
        under_way = any(choice.under_way for _, choice in own)
        activities = [] if under_way else list(takewhile(lambda one: one.kind in WORKS, car.activities))
        lead, spans, work = len(activities), {}, {}
        for index, choice in sorted(own, key=lambda one: not one[1].under_way):
            first = len(activities)
            activities += [one.model_copy(update={"run": choice.run}) for one in choice.activities]
            spans[index] = (first, len(activities))
            if choice.work is not None:
                work[index] = len(activities)
                crew = tuple(dict.fromkeys((*choice.crew, *choice.work.crew)))
                activities.append(choice.work.model_copy(update={"run": choice.run, "crew": crew}))
        whole = car.model_copy(update={"activities": tuple(activities), "on_track": under_way})
        return cls(draw_chain(whole, question.futures, question.seed), lead, spans, work)

    def ready(self, begin: Floats) -> Floats:
        """When the car is ready for its first run, shape (N,): after the work that is under way."""
        for activity, duration in zip(self.chain.activities[: self.lead], self.chain.durations, strict=False):
            begin = begin if activity.not_before_s is None else np.maximum(begin, activity.not_before_s)
            begin = work_end(activity, begin, begin, duration)
        return begin


def pieces_of(question: AdviceQuestion, car: CarSnapshot, runs: list[int], drawn: dict[str, Drawn]) -> list[Piece]:
    """Every piece that this car may do, in the order of the plan: whole runs first, shorter ones after them.

    Args:
        question: The question.
        car: The car.
        runs: Which choices it may do, in order.
        drawn: By car, the durations of its runs.
    """
    builder = _Builder(question, car, drawn)
    found = []
    for length in range(1, LONGEST_MERGE + 1):
        for chained in _chained(question, runs, length):
            found += [builder.piece(timed) for timed in _lengths(question, chained)]
    return found


def _chained(question: AdviceQuestion, runs: list[int], length: int) -> Iterator[tuple[int, ...]]:
    """Runs that may follow one another without a stop, so many of them."""
    if length == 1:
        yield from ((run,) for run in runs)
        return
    for earlier in _chained(question, runs, length - 1):
        before = question.choices[earlier[-1]]
        if not _has_in_lap(before):
            continue
        for run in runs:
            choice = question.choices[run]
            named = choice.car == before.car and before.run in choice.merges_with
            if named and run not in earlier and _may_follow(choice):
                yield (*earlier, run)


def _has_in_lap(choice: RunChoice) -> bool:
    return bool(choice.activities) and choice.activities[-1].kind == "in"


def _may_follow(choice: RunChoice) -> bool:
    """Laps that count are left of it without its out-lap, and no moment is set for its leaving."""
    timed = any(one.kind == "timed" for one in choice.activities)
    return timed and not choice.under_way and choice.not_before_s is None and choice.not_after_s is None


def _lengths(question: AdviceQuestion, runs: tuple[int, ...]) -> Iterator[tuple[tuple[int, int], ...]]:
    if not runs:
        yield ()
        return
    for timed in lengths_of(question.choices[runs[0]]):
        for rest in _lengths(question, runs[1:]):
            yield ((runs[0], timed), *rest)


def lengths_of(choice: RunChoice) -> range:
    """The numbers of timed laps that the run may have, most first. A lap that is under way is not taken back."""
    if choice.timed == 0:
        return range(0, -1, -1)
    begun = choice.under_way and bool(choice.activities) and choice.activities[0].kind == "timed"
    fewest = max(min(choice.fewest, choice.timed), 1, choice.done + begun)
    return range(choice.timed, min(fewest, choice.timed) - 1, -1)


@dataclass(frozen=True)
class _Builder:
    question: AdviceQuestion
    car: CarSnapshot
    drawn: dict[str, Drawn]

    def piece(self, timed: tuple[tuple[int, int], ...]) -> Piece:
        """The piece of these runs with so many timed laps each."""
        choices = self.question.choices
        rows: list[int] = []
        parts: list[Part] = []
        laps: list[tuple[str, int]] = []
        chain = self.drawn[choices[timed[0][0]].car].chain
        for place, (run, count) in enumerate(timed):
            own = self._rows(run, count, first=place == 0, last=place == len(timed) - 1)
            parts.append(self._part(run, count, chain, own, len(rows)))
            on_track = sum(chain.activities[row].kind in ON_TRACK for row in own)
            laps.append((f"{choices[run].car}/{choices[run].tyres}", on_track))
            rows += own
        first, last = choices[timed[0][0]], choices[timed[-1][0]]
        work = self.drawn[last.car].work.get(timed[-1][0])
        task = None if work is None else chain.activities[work]
        return Piece(
            parts=tuple(parts),
            chain=_picked(chain, rows, first.under_way),
            work=np.zeros(self.question.futures) if work is None or task is None else _at_least(task, chain, work),
            task=task,
            earliest_s=_earliest(first),
            latest_s=first.not_after_s if first.not_after_s is not None and not first.under_way else np.inf,
            allowed=self._windows(first),
            laps=tuple(laps),
        )

    def _rows(self, run: int, timed: int, *, first: bool, last: bool) -> list[int]:
        """Which activities of the car's chain are done: timed laps beyond the number fall away."""
        choice = self.question.choices[run]
        begin, end = self.drawn[choice.car].spans[run]
        kinds = [one.kind for one in choice.activities]
        keep, left = list(range(begin, end)), timed - choice.done
        if kinds.count("timed") > left >= 0:
            at = [place for place, kind in enumerate(kinds) if kind == "timed"]
            since = at[left - 1] if left else -1
            keep = [begin + i for i, kind in enumerate(kinds) if i <= since or kind not in ("timed", "cool")]
        if not first:
            keep = [row for row in keep if kinds[row - begin] != "out"]
        if not last:
            keep = [row for row in keep if kinds[row - begin] != "in"]
        return keep

    def _part(self, run: int, timed: int, chain: Chain, own: list[int], offset: int) -> Part:
        choice, by_start = self.question.choices[run], self.question.snapshot.finish_started_lap
        kinds = [chain.activities[row].kind for row in own]
        marks = [i for i, kind in enumerate(kinds) if kind == "timed"]
        if choice.timed > 0:
            done = np.arange(len(marks) + 1) + choice.done
            shares = np.where(done >= max(choice.fewest, 1), np.minimum(done / choice.timed, 1.0), 0.0)
        else:
            items = [i for i, kind in enumerate(kinds) if kind == "item"]
            outs = [i for i, kind in enumerate(kinds) if kind == "out"]
            marks, by_start = (items[-1:], False) if items else (outs[:1], True)
            if choice.under_way and marks and kinds[marks[0]] == "out":
                marks = []  # it has left: that is all it takes
            shares = np.array([0.0, 1.0]) if marks else np.array([1.0])
        return Part(run, timed, tuple(offset + i for i in marks), by_start, shares, timed < choice.timed)

    def _windows(self, choice: RunChoice) -> tuple[int, ...]:
        count = len(self.question.snapshot.windows)
        bound = self.car.windows.get(choice.run) if choice.car == self.car.car else None
        return tuple(range(count)) if bound is None else (bound,) if bound >= 0 else ()


def _at_least(task: Activity, chain: Chain, row: int) -> Floats:
    nothing = np.zeros(chain.durations.shape[1])
    return work_end(task, nothing, nothing, chain.durations[row])


def _earliest(choice: RunChoice) -> float:
    if choice.under_way:
        return -np.inf
    own = choice.activities[0].not_before_s if choice.activities else None
    return max(-np.inf if at is None else at for at in (choice.not_before_s, choice.ready_s, own))


def _picked(chain: Chain, rows: list[int], under_way: bool) -> Chain:
    picked = tuple(chain.activities[row] for row in rows)
    if picked and picked[0].not_before_s is not None:
        picked = (picked[0].model_copy(update={"not_before_s": None}), *picked[1:])
    out_again = tuple(chain.out_again[row] for row in rows)
    return Chain(picked, chain.durations[rows], chain.again[rows], out_again, under_way and chain.under_way)
