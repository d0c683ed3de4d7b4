"""The event file: which files belong together, who drives what, and who else is on track.

All paths are relative to the event file. ``procedures`` names a folder; every ``*.yaml`` in it is one procedure.
The settings file is optional, and so is each entry in it.
"""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from pitwall.model.base import Frozen, Name, Slug
from pitwall.model.plan import LapKind, QuietRule
from pitwall.model.setup import CallTiming, CrewNotice, ForecastSettings, GarageWork
from pitwall.model.timetable import Day
from pitwall.model.units import Duration


class EventDriver(Frozen):
    """A driver of the team: ``spoken`` is the short name used on the radio."""

    spoken: str = Field(min_length=1, max_length=30)
    name: str | None = Field(default=None, min_length=1, max_length=60)
    quiet: dict[LapKind, QuietRule] = Field(
        default_factory=dict, description="what may be said to this driver; over the plan's, for the lap kinds named"
    )
    minimum_laps: int | None = Field(default=None, ge=1, description="laps that this driver must drive in the session")
    minimum_s: Duration | None = Field(default=None, description="time on track that this driver must have")
    most_laps: int | None = Field(default=None, ge=1, description="laps that this driver may drive at most")
    most_s: Duration | None = Field(default=None, description="time on track that this driver may have at most")


class EventCar(Frozen):
    """One of the team's cars: its car file, its plan, and who starts the day in it (the plan may say otherwise)."""

    car: str = Field(min_length=1, max_length=255, description="path of the car file")
    plan: str = Field(min_length=1, max_length=255, description="path of the plan file")
    driver: Name | None = None
    most_laps: int | None = Field(default=None, ge=1, description="laps that the car may do at most")
    most_km: float | None = Field(default=None, gt=0, description="mileage that the car may do at most")


class EventFile(Frozen):
    """The event file."""

    event: Literal[1]
    name: str = Field(min_length=1, max_length=80)
    team: str = Field(min_length=1, max_length=40)
    session: Slug = Field(description="the session to prepare when none is asked for; one of the regulations' sessions")
    wet: bool = Field(default=False, description="which switch defaults apply when the session opens")
    regulations: str = Field(default="regulations.yaml", min_length=1, max_length=255)
    circuit: str = Field(default="circuit.yaml", min_length=1, max_length=255)
    settings: str | None = Field(default=None, min_length=1, max_length=255)
    procedures: str = Field(default="procedures", min_length=1, max_length=255, description="folder of the library")
    drivers: dict[Name, EventDriver] = Field(min_length=1)
    cars: dict[Slug, EventCar] = Field(min_length=1, max_length=8)
    field_cars: tuple[Slug, ...] = Field(default=(), max_length=80, description="the other cars on track, by number")
    day: Day | None = Field(default=None, description="the day by the wall clock: reminders, curfew, export")

    @model_validator(mode="after")
    def _numbers_once(self) -> Self:
        listed = list(self.field_cars)
        ours = sorted(set(listed) & set(self.cars))
        if ours:
            raise ValueError(f"field_cars lists the team's own car: {', '.join(ours)}")
        twice = sorted({car for car in listed if listed.count(car) > 1})
        if twice:
            raise ValueError(f"field_cars lists a car twice: {', '.join(twice)}")
        return self


class SettingsFile(Frozen):
    """The settings file: how calls are timed, how the forecast is drawn, what the crew needs of notice and of time."""

    settings: Literal[1]
    calls: CallTiming = CallTiming()
    forecast: ForecastSettings = ForecastSettings()
    crew: CrewNotice = CrewNotice()
    garage: GarageWork = GarageWork()
