"""A car that stays out and is taken to be on another run keeps what the garage gave it; each lap counts for one run."""

from __future__ import annotations

import pytest

from pitwall.engine.ahead import limits_ahead
from pitwall.model.outputs import Alert, PlanState
from tests.unit.engine_stage import CAR, CIRCUIT, MAIN, PIT_EXIT, Stage, plan, setup

# Tyres are changed and fuel is filled in the garage only: common sense, no source.

SETS = {"B1": {"compound": "medium"}, "B2": {"compound": "medium", "laps": 3}, "C1": {"compound": "soft"}}
HOLDS = MAIN | {"run": "holds", "laps": "out, 3 timed, in", "tyres": "B1", "fuel_kg": 15,
                "switches": {"torque_map": 4}}  # fmt: skip
LONG = MAIN | {"run": "long", "laps": "out, 8 timed, in", "tyres": "B2", "fuel_kg": 26}


def stage(long: dict[str, object] | None = None) -> Stage:
    """A session with a short and a long run."""
    return Stage(setup(plan(HOLDS, LONG | (long or {}), tyre_sets=SETS))).green()


def counts(made: Stage) -> dict[str, tuple[int, int]]:
    """By run: timed laps as counted, and timed laps on the record."""
    return {run.run.run: (run.timed_own, sum(lap.run == run.run.run and lap.kind == "timed"
                                             for lap in made.car.track.laps))
            for run in made.car.progress.runs}  # fmt: skip


def test_a_car_that_stays_out_keeps_its_tyres_its_fuel_and_its_switches() -> None:
    """Taken for the long run on track: still the set, the fuel and the positions that it left with."""
    made = stage()
    t = made.drive(200, 125, 100, 100, 100, 100, 100)
    car = made.car
    assert car.progress.current is car.progress.find("long")
    assert (car.carried.tyres, car.carried.tyre_laps(car.track)) == ("B1", 6)
    assert car.carried.fuel(car.track, 2.0) == pytest.approx(15 - 2.0 * (5 + 1 - PIT_EXIT))
    assert car.switches.wanted(car.progress.current, 7)["torque_map"] == 4
    made.wait(t + 30)
    assert "fuel-short-41" in made.session.alerts.active


def test_the_plan_on_the_screens_has_the_set_that_such_a_run_is_driven_on() -> None:
    """On track and when it is over: the set that the car left with, and no fuel of its own. A run that is left for has
    what is planned."""
    made = stage()

    def shown() -> dict[str, tuple[str | None, str | None, float | None]]:
        return {run.run: (run.tyres, run.compound, run.fuel_kg) for run in made.made(PlanState)[-1].runs}

    assert shown() == {"holds": ("B1", "medium", 15), "long": ("B2", "medium", 26)}
    t = made.drive(200, 125, *[100.0] * 8)
    assert shown()["long"] == ("B1", "medium", None)
    made.home(t)
    made.wait(made.now + 20)
    assert shown() == {"holds": ("B1", "medium", 15), "long": ("B1", "medium", None)}


def test_the_plan_on_the_screens_says_which_run_goes_on_with_what_is_on_the_car() -> None:
    """What the crew reads before the car leaves is what the engine holds once it has left: no set, no fuel for a run
    that was broken off; both for it behind another run, and for a run that the car was only taken for on track."""
    made = stage()

    def goes_on() -> dict[str, bool]:
        made.wait(made.now + 20)
        return {run.run: run.goes_on for run in made.made(PlanState)[-1].runs}

    assert goes_on() == {"holds": False, "long": False}
    t = stopped_after_one(made)
    assert goes_on() == {"holds": True, "long": False}
    made.command("set_car", run="long")
    made.home(made.drive(t + 200, 125, 100))
    made.command("set_car", run="holds")
    assert goes_on() == {"holds": False, "long": False}
    made = stage({"shorten_to": 8})
    made.home(made.drive(200, 125, *[100.0] * 5))
    assert goes_on() == {"holds": False, "long": False}


