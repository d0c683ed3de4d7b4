"""Changes of a plan that the desk may ask for with ``amend``: small, typed, each one sentence in the trade's words."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, TypeAdapter, ValidationError

from pitwall.model.base import Frozen, Label, Name, Slug
from pitwall.model.plan import Item, Laps, Run, Scalar
from pitwall.model.run_line import run_from_line

ItemName = Annotated[str, Field(min_length=1, max_length=64)]
"""An item of a run: its key as the plan state gives it (``holds-1-flap_compare-2``), or the procedure's name."""


class InsertRun(Frozen):
    """A new run, after another one; without ``after`` it becomes the next run."""

    do: Literal["insert_run"]
    run: Annotated[Run, BeforeValidator(run_from_line, json_schema_input_type=Run | str)] = Field(
        description="as in a plan file, or in one line: 'long: out, 8 timed, in · B2 · 40 kg · should'"
    )
    after: Slug | None = None


class MoveRun(Frozen):
    """A run that has not begun goes elsewhere: after another one, or, without ``after``, to be the next."""

    do: Literal["move_run"]
    run: Slug
    after: Slug | None = None


class SwapRuns(Frozen):
    """Two runs that have not begun change places."""

    do: Literal["swap_runs"]
    run: Slug
    other: Slug


class InsertItem(Frozen):
    """A new item on a run."""

    do: Literal["insert_item"]
    run: Slug
    item: Item


class MoveItem(Frozen):
    """An item goes to another run, or to other laps of its own (``on`` as in a plan file)."""

    do: Literal["move_item"]
    run: Slug
    item: ItemName
    to: Slug | None = None
    on: str | dict[str, int | tuple[int, ...]] | tuple[str, ...] | None = None


class SwapItem(Frozen):
    """An item makes room for another on the same run."""

    do: Literal["swap_item"]
    run: Slug
    item: ItemName
    new: Item


class SetLaps(Frozen):
    """Other laps for a run: the shorthand or the list, as in a plan file."""

    do: Literal["set_laps"]
    run: Slug
    laps: Laps


class SetRunTyres(Frozen):
    """Another tyre set for a run."""

    do: Literal["set_run_tyres"]
    run: Slug
    tyres: Label


class SetRunFuel(Frozen):
    """Another fuel load for a run, kg at release."""

    do: Literal["set_run_fuel"]
    run: Slug
    fuel_kg: float = Field(ge=0, le=500)


class SetRunSwitch(Frozen):
    """Another position of a switch for the whole of a run."""

    do: Literal["set_run_switch"]
    run: Slug
    switch: Name
    position: Scalar


class SetRunDriver(Frozen):
    """Another driver for a run."""

    do: Literal["set_run_driver"]
    run: Slug
    driver: Name


class DropRun(Frozen):
    """A run that is not to be done."""

    do: Literal["drop_run"]
    run: Slug


class DropItem(Frozen):
    """An item that is not to be done."""

    do: Literal["drop_item"]
    run: Slug
    item: ItemName


PlanChange = Annotated[
    InsertRun | MoveRun | SwapRuns | InsertItem | MoveItem | SwapItem | SetLaps | SetRunTyres | SetRunFuel
    | SetRunSwitch | SetRunDriver | DropRun | DropItem,
    Field(discriminator="do"),
]

_CHANGES: TypeAdapter[tuple[PlanChange, ...]] = TypeAdapter(tuple[PlanChange, ...])
MOST_TOLD = 3


def changes_from_wire(value: object) -> object:
    """Read changes as a plan file is read: laps, laps of items and whole runs may be written in every way they may be
    written there.

    Raises:
        ValueError: naming each change that cannot be read by its number, and why.
    """
    if not isinstance(value, list | tuple):
        return value
    try:
        return _CHANGES.validate_python(tuple(value), strict=False)
    except ValidationError as error:
        told = [_told(one["loc"], one["msg"]) for one in error.errors()[:MOST_TOLD]]
        raise ValueError("; ".join(told)) from None


def _told(place: tuple[int | str, ...], message: str) -> str:
    number = f"change {int(place[0]) + 1}" if place else "changes"
    where = ".".join(str(part) for part in place[1:])
    return f"{number}{f' ({where})' if where else ''}: {message.removeprefix('Value error, ')}"


PlanChanges = Annotated[tuple[PlanChange, ...], BeforeValidator(changes_from_wire)]
"""A list of changes, all to be made or none."""
