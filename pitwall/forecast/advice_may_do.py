"""Which pieces a car may do: its runs in each of their lengths, and those that may follow one another without a stop.

A run shortened keeps its first timed laps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pitwall.forecast.advice_pieces import Drawn, Part, Piece
from pitwall.forecast.chain import ON_TRACK, Chain
from pitwall.forecast.pert import Floats
from pitwall.forecast.walk import work_end
from pitwall.model.advice import AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity, CarSnapshot

LONGEST_MERGE = 3
"""So many runs at most follow one another without a stop: fuel and tyres last no longer (a choice of ours)."""


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
