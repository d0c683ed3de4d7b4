"""The items of a plan against the procedure library: does the procedure exist, are its arguments right?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pitwall.checks.around import Around, meant, near_only
from pitwall.checks.codes import finding
from pitwall.checks.names import bad_position, unknown_switch
from pitwall.errors import FilePath, Finding
from pitwall.model.car import Car, position_text, same_position
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
        return argument_of(self.item, self.procedure, name)

    def figure(self, value: str | float) -> float | None:
        """A number, or the number that the argument of that name holds; None when it is none."""
        return figure_of(self.item, self.procedure, value)

    @property
    def hold_mps(self) -> float | None:
        """Speed of its hold, m/s; None when it has none."""
        return hold_speed_mps(self.item, self.procedure)


def hold_speed_mps(item: Item, procedure: Procedure | None) -> float | None:
    """Speed of the item's hold, m/s, whatever unit the file has; None when there is none."""
    if procedure is None or procedure.hold is None:
        return None
    _, value, to_mps = procedure.hold.speed()
    speed = figure_of(item, procedure, value)
    return None if speed is None else speed * to_mps


def argument_of(item: Item, procedure: Procedure | None, name: str) -> Scalar | None:
    """What an item gives for an argument, or else the procedure's default."""
    if name in item.arguments:
        return item.arguments[name]
    known = procedure.arguments.get(name) if procedure is not None else None
    return known.default if known is not None else None


def figure_of(item: Item, procedure: Procedure | None, value: str | float) -> float | None:
    """A number, or the number that the item's argument of that name holds; None when it is none."""
    given = argument_of(item, procedure, value) if isinstance(value, str) else value
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
                              expected=argument_words(argument), suggestion=f"write 'with: {{{name}: ...}}'")
        for name, value in given.items():
            path = (*placed.path, "with", name)
            if name not in known:
                yield finding("PW122", path=path, found=f"unknown argument {name!r} of {placed.item.do!r}",
                              expected=f"one of: {', '.join(known)}" if known else "no arguments",
                              suggestion=near_only(name, list(known)))
            else:
                yield from _check_value(placed, known[name], value, path, around)
        if around.car is not None:
            yield from _check_positions(placed, around.car)


def fits_argument(argument: Argument, value: Scalar) -> bool:
    """Is this a value that the argument may have: of its type, one of its words, within its limits?"""
    if argument.one_of:
        return any(same_position(value, choice) for choice in argument.one_of)
    if not _has_type(argument, value):
        return False
    if isinstance(value, bool) or not isinstance(value, int | float):
        return True
    return (argument.low is None or value >= argument.low) and (argument.high is None or value <= argument.high)


def argument_words(argument: Argument) -> str:
    """What an argument may be, in words: ``a whole number from 1 to 8``."""
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
            yield finding("PW124", path=path, found=repr(value), expected=argument_words(argument),
                          suggestion=near_only(str(value), [str(choice) for choice in argument.one_of]))
        return
    if not _has_type(argument, value):
        yield finding("PW123", path=path, found=repr(value), expected=argument_words(argument))
        return
    if isinstance(value, int | float) and not isinstance(value, bool):
        low = argument.low is not None and value < argument.low
        if low or (argument.high is not None and value > argument.high):
            yield finding("PW124", path=path, found=f"{value:g}", expected=argument_words(argument))
    if argument.type == "switch" and around.car is not None and around.car.switch(str(value)) is None:
        yield unknown_switch(str(value), path, around.car, around.car_file)


def _check_positions(placed: Placed, car: Car) -> Iterator[Finding]:
    """Positions for switches of this car: given, by default, or written in the procedure itself."""
    procedure = placed.procedure
    assert procedure is not None
    told: set[tuple[str, str]] = set()
    pairs = [(str(filled(placed, name)), position) for name, position in procedure.switches.items()]
    of_argument, placed_there = _switch_of(placed), set(procedure.switches.values())
    pairs += [(of_argument, f"{{{name}}}") for name, argument in procedure.arguments.items()
              if argument.type == "position" and of_argument is not None and f"{{{name}}}" not in placed_there]
    for name, position in pairs:
        switch, value, source = car.switch(name), filled(placed, position), blank(position)
        known = procedure.arguments.get(source) if source is not None else None
        refused = known is not None and known.one_of and not any(same_position(value, one) for one in known.one_of)
        if switch is None or value is None or switch.can_be_set(value) or refused or (name, str(value)) in told:
            continue
        told.add((name, str(value)))
        given = source is not None and source in placed.item.arguments
        path: FilePath = (*placed.path, "with", str(source)) if given else placed.path
        yield bad_position(name, value, path, car)


def blank(value: Scalar) -> str | None:
    """``"{position}"`` names the argument ``position``; other values name none."""
    if isinstance(value, str) and value.startswith("{") and value.endswith("}"):
        return value[1:-1]
    return None


def filled(placed: Placed, value: Scalar) -> Scalar | None:
    """A value of the procedure as this item makes it; None when the argument it names is not given."""
    name = blank(value)
    return value if name is None else placed.argument(name)


def _switch_of(placed: Placed) -> str | None:
    """The switch that a position argument speaks of: the item's argument of type switch."""
    assert placed.procedure is not None
    names = [name for name, argument in placed.procedure.arguments.items() if argument.type == "switch"]
    value = placed.argument(names[0]) if names else None
    return value if isinstance(value, str) else None
