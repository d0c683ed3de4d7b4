"""A test day on virtual time: two windows with lunch between, two drivers in one car, engineers who hand over."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.transitions import CALL_REST
from pitwall.model.outputs import DeskState, PlanState
from pitwall.model.rules import SessionWindow
from pitwall.model.setup import CarLimits, Driver
from pitwall.runtime.apply import apply
from tests.acceptance.script import Script, between, saltmarsh
from tests.acceptance.script_car import Car
from tests.acceptance.script_patterns import (
    alert,
    answered,
    any_alert,
    clock,
    command,
    desk,
    has,
    one_of,
    prompt,
    run,
    status,
)
from tests.acceptance.script_plans import STOP, TYRES, press_every_key
from tests.replay.fork import copy_of, decided, replayed, restarted

FLAG, GREEN, END = 1800.0, 2400.0, 4200.0
SHOWN = one_of("shown", "due")
BOX_ONLY = ("session", "safety", "box")

LONG: dict[str, Any] = {
    "run": "long", "want": "must", "laps": "out, 8 timed, in", "shorten_to": 6, "after_garage_s": STOP,
    "release": {"not_before": 1100},
}  # fmt: skip
SEAT: dict[str, Any] = {
    "run": "seat", "want": "must", "driver": "bryn", "window": "afternoon", "laps": "out, 1 timed, cool, 1 timed, in",
    "after_garage_s": STOP, "items": [{"do": "driver_comment", "on": "cool", "with": {"topic": "balance"}}],
}  # fmt: skip


def _day(*runs: dict[str, Any], drivers: dict[str, Driver] | None = None, **changes: Any) -> Script:
    """A session of two half-hour windows with ten minutes between; Bryn hears less than the plan says."""
    people = {
        "ines": Driver(driver="ines", spoken="Ines"),
        "bryn": Driver(driver="bryn", spoken="Bryn", quiet={"cool": BOX_ONLY, "in": BOX_ONLY}),
    }
    setup = saltmarsh({"tyre_sets": TYRES, "runs": list(runs)}, drivers=people | (drivers or {}), **changes)
    window = SessionWindow.model_validate({
        "session": setup.session,
        "windows": [{"window": "morning", "from": 0, "to": FLAG}, {"window": "afternoon", "from": GREEN, "to": END}],
    })  # fmt: skip
    rules = setup.regulations.model_copy(update={"sessions": (window,)})
    play = Script(setup.model_copy(update={"regulations": rules}))
    play.at(0).push(status("green", pit_exit="open"))
    return play.telemetry_follows()


def _told_by_race_control(play: Script) -> Script:
    play.at(FLAG).push(status("finished", pit_exit="closed"))
    play.at(FLAG + 200).push(status("waiting"))
    play.at(GREEN).push(status("green", pit_exit="open"))
    play.at(END).push(status("finished"))
    play.at(END + 200).push(status("closed"))
    return play


def _cut_by_the_morning_flag(play: Script) -> Car:
    """Four timed laps and a cool-down lap nobody planned; the fifth timed lap is begun before the flag and finished."""
    return play.car().leaves(1150).lap(112).lap(91).lap(91).lap(91).lap(135).lap(91).lap(91).comes_in(106)


def _resumed(play: Script, t: float) -> Car:
    return play.car().leaves(t).lap(112).lap(91).lap(91).lap(91).comes_in(106)


def test_a_run_cut_by_the_morning_flag_goes_on_after_lunch() -> None:
    """The lap begun before the flag is finished, the in-lap called; at lunch the run waits with its laps, and it is
    fired up, released and finished in the afternoon."""
    play = _told_by_race_control(_day(LONG))
    car = _cut_by_the_morning_flag(play)
    assert car.starts[6] < FLAG < car.starts[7]
    play.want(prompt(kind="session", short=has("finish the lap"), state="due"), between(FLAG, FLAG + 20))
    play.want(prompt(kind="box", state="due"), between(car.starts[7], car.t))
    play.want(run("long", state="next", timed_done=5, reason="chequered flag"), between(car.t, car.t + 2))
    play.never(prompt(kind="release", state="due"), between(FLAG, GREEN - 61))
    play.want(prompt(kind="release", short="Fire up", state="due"), between(GREEN - 61, GREEN))
    play.never(prompt(kind="release", short="Leave when clear", state="due"), between(FLAG, GREEN - 0.01))
    play.want(prompt(kind="release", short="Leave when clear", run="long", state="due"), between(GREEN, GREEN + 6))
    again = _resumed(play, GREEN + 12)
    play.want(run("long", state="done", timed_done=8), between(again.t, again.t + 2))
    play.never(prompt(state="missed"))
    play.run(until=again.t + 5)


def test_a_run_may_be_given_up_with_its_window() -> None:
    """Where the plan says so, a run cut by the flag is not gone on with, and so is one whose window is over."""
    for more in ({"cut_by_flag": "give_up"}, {"window": "morning"}):
        play = _told_by_race_control(_day(LONG | more, SEAT))
        car = _cut_by_the_morning_flag(play)
        play.want(run("long", state="done", timed_done=5), between(car.t, GREEN))
        play.want(prompt(kind="release", short="Leave when clear", run="seat", state="due"), between(GREEN, GREEN + 6))
        play.run(until=GREEN + 10)


def test_a_run_never_begun_is_skipped_with_its_window() -> None:
    """A run for the morning that did not come to it is skipped at lunch with that reason; the day goes on."""
    late = LONG | {"window": "1", "release": {"not_before": 1700}}
    play = _told_by_race_control(_day(late, SEAT))
    play.want(run("long", state="skipped", reason="its window is over"), between(FLAG, FLAG + 202))
    play.never(prompt(kind="release", run="seat", short="Leave when clear", state="due"), between(0, GREEN - 0.01))
    play.want(prompt(kind="release", run="seat", short="Leave when clear", state="due"), between(GREEN, GREEN + 6))
    play.run(until=GREEN + 10)


def test_a_run_that_does_not_fit_before_lunch_waits_for_the_afternoon() -> None:
    """Ten minutes before the flag there is no time for six laps: nobody is called out until the next green light."""
    play = _told_by_race_control(_day(LONG | {"release": {"not_before": FLAG - 600 + 60}}))
    play.never(prompt(kind="release", state="due"), between(0, GREEN - 61))
    play.want(prompt(kind="release", short="Leave when clear", state="due"), between(GREEN, GREEN + 6))
    play.run(until=GREEN + 10)


def test_nothing_is_called_or_alarmed_at_lunch() -> None:
    """The pit exit is closed, the time left is that of the afternoon, no call comes due and no alert rises."""
    play = _told_by_race_control(_day(LONG, SEAT))
    car = _cut_by_the_morning_flag(play)
    lunch = between(car.t + 1, GREEN - 81)
    play.want(clock(status="waiting", window="afternoon", remaining_s=END - GREEN, running=False, pit_exit="closed"))
    play.never(prompt(state=SHOWN, kind=one_of("release", "box", "procedure", "run", "session")), lunch)
    play.never(any_alert(), between(FLAG, GREEN))
    play.run(until=GREEN)


def test_without_a_word_from_race_control_the_flag_falls_by_time_and_no_green_is_assumed() -> None:
    """With nobody telling anything after the first green light, flag and lunch come by the timetable; the afternoon
    begins when somebody says so, and its flag falls when it is due."""
    play = _day(LONG)
    _cut_by_the_morning_flag(play)
    play.at(GREEN + 90).push(status("green", pit_exit="open"))
    play.want(clock(status="finished", window="morning"), between(FLAG, FLAG + 8))
    play.want(clock(status="waiting", window="afternoon"), between(FLAG + 300, FLAG + 310))
    play.never(clock(status="green"), between(FLAG + 8, GREEN + 89))
    play.never(prompt(kind="release", short="Leave when clear", state="due"), between(FLAG, GREEN + 89))
    play.want(prompt(kind="release", short="Leave when clear", state="due"), between(GREEN + 90, GREEN + 100))
    play.want(clock(status="finished", window="afternoon"), between(END, END + 8))
    play.run(until=END + 60)


def test_closed_at_lunch_is_not_the_end_of_the_day() -> None:
    """A feed that closes each window closes the session only after the last."""
    play = _day(SEAT)
    for t in (FLAG, END):
        play.at(t).push(status("finished"))
        play.at(t + 100).push(status("closed"))
    play.at(GREEN).push(status("green", pit_exit="open"))
    play.want(clock(status="waiting", window="afternoon"), between(FLAG + 100, GREEN - 1))
    play.want(clock(status="closed"), between(END + 100, END + 102))
    play.run(until=END + 200)
    assert play.session.at_rest
    assert {history[-1].state for history in play.calls().values()} <= set(CALL_REST)


def _with_the_other_driver(play: Script) -> tuple[Car, Car]:
    """The long run cut by the flag and resumed, then the other driver's run; returns both cars' ends."""
    _cut_by_the_morning_flag(play)
    first = _resumed(play, GREEN + 12)
    return first, play.car().leaves(first.t + 260).lap(112).lap(91).lap(135).lap(91).comes_in(106)


def test_a_change_of_drivers_is_work_of_two_to_three_minutes() -> None:
    """The garage is told as the stop begins, and the car is called out when the change is likely done, not when the
    shorter work on the car is; the desk shows who gets in and who gets out."""
    play = _told_by_race_control(_day(LONG, SEAT))
    first, _ = _with_the_other_driver(play)
    stop = between(first.t, first.t + 259)
    play.want(prompt(text=has("driver change: bryn in, ines out"), state="due"), between(first.t, first.t + 20))
    play.want(prompt(kind="brief", text=has("bryn drives"), state="due"), stop)
    play.want(prompt(kind="release", short="Fire up", text=has("bryn is in the car"), state="due"), stop)
    play.never(prompt(kind="release", short="Leave when clear", state="due"), between(first.t, first.t + 149))
    play.want(prompt(kind="release", short="Leave when clear", state="due"), between(first.t + 149, first.t + 157))
    play.want(desk(driver="bryn", driver_change="ines", run="seat"), stop)
    play.want(desk(driver="bryn", driver_change=None), between(first.t + 261, first.t + 300))
    play.run(until=first.t + 400)
    plans = [line.what for line in play.lines if isinstance(line.what, PlanState)]
    assert [(one.run, one.driver) for one in plans[-1].runs] == [("long", "ines"), ("seat", "bryn")]


def test_the_release_check_asks_for_the_other_drivers_positions() -> None:
    """Before the other driver leaves, the check names what differs for him, and nothing else; the card wants it."""
    play = _told_by_race_control(_day(LONG, SEAT))
    first, last = _with_the_other_driver(play)
    before, stop = between(0, first.t), between(first.t, first.t + 259)
    check = prompt(kind="switch", lap="garage", text=has("traction 3"), state="due")
    play.never(check, before).want(check, stop)
    play.never(prompt(kind="switch", lap="garage", text=has("diff exit"), state="due"), stop)
    play.run(until=last.t)
    wanted = [
        (line.t, next(card.wanted for card in line.what.switches if card.switch == "traction_level"))
        for line in play.lines
        if isinstance(line.what, DeskState)
    ]
    assert {position for t, position in wanted if t < first.t} == {2}
    assert {position for t, position in wanted if first.t + 1 < t < last.t} == {3}


def test_each_driver_has_a_quiet_profile() -> None:
    """Ines is told her lap time on the in-lap, as the plan allows; Bryn, who wants no talk there, is not."""
    play = _told_by_race_control(_day(LONG, SEAT))
    first, last = _with_the_other_driver(play)
    play.want(prompt(kind="pace", run="long", state="due"), between(GREEN, first.t))
    play.never(prompt(kind="pace", state=SHOWN), between(first.t, last.t))
    play.run(until=last.t + 5)


def test_a_driver_who_cannot_reach_the_minimum_is_told_of() -> None:
    """With what is left of the plan fewer laps than demanded: an alert with both figures; none at lunch."""
    drivers = {"bryn": Driver(driver="bryn", spoken="Bryn", minimum_laps=9)}
    play = _told_by_race_control(_day(SEAT, drivers=drivers))
    text = has("Bryn has 0 of at least 9 laps, and the rest of the plan gives 5")
    play.want(alert("driver_laps", text=text), between(0, 10), times=1)
    play.run(until=60)


@pytest.mark.parametrize("limits", [CarLimits(most_laps=6), CarLimits(most_km=30)])
def test_a_car_near_its_limit_is_told_of(limits: CarLimits) -> None:
    """At nine tenths of what the car may do there is an alert."""
    play = _told_by_race_control(_day(LONG, limits={"41": limits}))
    car = play.car().leaves(1150).lap(112).lap(91).lap(91)
    play.never(alert("car_limit"), between(0, car.t))
    car.lap(91).lap(91).lap(91)
    play.want(alert("car_limit"), between(car.starts[3], car.t + 10))
    play.run(until=car.t + 20)


def test_an_engineer_takes_over_and_hears_how_the_car_stands() -> None:
    """At lunch and on track: where the car is, what is open, what comes next; the desk shows the new hand, and the
    old one's commands are still taken."""
    play = _told_by_race_control(_day(LONG, SEAT))
    _cut_by_the_morning_flag(play)
    play.at(1400).push(command("take_over", by="anna", id="first"))
    play.at(1410).push(command("comment", text="rear loose"), command("quiet", by="anna"))
    play.at(2200).push(command("take_over", by="bo", id="second"), command("quiet", by="anna", id="old hand"))
    play.want(answered("first", effect=has("anna takes car 41 over. Ines is on long, timed lap 2, 1 of 8")), times=1)
    play.want(answered("second", effect=has("bo takes car 41 over from anna. The car is in the garage")), times=1)
    play.want(answered("second", effect=has("Next release: long at 40:00")))
    play.want(answered("second", effect=has("Quiet is on")))
    play.want(answered("second", effect=has("1 comment of the driver")))
    play.want(answered("old hand"), times=1)
    play.want(desk(engineer="bo"), between(2200, 2220))
    play.run(until=2230)


def test_a_daemon_that_restarts_at_lunch_decides_as_if_it_had_not() -> None:
    """Stopped and started again at any moment of lunch, and on the afternoon's first lap, every later decision is the
    same: windows, drivers and the hand-over come back from the journal."""
    play = _told_by_race_control(_day(LONG, SEAT))
    press_every_key(play)
    _, last = _with_the_other_driver(play)
    play.at(2100).push(command("take_over", by="bo"))
    play.run(until=last.t + 30)
    moments = (FLAG + 250, FLAG + 400, GREEN - 90, GREEN + 65)
    followed, known = replayed(()), 0
    for index in (next(i for i, one in enumerate(play.events) if one.received_t > t) for t in moments):
        for stamped in play.events[known:index]:
            followed.handle(stamped)
        known, before, after = index, play.events[:index], play.events[index:]
        whole, back = copy_of(followed), replayed(before)
        assert restarted(back, before[-1]) == []
        for stamped in after:
            later = stamped.model_copy(update={"seq": stamped.seq + 1})
            assert decided(apply(back, later).outputs) == decided(apply(whole, stamped).outputs), stamped
