"""The base of every fact: frozen, with ``id`` and ``t``; and the words that facts and commands share."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from pitwall.model.base import Frozen
from pitwall.model.units import Seconds

MessageId = Annotated[str, StringConstraints(min_length=1, max_length=128)]
Hand = Annotated[str, StringConstraints(min_length=1, max_length=40)]
SessionStatus = Literal["waiting", "green", "yellow", "slow", "red", "finished", "closed"]
PitExit = Literal["open", "closed"]


class Fact(Frozen):
    """Base of every fact."""

    id: MessageId
    t: Seconds = Field(ge=-86_400, le=172_800, description="session seconds when it happened; zero is the green light")
