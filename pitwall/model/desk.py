"""What desk and plan states hold beside the prompts: switches, the driver's questions, arrivals, runs and items."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.base import Frozen, Slug
from pitwall.model.plan import LapKind, Scalar, Want


class SwitchCard(Frozen):
    """One switch: what is wanted, what we believe, what telemetry says, and whether a put-back is owed. Wanted is what
    this lap needs, and once a change for the next lap is on its way, or its line is near, what that one needs."""

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


class CarNear(Frozen):
    """A car around ours: ``gap_s`` ahead of it, or behind where it is negative."""

    car: Slug
    gap_s: float
    kind: LapKind


class RunningLap(Frozen):
    """The lap that runs, in session seconds, and on which stretches of it the driver can listen."""

    kind: LapKind
    begun_s: float
    line_s: float = Field(description="when it is expected to end: at the line, or in the pit lane")
    listen: tuple[tuple[float, float], ...] = Field(
        default=(), description="from and to; none where the circuit file gives no speeds"
    )
    here: float | None = Field(
        default=None, ge=0, le=1, description="where the car is at `t` of this message: share of a quick lap's time"
    )
    here_within_s: float | None = Field(
        default=None, ge=0, description="it is there within so many seconds in four cases of five; none while unknown"
    )
    line_within_s: float | None = Field(default=None, ge=0, description="the same of `line_s`")
    others: tuple[CarNear, ...] = Field(default=(), description="the closest cars ahead and behind, within 45 s")


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
    after_flag: bool = Field(default=False, description="True: it has no laps, and is done once the flag has fallen")
    window: str | None = Field(default=None, description="the only window of the session in which it may be done")
    tyres: str | None = Field(default=None, description="its tyre set, by its label in the plan")
    compound: str | None = Field(default=None, description="the compound of that set")
    fuel_kg: float | None = Field(default=None, description="its fuel load at release")
    goes_on: bool = Field(default=False, description="True: it was left for before, and the car leaves for it next "
                          "with the tyres and fuel that it has; else its set is fitted and its fuel filled")
    crew: tuple[str, ...] = Field(default=(), description="who works on the car after it")
    work_s: tuple[float, float, float] | None = Field(default=None, description="how long that work takes: quick, "
                                                      "likely, slow")
    items: tuple[ItemProgress, ...] = ()
    reason: str | None = None
    counts: bool = Field(default=True, description="False: it is over, and too little was driven to count as this run")

    @property
    def ended_as(self) -> str:
        """The state in the words of people: a run that is over and does not count was cut, not done."""
        return self.state if self.counts else "cut"
