"""The alert that musts no longer fit: raised below one chance, over above another, with what speaks for it.

A could or a should that does not fit is normal, for plans are over-full on purpose: nothing is said of it here. The
text names the must that is in danger, how its chance stands against what it was, and, once the forecast has advised
something, what that would bring.
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


@dataclass(frozen=True)
class _Good:
    """The chances of a car's musts when they still fitted, and when that was."""

    t: float
    chances: Mapping[str, float]


@dataclass
class MustWatch:
    """Mutable: which cars' musts are in danger, and what is told of each."""

    danger: set[str] = field(default_factory=set)
    red_s: float | None = None
    _good: dict[str, _Good] = field(default_factory=dict)
    _evidence: dict[str, str] = field(default_factory=dict)
    _advice: dict[str, str] = field(default_factory=dict)

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
        self._evidence[car] = self._words(outlook, musts)
        return alerts.hold(KIND, car, self._text(car), now, status)

    def _words(self, outlook: CarOutlook, musts: list[RunOutlook]) -> str:
        worst, before = min(musts, key=lambda run: (run.chance, run.run)), ""
        good = self._good.get(outlook.car)
        chance = good.chances.get(worst.run) if good is not None else None
        if good is not None and chance is not None and chance - worst.chance >= TOLD_APART:
            red = self.red_s is not None and self.red_s >= good.t
            before = f" ({chance:.0%} {'before the red' if red else f'at {clock_text(good.t)}'})"
        leave = f"; leave by {clock_text(worst.last_release_s)}" if worst.last_release_s is not None else ""
        return f"Car {outlook.car}: {worst.run} fits in {worst.chance:.0%} of futures{before}{leave}"

    def _text(self, car: str) -> str:
        advice = self._advice.get(car)
        return self._evidence[car] if advice is None else f"{self._evidence[car]}. {advice[:1].upper()}{advice[1:]}"

    def advised(self, cars: Mapping[str, str], alerts: AlertBook, now: float) -> list[Output]:
        """What would help, by car: it stands in the alert from now on; a car that is not named has nothing any more."""
        found: list[Output] = []
        for car in sorted(self._evidence):
            words = cars.get(car)
            if words is None:
                self._advice.pop(car, None)
            else:
                self._advice[car] = words.rstrip(".")
            found += alerts.reword(KIND, car, self._text(car), now) if car in self.danger else []
        return found
