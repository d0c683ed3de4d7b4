"""Words of a typed comment that are read as one: a form, turns, or an aside."""

from __future__ import annotations

from dataclasses import dataclass

from pitwall.comments.entries import Entry
from pitwall.comments.splitting import Word


@dataclass(frozen=True)
class Group:
    """Words that are read as one: a form, turns, or an aside, which has neither entry nor turns.

    ``unread``: an aside that nobody knows; it is kept if it stands rightly (``loose.py``).
    """

    words: tuple[Word, ...]
    entry: Entry | None = None
    turns: tuple[int, ...] = ()
    form: str = ""
    unread: bool = False

    @property
    def word(self) -> Word:
        """All of it as it was typed, or its first word where there is more than a space between them."""
        first, last = self.words[0], self.words[-1]
        whole = Word(" ".join(word.text for word in self.words), first.at)
        return whole if last.at + len(last.text) - first.at == len(whole.text) else first

    @property
    def part(self) -> str:
        """Which part of a remark it is."""
        return self.entry.part if self.entry is not None else "turn" if self.turns else "aside"

    @property
    def rated(self) -> bool:
        """True for how bad it is in figures."""
        return self.part == "severity" and self.form[:1].isdigit()
