"""What is believed of one car, taken out and put back: where it is, its pace, its plan's progress, what it carries.

Belief is one thing, acts are another. A call that was said was said; but where a car is, on which lap of which run, is
only ever what the facts so far make likely, and is made anew when a fact turns out to have been wrong or missing.
"""

from __future__ import annotations

import copy
from collections import deque
from dataclasses import dataclass
from typing import Any, TypeVar

from pitwall.engine.car import CarTrack
from pitwall.engine.carried import Carried
from pitwall.engine.progress import PlanProgress
from pitwall.engine.team import TeamCar
from pitwall.model.plan import Plan
from pitwall.pace.field_pace import FieldPace, KindRatios
from pitwall.pace.laptimes import CarPace

Made = TypeVar("Made")

SCALARS = (
    "since_s", "work", "seated", "release_floor", "crew_floor", "recalled", "kept_in", "quiet", "told_finish_s",
)
"""Fields of a team car that follow from facts about it."""
MENDED_LAPS = 2
"""The last laps of the record may still be mended, the older ones stand."""


@dataclass(frozen=True)
class Belief:
    """A copy that nothing else holds; lap maps, plans and items, which never change, are shared."""

    track: CarTrack
    progress: PlanProgress
    carried: Carried
    plan: Plan
    checked_before: bool
    driver: str
    drove: dict[int, str]
    scalars: tuple[Any, ...]


def take(car: TeamCar) -> Belief:
    """What is believed of the car now."""
    return Belief(
        _track(car.track),
        _progress(car.progress),
        _carried(car.carried),
        car.plan,
        car.switches.checked_before,
        car.switches.driver,
        dict(car.drove),
        tuple(getattr(car, name) for name in SCALARS),
    )


def put(car: TeamCar, belief: Belief) -> None:
    """Believe this from now on. The car's parts stay the objects that they were: others hold them, too."""
    field_pace = car.track.pace.field_pace
    _become(car.track, _track(belief.track))
    car.track.pace.field_pace = field_pace
    _become(car.progress, _progress(belief.progress))
    _become(car.carried, _carried(belief.carried))
    car.plan = car.switches.plan = belief.plan
    car.switches.checked_before, car.switches.driver = belief.checked_before, belief.driver
    car.drove = dict(belief.drove)
    for name, value in zip(SCALARS, belief.scalars, strict=True):
        setattr(car, name, value)


def unlearn(field_pace: FieldPace, now: CarPace, before: CarPace) -> FieldPace:
    """The field's pace without what this car taught it since ``before``; made anew, the old one is left alone.

    What all laps of the field together taught is copied as it is. Of shapes it is one lap among hundreds; the model of
    lap times is taught anew where inputs are gone over (``lessons``).
    """
    made = copy.copy(field_pace)
    made.quick, made.ratios = copy.copy(field_pace.quick), _ratios(field_pace.ratios)
    made.belief, made.lessons = copy.deepcopy(field_pace.belief), copy.copy(field_pace.lessons)
    for lap in _since(now.quick, before.quick):
        _take_out(made.quick, lap)
    for kind, seen in now.ratios.seen.items():
        for ratio in _since(seen, before.ratios.seen.get(kind, deque())):
            _take_out(made.ratios.seen.get(kind, deque()), ratio)
    return made


def _since(now: deque[Made], before: deque[Made]) -> list[Made]:
    known = list(before)
    found = []
    for value in now:
        if value in known:
            known.remove(value)
        else:
            found.append(value)
    return found


def _take_out(values: deque[Made], value: Made) -> None:
    for at in range(len(values) - 1, -1, -1):
        if values[at] == value:
            del values[at]
            return


def _become(target: Any, source: Any) -> None:
    target.__dict__.clear()
    target.__dict__.update(source.__dict__)


def _track(track: CarTrack) -> CarTrack:
    made = twin(track)
    old = track.laps[:-MENDED_LAPS]
    made.laps = [*old, *(_lap(lap) for lap in track.laps[-MENDED_LAPS:])]
    made.lap = None if track.lap is None else _lap(track.lap)
    made.pace = twin(track.pace)
    made.pace.quick = track.pace.quick.copy()
    made.pace.ratios = _ratios(track.pace.ratios)
    made.pace.shares = {loop: seen.copy() for loop, seen in track.pace.shares.items()}
    return made


def _lap(lap: Any) -> Any:
    made = twin(lap)
    made.crossings = dict(lap.crossings)
    return made


def _ratios(ratios: KindRatios) -> KindRatios:
    return KindRatios({kind: seen.copy() for kind, seen in ratios.seen.items()})


def _progress(progress: PlanProgress) -> PlanProgress:
    made = loose(progress)
    made.runs = []
    for run in progress.runs:
        state = loose(run)
        state.items = [twin(item) for item in run.items]
        made.runs.append(state)
    return made


def _carried(carried: Carried) -> Carried:
    return loose(carried)


def loose(made_of: Made) -> Made:
    """A copy whose lists, sets and tables are its own."""
    made = twin(made_of)
    made.__dict__.update({name: value.copy() for name, value in made_of.__dict__.items()
                          if isinstance(value, (list, dict, set, deque))})
    return made


def twin(made_of: Made) -> Made:
    """What ``copy.copy`` makes of an object of ours, in a fraction of the time: this is done with every crossing."""
    made: Made = object.__new__(type(made_of))
    made.__dict__.update(made_of.__dict__)
    return made
