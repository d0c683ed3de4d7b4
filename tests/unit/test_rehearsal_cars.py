"""Team cars in the rehearsed world: released, driven, called in, and left alone."""

from __future__ import annotations

import pytest

from pitwall.model.events import CarCrossed, CarPitted, ClockReported, StatusChanged
from tests.unit.rehearsal_stage import CAR, Stage, plan, scenario, setup


def boxed(stage: Stage, crossing: int, **more: float) -> Stage:
    """Call the car in at its ``crossing``-th line."""
    stage.on_line(crossing, lambda now: stage.prompt("box", "box", now, wait=1, **more))
    return stage


def test_a_car_never_told_to_leave_stays() -> None:
    """No release call, no lap: the driver does not read the plan."""
    stage = Stage().run()
    assert stage.pits("exit") == []
    assert stage.of(CarCrossed) == []
    assert stage.truth.laps == ()


def test_a_prompt_that_is_only_shown_for_later_moves_nothing() -> None:
    """A release that may be said from 300 s on is not said before."""
    stage = Stage()
    stage.say_at(60, "leave", "leave", run="first", wait=240)
    stage.run(until=290)
    assert stage.truth.releases == ()
    stage.run(until=400)
    assert stage.truth.releases[0].said_s > 300


def test_a_released_car_passes_the_pit_exit() -> None:
    """Said, read back, driven out: the exit is seen soon after, and the truth holds every moment in order."""
    stage = Stage()
    stage.release(60)
    stage.run(until=200)
    release = stage.truth.releases[0]
    assert 60 < release.said_s < release.left_s < release.exit_s < 100
    assert stage.pits("exit") == [release.exit_s]


def test_a_car_that_was_not_fired_up_leaves_later() -> None:
    """Without the fire-up call the wheels turn some 18 s later."""
    warm, cold = Stage(), Stage()
    warm.release(60)
    cold.say_at(60, "leave-60", "leave", run="first", act_at_s=60)
    exits = [stage.run(until=200).pits("exit")[0] for stage in (warm, cold)]
    assert exits[1] - exits[0] == pytest.approx(18, abs=0.5)


def test_a_release_counted_down_is_obeyed_at_its_moment() -> None:
    """Said 20 s ahead of the moment, the car leaves at the moment."""
    stage = Stage()
    stage.say_at(40, "fire", "fire_up")
    stage.say_at(60, "leave", "leave", run="first", act_at_s=85)
    assert stage.run(until=200).truth.releases[0].left_s == 85


def test_before_the_green_light_the_car_waits_at_the_exit() -> None:
    """Told to leave before the light is green, nobody is sent; the pit exit fact comes after the light."""
    stage = Stage()
    stage.say_at(-30, "leave", "leave", run="first", act_at_s=-30.0, window=60.0)
    assert stage.run(until=60).pits("exit")[0] >= 0


def test_the_driver_pushes_until_told_otherwise() -> None:
    """Out-lap, then timed lap after timed lap."""
    stage = Stage()
    stage.release(60)
    laps = stage.run(until=900).truth.laps
    assert [lap.kind for lap in laps] == ["out", *["timed"] * (len(laps) - 1)]
    assert len(laps) >= 7


def test_never_called_in_the_driver_comes_in_when_the_fuel_is_gone() -> None:
    """The tank decides in the end: no lap begins without fuel for it, and the last one is an in-lap."""
    stage = Stage(session=setup(60, plans={CAR: plan(runs=[
        {"run": "first", "want": "must", "laps": "out, 8 timed, in", "fuel_kg": 12}])}))
    stage.release(60)
    laps = stage.run().truth.laps
    assert laps[-1].kind == "in"
    assert len(laps) < 12
    assert all(lap.fuel_kg > 0 for lap in laps)
    assert laps[-1].fuel_kg < 4


def test_a_box_call_in_time_brings_the_car_in_on_this_lap() -> None:
    """Said at the start of the third lap, the car enters the pits on that lap."""
    stage = boxed(Stage(), 2)
    stage.release(60)
    truth = stage.run(until=900).truth
    assert [lap.kind for lap in truth.laps] == ["out", "timed", "in"]
    assert truth.boxes[0].in_time
    assert truth.boxes[0].entered_s == truth.laps[-1].entry_s


def test_a_box_call_after_the_last_place_means_another_lap() -> None:
    """Heard past the last place for the pit entry, the driver does one more lap and comes in on that."""
    stage = Stage()
    stage.release(60)

    def late(now: float) -> None:
        chance = stage.world._teams[CAR].car.when_at(stage.world._field_ground.last_chance)
        stage.say_at(chance - 1.0, "box", "box")

    stage.on_line(2, late)
    truth = stage.run(until=900).truth
    assert [lap.kind for lap in truth.laps] == ["out", "timed", "timed", "in"]
    box = truth.boxes[0]
    assert not box.in_time
    assert box.heard_s > box.last_chance_s


