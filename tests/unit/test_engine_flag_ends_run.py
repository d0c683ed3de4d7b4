"""A run that a flag ended was not meant to be over: it counts with all its laps, or with as many as the plan says."""

from __future__ import annotations

import pytest

from pitwall.engine.progress import PlanProgress
from pitwall.engine.run_state import RunState
from pitwall.forecast.futures import forecast
from pitwall.model.events import ForecastReady
from pitwall.model.outputs import ForecastState, ForecastWanted
from pitwall.model.plan import LapKind
from tests.unit.engine_stage import MAIN, SPARE, Stage, plan, regulations, setup

FOUR = MAIN | {"laps": "out, 4 timed, in"}


def late(*lap_s: float, begin: float, shorten_to: int | None = None) -> tuple[Stage, float]:
    """A car that leaves for the run with four timed laps, and these laps of it; the stage and the last line."""
    stage = Stage(setup(plan(FOUR | {"shorten_to": shorten_to}, SPARE))).green()
    return stage, stage.drive(begin, 120, *lap_s)


def main_of(stage: Stage) -> RunState:
    """The run, as it stands."""
    found = stage.car.progress.find("main")
    assert found is not None
    return found


@pytest.mark.parametrize(("shorten_to", "counts"), [(None, False), (4, False), (3, True)])
def test_the_last_flag_ends_a_run_that_was_to_go_on(shorten_to: int | None, counts: bool) -> None:
    """The third of four timed laps was begun before the flag and finished: three count where the plan says so, and
    nowhere else. Half of them are enough only for a run that somebody ended."""
    stage, t = late(100, 100, 100, begin=3270, shorten_to=shorten_to)
    stage.home(t)
    run = main_of(stage)
    assert (run.state, run.counts, run.timed_done) == ("done", counts, 3)
    stage.wait(3900)
    stage.status(3900, "closed")
    assert (run.state, run.counts) == ("done", counts)
    assert run.reason == ("ended early, still counts" if counts else "chequered flag")


def test_a_car_that_was_called_in_before_the_flag_had_ended_its_run() -> None:
    """The flag fell on the in-lap that the desk had ordered: half of the laps count, as at any other time."""
    stage, t = late(100, 100, begin=3260)
    stage.command("box", t + 5)
    stage.home(t)
    assert t + 5 < 3600 < stage.now
    assert (main_of(stage).state, main_of(stage).counts, main_of(stage).timed_done) == ("done", True, 2)


def test_a_run_that_a_red_flag_cut_and_that_is_never_resumed_does_not_count() -> None:
    """Two of four laps were driven when the red came, and there was no time left for the others."""
    stage, t = late(100, 100, begin=2900)
    stage.status(t + 20, "red")
    stage.home(t)
    assert main_of(stage).state == "next"
    stage.status(3500, "green", pit_exit="open")
    stage.wait(3900)
    stage.status(3900, "closed")
    assert (main_of(stage).state, main_of(stage).counts) == ("done", False)


def test_the_laps_that_the_flag_took_are_those_that_are_left_of_the_run() -> None:
    """The timed lap that had begun was finished, then the car was told to come in. The rest begins with the next timed
    lap, and what was to be done on it had no lap any more; what was said and done on the in-lap is done."""
    items = [{"do": "flap_lap", "on": {"timed": 2}}, {"do": "comment", "on": "in"}]
    run = MAIN | {"laps": "out, 1 timed, cool, 1 timed, in", "items": items}
    stage = Stage(setup(plan(run, SPARE))).green()
    t = stage.drive(3400, 120, 100)
    stage.wait(t + 20)
    stage.command("said", call=stage.call("comment").id)
    stage.home(t)
    assert t > 3600
    assert main_of(stage).resume_at == 3
    stage.wait(3900)
    stage.status(3900, "closed")
    assert [(one.state, one.reason) for one in main_of(stage).items] == [
        ("not_done", "the run ended before its lap"), ("done", "said; nothing speaks against it")]


def test_what_was_said_on_the_in_lap_that_the_desk_ordered_is_done() -> None:
    """Called in before its planned in-lap, the car has an in-lap all the same."""
    run = FOUR | {"items": [{"do": "comment", "on": "in"}]}
    stage = Stage(setup(plan(run, SPARE))).green()
    t = stage.drive(1000, 120, 100, 100)
    stage.command("box", t + 2)
    stage.wait(t + 90)
    assert (main_of(stage).items[0].state, stage.call("comment").state) == ("called", "unconfirmed")
    stage.home(t)
    assert main_of(stage).items[0].state == "probably_done"


def test_the_forecast_names_the_must_that_is_lost() -> None:
    """It asks of what is still to come, and a must that is over is no part of that: without its name the chance of the
    musts would be 100 % in the minute in which one was lost."""
    stage, t = late(100, begin=1000)
    stage.leave(stage.home(t) + 400)
    stage.wait(stage.now + 130)
    assert (main_of(stage).state, main_of(stage).counts) == ("done", False)
    asked = stage.made(ForecastWanted)[-1]
    stage.handle(ForecastReady(id="ready", t=stage.now, revision=asked.revision, answer=forecast(asked)))
    told = stage.made(ForecastState)[-1]
    assert (told.outlook.musts_chance, told.musts_lost) == (1.0, ("main",))


def test_a_session_that_goes_on_after_its_flag_has_not_ended_the_run() -> None:
    """Its time ran out by our clock, then the track was green again with half an hour left: an extension. The car that
    comes in after one of six laps goes on with them."""
    six = plan(MAIN | {"laps": "out, 6 timed, in"}, SPARE)
    stage = Stage(setup(six, regulations=regulations(duration_s=300.0))).green()
    stage.drive(100, 120, 90)
    stage.wait(305)
    assert stage.session.clock.status == "finished"
    stage.status(310, "green")
    stage.clock(311, 2000.0)
    stage.pit(395, "entry")
    stage.wait(420)
    assert (main_of(stage).state, main_of(stage).timed_done, main_of(stage).counts) == ("next", 1, True)


@pytest.mark.parametrize("after", [("green",), ("red", "green")])
def test_a_flag_entered_wrongly_and_put_right_by_a_second_word_has_not_ended_the_run(after: tuple[str, ...]) -> None:
    """Nobody took the word back; the right one was entered after it."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 6 timed, in"}, SPARE))).green()
    stage.drive(100, 120, 90)
    stage.wait(320)
    stage.command("status", status="finished", text="sure")
    assert stage.session.clock.status == "finished"
    for second, status in enumerate(after):
        stage.wait(323 + 3 * second)
        stage.command("status", status=status, text="sure")
    stage.pit(395, "entry")
    stage.wait(420)
    assert (main_of(stage).state, main_of(stage).timed_done, main_of(stage).counts) == ("next", 1, True)


def test_a_red_flag_ends_no_later_leaving_of_the_run() -> None:
    """Red cut it after one of five; it went on, and the car was taken for the later run after three: half of them
    count, as no flag had to do with that."""
    progress = PlanProgress(plan(MAIN | {"laps": "out, 5 timed, in"}, SPARE,
                                 MAIN | {"run": "long", "laps": "out, 9 timed, in"}))
    main = progress.runs[0]
    progress.leave(100)
    progress.lap_done("out")
    progress.lap_done("timed")
    progress.come_in(300, red=True)
    assert main.by_flag
    progress.leave(600)
    kinds: tuple[LapKind, ...] = ("out", "timed", "timed", "timed")
    for kind in kinds:
        progress.lap_done(kind)
    progress.realign(900, since_stop=1)
    assert (main.state, main.timed_done, main.by_flag, main.counts) == ("done", 3, False, True)
