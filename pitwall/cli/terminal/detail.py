"""Under the list: the chosen call in full, or the help. Lines are wrapped and never cut: a caution stands whole."""

from __future__ import annotations

from textwrap import wrap

from pitwall.model.outputs import Prompt

LEAST_LINES = 3
LABEL = 9

HELP = (
    "KEYS (any key closes this)",
    "  s  the chosen call was said       r  repeat what was said last",
    "  x  skip it                        c  confirm: the driver has read it back",
    "  d  defer it                       m  quiet: no calls to this car, again: on",
    "  up, down  choose the call         a  take note of the oldest alert",
    "  tab, 1-9  choose the car          q  leave; the daemon goes on",
    "COLUMNS",
    "  in hand at line  time left to start one more timed lap before the flag",
    "  musts fit        chance that every must-run still fits into the session",
    "  time             until a call may be said, then how long it still may be",
)


def detail(prompt: Prompt | None, width: int) -> list[str]:
    """What to say word for word, with its caution and reason; at least three lines, so that nothing jumps.

    Args:
        prompt: the chosen call, or None.
        width: columns of the terminal.
    """
    lines: list[str] = []
    if prompt is not None:
        lines += _labelled("say", prompt.text, width)
        lines += _labelled("caution", prompt.caution, width)
        lines += _labelled("why", prompt.reason, width)
    return lines + [""] * (LEAST_LINES - len(lines))


def _labelled(label: str, text: str | None, width: int) -> list[str]:
    if not text:
        return []
    return wrap(text, width, initial_indent=f"{label:<{LABEL}}", subsequent_indent=" " * LABEL, break_on_hyphens=False)