def test_a_driver_who_is_told_to_stay_out_goes_on() -> None:
    """Called in by mistake on a lap at the pace, which is lost, he comes in only when he is called once more."""
    stage = boxed(Stage(), 3)
    stage.release(60)
    stage.on_line(1, lambda now: stage.prompt("wrong", "box", now, wait=1))
    stage.on_line(1, lambda now: stage.prompt("on", "stay_out", now, wait=8))
    truth = stage.run(until=900).truth
    assert [lap.kind for lap in truth.laps] == ["out", "cool", "timed", "in"]


def test_a_box_call_on_the_out_lap_makes_an_installation_lap() -> None:
    """Out and straight in: one lap, one entry, one exit."""
    stage = Stage()
    stage.release(60)
    stage.say_at(100, "box", "box")
    truth = stage.run(until=400).truth
    assert [lap.kind for lap in truth.laps] == ["out_in"]
    assert len(stage.pits("entry")) == len(stage.pits("exit")) == 1


def test_the_line_is_crossed_in_the_pit_lane() -> None:
    """With the line in the lane an in-lap ends seconds after the entry, with a lap time."""
    stage = boxed(Stage(), 2)
    stage.release(60)
    stage.run(until=900)
    entry = stage.pits("entry")[0]
    after = [fact for fact in stage.of(CarCrossed) if fact.t > entry]
    assert [fact.loop for fact in after] == ["line"]
    assert 3 < after[0].t - entry < 20
    assert after[0].lap_time_s is not None


def test_where_the_line_is_not_in_the_lane_the_lap_goes_on() -> None:
    """No crossing in the lane; the next lap time spans the in-lap, the stop and the out-lap; the number stays."""
    session = setup()
    outside = session.circuit.model_copy(update={"pit": session.circuit.pit.model_copy(update={"line_in_lane": False})})
    stage = boxed(Stage(session=session.model_copy(update={"circuit": outside})), 2)
    stage.release(60)
    stage.release(600)
    stage.run(until=900)
    entry, leaves = stage.pits("entry")[0], stage.pits("exit")[1]
    lines = [fact for fact in stage.of(CarCrossed) if fact.loop == "line"]
    assert not any(entry < fact.t < leaves for fact in lines)
    spanning = next(fact for fact in lines if fact.t > leaves)
    assert spanning.lap_time_s == pytest.approx(spanning.t - lines[1].t, abs=0.01)
    assert spanning.lap == 3
    assert [lap.kind for lap in stage.truth.laps[:4]] == ["out", "timed", "in", "out"]


def test_an_out_lap_has_no_first_sector_time() -> None:
    """The first loop after the pit exit comes without a sector time, the second one with it."""
    stage = Stage()
    stage.release(60)
    out = list(stage.run(until=300).of(CarCrossed))[:3]
    assert [fact.loop for fact in out] == ["1", "2", "line"]
    assert out[0].sector_time_s is None
    assert out[1].sector_time_s is not None
    assert out[2].lap_time_s is None


def test_lap_and_sector_times_agree_with_the_crossings() -> None:
    """A lap time is the time between two lines, and its sectors sum to it."""
    stage = Stage()
    stage.release(60)
    facts = sorted(stage.run(until=500).of(CarCrossed), key=lambda fact: fact.t)
    lines = [fact for fact in facts if fact.loop == "line"]
    lap = lines[1]
    sectors = [fact.sector_time_s or 0 for fact in facts if fact.lap == lap.lap]
    assert lap.lap_time_s == pytest.approx(lap.t - lines[0].t, abs=0.002)
    assert sum(sectors) == pytest.approx(lap.lap_time_s, abs=0.005)


def test_a_cool_down_lap_is_driven_when_asked() -> None:
    """Told during a timed lap, the next one is cool, and the one after it is timed again."""
    stage = Stage()
    stage.release(60)
    stage.on_line(1, lambda now: stage.prompt("cool", "lap_kind", now, wait=30, lap_kind="cool",
                                              act_at_s=now + 95))
    laps = stage.run(until=700).truth.laps
    assert [lap.kind for lap in laps[:4]] == ["out", "timed", "cool", "timed"]
    assert laps[2].time_s > 1.14 * laps[1].time_s


def test_cool_down_said_just_after_the_line_is_for_this_lap() -> None:
    """The lap has begun and the call was for its start: the driver backs off now."""
    stage = Stage()
    stage.release(60)
    stage.on_line(2, lambda now: stage.prompt("cool", "lap_kind", now, wait=1, lap_kind="cool", act_at_s=now))
    laps = stage.run(until=700).truth.laps
    assert [lap.kind for lap in laps[:4]] == ["out", "timed", "cool", "timed"]
    assert [lap.timed_number for lap in laps[:4]] == [None, 1, None, 2]


def test_unfinished_work_holds_the_car() -> None:
    """A second release right after the run is obeyed only when the crew is done."""
    stage = boxed(Stage(), 1)
    stage.release(60)
    stage.release(420, run="first")
    stage.run(until=900)
    second = stage.truth.releases[1]
    entry = stage.pits("entry")[0]
    assert second.reason is None or second.reason == "the work was not finished"
    assert second.left_s >= entry + 30


