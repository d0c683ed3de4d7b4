"""What an item asks for with its procedure: the arguments that it gives it, and the positions of switches."""

from __future__ import annotations

from collections.abc import Mapping

from pitwall.engine.run_state import ItemState
from pitwall.model.car import Position
from pitwall.model.plan import Scalar
from pitwall.model.procedure import Procedure


def item_arguments(procedure: Procedure, item: ItemState) -> dict[str, Scalar]:
    """The item's arguments over the procedure's defaults, plus ``after``/``at`` as ``place``."""
    values: dict[str, Scalar] = {
        name: argument.default for name, argument in procedure.arguments.items() if argument.default is not None
    }
    values.update(item.item.arguments)
    place = item.item.after or item.item.at
    if place:
        values |= {"place": place, "after": place, "at": place}
    return values


def _resolve(value: Scalar, arguments: Mapping[str, Scalar]) -> Scalar | None:
    if isinstance(value, str) and value.startswith("{") and value.endswith("}"):
        return arguments.get(value[1:-1])
    return value


def item_switches(procedure: Procedure, item: ItemState, base: Mapping[str, Position]) -> dict[str, Position]:
    """Positions that the item asks for while it lasts, by switch; ``base`` is where ``by`` steps from."""
    arguments = item_arguments(procedure, item)
    found: dict[str, Position] = {}
    for name, position in sorted(procedure.switches.items()):
        switch, wanted = _resolve(name, arguments), _resolve(position, arguments)
        if isinstance(switch, str) and wanted is not None:
            found[switch] = wanted
    if procedure.by is not None:
        switch, amount = arguments.get("switch"), arguments.get(procedure.by)
        stands = base.get(switch) if isinstance(switch, str) else None
        # A text position has no steps; the checks say so before the session.
        if isinstance(switch, str) and isinstance(amount, int | float) and isinstance(stands, int | float):
            found[switch] = round(float(stands) + float(amount), 6)
    return found
