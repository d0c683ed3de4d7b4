"""How sure the musts are after a change of the plan: the forecast reckons it beside the daemon, whose answer lacks it.
Whoever waits for one answer alone waits the moment longer."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from pitwall.model.outputs import Answered, ForecastState, Health, Output

WITHIN_S = 3.0
"""The forecaster takes about a second; a wall that waits longer for one line does something else meanwhile."""
CHANGES_THE_PLAN = frozenset({"extend", "shorten", "drop", "amend", "adopt", "switch_plan"})
TAKEN_BACK = ("extend", "shorten", "drop", "box")
"""Changes of the plan that an undo takes back."""
TOLD_ALREADY = "already"
"""The answers that nothing changed have this word: no forecast follows them."""


def changed_the_plan(command: str, answer: Answered) -> bool:
    """Guard: a forecast of the changed plan follows this answer to the command."""
    if command == "undo":
        return any(f"taken back: {what}" in answer.effect for what in TAKEN_BACK)
    return command in CHANGES_THE_PLAN


class MustsAfter:
    """What the forecast said of one car before a command, and what it says after it."""

    def __init__(self, car: str, loop: asyncio.AbstractEventLoop) -> None:
        self._car = car
        self._before: ForecastState | None = None
        self._answered_s: float | None = None
        self._after: asyncio.Future[ForecastState] = loop.create_future()

    def hear(self, output: Output | Health) -> None:
        """Take a message."""
        if not isinstance(output, ForecastState) or output.car != self._car:
            return
        if self._answered_s is None:
            self._before = output
        elif output.t > self._answered_s and not self._after.done():
            self._after.set_result(output)

    async def words(self, answer: Answered, within_s: float = WITHIN_S) -> str:
        """What goes behind the answer to a change of the plan; nothing where no forecast comes in time, or no must is
        left to fit."""
        self._answered_s = answer.t
        if TOLD_ALREADY in answer.effect:
            return ""
        with suppress(TimeoutError):
            after = await asyncio.wait_for(asyncio.shield(self._after), within_s)
            return f"; {_words(after, self._before)}" if _asks(after) or after.musts_lost else ""
        return ""


def _words(after: ForecastState, before: ForecastState | None) -> str:
    lost = f"must-run lost: {', '.join(after.musts_lost)}" if after.musts_lost else ""
    if not _asks(after):
        return lost
    was = f" ({before.outlook.musts_chance:.0%} before)" if before is not None and _asks(before) else ""
    every = f"{lost}; every other must" if lost else "every must"
    return f"{every} of car {after.car} fits now: {after.outlook.musts_chance:.0%}{was}"


def _asks(state: ForecastState) -> bool:
    """Guard: a must is still to come."""
    return any(run.want == "must" for run in state.outlook.runs)
