"""Everything the engine must know before the first fact: journaled whole, so a journal replays with no file."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from pitwall.model.base import Frozen, Slug
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.plan import Alternate, Plan
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations
from pitwall.model.units import Duration


class Driver(Frozen):
    """A driver, by the name that plans use."""

    driver: str
    spoken: str = Field(min_length=1, max_length=30)


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