def test_each_lap_of_such_a_stint_counts_for_one_run() -> None:
    """Eight timed laps in all: three of the short run, five of the long one, in the counts as on the record."""
    made = stage()
    t = made.drive(200, 125, *[100.0] * 8)
    assert counts(made) == {"holds": (3, 3), "long": (5, 5)}
    long = made.car.progress.find("long")
    assert long is not None
    assert long.expected_kind == "in"
    made.home(t)
    assert (long.state, long.timed_own) == ("done", 5)


def test_the_run_that_it_was_taken_for_has_its_own_set_when_it_leaves_the_garage_for_it() -> None:
    """Cut after too few laps and left for again: now its set is fitted, and its fuel filled."""
    made = stage({"shorten_to": 8})
    t = made.home(made.drive(200, 125, *[100.0] * 5))
    car = made.car
    long = car.progress.next
    assert long is car.progress.find("long")
    assert car.switches.wanted(long, 1)["torque_map"] == 2
    made.leave(t + 200)
    assert (car.carried.tyres, car.carried.tyre_laps(car.track)) == ("B2", 3)
    assert car.carried.ages["B1"] == 7
    assert car.carried.fuel(car.track, 2.0) == 26


def test_a_stop_that_the_feed_did_not_show_is_one() -> None:
    """Neither entry nor exit seen, but a lap as long as a stop: from there on it is the next run, as it left for it."""
    made = stage()
    made.drive(200, 125, 100, 100, 100, 500, 100)
    car = made.car
    assert car.progress.current is car.progress.find("long")
    assert (car.carried.tyres, car.carried.tyre_laps(car.track)) == ("B2", 5)
    assert car.carried.ages["B1"] == 4
    assert car.carried.fuel(car.track, 2.0) == pytest.approx(22)
    assert counts(made) == {"holds": (3, 3), "long": (1, 1)}


def test_a_car_is_not_taken_for_a_run_on_other_tyres() -> None:
    """The feed shows medium tyres, the long run wants soft ones: the car stays on its run, and is called in."""
    made = stage({"tyres": "C1"})
    made.leave(200)
    t = 200.0
    for number, seconds in enumerate((125, 100, 100, 100, 100, 100)):
        made.cross(t + 20, "1", compound="Medium")
        t = made.lap(t, seconds, from_exit=number == 0)
    assert made.car.progress.current is made.car.progress.find("holds")
    assert counts(made)["holds"] == (5, 5)


def test_a_run_that_the_desk_names_was_left_for_when_the_car_left() -> None:
    """"It is on the long run": the set has the laps since it left on it, the tank has burnt them, and they are its."""
    made = stage()
    made.drive(200, 125, 100, 100)
    made.command("set_car", run="long")
    car = made.car
    assert (car.carried.tyres, car.carried.tyre_laps(car.track), car.carried.ages["B1"]) == ("B2", 6, 0)
    assert car.carried.fuel(car.track, 2.0) == pytest.approx(26 - 2.0 * (2 + 1 - PIT_EXIT))
    assert counts(made) == {"holds": (0, 0), "long": (2, 2)}


def test_what_was_told_by_hand_since_the_car_left_stands_when_the_desk_names_another_run() -> None:
    """The crew filled 20 kg and fitted C1, whatever the plan of either run says; the next leaving is by the plan."""
    made = stage()
    made.drive(200, 125, 100)
    made.command("set_fuel", fuel_kg=20)
    made.command("set_tyres", tyres="C1", tyre_laps=4)
    made.command("set_car", run="long")
    car = made.car
    assert (car.carried.tyres, car.carried.tyre_laps(car.track)) == ("C1", 4)
    assert car.carried.fuel(car.track, 2.0) == 20


def stopped_after_one(made: Stage) -> float:
    """Out for the short run, one timed lap, a red flag, in, and green again: when that is."""
    t = made.drive(200, 125, 100)
    made.status(t + 5, "red")
    t = made.home(t)
    made.status(t + 100, "green")
    return t + 100


