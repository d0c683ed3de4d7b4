"""Comments by turn and corner phase: of each driver, over all runs and run by run."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from pitwall.comments.writing import in_words, write_remark
from pitwall.model.comment_rows import CommentMatrix, MatrixCell, MatrixRow, Said
from pitwall.model.comments import PHASES, Comment, Remark, SpeedClass
from pitwall.model.debrief_rows import LapRow

SPEEDS: tuple[SpeedClass, ...] = ("slow", "medium", "fast")
Place = tuple[int | None, SpeedClass | None]


def all_said(comments: Iterable[Comment], laps: Sequence[LapRow] = ()) -> tuple[Said, ...]:
    """Every remark of every comment, in the order of what they are about.

    That is the order in which the driver said them; but what the desk typed later for an earlier lap, or for an earlier
    run, stands there, as far as those laps are known.

    Args:
        comments: in any order.
        laps: the car's laps in order.
    """
    ends = {lap.number: lap.end_s for lap in laps}
    runs = {lap.run: lap.end_s for lap in laps}

    def about_s(one: Comment) -> float:
        named = ends.get(one.lap_number) if one.lap_number is not None else runs.get(one.run) if one.run else None
        return one.t if named is None else min(one.t, named)

    return tuple(
        Said(comment=one.comment, t=one.t, run=one.run, lap_number=one.lap_number, driver=one.driver, by=one.by,
             text=one.spoken, remark=remark, words=in_words(remark))
        for one in sorted(comments, key=lambda one: (about_s(one), one.t, one.comment))
        for remark in one.remarks
    )  # fmt: skip


def place_words(remark: Remark) -> str:
    """``turn 4``, ``slow corners``, ``the car as a whole``."""
    if remark.turn is not None:
        return f"turn {remark.turn}"
    return f"{remark.speed} corners" if remark.speed is not None else "the car as a whole"


def matrices(said: Sequence[Said]) -> tuple[CommentMatrix, ...]:
    """Each driver's comments over all runs, and where there are several runs, of each."""
    found = []
    for driver in dict.fromkeys(one.driver for one in said):
        own = [one for one in said if one.driver == driver]
        found.append(CommentMatrix(driver=driver, rows=_rows(own)))
        runs = dict.fromkeys(one.run for one in own if one.run is not None)
        if len(runs) > 1:
            found += [
                CommentMatrix(driver=driver, run=run, rows=_rows([one for one in own if one.run == run]))
                for run in runs
            ]
    return tuple(found)


def by_speed(said: Sequence[Said], classes: Mapping[int, SpeedClass]) -> tuple[CommentMatrix, ...]:
    """Each driver's comments by speed class and corner phase, over all runs.

    Args:
        said: every remark.
        classes: the speed class of each turn; remarks of other turns are left out, as are those of no corner.
    """
    found = []
    for driver in dict.fromkeys(one.driver for one in said):
        own = [(one, one.remark.speed or classes.get(one.remark.turn or 0)) for one in said if one.driver == driver]
        rows = []
        for speed in SPEEDS:
            of_class = [one for one, known in own if known == speed]
            if of_class:
                rows.append(MatrixRow(speed=speed, place=f"{speed} corners", cells=_cells(of_class)))
        if rows and any(one.remark.turn is not None for one, known in own if known is not None):
            found.append(CommentMatrix(driver=driver, rows=tuple(rows)))
    return tuple(found)


def _place(remark: Remark) -> Place:
    return (remark.turn, remark.speed if remark.turn is None else None)


def _order(place: Place) -> tuple[int, int]:
    """Turns in the order of the lap, then speed classes, then the car as a whole."""
    turn, speed = place
    return (0, turn) if turn is not None else (1, SPEEDS.index(speed)) if speed is not None else (2, 0)


def _rows(said: Sequence[Said]) -> tuple[MatrixRow, ...]:
    rows = []
    for place in sorted({_place(one.remark) for one in said}, key=_order):
        own = [one for one in said if _place(one.remark) == place]
        rows.append(MatrixRow(turn=place[0], speed=place[1], place=place_words(own[0].remark), cells=_cells(own)))
    return tuple(rows)


def _cells(said: Sequence[Said]) -> tuple[MatrixCell, ...]:
    return tuple(_cell(phase, [one for one in said if one.remark.phase == phase]) for phase in (*PHASES, None))


def _cell(phase: object, said: Sequence[Said]) -> MatrixCell:
    rated = [one.remark.severity for one in said if one.remark.complaint and one.remark.severity is not None]
    short: dict[str, int | None] = {}
    for one in said:
        name = _finding(one.remark)
        known = [severity for severity in (short.get(name), one.remark.severity) if severity is not None]
        short[name] = max(known, default=None)
    words = ", ".join(name if severity is None else f"{name} {severity}" for name, severity in short.items())
    return MatrixCell.model_validate(
        {"phase": phase, "said": tuple(said), "worst": max(rated, default=None), "short": words}
    )


def _finding(remark: Remark) -> str:
    """The finding alone, in shorthand: ``front lock``, ``us``."""
    bare = Remark(about=remark.about, what=remark.what, axle=remark.axle, side=remark.side,
                  trend=remark.trend if remark.what is None or remark.trend == "gone" else None)  # fmt: skip
    return write_remark(bare)
