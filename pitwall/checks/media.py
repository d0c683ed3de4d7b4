"""What the plan's medium cannot carry: a pit board is short and asks nothing, a one-way radio hears nothing.

A board is read at the line, so what belongs to the out-lap is told in the garage, and that may be as long as it likes.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.flow.stakes import calls_of
from pitwall.checks.flow.story import lap_name
from pitwall.checks.items import Placed, placed_items
from pitwall.checks.laps import lap_indices
from pitwall.errors import Finding, UserError
from pitwall.model.plan import Plan
from pitwall.model.procedure import Step
from pitwall.radio.board import LINE_CHARACTERS, MOST_LINES, board_lines
from pitwall.radio.wording import fill, switch_words

STANDING = ("garage", "pit_exit", "pit_lane")


def check_medium(plan: Plan, around: Around) -> Iterator[Finding]:
    """Steps that the plan's medium cannot carry, each procedure once."""
    told: set[tuple[str, int]] = set()
    for placed in placed_items(plan, around) if plan.medium != "two_way" else ():
        on_track = not placed.run.out_in and any(index > 0 for index in lap_indices(placed.run, placed.item.on))
        for number, step in enumerate(placed.procedure.steps if placed.procedure is not None else ()):
            if step.where in STANDING or not on_track or (placed.item.do, number) in told:
                continue
            found = _on_board(placed, step) if plan.medium == "board" else _one_way(placed, step)
            if found is not None:
                told.add((placed.item.do, number))
                yield found


def check_boards(plan: Plan, around: Around) -> Iterator[Finding]:
    """Changes between two laps that one pass of the pit wall cannot show. The first ones are told in the garage."""
    if plan.medium != "board" or around.car is None:
        return
    driven = [index for index, run in enumerate(plan.runs) if run.laps]
    lines: dict[tuple[int, int], list[str]] = {}
    for call in calls_of(plan, around.car, around.procedures, around.wet):
        for name, to in zip(call.names, call.to, strict=True) if call.lap else ():
            switch = around.car.switch(name)
            short = switch_words(switch, to, None)[1] if switch is not None else name
            lines.setdefault((driven[call.run], call.lap or 0), []).extend(board_lines(short) or (short,))
    for (index, lap), needed in sorted(lines.items()):
        if len(needed) > MOST_LINES:
            run = plan.runs[index]
            yield finding("PW219", path=("runs", index), expected=f"{MOST_LINES} lines of {LINE_CHARACTERS} letters",
                          found=f"{len(needed)} lines on the {lap_name(run, lap)} of {run.run!r}: {' / '.join(needed)}")


def asks(step: Step) -> bool:
    """Guard: the step wants an answer."""
    return step.kind == "question" or "?" in step.say


def _one_way(placed: Placed, step: Step) -> Finding | None:
    if not asks(step):
        return None
    return finding("PW214", path=(*placed.path, "do"), found=f"{placed.item.do!r}, which asks the driver something",
                   expected="nothing that the driver must answer on track")


def _on_board(placed: Placed, step: Step) -> Finding | None:
    path = (*placed.path, "do")
    if asks(step):
        return finding("PW213", path=path, found=f"{placed.item.do!r}, which asks the driver something",
                       expected="nothing that the driver must answer on track")
    assert placed.procedure is not None
    values = {name: value for name in placed.procedure.arguments if (value := placed.argument(name)) is not None}
    place = placed.item.after or placed.item.at
    values |= dict.fromkeys(("place", "after", "at"), place) if place is not None else {}
    try:
        short = fill(step.short, values)
    except UserError:
        return None
    if board_lines(short) is not None:
        return None
    return finding("PW213", path=path, found=f"{short!r} of {placed.item.do!r}, which is too long for a board",
                   expected=f"at most {MOST_LINES} lines of {LINE_CHARACTERS} letters, no word longer than a line")
