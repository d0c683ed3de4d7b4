"""The tyre sets of the next plan: of every plan of the day, with the laps that are on them, and of its runs.

A session may have gone over to its wet plan, whose allocation need not name the sets that were driven on in the dry.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from pitwall.engine.team import TeamCar
from pitwall.model.plan import Plan, Run, TyreSet

UNKNOWN = "unknown"
"""The compound of a set of which no plan says what it is."""


def sets_of_the_day(car: TeamCar) -> dict[str, TyreSet]:
    """Every set that a plan of the car named, its alternates too; the plan in use goes before the others."""
    desk, found = car.desk, dict[str, TyreSet]()
    planned = (car.setup.plans[car.car], *car.setup.alternates.get(car.car, {}).values())
    for plan in (*planned, *desk.latest.values(), *desk.aside.values(), car.plan):
        found |= plan.tyre_sets
    return found


def ages(car: TeamCar) -> dict[str, int]:
    """Laps by set as the car came back."""
    found = dict(car.carried.ages)
    if car.carried.tyres is not None:
        found[car.carried.tyres] = car.carried.tyre_laps(car.track) or 0
    return found


def next_sets(car: TeamCar, template: Plan | None, runs: Iterable[Run]) -> tuple[dict[str, TyreSet], tuple[str, ...]]:
    """The allocation of the draft, and what has to be filled in there.

    Args:
        car: as it stands at the end of the journal.
        template: the next session's own plan; what it says of a set goes before, but for the laps.
        runs: of the draft. Without any allocation any set may be named; with one, each of theirs is in it.
    """
    known = sets_of_the_day(car) | (template.tyre_sets if template is not None else {})
    laps = ages(car)
    found = {label: one.model_copy(update={"laps": laps.get(label, one.laps)}) for label, one in known.items()}
    if not found:
        return {}, ()
    missing = dict.fromkeys(run.tyres for run in runs if run.tyres is not None and run.tyres not in found)
    found |= {label: TyreSet(compound=UNKNOWN, laps=laps.get(label, 0)) for label in missing}
    return found, tuple(f"tyre_sets: what compound {label} is; no plan of the day says so" for label in missing)


def sets_in_words(car: TeamCar, sets: Mapping[str, TyreSet]) -> Iterator[str]:
    """Each set with its laps, and how many of them are of this session."""
    before, now = sets_of_the_day(car) | car.setup.plans[car.car].tyre_sets, ages(car)  # the day began with that plan
    for label, one in sets.items():
        driven = now.get(label, one.laps) - (before[label].laps if label in before else 0)
        limit = f", at most {one.most_laps}" if one.most_laps is not None else ""
        now_driven = f"{driven} of them in this session" if driven else "none of them in this session"
        age = f"{one.laps} lap{'s' if one.laps != 1 else ''}{limit}, {now_driven}" if one.laps else f"unused{limit}"
        yield f"tyre set {label} ({one.compound}): {age}"
