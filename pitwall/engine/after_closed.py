"""Commands that cannot mean anything once the session is closed: the record is put right, nothing is begun or planned.

For half a minute after the close the desk still says what happened: lines, pit entries, calls that were said, and
``undo`` takes back a close that was a slip. Nothing follows closed, so no status, no clock and no plan can be changed.
"""

from __future__ import annotations

from pitwall.engine.answers import Refusal
from pitwall.engine.hand_words import tenths
from pitwall.engine.session_clock import SessionClock
from pitwall.model.events import CommandGiven

PLANS = ("extend", "shorten", "drop", "amend", "adopt", "decline", "switch_plan", "advise")
CARS = ("box", "quiet", "keep_in", "let_go", "take_over")


def demand_meaning(command: CommandGiven, clock: SessionClock, now: float) -> None:
    """Let a command pass that can still mean something.

    Raises:
        Refusal: with the reason, and how a close by a slip of the hand is taken back.
    """
    why = _why_not(command, clock, now) if clock.status == "closed" else None
    if why is not None:
        since = f"the session is closed since {tenths(clock.since_s)}"
        raise Refusal(f"{since}: {why}; was it closed by a slip, take that back with 'undo'")


def _why_not(command: CommandGiven, clock: SessionClock, now: float) -> str | None:
    name = command.command
    if name == "status" and (command.status != "closed" or command.sectors):
        return "no status follows"
    if name == "clock":
        return "no time is left to count"
    if name == "pit_exit":
        return "the pit exit opens for nobody"
    if name == "pit" and command.where == "exit" and min(command.t, now) > clock.since_s:
        return "no car leaves; an exit from before wants its time (--at)"
    if name in PLANS:
        return "no run is left to plan"
    if name in CARS:
        return "no car is to be called or held"
    return "nothing is left to say" if name == "defer" else None
