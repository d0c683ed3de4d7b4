"""What desk and plan states hold beside the prompts: switches, the driver's questions, arrivals, runs and items."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.base import Frozen
from pitwall.model.plan import LapKind, Scalar, Want


class SwitchCard(Frozen):
    """One switch: what this lap needs, what we believe, what telemetry says, and whether a put-back is owed."""

    switch: str
    word: str
    wanted: Scalar
    believed: Scalar | None = None
    measured: Scalar | None = None
    verified: bool = False
    owed: bool = False


class OpenQuestion(Frozen):
    """What the driver asked and nobody has answered yet."""

    question: int = Field(description="its number, for the command 'answered'")
    asked_s: float = Field(description="session second at which it was asked")
    by: str = Field(description="who noted it")
    text: str | None = Field(default=None, description="what was asked, if somebody wrote it down")


class Arrival(Frozen):
    """When the car is expected at a place."""

    place: str
    at_s: float


class ItemProgress(Frozen):
    """One item of a run on one lap."""

    item: str
    do: str
    lap: str
    want: Want
    state: Literal["planned", "called", "done", "probably_done", "not_done", "dropped"]
    reason: str | None = None
    t: float | None = Field(default=None, description="session second at which this state was reached")


class RunProgress(Frozen):
    """One run: planned, forecast and actual spans."""

    run: str
    want: Want
    state: Literal["planned", "next", "running", "done", "cut", "skipped", "dropped"]
    laps: tuple[LapKind, ...]
    timed_wanted: int
    timed_done: int = 0
    planned_span_s: tuple[float, float] | None = None
    expected_span_s: tuple[float, float] | None = None
    actual_span_s: tuple[float | None, float | None] | None = None
    driver: str | None = Field(default=None, description="who drives it")
    window: str | None = Field(default=None, description="the only window of the session in which it may be done")
    items: tuple[ItemProgress, ...] = ()
    reason: str | None = None
