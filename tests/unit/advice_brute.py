"""The best plan by trying every one: slow, and written without the search's own parts.

Each alternative is laid out as a whole session of each car, drawn anew and walked as the forecast does it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, permutations, product

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.calendar import Calendar, Slot
from pitwall.forecast.chain import Chain
from pitwall.forecast.draws import draw_chain, stream
from pitwall.forecast.interruptions import draw_calendar
from pitwall.forecast.sharing import walk_together
from pitwall.model.advice import CLASS_WEIGHT, AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity

Sequence = tuple[tuple[int, int, bool], ...]
"""One car's runs in order: which choice, how many timed laps, whether it follows without a stop."""


@dataclass(frozen=True)
class Tried:
    """What a plan brings."""

    worth: float
    net: float
    chance: float
    sequences: tuple[Sequence, ...]


def every_plan(question: AdviceQuestion, per_change: float) -> list[Tried]:
    """Every plan that the rules allow, with what it brings."""
    calendar = draw_calendar(stream(question.seed, 0), question.snapshot)
    cars = [car.car for car in question.snapshot.cars]
    sharing = any(set(a.crew) & set(b.crew) for a in question.choices for b in question.choices if a.car != b.car)
    options = [list(_sequences(question, car)) for car in cars]
    found, alone = [], {}
    for plan in product(*options):
        if len({run for one in plan for run, _, _ in one}) < sum(len(one) for one in plan):
            continue
        if sharing:
            shares = _shares(question, plan, cars, calendar)
        else:
            shares = {}
            for place, one in enumerate(plan):
                if (place, one) not in alone:
                    alone[place, one] = _shares(question, (one,), [cars[place]], calendar)
                shares |= alone[place, one]
        found.append(_judged(question, plan, shares, per_change))
    return found


def best_plan(question: AdviceQuestion, per_change: float = 0.0) -> Tried:
    """The best plan by the definition in the contract."""
    plans = every_plan(question, per_change)
    surest = max(plan.chance for plan in plans)
    floor = question.confidence if surest >= question.confidence - 1e-9 else surest if surest >= 0.5 else 0.0
    return max((plan for plan in plans if plan.chance >= floor - 1e-9), key=lambda plan: plan.net)


def _sequences(question: AdviceQuestion, car: str) -> Iterator[Sequence]:
    choices = question.choices
    mine = [i for i, one in enumerate(choices) if _doable(question, i) and
            (one.car == car or (car in one.also_on and not _tied(question, one)))]
    for size in range(len(mine) + 1):
        for order in permutations(mine, size):
            if not _in_order(question, car, order):
                continue
            lengths = [_lengths(choices[i]) for i in order]
            follows = [[False, True] if place and _merges(choices[order[place - 1]], choices[i]) else [False]
                       for place, i in enumerate(order)]
            for timed in product(*lengths):
                for merged in product(*follows):
                    sequence = tuple(zip(order, timed, merged, strict=True))
                    if _tyres_allow(question, car, sequence):
                        yield sequence


def _doable(question: AdviceQuestion, index: int, seen: frozenset[int] = frozenset()) -> bool:
    one, choices = question.choices[index], question.choices
    if not one.possible or (one.not_after_s or np.inf) < max(question.snapshot.t, one.ready_s or 0.0):
        return False
    laps = sum(a.kind != "item" for a in one.activities) - max(one.timed - max(one.fewest, 1), 0)
    if one.tyre_laps_left is not None and laps > one.tyre_laps_left:
        return False
    for other, two in enumerate(choices):
        related = two.car == one.car and (two.run == one.same_as or (two.group and two.group == one.group))
        if related and other != index and other not in seen and not _doable(question, other, seen | {index}):
            return False
    return True


def _tied(question: AdviceQuestion, one: RunChoice) -> bool:
    named = {name for two in question.choices if two.car == one.car
             for name in (*two.before, two.same_as, two.equal_age_with)}
    return bool(one.before or one.same_as or one.group or one.equal_age_with) or one.run in named


def _lengths(one: RunChoice) -> range:
    return range(max(one.fewest, 1, one.done), one.timed + 1) if one.timed else range(1)


def _in_order(question: AdviceQuestion, car: str, order: tuple[int, ...]) -> bool:
    choices = question.choices
    place = {choices[i].run: n for n, i in enumerate(order) if choices[i].car == car}
    under_way = [i for i, one in enumerate(choices) if one.car == car and one.under_way]
    if under_way and order[:1] != tuple(under_way):
        return False
    for i in order:
        one = choices[i]
        if any(later in place and place[later] < place[one.run] for later in one.before):
            return False
        repeats = one.same_as is not None and any(two.run == one.same_as for two in choices)
        if repeats and place.get(str(one.same_as), len(order)) > place[one.run]:
            return False
    return True


def _merges(first: RunChoice, second: RunChoice) -> bool:
    moments = second.not_before_s is not None or second.not_after_s is not None
    return (first.car == second.car and first.run in second.merges_with and first.activities[-1].kind == "in"
            and second.timed > 0 and not moments)


