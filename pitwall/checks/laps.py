"""On which laps, and where on the lap, an item sits: does the run have that lap, and may it be done there?"""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around, meant
from pitwall.checks.codes import finding
from pitwall.checks.items import Placed, placed_items
from pitwall.errors import FilePath, Finding
from pitwall.model.plan import LAPS_EXAMPLE, LapChoice, Plan, Run
from pitwall.track.likely import laps_of
from pitwall.track.places import plain


def lap_words(run: Run) -> str:
    """The laps of a run as a person lists them: ``out, 3 timed, in``."""
    kinds = dict.fromkeys(run.laps)
    return ", ".join(f"{run.laps.count(kind)} {kind}" if kind in ("timed", "cool") else kind for kind in kinds)


def check_laps(plan: Plan, around: Around) -> Iterator[Finding]:
    """Lap numbers and kinds of every item."""
    told: set[int] = set()
    for placed in placed_items(plan, around):
        if not placed.run.laps:
            if placed.item.on and placed.run.after_flag is None:
                # Nothing says that this is a block after the flag: the laps were forgotten, once for all its items.
                if placed.index not in told:
                    yield _no_laps(placed)
                told.add(placed.index)
            elif placed.item.on:
                yield finding("PW207", path=(*placed.path, "on"), expected="no 'on'",
                              found=f"laps in run {placed.run.run!r}, which has none")
            continue
        if not placed.item.on:
            yield from _first_lap(placed)
        for choice in placed.item.on:
            yield from _choice(placed, choice)


def _no_laps(placed: Placed) -> Finding:
    named = dict.fromkeys(choice.kind for item in placed.run.items for choice in item.on)
    return finding("PW012", path=("runs", placed.index), expected="the laps of the run",
                   found=f"no key 'laps', but items on {' and '.join(named)}",
                   suggestion=f"add a line such as 'laps: {LAPS_EXAMPLE}'")


_BEFORE_LEAVING = ("garage", "pit_exit")
"""Where steps are said as the run begins: an item of only such steps has no lap to be asked for."""


def _first_lap(placed: Placed) -> Iterator[Finding]:
    allowed = placed.procedure.laps if placed.procedure is not None else ()
    first = placed.run.laps[0]
    if not allowed or first in allowed or (placed.run.out_in and "installation" in allowed):
        steps = placed.procedure.steps if placed.procedure is not None else ()
        if not placed.run.out_in and any(step.where not in _BEFORE_LEAVING for step in steps):
            yield finding("PW209", path=placed.path, found=f"{placed.item.do!r} on no lap in particular",
                          expected=f"'on', else it is called on the first lap ({first}-lap)",
                          suggestion=f"write 'on: {first}' if that is meant")
        return
    fit = [kind for kind in dict.fromkeys(placed.run.laps) if kind in allowed]
    only = f"run {placed.run.run!r} has only {lap_words(placed.run)}"
    yield finding("PW208", path=placed.path, expected=f"'on' with one of: {', '.join(allowed)}",
                  found=f"{placed.item.do!r} on no lap in particular, so on the first, {first!r}",
                  suggestion=f"write 'on: {fit[0]}'" if fit else only)


def _choice(placed: Placed, choice: LapChoice) -> Iterator[Finding]:
    run, path = placed.run, (*placed.path, "on")
    of_kind = laps_of(run, choice.kind)
    if not of_kind:
        fit = "write 'on: out' or 'on: in'" if choice.kind == "installation" else None
        yield finding("PW202", path=path, found=f"{choice.kind!r}, a lap that run {run.run!r} does not have",
                      expected=f"one of its laps: {lap_words(run)}", suggestion=fit)
        return
    for number in choice.numbers:
        if number > len(of_kind):
            yield finding("PW201", path=path, found=f"{choice.kind} lap {number} of run {run.run!r}",
                          expected=f"1 to {len(of_kind)}" if len(of_kind) > 1 else f"1, its only {choice.kind} lap")
    allowed = placed.procedure.laps if placed.procedure is not None else ()
    halves = run.out_in and "installation" in allowed
    if allowed and choice.kind not in allowed and not halves:
        yield finding("PW203", path=path, found=f"{placed.item.do!r} on a {choice.kind!r} lap",
                      expected=f"one of: {', '.join(allowed)}")


def check_places(plan: Plan, around: Around) -> Iterator[Finding]:
    """Places: known, given where needed, left out where they mean nothing."""
    for placed in placed_items(plan, around):
        key = "after" if placed.item.after is not None else "at" if placed.item.at is not None else None
        need = placed.procedure.place if placed.procedure is not None else None
        if key is None:
            if need == "needed":
                yield finding("PW205", path=placed.path, found=f"no place for {placed.item.do!r}",
                              expected="'after: turn N' or 'at: place'")
            continue
        path = (*placed.path, key)
        if need == "none":
            yield finding("PW206", path=path, found=f"a place for {placed.item.do!r}",
                          expected="none, it has no use for it")
        yield from _place(str(placed.item.after or placed.item.at), path, placed, around)


_OFF_LAP = ("grid", "garage", "pit box")
"""Places off the lap where a block without laps may be done, such as starts after the flag."""


def _place(name: str, path: FilePath, placed: Placed, around: Around) -> Iterator[Finding]:
    if around.circuit is None:
        return
    known = around.circuit.place_names()
    if plain(name) in {plain(one) for one in known}:
        return
    if not placed.run.laps and plain(name) in _OFF_LAP:
        return
    choices = known if placed.run.laps else (*_OFF_LAP, *known)
    yield finding("PW204", path=path, found=f"unknown place {name!r}", expected=f"a place of {around.circuit_file}",
                  suggestion=meant(plain(name), choices))
