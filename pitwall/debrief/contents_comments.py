"""What the driver said of the car, and asked: the open complaints for the first page, and every comment."""

from __future__ import annotations

from pitwall.comments.writing import in_words
from pitwall.debrief import wording as say
from pitwall.debrief.document import Column, Group, Row, Section, Table, Words, table
from pitwall.debrief.model import CarDebrief
from pitwall.model.comment_rows import Between, CommentFindings, Said
from pitwall.model.comments import Comment

COMMENTS = (Column("what the driver said", 5.4), Column("remarks", 4.6), Column("session time", 1.5, right=True),
            Column("run and lap", 2.4), Column("driver", 1.3), Column("noted by", 1.5))
QUESTIONS = (Column("question", 5.0), Column("asked", 1.3, right=True), Column("answered", 1.3, right=True),
             Column("by", 1.3))
MATRIX = (Column("place", 2.2), Column("entry", 2.6), Column("mid", 2.6), Column("exit", 2.6),
          Column("no phase said", 2.6))
CHANGES = (Column("place", 2.0), Column("before", 3.6), Column("after", 3.6), Column("became", 1.3),
           Column("changed between", 3.6))
AGAINST = (Column("place", 2.0), Column("first", 3.2), Column("then", 3.2), Column("why not both", 2.4),
           Column("changed between", 3.2))


MOST_OPEN = 8
"""So many complaints on a car's first page: with more of them the next car's would begin on another sheet."""


def open_complaints(car: CarDebrief) -> list[Words]:
    """What somebody has to do something about, the worst first; then comments that nobody tagged: they may be some.
    Beyond ``MOST_OPEN`` they are counted."""
    rated = [_complaint(one) for one in car.said.open]
    untagged = [Words(f"{_quoted(one.spoken) or 'noted without words.'} ({_who(one.driver, one.t, one.by)})",
                      f"{_where(one)}:") for one in car.comments if not one.remarks]
    found = rated + untagged
    if len(found) <= MOST_OPEN:
        return found
    more = [say.plural(max(len(rated) - MOST_OPEN, 0), "complaint"),
            say.plural(min(len(untagged), len(found) - MOST_OPEN), "comment") + " that nobody tagged"]
    told = " and ".join(one for one in more if not one.startswith("0 "))
    return [*found[:MOST_OPEN], Words(f"{told}; every comment is in 'Car {car.car}: what the driver said and asked'.",
                                      "And:")]


def comment_section(car: CarDebrief) -> Section:
    """Every comment and every question, and what the comments say together."""
    name = f"Car {car.car}"
    questions = [(one.text, say.session_clock(one.asked_s), say.maybe_clock(one.answered_s), one.by or say.NOTHING)
                 for one in car.questions]
    together = _together(name, car.said) if car.said.said else ()
    if not car.comments and not questions:
        return Section(f"{name}: what the driver said and asked", 3, (Words("No comment and no question was noted."),))
    return Section(f"{name}: what the driver said and asked", 3, (
        *together,
        table(f"{name}: comments", COMMENTS, [_row(one) for one in car.comments], "No comment was noted.", bold=False),
        table(f"{name}: questions", QUESTIONS, questions, "No question was noted.", bold=False),
    ))


def _together(name: str, said: CommentFindings) -> tuple[Table, ...]:
    groups = tuple(
        Group(tuple((row.place, *(cell.short or say.NOTHING for cell in row.cells)) for row in matrix.rows),
              f"{matrix.driver or 'No driver named'}, {f'run {matrix.run}' if matrix.run else 'all runs'}")
        for matrix in said.matrices if matrix.rows)
    groups += tuple(
        Group(tuple((row.place, *(cell.short or say.NOTHING for cell in row.cells)) for row in matrix.rows),
              f"{matrix.driver or 'No driver named'}, all runs, by the speed of the corner")
        for matrix in said.by_speed)
    changes = [(one.place, _said(one.before), _said(one.after), one.direction, _between(one.between))
               for one in said.changes]
    against = [(one.place, _said(one.first), _said(one.second), one.why, _between(one.between))
               for one in said.contradictions]
    return (
        Table(f"{name}: comments by place and corner phase; figures are severities, 5 is the worst", MATRIX, groups,
              "No comment names a place or a finding."),
        table(f"{name}: what the same driver said of the same place from run to run", CHANGES, changes,
              "Nothing was said twice."),
        table(f"{name}: comments that cannot both hold", AGAINST, against, "None."),
    )


def _said(one: Said) -> str:
    return f"{one.run or 'garage'}, {say.session_clock(one.t)}:\n{one.words}"


def _between(changed: tuple[Between, ...]) -> str:
    return "\n".join(one.text for one in changed) or "nothing known"


def _complaint(one: Said) -> Words:
    lap = f", session lap {one.lap_number}" if one.lap_number is not None else ""
    told = " ".join(part for part in (f"{one.words}.", _quoted(one.text)) if part)
    return Words(f"{told} ({_who(one.driver, one.t, one.by)})", f"{one.run or 'in the garage'}{lap}:")


def _quoted(text: str) -> str:
    return f"“{' / '.join(text.splitlines())}”" if text else ""


def _who(driver: str | None, t: float, by: str) -> str:
    return f"{f'{driver}, ' if driver else ''}{say.session_clock(t)}; noted by {by}"


def _row(comment: Comment) -> Row:
    by = comment.by if comment.tagged_by in (None, comment.by) else f"{comment.by}, tagged {comment.tagged_by}"
    return (comment.spoken or say.NOTHING, "\n".join(in_words(one) for one in comment.remarks) or say.NOTHING,
            say.session_clock(comment.t), _where(comment), comment.driver or say.NOTHING, by)


def _where(comment: Comment) -> str:
    if comment.run is None:
        return "in the garage"
    return f"{comment.run}, {comment.lap}" if comment.lap else comment.run