def test_a_run_that_is_resumed_goes_on_with_what_is_left_unless_another_was_driven_between() -> None:
    """Straight back out nobody fits or fills anything; after the long run the crew has to do both again."""
    made = stage()
    made.leave(stopped_after_one(made) + 200)
    assert made.car.progress.current is made.car.progress.find("holds")
    assert (made.car.carried.tyres, made.car.carried.tyre_laps(made.car.track)) == ("B1", 3)
    assert made.car.carried.fuel(made.car.track, 2.0) == pytest.approx(15 - 2.0 * (3 - PIT_EXIT))
    made = stage()
    t = stopped_after_one(made)
    made.command("set_car", run="long")
    t = made.home(made.drive(t + 200, 125, 100))
    made.command("set_car", run="holds")
    made.leave(t + 300)
    assert made.car.progress.current is made.car.progress.find("holds")
    assert (made.car.carried.tyres, made.car.carried.tyre_laps(made.car.track)) == ("B1", 3)
    assert made.car.carried.fuel(made.car.track, 2.0) == 15


def test_the_laps_of_an_earlier_stint_stay_with_their_run() -> None:
    """One timed lap, a red flag, out again for the same run, and then it is the long run after all: the lap of the
    first stint is still the short run's."""
    made = stage()
    made.drive(stopped_after_one(made) + 200, 125, 100)
    assert made.car.progress.current is made.car.progress.find("holds")
    made.command("set_car", run="long")
    assert counts(made) == {"holds": (1, 1), "long": (1, 1)}


def test_a_run_that_was_resumed_hands_over_the_laps_of_its_second_stint_alone() -> None:
    """One timed lap, a red flag, out again for the same run, and the car stays out: of the eight timed laps since, two
    are the short run's, and only when all eight are driven is the long run over."""
    made = stage()
    t = made.drive(stopped_after_one(made) + 200, 125, *[100.0] * 7)
    long = made.car.progress.find("long")
    assert long is not None
    assert made.car.progress.current is long
    assert counts(made) == {"holds": (3, 3), "long": (5, 5)}
    assert long.expected_kind == "timed"
    made.lap(t, 100)
    assert long.expected_kind == "in"


def test_limits_of_a_run_that_goes_on_behind_another_are_those_of_its_own_set_and_fuel() -> None:
    """Straight back out it has what is left; behind the long run the crew fits its set and fills its fuel anew, and on
    what is fitted then nothing of it hangs. On track it is what is on the car, whatever the run was planned with."""
    sets = {"B1": {"compound": "medium", "most_laps": 5}, "B2": {"compound": "medium", "most_laps": 30}}
    made = Stage(setup(plan(HOLDS, LONG, tyre_sets=sets))).green()

    def limits() -> list[tuple[str, str, float]]:
        return [(one.kind, one.run, round(one.laps, 1))
                for one in limits_ahead(made.car, list(made.car.progress.rest())) if one.run == "holds"]

    t = stopped_after_one(made)
    # Driven: an out-lap from the exit and two laps, at 2 kg each of 15; 2 kg are the reserve. To come: four laps.
    assert limits() == [("fuel", "holds", 3.5), ("tyres", "holds", 2.0)]
    made.command("set_car", run="long")
    made.home(made.drive(t + 200, 125, 100))
    made.command("set_car", run="holds")
    assert made.car.carried.tyres == "B2"
    assert limits() == [("tyres", "holds", 2.0)]


def test_a_run_that_the_car_was_taken_for_on_track_runs_into_the_fuel_that_is_in_it() -> None:
    """The long run would have 26 kg; the car left with 15 kg for the short one and stays out."""
    made = stage()
    made.drive(200, 125, 100, 100, 100, 100, 100)
    assert made.car.progress.current is made.car.progress.find("long")
    found = [one for one in limits_ahead(made.car, list(made.car.progress.rest())) if one.run == "long"]
    left = 15 - 2.0 * (5 + 1 - PIT_EXIT)
    assert [(one.kind, one.laps) for one in found] == [("fuel", pytest.approx((left - 2.0) / 2.0))]


