"""What the screen's server answers a page that asks: what its user may do, and how a comment in shorthand reads."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any, get_args

from pitwall.app.brokers import RunningBroker
from pitwall.bus.users import OPEN_ROLE, Role, may_command, may_look_on, role_of
from pitwall.comments.completing import completions
from pitwall.comments.grouping import A_TURN
from pitwall.comments.shorthand import ShorthandError, parse
from pitwall.comments.writing import read_back
from pitwall.model.commands import CallCommand, CarCommand, PlanCommand, RecordCommand, TruthCommand

Answer = Callable[[Mapping[str, Any]], dict[str, Any]]
"""From the fields that a page sent to those of the answer; never raises."""

COMMANDS: tuple[str, ...] = tuple(
    name for group in (CallCommand, PlanCommand, CarCommand, TruthCommand, RecordCommand) for name in get_args(group)
)
MOST_READ = 300
"""Characters of a comment that are read while it is typed; a longer one is words, or is read once it is sent."""
MOST_OFFERED = 8
MOST_SLIPS = 6


def rights_told(broker: RunningBroker) -> Answer:
    """What the user of a page may do, by the very accounts that the broker goes by.

    Asked with ``name`` and ``token``. The answer has ``known`` (false of a broker elsewhere: it alone knows its users,
    so a page may try every command), ``role`` (null of a wrong name or token), ``reads`` (may it see the session) and
    ``commands``, the names of those that the page may send.
    """

    def answer(asked: Mapping[str, Any]) -> dict[str, Any]:
        if broker.kind == "elsewhere":
            return {"known": False, "role": None, "reads": True, "commands": list(COMMANDS)}
        role: Role | None = OPEN_ROLE
        if broker.accounts is not None:
            role = role_of(broker.accounts, str(asked.get("name", "")), str(asked.get("token", "")))
        may = role is not None and may_command(role)
        reads = role is not None and may_look_on(role)
        return {"known": True, "role": role, "reads": reads, "commands": list(COMMANDS) if may else []}

    return answer


def shorthand_told(turns: Collection[int]) -> Answer:
    """How a comment reads that is being typed, and which words may come next.

    Asked with ``text``. The answer has ``reads`` (the remarks in words, and what is kept as words; empty where it does
    not read), ``wrong`` (why not), ``no_turn`` (true where all that is wrong is a turn that the circuit does not have)
    and ``offers``: ``word``, its ``meaning``, and ``at``, the character from which the word takes the place of what was
    typed.

    Args:
        turns: the turns of the circuit; none: not known.
    """

    def answer(asked: Mapping[str, Any]) -> dict[str, Any]:
        text = str(asked.get("text", ""))
        if len(text) > MOST_READ:
            return {"reads": "", "wrong": "", "no_turn": False, "offers": []}
        # The short way of saying it before the long ones.
        found = sorted(completions(text, turns), key=lambda one: " " in one.word)[:MOST_OFFERED]
        offers = [{"word": one.word, "meaning": one.meaning, "at": one.at} for one in found]
        return {**_reading(text, turns), "offers": offers}

    return answer


def _reading(text: str, turns: Collection[int]) -> dict[str, Any]:
    try:
        typed = parse(text, turns)
    except ShorthandError as problem:
        return {"reads": "", "wrong": problem.briefly, "no_turn": _reads_elsewhere(text, turns)}
    return {"reads": "; ".join(read_back(typed.remarks, typed.text, typed.unread)), "wrong": "", "no_turn": False}


def _reads_elsewhere(text: str, turns: Collection[int]) -> bool:
    """True for what would read if its turns were there: a slip of the finger, not words of a sentence."""
    if not turns:
        return False
    for _ in range(MOST_SLIPS):
        try:
            return bool(parse(text, turns).remarks)
        except ShorthandError as problem:
            if not problem.expected.startswith(A_TURN):
                return False
            there = f"{'t' if problem.word[:1] in 'tT' else ''}{min(turns)}"
            text = text[: problem.at] + there + text[problem.at + problem.length :]
    return False
