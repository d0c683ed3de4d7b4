"""Two cars and one crew: who is ready first is worked on first, and nobody is worked on by half a crew."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.forecast.chain import Chain, Path
from pitwall.forecast.draws import draw_chain, stream
from pitwall.forecast.futures import forecast, simulate
from pitwall.forecast.interruptions import draw_calendar
from pitwall.forecast.sharing import walk_together
from pitwall.forecast.walk import walk
from pitwall.model.outputs import Activity, CarSnapshot, ForecastWanted
from pitwall.model.rules import Interruptions
from tests.unit.test_forecast_futures import ask, lap

OUT, TIMED, IN = 100, 90, 110


def stint(run: str, timed: int, work: float, *crew: str, spread: float = 0.0, **more: Any) -> list[Activity]:
    """Out, timed laps, in, and the work after it by this crew."""
    laps = [lap(run, "out", OUT, spread), *[lap(run, "timed", TIMED, spread)] * timed, lap(run, "in", IN, spread)]
    points = {"low_s": work * (1 - spread / 100), "likely_s": work, "high_s": work * (1 + spread / 50)}
    return [*laps, Activity.model_validate({"run": None, "kind": "garage", "crew": crew, **points, **more})]


def cars(*plans: list[Activity], **more: Any) -> ForecastWanted:
    """A question about several cars, numbered from 1."""
    made = tuple(
        {"car": str(number), "from_s": 0.0, "on_track": False, "activities": plan,
         "wants": {one.run: "must" for one in plan if one.run}}
        for number, plan in enumerate(plans, 1)
    )
    wanted = ask(**{"futures": 200, **more})
    snapshots = tuple(CarSnapshot.model_validate(car) for car in made)
    return wanted.model_copy(update={"snapshot": wanted.snapshot.model_copy(update={"cars": snapshots})})


def works(chain: Chain, path: Path) -> list[tuple[frozenset[str], np.ndarray, np.ndarray]]:
    """Each work: its crew, and when it is worked on in each future."""
    found = []
    for index, one in enumerate(chain.activities):
        if one.kind in ("wait", "garage"):
            found.append((frozenset(one.crew), path.starts[index], path.starts[index] + chain.durations[index]))
    return found


def test_who_is_ready_first_is_worked_on_first() -> None:
    """Car 1 comes in 90 s before car 2: its 300 s first, then car 2's; a third car with another crew waits for none."""
    wanted = cars([*stint("a", 1, 300, "tyres"), *stint("b", 1, 1)], [*stint("c", 2, 200, "tyres"), *stint("d", 1, 1)],
                  [*stint("e", 2, 200, "floor"), *stint("f", 1, 1)])  # fmt: skip
    found = simulate(wanted)
    began = [car.path.starts[[one.kind for one in car.chain.activities].index("garage"), 0] for car in found.cars]
    assert began == [300, 600, 390]
    leaves = [next(car.path.starts[i, 0] for i, one in enumerate(car.chain.activities) if one.run in ("b", "d", "f"))
              for car in found.cars]
    assert leaves == [600, 800, 590]


def test_who_was_ready_first_is_not_asked_by_the_order_of_the_cars() -> None:
    """The same with the cars the other way round."""
    wanted = cars([*stint("c", 2, 200, "tyres"), *stint("d", 1, 1)], [*stint("a", 1, 300, "tyres"), *stint("b", 1, 1)])
    found = simulate(wanted)
    assert [car.path.ends[[one.kind for one in car.chain.activities].index("garage"), 0] for car in found.cars] == [
        800, 600]


def test_a_work_waits_for_all_of_its_crew() -> None:
    """Floor and tyres are with other cars until 700 and 600: the work with both begins at 700."""
    wanted = cars(stint("a", 1, 400, "floor"), stint("b", 1, 300, "tyres"), [*stint("c", 2, 100, "floor", "tyres"),
                                                                           *stint("d", 1, 1)])  # fmt: skip
    assert simulate(wanted).cars[2].path.starts[4, 0] == 700


def test_a_work_under_way_keeps_its_crew() -> None:
    """Car 1 has been worked on for 200 s, which is 100 s more; car 2, waiting for the same people, comes next."""
    wait = {"run": None, "kind": "wait", "crew": ["tyres"]}
    going = Activity.model_validate({**wait, "low_s": 300, "likely_s": 300, "high_s": 300, "lasted_s": 200})
    queued = Activity.model_validate({**wait, "low_s": 250, "likely_s": 250, "high_s": 250})
    found = simulate(cars([queued, *stint("b", 1, 1)], [going, *stint("a", 1, 1)]))
    assert [car.path.ends[0, 0] for car in found.cars] == [350, 100]


def test_the_car_is_called_no_sooner_for_a_crew_that_came_late() -> None:
    """A stop of at least 240 s after coming in: with a crew that comes 200 s late and needs 30 s it is still 240 s."""
    wanted = cars([*stint("a", 1, 290, "tyres"), *stint("b", 1, 1)],
                  [*stint("c", 2, 30, "tyres", not_under_s=240), *stint("d", 1, 1)])  # fmt: skip
    assert simulate(wanted).cars[1].path.ends[4, 0] == 390 + 240


