"""Plans of one car as a list, what they are worth afterwards, and the best list of all for one who knows everything.

**Worth** as in ``pitwall/model/advice.py``: value times the weight of the class times the share of the timed laps, from
the fewest that count on; nothing for a run without the one it repeats, for a group that is not whole, for a run that
left too late. Runs that may be done after the flag are left out, for every way of deciding does them.

**The clairvoyant** tries every order, every choice of runs and every length that the question for advice allows, runs
that may follow without a stop included, each driven through the true session; a branch is left only when even all that
remains could not beat the best so far. That is exact for plans that do each run in one go and never wait on purpose.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from pitwall.model.advice import CLASS_WEIGHT, RunChoice
from pitwall.model.plan import LapKind, Plan
from simulations.replan_driving import CarDay, Choice, Done, What
from simulations.replan_world import Fate, laps_with

Lap = tuple[str, LapKind]


@dataclass(frozen=True)
class Leaving:
    """One leaving of the garage: for which run, and the laps behind the out-lap with their runs; the last comes in."""

    run: str
    laps: tuple[Lap, ...]
    out_in: bool = False
    not_before_s: float = float("-inf")


def leaving(plan: Plan, lengths: Sequence[tuple[str, int]]) -> Leaving:
    """One run, or several without a stop in between, each with so many timed laps."""
    first, laps = lengths[0][0], list[Lap]()
    run = plan.find(first)
    assert run is not None
    for name, timed in lengths:
        part = plan.find(name)
        assert part is not None
        laps += [(name, kind) for kind in laps_with(part, timed)[1:-1]]
    earliest = run.release.not_before
    return Leaving(first, (*laps, (lengths[-1][0], "in")), run.out_in,
                   earliest if earliest is not None else float("-inf"))


class Listed:
    """A pilot who follows a list; a run that red cut goes on where it was."""

    def __init__(self, fate: Fate, car: str, leavings: Sequence[Leaving]) -> None:
        self.fate, self.car, self.ahead = fate, car, list(leavings)
        self._now: Leaving | None = None
        self._place, self._kind = 0, "in"

    @property
    def idle(self) -> bool:
        """The list is done."""
        return self._now is None and not self.ahead

    def leaves_for(self, t: float) -> Choice | None:
        """The run that was cut, else the first of the list."""
        if self._now is not None:
            return Choice(self._now.run)
        return Choice(self.ahead[0].run, self.ahead[0].not_before_s) if self.ahead else None

    def out_in(self, run: str) -> bool:
        """As the plan has it."""
        return self._now is not None and self._now.out_in

    def next_lap(self, t: float) -> Lap:
        """The next of the list."""
        assert self._now is not None
        run, kind = self._now.laps[self._place]
        self._kind = kind
        return run, kind

    def told(self, what: What, t: float, lap_s: float | None) -> None:
        """Keep the place in the list."""
        if what == "exit":
            if self._now is None:
                self._now, self._place = self.ahead.pop(0), 0
            while self._now.laps[self._place][1] == "cool" and self._place + 1 < len(self._now.laps):
                self._place += 1  # nobody drives a cool-down lap behind an out-lap
            self._kind = "in" if self._now.out_in else "out"
        elif what == "line" and self._kind not in ("out", "in"):
            # A timed lap that a slow period spoilt is driven again.
            self._place += self._kind != "timed" or (lap_s is not None and self.fate.is_timed(self.car, lap_s))
        elif what == "entry" and self._now is not None and (
            self._kind == "in" or all(kind != "timed" for _, kind in self._now.laps[self._place :])
        ):
            self._now = None


class LastFirst(Listed):
    """A pilot who drops the last run of the list as long as the list does not fit by what is likely of everything.

    ``spares``: runs that are dropped only when nothing else is left. The likely times are those of the plan for work,
    and for laps those that are common: an out-lap a quarter longer than a good lap, and so on.
    """

    TIMES: ClassVar[dict[str, float]] = {"out": 1.25, "timed": 1.01, "cool": 1.5, "in": 1.18, "installation": 1.5}

    def __init__(self, fate: Fate, car: str, plan: Plan, leavings: Sequence[Leaving], spares: Collection[str]) -> None:
        super().__init__(fate, car, leavings)
        self._plan, self._spares = plan, spares
        self._lap_s = fate.grounds[car].lap_s

    def leaves_for(self, t: float) -> Choice | None:
        """The first that is left, after dropping what does not fit."""
        while self._now is None and self.ahead and self._begins_last(t) >= self._end(t):
            expendable = [one for one in self.ahead if one.run not in self._spares] or self.ahead
            self.ahead.remove(expendable[-1])
        return super().leaves_for(t)

    def _end(self, t: float) -> float:
        """When the time is up as far as anybody knows now."""
        return self.fate.end_s - sum(stop - max(start, t) for start, stop in self.fate.reds if stop > t
                                      and self.fate.setup.regulations.red_clock == "stops" and start > t)

    def _begins_last(self, t: float) -> float:
        """When the last timed lap of the list would begin, or its last run leave."""
        last = t
        for one in self.ahead:
            t = last = max(t, one.not_before_s)
            t += self._lap_s * (self.TIMES["installation"] if one.out_in else self.TIMES["out"])
            for _, kind in () if one.out_in else one.laps:
                last = t if kind == "timed" else last
                t += self._lap_s * self.TIMES[kind]
            run = self._plan.find(one.run)
            t += run.after_garage_s.likely_s if run is not None else 0.0
        return last


def drive(pilot: Listed) -> dict[str, Done]:
    """The whole session with that list."""
    day = CarDay(pilot.fate, pilot.car, pilot)
    while not day.over:
        day.step()
    return day.done


def worth(choices: Sequence[RunChoice], done: Mapping[str, Done]) -> float:
    """What was done of one car's runs is worth (see above). ``choices``: its runs as the session opens."""
    shares = {choice.run: _share(choice, done.get(choice.run)) for choice in choices}
    total = 0.0
    for choice in choices:
        if choice.after_flag or not choice.possible:
            continue
        if choice.same_as is not None and not shares.get(choice.same_as, 1.0):
            continue
        if choice.group is not None and not all(shares[one.run] for one in choices if one.group == choice.group):
            continue
        total += weight(choice) * shares[choice.run]
    return total


