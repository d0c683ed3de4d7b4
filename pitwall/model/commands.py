"""What the desk may ask for: one flat message, as a screen, a keypad or a script sends it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.base import Label, Slug
from pitwall.model.changes import PlanChanges
from pitwall.model.comments import Remark
from pitwall.model.facts import Fact, Hand, PitExit, SessionStatus
from pitwall.model.plan import Alternate, LapKind, Scalar
from pitwall.model.units import Seconds

CallCommand = Literal["said", "skip", "defer", "repeat", "confirm"]
PlanCommand = Literal["extend", "shorten", "drop", "amend", "adopt", "decline", "switch_plan", "advise"]
CarCommand = Literal["box", "quiet", "keep_in", "let_go", "take_over"]
TruthCommand = Literal[
    "cross", "pit", "status", "clock", "pit_exit", "set_car", "set_switch", "set_tyres", "set_fuel", "undo"
]
RecordCommand = Literal["comment", "seen", "asked", "answered", "acknowledge", "shelve"]


class CommandGiven(Fact):
    """The desk asked for something. Exactly one answer follows: an effect or a refusal, with this id in ``because``.

    Which arguments a command needs stands beside its handler in ``engine/`` and is refused in words when one is
    missing. ``t`` is when the thing happened, which for a truth entered by hand may be a while ago.
    """

    type: Literal["command_given"] = "command_given"
    car: Slug
    command: CallCommand | PlanCommand | CarCommand | TruthCommand | RecordCommand
    by: Hand
    text: str | None = Field(
        default=None, max_length=2000, description="the words of a comment or a question; why, for a change"
    )

    comment: int | None = Field(
        default=None, ge=1, le=9999, description="for comment: the one that gets its words or remarks now"
    )
    shorthand: str | None = Field(
        default=None, max_length=2000,
        description="for comment: what it says, typed ('pitwall comment --words'); with the same words in text it is "
        "read if it can be, else kept as words",
    )
    remarks: tuple[Remark, ...] | None = Field(
        default=None, max_length=40, description="for comment: what it says, in tags"
    )

    # calls, alerts
    call: str | None = Field(default=None, max_length=128, description="call id, or none for the call now due")
    question: int | None = Field(
        default=None, ge=1, le=9999, description="for answered: which; what waits longest when left out"
    )
    alert: str | None = Field(default=None, max_length=128)
    for_s: float | None = Field(default=None, gt=0, le=86_400, description="for shelve: how long; ten minutes left out")

    role: Label | None = Field(default=None, description="for seen: which role of the crew has seen the plan")

    # the plan
    run: Slug | None = None
    item: str | None = Field(default=None, max_length=64)
    laps: int | None = Field(default=None, ge=1, le=100)
    changes: PlanChanges = Field(default=(), max_length=40, description="for amend")
    proposal: str | None = Field(default=None, max_length=128, description="for adopt and decline")
    alternate: Alternate | None = Field(default=None, description="for switch_plan")
    revision: int | None = Field(
        default=None, ge=0, description="the revision of the plan that the person saw; refused when it changed since"
    )

    # what is true
    of: Label | None = Field(
        default=None, description="for undo: the last command of this name is meant, however long ago it was given"
    )
    loop: Label | None = Field(default=None, description="for cross; the line when left out")
    forgotten: bool = Field(
        default=False,
        description="for cross: a press of the line was forgotten; it is put into the last lap that took about two",
    )
    where: Literal["entry", "exit"] | None = Field(default=None, description="for pit")
    status: SessionStatus | None = None
    sectors: tuple[Label, ...] = Field(default=(), max_length=40, description="for status: these marshal sectors only")
    ending: bool = Field(default=False, description="for status: a slow period about to end")
    remaining_s: float | None = Field(default=None, ge=0, le=172_800)
    running: bool | None = Field(default=None, description="for clock: does it count down; as it was when left out")
    pit_exit: PitExit | None = None
    opens_at_s: Seconds | None = None
    lap_kind: LapKind | None = Field(default=None, description="for set_car: the kind of the running lap")
    lap: int | None = Field(
        default=None, ge=0, le=2000,
        description="a lap's number in its run, 1 for the out-lap; for set_car the running one, for comment any"
    )
    in_garage: bool | None = Field(default=None, description="for set_car: the car stands in its garage, or is out")
    switch: Label | None = None
    position: Scalar | None = None
    tyres: Label | None = None
    tyre_laps: int | None = Field(default=None, ge=0, le=1000)
    fuel_kg: float | None = Field(default=None, ge=0, le=500)
