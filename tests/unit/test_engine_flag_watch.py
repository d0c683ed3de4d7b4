"""A timed lap that can no longer start before the flag: raised when it is sure, with what can still be done."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.model.outputs import Alert
from tests.unit.engine_stage import MAIN, SPARE, Stage, plan, regulations, setup

OUT_S = 118.75  # an out-lap from the pit exit to the line, at the usual 1.25 times the lap


def stage(flag_s: float, *, laps: str = "out, 2 timed, in", finish: bool = True, unsure: float = 1.5) -> Stage:
    """An hour of which the official clock, once the car has left at 200 s, shows as much as is left to this flag."""
    rules = regulations(finish_started_lap=finish, clock_uncertainty_s=unsure)
    here = Stage(setup(plan(MAIN | {"laps": laps, "want": "could"}), regulations=rules)).green().leave(200)
    here.clock(200.1, flag_s - 200.1)
    return here


def told(here: Stage) -> list[Alert]:
    """Every alert of this kind as it changed."""
    return [one for one in here.made(Alert) if one.kind == "misses_flag"]


def test_an_out_lap_that_ends_well_before_the_flag_is_no_alert() -> None:
    """Half a minute in hand: nothing is told."""
    here = stage(200 + OUT_S + 30)
    here.wait(200 + OUT_S - 5)
    assert told(here) == []


def test_far_too_late_even_at_a_quick_pace_means_box() -> None:
    """The flag falls a minute before the line: told at the next look, with both times."""
    here = stage(260.0)
    here.wait(206)
    (alert,) = told(here)
    assert (alert.priority, alert.active) == ("medium", True)
    assert alert.text.startswith("Car 41 reaches the line at 5:")
    assert alert.text.endswith("the flag falls at 4:20: no timed lap any more, box")


def test_who_cannot_start_a_timed_lap_any_more_is_called_in_and_not_sent_on_one() -> None:
    """Nobody hears of two timed laps that are none, or sets a switch for them; the box is called while it can be made,
    and the run ended by the flag."""
    here = stage(260.0)
    here.wait(240)
    asked = {call.spec.ask.action for call in here.car.book.calls.values() if call.spec.leg is not None
             and call.open}
    assert "set_switch" not in asked
    assert asked >= {"box"}
    assert here.call("main-box-1-0").state in ("due", "unconfirmed")
    here.home(200, 140, from_exit=True)
    run = here.car.progress.find("main")
    assert run is not None
    assert (run.reason, run.timed_done, run.by_flag) == ("chequered flag", 0, True)


def test_what_somebody_decides_of_a_car_that_was_called_in_for_the_flag_stands() -> None:
    """One lap more, for the regulations of the day may know another end: it is not called in a second time."""
    here = stage(260.0).wait(215)
    assert here.car.progress.current is not None
    assert here.car.progress.current.called_in
    here.command("extend", laps=1)
    here.wait(250)
    assert not here.car.progress.current.called_in


@pytest.mark.parametrize("wanted", [False, True])
def test_a_car_that_was_called_in_for_a_flag_that_falls_later_goes_on(wanted: bool) -> None:
    """The clock was wrong for some seconds, or the session is made longer: nobody loses a run for it, and a driver who
    was told to come in is told to stay out. Whom somebody at the desk wants in comes in."""
    here = stage(3000.0).wait(230)
    here.clock(231, 10)
    here.wait(237)
    run = here.car.progress.current
    assert run is not None
    assert run.called_in
    here.command("said", call=here.call("main-box-1-0").id)
    if wanted:
        here.command("box")
    here.clock(240, 2760)
    here.wait(246)
    assert (run.called_in, here.has_call("stay-out")) == (wanted, not wanted)
    assert told(here)[-1].active is wanted
    if not wanted:
        here.lap(200, OUT_S, from_exit=True)
        assert (here.car.track.state, run.expected_kind, run.called_for_flag) == ("timed", "timed", False)


@pytest.mark.parametrize("more_s", [1.0, 100.0])
def test_a_flag_that_falls_a_little_later_lets_nobody_go_on(more_s: float) -> None:
    """By less than the clock is sure of, or by too little for a timed lap: box it stays."""
    here = stage(3000.0).wait(230)
    here.clock(231, 10)
    here.wait(237)
    here.clock(240, 1 + more_s / 2)
    here.wait(246)
    assert here.car.progress.current is not None
    assert here.car.progress.current.called_in


def test_a_quick_driver_may_make_it_and_is_not_called_in() -> None:
    """Too late at the usual pace alone: the plan stands as long as a quick lap would do."""
    here = stage(200 + OUT_S - 12).wait(215)
    assert here.car.progress.current is not None
    assert not here.car.progress.current.called_in


def test_too_late_at_this_pace_but_not_at_a_quick_one_means_push() -> None:
    """An out-lap of the usual length misses the flag by twelve seconds; a quick lap from here would make it."""
    here = stage(200 + OUT_S - 12)
    here.wait(206)
    (alert,) = told(here)
    assert alert.text.endswith("push to start another timed lap, or box")


def test_within_the_doubt_nothing_is_told_until_it_is_sure() -> None:
    """Two seconds late at the start of the lap is not sure; loops passed ever later make it so."""
    here = stage(200 + OUT_S - 2)
    here.wait(215)
    assert told(here) == []
    here.cross(200 + OUT_S * 0.25 / 0.95 + 3, "1")
    here.cross(200 + OUT_S * 0.65 / 0.95 + 8, "2")
    here.wait(here.now + 6)
    assert {(one.active, one.since_s > 230) for one in told(here)} == {(True, True)}


def test_it_is_over_only_when_the_line_comes_before_the_flag() -> None:
    """The driver pushes after the alert: back within the doubt it stands, in front of the flag it is over."""
    here = stage(200 + OUT_S - 12)
    here.wait(206)
    here.cross(216, "1")
    here.wait(222)
    assert [one.active for one in told(here)][-1] is False


def test_a_lap_that_may_not_be_finished_after_the_flag_must_end_before_it() -> None:
    """Eighty seconds in hand at the line: enough to start a lap of a hundred, not to finish it."""
    assert told(stage(200 + OUT_S + 80).wait(206)) == []
    assert [one.active for one in told(stage(200 + OUT_S + 80, finish=False).wait(206))] == [True]


@pytest.mark.parametrize("laps", ["out-in"])
def test_a_run_without_a_timed_lap_has_nothing_to_miss(laps: str) -> None:
    """An installation lap may end after the flag."""
    here = stage(300, laps=laps)
    here.wait(299)
    assert told(here) == []


def test_a_cool_down_lap_before_another_timed_lap_counts_as_an_out_lap_does() -> None:
    """Timed, cool-down, timed: on the cool-down lap the flag comes before the line."""
    here = stage(480, laps="out, 1 timed, cool, 1 timed, in")
    here.lap(200.5, 119.5, from_exit=True)
    here.lap(320, 100)
    here.wait(475)
    assert [one.active for one in told(here)] == [True]
    assert told(here)[0].t < 440


def test_the_flag_ends_it() -> None:
    """What cannot be changed any more is off the screens."""
    here = stage(260.0)
    here.wait(206)
    here.status(260, "finished")
    here.wait(267)
    assert [one.active for one in told(here)] == [True, False]


def test_under_red_it_is_not_told() -> None:
    """Everybody comes in: nobody starts a lap."""
    here = stage(290.0)
    here.status(204, "red", pit_exit="closed")
    here.wait(250)
    assert told(here) == []


def garage(*runs: dict[str, Any], flag_s: float) -> Stage:
    """Cars that stand in the garage, with this session length."""
    return Stage(setup(plan(*runs), regulations=regulations(duration_s=flag_s))).green()


def test_a_car_about_to_leave_too_late_is_kept_in() -> None:
    """A run that is nice to have, released eighty seconds before the flag: told from the brief on, before it leaves."""
    late = SPARE | {"release": {"not_before": 500.0}}
    here = garage(late, flag_s=580)
    here.wait(255)
    assert told(here) == [], "the brief is not due yet"
    here.wait(270)
    (alert,) = told(here)
    assert alert.text.startswith("Car 41: spare would start its first timed lap at 10:")
    assert alert.text.endswith("keep it in, or use the time for something else")
    here.command("keep_in")
    here.wait(280)
    assert [one.active for one in told(here)] == [True, False]


def test_in_the_garage_an_overrun_says_it_already() -> None:
    """A must that the forecast calls lost is told once, as an overrun."""
    late = MAIN | {"release": {"not_before": 500.0}}
    here = garage(late, flag_s=580)
    here.session.alerts.hold("overrun", "41", "main fits in 0%", here.now, "green")
    here.wait(300)
    assert told(here) == []


def test_a_release_after_the_flag_is_no_alert_of_this_kind() -> None:
    """The work lasts beyond the flag: nobody is about to send the car."""
    here = garage(SPARE | {"release": {"not_before": 500.0}}, flag_s=450)
    here.wait(440)
    assert told(here) == []


def test_a_car_not_seen_at_the_next_loop_is_no_nearer_to_the_line() -> None:
    """On time at the first loop, then unseen, while others are seen: from there it cannot make the flag any more.

    Where no other car shows that the feed speaks, nothing is known.
    """
    for others, active in ((True, [True]), (False, [])):
        here = stage(200 + OUT_S + 20)
        here.cross(200 + OUT_S * 0.25 / 0.95, "1")
        for t in range(240, 330, 10):
            if others:
                here.cross(float(t), "line", car=str(t))
        here.wait(330)
        assert sorted({one.active for one in told(here)}) == active


@pytest.mark.parametrize(("silent_to", "told_within"), [(0, (460, 500)), (410, (525, 545)), (540, None)])
def test_a_car_that_was_to_leave_while_the_timing_was_silent_may_be_out(
    silent_to: float, told_within: tuple[float, float] | None
) -> None:
    """Due to leave at 400 s and not seen to: soon it cannot make the flag any more. Where the timing was silent then
    it may have left, so nothing is told before it would have been seen."""
    here = garage(SPARE | {"release": {"not_before": 400.0}}, flag_s=580)
    for number, t in enumerate(range(300, 580, 10)):
        if not 320 < t < silent_to:
            here.cross(t, "12"[number % 2], car="7")
    raised = [one.since_s for one in told(here) if one.active]
    assert not raised if told_within is None else told_within[0] <= raised[0] <= told_within[1]
