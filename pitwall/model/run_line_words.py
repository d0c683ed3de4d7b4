"""The words of a run's line, read from left to right: numbers, quoted texts, times and lists."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

from pitwall.model.plan import Scalar
from pitwall.model.units import seconds_from_text

QUOTED = r'"(?:[^"\\]|\\.)*"'
_TOKENS = re.compile(rf"{QUOTED}|[=,/]|[^\s=,/\"]+")
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")


class Words:
    """The words of one part, read from left to right."""

    def __init__(self, part: str) -> None:
        self.part, self.left = part, _TOKENS.findall(part)

    def peek(self) -> str:
        """The next word; nothing at the end."""
        return self.left[0] if self.left else ""

    def take(self) -> str:
        """The next word, which is then behind us."""
        if not self.left:
            raise ValueError(f"{self.part!r} in a run's line: it ends too soon")
        return str(self.left.pop(0))

    def taken(self, *words: str) -> bool:
        """True, and these words are behind us, when they come next."""
        if tuple(self.left[: len(words)]) != words:
            return False
        del self.left[: len(words)]
        return True

    def text(self) -> str:
        """A text, with or without quotes."""
        word = self.take()
        return str(json.loads(word)) if word.startswith('"') else word

    def scalar(self) -> Scalar:
        """A figure, a truth value or a text."""
        word = self.take()
        if word.startswith('"') or word in ("true", "false") or NUMBER.fullmatch(word):
            value: Scalar = json.loads(word)
            return value
        return word

    def figure(self) -> float:
        """A number."""
        word = self.take()
        if NUMBER.fullmatch(word) is None:
            raise ValueError(f"{self.part!r} in a run's line: {word!r} is no number")
        return float(word)

    def time(self) -> object:
        """A time as plans write it; what the model makes seconds of."""
        word = self.take()
        if NUMBER.fullmatch(word) is None:
            return seconds_from_text(word)
        self.taken("s")
        return float(word)

    def several(self, one: Callable[[], Any]) -> list[Any]:
        """One or more of these, with commas between."""
        found = [one()]
        while self.taken(","):
            found.append(one())
        return found

    def pair(self) -> tuple[str, Scalar]:
        """A name and its value: ``name=value``."""
        name = self.text()
        if not self.taken("="):
            raise ValueError(f"{self.part!r} in a run's line: expected {name}=...")
        return name, self.scalar()
