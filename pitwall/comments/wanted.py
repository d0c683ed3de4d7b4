"""Which comment is missing for what a run was for."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable

from pitwall.comments.words import TABLE
from pitwall.model.comments import Comment
from pitwall.model.subjects import Subject

LONG_ENOUGH = 4
COMMON = ("under", "over", "moves", "flat", "soft", "hole", "gone", "drop", "drops", "bottom", "hits the ground")
_WORDS = re.compile(r"[a-z]+")


def missing(wanted: Iterable[Subject], comments: Iterable[Comment]) -> tuple[Subject, ...]:
    """What is wanted and nobody commented on, in the order in which it is wanted, each once.

    Args:
        wanted: subjects that a run and what was done in it are for.
        comments: those of that run. Free text counts where it names the subject, or something found of it.
    """
    told: set[str] = set()
    for comment in comments:
        told |= {remark.about for remark in comment.remarks}
        told |= {subject for subject in dict.fromkeys(wanted) if names(subject, comment.text)}
    return tuple(subject for subject in dict.fromkeys(wanted) if subject not in told)


def names(subject: Subject, text: str) -> bool:
    """True when words of this text are of the subject: ``comment on the rear tyres`` names ``tyres``."""
    words = f" {' '.join(_WORDS.findall(text.lower()))} "
    return any(f" {form} " in words for form in _forms(subject))


@functools.cache
def _forms(subject: Subject) -> tuple[str, ...]:
    """Words of the shorthand that belong to one subject alone, without those that people also use otherwise."""
    own = [entry for entry in TABLE if (entry.part == "subject" and entry.value == subject)
           or (entry.part == "finding" and entry.subject == subject)]  # fmt: skip
    return tuple(form for entry in own for form in entry.forms if len(form) >= LONG_ENOUGH and form not in COMMON)
