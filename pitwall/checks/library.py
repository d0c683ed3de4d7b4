"""A procedure against itself and the cars: every blank, figure and switch it speaks of must exist."""

from __future__ import annotations

import string
from collections.abc import Iterator, Sequence

from pitwall.checks.around import meant
from pitwall.checks.codes import finding
from pitwall.checks.items import blank
from pitwall.checks.names import bad_position, unknown_switch
from pitwall.errors import FilePath, Finding
from pitwall.model.car import Car
from pitwall.model.plan import Scalar
from pitwall.model.procedure import Procedure

PLACE_BLANKS = ("after", "at", "place")
"""Blanks that are filled with the item's place; every other blank is an argument."""


def check_procedure(procedure: Procedure, cars: Sequence[tuple[str, Car]]) -> tuple[Finding, ...]:
    """All findings of one procedure.

    Args:
        procedure: the procedure.
        cars: (name of the car file, car) of the event; a switch must be on one of them at least.
    """
    return (*_texts(procedure), *_references(procedure), *_switches(procedure, cars))


def _texts(procedure: Procedure) -> Iterator[Finding]:
    known = [*procedure.arguments, *PLACE_BLANKS]
    for index, step in enumerate(procedure.steps):
        for key in ("say", "short"):
            path: FilePath = ("steps", index, key)
            try:
                names = [name for _, name, _, _ in string.Formatter().parse(getattr(step, key)) if name is not None]
            except ValueError as error:
                yield finding("PW131", path=path, found=f"braces that do not match ({error})", expected="{name}")
                continue
            for name in names:
                if name not in known:
                    yield finding("PW131", path=path, found=f"the blank {{{name}}}",
                                  expected=f"one of: {', '.join(known)}", suggestion=meant(name, known))
                elif name in PLACE_BLANKS and name not in procedure.arguments and procedure.place != "needed":
                    yield finding("PW131", path=path, expected="'place: needed'",
                                  found=f"the blank {{{name}}}, but an item may leave its place out")


def _references(procedure: Procedure) -> Iterator[Finding]:
    names: list[tuple[FilePath, str]] = []
    if procedure.hold is not None:
        pairs = (("seconds", procedure.hold.seconds), ("speed_mps", procedure.hold.speed_mps),
                 ("gear", procedure.hold.gear))
        names += [(("hold", key), value) for key, value in pairs if isinstance(value, str)]
    if procedure.by is not None:
        # A step needs to know which switch: the argument called 'switch' says it.
        names += [(("by",), procedure.by), (("by",), "switch")]
    for switch, position in procedure.switches.items():
        names += [(("switches", switch), text) for text in (blank(switch), blank(position)) if text is not None]
    for path, name in names:
        if name not in procedure.arguments:
            yield finding("PW132", path=path, found=f"{name!r}", expected="an argument of the procedure",
                          suggestion=meant(name, procedure.arguments))


def _switches(procedure: Procedure, cars: Sequence[tuple[str, Car]]) -> Iterator[Finding]:
    for name, position in procedure.switches.items():
        if blank(name) is not None or not cars:
            continue
        owners = [car for _, car in cars if car.switch(name) is not None]
        if not owners:
            yield unknown_switch(name, ("switches", name), cars[0][1], cars[0][0])
        elif blank(position) is None and not any(_allows(car, name, position) for car in owners):
            yield bad_position(name, position, ("switches", name), owners[0])


def _allows(car: Car, name: str, position: Scalar) -> bool:
    switch = car.switch(name)
    return switch is not None and switch.allows(position)
