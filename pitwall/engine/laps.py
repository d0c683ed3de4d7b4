"""One lap as it was followed, and what a fact about a car can mean."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.model.plan import LapKind
from pitwall.pace.beliefs import EndedLap
from pitwall.pace.outlook import LapSoFar
from pitwall.pace.planned import PlanWord


@dataclass
class LapRecord:
    """One lap as it was followed. Times are session seconds; ``kind`` is what hindsight says.

    ``usual``: usual seconds at its beginning, each loop and the line, as they were known when it ended. ``word``: what
    the plan said of it when it was looked at last. ``slow_at``: where it was while a slow or red period held, its
    beginning at the line included.
    """

    number: int
    start_t: float
    start_phase: float
    kind: LapKind
    crossings: dict[str, float] = field(default_factory=dict)
    end_t: float | None = None
    lap_time_s: float | None = None
    ended_at: str = ""
    inferred_start: bool = False
    inferred_end: bool = False
    disturbed: bool = False
    slow_at: tuple[str, ...] = ()
    from_pits: bool = False
    run: str | None = None
    position_in_run: int = 0
    usual: tuple[float, ...] = ()
    word: PlanWord = "none"

    @property
    def complete(self) -> bool:
        """True for a lap from line to line."""
        return self.start_phase == 0.0 and self.ended_at == "line" and not self.inferred_start

    def as_ended(
        self, t: float, end_phase: float, tyre_age: int | None, compound: str, session_end_s: float
    ) -> EndedLap:
        """The lap as the pace model takes it when it is over at ``t``; ``end_phase`` is 1 at the line."""
        sure = not (self.inferred_start or self.inferred_end or t <= self.start_t)
        return EndedLap(
            self.number, self.kind, self.start_t, self.start_phase, self.crossings, t, end_phase, sure, self.slow_at,
            tyre_age, compound, session_end_s, self.word,
        )  # fmt: skip

    def so_far(self, odds: tuple[float, float, float], compound: str = "") -> LapSoFar:
        """The lap as the pace model takes it while it runs."""
        last = max(self.crossings, key=lambda loop: self.crossings[loop], default="line")
        slow = last in self.slow_at or (last == "line" and self.disturbed)
        resumed = bool(self.slow_at) and not slow
        return LapSoFar(
            self.start_t, self.start_phase, self.crossings, slow, odds, self.disturbed, self.word, resumed, compound
        )


@dataclass(frozen=True)
class Happening:
    """What a fact meant: left, came_in, lap_started, lap_done, loop, parked, silent, mended or ignored."""

    what: str
    t: float
    lap: LapRecord | None = None
    loop: str | None = None