crews = st.sampled_from([(), ("tyres",), ("floor",), ("tyres", "floor"), ("brakes",)])
runs = st.lists(st.tuples(st.integers(1, 3), st.floats(1, 900), crews, st.floats(0, 40)), min_size=1, max_size=4)
worlds = st.fixed_dictionaries({
    "interruptions": st.builds(Interruptions, red_per_hour=st.floats(0, 6), slow_per_hour=st.floats(0, 6)),
    "seed": st.integers(0, 99), "status": st.sampled_from(["green", "red", "slow"]), "futures": st.just(60),
})


def made(name: str, plan: list[tuple[int, float, tuple[str, ...], float]]) -> list[Activity]:
    """The activities of a drawn plan."""
    return [one for number, (timed, work, crew, spread) in enumerate(plan)
            for one in stint(f"{name}{number}", timed, work, *crew, spread=spread)]


@settings(max_examples=60, deadline=None)
@given(st.lists(runs, min_size=2, max_size=3), worlds)
def test_nobody_works_on_two_cars_at_once(plans: list[Any], world: dict[str, Any]) -> None:
    """In no future do two works with a label in common overlap."""
    found = simulate(cars(*(made("abc"[i], plan) for i, plan in enumerate(plans)), **world))
    each = [works(car.chain, car.path) for car in found.cars]
    for one in range(len(each)):
        for other in range(one):
            for crew, start, end in each[one]:
                for second, begin, over in each[other]:
                    if crew & second:
                        assert ((end <= begin + 1e-6) | (over <= start + 1e-6)).all()


@settings(max_examples=60, deadline=None)
@given(st.lists(runs, min_size=2, max_size=3), worlds)
def test_no_car_is_held_for_a_crew_that_is_free(plans: list[Any], world: dict[str, Any]) -> None:
    """A work begins when the car is ready, or at the very moment at which another car's work with its crew ends."""
    found = simulate(cars(*(made("abc"[i], plan) for i, plan in enumerate(plans)), **world))
    each = [works(car.chain, car.path) for car in found.cars]
    for number, car in enumerate(found.cars):
        for index, one in enumerate(car.chain.activities):
            if one.kind != "garage":
                continue
            start, ready = car.path.starts[index], car.path.ends[index - 1]
            ends = [over for other, list_ in enumerate(each) if other != number
                    for second, _, over in list_ if second & set(one.crew)]
            waited = start > ready + 1e-6
            assert (start >= ready - 1e-6).all()
            if waited.any():
                near = np.min([np.abs(over - start) for over in ends], axis=0)
                assert (near[waited] < 1e-6).all()


@settings(max_examples=40, deadline=None)
@given(st.lists(runs, min_size=2, max_size=3), worlds)
def test_without_a_shared_crew_each_car_is_on_its_own(plans: list[Any], world: dict[str, Any]) -> None:
    """Crews with names of their own: the same times, to the last bit, as each car walked alone."""
    own = [[one.model_copy(update={"crew": tuple(f"{i}{label}" for label in one.crew)}) for one in made("abc"[i], plan)]
           for i, plan in enumerate(plans)]
    wanted = cars(*own, **world)
    together = simulate(wanted)
    for car in together.cars:
        only = wanted.snapshot.model_copy(update={"cars": (car.car,)})
        alone = simulate(wanted.model_copy(update={"snapshot": only}))
        assert (alone.cars[0].path.starts == car.path.starts).all()
        assert (alone.cars[0].path.ends == car.path.ends).all()


@settings(max_examples=40, deadline=None)
@given(runs, worlds, st.booleans())
def test_a_car_without_rivals_goes_the_same_way_through_the_queue(
    plan: list[Any], world: dict[str, Any], on_track: bool
) -> None:
    """Beside a car that never comes in for the shared crew, the queue gives the times of a car on its own."""
    acts = made("a", plan)
    idle = Activity.model_validate({"run": None, "kind": "garage", "low_s": 0, "likely_s": 0, "high_s": 0,
                                    "crew": ["tyres", "floor", "brakes"], "not_before_s": 1e6})  # fmt: skip
    wanted = cars(acts, [idle], **world)
    first = wanted.snapshot.cars[0].model_copy(update={"on_track": on_track})
    snapshot = wanted.snapshot
    calendar = draw_calendar(stream(world["seed"], 0), snapshot)
    chains = [draw_chain(car, 60, world["seed"]) for car in (first, snapshot.cars[1])]
    begins = [np.zeros(60), np.zeros(60)]
    queued = walk_together(chains, begins, calendar)[0]
    alone = walk(chains[0], begins[0], calendar)
    assert queued.ends == pytest.approx(alone.ends, abs=1e-6)
    assert queued.starts[1:] == pytest.approx(alone.starts[1:], abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(runs, min_size=2, max_size=3), worlds, st.floats(0, 4000), st.floats(0, 1500))
def test_more_time_never_lowers_a_chance_with_a_shared_crew(
    plans: list[Any], world: dict[str, Any], remaining: float, more: float
) -> None:
    """Crews go the same way in every future; only the flag falls later."""
    acts = [made("abc"[i], plan) for i, plan in enumerate(plans)]
    less, longer = (forecast(cars(*acts, remaining=left, **world)) for left in (remaining, remaining + more))
    for before, after in zip(less.cars, longer.cars, strict=True):
        assert after.musts_chance >= before.musts_chance
        assert all(b.chance >= a.chance for a, b in zip(before.runs, after.runs, strict=True))
