"""The one answer to a command: its effect in words, or a refusal that says why. Each family of commands has its own
file of handlers; ``commands.py`` knows them all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pitwall.engine.team import TeamCar
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import Output


class Refusal(Exception):
    """The command is not taken; the text is the reason given to the desk."""


@dataclass
class Answer:
    """What a command did: one sentence, further outputs, whether the plan changed, and of which other cars also.

    ``takes_back_t``: when the change of the plan was made that it takes back, session seconds. ``did_nothing``: what
    was asked for was so already, and there is nothing to take back."""

    effect: str
    outputs: tuple[Output, ...] = ()
    plan_changed: bool = False
    also: tuple[str, ...] = ()
    takes_back_t: float | None = None
    did_nothing: bool = False


Handler = Callable[[CommandGiven, TeamCar, float], Answer]
"""Carries out one command on a car at a session second; raises Refusal."""
