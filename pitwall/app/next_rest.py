"""What is left of a run that was broken off: the laps that were not driven, and the items that were not done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pitwall.engine.run_state import ItemState, RunState
from pitwall.model.debrief_rows import ItemRow
from pitwall.model.plan import Item, LapChoice, LapKind, Run, write_laps

LEFT = ("not_done", "done_badly")


@dataclass(frozen=True)
class Carried:
    """A run of the draft: where it comes from, and what a person has to decide about it. ``lacking``: on so many laps
    its items were not done and have no lap in it."""

    run: Run
    source: str
    decide: tuple[str, ...] = ()
    lacking: int = 0


def broken_off(state: RunState, rows: Sequence[ItemRow], session: str, why: str) -> Carried:
    """The rest of a run of which some timed laps were driven, under its name.

    Args:
        state: the run as it stands.
        rows: its items that are left.
        session: the name of the session that is over, for the words.
        why: the reason that it was broken off, in words, or nothing.
    """
    run, driven = state.run, state.timed_own
    cut = "ended" if state.counts else "broken off"
    source = f"{cut} in {session} after {driven} timed lap{'s' if driven != 1 else ''}{why}"
    told = f"{run.run}: {driven} of {state.timed_wanted} timed laps were driven in {session}"
    told += ", and no 'shorten_to' says that so few are enough" if state.counts else ""
    begin = _resumes(state)
    if begin is None:
        return Carried(run, source, (f"{told}; the draft asks for all of them again",))
    laps: tuple[LapKind, ...] = ("out", *state.laps[begin:])
    left = {one.number: one.item for one in state.items if one.key in {row.item for row in rows}}
    items: list[Item] = []
    lost: list[str] = []
    lacking = 0
    for number, item in left.items():
        legs = [one for one in state.items if one.number == number and one.key in {row.item for row in rows}]
        moved = _moved([one for one in legs if one.taken_out is None], state.laps, begin)
        if any(one.taken_out is not None for one in legs):
            moved.add(max(at for at, kind in enumerate(laps) if kind == "timed"))
        if moved:
            items.append(on_laps(item, laps, sorted(moved)))
        short = max(len(legs) - len(moved), 0)
        lacking += short
        if short:
            lost.append(f"{item.do} was not done, and no such lap is left for it" if not moved else
                        f"{item.do} was not done on {len(legs)} laps, and {len(moved)} of them {_is(len(moved))} left")
    fewest = None if run.shorten_to is None else min(max(run.shorten_to - driven, 1), laps.count("timed"))
    rest = run.model_copy(update={"laps": laps, "items": tuple(items), "shorten_to": fewest})
    decide = [f"{told}; the draft asks for what is left. Is that worth anything by itself, and with how much fuel? "
              f"For the whole run again: laps: {write_laps(state.laps)}"]
    decide += [f"{run.run}: {one}" for one in lost]
    return Carried(rest, source, tuple(decide), lacking)


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


def laps_for(laps: Sequence[LapKind], items: Sequence[ItemState]) -> tuple[int, ...]:
    """Which laps of a run these items need: their own, the way out and in, and before a cool-down lap a timed one, for
    nobody drives one straight after an out-lap. All, where an item may be on several, or nothing leads out and in."""
    every = tuple(range(len(laps)))
    if laps[:1] != ("out",) or any(one.may_be_on for one in items):
        return every
    kept = {0, len(laps) - 1, *(one.leg for one in items)}
    for leg in sorted(kept):
        if laps[leg] == "cool":
            kept |= {max((at for at in every[:leg] if laps[at] == "timed"), default=0)}
    return tuple(sorted(kept))


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
