"""Which part of a corner is meant by the way into it or out of it: ``os out of t6`` is its exit.

Only of the balance and of grip: a wheel locks on the way in and spins on the way out whether that is said or not, and
what else happens there may be of the straight.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitwall.comments.group import Group
from pitwall.comments.reading import Reading
from pitwall.comments.splitting import Slip
from pitwall.comments.words import by_form

INTO, OUT_OF = ("into",), ("out of", "coming off", "off")
"""So end the words right before a place that is driven into, or out of."""
TIES = ("and", "&", "or")
OF_THE_WAY = ("", "balance", "grip")
"""Subjects of findings that such a way places; of no subject are praise, and better or worse alone."""


def go_in_or_out(reading: Reading, met: Sequence[Group]) -> None:
    """Give a remark the corner phase that the way into its turns, or out of them, is of.

    Raises:
        Slip: at a turn that is gone into where another is come out of: it is between them, or in both.
    """
    ways: list[str] = []
    for at, group in enumerate(met):
        if not group.turns and group.part != "speed":
            continue
        before = met[at - 1] if at else None
        if before is not None and before.form == "the" and at > 1:
            before = met[at - 2]
        tied = bool(ways) and (group.words[0].key in TIES or (before is not None and before.form in TIES))
        ways.append(ways[-1] if tied else _way(group, before))
        both = at > 1 and met[at - 2].form in TIES
        if len(ways) > 1 and (ways[-2], ways[-1]) == ("exit", "entry") and group.turns and not both:
            raise Slip(group.word, "'and' or a comma before it, if it is there in both turns; else the one where it is")
    if len(set(ways)) != 1 or not ways[0] or reading.phases:
        return
    if set(reading.parts) <= {"severity", "confidence"}:
        reading.way = ways[0]  # of what stands before its comma: "us out of t4, into t5"
    elif _is_of_the_way(reading):
        word = next(group.word for group in met if group.turns or group.part == "speed")
        reading.take(by_form()[ways[0]], word)


def _way(group: Group, before: Group | None) -> str:
    words = " ".join(word.key for word in before.words) if before is not None else ""
    if group.words[0].key == "off" or (before is not None and before.form in OUT_OF) or words.endswith(OUT_OF):
        return "exit"
    return "entry" if words.endswith(INTO) else ""


def _is_of_the_way(reading: Reading) -> bool:
    subject = reading.parts["subject"][0].value if "subject" in reading.parts else ""
    if subject not in OF_THE_WAY:
        return False
    if "finding" not in reading.parts:
        ends = {"axle", "corner"} & set(reading.parts)
        return bool({"trend", "amount"} & set(reading.parts)) and not (ends and not subject)
    finding = reading.parts["finding"][0]
    return finding.subject in OF_THE_WAY or finding.value == "unstable"
