"""The line on which a comment of the driver is typed: its moment is that of the key that began it."""

from __future__ import annotations

from typing import Any

from pitwall.model.units import clock_text

MOST_CHARACTERS = 2000
KEEP, DROP, RUB_OUT = "enter", "escape", "backspace"


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

    def press(self, key: str) -> str:
        """Take one key; returns ``keep`` or ``drop`` when the line ends with it, else nothing."""
        if key in (KEEP, DROP):
            return "keep" if key == KEEP and self.text.strip() else "drop"
        if key == RUB_OUT:
            self.text = self.text[:-1]
        elif len(key) == 1 and key.isprintable() and len(self.text) < MOST_CHARACTERS:
            self.text += key
        return ""

    def given(self) -> dict[str, Any]:
        """What the command says. The daemon reads it; what it cannot read, it keeps."""
        words = self.text.strip()
        return {"text": words, "shorthand": words}

    def lines(self) -> tuple[str, str]:
        """What is typed, and how it will be read."""
        remarks = self._remarks()
        reads = "as words, not counted" if remarks is None else remarks
        if not self.text.strip():
            reads = "Enter keeps it, Esc drops it"
        return f"comment, car {self.car}, said at {clock_text(self.t)}: {self.text}_", f"  reads: {reads}"

    def _remarks(self) -> str | None:
        # Only here: the terminal starts without the shorthand, and most who watch never type a comment.
        from pitwall.comments.shorthand import ShorthandError, parse
        from pitwall.comments.writing import in_words

        try:
            typed = parse(self.text, self._turns)
        except ShorthandError:
            return None
        return "; ".join([*map(in_words, typed.remarks), *([typed.text] if typed.text else [])])
