"""A procedure of the library: a scripted item, described as data so that a new one needs no code.

Texts are templates: ``{after}`` is the item's place (where ``place: needed``), and every argument
may be used by name.
"""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from pitwall.model.base import Frozen, Name, Refused
from pitwall.model.plan import CallClass, LapKind, Scalar
from pitwall.model.subjects import Subject
from pitwall.model.units import KPH_PER_MPS, Duration

Where = Literal["place", "lap_start", "lap_end", "pit_exit", "pit_entry", "garage", "pit_lane"]
Evidence = Literal["driver", "speed", "switch", "pit", "crossing", "comment"]


class Argument(Frozen):
    """One argument that an item may give. Without a default it must be given."""

    type: Literal["number", "whole", "text", "switch", "position"]
    default: Scalar | None = None
    low: float | None = None
    high: float | None = None
    one_of: tuple[Scalar, ...] = ()


class Step(Frozen):
    """One call of the procedure: what is said, and where the driver must act on it."""

    say: str = Field(min_length=3, max_length=240)
    short: str = Field(min_length=2, max_length=80)
    say_measured: str | None = Field(
        default=None, min_length=3, max_length=240,
        description="said instead where positions of 5 Hz or better will show when the hold begins and is over"
    )
    say_begun: str | None = Field(
        default=None, min_length=3, max_length=240,
        description="said instead as the lap itself begins, where nothing may be said on the lap before it"
    )
    kind: CallClass = "procedure"
    where: Where = "place"
    reaction_s: Duration = 2.5
    offset_s: float = Field(default=0, ge=-120, le=120, description="act this long after the place; negative: before")
    repeat: Literal["each_lap", "once"] = Field(
        default="each_lap", description="once: said on the first lap of the item only"
    )

    @model_validator(mode="after")
    def _begun_at_the_start(self) -> Self:
        if self.say_begun is not None and self.where != "lap_start":
            raise Refused(f"'say_begun' of a step at {self.where!r}", "'where: lap_start', or no 'say_begun'",
                          at=("say_begun",))
        return self


class Ending(Frozen):
    """A short call that ends what the driver is doing."""

    say: str = Field(min_length=3, max_length=80)
    short: str = Field(min_length=2, max_length=40)


class Hold(Frozen):
    """A constant-speed stretch that starts at the item's place."""

    seconds: str | float = Field(description="a number or the name of an argument")
    speed_mps: str | float | None = Field(default=None, description="a number or the name of an argument")
    speed_kph: str | float | None = Field(default=None, description="the same in km/h, as the driver's display has it")
    settle_s: Duration = 1.5
    gear: str | int | None = Field(default=None, description="a number or the name of an argument, if the gear is told")
    end: Ending | None = Field(default=None, description="said when its time is over, where positions show it")

    @model_validator(mode="after")
    def _one_speed(self) -> Self:
        if (self.speed_mps is None) == (self.speed_kph is None):
            found = "a hold without a speed" if self.speed_mps is None else "both 'speed_mps' and 'speed_kph'"
            raise Refused(found, "'speed_mps' or 'speed_kph', one of the two")
        for key, value in (("seconds", self.seconds), self.speed()[:2]):
            if not isinstance(value, str) and value <= 0:
                raise Refused(f"{value:g}", "more than 0", at=(key,))
        return self

    def speed(self) -> tuple[str, str | float, float]:
        """Key, value (a number or the name of an argument) and the factor that makes m/s of it."""
        if self.speed_mps is not None:
            return "speed_mps", self.speed_mps, 1.0
        assert self.speed_kph is not None
        return "speed_kph", self.speed_kph, 1.0 / KPH_PER_MPS


class Procedure(Frozen):
    """A procedure file."""

    procedure: Literal[1]
    name: Name
    purpose: str
    laps: tuple[LapKind, ...] = Field(default=(), description="lap kinds on which it may be done; empty: any")
    place: Literal["needed", "optional", "none"] = "none"
    arguments: dict[str, Argument] = Field(default_factory=dict)
    steps: tuple[Step, ...] = Field(min_length=1)
    hold: Hold | None = None
    switches: dict[str, Scalar] = Field(
        default_factory=dict, description="switch (or '{argument}') to position (or '{argument}') while it lasts"
    )
    by: str | None = Field(default=None, description="argument that steps the switch from where it stands")
    put_back: bool = True
    early_end: Ending | None = Field(
        default=None, description="said while it lasts when a car comes up from behind or a yellow falls"
    )
    done_when: tuple[Evidence, ...] = ("driver",)
    data_window: Literal["hold", "lap", "lane", "none"] = "lap"
    needs_lap: Literal["none", "reference", "next"] = Field(
        default="none", description="the timed lap without which it is worth nothing: the one it is compared with, "
        "or the one after it, for which it makes the car ready; with 'by' always the first")
    feedback: tuple[Subject, ...] = Field(
        default=(), description="what the driver is to comment on once it was done; asked if he did not"
    )
    caution: str | None = None
    clear_behind_s: Duration = Field(default=0, description="advised against with a car closer behind than this")
    extra_s: Duration = Field(default=0, description="time it adds to the lap or stop")
    stationary: bool = False

    @property
    def compares(self) -> bool:
        """Whether it is worth something only beside a timed lap without it."""
        return self.by is not None or self.needs_lap == "reference"

    @property
    def readies(self) -> bool:
        """Whether it is worth something only before a timed lap."""
        return self.needs_lap == "next" and not self.compares

    @model_validator(mode="after")
    def _place_agrees(self) -> Self:
        at_place = next((index for index, step in enumerate(self.steps) if step.where == "place"), None)
        if self.place == "none" and at_place is not None:
            raise Refused("'where: place' in a procedure that has no place", "'place: needed' or 'place: optional'",
                          at=("steps", at_place), needs=("place", "steps"),
                          suggestion="or another 'where', such as lap_start")
        if self.hold is not None and self.place == "none":
            raise Refused("a hold in a procedure that has no place", "'place: needed'", at=("hold",), needs=("place",),
                          suggestion="a hold begins at the item's place")
        return self