def _tyres_allow(question: AdviceQuestion, car: str, sequence: Sequence) -> bool:
    choices = question.choices
    laps_on: dict[tuple[str, str | None], int] = {}
    shift: dict[str, int] = {}
    planned = _planned_ages(question, car)
    for place, (i, timed, merged) in enumerate(sequence):
        one = choices[i]
        on = (one.car, one.tyres)
        shift[one.run] = laps_on.get(on, 0) - planned.get(one.run, 0)
        into = place + 1 < len(sequence) and sequence[place + 1][2]
        laps = sum(a.kind != "item" for a in _activities(one, timed, merged, into))
        laps_on[on] = laps_on.get(on, 0) + laps
        if one.tyre_laps_left is not None and laps_on[on] > one.tyre_laps_left:
            return False
    for i, _, _ in sequence:
        one = choices[i]
        if one.equal_age_with in shift and shift[one.run] != shift[one.equal_age_with]:
            return False
    return True


def _planned_ages(question: AdviceQuestion, car: str) -> dict[str, int]:
    ages: dict[str | None, int] = {}
    found = {}
    for i, one in enumerate(question.choices):
        if one.car == car and _doable(question, i):
            found[one.run] = ages.get(one.tyres, 0)
            ages[one.tyres] = found[one.run] + sum(a.kind != "item" for a in one.activities)
    return found


def _activities(one: RunChoice, timed: int, merged: bool, into: bool) -> list[Activity]:
    left, kept, waiting = timed - one.done, [], []
    for activity in one.activities:
        if activity.kind == "timed":
            if left == 0:
                continue
            kept += [*waiting, activity]
            waiting, left = [], left - 1
        elif activity.kind == "cool":
            waiting.append(activity)
        elif not (activity.kind == "out" and merged) and not (activity.kind == "in" and into):
            if activity.kind != "out" and timed == one.timed:
                kept += waiting
                waiting = []
            kept.append(activity)
    return kept


def _shares(
    question: AdviceQuestion, plan: tuple[Sequence, ...], cars: list[str], calendar: Calendar
) -> dict[int, NDArray[np.float64]]:
    """By run, which share of it is done in each future, before groups and originals are asked."""
    snapshot, chains, spans = question.snapshot, [], []
    for car, sequence in zip(cars, plan, strict=True):
        own = next(one for one in snapshot.cars if one.car == car)
        laid, at = _laid_out(question, car, sequence)
        spans.append(at)
        chain = draw_chain(own.model_copy(update={"activities": tuple(laid)}), snapshot.futures, question.seed)
        chains.append(_as_at_home(question, chain, laid, car))
    begins = [np.full(snapshot.futures, snapshot.t)] * len(cars)
    found = {}
    slots = [_slots(question, car, chain, at) if calendar.windows else {}
             for car, chain, at in zip(cars, chains, spans, strict=True)]
    paths = walk_together(chains, begins, calendar, slots, snapshot.finish_started_lap)
    for car, path, at in zip(cars, paths, spans, strict=True):
        for run, (first, _, kinds) in at.items():
            one = question.choices[run]
            marks, by_start = _marks(question, run, first, kinds)
            moments = (path.starts if by_start else path.ends)[marks]
            flag = calendar.session_end
            if calendar.windows:
                flag = np.array([calendar.flag_after(moment, _windows(question, car, run)) for moment in moments])
            done = (moments < flag if by_start else moments <= flag).sum(axis=0)
            if one.timed:
                laps = done + one.done
                share = np.where(laps >= max(one.fewest, 1), laps / one.timed, 0.0)
            else:
                share = (done == len(marks)).astype(float)
            leaves = path.starts[first]
            late = leaves > one.not_after_s if one.not_after_s is not None else np.zeros(leaves.size, dtype=bool)
            found[run] = np.where(late, 0.0, share)
    return found


def _marks(question: AdviceQuestion, run: int, first: int, kinds: list[str]) -> tuple[list[int], bool]:
    """Which of its activities decide whether the run is done, and whether by their beginning."""
    timed = [first + place for place, kind in enumerate(kinds) if kind == "timed"]
    if question.choices[run].timed:
        return timed, question.snapshot.finish_started_lap
    items = [first + place for place, kind in enumerate(kinds) if kind == "item"]
    outs = [first + place for place, kind in enumerate(kinds) if kind == "out"]
    return (items[-1:], False) if items else (outs[:1], True)


def _windows(question: AdviceQuestion, car: str, run: int) -> tuple[int, ...]:
    """The windows in which this car may do the run."""
    own = next(one for one in question.snapshot.cars if one.car == car)
    bound = own.windows.get(question.choices[run].run) if question.choices[run].car == car else None
    return tuple(range(len(question.snapshot.windows))) if bound is None else (bound,)


