"""The car on its way through the plan: what may happen, and where it stands at the start of a lap or in the garage."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from pitwall.checks.flow.course import ItemId, Spot
from pitwall.checks.flow.wheel import Missing, Wheel

Happens = Literal["missed", "left_out", "taken_out", "dropped", "broken_off", "called_in", "home", "free", "reset",
                  "order"]


class Event(NamedTuple):
    """One thing out of plan. ``lap`` is the lap it happens on, None in the garage; ``switches`` are names."""

    what: Happens
    run: int
    lap: int | None
    switches: tuple[str, ...] = ()
    to: tuple[Spot, ...] = ()
    next_lap: int | None = None
    how: Missing | None = None
    do: str | None = None
    item: ItemId | None = None


Events = tuple[Event, ...]


class State(NamedTuple):
    """The car at the start of a lap (``lap``), or in the garage before a run (``lap`` None).

    ``resume`` is the lap that follows the out-lap; ``alive`` the items of this lap that are done, ``stays`` those of
    earlier laps that are left on purpose, ``first`` those of the out-lap; ``begun`` says that the out-lap was driven to
    its end, ``again`` that laps are driven a second time, so that nobody can say how many count, and ``missed`` how
    many calls were missed so far.
    """

    run: int
    lap: int | None
    wheel: Wheel
    resume: int = 1
    alive: tuple[ItemId, ...] = ()
    stays: tuple[ItemId, ...] = ()
    first: tuple[ItemId, ...] | None = None
    begun: bool = False
    again: bool = False
    checked: bool = False
    missed: int = 0


Step = tuple[Events, State]

Names = Mapping[int, Spot]
