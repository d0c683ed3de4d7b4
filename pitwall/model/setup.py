"""Everything the engine must know before the first fact: journaled whole, so a journal replays with no file."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from pitwall.model.base import Frozen, Slug
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.plan import Alternate, Estimate, LapKind, Plan, QuietRule, ThreePoint
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations, Window
from pitwall.model.units import Duration


class Driver(Frozen):
    """A driver, by the name that plans use. Laps and times are those of the whole session, in one car."""

    driver: str
    spoken: str = Field(min_length=1, max_length=30)
    quiet: dict[LapKind, QuietRule] = Field(default_factory=dict, description="over the plan's, for the kinds named")
    minimum_laps: int | None = Field(default=None, ge=1)
    minimum_s: Duration | None = None
    most_laps: int | None = Field(default=None, ge=1)
    most_s: Duration | None = None


class CarLimits(Frozen):
    """What one car may do in the session at most."""

    most_laps: int | None = Field(default=None, ge=1)
    most_km: float | None = Field(default=None, gt=0)


class GarageWork(Frozen):
    """Work in the garage that is not a run's own."""

    driver_change_s: Estimate = Field(
        default=ThreePoint(low_s=120, likely_s=150, high_s=180),
        description="a change of drivers: seat, belts, radio (common practice: 2 to 3 min)",
    )
    driver_change: Literal["beside", "after"] = Field(
        default="beside", description="done beside the other work of the stop, or after it"
    )

    def stop(self, work: ThreePoint, *, changes_driver: bool) -> ThreePoint:
        """The three points of a stop with this work, and a change of drivers where there is one."""
        if not changes_driver:
            return work
        change, beside = self.driver_change_s, self.driver_change == "beside"
        pairs = ((work.low_s, change.low_s), (work.likely_s, change.likely_s), (work.high_s, change.high_s))
        low, likely, high = (max(pair) if beside else sum(pair) for pair in pairs)
        return ThreePoint(low_s=low, likely_s=likely, high_s=high)


class CallTiming(Frozen):
    """Settings of the calls; common practice where no source is named (see config/settings.yaml)."""

    words_per_minute: float = Field(default=150, ge=60, le=260)
    lead_s: Duration = Field(default=20, description="a prompt is shown this long before it may be said")
    box_shown_before_s: Duration = Field(
        default=25, description="a box prompt is shown at least this long before the last place"
    )
    window_s: Duration = Field(default=12, description="length of the saying window where physics gives none")
    lateral_limit_mps2: float = Field(default=10, gt=0)
    listen_min_s: Duration = 2.0
    unconfirmed_after_s: Duration = Field(
        default=2, description="past its time for so long without evidence: unconfirmed"
    )
    switch_reaction_s: Duration = 2.0
    box_reaction_s: Duration = 3.0
    release_check_s: Duration = Field(default=180, description="switch check list this long before release")
    brief_s: Duration = 240
    fire_up_s: Duration = 60
    silent_after_s: Duration = Field(default=180, description="a car on track unseen for so long counts as stopped")
    garage_after_s: Duration = Field(default=75, description="in the pit lane for so long counts as in the garage")
    feed_stale_s: Duration = 90


class CrewNotice(Frozen):
    """How long the crew must know of a change of the run that leaves next; common practice, no source."""

    tyres_s: Duration = Field(default=180, description="another tyre set")
    fuel_s: Duration = Field(default=120, description="another fuel load")
    driver_s: Duration = Field(default=150, description="another driver")
    other_run_s: Duration = Field(default=240, description="another run than the one they prepare: its set-up")


class ForecastSettings(Frozen):
    """How often and how widely the futures are drawn."""

    futures: int = Field(default=5000, ge=100, le=200_000)
    every_s: Duration = 120
    warn_below: float = Field(default=0.6, gt=0, lt=1)
    clear_above: float = Field(default=0.75, gt=0, lt=1)
    confidence: float = Field(default=0.9, gt=0, lt=1)
    seed: int = 1


class SessionSetup(Frozen):
    """One session of one team, with every file resolved and checked."""

    version: Literal[1] = 1
    event: str
    session: Slug
    team: str
    wet: bool = False
    regulations: Regulations
    circuit: Circuit
    cars: dict[str, Car]
    drivers: dict[str, Driver] = Field(default_factory=dict)
    plans: dict[str, Plan]
    alternates: dict[str, dict[Alternate, Plan]] = Field(
        default_factory=dict, description="by car and kind: the plans that switch_plan may change to"
    )
    procedures: dict[str, Procedure]
    field_cars: tuple[Slug, ...] = ()
    calls: CallTiming = CallTiming()
    forecast: ForecastSettings = ForecastSettings()
    crew: CrewNotice = CrewNotice()
    garage: GarageWork = GarageWork()
    limits: dict[Slug, CarLimits] = Field(default_factory=dict, description="by car")
    time_zone: str | None = Field(
        default=None, max_length=64, description="of the place, an IANA name; none: the offset of opens_at holds"
    )

    @model_validator(mode="after")
    def _cars_have_files(self) -> Self:
        missing = sorted(set(self.plans) - set(self.cars))
        if missing:
            raise ValueError(f"plans without a car file: {', '.join(missing)}")
        if self.regulations.window(self.session) is None:
            known = ", ".join(window.session for window in self.regulations.sessions)
            raise ValueError(f"session {self.session!r} is not in the regulations (known: {known})")
        return self

    @property
    def duration_s(self) -> float:
        """Scheduled length of the session, seconds."""
        window = self.regulations.window(self.session)
        assert window is not None
        return window.duration_s

    @property
    def windows(self) -> tuple[Window, ...]:
        """The windows of the session; none for a session in one piece."""
        window = self.regulations.window(self.session)
        return window.windows if window is not None else ()
