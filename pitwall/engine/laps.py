"""One lap as it was followed, and what a fact about a car can mean."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.model.plan import LapKind


@dataclass
class LapRecord:
    """One lap as it was followed. Times are session seconds; ``kind`` is what hindsight says."""

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

    @property
    def complete(self) -> bool:
        """True for a lap from line to line."""
        return self.start_phase == 0.0 and self.ended_at == "line" and not self.inferred_start


@dataclass(frozen=True)
class Happening:
    """What a fact meant: left, came_in, lap_started, lap_done, loop, parked, silent, mended or ignored."""

    what: str
    t: float
    lap: LapRecord | None = None
    loop: str | None = None
