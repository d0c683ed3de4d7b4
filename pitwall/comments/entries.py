"""What one entry in the table of words is, and how rows become entries."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Part = Literal["everywhere", "phase", "speed", "subject", "finding", "corner", "axle", "side", "severity", "confidence",
               "trend", "amount", "poor", "lack", "phrase", "topic", "filler"]

MUCH = ("much", "a lot", "lots", "far", "a bit", "bit", "a little", "little", "slightly", "a touch",
        "a step", "one step", "way", "noticeably", "marginally", "significantly")
"""How much better, worse, more or less; it is not counted, and it is no severity."""


@dataclass(frozen=True)
class Entry:
    """One meaning and every form of it.

    Attributes:
        part: what of a remark it gives; a *phrase* is read as other forms instead, which its value names;
            a *topic* is of what no finding is for: from it on a remark is kept as words.
        value: what the remark gets.
        forms: as people write it.
        subject: of a finding, and of an axle that names tyres.
        named: only beside its subject; alone the word may be of anything ("tyres done").
    """

    part: Part
    value: str
    forms: tuple[str, ...]
    meaning: str = ""
    subject: str = ""
    named: bool = False

    @property
    def form(self) -> str:
        """The form that is written back."""
        return self.forms[0]


def by_how_much(form: str) -> str:
    """A trend with what people put before it: ``a lot better`` says nothing of how bad it was or is."""
    return " | ".join((form, *(f"{much} {form}" for much in MUCH)))


def entries(
    part: Part, rows: Mapping[str, tuple[str, str]], subject: str = "", *, named: bool = False
) -> tuple[Entry, ...]:
    """``rows``: value to its forms, parted by bars, and what it means."""
    return tuple(
        Entry(part, value, tuple(form.strip() for form in forms.split("|")), meaning, subject, named)
        for value, (forms, meaning) in rows.items()
    )
