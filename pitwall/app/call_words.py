"""Calls by their words: people know a call by what is said, a command by its id."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from pitwall.errors import UserError
from pitwall.model.outputs import DeskState, Health, Output, Prompt
from pitwall.model.units import clock_text

WAITING = ("due", "shown")
TURN = ("due", "shown", "said", "late", "unconfirmed")
"""Whose turn it is among calls with the same words. The others are over, or planned: those wait for their own key, and
a second one for the call before must not use them up."""


def in_words(text: str, words: Mapping[str, str]) -> str:
    """A message with the words of each call in the place of its id.

    Args:
        text: what the daemon said.
        words: call id -> its words.
    """
    for call in sorted((call for call in words if call in text), key=len, reverse=True):
        shown = f"'{words[call]}'".replace("\\", r"\\")
        text = re.sub(rf"(?<![\w:/-])'?{re.escape(call)}'?(?![\w/~-]|:\w)", shown, text)
    return text


class CallWords:
    """The calls that were heard of on one session's topics."""

    def __init__(self) -> None:
        self._prompts: dict[str, Prompt] = {}

    def take(self, message: Output | Health) -> None:
        """Note the calls that a message tells of."""
        prompts: Iterable[Prompt] = ()
        if isinstance(message, DeskState):
            prompts = message.prompts
        elif isinstance(message, Prompt):
            prompts = (message,)
        for one in prompts:
            known = self._prompts.get(one.call)
            if known is None or one.revision >= known.revision:
                self._prompts[one.call] = one

    def told(self, text: str) -> str:
        """A message in words."""
        return in_words(text, {call: one.short for call, one in self._prompts.items()})

    def call_named(self, car: str, name: str) -> str:
        """The id of the call with these words, short or in full; an id stands for itself, and so does what is neither.

        Where it is no call's turn the last one that is over is meant, and the engine answers that it is.

        Raises:
            UserError: when several calls with these words wait to be said, or only planned ones have them; it tells
                the id of each, or of the next.
        """
        mine = [one for one in self._prompts.values() if one.car == car]
        same = [one for one in mine if _plain(name) in (_plain(one.short), _plain(one.text))]
        if name in self._prompts or not same:
            return name
        turn = sorted((one for one in same if one.state in TURN),
                      key=lambda one: (TURN.index(one.state), one.say_by_s, one.call))
        waiting = [one for one in turn if one.state in WAITING]
        if len(waiting) > 1:
            each = ", ".join(f"call={one.call} by {clock_text(one.say_by_s)}" for one in waiting)
            raise UserError(f"{len(waiting)} calls with the words {name!r} wait to be said: name one of {each}")
        over = [one for one in same if one.state not in TURN and one.state != "planned"]
        if not turn and not over:
            following = min(same, key=lambda one: (one.say_by_s, one.call))
            raise UserError(f"{name!r} is still to come, from {clock_text(following.say_from_s)} on: name it by its "
                            f"id, call={following.call}")
        return turn[0].call if turn else max(over, key=lambda one: (one.t, one.call)).call


def _plain(words: str) -> str:
    """As words are compared."""
    return " ".join(words.casefold().rstrip(". ").split())
