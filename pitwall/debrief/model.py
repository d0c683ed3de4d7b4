"""Everything that a debrief says, as frozen models: what the figures, the pages and the tables are made from.

A debrief is a function of one journal. Its rows are in ``model/debrief_rows.py``, because the live debrief of a run
sends the same rows over the wire.
"""

from __future__ import annotations

from typing import Literal

from pydantic import AwareDatetime, Field

from pitwall.model.base import Frozen, Slug
from pitwall.model.comment_rows import CommentFindings
from pitwall.model.comments import Comment
from pitwall.model.debrief_rows import (
    INTERVAL,
    ChangeRow,
    Clean,
    DataWindow,
    Evidence,
    Expected,
    ItemRow,
    LapRow,
    Outcome,
    RunRow,
    Sector,
    Stint,
    SwitchAt,
    SwitchEvidence,
    SwitchMove,
    Uncertain,
    ValueEvidence,
)
from pitwall.model.facts import SessionStatus
from pitwall.model.outputs import AlertPriority, CallState, CallWay
from pitwall.model.plan import CallClass, Medium

__all__ = ["INTERVAL", "AlertRow", "AlertStatistics", "CallRow", "CarDebrief", "ChangeRow", "Clean", "DataWindow",
           "Debrief", "Evidence", "Expected", "ItemRow", "LapRow", "MinuteLoad", "Outcome", "QuestionRow",
           "RadioStatistics", "RunRow", "Sector", "SessionSummary", "StatusSpan", "Stint", "SwitchAt", "SwitchEvidence",
           "SwitchMove", "TenMinutes", "Uncertain", "ValueEvidence"]


class StatusSpan(Frozen):
    """The session's status over a while; ``sectors`` are marshal sectors under yellow."""

    status: SessionStatus
    from_s: float
    to_s: float
    sectors: tuple[str, ...] = ()


class SessionSummary(Frozen):
    """The session in a few lines."""

    event: str
    session: str
    team: str
    circuit: str
    circuit_length_m: float | None = None
    wet: bool = False
    scheduled_s: float = Field(description="scheduled length")
    began_s: float = Field(description="session second of the first fact")
    ended_s: float = Field(description="session second of the last fact")
    green_time: AwareDatetime | None = Field(default=None, description="time of day of session second zero")
    ended_time: AwareDatetime | None = Field(default=None, description="time of day of the last fact")
    time_of_day_from: Literal["journal", "schedule", "none"] = Field(
        default="none", description="measured by the daemon's machine; as scheduled (a rehearsal); unknown"
    )
    state: Literal["closed", "flag_out", "running", "not_begun"] = Field(description="as the journal ends")
    journal: str = Field(description="name of the file")
    facts: int
    restarts: int = 0
    gaps_s: tuple[tuple[float, float], ...] = Field(
        default=(), description="session second and length of each while in which nobody listened"
    )
    failed_facts: int = Field(default=0, description="facts on which the program failed; they are left out")
    statuses: tuple[StatusSpan, ...] = ()
    windows: tuple[tuple[str, float, float], ...] = Field(default=(), description="of a test day: name, from, to")


CallCount = Literal["in_window", "beside_window", "shown", "settled", "unconfirmed", "late", "missed", "skipped",
                    "withdrawn", "open"]
"""In what figure a call is counted. The first three are in time: said, or shown to be done, and never late or
unconfirmed before; each call is in one of them."""


class CallRow(Frozen):
    """One call and its end."""

    call: str
    kind: CallClass
    text: str = Field(description="all its words; of what was said in parts, those of every part")
    run: str | None = None
    lap: str | None = None
    say_from_s: float = Field(description="of a call that lapsed, or was in doubt, the window that was offered last")
    say_by_s: float
    spoken_s: float
    first_due_s: float | None = None
    begun_s: float | None = Field(default=None, description="as the radio desk heard it begin, else said_s less "
                                                            "spoken_s; of what was said in parts, its last part")
    said_s: float | None = Field(default=None, description="when the key 'said' was pressed, which is after the words, "
                                                           "or the radio desk had heard them; a key that was told "
                                                           "later (--at) counts at its own moment")
    state: CallState
    counted_as: CallCount = Field(
        default="open", description="where the figures of the calls count it; in_window: begun_s lies between "
        "say_from_s and say_by_s, give or take a second; beside_window: it does not, and was still of use; shown: "
        "nobody said when; missed: also news that is unconfirmed, where the radio desk reports and heard nobody tell it"
    )
    reason: str = ""
    way: CallWay = "full"


class MinuteLoad(Frozen):
    """Seconds that were spoken to the driver in one minute of the session (from ``from_s``, sixty seconds)."""

    from_s: float
    spoken_s: float
    calls: int


