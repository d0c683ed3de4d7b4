"""The session clock of a day in windows: whose turn it is, how much time is left, what a clock's message may say."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.progress import PlanProgress
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.windows import needs_s
from pitwall.model import events as ev
from pitwall.model.rules import Regulations, SessionWindow
from tests.unit.engine_stage import LAP_S, pace, plan, run

MORNING, AFTERNOON, EVENING = (0, 1000), (1600, 2600), (3000, 3600)


def clock(**rules: Any) -> SessionClock:
    """Three windows: 0 to 1000, 1600 to 2600, 3000 to 3600."""
    spans = zip(("morning", "afternoon", "evening"), (MORNING, AFTERNOON, EVENING), strict=True)
    windows = [{"window": name, "from": begin, "to": end} for name, (begin, end) in spans]
    session = SessionWindow.model_validate({"session": "p1", "windows": windows})
    made = Regulations.model_validate({"regulations": 1, "sessions": [session], **rules})
    return SessionClock(made, session.duration_s, session.windows)


def say(made: SessionClock, t: float, status: str, **more: Any) -> tuple[str, ...]:
    """Race control says something."""
    return made.change(ev.StatusChanged.model_validate({"id": f"s{t}", "t": t, "status": status, **more}))


def report(made: SessionClock, t: float, remaining_s: float, running: bool) -> bool:
    """The official clock says something."""
    return made.report(ev.ClockReported(id=f"c{t}", t=t, remaining_s=remaining_s, running=running))


def name(made: SessionClock) -> str:
    """The window that runs or comes next."""
    assert made.window_now is not None
    return made.window_now.window


def test_each_window_has_its_own_time() -> None:
    """The time left is that of the running window; waiting for the next one it is the whole of that one."""
    made = clock()
    say(made, 0, "green")
    assert (name(made), made.remaining(400), made.between_windows) == ("morning", 600, False)
    say(made, 1000, "finished")
    assert (name(made), made.between_windows, made.pit_exit) == ("morning", True, "closed")
    say(made, 1200, "waiting")
    assert (name(made), made.remaining(1500), made.running) == ("afternoon", 1000, False)
    say(made, 1600, "green")
    assert (made.remaining(1700), made.running, made.between_windows) == (900, True, False)
    say(made, 2600, "finished")
    say(made, 3000, "green")  # race control never waited in between
    assert (name(made), made.remaining(3100)) == ("evening", 500)
    say(made, 3600, "finished")
    assert not made.between_windows


@pytest.mark.parametrize(("green", "left"), [(1600, 1000), (1690, 910), (1580, 1020), (2700, 1000)])
def test_a_window_that_opens_late_has_its_flag_when_it_is_due(green: float, left: float) -> None:
    """The flag stays where the timetable has it, as long as it lies ahead; else the window lasts its length."""
    made = clock()
    for t, status in ((0, "green"), (1000, "finished"), (1100, "waiting"), (green, "green")):
        say(made, t, status)
    assert made.remaining(green) == left
    if green < AFTERNOON[1]:
        assert name(made) == "afternoon"


def test_going_on_after_a_flag_by_mistake_is_the_same_window() -> None:
    """Green again soon after the flag resumes the window; from the middle of the break on it is the next one."""
    for t, expected in ((1100, "morning"), (1299, "morning"), (1301, "afternoon")):
        made = clock()
        say(made, 0, "green")
        say(made, 1000, "finished")
        say(made, t, "green")
        assert name(made) == expected


def test_a_red_flag_that_outlasts_lunch_is_still_the_morning() -> None:
    """Only race control's waiting, or going on after a flag, turns to the next window."""
    made = clock(red_clock="stops")
    say(made, 0, "green")
    say(made, 900, "red")
    say(made, 1400, "green")
    assert (name(made), made.remaining(1400)) == ("morning", 100)


