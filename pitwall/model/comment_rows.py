"""What the comments of one car's session say together: rows of a debrief, made by ``pitwall/comments``."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.base import Frozen
from pitwall.model.comments import CornerPhase, Remark, SpeedClass
from pitwall.model.plan import Scalar

Direction = Literal["better", "worse", "same", "other"]
"""``other``: the car does something else there now, such as oversteer where it was understeer."""


class Said(Frozen):
    """One remark with whose it is and when it was made."""

    comment: int = Field(description="number of the comment")
    t: float
    run: str | None = None
    lap_number: int | None = None
    driver: str | None = None
    by: str = Field(description="who noted it")
    text: str = Field(default="", description="the driver's words, as they were typed")
    remark: Remark
    words: str = Field(description="the remark as a person reads it out")


class MatrixCell(Frozen):
    """What was said of one place in one corner phase. ``worst`` is the highest severity of a complaint there."""

    phase: CornerPhase | None = Field(description="none: no phase was named")
    said: tuple[Said, ...] = ()
    worst: int | None = None
    short: str = Field(default="", description="each finding once, in shorthand, with its highest severity")


class MatrixRow(Frozen):
    """One place: a turn, the corners of a speed class, or the car as a whole. Cells: entry, mid, exit, no phase."""

    turn: int | None = None
    speed: SpeedClass | None = None
    place: str
    cells: tuple[MatrixCell, ...]


class CommentMatrix(Frozen):
    """Comments of one driver by turn and corner phase: of one run, or of all (``run`` is none)."""

    driver: str | None = None
    run: str | None = None
    rows: tuple[MatrixRow, ...] = ()


class Between(Frozen):
    """Something that was changed between two comments."""

    kind: Literal["switch", "tyres", "tyre_laps", "fuel"]
    name: str
    before: Scalar | None = None
    after: Scalar | None = None
    text: str


class CommentChange(Frozen):
    """What one driver said of the same thing at the same place in two runs, one after the other."""

    place: str
    before: Said
    after: Said
    direction: Direction
    evidence: Literal["severity", "finding", "said"] = Field(
        description="the two severities, two findings, or the driver's own word that it is better or worse"
    )
    between: tuple[Between, ...] = ()


class Contradiction(Frozen):
    """Two comments of one driver of the same place in the same run that cannot both hold."""

    place: str
    first: Said
    second: Said
    why: str
    between: tuple[Between, ...] = Field(default=(), description="what was changed meanwhile, and may explain it")


class CommentFindings(Frozen):
    """All of it, for one car."""

    said: tuple[Said, ...] = ()
    matrices: tuple[CommentMatrix, ...] = Field(default=(), description="of each driver: all runs, then run by run")
    by_speed: tuple[CommentMatrix, ...] = Field(
        default=(), description="of each driver over all runs, turns gathered by their speed class, where it is known"
    )
    changes: tuple[CommentChange, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    open: tuple[Said, ...] = Field(default=(), description="complaints of which nothing better was said later")