def weight(choice: RunChoice) -> float:
    """What the whole run is worth."""
    return CLASS_WEIGHT[choice.want] * choice.value


def _share(choice: RunChoice, done: Done | None) -> float:
    if done is None or done.left_s is None or (choice.not_after_s is not None and done.left_s > choice.not_after_s):
        return 0.0
    if not choice.timed:
        return 1.0
    timed = min(done.timed, choice.timed)
    return timed / choice.timed if timed >= max(choice.fewest, 1) else 0.0


# -- the clairvoyant ---------------------------------------------------------------------------------------------------


@dataclass
class Best:
    """The best list so far and what it is worth."""

    worth: float = -1.0
    leavings: tuple[Leaving, ...] = ()
    tried: int = 0


def clairvoyant(fate: Fate, car: str, plan: Plan, choices: Sequence[RunChoice]) -> Best:
    """The best list of one car for this session."""
    best = Best()
    open_ = [one for one in choices if one.activities and not one.after_flag]
    _Search(fate, car, plan, open_, choices, best).go({}, (), 0.0, None)
    return best


def clairvoyant_team(fate: Fate, choices: Mapping[str, Sequence[RunChoice]]) -> float:
    """What the best lists of all cars are worth together, whichever car does the runs that several may do."""
    plans = fate.setup.plans
    movable = [(car, one) for car in choices for one in choices[car] if one.also_on]
    most = -1.0
    for cars in itertools.product(*((car, *one.also_on) for car, one in movable)):
        at = {(one.car, one.run): car for (_, one), car in zip(movable, cars, strict=True)}
        total = 0.0
        for car in choices:
            mine = [one for part in choices.values() for one in part if at.get((one.car, one.run), one.car) == car]
            runs = (run for one in mine if (run := plans[one.car].find(one.run)) is not None)
            total += clairvoyant(fate, car, plans[car].model_copy(update={"runs": tuple(runs)}), mine).worth
        most = max(most, total)
    return most


def team_worth(choices: Mapping[str, Sequence[RunChoice]], done: Mapping[str, Mapping[str, Done]]) -> float:
    """What was done by all cars is worth, also of runs that another car took over."""
    total = 0.0
    for car, part in choices.items():
        taken = {one.run: done[other][one.run] for one in part for other in one.also_on if one.run in done[other]}
        total += worth(part, {**taken, **done[car]})
    return total


@dataclass
class _Search:
    fate: Fate
    car: str
    plan: Plan
    open: Sequence[RunChoice]
    all: Sequence[RunChoice]
    best: Best

    def go(self, done: dict[str, Done], so_far: tuple[Leaving, ...], parked_s: float, behind: str | None) -> None:
        """Try whatever may come next, the dearest first."""
        self.best.tried += 1
        found = worth(self.all, done)
        if found > self.best.worth:
            self.best.worth, self.best.leavings = found, so_far
        rest = [choice for choice in self.open if choice.run not in done]
        # A run that is done only matters for a group or a repeat later: all that could still count, counts.
        most = worth(self.all, done | {choice.run: Done(choice.timed, 0.0) for choice in rest})
        if not rest or most <= self.best.worth + 1e-9 or parked_s >= self.fate.end_s:
            return
        for choice in sorted(rest, key=lambda one: -weight(one)):
            if self._may_come(choice, done):
                for lengths in self._lengths(choice, rest):
                    self._try(lengths, done, so_far, parked_s, behind)

    def _may_come(self, choice: RunChoice, done: Mapping[str, Done]) -> bool:
        original = choice.same_as is None or choice.same_as in done
        return choice.possible and original and not any(name in choice.before for name in done)

    def _lengths(self, choice: RunChoice, rest: Sequence[RunChoice]) -> list[tuple[tuple[str, int], ...]]:
        """The run in each of its lengths, and whole with each run that may follow it without a stop."""
        found: list[tuple[tuple[str, int], ...]] = [((choice.run, timed),) for timed in _timed(choice)]
        for other in rest:
            if choice.run in other.merges_with:
                found += [((choice.run, choice.timed), (other.run, timed)) for timed in _timed(other)]
        return found

    def _try(self, lengths: tuple[tuple[str, int], ...], done: dict[str, Done], so_far: tuple[Leaving, ...],
             parked_s: float, behind: str | None) -> None:
        one = leaving(self.plan, lengths)
        pilot = Listed(self.fate, self.car, [one])
        day = CarDay(self.fate, self.car, pilot, parked_s, behind)
        while not day.over and not (pilot.idle and day.where == "garage"):
            day.step()
        after = done | {name: day.done.get(name, Done()) for name, _ in lengths}
        self.go(after, (*so_far, one), self.fate.end_s if day.over else day.parked_s, day.behind)


def _timed(choice: RunChoice) -> range:
    return range(choice.timed, max(choice.fewest, 1) - 1, -1) if choice.timed else range(1)