def test_who_joins_in_the_afternoon_is_in_the_afternoon() -> None:
    """The first word that is heard at half past the second window is about that one."""
    made = clock()
    assert sorted(made.windows_ahead(1700)) == [1, 2]
    say(made, 1700, "green")
    assert (name(made), made.remaining(1700)) == ("afternoon", 900)


def test_the_official_clock_wins_but_zero_in_a_break_says_nothing() -> None:
    """A clock that stands at zero through lunch is not taken for the afternoon's time; one that shows it is."""
    made = clock()
    say(made, 0, "green")
    report(made, 10, 980, True)
    assert made.remaining(20) == 970
    say(made, 1000, "finished")
    say(made, 1100, "waiting")
    assert not report(made, 1200, 0, False)
    assert made.remaining(1300) == 1000
    report(made, 1400, 940, False)
    assert made.remaining(1500) == 940
    say(made, 1600, "green")
    report(made, 1601, 939, True)
    assert made.remaining(1700) == 840


def test_a_word_of_closing_closes_the_day_only_at_its_end() -> None:
    """Before the last window closed means that this one is over; after it, or past its end, it is final."""
    made = clock()
    say(made, 0, "green")
    say(made, 1000, "closed")
    assert made.status == "finished"
    say(made, 1010, "closed")
    assert (made.status, name(made)) == ("waiting", "afternoon")
    assert say(made, 1020, "closed") == ()
    say(made, 3600, "closed")
    assert made.status == "closed"


def test_what_nobody_says_comes_by_time() -> None:
    """Half a break after the flag race control is taken to wait; a day whose last windows never came is closed at
    last; a green light never comes by time."""
    made = clock()
    say(made, 0, "green")
    say(made, 1000, "finished")
    assert [made.closing_is_due(t) for t in (1299, 1300)] == [False, True]
    say(made, 1300, "waiting")
    assert [made.closing_is_due(t) for t in (3600, 4799, 4800)] == [False, False, True]
    assert not made.flag_is_due(2700)


def test_windows_ahead_are_those_that_can_still_be_driven_in() -> None:
    """A running one from now to its flag; in a break the next ones; after the last flag none."""
    made = clock()
    assert made.windows_ahead(-60) == {0: MORNING, 1: AFTERNOON, 2: EVENING}
    say(made, 0, "green")
    assert made.windows_ahead(400) == {0: (0, 1000), 1: AFTERNOON, 2: EVENING}
    say(made, 1000, "finished")
    assert made.windows_ahead(1000) == {1: AFTERNOON, 2: EVENING}
    say(made, 1300, "waiting")
    assert made.windows_ahead(1650) == {1: (1650, 2600), 2: EVENING}
    for t, status in ((1700, "green"), (2600, "finished"), (3000, "green"), (3600, "finished")):
        say(made, t, status)
    assert made.windows_ahead(3600) == {}


def test_a_session_in_one_piece_has_no_windows() -> None:
    """Nothing of this shows where the regulations name none."""
    made = SessionClock(clock().regulations, 3600.0)
    say(made, 0, "green")
    say(made, 3600, "finished")
    assert (made.window_now, made.between_windows, made.windows_ahead(100)) == (None, False, {})
    assert made.alert_status == "finished"


def test_what_a_run_needs_before_the_flag() -> None:
    """Out-lap and timed laps up to the start of the fewest that count; what was done of it needs no more time."""
    whole = PlanProgress(plan(run(laps="out, 4 timed, in", shorten_to=3).model_dump(exclude_defaults=True))).runs[0]
    car = pace()
    assert needs_s(whole, car, True) == pytest.approx(car.lap_s("out") + 2 * LAP_S)
    assert needs_s(whole, car, False) == pytest.approx(car.lap_s("out") + 3 * LAP_S)
    whole.timed_done, whole.resume_at = 2, 3
    assert needs_s(whole, car, True) == pytest.approx(car.lap_s("out"))
