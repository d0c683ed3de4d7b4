"""What is left of a plan's data without the values that are wrong, so that the names in it can be looked up all the
same: one fault must not hide another."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from pitwall.model.plan import Plan

ROUNDS = 4
"""A value that is taken out may be missed elsewhere, once more and once more."""
CORE = frozenset({"run", "want", "laps", "tyres", "driver", "items"})
STAND_INS: Mapping[str, Any] = {"want": "should", "laps": "out, 4 timed, cool, 4 timed, in"}
"""For what a run cannot do without. Nothing is told of them."""


def rest_of(data: Mapping[str, Any]) -> Plan | None:
    """The plan without its faulty values; None where nothing is left that could be one."""
    left = copy.deepcopy(dict(data))
    for _ in range(ROUNDS):
        try:
            return Plan.model_validate(left)
        except ValidationError as error:
            taken = [_taken_out(left, one["loc"]) for one in error.errors()]
            if not all(taken):
                return None
    return None


def _taken_out(data: dict[str, Any], place: tuple[int | str, ...]) -> bool:
    """Take the value at that place out, or give what is missing there a stand-in; False where neither can be done."""
    here: Any = data
    last: tuple[dict[str, Any], str] | None = None
    run: Any = None
    for number, part in enumerate(place):
        if isinstance(here, dict) and part not in here and part in STAND_INS:
            here[str(part)] = STAND_INS[str(part)]
            return True
        if isinstance(here, list) and isinstance(part, int) and part < len(here):
            here, last = here[part], last if number > 1 else None
            run = here if number == 1 and place[0] == "runs" else run
        elif isinstance(here, dict) and part in here:
            last, here = (here, str(part)), here[part]
        else:
            break
    if last is not None and last[1] not in ("runs", "items", "run", "do"):
        last[0].pop(last[1], None)
        return True
    return isinstance(run, dict) and _of_itself(run)


def _of_itself(run: dict[str, Any]) -> bool:
    """What a run says does not fit together, and nobody knows which part is wrong: only what it must say stays."""
    more = run.keys() - CORE
    for key in more:
        del run[key]
    lacks = "laps" not in run
    run.setdefault("laps", STAND_INS["laps"])
    return bool(more) or lacks
