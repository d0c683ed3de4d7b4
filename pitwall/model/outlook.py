"""The forecaster's question and answer: what is left of the session for each car, and how it may end."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.base import Frozen, Label, Slug
from pitwall.model.facts import SessionStatus
from pitwall.model.plan import Want
from pitwall.model.rules import Interruptions


class ItemOutlook(Frozen):
    """One item of a run, by its key: the chance that its lap is still driven."""

    item: str
    chance: float = Field(ge=0, le=1)


class RunOutlook(Frozen):
    """One run's future."""

    run: str
    want: Want
    chance: float = Field(ge=0, le=1)
    end_q10_s: float
    end_q50_s: float
    end_q90_s: float
    last_release_s: float | None = Field(default=None, description="leave by then to keep the wanted confidence")
    spare_q10_s: float | None = Field(
        default=None, description="seconds in hand, negative: too late by so much; none: nothing can stop it"
    )
    spare_q50_s: float | None = None
    spare_q90_s: float | None = None
    timed_q10: int | None = Field(default=None, description="timed laps that it still gets, of those to come")
    timed_q50: int | None = None
    timed_q90: int | None = None
    items: tuple[ItemOutlook, ...] = ()


class NextLap(Frozen):
    """Can another timed lap still be started: from the lap that the car is on, or if it leaves once it is ready."""

    starts_q10_s: float
    starts_q50_s: float
    starts_q90_s: float
    margin_q10_s: float = Field(description="seconds in hand before the flag; negative: too late")
    margin_q50_s: float
    margin_q90_s: float
    chance: float = Field(ge=0, le=1)
    one_more_margin_q50_s: float | None = Field(default=None, description="of the timed lap after that one")
    one_more_chance: float | None = Field(default=None, ge=0, le=1)


class LimitOutlook(Frozen):
    """A limit that the plan runs into, and when."""

    kind: Literal["fuel", "tyres", "laps", "km"]
    run: str
    chance: float = Field(ge=0, le=1, description="that it is hit before the flag")
    laps: int = Field(description="laps of that run still to do before it")
    at_q10_s: float | None = None
    at_q50_s: float | None = None
    at_q90_s: float | None = None
    text: str


class InLapLimit(Frozen):
    """The slowest in-lap that is permitted: by the regulations, or to be ready for the next run's latest release."""

    slowest_s: float
    reason: Literal["regulations", "next release"]
    chance: float = Field(ge=0, le=1, description="that the in-lap is no slower")


class ComparisonOutlook(Frozen):
    """What difference in lap time two runs can resolve."""

    run: str
    against: str
    resolves_s: float | None = Field(default=None, description="none: too few laps for any")
    with_two_more_s: float | None = None
    text: str


class CarOutlook(Frozen):
    """One car's future."""

    car: Slug
    musts_chance: float = Field(ge=0, le=1, description="that every must-run still to come fits")
    runs: tuple[RunOutlook, ...]
    spare_q50_s: float
    spare_q10_s: float | None = None
    spare_q90_s: float | None = None
    next_lap: NextLap | None = None
    in_lap: InLapLimit | None = None
    limits: tuple[LimitOutlook, ...] = ()
    comparisons: tuple[ComparisonOutlook, ...] = ()
    problem: str | None = Field(default=None, description="why there is less to say than usual, in a sentence")


class ForecastAnswer(Frozen):
    """What the forecaster found for one snapshot."""

    cars: tuple[CarOutlook, ...]
    futures: int
    seed: int
    problem: str | None = Field(default=None, description="why nothing can be said, in a sentence")


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


class Limit(Frozen):
    """A limit that the plan runs into: fuel, laps on a set, laps or kilometres of the car."""

    kind: Literal["fuel", "tyres", "laps", "km"]
    what: str = Field(description="in words: 'the reserve of 2 kg', 'B2 has done 12 laps'")
    run: str = Field(description="in which it is hit first")
    laps: float = Field(ge=0, description="laps of that run that are still to do and that it allows")
    spread: float = Field(default=0.0, ge=0, description="deviation of that number, as a share")


class Comparison(Frozen):
    """Two runs whose lap times are to be compared, and what is known of the scatter."""

    run: str
    against: str
    laps: int = Field(ge=0, description="timed laps of the run, done and planned")
    against_laps: int = Field(ge=0)
    scatter_s: float = Field(ge=0, description="deviation from lap to lap within a run, mistakes left out")
    seen: int = Field(default=0, ge=0, description="how many pairs of laps it was seen on; 0: believed beforehand")


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
    lap_s: float | None = Field(default=None, gt=0, description="a usual timed lap of the car")
    lap_began_s: float | None = Field(default=None, description="when the running lap began")
    limits: tuple[Limit, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    cut_work: dict[str, Activity] = Field(
        default_factory=dict, description="by run: what the garage does on the car before it leaves again, when a red "
        "flag sent it back; none: it leaves as soon as it may"
    )
    to_track_s: float = Field(default=0.0, ge=0, description="from the garage to the pit exit")


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
    status_since_s: float | None = Field(default=None, description="when a red or slow period that is under way began")
    rate_spread: float = Field(
        default=0.0, ge=0, le=5, description="how much sessions differ in how often they are interrupted: deviation of "
        "the rate over the rate"
    )
    seen_s: float = Field(default=0.0, ge=0, description="running seen so far; with it the rates are corrected")
    reds_seen: int = Field(default=0, ge=0, description="red flags in that time")
    slows_seen: int = Field(default=0, ge=0, description="slow periods in that time")
    red_lengths_s: tuple[float, ...] = Field(default=(), description="of the red flags that are over, the latest ones")
    slow_lengths_s: tuple[float, ...] = Field(default=(), description="of the slow periods that are over, likewise")
    reopening_s: float = Field(
        default=0.0, ge=0, description="from the end of a red flag until a car that is ready leaves the garage"
    )
    clock_uncertainty_s: float = Field(default=0.0, ge=0, description="the flag falls so much sooner or later")
    slowest_in_lap_s: float | None = Field(default=None, gt=0, description="the regulations allow no slower in-lap")
