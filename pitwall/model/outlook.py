"""The forecaster's question and answer: what is left of the session for each car, and how it may end."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.base import Frozen, Slug
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
