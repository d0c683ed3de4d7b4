"""What is left of a run that was broken off: the laps that were not driven, and the items that were not done."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from pitwall.engine.run_state import ItemState, RunState
from pitwall.model.debrief_rows import ItemRow
from pitwall.model.plan import Item, LapChoice, LapKind, Run, write_laps
from pitwall.model.procedure import Procedure

LEFT = ("not_done", "done_badly")


@dataclass(frozen=True)
class Carried:
    """A run of the draft: where it comes from, and what a person has to decide about it. ``lacking``: on so many laps
    its items were not done and have no lap in it. ``late``: items that would only make the car ready for laps that were
    driven."""

    run: Run
    source: str
    decide: tuple[str, ...] = ()
    lacking: int = 0
    late: frozenset[str] = frozenset()


def broken_off(
    state: RunState, rows: Sequence[ItemRow], session: str, why: str, procedures: Mapping[str, Procedure]
) -> Carried:
    """The rest of a run of which some timed laps were driven, under its name.

    Args:
        state: the run as it stands.
        rows: its items that are left.
        session: the name of the session that is over, for the words.
        why: the reason that it was broken off, in words, or nothing.
        procedures: of the session, by name.
    """
    run, driven = state.run, state.timed_own
    cut = "ended" if state.counts else "broken off"
    source = f"{cut} in {session} after {driven} timed lap{'s' if driven != 1 else ''}{why}"
    told = f"{run.run}: {driven} of {state.timed_wanted} timed laps were driven in {session}"
    told += ", and no 'shorten_to' says that so few are enough" if state.counts else ""
    begin = _resumes(state)
    if begin is None:
        if state.too_short:
            told += f", fewer than {run.shorten_to} ('shorten_to')"
        return Carried(run, source, (f"{told}; the draft asks for all of them again",))
    laps: tuple[LapKind, ...] = ("out", *state.laps[begin:])
    left = [_left(state, number, {row.item for row in rows}, begin, procedures)
            for number in dict.fromkeys(one.number for one in state.items if one.key in {row.item for row in rows})]
    decide = [f"{told}; the draft asks for what is left. Is that worth anything by itself, and with how much fuel? "
              f"For the whole run again: laps: {write_laps(state.laps)}"]
    fewest = None if run.shorten_to is None else min(max(run.shorten_to - driven, 1), laps.count("timed"))
    at = _reference_before(state, left, laps, procedures)
    if at is not None:
        what = next(one.item.do for one in left if at in one.legs and _compares(one.item, procedures))
        decide.append(f"{run.run}: a timed lap more than were left, for {what} is compared with it; the laps before it "
                      "were of another session")
        laps = (*laps[:at], "timed", *laps[at:])
        left = [replace(one, legs=tuple(leg + (leg >= at) for leg in one.legs)) for one in left]
        fewest = None if fewest is None else fewest + 1
    items = tuple(on_laps(one.item, laps, one.legs) for one in left if one.legs)
    rest = run.model_copy(update={"laps": laps, "items": items, "shorten_to": fewest})
    decide += [f"{run.run}: {one.lost}" for one in left if one.lost]
    late = frozenset(key for one in left for key in one.late)
    return Carried(rest, source, tuple(decide), sum(one.lacking for one in left), late)


@dataclass(frozen=True)
class _Left:
    """An item that is left of a run that was broken off: on which laps of the rest, and on how many it has none."""

    item: Item
    legs: tuple[int, ...]
    lacking: int
    lost: str
    late: tuple[str, ...] = ()


def _left(
    state: RunState, number: int, keys: Collection[str], begin: int, procedures: Mapping[str, Procedure]
) -> _Left:
    laps = ("out", *state.laps[begin:])
    legs = [one for one in state.items if one.number == number and one.key in keys]
    item, readies = legs[-1].item, any(only_readies(one, state.laps, procedures) for one in legs)
    moved = _moved([one for one in legs if one.taken_out is None], state.laps, begin)
    if any(one.taken_out is not None for one in legs):
        moved.add(max(at for at, kind in enumerate(laps) if kind == "timed"))
    if readies:
        moved = {at for at in moved if laps[at + 1 : at + 2] == ("timed",)}
    short = max(len(legs) - len(moved), 0)
    lost = "" if not short else (
        f"{item.do} was not done, and no such lap is left for it" if not moved else
        f"{item.do} was not done on {len(legs)} laps, and {len(moved)} of them {_is(len(moved))} left")
    late = tuple(one.key for one in legs) if readies and not moved else ()
    return _Left(item, tuple(sorted(moved)), 0 if readies else short, lost, late)


def _reference_before(
    state: RunState, left: Sequence[_Left], laps: Sequence[LapKind], procedures: Mapping[str, Procedure]
) -> int | None:
    """The first lap of the rest that would be compared with nothing; None where a lap to compare with is there, or the
    whole run had none."""
    compared = {at for one in left if _compares(one.item, procedures) for at in one.legs if laps[at] == "timed"}
    legs = [(one.item, at) for one in left for at in one.legs]
    had = plain_laps(state.laps, [(one.item, one.leg) for one in state.items], procedures)
    return min(compared) if compared and had and not plain_laps(laps, legs, procedures) else None


def with_taken_out(state: RunState) -> tuple[tuple[LapKind, ...], list[ItemState]]:
    """The laps of a run with those that the desk took out of it and on which something was to be done, before the
    in-lap; and its items on them."""
    known = {one.taken_out for one in state.items if one.taken_out is not None}
    labels = sorted(known, key=lambda label: (len(label), label))
    last, more = len(state.laps) - 1, len(labels)
    legs = {label: last + at for at, label in enumerate(labels)}
    back: list[LapKind] = ["timed"] * more
    items = [replace(one, leg=legs[one.taken_out] if one.taken_out is not None else
                     one.leg + more if labels and one.leg == last else one.leg) for one in state.items]
    return (*state.laps[:last], *back, *state.laps[last:]) if labels else state.laps, items


def laps_for(
    laps: Sequence[LapKind], items: Sequence[ItemState], run: Sequence[ItemState], procedures: Mapping[str, Procedure]
) -> tuple[int, ...]:
    """Which laps of a run these items need: their own, the way out and in, before a cool-down lap a timed one, for
    nobody drives one straight after an out-lap, and beside what is compared a timed lap without it: the one before, or
    the one after where none is. All, where an item may be on several, or nothing leads out and in.

    Args:
        laps: of the run.
        items: that are left of it.
        run: all items of it, done or not: a lap with another comparison on it is nothing to compare with.
        procedures: of the session, by name.
    """
    every = tuple(range(len(laps)))
    if laps[:1] != ("out",) or any(one.may_be_on for one in items):
        return every
    kept = {0, len(laps) - 1, *(one.leg for one in items)}
    plain = plain_laps(laps, [(one.item, one.leg) for one in run], procedures)
    for one in items:
        if _compares(one.item, procedures) and laps[one.leg] == "timed" and plain:
            before = [at for at in plain if at < one.leg]
            kept.add(before[-1] if before else plain[0])
    for leg in sorted(kept):
        if laps[leg] == "cool":
            kept |= {max((at for at in every[:leg] if laps[at] == "timed"), default=0)}
    return tuple(sorted(kept))


def readied(
    laps: Sequence[LapKind], items: Sequence[ItemState], kept: Collection[int], procedures: Mapping[str, Procedure]
) -> list[ItemState]:
    """Of these items those that make the car ready for a lap, where the lap after theirs is one of the laps kept; on
    the way out, where a timed lap follows."""
    first = min((at for at in kept if at > 0), default=0)
    return [one for one in items if _readies(one.item.do, procedures) and any(
        at in kept and laps[at] == "timed" for at in {first if leg == 0 else leg + 1
                                                      for leg in one.may_be_on or (one.leg,)})]


def only_readies(one: ItemState, laps: Sequence[LapKind], procedures: Mapping[str, Procedure]) -> bool:
    """Whether this item makes the car ready for the timed lap that follows it in these laps of its run, and is worth
    nothing without it. Where none follows it, as before the in-lap, it is wanted for itself."""
    return _readies(one.item.do, procedures) and any(
        laps[at + 1 : at + 2] == ("timed",) for at in one.may_be_on or (one.leg,))


def _readies(do: str, procedures: Mapping[str, Procedure]) -> bool:
    return do in procedures and procedures[do].readies


def _compares(item: Item, procedures: Mapping[str, Procedure]) -> bool:
    return item.do in procedures and procedures[item.do].compares


def plain_laps(
    laps: Sequence[LapKind], items: Sequence[tuple[Item, int]], procedures: Mapping[str, Procedure]
) -> list[int]:
    """The timed laps of a run on which nothing is compared; ``items``: each with its lap. One that is not put back is
    on every lap behind its own as well."""
    compared: set[int] = set()
    for item, leg in items:
        if _compares(item, procedures):
            stays = not (item.put_back and procedures[item.do].put_back)
            compared |= set(range(leg, len(laps))) if stays else {leg}
    return [at for at, kind in enumerate(laps) if kind == "timed" and at not in compared]


def on_laps(item: Item, laps: Sequence[LapKind], legs: Sequence[int]) -> Item:
    """The item on these laps of the run alone."""
    numbers: dict[LapKind, list[int]] = {}
    for leg in legs:
        kind = laps[leg]
        numbers.setdefault(kind, []).append(list(laps[: leg + 1]).count(kind))
    on = tuple(LapChoice(kind=kind, numbers=tuple(which) if list(laps).count(kind) > 1 else ())
               for kind, which in numbers.items())  # fmt: skip
    return item.model_copy(update={"on": on})


def _resumes(state: RunState) -> int | None:
    """The planned lap with which the rest begins; None where the laps do not tell, or none is left."""
    wanted = state.timed_wanted - state.timed_own
    if wanted <= 0 or state.out_in or state.laps[:1] != ("out",):
        return None
    # The latest such lap is a timed one: nobody drives a cool-down lap straight after an out-lap.
    return next(at for at in range(len(state.laps), 0, -1) if state.laps[at:].count("timed") == wanted)


def _moved(items: Sequence[ItemState], laps: Sequence[LapKind], begin: int) -> set[int]:
    """On which laps of the rest these are: their own, or where those were driven without them each the next such."""
    rest = ("out", *laps[begin:])
    moved: set[int] = set()
    driven: list[set[LapKind]] = []
    for item in items:
        legs = item.may_be_on or (item.leg,)
        ahead = [leg - begin + 1 for leg in legs if leg >= begin] + ([0] if 0 in legs else [])
        moved |= set(ahead)
        if not ahead:
            driven.append({laps[leg] for leg in legs})
    for kinds in driven:
        moved |= set([at for at, kind in enumerate(rest) if at > 0 and kind in kinds and at not in moved][:1])
    return moved


def _is(count: int) -> str:
    return "is" if count == 1 else "are"
