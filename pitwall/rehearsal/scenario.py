"""The scenario file: what kind of day the rehearsed world has. The file says how the world differs from the plan.

Spreads are written as three numbers, the 10th, 50th and 90th percentile, because that is how a trade measures itself.
Everything random follows from ``seed``: one scenario and one seed are one session, always.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from pitwall.model.base import Frozen, Label, Name, Slug
from pitwall.model.schemas import DIALECT, WrittenSchema
from pitwall.model.setup import SessionSetup
from pitwall.model.units import Duration, Seconds, Share


def _rising(value: tuple[float, float, float]) -> tuple[float, float, float]:
    low, middle, high = value
    if not 0 <= low <= middle <= high:
        raise ValueError("expected three rising numbers, none negative: [10th, 50th, 90th percentile]")
    return value


Spread = Annotated[tuple[float, float, float], AfterValidator(_rising)]
"""10th, 50th and 90th percentile of something that is never negative."""

Keys = Literal["all", "some", "none"]


class EngineerHabits(Frozen):
    """The person who reads the prompts. ``keys`` says whether that person tells the desk what was done."""

    reaction_s: Spread = Field(default=(0.5, 1.2, 2.6), description="from a prompt being sayable to the first word")
    words_per_minute: Spread = Field(default=(150, 150, 150), description="how fast each engineer speaks")
    speech: Spread = Field(default=(0.92, 1.05, 1.22), description="length of one call over what it usually takes")
    keys: Keys = "all"
    key_share: Share = Field(default=0.6, description="with keys: some, the share of keys that are pressed")
    key_delay_s: Spread = Field(default=(0.3, 0.8, 2.0), description="from the end of a call to the key")
    forgets: Share = Field(default=0.02, description="share of calls that are never spoken")
    follows: bool = Field(
        default=False,
        description="keeps to the window as it stands: begins no call after it, waits where it is moved to, and needs "
                    "half the time for a call that was shown before",
    )
    hands_over: bool = Field(default=False, description="in the break between two windows another one takes over")
    adopts_after_s: Duration | None = Field(
        default=None, description="adopts the forecast's first proposal so long after it came; none: never"
    )


class DriverHabits(Frozen):
    """The drivers of the team cars: they know their briefing, and otherwise only what was said to them."""

    reaction_s: Spread = Field(default=(0.8, 1.6, 2.8), description="from the end of a call to the action")
    forgets: Share = Field(default=0.02, description="share of calls heard and not carried out")
    mishears: Share = Field(default=0.02, description="share of calls heard wrongly; a readback shows it")
    leaves_wrong: Share = Field(default=0.02, description="share of switch calls of which one switch is left")
    knocks_per_hour: float = Field(default=0.3, ge=0, le=60, description="switches knocked by accident, an hour")
    readback: Share = Field(default=0.9, description="share of calls that are read back")
    readback_s: Spread = (0.8, 1.4, 2.4)
    count: Spread = Field(default=(0.9, 1.0, 1.15), description="a hold as the driver counts it, over what was asked")


class Talks(Frozen):
    """How much of a lap the driver speaks without being asked; the engineer listens before speaking."""

    timed: Share = 0.03
    out: Share = 0.1
    other: Share = Field(default=0.25, description="on cool-down laps and in-laps")
    length_s: Spread = (1.5, 3.5, 7.0)
    insists: bool = Field(
        default=False,
        description="what the driver has to say waits for a free channel, and a lap that a call turns into a cool-down "
                    "or in-lap is talked on as such from then on",
    )


class HearingHabits(Frozen):
    """When a driver can listen: not under more braking or more load to the side than this (practice: about 10)."""

    aside_mps2: Spread = (9.5, 11.0, 13.0)
    slowing_mps2: Spread = (1.0, 1.5, 3.0)
    deaf: bool = Field(default=False, description="what falls into braking or a corner is lost, not only written down")
    needs: Share = Field(default=0.75, description="with deaf: share of a sentence that must be heard to be understood")


class FieldHabits(Frozen):
    """The other cars. Defaults are what was measured over eight dry and wet practice sessions of a large series."""

    cars: int = Field(default=18, ge=0, le=60)
    timed_laps: Spread = Field(default=(1, 3, 9.6), description="timed laps in a run")
    garage_s: Spread = Field(default=(323, 556, 979), description="a stop in the garage")
    first_out_s: Spread = Field(default=(8, 90, 480), description="first release after the green light")
    pace: float = Field(default=0.008, ge=0, le=0.2, description="spread of the cars' pace, share of a lap, one sigma")
    cool_after_timed: Share = Field(default=0.28, description="chance that a cool-down lap follows a timed lap")


class PaceOfWorld(Frozen):
    """By how much this world differs from the files. One sigma, as a share, where nothing else is said."""

    lap: float = Field(default=0.012, ge=0, le=0.2)
    grip: float = Field(default=0.03, ge=0, le=0.3)
    power: float = Field(default=0.02, ge=0, le=0.3)
    fuel_effect: float = Field(default=0.2, ge=0, le=1)
    fuel_burn: float = Field(default=0.04, ge=0, le=0.5)
    pit: float = Field(default=0.08, ge=0, le=0.5, description="time in the pit lane")
    garage: float = Field(default=0.08, ge=0, le=1, description="length of garage work")
    track_gain_s: Spread = Field(default=(1.0, 1.8, 3.0), description="what the track gains, most of it early")
    scatter_s: Spread = Field(default=(0.18, 0.28, 0.42), description="a driver's own scatter between good laps")
    spoilt: Share = Field(default=0.1, description="share of timed laps spoilt by a mistake or traffic")
    out_lap: Spread = Field(default=(1.07, 1.25, 1.41), description="pit exit to line, as a multiple of the best lap")
    cool_lap: Spread = (1.22, 1.50, 1.68)
    in_lap: Spread = Field(default=(1.02, 1.18, 1.50), description="line to the line in the pit lane, likewise")


class FeedFaults(Frozen):
    """What the timing feed does to the truth on its way."""

    delay_median_s: Duration = 0.06
    delay_p99_s: Duration = 2.0
    delay_worst_s: Duration = 25.0
    lost: Share = Field(default=0.003, description="share of crossings that are never sent")
    doubled: Share = Field(default=0.01, description="sent twice, half of them with another id")
    out_of_order: Share = Field(default=0.01, description="held back for seconds, so that later ones overtake them")
    switches: Literal["measured", "all", "none"] = Field(default="measured", description="what telemetry reports")
    channel: bool = Field(default=False, description="the radio desk reports who is talking")
    clock_every_s: float = Field(default=1.0, gt=0, le=60)
    positions_hz: float = Field(
        default=0.0, ge=0, le=10, description="the team's own cars report where they are on track so often; 0: never"
    )

    @model_validator(mode="after")
    def _order(self) -> Self:
        if not self.delay_median_s <= self.delay_p99_s <= self.delay_worst_s:
            raise ValueError("expected delay_median_s <= delay_p99_s <= delay_worst_s")
        return self


class ScriptedFlag(Frozen):
    """One interruption by script."""

    at: Seconds
    status: Literal["yellow", "slow", "red"]
    lasts: Duration
    sectors: tuple[Label, ...] = Field(default=(), description="marshal sectors of a yellow; none: the first one")

    @model_validator(mode="after")
    def _sense(self) -> Self:
        if self.sectors and self.status != "yellow":
            raise ValueError(f"sectors belong to a yellow; a {self.status} flag is for the whole track")
        if self.lasts <= 0:
            raise ValueError("lasts must be longer than nothing")
        return self


class FlagHabits(Frozen):
    """Interruptions: a script, random ones by rate, or both. A random one never falls into a scripted one."""

    scripted: tuple[ScriptedFlag, ...] = ()
    red_per_hour: float = Field(default=0.0, ge=0, le=20)
    slow_per_hour: float = Field(default=0.0, ge=0, le=20)
    yellow_per_hour: float = Field(default=0.0, ge=0, le=60)
    red_length_s: Spread = (217, 367, 613)
    slow_length_s: Spread = (60, 120, 300)
    yellow_length_s: Spread = (4, 20, 31)

    @model_validator(mode="after")
    def _apart(self) -> Self:
        spans = sorted((flag.at, flag.at + flag.lasts, flag.status) for flag in self.scripted)
        for (_, ends, one), (starts, _, other) in pairwise(spans):
            if starts < ends and not one == other == "yellow":
                raise ValueError(f"scripted flags overlap: a {one} until {ends:g} s and a {other} from {starts:g} s")
        return self


class Incident(Frozen):
    """Something that happens to one car, on track: at ``at``, or as soon as the car is on track after that."""

    at: Seconds
    car: Slug
    what: Literal["stops"] = "stops"
    lasts: Duration | None = Field(default=None, description="goes on after so long; without it: out for the session")


class FaultHabits(Frozen):
    """What goes wrong by chance with our cars and the feed; nothing by default. Rates are an hour, for each car."""

    tyres_every_s: float = Field(default=0.0, ge=0, le=60, description="telemetry of the tyres; 0: none is sent")
    tyre_hot_per_hour: float = Field(default=0.0, ge=0, le=60)
    tyre_hot_s: Spread = (90, 150, 240)
    pressure_losses_per_hour: float = Field(default=0.0, ge=0, le=60)
    stops_per_hour: float = Field(default=0.0, ge=0, le=60, description="stops on track, and goes on after stop_s")
    stop_s: Spread = (220, 280, 360)
    silences_per_hour: float = Field(default=0.0, ge=0, le=60, description="of the timing feed, the clock too")
    silence_s: Spread = (115, 150, 240)
    short_fills: Share = Field(default=0.0, description="share of longer runs that leave with half the fuel they need")

    @model_validator(mode="after")
    def _tyres_are_reported(self) -> Self:
        if (self.tyre_hot_per_hour or self.pressure_losses_per_hour) and not self.tyres_every_s:
            raise ValueError("faults of the tyres need 'tyres_every_s': nothing else tells of them")
        return self


class Scenario(Frozen):
    """A scenario file. Paths are relative to the file itself."""

    scenario: Literal[1]
    name: str = Field(min_length=1, max_length=60)
    about: str = ""
    event: str = Field(min_length=1, description="path of the event file")
    session: Slug | None = Field(default=None, description="one of the event's sessions; none: the event's own choice")
    plans: dict[Slug, str] = Field(default_factory=dict, description="car number to another plan file than the event's")
    duration_s: Duration | None = Field(default=None, description="shorten the session to this length")
    starts_at_s: float = Field(default=-60, ge=-3600, le=0, description="session second at which the world begins")
    close_after_s: Duration = Field(default=180, description="from the flag to the end of the session, at least")
    wake_after_s: float = Field(default=75, ge=60, le=3600, description="the clock runs on for so long after the end")
    seed: int = Field(default=1, ge=0, le=2**31 - 1)
    engineer: EngineerHabits = EngineerHabits()
    driver: DriverHabits = DriverHabits()
    drivers: dict[Name, DriverHabits] = Field(
        default_factory=dict, description="habits of single drivers, by the name that plans use"
    )
    driver_change_s: Spread = Field(default=(110, 145, 200), description="a change of drivers in the garage")
    driver_pace: float = Field(default=0.006, ge=0, le=0.1, description="spread between drivers of one car, one sigma")
    holds: Literal["lost", "driven"] = Field(
        default="lost", description="a hold costs time, and nobody sees how; or it is driven, and positions show it"
    )
    talks: Talks = Talks()
    hearing: HearingHabits = HearingHabits()
    field: FieldHabits = FieldHabits()
    pace: PaceOfWorld = PaceOfWorld()
    feed: FeedFaults = FeedFaults()
    flags: FlagHabits = FlagHabits()
    incidents: tuple[Incident, ...] = ()
    faults: FaultHabits = FaultHabits()

    def fitted(self, setup: SessionSetup) -> SessionSetup:
        """The setup with the session as long as this scenario wants it; the daemon and the world both take this one."""
        if self.duration_s is None:
            return setup
        windows = tuple(
            window.model_copy(update={"duration_s": self.duration_s}) if window.session == setup.session else window
            for window in setup.regulations.sessions
        )
        return setup.model_copy(update={"regulations": setup.regulations.model_copy(update={"sessions": windows})})


def scenario_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a scenario file as people may write it."""
    made = Scenario.model_json_schema(mode="validation", schema_generator=WrittenSchema)
    return {"$schema": DIALECT, "$id": "urn:pitwall:schema:scenario:1", **made, "title": "pitwall scenario file"}
