"""What a debrief says of one run, one lap, one item, one data window: the rows of a debrief, on paper and on the wire.

Session seconds count from the green light. Distances are metres from the finish line in the direction of travel; a
window that spans the line ends beyond the length of the lap. An ``Uncertain`` value holds the truth in ninety of a
hundred cases between ``low`` and ``high``.
"""

from __future__ import annotations

from typing import Literal

from pydantic import AwareDatetime, Field

from pitwall.model.base import Frozen, Slug
from pitwall.model.comments import Comment
from pitwall.model.facts import SessionStatus
from pitwall.model.plan import Alternate, LapKind, Scalar, Want
from pitwall.model.subjects import Subject

Outcome = Literal["done", "probably_done", "done_badly", "not_done", "to_come"]
"""What became of an item. ``done_badly``: it was done, but what was to be learned of it is spoilt; ``to_come``: the
journal ends before it was its turn."""
Evidence = Literal["positions", "crossings", "plan"]
"""What a data window rests on: positions of the car, crossings of loops, or the plan's word and nothing else."""
ValueEvidence = Literal["positions", "crossings", "reckoned", "circuit", "plan"]
"""What one value of a window rests on. ``crossings``: of loops, or signals of pit entry and exit; ``reckoned``: from
crossings near it, by pace and shares of the lap; ``circuit``: lengths of the circuit file; ``plan``: where and how fast
the plan has it, and nothing that was seen."""
Clean = Literal["clean", "traffic", "yellow", "mistake", "told", "cool_down", "aborted", "not_complete", "unknown"]
"""Why a lap was not clean. ``yellow``: a flag spoilt it; which one its statuses say. ``told``: most was lost where the
car did what it was told to do there."""
SwitchEvidence = Literal["measured", "confirmed", "told", "unconfirmed", "assumed"]
"""How a position is known: telemetry; the driver read it back; he was told; a call asked for it, and nobody said it was
made, be it later on that run; it is where it starts, or should be."""

INTERVAL = 0.9
"""How often an interval holds the truth."""


class Uncertain(Frozen):
    """A value with the interval that holds the truth in ninety of a hundred cases."""

    value: float
    low: float
    high: float


class SwitchAt(Frozen):
    """Where a switch stood, since when, and how that is known."""

    switch: str
    word: str = Field(description="its name as the team speaks it")
    position: Scalar
    evidence: SwitchEvidence
    since_s: float | None = Field(default=None, description="session second of the evidence; none: from the start")
    moved: bool = Field(default=False, description="it was moved inside the window; position is the first one")


class DataWindow(Frozen):
    """Where the data of an item are: when, where on the lap, how fast, with which switches."""

    item: str
    do: str
    run: str
    lap_number: int = Field(description="of the car, as in the lap table")
    lap: str = Field(description="which lap of the run, in words")
    lap_evidence: ValueEvidence = Field(description="reckoned: neither end of the lap was seen")
    what: Literal["hold", "lap", "lane"]
    place: str | None = None
    from_s: Uncertain
    to_s: Uncertain
    from_evidence: ValueEvidence = Field(description="of from_s; from_time adds the clock of that machine")
    to_evidence: ValueEvidence
    from_time: AwareDatetime | None = Field(default=None, description="time of day of from_s.value")
    to_time: AwareDatetime | None = None
    from_m: Uncertain | None = Field(default=None, description="none on a circuit without geometry")
    to_m: Uncertain | None = Field(default=None, description="beyond the length of the lap where it spans the line")
    place_evidence: ValueEvidence | None = Field(default=None, description="of from_m and to_m")
    speed_mps: Uncertain | None = Field(default=None, description="mean over the window")
    speed_evidence: ValueEvidence | None = None
    switches: tuple[SwitchAt, ...] = ()
    evidence: Evidence = Field(description="of the window as a whole: the best that there is")
    evidence_text: str = Field(description="the evidence in words: how many positions, which loops")
    outcome: Outcome
    spoilt: str = Field(default="", description="why its data are spoilt, in words; empty where nothing is known to")


