"""What the next timed laps will take: the lap model and the simple rule, pooled by their record over all cars.

Inside a run the simple rule is the median of its last three timed laps. For the first timed lap of the next run it is
that of the car's last three; the model gives two answers there, one for a quick and one for a long run, and they are
mixed by how likely each is. When the car is out again, its out-lap says more. Quantiles are those of earlier errors of
the same step ahead over all cars, counted in the deviations that the model had told.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

import numpy as np

from pitwall.pace.lapmodel import LapModel, RunSoFar
from pitwall.pace.programme import LONG_RUN, QUICK_RUN, Programme, log_odds
from pitwall.pace.residuals import Residuals, as_logs, in_deviations
from pitwall.pace.turned import FOR_A_WET_TRACK, TurnedTrack
from pitwall.pace.weighing import MIDDLE, Array, Record, Spread, weighted_median, weighted_quantiles

LAP_SCALE_S = 0.15
SUM_OF = 5
AHEAD: dict[str, float] = {"next": 1.0, "later": SUM_OF, "sum": (1.0 + SUM_OF) / 2.0}
"""How many timed laps ahead each horizon lies; that of a sum is the middle of its laps."""
NEAR = 3
"""A lap fewer laps ahead than that is forecast like the next one, with its errors; else like the fifth."""
SKEWED = (-2.2, -1.3, -0.85, -0.55, -0.3, -0.08, 0.12, 0.38, 0.7, 1.15, 2.2, 9.0)
"""Errors in deviations, before any was seen: who makes a mistake is slower. Invented, about one mistake in twelve."""
WIDER: dict[str, float] = {"next": 1.0, "later": 1.3, "sum": 1.1, "first": 1.15}
OUT_MEMORY, OUT_WIDTH, OTHER_TYRES = 80, 0.03, 0.4
OUT_FIRST = (
    (0.0, 0.055, 0.6), (0.05, 0.05, 0.6), (0.12, 0.015, 0.6), (0.2, 0.0, 1.0), (0.3, 0.0, 1.0), (0.4, 0.0, 0.6),
)  # fmt: skip
"""Who leaves for a long run does not nurse the tyres on the out-lap: (log out-lap over quick, log first lap over best,
weight). Invented from what practice sessions are like; common practice, no source."""
USED_FROM = 2


@dataclass(frozen=True)
class DrivenLaps:
    """A car's timed laps: those of the run that it is on, and those of its runs before. Seconds, in order."""

    this_run: tuple[float, ...] = ()
    runs: tuple[tuple[float, ...], ...] = ()
    run: RunSoFar = field(default_factory=RunSoFar)

    def lap(self, seconds: float, run: RunSoFar | None = None) -> DrivenLaps:
        """With one more timed lap; ``run`` as the lap model has it now."""
        return DrivenLaps((*self.this_run, seconds), self.runs, run if run is not None else self.run)

    def came_in(self) -> DrivenLaps:
        """The run is over."""
        return DrivenLaps((), (*self.runs, self.this_run), self.run.over()) if self.this_run else self

    @property
    def before(self) -> tuple[float, ...]:
        """All laps of the runs before, in order."""
        return tuple(lap for run in self.runs for lap in run)


@dataclass(frozen=True)
class Forecast:
    """What was forecast of one lap time (or the mean of several): by each rule, pooled, with quantiles.

    ``by_mode``: mean and deviation of the log, were the run a quick or a long one (for one that is on: of both the
    same); ``odds``: log odds of a long run by common practice, and the mode before. ``turned``: for a track that turned
    wet or dry.
    """

    rules: tuple[float, ...]
    seconds: float
    told: Array
    by_mode: tuple[tuple[float, float], ...] = ()
    odds: tuple[float, int] = (0.0, QUICK_RUN)
    turned: bool = False


def _records() -> dict[str, Record]:
    inside = (0.15, 0.85)
    made = {horizon: Record(LAP_SCALE_S, inside) for horizon in AHEAD}
    return made | {"first": Record(LAP_SCALE_S, (0.35, 0.65)), "after_out": Record(LAP_SCALE_S, (0.3, 0.2, 0.5))}


def _residuals() -> dict[str, Residuals]:
    made = {horizon: Residuals(tuple(error * wider for error in SKEWED)) for horizon, wider in WIDER.items()}
    return made | {"after_out": Residuals(0.015)}


