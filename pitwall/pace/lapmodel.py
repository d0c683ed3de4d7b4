"""What timed laps are made of, learned from all cars together, lap by lap.

The logarithm of a timed lap is the sum of: the field's pace; the track's evolution, a level that all cars share and
that moves at a rate; the car; what a long run costs (fuel and an engine mode that lasts, where the run is one); the run
(fuel, driver, engine mode, wings: whatever stays as it is until the car comes in, and drifts a little); wear, net of
the fuel that burns off, per timed lap of the run, by compound and by quick or long run; and noise. A mistake, traffic
or a lap let go is far too slow and hardly counts (``estimate.weight_of``); nobody is quick by mistake. All are one
linear Gaussian belief, so a lap of one car says something of the others: a car that was not yet on a long run is known
by what the others' cost.

Which of both a run is follows from its first timed lap: the likelier one; a quick run where they are about alike. On
tyres for a wet track a run may be anywhere. The first values come from the circuit file (``model/laptimes.py``); those
that stand here are invented from what practice sessions are like (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from pitwall.model.laptimes import LapTimes
from pitwall.pace.estimate import Estimate
from pitwall.pace.programme import LONG_RUN, QUICK_RUN
from pitwall.pace.turned import FOR_A_WET_TRACK

ANY_LAP = 0.5
"""Deviation of the field's pace at first, a log: the circuit's lap says little about these cars."""
EVOLUTION = 0.00015
"""What the track's level moves beside its rate: deviation of the log per root second."""
DRIFT, WET_DRIFT = 0.0015, 0.01
"""What a run's pace moves from lap to lap: deviation of the log; on tyres for a wet track."""
WET_RUN = 0.03
"""Deviation among runs on tyres for a wet track, a log."""
MISTAKE_FROM = 3.0
"""A lap more deviations off than that is taken for a mistake."""
QUICK_IN_FULL = 4.0
"""Nobody is quick by mistake: a lap that is quicker than expected counts in full up to so many deviations."""
SURER_BY = 1.0
"""A run is taken for a long one when its first lap is that much likelier so (log)."""
RUN_NOISE = 0.006
STOP_S = 600.0
"""A next run begins about this long after the car comes in."""
MOVED_FROM = 2.0
"""Two laps in a row that lie more deviations off to the same side: the run may have moved."""
FEWEST_LONG = 4
"""A run of so many timed laps was no quick one, whatever its pace."""
PCT_PER_HOUR = 360_000.0


@dataclass(frozen=True)
class RunSoFar:
    """What is known of a car's run: how many timed laps, quick or long, on what; and of its runs before.

    ``off``: by how many deviations its last lap was off what was expected.
    """

    laps: int = 0
    mode: int = QUICK_RUN
    compound: str = ""
    tried: frozenset[str] = frozenset()
    off: float = 0.0

    @property
    def wet(self) -> bool:
        """The track is wet, by the tyres that are or were on."""
        return self.compound in FOR_A_WET_TRACK

    def over(self) -> RunSoFar:
        """The car came in; compounds of quick runs are tried now. What was on is still known."""
        quick = 0 < self.laps < FEWEST_LONG and self.mode == QUICK_RUN and self.compound not in ("", "unknown")
        return replace(self, laps=0, tried=self.tried | {self.compound} if quick else self.tried)


