"""What the driver said of the car, and asked: the open complaints for the first page, and every comment."""

from __future__ import annotations

from pitwall.comments.writing import in_words
from pitwall.debrief import wording as say
from pitwall.debrief.document import Column, Row, Section, Words, table
from pitwall.debrief.model import CarDebrief
from pitwall.model.comments import Comment

COMMENTS = (Column("what the driver said", 5.4), Column("remarks", 4.6), Column("session time", 1.5, right=True),
            Column("run and lap", 2.4), Column("driver", 1.3), Column("noted by", 1.5))
QUESTIONS = (Column("question", 5.0), Column("asked", 1.3, right=True), Column("answered", 1.3, right=True),
             Column("by", 1.3))
UNRATED = 0


def open_complaints(car: CarDebrief) -> list[Words]:
    """What somebody has to do something about, the worst first; of equal ones the last said first.

    A comment that nobody tagged may be a complaint: it is told as well, after the rated ones.
    """
    found = [one for one in car.comments if not one.remarks or any(remark.complaint for remark in one.remarks)]
    worst = sorted(found, key=lambda one: (-_severity(one), -one.t))
    return [_complaint(one) for one in worst]


def comment_section(car: CarDebrief) -> Section:
    """Every comment and every question."""
    name = f"Car {car.car}"
    questions = [(one.text, say.session_clock(one.asked_s), say.maybe_clock(one.answered_s), one.by or say.NOTHING)
                 for one in car.questions]
    return Section(f"{name}: what the driver said and asked", 3, (
        table(f"{name}: comments", COMMENTS, [_row(one) for one in car.comments], "No comment was noted.", bold=False),
        table(f"{name}: questions", QUESTIONS, questions, "No question was noted.", bold=False),
    ))


def _severity(comment: Comment) -> int:
    return max((one.severity or UNRATED for one in comment.remarks if one.complaint), default=UNRATED)


def _complaint(comment: Comment) -> Words:
    remarks = "; ".join(in_words(one) for one in comment.remarks if one.complaint)
    said = f"“{comment.text}”" if comment.text else ""
    told = " ".join(one for one in (f"{remarks}." if remarks else "", said) if one) or "noted without words."
    who = ", ".join(one for one in (comment.driver, say.session_clock(comment.t)) if one)
    return Words(f"{told} ({who}; noted by {comment.by})", f"{_where(comment)}:")


def _row(comment: Comment) -> Row:
    by = comment.by if comment.tagged_by in (None, comment.by) else f"{comment.by}, tagged {comment.tagged_by}"
    return (comment.text or say.NOTHING, "\n".join(in_words(one) for one in comment.remarks) or say.NOTHING,
            say.session_clock(comment.t), _where(comment), comment.driver or say.NOTHING, by)


def _where(comment: Comment) -> str:
    if comment.run is None:
        return "in the garage"
    return f"{comment.run}, {comment.lap}" if comment.lap else comment.run
