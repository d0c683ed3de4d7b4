"""Looking words of the shorthand up: by form, and the form that is written back (``vocabulary.py`` has the table)."""

from __future__ import annotations

import functools
from collections.abc import Mapping

from pitwall.comments.entries import Entry, Part
from pitwall.comments.vocabulary import TABLE

__all__ = ["BEFORE_IT", "COMING", "MORE_IS_GOOD", "MOST_WORDS", "NUMBERS", "PLACES", "POOR", "SCARCE", "SIGNS", "TABLE",
           "Entry", "Part", "by_form", "form_of", "written"]

POOR: Mapping[str, str] = {"traction": "wheelspin", "grip": "low", "braking": "weak"}
"""What ``poor`` means of each subject."""
SIGNS = ("+", "-", "=")
"""Signs of a trend; between other words people type them for something else."""
COMING = ("coming", "come", "came")
"""So begin forms of "better" that may be said of what is not wanted, too: ``rears come in and go off``."""
SCARCE = ("hardly any", "barely any", "almost no")
"""How little there is of a finding; of grip, traction and braking that is the finding."""
MORE_IS_GOOD = ("grip", "traction")
PLACES = ("t", "turn", "turns", "corner", "corners")
"""What may stand before the number of a turn; behind a speed class a corner has no number."""
NEVER = ("never had", "never has", "never have", "never got", "never get", "never any", "never had any",
         "never has any", "don't have any", "don't feel any", "don't get any", "didn't have any", "didn't feel any",
         "didn't get any", "not any")
"""Ways to say that it was not there; ``never`` alone may be of another time."""
BEFORE_IT = ("no", "not", *NEVER, "isn't", "isnt", "aren't", "arent", "doesn't", "doesnt", "don't", "dont")
"""Negations that stand before what they deny: ``no us``, ``not locking``."""
NUMBERS: Mapping[str, int] = {word: number for number, word in enumerate((
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve", "thirteen",
    "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty",
), 1)}  # fmt: skip
"""Numbers as they are spoken."""
MOST_WORDS = max(len(form.split()) for entry in TABLE for form in entry.forms)


@functools.lru_cache(maxsize=1)
def by_form() -> Mapping[str, Entry]:
    """Every form with its entry."""
    return {form: entry for entry in TABLE for form in entry.forms}


@functools.lru_cache(maxsize=1)
def written() -> Mapping[tuple[str, str, str], str]:
    """The form that is written back, by part, subject and value; of several entries the first one's."""
    return {(entry.part, entry.subject, entry.value): entry.form for entry in reversed(TABLE)}


def form_of(about: str, what: str) -> str:
    """The form of a finding, with its subject where the word alone would be, or might be, of another one."""
    own = written().get(("finding", about, what))
    if own is not None and what not in _ELSEWHERE:
        return own
    return f"{about} {own or next(entry.form for entry in TABLE if entry.part == 'finding' and entry.value == what)}"


_ELSEWHERE = ("unstable", "weak", "heavy", "light", "kickback")
"""Findings that are never written without their subject: what is unstable hangs on the place, and an end is weak."""
