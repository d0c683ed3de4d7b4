"""The line on which a comment of the driver is typed: its moment is that of the key that began it."""

from __future__ import annotations

from typing import Any

from pitwall.model.comments import Comment
from pitwall.model.units import clock_text

MOST_CHARACTERS = 2000
KEEP, DROP, RUB_OUT, COMPLETE = "enter", "escape", "backspace", "tab"
MOST_OFFERED = 4


class CommentLine:
    """One comment that is being typed: in shorthand, or in plain words where the shorthand does not read it."""

    def __init__(self, car: str, t: float, turns: tuple[int, ...] = ()) -> None:
        """Stamp the moment.

        Args:
            car: whose driver it was.
            t: session second of the key.
            turns: the turns that the circuit has; none: not known here.
        """
        self.car, self.t, self._turns = car, t, turns
        self.text = ""
        self.number: int | None = None

    @classmethod
    def of(cls, car: str, one: Comment, turns: tuple[int, ...] = ()) -> CommentLine:
        """A comment that stands already, as it would be typed: what is kept takes its place."""
        from pitwall.comments.writing import write  # only here, as below

        line = cls(car, one.t, turns)
        line.number = one.comment
        line.text = write(one.remarks, one.text).replace("\n", " ") if one.remarks else one.text
        return line

    def press(self, key: str) -> str:
        """Take one key; returns ``keep`` or ``drop`` when the line ends with it, else nothing."""
        if key in (KEEP, DROP):
            return "keep" if key == KEEP and self.text.strip() else "drop"
        if key == RUB_OUT:
            self.text = self.text[:-1]
        elif key == COMPLETE:
            self._complete()
        elif len(key) == 1 and key.isprintable() and len(self.text) < MOST_CHARACTERS:
            self.text += key
        return ""

    def given(self) -> dict[str, Any]:
        """What the command says. The daemon reads it; what it cannot read, it keeps."""
        words = self.text.strip()
        number = {} if self.number is None else {"comment": self.number}
        return {"text": words, "shorthand": words} | number

    def lines(self) -> tuple[str, str]:
        """What is typed, and how it will be read."""
        remarks = self._remarks()
        reads = "as words, not counted" if remarks is None else remarks
        if not self.text.strip():
            reads = "Enter keeps it, Esc drops it, Tab puts in the word that is offered"
        elif remarks is None and (offered := self._offers()[:MOST_OFFERED]):
            reads += f"; Tab: {', '.join(offered)}"
        which = "comment" if self.number is None else f"comment {self.number}"
        return f"{which}, car {self.car}, said at {clock_text(self.t)}: {self.text}_", f"  reads: {reads}"

    def _complete(self) -> None:
        from pitwall.comments.completing import completions

        offers = self._offers()
        if offers:
            at = next(one.at for one in completions(self.text, self._turns) if one.word == offers[0])
            self.text = f"{self.text[:at]}{offers[0]} "

    def _offers(self) -> list[str]:
        """Words that may come next, the short way of saying it first."""
        from pitwall.comments.completing import completions

        return sorted((one.word for one in completions(self.text, self._turns)), key=lambda word: " " in word)

    def _remarks(self) -> str | None:
        # Only here: the terminal starts without the shorthand, and most who watch never type a comment.
        from pitwall.comments.shorthand import ShorthandError, parse
        from pitwall.comments.writing import read_back

        try:
            typed = parse(self.text, self._turns)
        except ShorthandError:
            return None
        return "; ".join(read_back(typed.remarks, typed.text, typed.unread))
