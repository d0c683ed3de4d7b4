"""The items of a plan against the procedure library: does the procedure exist, are its arguments right?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pitwall.checks.around import Around, meant
from pitwall.checks.codes import finding
from pitwall.checks.names import bad_position, unknown_switch
from pitwall.errors import FilePath, Finding
from pitwall.model.car import position_text, same_position
from pitwall.model.plan import Item, Plan, Run, Scalar
from pitwall.model.procedure import Argument, Procedure

_TYPE_WORDS = {"number": "a number", "whole": "a whole number", "text": "text", "switch": "the name of a switch",
               "position": "a position of a switch"}


@dataclass(frozen=True)
class Placed:
    """One item where it stands in the plan, with its procedure (None: unknown or unread)."""

    index: int
    run: Run
    item: Item
    procedure: Procedure | None
    path: FilePath

    def argument(self, name: str) -> Scalar | None:
        """What the item gives for an argument, or else the procedure's default."""
        if name in self.item.arguments:
            return self.item.arguments[name]
        known = self.procedure.arguments.get(name) if self.procedure is not None else None
        return known.default if known is not None else None

    def figure(self, value: str | float) -> float | None:
        """A number, or the number that the argument of that name holds; None when it is none."""
        given = self.argument(value) if isinstance(value, str) else value
        return float(given) if isinstance(given, int | float) and not isinstance(given, bool) else None


def placed_items(plan: Plan, around: Around) -> Iterator[Placed]:
    """Every item of the plan, in order."""
    for index, run in enumerate(plan.runs):
        for number, item in enumerate(run.items):
            yield Placed(index, run, item, around.procedures.get(item.do), ("runs", index, "items", number))


def check_procedures(plan: Plan, around: Around) -> Iterator[Finding]:
    """Unknown procedures."""
    for placed in placed_items(plan, around):
        name = placed.item.do
        if placed.procedure is None and name not in around.unread_procedures:
            known = sorted({*around.procedures, *around.unread_procedures})
            yield finding("PW103", path=(*placed.path, "do"), found=f"unknown procedure {name!r}",
                          expected=f"a procedure of {around.library}", suggestion=meant(name, known))


def check_arguments(plan: Plan, around: Around) -> Iterator[Finding]:
    """Missing, unknown and wrong arguments."""
    for placed in placed_items(plan, around):
        if placed.procedure is None:
            continue
        known, given = placed.procedure.arguments, placed.item.arguments
        for name, argument in known.items():
            if name not in given and argument.default is None:
                yield finding("PW121", path=placed.path, found=f"no argument {name!r} for {placed.item.do!r}",
                              expected=_argument_words(argument), suggestion=f"write 'with: {{{name}: ...}}'")
        for name, value in given.items():
            path = (*placed.path, "with", name)
            if name not in known:
                yield finding("PW122", path=path, found=f"unknown argument {name!r} of {placed.item.do!r}",
                              expected=f"one of: {', '.join(known)}" if known else "no arguments",
                              suggestion=_near_only(name, list(known)))
            else:
                yield from _check_value(placed, known[name], value, path, around)


def _near_only(word: str, known: list[str]) -> str | None:
    text = meant(word, known)
    return text if text and text.startswith("did") else None


def _argument_words(argument: Argument) -> str:
    words = _TYPE_WORDS[argument.type]
    if argument.one_of:
        return f"one of: {', '.join(position_text(value) for value in argument.one_of)}"
    if argument.low is not None and argument.high is not None:
        return f"{words} from {argument.low:g} to {argument.high:g}"
    if argument.low is not None or argument.high is not None:
        bound = f"{argument.low:g} or more" if argument.low is not None else f"{argument.high:g} or less"
        return f"{words}, {bound}"
    return words


def _has_type(argument: Argument, value: Scalar) -> bool:
    if argument.type == "number":
        return isinstance(value, int | float) and not isinstance(value, bool)
    if argument.type == "whole":
        return isinstance(value, int) and not isinstance(value, bool)
    return argument.type == "position" or isinstance(value, str)


def _check_value(
    placed: Placed, argument: Argument, value: Scalar, path: FilePath, around: Around
) -> Iterator[Finding]:
    if argument.one_of:
        if not any(same_position(value, choice) for choice in argument.one_of):
            yield finding("PW124", path=path, found=repr(value), expected=_argument_words(argument),
                          suggestion=_near_only(str(value), [str(choice) for choice in argument.one_of]))
        return
    if not _has_type(argument, value):
        yield finding("PW123", path=path, found=repr(value), expected=_argument_words(argument))
        return
    if isinstance(value, int | float) and not isinstance(value, bool):
        low = argument.low is not None and value < argument.low
        if low or (argument.high is not None and value > argument.high):
            yield finding("PW124", path=path, found=f"{value:g}", expected=_argument_words(argument))
    if argument.type == "switch" and around.car is not None and around.car.switch(str(value)) is None:
        yield unknown_switch(str(value), path, around.car, around.car_file)
    if argument.type == "position" and around.car is not None:
        switch = around.car.switch(_switch_of(placed) or "")
        if switch is not None and not switch.allows(value):
            yield bad_position(switch.switch, value, path, around.car)


def _switch_of(placed: Placed) -> str | None:
    """The switch that a position argument speaks of: the item's argument of type switch."""
    assert placed.procedure is not None
    names = [name for name, argument in placed.procedure.arguments.items() if argument.type == "switch"]
    value = placed.argument(names[0]) if names else None
    return value if isinstance(value, str) else None
