"""Under the list: the chosen call in full, or the help. Lines are wrapped and never cut: a caution stands whole."""

from __future__ import annotations

from textwrap import wrap

from pitwall.cli.terminal.advice import musts_words
from pitwall.model.outputs import Prompt, Proposal

LEAST_LINES = 3
LABEL = 9

HELP = (
    "KEYS (any key closes this)",
    "  s  the chosen call was said       r  repeat what was said last",
    "  x  skip it                        c  confirm: the driver has read it back",
    "  d  defer it                       m  quiet: red, flag and box only; again: all",
    "  k  the driver asked something     w  it was answered: what waits longest first",
    "  up, down  choose the call         a  acknowledge the first alert, of any car",
    "  tab, 1-9  choose the car          q  leave; the daemon goes on",
    "  p  a changed plan that waits: look at it, then y adopts it and n declines it",
    "  v  ask for advice; p shows it     n  note what he says; b  the last again",
    "WITHOUT A FEED: of the car that is shown, at the moment of the key",
    "  l  passed the line         i  entered the pits     o  left the pits",
    "  e  red flag     g  green   f  forgotten line    u  take back your last entry",
    "COLUMNS",
    "  in hand at line  time left to start one more timed lap before the flag",
    "  musts fit        chance that every must-run fits; lost: one is over",
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
        lines += _labelled("but", prompt.against, width)
        lines += _labelled("how", how_words(prompt), width)
        lines += _labelled("why", prompt.reason, width)
    return lines + [""] * (LEAST_LINES - len(lines))


def how_words(prompt: Prompt) -> str | None:
    """Why it is not said in full where the driver can listen, as long as it is still to be said; else None."""
    if prompt.state not in ("planned", "shown", "due"):
        return None
    then = " ".join(part.text for part in prompt.parts[1:])
    found = [part_words(prompt), f"Then: {then}" if then else None, prompt.way_reason]
    return " ".join(words for words in found if words) or None


def part_words(prompt: Prompt) -> str | None:
    """Which part of a call in parts this is; None for one that is said in one breath."""
    count = prompt.parts_said + max(1, len(prompt.parts))
    return f"Part {prompt.parts_said + 1} of {count}." if count > 1 else None


def waiting_line(proposal: Proposal) -> str:
    """One line that says that a changed plan waits, and what it would change first."""
    more = f" and {len(proposal.lines) - 1} more" if len(proposal.lines) > 1 else ""
    return f"changed plan, car {proposal.car} ({proposal.source}), p shows it: {proposal.lines[0]}{more}"


def proposal_lines(proposal: Proposal, width: int, room: int, lost: bool = False) -> list[str]:
    """A changed plan in full: what it would change, then what to think of before; what does not fit is counted.
    ``lost``: a must is over."""
    whose = ", ".join(proposal.cars) or proposal.car
    lines = [f"CHANGED PLAN of car {whose}, from {proposal.source}",
             "  y adopts it, n declines it, p shows the next one, any other key closes this"]
    for mark, texts in (("  ", advice_words(proposal, lost)), ("  ", proposal.lines), ("  ! ", warnings_of(proposal))):
        for text in texts:
            lines += wrap(text, width, initial_indent=mark, subsequent_indent=" " * (len(mark) + 2))
    if len(lines) > room:
        lines = [*lines[: room - 1], f"  and {len(lines) - room + 1} more lines: pitwall watch --json shows them all"]
    return lines


def advice_words(proposal: Proposal, lost: bool = False) -> tuple[str, ...]:
    """What the forecast says of its proposal, and how sure the musts are with it; nothing for one of a file.
    ``lost``: a must is over, and the chance is that of the others."""
    sure = proposal.musts_chance
    chance = "" if sure is None else f" ({musts_words(lost)} {sure:.0%} of futures)"
    words = (f"{proposal.sentence.rstrip('.')}{chance}",) if proposal.sentence is not None else ()
    return (*words, *((f"costs: {', '.join(proposal.costs)}",) if proposal.costs else ()))


def warnings_of(proposal: Proposal) -> tuple[str, ...]:
    """What to think of before; also what would make another plan the better one."""
    return proposal.warnings if proposal.flips is None else (proposal.flips, *proposal.warnings)


def _labelled(label: str, text: str | None, width: int) -> list[str]:
    if not text:
        return []
    return wrap(text, width, initial_indent=f"{label:<{LABEL}}", subsequent_indent=" " * LABEL, break_on_hyphens=False)