class RadioStatistics(Frozen):
    """Calls of one car. Shares are of the calls that came due or ended.

    ``in_time``: said, or shown to be done, and never late or unconfirmed before; it is the sum of ``in_window``, begun
    between the two moments of the prompt, give or take a second, ``beside_window``, begun outside them and still of
    use, and ``shown``, of which nobody said when it was said. ``settled``: late or unconfirmed at first, shown by what
    happened.
    """

    calls: int
    in_time: int
    in_window: int
    beside_window: int
    shown: int
    settled: int
    unconfirmed: int
    late: int
    missed: int
    skipped: int
    withdrawn: int
    open: int = Field(description="not at its end when the journal ends")
    by_kind: dict[str, int] = Field(default_factory=dict)
    reasons: dict[str, int] = Field(default_factory=dict, description="of what was late, missed or unconfirmed")
    medium: Medium = Field(default="two_way", description="how the plan in use reaches the driver on track")
    spoken_s: float | None = Field(description="by the engineer to this driver, in all; with a pit board in the garage "
                                   "alone; of one run in the minutes of the load, none where there are none")
    load: tuple[MinuteLoad, ...] = Field(
        default=(), description="minutes of the session with the car on track; none with a pit board, which is read"
    )
    mean_load_s: float = Field(default=0, description="spoken seconds a minute, over the minutes on track")
    most_load_s: float = 0
    spoken_from: Literal["channel", "calls"] = Field(
        default="calls", description="measured by the radio desk, or reckoned from the length of what was said"
    )


class QuestionRow(Frozen):
    """What the driver asked, and the answer."""

    question: int
    asked_s: float
    text: str = ""
    answered_s: float | None = None
    by: str = ""


class AlertRow(Frozen):
    """One alert from its beginning to its end."""

    alert: str
    car: Slug | None = None
    kind: str
    priority: AlertPriority
    from_s: float
    to_s: float | None = Field(default=None, description="none: it stands as the journal ends")
    acknowledged_s: float | None = None
    text: str


class TenMinutes(Frozen):
    """Alerts that were raised in ten minutes of the session (from ``from_s``)."""

    from_s: float
    raised: int


class AlertStatistics(Frozen):
    """Alerts of the session against what EEMUA 191 holds an operator capable of (see DEVELOPERS.md for its figures)."""

    raised: int
    by_kind: dict[str, int] = Field(default_factory=dict)
    by_priority: dict[AlertPriority, int] = Field(default_factory=dict)
    held_back: int = Field(default=0, description="conditions that were not shown, each with its reason")
    held_reasons: dict[str, int] = Field(default_factory=dict)
    acknowledged: int = 0
    rates: tuple[TenMinutes, ...] = Field(default=(), description="from the first fact to the last, ten minutes each")
    mean_rate: float = Field(default=0, description="alerts in ten minutes, on average")
    most_in_ten: int = Field(default=0, description="in any ten minutes, wherever they begin")
    share_over_ten: float = Field(default=0, description="share of the ten-minute periods with more than ten")


class CarDebrief(Frozen):
    """One car's session."""

    car: Slug
    drivers: tuple[str, ...] = ()
    alternate: str | None = Field(default=None, description="which alternate was driven at the end; none: the plan")
    runs: tuple[RunRow, ...] = ()
    items: tuple[ItemRow, ...] = ()
    data_windows: tuple[DataWindow, ...] = ()
    laps: tuple[LapRow, ...] = ()
    best_lap_s: float | None = None
    switches: tuple[SwitchMove, ...] = Field(default=(), description="first where each stood, then every move")
    calls: tuple[CallRow, ...] = ()
    radio: RadioStatistics
    questions: tuple[QuestionRow, ...] = ()
    changes: tuple[ChangeRow, ...] = ()
    comments: tuple[Comment, ...] = ()
    said: CommentFindings = Field(
        default=CommentFindings(), description="the comments by turn and phase, from run to run, and against each other"
    )
    notes: tuple[str, ...] = Field(default=(), description="what could not be told, and why")


class Debrief(Frozen):
    """A whole debrief."""

    debrief: Literal[1] = 1
    run: Slug | None = Field(default=None, description="of one run alone: which; none: of the whole session")
    session: SessionSummary
    cars: tuple[CarDebrief, ...] = ()
    alerts: AlertStatistics | None = Field(default=None, description="none in the debrief of one run: they are counted "
                                           "over the session")
    alert_rows: tuple[AlertRow, ...] = ()
    changes: tuple[ChangeRow, ...] = Field(
        default=(), description="of no one car: status and clock that a hand entered, and what evidence corrected")
    notes: tuple[str, ...] = Field(default=(), description="what could not be told, and why")

    def car(self, name: str) -> CarDebrief | None:
        """The car of that name, or None."""
        return next((one for one in self.cars if one.car == name), None)
