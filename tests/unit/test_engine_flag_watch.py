"""A timed lap that can no longer start before the flag: raised when it is sure, with what can still be done."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.model.outputs import Alert
from pitwall.model.rules import Regulations
from tests.unit.engine_stage import MAIN, SPARE, Stage, plan, regulations, setup

OUT_S = 118.75  # an out-lap from the pit exit to the line, at the usual 1.25 times the lap
QUICK_OUT_S = 0.86 * 1.25 * 100.0  # the quickest usual out-lap, reckoned as if it began at the line


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


def test_who_has_something_to_do_after_the_flag_may_stay_out_for_it() -> None:
    """"Box" alone would have lost the starts, and nobody would have been told."""
    rules = regulations(duration_s=260, after_flag_items=["standing_start"])
    here = Stage(setup(plan(MAIN, STARTS), regulations=rules)).green().leave(200)
    here.wait(206)
    assert told(here)[-1].text.endswith("no timed lap any more, stay out for starts after it, or box")


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


def readied(here: Stage) -> set[str]:
    """Garage calls that wait to be said or are due."""
    return {call.id for call in here.car.book.calls.values() if call.spec.lap == "garage" and call.open}


def test_a_run_that_is_to_leave_after_the_flag_can_no_longer_start_a_timed_lap() -> None:
    """The plan holds it back beyond the flag: told once, at the last moment at which a person might send it."""
    here = garage(SPARE | {"release": {"not_before": 500.0}}, flag_s=450)
    last = 450 + 1.5 - QUICK_OUT_S
    here.wait(last - 6)
    assert [one.text for one in told(here) if "can no longer" in one.text] == []
    here.wait(445)
    sure = [one for one in told(here) if "can no longer" in one.text]
    assert [one.text for one in sure] == [
        "Car 41: spare can no longer start a timed lap, the flag falls at 7:30: keep it in"
    ]
    assert last <= sure[0].t <= last + 31, "words that stand are changed every half a minute at the most"
    assert readied(here) == set()


def parked(flag_s: float, *, work_s: Any = 300, **of_spare: Any) -> tuple[Stage, float]:
    """The car came in from its first run, and stands in the garage. Also when it was in the lane."""
    here = garage(MAIN | {"after_garage_s": work_s}, SPARE | of_spare, flag_s=flag_s)
    here.leave(200)
    t = here.lap(200, OUT_S, from_exit=True)
    t = here.lap(here.lap(t, 100), 100)
    return here, here.home(t)


def test_nobody_readies_a_car_for_a_run_that_can_have_no_timed_lap() -> None:
    """In at 10:31, out again after five minutes of work: even after quick work and a quick out-lap the flag is out.

    It is told once, when the brief would have been due, and no call of the garage is made for it.
    """
    here, parked_t = parked(flag_s=900)
    here.wait(880)
    assert [one.text for one in told(here)] == [
        "Car 41: spare can no longer start a timed lap, the flag falls at 15:00: keep it in"
    ]
    assert told(here)[0].t <= parked_t + 300 - here.car.setup.calls.brief_s + 6
    assert readied(here) == set()
    assert not here.prompts("spare-1-", "due")


def test_a_run_that_fits_after_quick_work_is_readied_and_never_called_out_too_late() -> None:
    """Work of usually five minutes, two when quick: the brief is read out, for the crew may be quick. Nobody is told
    to fire up for a leaving that is too late, and what has no use after the last moment is gone by then."""
    here, parked_t = parked(flag_s=1000, work_s=[120, 300, 480])
    last = 1000 + 1.5 - QUICK_OUT_S
    assert parked_t + 300 > last > parked_t + 120
    here.wait(parked_t + 60)
    assert here.has_call("spare-1-brief")
    here.wait(last - 1)
    assert all(call.spec.say_by_s <= last for call in here.car.book.calls.values() if call.spec.run == "spare")
    here.wait(990)
    assert not here.has_call("spare-1-fire-up")
    assert not here.has_call("spare-1-leave")
    assert readied(here) == set()
    assert told(here)[-1].text.startswith("Car 41: spare can no longer start a timed lap")


def test_a_car_that_has_time_for_one_timed_lap_is_called_out_with_that_as_its_deadline() -> None:
    """Ready a minute before the last moment: fire up and leave are of use until then, and not for four minutes."""
    last = 1000 + 1.5 - QUICK_OUT_S
    here, parked_t = parked(flag_s=1000, work_s=260)
    here.wait(parked_t + 261)
    leave = here.call("spare-1-leave")
    assert leave.state == "due"
    assert parked_t + 260 < leave.spec.say_by_s == pytest.approx(last)
    assert here.call("spare-1-fire-up").spec.say_by_s == pytest.approx(last)


def test_a_car_that_did_not_leave_is_not_called_again_once_it_is_too_late() -> None:
    """Called, and it stands here still: with the last moment past its calls are gone, and that is told."""
    here, _ = parked(flag_s=1000, work_s=200)
    for number, t in enumerate(range(640, 1000, 10)):
        here.cross(t, "12"[number % 2], car="7")  # the timing speaks: it would have been seen
    here.wait(995)
    assert readied(here) == set()
    assert here.call("spare-1-leave").state != "due"
    assert [one.active for one in told(here) if "can no longer" in one.text] == [True]


def test_where_the_flag_moves_back_the_car_is_called_out_after_all() -> None:
    """The session is made longer: what was too late is none any more."""
    here, _ = parked(flag_s=900)
    here.wait(800)
    assert readied(here) == set()
    here.clock(801, 1200)
    here.wait(1000)
    assert here.has_call("spare-1-leave")
    assert told(here)[-1].active is False


def test_a_run_without_a_timed_lap_may_leave_until_the_flag_and_not_after_it() -> None:
    """Out and straight in, as a system check: of use until the flag, and called no longer than that."""
    here, parked_t = parked(flag_s=1000, work_s=320, laps="out-in")
    here.wait(parked_t + 330)
    assert here.call("spare-1-leave").spec.say_by_s == pytest.approx(1000)
    assert told(here) == []


def test_in_the_garage_an_overrun_says_it_until_the_last_moment_is_past() -> None:
    """The forecast gave a must few chances: that it has none left is told all the same."""
    here = garage(MAIN | {"release": {"not_before": 500.0}}, flag_s=580)
    here.session.alerts.hold("overrun", "41", "main fits in 40%", here.now, "green")
    last = 580 + 1.5 - QUICK_OUT_S
    here.wait(last - 1)
    assert told(here) == []
    here.wait(last + 6)
    assert [one.active for one in told(here)] == [True]


@pytest.mark.parametrize(("bound", "told_to"), [({}, []), ({"window": "two"}, []), ({"window": "one"}, [True])])
def test_a_run_that_waits_for_the_next_window_does_not_miss_the_flag_of_this_one(
    bound: dict[str, str], told_to: list[bool]
) -> None:
    """It leaves two minutes after that flag, as the next window opens, and its brief is due before it. One that is
    bound to this window has no other."""
    windows = [{"window": "one", "from": 0, "to": 1000}, {"window": "two", "from": 1120, "to": 2200}]
    rules = {"regulations": 1, "sessions": [{"session": "p1", "windows": windows}]}
    runs = plan(SPARE | {"release": {"not_before": 920.0}} | bound)
    here = Stage(setup(runs, regulations=Regulations.model_validate(rules))).green().wait(895)
    assert [one.active for one in told(here)][:1] == told_to


STARTS = {"run": "starts", "want": "should", "after_flag": "allowed",
          "items": [{"do": "standing_start", "times": 2, "at": "grid"}]}  # fmt: skip


def with_starts(flag_s: float, work_s: Any, allowed: tuple[str, ...] = ("standing_start",)) -> Stage:
    """The car came in from its first run; a run with a timed lap is left, and standing starts after the flag."""
    rules = regulations(duration_s=flag_s, after_flag_items=allowed)
    runs = (MAIN | {"after_garage_s": work_s}, SPARE, STARTS)
    here = Stage(setup(plan(*runs), regulations=rules)).green().leave(200)
    t = here.lap(200, OUT_S, from_exit=True)
    here.home(here.lap(here.lap(t, 100), 100))
    return here


def test_what_comes_after_the_flag_still_sends_the_car_out_before_it() -> None:
    """No timed lap any more, but starts after the flag need the car on track as it falls: told with the last moment
    to leave, briefed for that and not for the run, and called out in time, never later than that."""
    here = with_starts(900, 200)
    by_s = 900 - 1.5 - 10.0  # what the clock is unsure of, and three tenths of the lane after four seconds to roll
    here.wait(888)
    assert [one.text for one in told(here) if "no longer" in one.text][-1] == (
        "Car 41: spare can no longer start a timed lap, but starts after the flag needs it on track: "
        "it has to leave by 14:48"
    )
    assert here.call("starts-1-brief").spec.text == (
        "No timed lap any more. After the flag: two standing starts at grid. Be on track when it falls."
    )
    leave = here.call("starts-1-leave")
    assert (leave.spec.say_from_s, leave.spec.say_by_s) == (pytest.approx(by_s - 30), pytest.approx(by_s))
    assert here.prompts("starts-1-leave", "due")
    assert here.call("starts-1-fire-up").spec.say_by_s == pytest.approx(by_s)
    here.leave(885)
    here.status(900, "finished")
    here.wait(930)
    assert here.call("starts-1-standing_start-0-after-flag").spec.text.startswith("Grid: two standing starts")


@pytest.mark.parametrize(("work_s", "allowed"), [(300, ("standing_start",)), (200, ())])
def test_no_car_is_called_out_for_starts_that_cannot_be(work_s: float, allowed: tuple[str, ...]) -> None:
    """The work is over after the flag, or the regulations list no such item. By when it would have to leave is told
    as long as there is time: whoever stands beside the car may know better."""
    here = with_starts(900, work_s, allowed).wait(880)
    assert ("it has to leave by 14:48" in told(here)[-1].text) is bool(allowed)
    here.wait(896)
    assert readied(here) == set()
    assert not here.has_call("starts-")
    here.wait(899)
    assert told(here)[-1].text.endswith("the flag falls at 15:00: keep it in") is not allowed


def test_with_all_runs_done_the_car_is_still_needed_for_starts() -> None:
    """No run is left that would take it out: that it has to leave, and by when, is told four minutes before."""
    rules = regulations(duration_s=1200, after_flag_items=("standing_start",))
    here = Stage(setup(plan(MAIN, STARTS), regulations=rules)).green().leave(200)
    t = here.lap(200, OUT_S, from_exit=True)
    here.home(here.lap(here.lap(t, 100), 100))
    by_s = 1200 - 1.5 - 10.0
    here.wait(by_s - 245)
    assert told(here) == []
    here.wait(by_s - 234)
    assert [one.text for one in told(here)] == [
        "Car 41: starts after the flag needs it on track: it has to leave by 19:48"
    ]
    here.leave(1180)
    here.wait(1192)
    assert told(here)[-1].active is False


def test_with_the_next_run_in_another_window_the_car_is_still_needed_for_starts() -> None:
    """The starts are for the flag of the morning, and the run that comes next is for the afternoon."""
    windows = [{"window": "one", "from": 0, "to": 1000}, {"window": "two", "from": 1600, "to": 2600}]
    rules = {"regulations": 1, "sessions": [{"session": "p1", "windows": windows}],
             "after_flag_items": ["standing_start"]}
    runs = plan(MAIN | {"window": "two"}, STARTS | {"window": "one"})
    here = Stage(setup(runs, regulations=Regulations.model_validate(rules))).green().wait(900)
    assert [one.text for one in told(here)] == [
        "Car 41: starts after the flag needs it on track: it has to leave by 16:28"
    ]


def test_that_a_run_has_no_timed_lap_any_more_is_taken_back_with_a_longer_session() -> None:
    """A red flag broke it off too near the flag; the flag then moved back, and it was driven to its end."""
    here = Stage(setup(plan(MAIN), regulations=regulations(duration_s=560))).green().leave(200)
    t = here.lap(200, OUT_S, from_exit=True)
    here.status(t + 20, "red")
    here.home(t, 150)
    run = here.car.progress.find("main")
    assert run is not None
    assert run.reason == "red flag; no timed lap can start before the flag any more"
    here.clock(480, 2000)
    here.status(490, "green", pit_exit="open")
    here.wait(500)
    assert (run.state, run.reason) == ("next", "red flag")


def test_a_car_that_a_red_flag_sent_back_needs_no_work_to_leave_for_starts() -> None:
    """Its run is none any more when the track is green again: it can leave as it is."""
    rules = regulations(duration_s=560, after_flag_items=("standing_start",))
    here = Stage(setup(plan(MAIN, STARTS), regulations=rules)).green().leave(200)
    t = here.lap(200, OUT_S, from_exit=True)
    here.status(t + 20, "red")
    here.home(t, 150)
    here.status(490, "green", pit_exit="open")
    here.wait(540)
    assert here.prompts("starts-2-leave", "due")
    assert "it has to leave by 9:08" in told(here)[-1].text


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


def test_where_nobody_is_out_the_timing_has_nothing_to_tell() -> None:
    """The other car came in before; the timing is silent, for nobody is there to be timed. That the run can start no
    timed lap any more is true beyond the moment of its planned release: nothing says that the car left then."""
    here = garage(SPARE | {"release": {"not_before": 400.0}}, flag_s=500)
    for number, t in enumerate(range(230, 300, 10)):
        here.cross(t, "12"[number % 2], car="7")
    here.pit(305, "entry", car="7")
    here.wait(470)
    assert told(here)
    assert all(one.active for one in told(here))
