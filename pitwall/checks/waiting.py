"""Items that wait for a moment of the session or for another item: can their turn come at all, and will it?"""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around, meant
from pitwall.checks.codes import finding
from pitwall.checks.items import Placed, placed_items
from pitwall.checks.spans import spans_of
from pitwall.errors import FilePath, Finding
from pitwall.model.plan import Item, Plan, Run
from pitwall.model.procedure import Procedure
from pitwall.model.units import clock_text
from pitwall.track.likely import lap_indices


def check_waiting(plan: Plan, around: Around) -> Iterator[Finding]:
    """Every 'when' of the plan."""
    waiting = [placed for placed in placed_items(plan, around) if placed.item.when is not None and placed.run.laps]
    for placed in waiting:
        yield from _for_an_item(placed, around)
    yield from _for_a_moment(plan, waiting, around)


def _path(placed: Placed, key: str) -> FilePath:
    return (*placed.path, "when", key)


def _for_an_item(placed: Placed, around: Around) -> Iterator[Finding]:
    when = placed.item.when
    name = when.after_item if when is not None else None
    if name is None:
        return
    there = [other for other in placed.run.items if other is not placed.item]
    if name not in {other.do for other in there}:
        own = " but itself" if name == placed.item.do else ""
        yield finding("PW215", path=_path(placed, "after_item"), expected=f"another item of run {placed.run.run!r}",
                      found=f"no item {name!r} in run {placed.run.run!r}{own}",
                      suggestion=meant(name, dict.fromkeys(other.do for other in there)))
        return
    circle = _circle(placed.run, placed.item.do)
    if circle:
        yield finding("PW216", path=_path(placed, "after_item"), found=" waits for ".join(circle),
                      expected="one of them that waits for nothing")
        return
    laps = may_be_on(placed.run, placed.item, placed.procedure)
    first = min((lap for other in there if other.do == name
                 for lap in may_be_on(placed.run, other, around.procedures.get(other.do))), default=None)
    placeless = placed.item.after is None and placed.item.at is None
    if laps and first is not None and (max(laps) < first or (max(laps) == first and placeless)):
        yield finding("PW217", path=_path(placed, "after_item"),
                      found=f"{placed.item.do!r} has no lap after the first of {name!r}",
                      expected="a later lap in 'on'")


def may_be_on(run: Run, item: Item, procedure: Procedure | None) -> tuple[int, ...]:
    """The laps of its 'on' on which the procedure allows it."""
    laps = lap_indices(run, item.on)
    allowed = procedure.laps if procedure is not None else ()
    return tuple(lap for lap in laps if not allowed or run.laps[lap] in allowed or run.out_in)


def _circle(run: Run, name: str) -> list[str]:
    """The names of a circle of waiting that leads back to this one; empty when there is none."""
    passed = [name]
    while True:
        following = next((item.when.after_item for item in run.items
                          if item.do == passed[-1] and item.when is not None and item.when.after_item), None)
        if following is None or (following in passed and following != name):
            return []
        passed.append(following)
        if following == name:
            return passed


def _for_a_moment(plan: Plan, waiting: list[Placed], around: Around) -> Iterator[Finding]:
    session = around.regulations.window(plan.session) if around.regulations is not None else None
    spans = {span.run.run: span for span in spans_of(plan, around.lap.lap_s, around)} if around.lap is not None else {}
    for placed in waiting:
        moment = placed.item.when.not_before if placed.item.when is not None else None
        if moment is None or session is None:
            continue
        span = spans.get(placed.run.run)
        if moment >= session.duration_s:
            yield finding("PW217", path=_path(placed, "not_before"), found=f"{clock_text(moment)}, when the session is "
                          f"over", expected=f"a moment before {clock_text(session.duration_s)}")
        elif span is not None and not span.after_flag and moment >= span.end_s:
            yield finding("PW218", path=_path(placed, "not_before"), found=f"{clock_text(moment)}: by likely times run "
                          f"{placed.run.run!r} is over at {clock_text(span.end_s)}",
                          expected="an earlier moment, or the item on a later run")
