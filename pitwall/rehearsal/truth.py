"""What really happened, for the score: written down by the actors, never sent to the daemon."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.base import Frozen
from pitwall.model.plan import Scalar

DrivenKind = Literal["out", "timed", "cool", "in", "out_in", "incomplete"]
Voice = Literal["engineer", "driver"]
Span = tuple[float, float]


class WrongSwitch(Frozen):
    """A switch that a timed lap must not have had there."""

    switch: str
    position: Scalar
    allowed: tuple[Scalar, ...]


class DrivenLap(Frozen):
    """One lap as driven. ``number`` is the feed's count; an out-lap starts at pit exit, an in-lap ends in the lane."""

    car: str
    number: int
    run: str | None = None
    driver: str | None = None
    kind: DrivenKind
    meant: DrivenKind
    timed_number: int | None = Field(default=None, description="which timed lap of its run, from 1")
    start_s: float
    end_s: float
    time_s: float
    entry_s: float | None = Field(default=None, description="when it left the track for the pit lane")
    fuel_kg: float | None = None
    tyre_laps: int | None = None
    flags: tuple[str, ...] = ()
    spoilt: bool = False
    switches: dict[str, Scalar] = Field(default_factory=dict, description="positions as the lap began")
    wrong: tuple[WrongSwitch, ...] = ()


class HeldTruth(Frozen):
    """A speed that was held: from when it was reached until it was left."""

    from_s: float
    to_s: float
    from_m: float
    to_m: float
    speed_mps: float


class DoneProcedure(Frozen):
    """A procedure that a driver was told to do, and whether and where it was done."""

    car: str
    procedure: str
    item: str | None
    call: str
    run: str | None
    done: bool
    t: float
    until_s: float
    lap: int
    lap_kind: str
    place: str | None = None
    phase: float | None = None
    reason: str | None = None
    held: HeldTruth | None = Field(default=None, description="a hold that was really driven: where the data are")


class SpokenCall(Frozen):
    """A call as it was really spoken, against the window that the prompt promised and against the truth of the lap."""

    car: str
    call: str
    prompt: str
    kind: str
    action: str
    text: str
    start_s: float
    end_s: float
    say_from_s: float
    say_by_s: float
    in_window: bool = Field(description="begun and ended between say_from_s and say_by_s")
    repeat: bool = False
    car_was: str
    lap: int
    phase: float | None
    read_back: bool = False
    misheard: bool = False
    forgotten: bool = Field(default=False, description="heard, and not carried out")
    calm: float | None = Field(default=None, description="share of it that the driver could listen to; none: unknown")
    outcome: str = Field(default="", description="what came of it, in words")


class VoiceHeard(Frozen):
    """One voice on the channel; ``about`` is the call that was said, read back or answered, empty when unasked."""

    who: Voice
    about: str
    start_s: float
    end_s: float


class ChancePassed(Frozen):
    """A lap on track passed the last place from which the pit entry can be taken."""

    lap: int
    t: float


class HeardBox(Frozen):
    """A box call as the driver heard it: in time for this lap's pit entry or not."""

    car: str
    call: str
    heard_s: float
    lap: int
    in_time: bool
    last_chance_s: float = Field(description="when this lap passed (or would pass) the last place for the pit entry")
    entered_s: float | None = None


class Release(Frozen):
    """A release from the garage: when it was said, when the wheels turned, when the car passed the pit exit."""

    car: str
    call: str
    run: str | None
    said_s: float
    left_s: float | None = None
    exit_s: float | None = None
    reason: str | None = None


class DriverChanged(Frozen):
    """One driver got out and another in."""

    car: str
    t: float
    took_s: float
    driver: str = Field(description="who got in")


class SwitchMoved(Frozen):
    """A switch that changed, or did not when it was asked to."""

    car: str
    t: float
    switch: str
    position: Scalar
    why: Literal["start", "asked", "own", "knocked", "misheard", "left_wrong", "preset", "springs_back", "moving"]


class NeverSpoken(Frozen):
    """A call whose prompt was shown and that was never spoken, and why."""

    call: str
    kind: str
    reason: str


class FlagShown(Frozen):
    """An interruption as it was."""

    status: str
    start_s: float
    end_s: float
    sectors: tuple[str, ...] = ()


class FaultShown(Frozen):
    """Something that went wrong by a fault of the scenario; ``plain``: the spans in which it was plain to see."""

    what: Literal["tyre_hot", "pressure_loss", "stopped", "fuel_short", "feed_silence"]
    car: str | None = None
    start_s: float
    end_s: float
    detail: str = ""
    plain: tuple[Span, ...] = ()


class FeedCounts(Frozen):
    """What the feed did."""

    sent: int
    lost: int
    doubled: int
    held_back: int


class CarTruth(Frozen):
    """One team car's session."""

    car: str
    laps: tuple[DrivenLap, ...]
    calls: tuple[SpokenCall, ...]
    never_spoken: tuple[NeverSpoken, ...]
    boxes: tuple[HeardBox, ...]
    procedures: tuple[DoneProcedure, ...]
    releases: tuple[Release, ...]
    switches: tuple[SwitchMoved, ...]
    driver_changes: tuple[DriverChanged, ...] = ()
    voices: tuple[VoiceHeard, ...] = Field(default=(), description="who talked on the channel, and when")
    listening: tuple[Span, ...] | None = Field(
        default=None, description="when the driver could listen, session seconds; none where that is unknown"
    )
    chances: tuple[ChancePassed, ...] = ()
    keys_pressed: int
    refusals: tuple[str, ...] = Field(description="keys that the daemon refused: its reasons, in order")
    driver_spoke_s: float
    engineer_spoke_s: float


class FieldTruth(Frozen):
    """One of the other cars: its laps, its best and its stops in the garage."""

    car: str
    best_s: float | None
    laps: tuple[DrivenLap, ...]
    garage_stops_s: tuple[float, ...]


class WorldOutcome(Frozen):
    """The truth of a rehearsed session; everything that a report may want, as JSON."""

    scenario: str
    seed: int
    ended_s: float
    flag_s: float
    finished: bool
    reference_lap_s: float
    cars: dict[str, CarTruth]
    field: tuple[FieldTruth, ...]
    flags: tuple[FlagShown, ...]
    feed: FeedCounts
    faults: tuple[FaultShown, ...] = Field(default=(), description="of the scenario's faults, what came to pass")
