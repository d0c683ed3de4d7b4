"""What is published when: the clock each second, desks as they change, states that stand whole."""

from __future__ import annotations

import itertools

import pytest

from pitwall.engine import publish
from pitwall.model.outputs import ClockState, DeskState, FieldState, PlanState, Prompt
from tests.unit.engine_stage import CHECKS, MAIN, SPARE, Stage, plan, setup


def stage() -> Stage:
    """One car, two runs, under green."""
    return Stage(setup(plan(MAIN | {"laps": "out, 2 timed, in"}, SPARE), field_cars=("7", "9"))).green()


def test_the_clock_goes_out_once_a_second() -> None:
    """On the whole second, with time left and status, also while nothing else happens."""
    made = stage().wait(60)
    clocks = [one for one in made.made(ClockState) if one.t >= 1]
    assert [one.t for one in clocks] == pytest.approx(list(range(1, 61)))
    assert [one.remaining_s for one in clocks[:2]] == [3599, 3598]
    assert clocks[0].status == "green"


def test_desks_do_not_flood() -> None:
    """However many facts come, two desk states of a car are half a second apart, and each change is told in the end."""
    made = stage().leave(200)
    for step in range(20):
        made.switch(201 + step * 0.05, "torque_map", 1 + step % 4)
    made.wait(210)
    desks = [one.t for one in made.made(DeskState)]
    assert all(b - a >= 0.5 - 1e-9 for a, b in itertools.pairwise(desks))
    torque = next(card for card in made.made(DeskState)[-1].switches if card.switch == "torque_map")
    assert torque.measured == 1 + 19 % 4


def test_the_field_goes_out_every_few_seconds_with_every_car() -> None:
    """Ours and the others', by what was followed of them; strangers join when they are first seen."""
    made = stage()
    made.cross(90, "line", car="7")
    made.cross(190, "line", car="7")
    made.cross(195, "1", car="123")
    made.wait(205)
    field = made.made(FieldState)[-1]
    cars = {car.car: car for car in field.cars}
    assert set(cars) == {"41", "7", "9", "123"}
    assert (cars["7"].last_lap_s, cars["7"].best_lap_s, cars["7"].state) == (100, 100, "timed")
    assert (cars["9"].state, cars["123"].state) == ("garage", "out")
    ages = [one.t for one in made.made(FieldState)]
    assert max(b - a for a, b in itertools.pairwise(ages)) <= 6


def test_the_desk_state_tells_where_the_car_is() -> None:
    """Run, lap, kind and the lap of the run; lap times; arrivals ahead in order; margin to the flag."""
    made = stage()
    t = made.drive(200, 125, 100)
    made.cross(t + 30, "1")
    made.wait(t + 31)
    desk = made.made(DeskState)[-1]
    assert (desk.run, desk.state, desk.lap_kind, desk.lap_of_run) == ("main", "timed", "timed", "timed lap 2")
    assert (desk.lap_number, desk.last_lap_s, desk.best_lap_s) == (3, 100, 100)
    assert [one.place for one in desk.arrivals] == ["loop 2", "last place for the pit entry", "pit entry", "line"]
    assert [one.at_s for one in desk.arrivals] == pytest.approx([t + 70, t + 93, t + 95, t + 100])
    assert desk.flag_margin_s == pytest.approx(3600 - (t + 100), abs=0.2)


def test_the_desk_state_tells_that_the_track_is_wet() -> None:
    """As the event file has it, until the plan is changed over."""
    for wet in (False, True):
        stage = Stage(setup(plan(MAIN), wet=wet)).green()
        assert stage.made(DeskState)[-1].wet is wet


def test_in_the_garage_the_desk_shows_the_next_run() -> None:
    """No lap, no arrivals, no margin; the run that comes next and the switches it starts with."""
    made = stage().wait(10)
    desk = made.made(DeskState)[-1]
    assert (desk.run, desk.state, desk.lap_kind, desk.lap_of_run) == ("main", "garage", None, None)
    assert (desk.arrivals, desk.flag_margin_s, desk.last_lap_s) == ((), None, None)


