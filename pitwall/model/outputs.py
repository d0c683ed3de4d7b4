"""Decisions out: nouns, frozen. Those with a topic carry ``id`` and ``t``; WakeAt, ForecastWanted and
AdviceWanted stay inside.

A prompt's id is call id + revision, never random, so a receiver may drop what it has seen.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from pitwall.model.base import Frozen, Label, Slug
from pitwall.model.comments import Comment
from pitwall.model.debrief_rows import RunDebrief
from pitwall.model.desk import Arrival, ItemProgress, OpenQuestion, RunningLap, RunProgress, SwitchCard
from pitwall.model.facts import SessionStatus
from pitwall.model.outlook import (
    Activity,
    CarOutlook,
    CarSnapshot,
    ForecastAnswer,
    ForecastSnapshot,
    RunOutlook,
)
from pitwall.model.plan import CallClass, LapKind, Medium, Scalar
from pitwall.model.proposal import AdviceState, AdviceWanted, LadderState, Proposal, Rung

__all__ = ["Activity", "AdviceState", "AdviceWanted", "Arrival", "CarOutlook", "CarSnapshot", "ForecastAnswer",
           "ForecastSnapshot", "ItemProgress", "LadderState", "OpenQuestion", "Proposal", "RunDebrief", "RunOutlook",
           "RunProgress", "Rung", "SwitchCard"]

CallState = Literal["planned", "shown", "due", "said", "unconfirmed", "late", "missed", "skipped", "withdrawn", "done"]
CarState = Literal["garage", "pit_lane", "out", "timed", "cool", "in", "out_in", "stopped"]
CallWay = Literal["full", "parts", "short", "outside", "outside_short"]
AlertPriority = Literal["high", "medium", "low"]
Status = SessionStatus


class Ask(Frozen):
    """What the call asks of the driver or the garage, for machines: screens, logs, and the rehearsed driver."""

    action: Literal["none", "box", "stay_out", "set_switch", "check_switches", "procedure", "lap_kind", "leave",
                    "fire_up", "slow", "return_to_pits", "resume"]
    switch: str | None = None
    position: Scalar | None = None
    positions: dict[str, Scalar] = Field(default_factory=dict, description="for check_switches: switch to position")
    procedure: str | None = None
    item: str | None = None
    arguments: dict[str, Scalar] = Field(default_factory=dict)
    lap_kind: LapKind | None = None


class CallPart(Frozen):
    """One unbroken piece of a call that is said in parts. ``say_from_s`` as of the prompt, session seconds."""

    text: str
    say_from_s: float
    spoken_s: float


class Prompt(Frozen):
    """One call as the engineer sees it, each time it changes state. Times are session seconds."""

    type: Literal["prompt"] = "prompt"
    id: str
    t: float
    car: Slug
    call: str
    revision: int
    kind: CallClass
    text: str
    short: str
    place: str | None = None
    run: str | None = None
    lap: str | None = Field(default=None, description="which lap of the run, in words")
    say_from_s: float
    say_by_s: float
    act_at_s: float | None = None
    spoken_s: float
    priority: int = Field(ge=0, le=100, description="100 is spoken first")
    state: CallState
    reason: str | None = None
    because: str | None = Field(default=None, description="id of the command that caused this")
    caution: str | None = None
    against: str | None = Field(
        default=None, description="why this call is better not made on this lap, such as a car close behind; unsaid, "
        "it is held back and tried on the next lap that allows it"
    )
    after_line: bool = Field(
        default=False, description="not before the car is seen to begin the lap on which it is said: shown, not due"
    )
    way: CallWay = Field(
        default="full", description="how it is made: in full; in parts; in short; outside the stretches on which the "
        "driver can listen, because it cannot wait for the next"
    )
    way_reason: str | None = Field(default=None, description="why it is not said in full where it is best said")
    parts: tuple[CallPart, ...] = Field(
        default=(), description="for a call in parts: what is to be said now, and what remains, each with its moment"
    )
    parts_said: int = Field(default=0, ge=0, description="how many parts of it were said; text is the next one")
    medium: Medium = Field(
        default="two_way", description="one_way: nothing is read back; board: say_from_s and say_by_s are when it is "
        "hung out, and it is acted on within the lap after the pass"
    )
    board: tuple[str, ...] = Field(default=(), description="the lines on the board, top line first")
    ask: Ask = Ask(action="none")


class DeskState(Frozen):
    """``desk/<car>/state``: what the engineer needs at a glance; retained."""

    type: Literal["desk_state"] = "desk_state"
    id: str
    t: float
    car: Slug
    state: CarState
    run: str | None
    lap_number: int
    lap_kind: LapKind | None
    lap_of_run: str | None = None
    quiet: bool = False
    kept_in: bool = False
    prompts: tuple[Prompt, ...]
    switches: tuple[SwitchCard, ...]
    arrivals: tuple[Arrival, ...]
    running_lap: RunningLap | None = Field(default=None, description="none while the car is not on one")
    flag_margin_s: float | None = Field(default=None, description="seconds in hand to start one more timed lap")
    last_lap_s: float | None = None
    best_lap_s: float | None = None
    engineer: str | None = Field(default=None, description="who took over this car's radio last")
    driver: str | None = Field(default=None, description="who sits in the car, or will on the next run")
    driver_change: str | None = Field(default=None, description="who has to get out for that driver")
    wet: bool = Field(default=False, description="the car's switches stand for a wet track")
    tyres: str | None = Field(default=None, description="the set on the car, by its label in the plan")
    tyre_laps: int | None = Field(default=None, description="laps of that set so far")
    fuel_kg: float | None = Field(default=None, description="about how much is in the car")
    medium: Medium = Field(default="two_way", description="how calls reach the driver: radio or boards")
    by_hand: bool = Field(default=False, description="where the car is rests on what was entered by hand")
    questions: tuple[OpenQuestion, ...] = Field(default=(), description="answers owed to the driver, the oldest first")
    comments: tuple[Comment, ...] = Field(default=(), description="the driver's latest ones, oldest first")


class DriverRunning(Frozen):
    """What one driver has driven in this car so far, what the rest of the plan gives, and what is demanded."""

    driver: str
    laps: int
    running_s: float
    planned_laps: int = Field(description="laps of the runs that are still to be done")
    minimum_laps: int | None = None
    minimum_s: float | None = None
    most_laps: int | None = None
    most_s: float | None = None


class PlanChanged(Frozen):
    """One change of the plan: what, by whom and why."""

    revision: int
    t: float
    by: str
    what: str
    why: str
    takes_back_t: float | None = Field(default=None, description="`t` of the change that is taken back by this one")


class RoleSeen(Frozen):
    """A role of the crew, and up to which change it has seen the plan; none: not at all yet."""

    role: str
    revision: int | None = None
    by: str | None = None
    t: float | None = None


class PlanState(Frozen):
    """``plan/<car>``: every run and item with its spans and state; retained."""

    type: Literal["plan_state"] = "plan_state"
    id: str
    t: float
    car: Slug
    revision: int
    runs: tuple[RunProgress, ...]
    alternate: str | None = Field(default=None, description="which alternate is driven; none: the plan itself")
    changes: tuple[PlanChanged, ...] = Field(default=(), description="the latest ones, oldest first")
    seen: tuple[RoleSeen, ...] = Field(default=(), description="the roles of the crew that the runs name, by name")
    drivers: tuple[DriverRunning, ...] = Field(default=(), description="where several drive, or something is demanded")
    km: float | None = Field(default=None, description="mileage of the car so far, where it is limited")


class Corrected(Frozen):
    """``corrected``: better evidence replaced what was believed, or what a hand had entered."""

    type: Literal["corrected"] = "corrected"
    id: str
    t: float
    car: Slug | None = None
    because: str = Field(description="id of the fact or command that brought the better evidence")
    text: str


class Alert(Frozen):
    """``alert/<id>``: a condition with a life cycle; retained until over, then cleared with an empty message."""

    type: Literal["alert"] = "alert"
    id: str
    t: float
    car: Slug | None = None
    kind: Literal[
        "overrun", "switch_wrong", "switch_unverified", "feed_stale", "car_silent", "clock_unknown", "fuel_short",
        "fuel_to_go_on", "release_overdue", "in_overdue", "answer_owed", "plan_file", "timetable", "curfew",
        "driver_laps", "driver_limit", "car_limit", "many_alerts", "misses_flag", "not_as_told",
        "stayed_out",
        "on_another_run",
        "pace_under_red",
        "tyre_hot", "tyre_cold", "tyre_pressure_high", "tyre_pressure_low",
    ]
    priority: AlertPriority
    active: bool
    acknowledged: bool = False
    text: str
    help: str
    since_s: float
    because: str | None = None
    switches: dict[str, str] = Field(
        default_factory=dict, description="the switches that it is about, each with its own words"
    )


class HeldBack(Frozen):
    """An alert that was not raised, and why: every drop is on the record."""

    type: Literal["held_back"] = "held_back"
    id: str
    t: float
    alert: str
    reason: str


class ClockState(Frozen):
    """``clock``: the session clock as pitwall keeps it; retained, 1 Hz, every 5 s in a long break."""

    type: Literal["clock_state"] = "clock_state"
    id: str
    t: float
    remaining_s: float
    running: bool
    rate: float
    status: Status
    yellow_sectors: tuple[Label, ...] = ()
    pit_exit: Literal["open", "closed"]
    window: str | None = Field(default=None, description="the window that runs, or that comes next while waiting")


class ForecastState(Frozen):
    """``forecast/<car>``: chance that each run fits, end times, last release times; retained."""

    type: Literal["forecast_state"] = "forecast_state"
    id: str
    t: float
    car: Slug
    plan_revision: int
    outlook: CarOutlook
    musts_lost: tuple[str, ...] = Field(
        default=(), description="must-runs that are over with too little driven: no chance is of these any more"
    )


class FieldCar(Frozen):
    """One car of the field as followed."""

    car: Slug
    state: CarState
    lap_number: int
    last_lap_s: float | None = None
    best_lap_s: float | None = None


class FieldState(Frozen):
    """``field``: who is on track; retained."""

    type: Literal["field_state"] = "field_state"
    id: str
    t: float
    cars: tuple[FieldCar, ...]


class LapJudged(Frozen):
    """A lap ended, or its kind is believed anew: what the score and the debrief read. ``laps/<car>`` on the wire."""

    type: Literal["lap_judged"] = "lap_judged"
    id: str
    t: float
    car: Slug
    lap_number: int
    at: Literal["loop", "line", "pit"]
    loop: str | None = None
    kind: LapKind
    lap_time_s: float | None = None
    run: str | None = None
    start_s: float | None = None


class CommentNoted(Frozen):
    """``comment/<car>``: what the driver said was noted, completed or taken back; the whole comment each time."""

    type: Literal["comment_noted"] = "comment_noted"
    id: str
    t: float
    car: Slug
    comment: Comment
    taken_back: bool = False


class Refused(Frozen):
    """``refused``: a command or fact that was not taken, and why."""

    type: Literal["refused"] = "refused"
    id: str
    t: float
    because: str
    car: Slug | None = None
    reason: str


class Answered(Frozen):
    """``desk/<car>/answer``: a command's effect in words, with the command's id in ``because``."""

    type: Literal["answered"] = "answered"
    id: str
    t: float
    because: str
    car: Slug
    effect: str


class Health(Frozen):
    """``health``: made by the host, not by the engine; retained; ``offline`` is the daemon's will.

    While ``store_fails`` nothing is decided and ``store`` says why; else ``store`` names the journal. ``lag_s`` is how
    many session seconds an event waits to be decided. The counts are since the daemon started.
    """

    type: Literal["health"] = "health"
    id: str
    t: float
    state: Literal["online", "offline"]
    version: str
    lag_s: float | None = None
    feed_age_s: float | None = None
    feed_ages_s: dict[str, float] = Field(
        default_factory=dict, description="session seconds since each feed that ever spoke was heard, by its name"
    )
    store: str | None = None
    broker: str | None = None
    refused_payloads: int = 0
    store_fails: bool = False
    queued: int = 0
    dropped: int = 0
    poisoned: int = 0
    sink_failures: int = 0
    turns: tuple[int, ...] = Field(default=(), description="the turns that the circuit has, for who types comments")


class WakeAt(Frozen):
    """Internal: wake the engine at this session second."""

    type: Literal["wake_at"] = "wake_at"
    t: float


class ForecastWanted(Frozen):
    """Internal: ask the forecaster. The answer comes back as ``ForecastReady`` with the same revision."""

    type: Literal["forecast_wanted"] = "forecast_wanted"
    t: float
    revision: int
    seed: int
    snapshot: ForecastSnapshot


Output = Annotated[
    Prompt | DeskState | PlanState | Alert | HeldBack | ClockState | ForecastState | FieldState | LapJudged | Refused
    | Answered | CommentNoted | Proposal | AdviceState | LadderState | Corrected | WakeAt | ForecastWanted
    | AdviceWanted | RunDebrief,
    Field(discriminator="type"),
]
