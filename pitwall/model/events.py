"""Facts in: past-tense, frozen, each with ``id`` and ``t`` (session seconds when it happened).

The same id again is the same fact. ``Stamped`` adds what the host knows: its place in the journal and when it was
taken. Unknown cars are legal (the field is open); unknown words are not.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, Field

from pitwall.model.advice import AdviceAnswer
from pitwall.model.base import Frozen, Label, Slug
from pitwall.model.commands import CallCommand, CommandGiven, PlanCommand, TruthCommand
from pitwall.model.comments import Remark
from pitwall.model.facts import Fact, Hand, MessageId, PitExit, SessionStatus
from pitwall.model.outputs import ForecastAnswer
from pitwall.model.plan import Alternate, Plan, Scalar
from pitwall.model.setup import SessionSetup
from pitwall.model.timetable import EntryKind
from pitwall.model.units import Seconds

__all__ = ["CallCommand", "CommandGiven", "Fact", "Hand", "MessageId", "PitExit", "PlanCommand", "SessionStatus",
           "TruthCommand"]


class SessionPrepared(Fact):
    """The daemon read its files: everything later depends on this one."""

    type: Literal["session_prepared"] = "session_prepared"
    setup: SessionSetup
    wall_start: str | None = Field(default=None, description="RFC 3339 time at which this fact was made, live only")


class CarCrossed(Fact):
    """A car passed a timing loop (``line`` is the finish line)."""

    type: Literal["car_crossed"] = "car_crossed"
    car: Slug
    loop: Label
    lap: int | None = Field(default=None, ge=0, le=2000)
    lap_time_s: float | None = Field(default=None, gt=0, le=100_000)
    sector_time_s: float | None = Field(default=None, gt=0, le=100_000)
    speed_mps: float | None = Field(default=None, ge=0, le=200)
    compound: str | None = Field(default=None, max_length=24)
    tyre_age: int | None = Field(default=None, ge=0, le=1000)


class CarPitted(Fact):
    """A car entered or left the pit lane."""

    type: Literal["car_pitted"] = "car_pitted"
    car: Slug
    where: Literal["entry", "exit"]


class CarPositioned(Fact):
    """A position on the lap; thinned by the host before the journal."""

    type: Literal["car_positioned"] = "car_positioned"
    car: Slug
    distance_m: float = Field(ge=0, le=50_000)
    speed_mps: float | None = Field(default=None, ge=0, le=200)


class CarSighted(Fact):
    """A car was seen between two loops, by a feed that knows the lap's time only: a passage of a short stretch.

    It shows where the car is and moves it through no lap. ``share``: of the time of a quick lap, from the line.
    """

    type: Literal["car_sighted"] = "car_sighted"
    car: Slug
    share: float = Field(gt=0.0, lt=1.0)


class StatusChanged(Fact):
    """Race control changed the status of the track, of some marshal sectors, or of the pit exit."""

    type: Literal["status_changed"] = "status_changed"
    status: SessionStatus | None = None
    scope: Literal["all"] | tuple[Label, ...] = "all"
    pit_exit: PitExit | None = None
    opens_at_s: Seconds | None = None
    ending: bool = Field(default=False, description="a slow period about to end")


class ClockReported(Fact):
    """The official clock. ``rate`` is 1 live and N in a replay or rehearsal that runs N times faster."""

    type: Literal["clock_reported"] = "clock_reported"
    remaining_s: float = Field(ge=0, le=172_800)
    running: bool
    rate: float = Field(default=1.0, gt=0, le=10_000)


class WeatherReported(Fact):
    """Weather as measured at the circuit."""

    type: Literal["weather_reported"] = "weather_reported"
    air_c: float | None = Field(default=None, ge=-40, le=60)
    track_c: float | None = Field(default=None, ge=-40, le=90)
    rain: bool | None = None


class SwitchReported(Fact):
    """Telemetry: a switch stands at a position."""

    type: Literal["switch_reported"] = "switch_reported"
    car: Slug
    switch: Label
    position: Scalar


class TyreReported(Fact):
    """Telemetry: a tyre's temperature or pressure."""

    type: Literal["tyre_reported"] = "tyre_reported"
    car: Slug
    corner: Literal["fl", "fr", "rl", "rr"]
    surface_c: float | None = Field(default=None, ge=-40, le=400)
    carcass_c: float | None = Field(default=None, ge=-40, le=400)
    pressure_kpa: float | None = Field(default=None, ge=0, le=1000)