def test_who_does_not_come_in_at_the_end_of_a_run_is_an_alert_until_he_is_in_or_on_another_run() -> None:
    """One lap over: box it. Two, and nobody called it in: its laps count for a later run, and that is told too, until
    the car is in: no box is called by itself any more."""
    made = stage()
    t = made.drive(200, 125, 100, 100, 100, 100)
    made.wait(t + 20)
    assert "stayed_out" not in {one.kind for one in made.made(Alert)}, "it may be in the lane, and its entry lost"
    made.cross(t + 30, "1")
    made.wait(t + 36)
    (alert,) = [one for one in made.session.alerts.active.values() if one.kind == "stayed_out"]
    assert (alert.priority, alert.text) == ("high", "Car 41 did not come in at the end of holds")
    made.cross(t + 70, "2")
    made.cross(t + 100)
    t += 100
    made.wait(t + 6)
    standing = {one.kind: (one.priority, one.text) for one in made.session.alerts.active.values()}
    assert "stayed_out" not in standing
    assert standing["on_another_run"] == ("medium", "Car 41 stays out beyond holds: its laps count for long now")
    made.home(t)
    made.wait(made.now + 6)
    assert not {"stayed_out", "on_another_run"} & {one.kind for one in made.session.alerts.active.values()}


def without_loops() -> Stage:
    """One run, on a circuit where only the line and the pit lane's ends see a car."""
    bare = CIRCUIT.model_copy(update={"loops": CIRCUIT.loops[:1]})
    return Stage(setup(plan(HOLDS, tyre_sets=SETS), circuit=bare)).green()


def crossings(made: Stage, *lap_times_s: float) -> float:
    """Out at 200 s, then over the line after each of these; returns the last one."""
    made.leave(200)
    t = 200.0
    for lap_s in lap_times_s:
        t += lap_s
        made.cross(t)
    return t


def test_where_only_the_line_sees_a_car_its_second_pass_shows_that_it_did_not_come_in() -> None:
    """The first may be the line beside the lane, and the pit entry lost. It stands until the car is in."""
    made = without_loops()
    t = crossings(made, 125, 100, 100, 100, 100)
    made.wait(t + 95)
    assert "stayed_out" not in {one.kind for one in made.made(Alert)}, "it may be in the lane, and its entry lost"
    made.cross(t + 100)
    made.wait(t + 106)
    (alert,) = [one for one in made.session.alerts.active.values() if one.kind == "stayed_out"]
    assert (alert.priority, alert.text) == ("high", "Car 41 did not come in at the end of holds")
    made.cross(t + 200)
    made.wait(t + 290)
    assert "stayed_out" in {one.kind for one in made.session.alerts.active.values()}
    made.pit(t + 296, "entry", CAR)
    made.wait(t + 302)
    assert "stayed_out" not in {one.kind for one in made.session.alerts.active.values()}


def test_a_stop_whose_pit_signals_were_lost_is_no_car_that_stayed_out() -> None:
    """The line beside the lane, a stop of five minutes, and the line again."""
    made = without_loops()
    made.wait(crossings(made, 125, 100, 100, 100, 110, 430) + 60)
    assert [run.stayed_out for run in made.car.progress.runs] == [2]
    assert "stayed_out" not in {one.kind for one in made.made(Alert)}


def test_who_is_told_to_go_on_and_who_comes_in_raise_no_alert() -> None:
    """A lap more by the desk is no disobedience, nor is a run that ends as planned."""
    made = stage()
    t = made.drive(200, 125, 100, 100, 100)
    made.command("extend", t + 20, laps=1)
    made.home(made.lap(t, 100))
    made.wait(made.now + 10)
    assert not {"stayed_out", "on_another_run"} & {one.kind for one in made.made(Alert)}
