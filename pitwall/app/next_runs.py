"""Runs that go on into the next session: what was not driven, and what is left of the items of what was."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from pitwall.app.debrief_items import NO_COMMENT
from pitwall.app.next_rest import (
    LEFT,
    Carried,
    broken_off,
    laps_for,
    on_laps,
    only_readies,
    readied,
    with_taken_out,
)
from pitwall.engine.run_state import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.debrief_rows import ItemRow
from pitwall.model.plan import Item, LapKind, Plan, ReleaseWindow, Run, Want, write_laps
from pitwall.model.procedure import Procedure

LONGEST_NAME = 32
WANTS: tuple[Want, ...] = ("must", "should", "could")
WORDS = {"planned": "not driven", "next": "not driven", "running": "not finished", "done": "broken off"}


def carried_runs(
    car: TeamCar, items: Iterable[ItemRow], session: str, there: Collection[Run] = ()
) -> tuple[Carried, ...]:
    """Every run that is still to be done, in the order of the plan in use, and its place.

    Those of an alternate that the car has left are not: nobody is owed a wet run in the dry (``left_behind``).

    Args:
        car: as it stands at the end of the journal.
        items: what became of each item.
        session: the name of the session that is over, for the words.
        there: runs that the next plan has already. One of the same name, or one that says that it is what is left of
            the same run, is not carried again. What is left of a run gets a name that no other run has.
    """
    rows = list(items)
    taken = {run.run for run in there}
    again = {run.purpose for run in there if run.purpose}
    # Also the names of runs that were done: what repeats one must not come to mean what is left of another.
    used = taken | {run.run for run in car.plan.runs} | {state.run.run for state in car.progress.runs}
    found: list[Carried] = []
    for state in car.progress.runs:
        if car.desk.left_with(state.run.run) is not None:
            continue
        one = _one(state, rows, session, used, car.setup.procedures)
        if one is None or (one.run.run in taken if one.run.run == state.run.run else one.run.purpose in again):
            continue
        used.add(one.run.run)
        found.append(one)
    names = {one.run.run for one in found} | taken
    return tuple(_untied(one, car.plan, names) for one in found)


def left_behind(car: TeamCar, items: Iterable[ItemRow]) -> tuple[str, ...]:
    """A sentence for each alternate that the car went over to and left again, and for each of its runs that was driven
    without all that it had to bring: they are not carried."""
    found: dict[str, list[str]] = {}
    driven: list[str] = []
    rows = [row for row in items if row.outcome in LEFT]
    for state in car.progress.runs:
        kind = car.desk.left_with(state.run.run)
        if kind is not None and (state.state != "done" or not state.counts):
            found.setdefault(kind, []).append(state.run.run)
        elif kind is not None:
            left = [_became(row) for row in rows if row.run == state.run.run]
            if state.laps_left:
                left.insert(0, f"{state.timed_own} of {state.timed_wanted} timed laps were driven")
            if left:
                driven.append(f"{state.run.run}: of the {kind} plan alone, which was left again; {'; '.join(left)}. "
                              "What is left of it is carried nowhere. Wanted all the same, it is in that plan's file")
    return (*(f"{', '.join(names)}: of the {kind} plan alone, which was left again; carried nowhere. Wanted all the "
              f"same, they are in its file" for kind, names in found.items()), *driven)


def too_late(car: TeamCar, items: Iterable[ItemRow], runs: Iterable[Run]) -> tuple[str, ...]:
    """A sentence for each run of which something was left that makes the car ready for laps that were driven without
    it, and that none of these runs has: nobody leaves the garage for that alone."""
    found = []
    rows, purposes = list(items), {run.purpose for run in runs}
    for state in car.progress.runs:
        if state.state == "done" and state.counts and car.desk.left_with(state.run.run) is None:
            left = [row for row in rows if row.run == state.run.run and row.outcome in LEFT]
            planned, standing = with_taken_out(state)
            ready = {one.key for one in standing if only_readies(one, planned, car.setup.procedures)}
            if left and all(row.item in ready for row in left) and (
                    _purpose(state) not in purposes):
                found.append(f"{state.run.run}: {_ready_words(left)}")
    return tuple(found)


def ready_for_nothing(car: TeamCar, items: Iterable[ItemRow]) -> frozenset[str]:
    """Keys of the items that are left and would only make the car ready for laps that were driven without them."""
    rows, found = list(items), set[str]()
    for state in car.progress.runs:
        if car.desk.left_with(state.run.run) is not None or not state.timed_own:
            continue
        one = _one(state, rows, "", (), car.setup.procedures)
        if one is not None:
            found |= one.late
        elif state.state == "done":
            planned, standing = with_taken_out(state)
            ready = {each.key for each in standing if only_readies(each, planned, car.setup.procedures)}
            found |= {row.item for row in rows if row.outcome in LEFT and row.item in ready}
    return frozenset(found)


def only_probable(items: Iterable[ItemRow], carried: Iterable[Carried]) -> tuple[str, ...]:
    """A sentence for what nobody saw to be done, of runs that do not go on as a whole: it is asked for once more only
    by a person, who has to know that it is in doubt."""
    again = {(one.run.run, item.do) for one in carried for item in one.run.items}
    found: dict[tuple[str, str, str], list[str]] = {}
    for row in items:
        if row.outcome == "probably_done" and (row.run, row.do) not in again:
            found.setdefault((row.run, row.do, row.reason), []).append(row.lap)
    return tuple(f"{run}: {do} on {', '.join(dict.fromkeys(laps))} was only probably done"
                 f"{f' ({why})' if why else ''}; the draft does not ask for it again. Is that sure enough"
                 for (run, do, why), laps in found.items())


def _one(
    state: RunState, rows: list[ItemRow], session: str, used: Collection[str], procedures: Mapping[str, Procedure]
) -> Carried | None:
    if state.state == "done" and state.counts and not state.laps_left:
        left = [row for row in rows if row.run == state.run.run and row.outcome in LEFT]
        return _rest(state, left, session, used, procedures)
    why = f": {state.reason}" if state.reason else ""
    if state.timed_own:
        # What was asked about laps that nobody drove, and not answered, is asked at the end of those laps.
        left = [row for row in rows if row.run == state.run.run and (
            row.outcome in LEFT or (row.outcome == "probably_done" and row.reason == NO_COMMENT))]
        rest = broken_off(state, left, session, why, procedures)
        # Of a run that counts nothing may go amiss of its items for the laps that it still has: it gets more of them.
        return _rest(state, left, session, used, procedures) if state.laps_left and rest.lacking else rest
    decide = (f"{state.run.run}: it was dropped in {session}{why}; is it wanted all the same, and so early",)
    return Carried(state.run, f"{WORDS.get(state.state, state.state)} in {session}{why}",
                   decide if state.state == "dropped" else ())


def _became(row: ItemRow) -> str:
    why = f": {row.reason}" if row.reason else ""
    return f"{row.do} on {row.lap} was {row.outcome.replace('_', ' ')}{why}"


def _free_name(run: str, used: Collection[str]) -> str:
    """``first-rest``, or ``first-rest-2`` and so on where that is the name of another run."""
    endings = itertools.chain(("-rest",), (f"-rest-{number}" for number in itertools.count(2)))
    return next(name for end in endings if (name := f"{run[: LONGEST_NAME - len(end)]}{end}") not in used)


def _rest(
    state: RunState, rows: list[ItemRow], session: str, used: Collection[str], procedures: Mapping[str, Procedure]
) -> Carried | None:
    """What is left of the items of a run that was driven: those items alone, and the laps that they need.

    It is wanted as its run was, or as the most wanted of these items where that is less: of a must that was driven a
    could may be left. Of a must that brought nothing of what it was for that is a must (``debrief_left.was_for``). How
    much an item is wanted inside it stays with the item. Where timed laps of it are left too, it
    has as many as are, and is wanted as its run was. What makes the car ready for a lap goes on where that lap does,
    and is no reason for a run.
    """
    planned, standing = with_taken_out(state)
    by_key = {row.item: row for row in rows}
    lacks = [one for one in standing if one.key in by_key]
    whole_worth = [one for one in lacks if not only_readies(one, planned, procedures)]
    if not lacks or not (whole_worth or state.laps_left):
        return None
    kept = _with_spare(state, planned, laps_for(planned, whole_worth, standing, procedures))
    ready = readied(planned, lacks, kept, procedures)
    kept = tuple(sorted({*kept, *laps_for(planned, [*whole_worth, *ready], standing, procedures)}))
    missing = [one for one in lacks if one in whole_worth or one in ready]
    whole = kept == tuple(range(len(planned)))
    items = []
    for number, item in {one.number: one.item for one in missing}.items():
        legs = sorted(one.leg for one in standing if one.number == number)
        own = sorted(one.leg for one in missing if one.number == number)
        items.append(item if (own == legs and whole) or not kept else on_laps(
            item, [planned[at] for at in kept], [kept.index(leg) for leg in own]))
    wants = [state.run.want]
    if not state.laps_left:
        wants.append(min((by_key[one.key].wanted for one in whole_worth), key=WANTS.index))
    laps = tuple(planned[at] for at in kept)
    run = state.run.model_copy(update={
        "run": _free_name(state.run.run, used), "want": max(wants, key=WANTS.index), "items": tuple(items),
        "shorten_to": None, "laps": laps, "purpose": _purpose(state), "group": None, "before": (),
    })  # fmt: skip
    late = [by_key[one.key] for one in lacks if one not in missing]
    told = "; ".join(_became(row) for row in rows if row not in late)
    decide = [f"{run.run}: {_ready_words(late)}"] if late else []
    if state.timed_wanted:
        decide.insert(0, f"{run.run}: {_few(state, session)}{_asks(planned, laps)}, or can another run take the items")
    return Carried(run, f"{state.run.run} was driven in {session}, but {told}", tuple(decide),
                   late=frozenset(row.item for row in late))


def _with_spare(state: RunState, planned: tuple[LapKind, ...], kept: tuple[int, ...]) -> tuple[int, ...]:
    """As many timed laps as are left of the run, or more where the items need more."""
    timed = [at for at, kind in enumerate(planned) if kind == "timed"]
    spare = [at for at in timed if at not in kept]
    more = max(state.laps_left - (len(timed) - len(spare)), 0)
    return tuple(sorted({*kept, *spare[::-1][:more]}))


def _few(state: RunState, session: str) -> str:
    return "" if not state.laps_left else (
        f"{state.timed_own} of {state.timed_wanted} timed laps of {state.run.run} were driven in {session}, and no "
        "'shorten_to' says that so few are enough; ")


def _asks(planned: tuple[LapKind, ...], laps: tuple[LapKind, ...]) -> str:
    return f"does it need all of {planned.count('timed')} timed laps" if laps == planned else (
        f"the draft asks for {write_laps(laps)}, of {write_laps(planned)}; is that enough, and with how much fuel")


def _purpose(state: RunState) -> str:
    return f"what is left of {state.run.run}"


def _ready_words(rows: Sequence[ItemRow]) -> str:
    what = "; ".join(f"{row.do} on {row.lap} was {row.outcome.replace('_', ' ')}"
                     + (f" ({row.reason})" if row.reason else "") for row in rows)
    return (f"{what}; the laps that it makes the car ready for were driven, so it is carried nowhere. Are they worth "
            "what they were for?")


def _untied(carried: Carried, plan: Plan, names: Collection[str]) -> Carried:
    """Without what bound it to the times and the runs of the session that is over."""
    run, decide = carried.run, list(carried.decide)
    changed: dict[str, Any] = {"before": tuple(name for name in run.before if name in names)}
    if run.release.not_before is not None or run.release.not_after is not None:
        changed["release"] = ReleaseWindow(gap_ahead_s=run.release.gap_ahead_s)
        decide.append(f"{run.run}: when it may leave; its times were of the session that is over")
    if run.window is not None:
        changed["window"] = None
        decide.append(f"{run.run}: its window; {run.window!r} was of the session that is over")
    if run.same_as is not None and run.same_as not in names:
        origin = plan.original(run)
        changed |= {"same_as": None, "switches": {**origin.switches, **run.switches},
                    "fuel_kg": run.fuel_kg if run.fuel_kg is not None else origin.fuel_kg,
                    "tyres": run.tyres or origin.tyres}  # fmt: skip
        decide.append(f"{run.run}: it repeated {run.same_as}, which was done; fuel and switches are copied from it")
    if run.group is not None:
        others = [one.run for one in plan.runs if one.group == run.group and one.run != run.run]
        if not set(others) <= set(names):
            changed["group"] = None
            decide.append(f"{run.run}: of its group {run.group!r} it is left alone; is it worth it without the others")
    items = tuple(_now(item, run, decide) for item in run.items)
    return Carried(run.model_copy(update={**changed, "items": items}), carried.source, tuple(decide))


def _now(item: Item, run: Run, decide: list[str]) -> Item:
    if item.when is None:
        return item
    names = {one.do for one in run.items}
    after = item.when.after_item if item.when.after_item in names else None
    if item.when.not_before is not None:
        decide.append(f"{run.run}: when {item.do} may be done; its moment was of the session that is over")
    return item.model_copy(update={"when": item.when.model_copy(update={"not_before": None}) if after else None})