def _slots(
    question: AdviceQuestion, car: str, chain: Chain, at: dict[int, tuple[int, int, list[str]]]
) -> dict[int, Slot]:
    """What each run that leaves asks of a window: the time to the last of it that counts."""
    found = {}
    for run, (first, _, kinds) in at.items():
        marks, by_start = _marks(question, run, first, kinds)
        if marks and chain.activities[first].kind != "timed":  # a merged run goes on without leaving
            needed = chain.durations[first : marks[-1] + (not by_start)].sum(axis=0)
            found[first] = Slot(needed, _windows(question, car, run))
    return found


def _laid_out(
    question: AdviceQuestion, car: str, sequence: Sequence
) -> tuple[list[Activity], dict[int, tuple[int, int, list[str]]]]:
    """The car's session from end to end. A merged run keeps the moment of the run that it follows."""
    laid: list[Activity] = []
    at = {}
    for place, (run, timed, merged) in enumerate(sequence):
        one = question.choices[run]
        into = place + 1 < len(sequence) and sequence[place + 1][2]
        own = [a.model_copy(update={"run": one.run}) for a in _activities(one, timed, merged, into)]
        waits = [moment for moment in (one.not_before_s, one.ready_s) if moment is not None]
        if waits and own and not merged and not one.under_way:
            own[0] = own[0].model_copy(update={"not_before_s": max(waits)})
        at[run] = (len(laid), len(laid) + len(own), [a.kind for a in own])
        laid += own
        if one.work is not None and not into and place + 1 < len(sequence):  # after the last run it keeps no crew
            laid.append(one.work.model_copy(update={"crew": one.crew}))
    return laid, at


def _as_at_home(question: AdviceQuestion, chain: Chain, laid: list[Activity], car: str) -> Chain:
    """A run done by another car takes what it takes at home, future by future; a merged one goes out as it would."""
    durations, outs = chain.durations.copy(), list(chain.out_again)
    for home in question.snapshot.cars:
        own = [one for one in question.choices if one.car == home.car]
        whole = [a.model_copy(update={"run": one.run}) for one in own for a in one.activities]
        drawn = draw_chain(home.model_copy(update={"activities": tuple(whole)}), durations.shape[1], question.seed)
        works = [one.work for one in own]
        for one, work in zip(own, works, strict=True):
            rows = [i for i, a in enumerate(whole) if a.run == one.run]
            here = [i for i, a in enumerate(laid) if a.run == one.run]
            if not here:
                continue
            for i in here:
                outs[i] = drawn.out_again[rows[0]]
            if home.car != car:
                for kind in {a.kind for a in one.activities}:
                    for i, j in zip([i for i in here if laid[i].kind == kind],
                                    [j for j in rows if whole[j].kind == kind], strict=False):
                        durations[i] = drawn.durations[j]
                if work is not None and here[-1] + 1 < len(laid) and laid[here[-1] + 1].kind == "garage":
                    lone = home.model_copy(update={"activities": (work.model_copy(update={"run": one.run}),)})
                    durations[here[-1] + 1] = draw_chain(lone, durations.shape[1], question.seed).durations[0]
    return Chain(chain.activities, durations, durations, tuple(outs), chain.under_way)


def _judged(
    question: AdviceQuestion, plan: tuple[Sequence, ...], shares: dict[int, NDArray[np.float64]], per_change: float
) -> Tried:
    choices = question.choices
    final = dict(shares)
    for sequence in plan:
        for run, _, _ in sequence:
            one = choices[run]
            for other in shares:
                if (choices[other].car, choices[other].run) == (one.car, one.same_as):
                    final[run] = np.where(final[other] > 0, final[run], 0.0)
    sure = np.ones(question.snapshot.futures, dtype=bool)
    for i, one in enumerate(choices):
        if one.want == "must" and _doable(question, i):
            sure &= final[i] > 0 if i in final else False
    worth = 0.0
    for run, share in final.items():
        one = choices[run]
        whole = np.ones(sure.size, dtype=bool)
        for i, two in enumerate(choices):
            if one.group is not None and (two.car, two.group) == (one.car, one.group):
                whole &= final[i] > 0 if i in final else False
        worth += CLASS_WEIGHT[one.want] * one.value * float((share * whole).mean())
    edits = sum(_edits(question, car.car, sequence) for car, sequence in zip(question.snapshot.cars, plan, strict=True))
    done = {run for sequence in plan for run, _, _ in sequence}
    edits += sum(_doable(question, i) and i not in done for i in range(len(choices)))
    return Tried(worth, worth - per_change * edits, float(sure.mean()), plan)


def _edits(question: AdviceQuestion, car: str, sequence: Sequence) -> int:
    own = [run for run, _, _ in sequence if question.choices[run].car == car]
    shortened = sum(timed < question.choices[run].timed for run, timed, _ in sequence)
    merged = sum(one[2] for one in sequence)
    rises = max((size for size in range(len(own) + 1) if any(
        list(kept) == sorted(kept) for kept in _subsequences(own, size))), default=0)
    return shortened + merged + len(sequence) - len(own) + len(own) - rises


def _subsequences(own: list[int], size: int) -> Iterator[tuple[int, ...]]:
    yield from combinations(own, size)
