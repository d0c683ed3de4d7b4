"""What is kept of one car's laps and of the field's: what ended, what is believed, and what waits for its lap."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

from pitwall.model.plan import LapKind
from pitwall.pace.experience import Experience
from pitwall.pace.planned import PlanRecord, PlanWord
from pitwall.pace.queueing import OutLapQueue
from pitwall.pace.runpace import DrivenLaps, FieldLaps, Forecast
from pitwall.pace.shapes import OTHER
from pitwall.pace.weighing import weighted_median

USUAL_OF, OUT_LAPS, LATELY_S = 20, 40, 400.0


@dataclass(frozen=True)
class EndedLap:
    """A lap that is over. Times in seconds of the session; ``end_phase`` is 1 at the line, else the pit entry."""

    number: int
    kind: LapKind
    start_t: float
    start_phase: float
    crossings: dict[str, float]
    end_t: float
    end_phase: float
    sure: bool
    slow_at: tuple[str, ...] = ()
    tyre_age: int | None = None
    compound: str = ""
    session_end_s: float = math.inf
    word: PlanWord = "none"


@dataclass
class FieldBelief:
    """What all cars taught. ``labels``: the loops between line and line, in order."""

    labels: tuple[str, ...]
    from_line: Experience = field(init=False)
    from_pits: Experience = field(init=False)
    laps: FieldLaps = field(default_factory=FieldLaps)
    plans: PlanRecord = field(default_factory=PlanRecord)
    queue: OutLapQueue = field(default_factory=OutLapQueue)
    quick: tuple[tuple[float, ...], ...] = ()
    out_laps: tuple[tuple[float, tuple[float, ...]], ...] = ()
    _rests: tuple[float | None, ...] | None = None
    _shape: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        self.from_line = Experience(len(self.labels), False)
        self.from_pits = Experience(len(self.labels), True)

    def usual_shape(self) -> tuple[float, ...] | None:
        """Shares of a quick lap at each knot: medians over the field's last ones; None before the first."""
        if self._shape is None and self.quick:
            knots = range(len(self.labels) + 2)
            self._shape = tuple(median(lap[at] / lap[-1] for lap in self.quick) for at in knots)
        return self._shape

    def learn_quick(self, times: tuple[float, ...]) -> None:
        """Take the times at the knots of a timed lap."""
        self.quick = (*self.quick, times)[-USUAL_OF:]
        self._shape = None

    def learn_out(self, t: float, times: tuple[float, ...]) -> None:
        """Take the times at the knots of an out-lap that ended at ``t``; NaN where it was not seen."""
        self.out_laps = (*self.out_laps, (t, times))[-OUT_LAPS:]
        self._rests = None

    def rests(self, t: float) -> tuple[tuple[float | None, ...], tuple[float | None, ...]]:
        """What the field's out-laps needed from each knot to the line, seconds: medians of all and of the latest."""
        knots = range(len(self.labels) + 1)
        if self._rests is None:
            seconds = [[value for _, value in self._known(at)] for at in knots]
            self._rests = tuple(median(values) if values else None for values in seconds)
        lately: list[float | None] = []
        for at in knots:
            known = self._known(at)
            weights = [math.exp((when - t) / LATELY_S) + 1e-9 for when, _ in known]
            lately.append(weighted_median([value for _, value in known], weights) if known else None)
        return self._rests, tuple(lately)

    def _known(self, at: int) -> list[tuple[float, float]]:
        return [(when, lap[-1] - lap[at]) for when, lap in self.out_laps if not math.isnan(lap[at])]


@dataclass(frozen=True)
class Awaited:
    """Lap-time forecasts that wait for their lap: horizon, how many timed laps ahead, when issued, the forecast."""

    horizon: str
    ahead: int
    forecast: Forecast


@dataclass(frozen=True)
class CarBelief:
    """One car's part: its last quick laps, the lap before, its timed laps by run, and what it waits for.

    ``quick`` has the seconds at each knot of its last three timed laps.
    """

    quick: tuple[tuple[float, ...], ...] = ()
    before: int = OTHER
    laps: DrivenLaps = field(default_factory=DrivenLaps)
    awaited: tuple[Awaited, ...] = ()
    since: tuple[float, ...] = ()
    first: Forecast | None = None
    out_ratio: float = math.nan
    used: bool = False
    after_out: Forecast | None = None

    @property
    def situation(self) -> int:
        """What kind of lap was before, and how many timed laps the run has: 0, 1, 2, 3 or more."""
        return self.before + 4 * min(len(self.laps.this_run), 3)

    def reference(self, shape: Sequence[float], quick_s: float) -> tuple[float, ...]:
        """Usual seconds at each knot: medians of its last quick laps, stretch by stretch; else the field's shape."""
        if not self.quick:
            return tuple(share * quick_s for share in shape)
        if len(self.quick) == 1:
            return self.quick[0]
        total, made = 0.0, [0.0]
        for at in range(1, len(self.quick[0])):
            total += median(lap[at] - lap[at - 1] for lap in self.quick)
            made.append(total)
        return tuple(made)


@dataclass(frozen=True)
class Lesson:
    """A timed lap that all cars learned from: whose, and the car's belief before it. ``number`` counts on for ever."""

    number: int
    car: str
    belief: CarBelief
    lap: EndedLap