@dataclass
class FieldLaps:
    """What all cars taught about lap times: the model, records and errors of forecasts, and what out-laps announce."""

    model: LapModel = field(default_factory=LapModel)
    programme: Programme = field(default_factory=Programme)
    records: dict[str, Record] = field(default_factory=_records)
    residuals: dict[str, Residuals] = field(default_factory=_residuals)
    spreads: dict[str, Spread] = field(default_factory=lambda: {"next": Spread(step=0.05), "after_out": Spread()})
    turned: TurnedTrack = field(default_factory=TurnedTrack)
    outs: deque[tuple[float, bool, float]] = field(default_factory=lambda: deque(maxlen=OUT_MEMORY))

    def inside(self, car: str, laps: DrivenLaps, horizon: str) -> Forecast:
        """A later lap of the run that is on, or the mean of several: one of the horizons that are judged."""
        return self._later(car, laps, horizon, AHEAD[horizon])

    def lap_ahead(self, car: str, laps: DrivenLaps, ahead: int) -> Array:
        """Quantiles of the n-th timed lap from now, if the run goes on so long; seconds at ``LEVELS``."""
        return self._later(car, laps, "next" if ahead < NEAR else "later", float(ahead)).told

    def run_ahead(self, car: str, laps: DrivenLaps, count: int) -> Array:
        """Quantiles of the time that so many timed laps in a row will take together; seconds at ``LEVELS``."""
        return self._later(car, laps, "sum", (1.0 + count) / 2.0).told * count

    def _later(self, car: str, laps: DrivenLaps, horizon: str, ahead: float) -> Forecast:
        modelled, deviation = self.model.later(car, laps.run, ahead)
        rules = (median(laps.this_run[-3:]), modelled)
        seconds = self.records[horizon].pooled(rules)
        errors = self.residuals[horizon].quantiles(with_bias=True)
        told = seconds * np.exp(as_logs(errors, deviation, self.model.noise))
        if horizon in self.spreads:
            told = self.spreads[horizon].apply(told)
        return Forecast(rules, seconds, told, ((math.log(seconds), deviation),))

    def first(
        self, car: str, laps: DrivenLaps, t: float, end_s: float = math.inf, compound: str = ""
    ) -> Forecast | None:
        """The first timed lap of the next run, when the car comes in; None before the car drove a timed lap.

        Args:
            car: which.
            laps: of the car.
            t: when it came in, seconds of the session.
            end_s: when the session ends; infinity where that is not known.
            compound: what it came in on; empty where that is not known.
        """
        before = laps.before
        if not before:
            return None
        if self.turned.turned(laps.run.compound, compound):
            return self._on_a_turned_track(before, compound, sure=False)
        odds = log_odds(laps.run.mode, len(laps.run.tried), laps.run.wet, t, end_s)
        chance = self.programme.long_run(laps.run.mode, odds)
        by_mode = tuple(self.model.first_of_next(car, mode, t) for mode in (QUICK_RUN, LONG_RUN))
        told = self._mixed(by_mode, (1.0 - chance, chance))
        rules = (median(before[-3:]), float(told[MIDDLE]))
        seconds = self.records["first"].pooled(rules)
        told[MIDDLE] = seconds
        return Forecast(rules, seconds, np.sort(told), by_mode, (odds, laps.run.mode))

    def _on_a_turned_track(self, before: Sequence[float], compound: str, sure: bool) -> Forecast:
        told = self.turned.told(compound in FOR_A_WET_TRACK, before, sure)
        return Forecast((median(before[-3:]), float(told[MIDDLE])), float(told[MIDDLE]), told, turned=True)

    def _mixed(self, by_mode: Sequence[tuple[float, float]], chances: Sequence[float]) -> Array:
        errors = self.residuals["first"].errors(25)
        values = np.concatenate([mean + as_logs(errors, deviation, self.model.noise) for mean, deviation in by_mode])
        weights = np.concatenate([np.full(len(errors), chance) for chance in chances])
        made: Array = np.exp(weighted_quantiles(values, weights))
        return made

    def after_out(
        self, laps: DrivenLaps, out_ratio: float, used: bool, best_s: float, first: Forecast | None, compound: str = ""
    ) -> Forecast:
        """The first timed lap, when the out-lap is over.

        Args:
            laps: of the car.
            out_ratio: log of the out-lap over its reference.
            used: its tyres have done laps.
            best_s: its best lap; the field's usual one while it has none.
            first: what was forecast when it came in.
            compound: what is on; empty where that is not known.
        """
        if laps.before and self.turned.turned(laps.run.compound, compound):
            return self._on_a_turned_track(laps.before, compound, sure=True)
        known = [(ratio, to_best, (1.0 if worn == used else OTHER_TYRES)) for ratio, worn, to_best in self.outs]
        weights, values = [], []
        for ratio, to_best, weight in (*OUT_FIRST, *known):
            weights.append(weight * math.exp(-0.5 * ((ratio - out_ratio) / OUT_WIDTH) ** 2) + 1e-6)
            values.append(to_best)
        alike = best_s * math.exp(weighted_median(values, weights))
        last = laps.before[-1] if laps.before else best_s
        rules = (last, first.seconds if first is not None else best_s, alike)
        seconds = self.records["after_out"].pooled(rules)
        told = self.spreads["after_out"].apply(seconds * np.exp(self.residuals["after_out"].quantiles()))
        return Forecast(rules, seconds, told)

    def learn(self, horizon: str, said: Forecast, seconds: float, mode: int = QUICK_RUN) -> None:
        """Take what was forecast, and what it was. What is said of a turned track has a memory of its own.

        Args:
            horizon: which step ahead.
            said: the forecast.
            seconds: the lap, or the mean of the laps.
            mode: for the first lap of a run: what the run is.
        """
        if said.turned:
            return
        self.records[horizon].learn(said.rules, seconds)
        if horizon in self.spreads:
            self.spreads[horizon].learn(said.told, seconds)
        if not said.by_mode:
            self.residuals[horizon].learn(math.log(seconds / said.seconds))
            return
        mean, deviation = said.by_mode[min(mode, len(said.by_mode) - 1)]
        self.residuals[horizon].learn(in_deviations(math.log(seconds) - mean, deviation, self.model.noise))
        if horizon == "first":
            odds, before = said.odds
            self.programme.learn(before, odds, mode)