@dataclass
class LapModel:
    """The belief about the lap times of all cars.

    Args:
        usual_s: a usual lap of the circuit; within a factor of 1.6 or so is near enough.
        first: what is known before anybody drove.
    """

    usual_s: float = 90.0
    first: LapTimes = field(default_factory=LapTimes)
    _belief: Estimate = field(default_factory=Estimate)
    _t: float | None = None

    def __post_init__(self) -> None:
        gain, deviation = self.first.quicker_pct_per_hour
        self._belief.begin("field", math.log(self.usual_s), ANY_LAP)
        self._belief.begin("evolution", 0.0, 1e-3)
        self._belief.begin("rate", -gain / PCT_PER_HOUR, deviation / PCT_PER_HOUR)
        self._belief.begin("long run", *_logs(self.first.long_run_pct))
        self._car, self._run, self._noise = (
            value / 100.0 for value in (self.first.cars_pct, self.first.runs_pct, self.first.noise_pct)
        )

    def timed(self, car: str, run: RunSoFar, t: float, seconds: float, compound: str) -> RunSoFar:
        """Learn from a timed lap.

        Args:
            car: which.
            run: its run until now.
            t: when the lap ended, seconds of the session.
            seconds: what it took.
            compound: what the feed says is on; empty where it does not.

        Returns:
            the run with this lap.
        """
        self._advance(t)
        value, belief = math.log(seconds), self._belief
        self._know(car)
        compound = compound or (run.compound if run.laps else "")
        wet = compound in FOR_A_WET_TRACK
        if run.laps == 0:
            belief.begin(f"run {car}", 0.0, WET_RUN if wet else self._run)
            mode = QUICK_RUN if wet else self._mode(car, compound, value)
        else:
            mode = run.mode
            belief.loosen(f"run {car}", (WET_DRIFT if wet else DRIFT) ** 2)
        self._know_wear(mode, compound)
        parts = self._parts(car, mode, compound, run.laps)
        mean, variance = belief.expect(parts)
        off = (value - mean) / math.sqrt(variance + self._noise**2)
        if wet or off < 0.0:
            belief.take(parts, value, self._noise**2, huber=QUICK_IN_FULL)
        else:
            belief.take(parts, value, self._noise**2, MISTAKE_FROM)
        if run.laps > 0 and off * run.off > 0.0 and min(abs(off), abs(run.off)) > MOVED_FROM:
            # Two mistakes, or the run has moved: the next lap tells, so it counts.
            belief.loosen(f"run {car}", (0.5 * (value - mean)) ** 2)
        return replace(run, laps=run.laps + 1, mode=mode, compound=compound, off=off)

    def later(self, car: str, run: RunSoFar, ahead: float) -> tuple[float, float]:
        """A later lap of the run that is on: its time, seconds, and the deviation of its log.

        Args:
            car: which.
            run: with at least one timed lap.
            ahead: how many timed laps ahead; between two for the mean of several.

        A car that the model does not know is foreseen as any of the field, so much less surely.
        """
        parts = self._parts(car, run.mode, run.compound, run.laps - 1 + ahead)
        # A lap that was taken back by hand may have been all that was known of the car: then it is as any other.
        mean, variance = self._belief.expect([part for part in parts if part[0] in self._belief])
        variance += 0.0 if self.knows(car) else self._car**2 + self._run**2
        drift = WET_DRIFT if run.wet else DRIFT
        return math.exp(mean), math.sqrt(variance + self._noise**2 + ahead * drift**2)

    def first_of_next(self, car: str, mode: int, t: float) -> tuple[float, float]:
        """The first timed lap of the next run, were it a quick or a long one: mean and deviation of its log.

        Args:
            car: which; it has driven a timed lap.
            mode: quick or long.
            t: when the car came in, seconds of the session.
        """
        self._advance(t)
        self._know(car)
        parts = [("field", 1.0), ("evolution", 1.0), ("rate", STOP_S), (f"car {car}", 1.0)]
        mean, variance = self._belief.expect([*parts, ("long run", 1.0)] if mode == LONG_RUN else parts)
        more = self._run**2 + self._noise**2 + EVOLUTION**2 * STOP_S
        return mean, math.sqrt(variance + more)

    @property
    def noise(self) -> float:
        """Deviation of laps without a mistake, a log."""
        return self._noise

    def knows(self, car: str) -> bool:
        """The car drove a timed lap."""
        return f"car {car}" in self._belief

    def run_to_come(self, car: str, mode: int, ahead_s: float) -> tuple[float, float, float]:
        """The timed laps of a run to come: mean and deviation of the first one's log without its noise, and what each
        lap more adds to it. Only looked at: nothing that is believed changes.

        Args:
            car: which; it has driven a timed lap.
            mode: quick or long.
            ahead_s: when the run leaves, seconds from the last lap that was taken.
        """
        parts = [("field", 1.0), ("evolution", 1.0), ("rate", ahead_s), (f"car {car}", 1.0)]
        mean, variance = self._belief.expect([*parts, ("long run", 1.0)] if mode == LONG_RUN else parts)
        wear = _logs(self.first.wear_pct if mode == LONG_RUN else self.first.quick_wear_pct)[0]
        return mean, math.sqrt(variance + self._run**2 + EVOLUTION**2 * ahead_s), wear

    def _mode(self, car: str, compound: str, value: float) -> int:
        likely = []
        for mode in (QUICK_RUN, LONG_RUN):
            self._know_wear(mode, compound)
            mean, variance = self._belief.expect(self._parts(car, mode, compound, 0))
            variance += RUN_NOISE**2
            likely.append(-0.5 * ((value - mean) ** 2 / variance + math.log(variance)))
        return LONG_RUN if likely[LONG_RUN] > likely[QUICK_RUN] + SURER_BY else QUICK_RUN

    def _parts(self, car: str, mode: int, compound: str, laps: float) -> list[tuple[str, float]]:
        parts = [("field", 1.0), ("evolution", 1.0), (f"car {car}", 1.0), (f"run {car}", 1.0),
                 (f"wear {mode} {compound}", laps)]  # fmt: skip
        return [*parts, ("long run", 1.0)] if mode == LONG_RUN else parts

    def _know(self, car: str) -> None:
        if f"car {car}" not in self._belief:
            self._belief.begin(f"car {car}", 0.0, self._car)
            self._belief.begin(f"run {car}", 0.0, self._run)

    def _know_wear(self, mode: int, compound: str) -> None:
        if f"wear {mode} {compound}" not in self._belief:
            first = self.first.wear_pct if mode == LONG_RUN else self.first.quick_wear_pct
            self._belief.begin(f"wear {mode} {compound}", *_logs(first))

    def _advance(self, t: float) -> None:
        if self._t is not None and t > self._t:
            self._belief.advance("evolution", "rate", t - self._t)
            self._belief.loosen("evolution", EVOLUTION**2 * (t - self._t))
        self._t = t if self._t is None else max(t, self._t)


def _logs(believed: tuple[float, float]) -> tuple[float, float]:
    """Per cent and their deviation as logs: what is added to the log of a lap time."""
    value, deviation = believed
    return math.log1p(value / 100.0), deviation / 100.0