class ChannelReported(Fact):
    """Who is talking on the car's radio channel."""

    type: Literal["channel_reported"] = "channel_reported"
    car: Slug
    talking: Literal["engineer", "driver", "nobody"]


class PlanFileRead(Fact):
    """The daemon found a plan file changed and read it: a plan to be looked at, or why it cannot be used.

    It changes nothing by itself: the desk adopts or declines what it proposes.
    """

    type: Literal["plan_file_read"] = "plan_file_read"
    car: Slug
    file: str = Field(min_length=1, max_length=255, description="name of the file, without its folder")
    alternate: Alternate | None = Field(default=None, description="which alternate the file holds; none: the plan")
    plan: Plan | None = None
    warnings: tuple[str, ...] = Field(default=(), max_length=40, description="what the checks find doubtful in it")
    problem: str | None = Field(default=None, max_length=2000, description="the errors found in it, in words")


OF_READINGS = "read:"
"""So begin the ids of :class:`CommentRead`, and none of a message that comes in: were one taken, the reading would pass
for a message that came twice, and be lost."""


class CommentRead(Fact):
    """How the shorthand of a command was read as it was given. It stands before that command in the journal, so what
    was decided that day does not hang on the rules by which shorthand is read later.

    The daemon makes it; nobody sends it. A journal without one was written before there were any: its shorthand is
    read as it would be today.
    """

    type: Literal["comment_read"] = "comment_read"
    car: Slug
    command: MessageId = Field(description="id of the command")
    remarks: tuple[Remark, ...] | None = Field(default=None, max_length=40, description="what it says, in tags")
    text: str | None = Field(default=None, max_length=2000, description="its free text")
    problem: str | None = Field(default=None, max_length=4000, description="why it cannot be read, in words")
    briefly: str | None = Field(default=None, max_length=4000, description="the same, where mere words may be meant")


class TimeReached(Fact):
    """A wake-up that the engine asked for has come."""

    type: Literal["time_reached"] = "time_reached"


class ForecastReady(Fact):
    """The forecaster answered a ``ForecastWanted``."""

    type: Literal["forecast_ready"] = "forecast_ready"
    revision: int
    answer: ForecastAnswer


class AdviceReady(Fact):
    """The adviser answered an ``AdviceWanted``."""

    type: Literal["advice_ready"] = "advice_ready"
    revision: int
    answer: AdviceAnswer


class PromptDelivered(Fact):
    """The broker took a prompt: evidence of what was on the wire, and when."""

    type: Literal["prompt_delivered"] = "prompt_delivered"
    prompt: MessageId


class Restarted(Fact):
    """The daemon came back after ``gap_s`` seconds without it."""

    type: Literal["restarted"] = "restarted"
    gap_s: float = Field(ge=0)


class Resumed(Fact):
    """Nobody listened for ``gap_s`` session seconds: the machine slept, or the daemon's process stood still."""

    type: Literal["resumed"] = "resumed"
    gap_s: float = Field(ge=0)


class TimetableReached(Fact):
    """A moment of the day by the wall clock has come. It informs; it moves neither session time nor any call."""

    type: Literal["timetable_reached"] = "timetable_reached"
    entry: str = Field(min_length=1, max_length=96)
    kind: EntryKind
    text: str = Field(min_length=1, max_length=400)
    due: AwareDatetime = Field(description="the moment, RFC 3339 with the offset of the event's time zone")
    late_s: float = Field(ge=0, description="how long after its moment it was told")
    passed: bool = Field(description="beyond its grace: reported, no longer to be acted on")


class LinkChanged(Fact):
    """The daemon's own link to the broker came or went."""

    type: Literal["link_changed"] = "link_changed"
    connected: bool


Event = Annotated[
    SessionPrepared | CarCrossed | CarPitted | CarPositioned | CarSighted | StatusChanged | ClockReported
    | WeatherReported | SwitchReported | TyreReported | ChannelReported | CommandGiven | CommentRead | PlanFileRead
    | TimeReached | ForecastReady | AdviceReady | PromptDelivered | Restarted | Resumed | TimetableReached
    | LinkChanged,
    Field(discriminator="type"),
]


class Stamped(Frozen):
    """An event as the journal holds it: its number and the session second at which the host took it."""

    seq: int = Field(ge=0)
    received_t: float
    wall_s: float | None = Field(
        default=None, description="Unix seconds at that moment; live only, nothing is decided by it"
    )
    event: Event


