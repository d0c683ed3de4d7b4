"""The forecaster's question and answer: what is left of the session for each car, and how it may end."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.base import Frozen, Label, Slug
from pitwall.model.facts import SessionStatus
from pitwall.model.plan import Want
from pitwall.model.rules import Interruptions


class RunOutlook(Frozen):
    """One run's future."""

    run: str
    want: Want
    chance: float = Field(ge=0, le=1)
    end_q10_s: float
    end_q50_s: float
    end_q90_s: float
    last_release_s: float | None = Field(default=None, description="leave by then to keep the wanted confidence")


class CarOutlook(Frozen):
    """One car's future."""

    car: Slug
    musts_chance: float = Field(ge=0, le=1)
    runs: tuple[RunOutlook, ...]
    spare_q50_s: float


class ForecastAnswer(Frozen):
    """What the forecaster found for one snapshot."""

    cars: tuple[CarOutlook, ...]
    futures: int
    seed: int


class Activity(Frozen):
    """One piece of what is left of a car's session: a three-point duration, in order."""

    run: str | None
    kind: Literal["wait", "garage", "out", "timed", "cool", "in", "item"]
    low_s: float = Field(ge=0)
    likely_s: float = Field(ge=0)
    high_s: float = Field(ge=0)
    not_before_s: float | None = None
    points: Literal["ends", "tenths", "pace"] = Field(
        default="ends", description="what low and high are: ends that nothing lies beyond (beta-PERT); the durations "
        "that one in ten is below and above; or nothing, for the likely one scatters as the run's pace says"
    )
    lasted_s: float = Field(default=0.0, ge=0, description="work that began so long ago; the points are of all of it")
    not_under_s: float = Field(default=0.0, ge=0, description="it takes so long at least, done sooner or not: the car "
                               "is not called before")
    crew: tuple[Label, ...] = Field(default=(), description="who does this work: nobody works on two cars at once")
    not_after_s: float | None = Field(default=None, description="a run that begins later does not count")
    items: tuple[str, ...] = Field(default=(), description="items that are to be done on this lap, by their keys")


class RunPace(Frozen):
    """How the timed laps of one run scatter about what is likely of each, as shares of a lap time.

    ``level``: deviation of the run as a whole, all its laps being off together. ``lap``: from lap to lap. Beside that
    a lap is spoilt with ``mistake_chance``, and loses a share as given at 10, 50 and 90 percent.
    """

    level: float = Field(ge=0, le=1)
    lap: float = Field(ge=0, le=1)
    mistake_chance: float = Field(default=0.0, ge=0, le=1)
    mistake: tuple[float, float, float] = (0.007, 0.016, 0.045)


class CarSnapshot(Frozen):
    """What is left for one car. ``activities`` are done one after the other, from ``from_s``."""

    car: Slug
    from_s: float
    on_track: bool
    activities: tuple[Activity, ...]
    wants: dict[str, Want]
    after_flag: tuple[str, ...] = Field(default=(), description="runs that may also happen after the flag")
    minimum_laps: dict[str, int] = Field(default_factory=dict)
    windows: dict[str, int] = Field(
        default_factory=dict, description="runs bound to one of the snapshot's windows, by its index; -1: it is over"
    )
    pace: dict[str, RunPace] = Field(default_factory=dict, description="by run: how its timed laps scatter")


class ForecastSnapshot(Frozen):
    """The question to the forecaster: self-contained, so that the answer depends on nothing else."""

    t: float
    remaining_s: float
    clock_running: bool
    status: SessionStatus
    red_clock: Literal["runs", "stops"]
    finish_started_lap: bool
    interruptions: Interruptions
    futures: int
    confidence: float
    cars: tuple[CarSnapshot, ...]
    windows: tuple[tuple[float, float], ...] = Field(
        default=(), description="green and flag of each window still to be driven in; none: a session in one piece"
    )