def test_a_release_for_a_car_on_track_is_ignored() -> None:
    """Nobody leaves a garage in which the car is not."""
    stage = Stage()
    stage.release(60)
    stage.say_at(200, "again", "leave", run="first")
    releases = stage.run(until=300).truth.releases
    assert releases[1].reason == "the car is not in the garage"
    assert releases[1].left_s is None


def test_the_session_ends_and_everything_stops() -> None:
    """A finite number of events; the flag, the close, a clock that runs on a little; then nothing."""
    stage = Stage(scenario(field={"cars": 6}), setup(10))
    stage.release(60)
    stage.run()
    assert stage.world.finished
    assert stage.clock.now() <= stage.world.ends_by_s
    shown = [fact.status for fact in stage.of(StatusChanged) if fact.status]
    assert shown == ["waiting", "green", "finished", "closed"]
    closed = next(fact.t for fact in stage.of(StatusChanged) if fact.status == "closed")
    assert stage.of(ClockReported)[-1].t - closed >= 60
    assert stage.of(CarPitted)[-1].t < closed


def test_a_started_timed_lap_may_be_finished() -> None:
    """The flag falls in mid-lap: the lap is finished, then the car comes in; where not allowed it comes in at once."""
    session = setup(10)
    strict = session.model_copy(
        update={"regulations": session.regulations.model_copy(update={"finish_started_lap": False})})
    kinds = []
    for given in (session, strict):
        stage = Stage(session=given)
        stage.release(60)
        laps = stage.run().truth.laps
        kinds.append([lap.kind for lap in laps if lap.end_s > 600])
    assert kinds == [["timed", "in"], ["in"]]


def test_the_clock_counts_down_once_a_second() -> None:
    """Waiting at full length, then one second at a time, zero after the flag, and never another rate than given."""
    stage = Stage(session=setup(10)).run()
    ticks = {fact.t: fact for fact in stage.of(ClockReported)}
    assert (ticks[-60].remaining_s, ticks[-60].running) == (600, False)
    assert [ticks[t].remaining_s for t in (0, 1, 100, 600, 610)] == [600, 599, 500, 0, 0]
    assert ticks[1].running
    assert not ticks[601].running
    assert {fact.rate for fact in ticks.values()} == {1.0}


def test_a_run_that_repeats_another_is_fuelled_like_it_and_on_its_tyres() -> None:
    """Without figures of its own the crew fills and fits what the run has that it repeats."""
    like = {"run": "first", "want": "must", "laps": "out, 8 timed, in", "fuel_kg": 30, "tyres": "B1"}
    again = {"run": "again", "want": "must", "laps": "out, 1 timed, in", "same_as": "first"}
    sets = {"A1": {"compound": "hard", "laps": 14}, "B1": {"compound": "medium"}}
    made = plan(runs=[like, again], tyre_sets=sets, starts_with={"tyres": "A1", "fuel_kg": 12})
    stage = boxed(Stage(session=setup(plans={CAR: made})), 2)
    stage.release(60, run="again")
    laps = stage.run(until=900).truth.laps
    assert (laps[0].fuel_kg, laps[0].tyre_laps) == (30, 0)


def test_tyres_are_as_old_as_the_laps_that_they_were_driven() -> None:
    """Out-laps and in-laps count: a set that did out, one timed, in leaves again with three laps more.

    Recorded timing feeds count so: a set that was driven out, four laps and in goes on with six.
    """
    sets = {"A1": {"compound": "hard", "laps": 14}}
    run = {"run": "first", "want": "must", "laps": "out, 1 timed, in", "tyres": "A1", "after_garage_s": [60, 90, 120]}
    stage = boxed(Stage(session=setup(plans={CAR: plan(runs=[run], tyre_sets=sets)})), 1)
    stage.release(60)
    stage.release(700)
    laps = stage.run(until=1000).truth.laps
    driven = len([lap for lap in laps if lap.end_s < 700])
    assert driven >= 2
    second = next(lap for lap in laps if lap.start_s > 700)
    assert second.tyre_laps == 14 + driven


def test_a_car_that_goes_on_with_a_run_has_what_is_left_of_its_fuel() -> None:
    """Called in, and out again for the same run: nobody fills it to the load that the run began with."""
    run = {"run": "first", "want": "must", "laps": "out, 6 timed, in", "fuel_kg": 30, "after_garage_s": [60, 90, 120]}
    stage = boxed(Stage(session=setup(plans={CAR: plan(runs=[run])})), 1)
    stage.release(60)
    stage.release(700)
    laps = stage.run(until=1000).truth.laps
    last = max((lap for lap in laps if lap.end_s < 700), key=lambda lap: lap.start_s)
    again = next(lap for lap in laps if lap.start_s > 700)
    assert laps[0].fuel_kg == 30
    assert 0 < last.fuel_kg - again.fuel_kg < 5