class ItemRow(Frozen):
    """One item on one lap of a run, and what became of it."""

    item: str
    do: str
    run: str
    lap: str = Field(description="which lap of the run, in words")
    want: Want
    place: str | None = None
    arguments: dict[str, Scalar] = Field(default_factory=dict)
    outcome: Outcome
    reason: str = Field(default="", description="why it was not done, or how it is known that it was")
    t: float | None = Field(default=None, description="session second at which this was noted: told, "
                                             "confirmed or settled; may be before the data begin")
    next_want: Want | None = Field(default=None, description="how much it is wanted from now on, where that is more "
                                   "than the plan says: a must run was for it, and brought nothing of what it was for")
    too_late: bool = Field(default=False, description="it only makes a car ready for laps that were driven without it")

    @property
    def wanted(self) -> Want:
        """How much it is wanted from now on."""
        return self.next_want or self.want


class Sector(Frozen):
    """The stretch of a lap that ends at a loop. ``seconds``: none where one of its ends was not seen."""

    loop: str
    t: float | None = Field(default=None, description="session second at which the loop was passed; none: not seen")
    seconds: float | None = None


class Expected(Frozen):
    """What the model expected of a timed lap as it began: median, and the interval of ninety in a hundred."""

    median_s: float
    low_s: float
    high_s: float


class LapRow(Frozen):
    """One lap as it was followed."""

    car: Slug
    number: int
    run: str | None = None
    lap_of_run: int | None = Field(default=None, description="from 1, every out-lap included; a run that was left for "
                                                               "once more counts on")
    kind: LapKind
    start_s: float
    end_s: float
    start_time: AwareDatetime | None = Field(default=None, description="time of day at which it began")
    lap_time_s: float | None = Field(default=None, description="only for a lap from line to line")
    sectors: tuple[Sector, ...] = ()
    driver: str | None = None
    tyres: str | None = Field(default=None, description="the set, by its label in the plan")
    compound: str | None = Field(default=None, description="as the feed names it, else of the set")
    tyre_laps: int | None = Field(default=None, description="laps of the set as the lap began")
    fuel_kg: float | None = Field(default=None, description="estimate as the lap began")
    status: tuple[SessionStatus, ...] = Field(default=(), description="every status that touched it, in order")
    clean: Clean = "unknown"
    clean_at: str = Field(default="", description="the loop that ends the stretch on which most was lost")
    clean_for: str = Field(default="", description="of a lap that is not clean as it was told: the procedure")
    lost_s: float | None = Field(default=None, description="lost on that stretch against the rest of the lap")
    switches_wrong: tuple[str, ...] = Field(
        default=(), description="of a timed lap: switches that telemetry showed out of place as it began, in words"
    )
    switches_unverified: tuple[str, ...] = Field(
        default=(), description="of a timed lap: switches that nothing showed to be in place as it began, in words"
    )
    car_ahead_s: float | None = Field(default=None, description="the closest car ahead at any loop of the lap")
    expected: Expected | None = Field(default=None, description="for timed laps, once the model knows enough")
    inferred: tuple[Literal["start", "end"], ...] = Field(default=(), description="ends that nobody saw")
    stopped: bool = Field(default=False, description="a red flag held during it")

    @property
    def spoilt_by(self) -> SessionStatus:
        """Of a lap that a flag spoilt: the gravest that touched it."""
        return next((one for one in ("red", "slow") if one in self.status), "yellow")


class Stint(Frozen):
    """One leaving of the garage to the coming back; ``to_s`` is none while the car is out."""

    from_s: float
    to_s: float | None = None


OTHER_FUEL_KG = 1.0
"""What is poured and what was planned may differ by this much (common practice, no source)."""


