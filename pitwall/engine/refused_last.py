"""What a hand asked for last and did not get, so that an ``undo`` right after it takes nothing older back.

Who presses ``undo`` means what was entered just now. Where that was refused, or was so already, nothing was done, and
what the hand had entered before stands for good reason: the first such ``undo`` says so and names it, the second takes
it back.
"""

from __future__ import annotations

from collections.abc import Callable

from pitwall.engine.answers import Answer, Refusal
from pitwall.engine.team import TeamCar
from pitwall.model.events import CommandGiven

REMEDY = "'undo'"
"""A refusal that names it as the way out means what was entered before: the first one takes that back."""


def noting(command: CommandGiven, car: TeamCar, now: float, carry_out: Callable[[], Answer]) -> Answer:
    """Carry the command out, and note whether it was refused, or had nothing to do.

    Raises:
        Refusal: as it comes, with the reason for the desk.
    """
    try:
        answer = carry_out()
    except Refusal as refusal:
        if command.command != "undo" and REMEDY not in str(refusal):
            car.desk.refused[command.by] = (command.command, now)
        raise
    if answer.did_nothing:
        car.desk.refused[command.by] = (command.command, now)
    else:
        car.desk.refused.pop(command.by, None)
    return answer


def take(command: CommandGiven, car: TeamCar, since: float) -> str | None:
    """The command of this hand that was refused last, where nothing of it was accepted since then and it was given
    after ``since``, session seconds; asked once, it is not in the way any more."""
    name, t = car.desk.refused.pop(command.by, ("", since))
    return name if t > since else None
