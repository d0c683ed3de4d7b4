"""The alert that musts no longer fit: raised below one chance, over above another, with what speaks for it.

A could or a should that does not fit is normal, for plans are over-full on purpose: nothing is said of it here. The
text has thirty seconds: which must may not fit, how likely it still does and how likely it did, by when the car must
leave for it, and, once the forecast has advised something, what to change and how sure all musts are then. Chances of
two moments are never set against one another: advice is reckoned once, the forecast goes on, so advice that is older
says of when it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pitwall.engine.alerts.book import AlertBook
from pitwall.model.outputs import CarOutlook, Output, RunOutlook, Status
from pitwall.model.setup import ForecastSettings
from pitwall.model.units import clock_text

KIND = "overrun"
TOLD_APART = 0.05
"""A chance was another one before when it differs by so much."""
SAME_MOMENT_S = 60.0
"""Advice that is so much older than the forecast beside it says of when it is."""


@dataclass(frozen=True)
class _Good:
    """The chances of a car's musts when they still fitted, and when that was."""

    t: float
    chances: Mapping[str, float]


@dataclass(frozen=True)
class Remedy:
    """What would help, or that nothing does: ``t`` is when that was reckoned, session seconds, which stands between
    head and words where it is old."""

    t: float
    head: str
    words: str


@dataclass
class MustWatch:
    """Mutable: which cars' musts are in danger, and what is told of each."""

    danger: set[str] = field(default_factory=set)
    red_s: float | None = None
    _good: dict[str, _Good] = field(default_factory=dict)
    _evidence: dict[str, tuple[float, str]] = field(default_factory=dict)
    _advice: dict[str, Remedy] = field(default_factory=dict)

    def look(
        self, outlook: CarOutlook, alerts: AlertBook, settings: ForecastSettings, status: Status, now: float
    ) -> list[Output]:
        """The forecast was answered: warn below one chance, clear above another."""
        car, musts = outlook.car, [run for run in outlook.runs if run.want == "must"]
        if not musts or outlook.musts_chance >= settings.clear_above:
            self.danger.discard(car)
            self._good[car] = _Good(now, {run.run: run.chance for run in musts})
            self._advice.pop(car, None)
            return alerts.over(KIND, car, now)
        if outlook.musts_chance >= settings.warn_below and car not in self.danger:
            return []
        self.danger.add(car)
        self._evidence[car] = now, self._words(outlook, musts)
        return alerts.hold(KIND, car, self._text(car), now, status)

    def _words(self, outlook: CarOutlook, musts: list[RunOutlook]) -> str:
        worst, before = min(musts, key=lambda run: (run.chance, run.run)), ""
        good = self._good.get(outlook.car)
        chance = good.chances.get(worst.run) if good is not None else None
        if good is not None and chance is not None and chance - worst.chance >= TOLD_APART:
            red = self.red_s is not None and self.red_s >= good.t
            before = f", {percent(chance)} {'before the red' if red else f'at {clock_text(good.t)}'}"
        leave = f"; leave by {clock_text(worst.last_release_s)}" if worst.last_release_s is not None else ""
        return f"Car {outlook.car}: {worst.run} may not fit: {percent(worst.chance)} likely{before}{leave}"

    def _text(self, car: str) -> str:
        t, evidence = self._evidence[car]
        advice = self._advice.get(car)
        if advice is None:
            return evidence
        when = f" (reckoned at {clock_text(advice.t)})" if t - advice.t > SAME_MOMENT_S else ""
        return f"{evidence}. {advice.head}{when}{advice.words}"

    def advised(self, cars: Mapping[str, Remedy], alerts: AlertBook, now: float) -> list[Output]:
        """What would help, by car: it stands in the alert from now on; a car that is not named has nothing any more."""
        found: list[Output] = []
        for car in sorted(self._evidence):
            words = cars.get(car)
            if words is None:
                self._advice.pop(car, None)
            else:
                self._advice[car] = words
            found += alerts.reword(KIND, car, self._text(car), now) if car in self.danger else []
        return found


def percent(chance: float) -> str:
    """A chance as the screen writes it."""
    return f"{100 * chance:.0f} %"