class RunRow(Frozen):
    """One run of the plan, planned and driven."""

    run: str
    purpose: str = ""
    want: Want
    state: Literal["planned", "next", "running", "done", "cut", "skipped", "dropped"]
    reason: str = ""
    planned_laps: str = Field(description="as the plan was first: 'out, 3 timed, in'")
    laps: str = Field(description="as the plan is at the end")
    timed_wanted: int
    timed_done: int
    driver: str | None = None
    tyres: str | None = Field(default=None, description="the set that its first lap began on; of a run that was not "
                              "driven, as planned")
    fuel_kg: float | None = Field(default=None, description="the same of the fuel")
    planned_tyres: str | None = None
    planned_fuel_kg: float | None = None
    planned_span_s: tuple[float, float] | None = Field(default=None, description="as the first plan had it")
    stints: tuple[Stint, ...] = ()
    best_lap_s: float | None = None
    clean_laps: int = Field(default=0, description="clean timed laps on which no switch was seen to be wrong")
    median_clean_s: float | None = None
    items_done: int = Field(default=0, description="done or probably done")
    items_probably: int = Field(default=0, description="of these the ones that are only probably done")
    items: int = 0
    counts: bool = Field(default=True, description="False: it is over, and too little was driven to count as this run")
    musts_left: int = Field(default=0, description="must items that were not done, or whose data are spoilt")
    laps_left: int = Field(default=0, description="of a run that counts: timed laps that were not driven, though no "
                                                  "shorten_to says that fewer do")
    unsaid: tuple[Subject, ...] = Field(default=(), description="what it was for the driver to comment on, and he has "
                                        "not, asked or not; of a run that drove a timed lap")

    only_in: Alternate | None = Field(default=None, description="the alternate that alone has this run, where the car "
                                      "went over to another plan since: it is not owed")

    @property
    def owed(self) -> bool:
        """False for a run of an alternate that the car has left: nobody has to drive what is left of it."""
        return self.only_in is None

    @property
    def told(self) -> bool:
        """True where what is left of it tells anything: of an alternate that was left only what was driven does."""
        return self.owed or bool(self.stints) or self.finished

    @property
    def otherwise(self) -> bool:
        """True when it was not driven on the set, or with about the fuel, that was planned for it."""
        less = None not in (self.fuel_kg, self.planned_fuel_kg) and abs(
            (self.fuel_kg or 0.0) - (self.planned_fuel_kg or 0.0)) > OTHER_FUEL_KG
        return less or (self.planned_tyres is not None and self.tyres != self.planned_tyres)

    @property
    def finished(self) -> bool:
        """True when it was driven, and enough of it."""
        return self.state == "done" and self.counts

    @property
    def in_part(self) -> bool:
        """True when it was driven, and something that it had to bring was not brought."""
        return self.finished and (self.musts_left > 0 or self.laps_left > 0)


class SwitchMove(Frozen):
    """A switch came to another position."""

    t: float
    switch: str
    word: str
    position: Scalar
    before: Scalar | None = None
    evidence: SwitchEvidence
    run: str | None = None
    lap_number: int | None = None


class ChangeRow(Frozen):
    """One change: of the plan, of what was believed, of a file."""

    t: float
    what: str
    by: str = Field(default="", description="empty: pitwall itself, on better evidence")
    why: str = ""
    about: Literal["plan", "correction"] = "plan"
    revision: int | None = Field(default=None, description="of the plan, after it")
    stands: bool = Field(default=True, description="of a change of the plan: False where it was taken back, and of the "
                                                   "taking back itself")


class RunDebrief(Frozen):
    """``debrief/<car>``: what came of the car's last run, told as it comes in, and again while it stands there when
    more is known; retained. The rows are those of the whole debrief."""

    type: Literal["run_debrief"] = "run_debrief"
    id: str
    t: float
    car: Slug
    run: RunRow | None = Field(default=None, description="none: the plan knows no run that it was on")
    items: tuple[ItemRow, ...] = ()
    data_windows: tuple[DataWindow, ...] = ()
    laps: tuple[LapRow, ...] = Field(default=(), description="of this run, those of an earlier leaving for it included")
    switches: tuple[SwitchMove, ...] = Field(default=(), description="moved while it was out")
    comments: tuple[Comment, ...] = ()
    calls: int = Field(default=0, description="of this run")
    calls_in_time: int = Field(default=0, description="said, or shown to be done, and never late or unconfirmed before")
    calls_doubtful: int = Field(default=0, description="late, missed or unconfirmed to the end")