def test_under_red_there_is_no_margin() -> None:
    """Nobody starts a timed lap then."""
    made = stage().leave(200)
    made.status(230, "red")
    made.wait(231)
    assert made.made(DeskState)[-1].flag_margin_s is None


def test_the_plan_lays_its_runs_out_in_time() -> None:
    """A run ahead is expected after the work before it; the one on track from when it left; done ones really were."""
    made = stage()
    spans = {run.run: run.expected_span_s for run in made.made(PlanState)[-1].runs}
    main, spare = spans["main"], spans["spare"]
    assert main is not None
    assert spare is not None
    assert main[1] - main[0] == pytest.approx(125 + 200 + 118)
    assert spare[0] == pytest.approx(main[1] + 300)
    t = made.home(made.drive(200, 125, 100, 100))
    done, ahead = made.made(PlanState)[-1].runs
    assert (done.state, done.actual_span_s, done.timed_done) == ("done", (200, t), 2)
    assert done.expected_span_s is None
    assert ahead.expected_span_s is not None
    assert ahead.expected_span_s[0] == pytest.approx(t + 300)


def test_the_plan_is_told_when_it_changes_and_at_its_laps() -> None:
    """Leaving, each lap, coming in, commands: not every second."""
    made = stage().wait(199)
    before = len(made.made(PlanState))
    made.drive(200, 125)
    assert len(made.made(PlanState)) == before + 2
    made.command("extend")
    assert len(made.made(PlanState)) == before + 3
    assert made.made(PlanState)[-1].revision > made.made(PlanState)[-2].revision


def test_what_stands_is_whole() -> None:
    """After a reconnection: clock, desk and plan of each car, prompts on the stack or just over as told, the field."""
    made = stage().leave(200).wait(230)
    standing = made.session.standing()
    assert [type(one).__name__ for one in standing[:3]] == ["ClockState", "DeskState", "PlanState"]
    assert standing[-1].type == "field_state"
    prompts = {one.id: one for one in standing if isinstance(one, Prompt)}
    told = {one.id: one for one in made.made(Prompt)}
    assert prompts
    assert all(told[name].model_dump(exclude={"t"}) == one.model_dump(exclude={"t"}) for name, one in prompts.items())
    ended = {one.call for one in prompts.values() if one.state not in ("shown", "due")}
    assert all(made.car.book.calls[call].at_rest or made.car.book.calls[call].state == "said" for call in ended)


def test_ids_of_states_name_car_and_moment() -> None:
    """No state is published twice under one id with other content."""
    made = stage()
    made.drive(200, 125, 100)
    seen: dict[str, object] = {}
    for one in made.outputs:
        if isinstance(one, DeskState | PlanState | ClockState | FieldState):
            assert seen.setdefault(one.id, one) == one


def test_the_margin_and_the_spans_need_no_car_on_track() -> None:
    """Built from a session that has not begun as well."""
    made = Stage(setup(plan(CHECKS)))
    assert publish.flag_margin(made.car, made.session.clock, made.now) is None
    assert publish.plan_state(made.car, made.now).runs[0].state == "next"


def test_the_running_lap_says_where_the_car_is_and_how_sure_that_is() -> None:
    """On track: a share of the lap that grows with time, give or take some seconds; in the garage nothing."""
    made = stage().leave(200)
    made.cross(320, "line")
    for at, (loop, t) in enumerate((("1", 350), ("2", 390), ("line", 420)) * 2):
        made.cross(t + 100 * (at // 3), loop)
    made.wait(540)
    laps = [one.running_lap for one in made.made(DeskState)]
    assert laps[0] is None
    running = [lap for lap in laps if lap is not None and lap.kind == "timed"]
    assert all(lap.here is not None for lap in running)
    last = [lap for lap in running if lap.begun_s == running[-1].begun_s]
    assert [lap.here for lap in last] == sorted(lap.here or 0.0 for lap in last)
    sure = [lap for lap in running if lap.here_within_s is not None and lap.line_within_s is not None]
    assert sure
    assert all(0.0 <= (lap.here_within_s or 0.0) <= (lap.line_within_s or 0.0) + 0.5 for lap in sure)
