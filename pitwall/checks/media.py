"""What the plan's medium cannot carry: a pit board is short and asks nothing, a one-way radio hears nothing.

A board is read at the line, so what belongs to the out-lap is told in the garage, and that may be as long as it likes.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.items import Placed, placed_items
from pitwall.errors import Finding, UserError
from pitwall.model.plan import Plan, Run
from pitwall.model.procedure import Step
from pitwall.radio.board import LINE_CHARACTERS, MOST_LINES, board_lines
from pitwall.radio.wording import fill
from pitwall.track.likely import lap_indices

ASKED_ON = ("cool", "in", "installation")
"""Laps on which the driver is asked for what he did not say."""
STANDING = ("garage", "pit_exit", "pit_lane")
NO_QUESTION = "nothing that the driver must answer on track"
A_QUESTION = "a step with 'kind: question', which is asked in the garage once the car is back"


def check_medium(plan: Plan, around: Around) -> Iterator[Finding]:
    """Steps that the plan's medium cannot carry, each procedure once."""
    told: set[tuple[str, int]] = set()
    for placed in placed_items(plan, around) if plan.medium != "two_way" else ():
        # What belongs to the out-lap is told in the garage where a board is all that there is; a radio carries it.
        on_track = plan.medium == "one_way" or (
            not placed.run.out_in and any(index > 0 for index in lap_indices(placed.run, placed.item.on)))
        for number, step in enumerate(placed.procedure.steps if placed.procedure is not None else ()):
            if step.where in STANDING or (placed.item.do, number) in told:
                continue
            if not on_track:
                found = _before_leaving(placed, step) if plan.medium == "board" else None
            else:
                found = _on_board(placed, step) if plan.medium == "board" else _one_way(placed, step)
            if found is not None:
                told.add((placed.item.do, number))
                yield found


def check_feedback(plan: Plan, around: Around) -> Iterator[Finding]:
    """Comments that are wanted of a run, by itself or by what is done in it, and that no call will ask for."""
    for index, run in enumerate(plan.runs):
        if run.feedback and (why := _unasked(plan, run)):
            yield _never_asked(("runs", index, "feedback"), f"feedback of {run.run!r}: {', '.join(run.feedback)}", why)
    told: set[tuple[str, str]] = set()
    for placed in placed_items(plan, around):
        wanted = placed.procedure.feedback if placed.procedure is not None else ()
        if wanted and (placed.run.run, placed.item.do) not in told and (why := _unasked(plan, placed.run)):
            told.add((placed.run.run, placed.item.do))
            yield _never_asked((*placed.path, "do"), f"{placed.item.do!r}, which wants comments on "
                               f"{', '.join(wanted)}", why)  # fmt: skip


def _unasked(plan: Plan, run: Run) -> str:
    """Why no question is asked on this run; empty where one may be."""
    if plan.medium != "two_way":
        return "a plan for a radio in both directions, or no 'feedback'"
    if any(plan.may_say("question", kind) for kind in run.laps if kind in ASKED_ON):
        return ""
    return "a cool-down lap or an in-lap on which questions may be spoken"


def _never_asked(path: tuple[str | int, ...], found: str, expected: str) -> Finding:
    return finding("PW220", path=path, found=found, expected=expected)


def asks(step: Step) -> bool:
    """Guard: the step wants an answer."""
    return step.kind == "question" or "?" in step.say


def _asks_something(code: str, placed: Placed, expected: str) -> Finding:
    found = f"{placed.item.do!r}, which asks the driver something"
    return finding(code, path=(*placed.path, "do"), found=found, expected=expected)


def _one_way(placed: Placed, step: Step) -> Finding | None:
    return _asks_something("PW214", placed, NO_QUESTION) if asks(step) else None


def _on_board(placed: Placed, step: Step) -> Finding | None:
    if step.kind == "question":
        return None  # asked in the garage once the car is back: engine/rules/back_in_the_garage.py
    if asks(step):
        return _asks_something("PW213", placed, A_QUESTION)
    short = short_of(placed, step)
    if short is None or board_lines(short) is not None:
        return None
    too_long = f"{short!r} of {placed.item.do!r}, which is too long for a board"
    return finding("PW213", path=(*placed.path, "do"), found=too_long,
                   expected=f"at most {MOST_LINES} lines of {LINE_CHARACTERS} letters, no word longer than a line")


def _before_leaving(placed: Placed, step: Step) -> Finding | None:
    """What belongs to this lap is told in the garage before it: nobody can answer then, nor on the lap. A question is
    asked there once the car is back."""
    return _asks_something("PW222", placed, A_QUESTION) if asks(step) and step.kind != "question" else None


def short_of(placed: Placed, step: Step) -> str | None:
    """The short form with what the item gives; None where a word is missing, which other checks tell."""
    assert placed.procedure is not None
    values = {name: value for name in placed.procedure.arguments if (value := placed.argument(name)) is not None}
    place = placed.item.after or placed.item.at
    values |= dict.fromkeys(("place", "after", "at"), place) if place is not None else {}
    try:
        return fill(step.short, values)
    except UserError:
        return None
