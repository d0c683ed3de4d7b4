"""What the driver says of the car, in words that can be counted: one comment is a moment, free text, and remarks.

A *remark* says one thing: where (turn, corner phase, speed class), what (subject and word, axle, side), how bad, how
sure, and whether it became better. A comment may be noted first and get its text and remarks later: while the car runs
there is time for one key.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal, Self

from pydantic import Field, model_validator

from pitwall.model.base import Frozen, Refused
from pitwall.model.plan import LapKind
from pitwall.model.subjects import Subject

__all__ = ["CONTENT", "FINDINGS", "PHASES", "Axle", "Comment", "Confidence", "CornerPhase", "Finding", "Remark", "Side",
           "SpeedClass", "Subject", "Trend"]

CornerPhase = Literal["entry", "mid", "exit"]
SpeedClass = Literal["slow", "medium", "fast"]
Axle = Literal["front", "rear"]
Side = Literal["left", "right", "inside", "outside"]
Confidence = Literal["low", "medium", "high"]
Trend = Literal["better", "worse", "same", "gone"]
Finding = Literal[
    "understeer", "oversteer", "snap", "neutral",
    "wheelspin",
    "locking", "unstable", "long_pedal", "weak", "judder", "grabs",
    "bottoming", "bouncing", "harsh", "soft", "kerbs",
    "cold", "hot", "worn", "graining", "blistering", "flat_spot", "vibration",
    "flat", "hesitation", "surge", "misfire", "cut", "rough_shift",
    "low", "good",
    "heavy", "light", "kickback", "pulls",
]  # fmt: skip

FINDINGS: Mapping[Subject, tuple[Finding, ...]] = {
    "balance": ("understeer", "oversteer", "snap", "neutral", "unstable"),
    "traction": ("wheelspin", "good"),
    "braking": ("locking", "unstable", "long_pedal", "weak", "judder", "grabs", "pulls", "cold", "hot", "good"),
    "ride": ("bottoming", "bouncing", "harsh", "soft", "kerbs", "good"),
    "tyres": ("cold", "hot", "worn", "graining", "blistering", "flat_spot", "vibration", "good"),
    "engine": ("flat", "hesitation", "surge", "misfire", "cut", "rough_shift", "hot", "good"),
    "grip": ("low", "good"),
    "steering": ("heavy", "light", "kickback", "pulls", "good"),
}
"""What can be found of each subject."""
CONTENT: tuple[Finding, ...] = ("neutral", "good")
"""Findings that are no complaint."""
PHASES: tuple[CornerPhase, ...] = ("entry", "mid", "exit")
_WORD = re.compile(r"\w+")


class Remark(Frozen):
    """One thing that the driver said of the car."""

    turn: int | None = Field(default=None, ge=1, le=60, description="none: everywhere, or no one corner")
    phase: CornerPhase | None = None
    speed: SpeedClass | None = Field(default=None, description="in corners of this speed class")
    about: Subject = Field(default="balance")
    what: Finding | None = Field(default=None, description="none: only whether it became better or worse is known")
    axle: Axle | None = None
    side: Side | None = None
    severity: int | None = Field(default=None, ge=1, le=5, description="1 is hardly felt, 5 cannot be driven")
    confidence: Confidence | None = Field(default=None, description="how sure the driver is")
    trend: Trend | None = Field(default=None, description="against the laps or runs before; gone: it is not there now")

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.what is None and self.trend is None:
            raise Refused("a remark that says nothing", "'what', or 'trend', or both", needs=("about",))
        if self.trend == "gone" and (self.what in (None, *CONTENT) or self.severity is not None):
            raise Refused("gone", "a finding that is gone, without a severity", at=("trend",), needs=("about", "what"))
        if self.what is not None and self.what not in FINDINGS[self.about]:
            raise Refused(f"{self.what} of {self.about}", f"one of {', '.join(FINDINGS[self.about])}", at=("what",),
                          needs=("about",))
        return self

    @property
    def complaint(self) -> bool:
        """True for what somebody has to do something about."""
        if self.trend == "gone":
            return False
        return self.what not in (None, *CONTENT) or (self.what is None and self.trend == "worse")


class Comment(Frozen):
    """What the driver said, as somebody noted it. Its run and lap are those of its moment, unless the desk named
    others."""

    comment: int = Field(default=0, ge=0, description="its number, for the command that completes it")
    t: float = Field(description="session second at which it was said")
    by: str = Field(description="who noted it")
    text: str = Field(default="", description="free text: what stands beside the remarks, or all of it")
    typed: str = Field(default="", description="the line of which remarks and text were read, as somebody typed it")
    run: str | None = None
    because: str | None = Field(default=None, description="id of the command that noted it")
    driver: str | None = Field(default=None, description="who said it")
    lap: str | None = Field(default=None, description="which lap of the run, in words")
    lap_number: int | None = Field(default=None, description="the lap's number in the session; none in the garage")
    lap_kind: LapKind | None = None
    remarks: tuple[Remark, ...] = ()
    tagged_by: str | None = Field(default=None, description="who gave it its remarks last")

    @property
    def spoken(self) -> str:
        """The driver's words, as they were typed; free text that was given beside or after that line goes before it."""
        if not self.typed or set(_WORD.findall(self.text)) <= set(_WORD.findall(self.typed)):
            return self.typed or self.text
        return f"{self.text}\n{self.typed}"
