"""What comes after the flag needs the car on track as it falls: it is readied, called out, kept out and called home.

Practice starts after the flag where the regulations list them: common practice, no source.
"""

from __future__ import annotations

from typing import Any

from pitwall.model.outputs import Alert
from pitwall.model.rules import Regulations
from tests.unit.engine_stage import MAIN, Stage, plan, regulations, setup

STARTS: dict[str, Any] = {"run": "starts", "want": "should", "after_flag": "allowed",
                          "items": [{"do": "standing_start", "times": 2, "at": "grid"}]}
OUT_S = 125.0
ON_TRACK_S = 1.5 + 10.0  # what the clock is unsure of, and three tenths of the lane after four seconds to roll
WINDOWS = [{"window": "one", "from": 0, "to": 1200}, {"window": "two", "from": 1800, "to": 3000}]


def all_done() -> Stage:
    """The only run is over at 636 s, and the car stands in its garage; the flag falls at 1200 s."""
    here = Stage(setup(plan(MAIN, STARTS), regulations=regulations(
        duration_s=1200, after_flag_items=("standing_start",)))).green().leave(200)
    t = here.lap(200, OUT_S, from_exit=True)
    here.home(here.lap(here.lap(t, 100), 100))
    return here


def next_is_later(**rules: Any) -> Stage:
    """The run of the plan is for the second window; the starts are for the flag of the first, at 1200 s."""
    made = Regulations.model_validate({
        "regulations": 1, "sessions": [{"session": "p1", "windows": WINDOWS}], "after_flag_items": ["standing_start"]})
    runs = plan(MAIN | {"window": "two"}, STARTS | {"window": "one"})
    return Stage(setup(runs, regulations=made)).green()


def said(here: Stage, since: float) -> list[str]:
    """Calls that came due from then on, each once, in short."""
    return [*{one.call: one.short for one in here.prompts("", "due") if one.t >= since}.values()]


READIED = ["Brief: starts", "Fire up", "Leave when clear"]
AFTER = ["Chequered flag", "grid: two standing starts", "Box this lap", "Box, box"]


def round_and_home(here: Stage, left: float) -> None:
    """One lap, on which the engineer tells of the starts, and the lap on which the car comes in."""
    for loop, t in (("1", left + 30), ("2", left + 80)):
        here.wait(t - 1)
        for call in here.car.book.begun_by(here.now):
            if "after-flag" in call.id:
                here.command("said", call=call.id)
        here.cross(t, loop)
    here.cross(left + OUT_S)
    here.home(left + OUT_S)
    here.wait(left + OUT_S + 150)


def driven(here: Stage) -> list[str]:
    """The car leaves 20 s before the flag, goes round, and comes in on the lap after; what was said from then on."""
    here.leave(1180)
    round_and_home(here, 1180)
    return said(here, 1180)


def test_with_no_run_left_the_car_is_readied_for_the_starts_and_called_out_for_them() -> None:
    """Brief, fire-up and release as for any run, counted back so that it is on track as the flag falls; it is told to
    leave no later than that. Whether it may is for the release controller and the light at the pit exit to say."""
    here = all_done()
    here.wait(1179)
    assert said(here, 640) == READIED
    leave, fire_up = here.call("starts-1-leave").spec, here.call("starts-1-fire-up").spec
    assert (leave.say_from_s, leave.say_by_s) == (1200 - ON_TRACK_S - 30, 1200 - ON_TRACK_S)
    assert fire_up.say_by_s == leave.say_by_s
    assert leave.caution == "The release controller and the pit exit light decide."
    assert here.call("starts-1-brief").spec.text.endswith(
        "After the flag: two standing starts at grid. Be on track when it falls.")


def test_a_car_that_left_for_the_starts_is_told_of_them_and_called_home_after_them() -> None:
    """No run of the plan is going on: on its one lap nobody says "box" before the flag, nor before the grid, and on the
    lap after the starts it is called in. The run that was done stays as it was."""
    here = all_done()
    assert driven(here) == AFTER
    here.status(1700, "closed")
    assert [(run.run.run, run.state, run.leavings) for run in here.car.progress.runs] == [
        ("main", "done", 1), ("starts", "done", 0)]
    assert not [one for one in here.made(Alert) if one.since_s > 640 and one.kind in (
        "stayed_out", "release_overdue")]


def test_the_run_of_a_later_window_is_not_begun_for_the_starts_of_this_flag() -> None:
    """The car is readied for the starts of the morning, leaves, does them and comes in: the run of the afternoon is
    still to come, and is briefed in its time. The block is over with its window, and was done."""
    here = next_is_later()
    here.wait(1179)
    assert [one for one in said(here, 0) if not one.startswith("Switch check")] == READIED
    assert driven(here) == AFTER
    here.wait(1790)
    assert [(run.run.run, run.state, run.leavings) for run in here.car.progress.runs] == [
        ("main", "next", 0), ("starts", "done", 0)]
    assert "Brief: main" in said(here, 1500)


def test_a_car_that_leaves_long_before_the_flag_does_not_leave_for_it() -> None:
    """With no run left it goes out once more, on nothing that the plan knows: nobody keeps it out till the flag."""
    here = all_done()
    here.leave(800)
    here.wait(880)
    assert here.car.legs == ()
    assert not here.has_call("starts-box")


def test_who_is_ready_too_late_is_not_called_out() -> None:
    """The pit exit stays closed until after the last moment to be on track at the flag."""
    here = all_done()
    here.status(700, None, pit_exit="closed")
    here.wait(1199)
    assert not here.prompts("starts-1-leave", "due")


def out_lap_too_late() -> Stage:
    """The car left 60 s before the flag: no timed lap can begin any more, and this is its in-lap."""
    return Stage(setup(plan(MAIN, STARTS), regulations=regulations(
        duration_s=260, after_flag_items=("standing_start",)))).green().leave(200)


def test_a_car_whose_lap_the_flag_takes_stays_out_for_what_comes_after_it() -> None:
    """Called in at once it would be in the pits as the flag falls, and the starts lost: nobody says "box" before the
    flag. After it the driver hears of the starts, and then is called in."""
    here = out_lap_too_late()
    here.wait(259)
    assert here.car.progress.runs[0].called_for_flag
    assert not here.prompts("box", "due")
    round_and_home(here, 200)
    assert said(here, 259) == AFTER


def test_whoever_wants_it_in_before_the_flag_has_it_called_in() -> None:
    """The command 'box' outweighs the starts."""
    here = out_lap_too_late()
    here.wait(212)
    here.command("box")
    here.wait(230)
    assert [one.short for one in here.prompts("box", "due")] == ["Box this lap"]
