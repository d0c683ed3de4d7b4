"""The pieces that a changed plan is put together from: runs in each of their lengths, alone or without a stop between.

Every piece has its durations drawn once, from the streams of ``futures``, so all plans meet the same futures: common
random numbers make small differences between them sharp. A run shortened keeps its first timed laps.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import takewhile

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.chain import ON_TRACK, WORKS, Chain
from pitwall.forecast.draws import draw_chain
from pitwall.forecast.pert import Floats
from pitwall.forecast.walk import work_end
from pitwall.model.advice import CLASS_WEIGHT, AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity, CarSnapshot


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
