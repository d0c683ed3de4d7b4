"""What the alert of the musts says would help: in so few words that the calls beside it keep their room.

A plan of several changes is told by those of runs, the car's own first; what falls away with them (items on laps that
are not driven) and the rest stand in the changed plan itself. A plan that makes no must surer is no remedy, and is not
called one.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from pitwall.engine.advising_offers import CHANCE_SHOWN, AdviceOffer
from pitwall.engine.must_watch import Remedy, percent

NEXT_TO_NOTHING = 0.05
"""Whoever has so small a chance of all musts has none to plan with (our choice)."""
MOST_CHANGES = 2
"""So many changes are told in an alert; the others are counted."""


@dataclass(frozen=True)
class Sureness:
    """The chance that all musts fit with the best plan that was found, and with the plan as it stands."""

    best: float
    as_planned: float


def remedy(offer: AdviceOffer, sure: Sureness | None, car: str, team: Collection[str]) -> Remedy:
    """The words for the alert of one car.

    Args:
        offer: the best changed plan; it may change another car, where they share a crew.
        sure: how sure the musts are with it; None where nobody reckoned that.
        car: whose alert it is.
        team: all our cars.
    """
    changes, whose = _changes(offer, car), " of all cars" if len(team) > 1 else ""
    if sure is None:
        return Remedy(offer.shown.t, "Remedy", f": {changes}")
    if sure.best < NEXT_TO_NOTHING:
        return Remedy(offer.shown.t, f"Nothing brings all musts{whose} in",
                      f"; best by what the runs are worth: {changes}")
    if sure.best - sure.as_planned < CHANCE_SHOWN:
        return Remedy(offer.shown.t, f"Nothing makes all musts{whose} surer than {percent(sure.best)}",
                      f"; best by what the runs are worth: {changes}")
    return Remedy(offer.shown.t, "Remedy", f": {changes}; then all musts{whose} fit: {percent(sure.best)} likely")


def _changes(offer: AdviceOffer, car: str) -> str:
    mine = [line for whose, line in offer.brief if whose == car]
    others = [f"car {whose}: {line}" for whose, line in offer.brief if whose != car]
    told = [*mine, *others] or list(offer.shown.lines)
    left = len(told) - MOST_CHANGES
    more = f"; and {left} more change{'s' if left > 1 else ''}" if left > 0 else ""
    return "; ".join(told[:MOST_CHANGES]) + more
