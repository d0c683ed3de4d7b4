"""The session clock: time left, flags where they hold, and the pit exit."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.engine.session_clock import CLOSES_AFTER_FLAG_S, SessionClock
from pitwall.model.events import ClockReported, StatusChanged
from tests.unit.engine_stage import regulations


def clock(**rules: Any) -> SessionClock:
    """A clock of an hour's session."""
    return SessionClock(regulations(**rules), 3600.0)


def say(made: SessionClock, t: float, status: str | None = None, **more: Any) -> tuple[str, ...]:
    """Race control says something at ``t``."""
    return made.change(StatusChanged.model_validate({"id": f"s{t}", "t": t, "status": status, **more}))


def official(made: SessionClock, t: float, remaining_s: float, running: bool = True, rate: float = 1.0) -> bool:
    """The official clock's message."""
    return made.report(ClockReported(id=f"c{t}", t=t, remaining_s=remaining_s, running=running, rate=rate))


# -- time left -------------------------------------------------------------------------------------------------------


def test_before_the_green_light_the_whole_session_is_left() -> None:
    """Waiting: nothing runs, however early the daemon was started."""
    made = clock()
    assert (made.remaining(-200), made.remaining(50), made.running) == (3600, 3600, False)


def test_the_clock_runs_from_the_green_light() -> None:
    """Without official messages the scheduled length counts down from green."""
    made = clock()
    assert say(made, 10, "green") == ("status",)
    assert made.remaining(110) == 3500
    assert made.end_s(110) == 3610
    assert made.remaining(9999) == 0


@pytest.mark.parametrize(("policy", "left"), [("runs", 2700), ("stops", 3000)])
def test_under_red_the_regulations_decide(policy: str, left: float) -> None:
    """A clock that runs loses the red period; one that stops keeps it, and goes on at green."""
    made = clock(red_clock=policy)
    say(made, 0, "green")
    say(made, 600, "red")
    assert made.running == (policy == "runs")
    assert made.remaining(900) == left
    say(made, 900, "green")
    assert made.remaining(1000) == left - 100


def test_yellow_and_slow_do_not_stop_the_clock() -> None:
    """Only red may."""
    made = clock(red_clock="stops")
    say(made, 0, "green")
    say(made, 100, "yellow")
    say(made, 200, "slow")
    assert made.remaining(300) == 3300


def test_a_red_before_the_green_starts_no_clock() -> None:
    """A start that is delayed under red leaves the whole session."""
    made = clock()
    say(made, 0, "red")
    assert made.remaining(500) == 3600


def test_the_official_clock_corrects_ours() -> None:
    """More than its uncertainty is a correction worth telling; within it the clock is set in silence."""
    made = clock()
    say(made, 0, "green")
    assert not official(made, 100, 3501)
    assert made.remaining(100) == 3501
    assert official(made, 200, 3000)
    assert made.remaining(300) == 2900
    assert official(made, 400, 2800, running=False)
    assert made.remaining(999) == 2800


def test_the_official_clock_decides_under_red() -> None:
    """Once there is an official clock, the policy is what it says: status changes leave it alone."""
    made = clock(red_clock="stops")
    official(made, 0, 3600)
    say(made, 600, "red")
    assert made.running
    assert made.remaining(700) == 2900
    official(made, 700, 2900, running=False)
    assert made.remaining(900) == 2900


def test_a_clock_message_older_than_the_last_is_not_taken() -> None:
    """A late packet does not set the clock back."""
    made = clock()
    official(made, 100, 3500)
    assert not official(made, 40, 3560, rate=2.0)
    assert (made.remaining(100), made.rate) == (3500, 1.0)


@given(
    t=st.floats(0, 4000), later=st.floats(0, 4000), red=st.floats(0, 4000), policy=st.sampled_from(["runs", "stops"])
)
def test_the_time_left_never_grows_by_itself(t: float, later: float, red: float, policy: str) -> None:
    """Between messages the time left only falls, and never below zero; a change of status jumps nothing."""
    made = clock(red_clock=policy)
    say(made, 0, "green")
    before = made.remaining(red)
    say(made, red, "red")
    assert made.remaining(red) == before
    first, second = made.remaining(red + t), made.remaining(red + t + later)
    assert 0 <= second <= first <= 3600


# -- flags -----------------------------------------------------------------------------------------------------------


def test_yellow_sectors_come_and_go_one_by_one() -> None:
    """A scoped message changes sectors only, never the status; clear ones leave, others stay."""
    made = clock()
    say(made, 0, "green")
    assert say(made, 10, "yellow", scope=["4"]) == ("sectors",)
    assert say(made, 11, "yellow", scope=["4", "5"]) == ("sectors",)
    assert say(made, 12, "yellow", scope=["5"]) == ()
    assert (made.status, made.yellow_sectors) == ("green", ("4", "5"))
    assert say(made, 20, "green", scope=["4"]) == ("sectors",)
    assert made.yellow_sectors == ("5",)
    assert say(made, 21, "green", scope=["9"]) == ()


def test_green_everywhere_clears_the_sectors() -> None:
    """Track clear: no sector stays yellow, even where the status was green all along."""
    made = clock()
    say(made, 0, "green")
    say(made, 10, "yellow", scope=["4"])
    assert say(made, 20, "green") == ("sectors",)
    assert made.yellow_sectors == ()


def test_the_same_status_again_changes_nothing() -> None:
    """A repeated message is no news."""
    made = clock()
    assert say(made, 0, "green") == ("status",)
    assert say(made, 1, "green") == ()
    assert (made.changes, made.since_s) == (1, 0)


def test_a_slow_period_may_be_about_to_end() -> None:
    """Told once; the next status begins without it."""
    made = clock()
    say(made, 0, "green")
    say(made, 10, "slow")
    assert say(made, 50, "slow", ending=True) == ("ending",)
    assert say(made, 51, "slow", ending=True) == ()
    say(made, 60, "green")
    assert not made.slow_ending


def test_laps_are_disturbed_under_slow_and_red_only() -> None:
    """A local yellow may leave a lap timed; a slow period or a red flag does not."""
    made = clock()
    found = {}
    for t, status in enumerate(("green", "yellow", "slow", "red", "finished")):
        say(made, t, status)
        found[status] = made.disturbed
    assert found == {"green": False, "yellow": False, "slow": True, "red": True, "finished": False}


def test_nothing_follows_closed() -> None:
    """After the end a late green is not taken."""
    made = clock()
    say(made, 0, "green")
    say(made, 3600, "closed")
    assert say(made, 3700, "green") == ()
    assert (made.status, made.closed_t, made.finished_t) == ("closed", 3600, 3600)


# -- the pit exit ----------------------------------------------------------------------------------------------------


def test_the_pit_exit_follows_the_status_until_somebody_says() -> None:
    """Open while the session runs, closed under red and after the flag."""
    made = clock()
    assert made.pit_exit == "closed"
    found = []
    for t, status in enumerate(("green", "red", "green", "finished")):
        say(made, t, status)
        found.append(made.pit_exit)
    assert found == ["open", "closed", "open", "closed"]


def test_the_pit_exit_has_messages_of_its_own() -> None:
    """Closed under green, with the time it opens: the status stays, and a word with the status wins over the rule."""
    made = clock()
    say(made, 0, "green")
    assert say(made, 10, pit_exit="closed", opens_at_s=300) == ("pit_exit",)
    assert (made.status, made.pit_exit, made.pit_exit_opens_s) == ("green", "closed", 300)
    assert say(made, 20, pit_exit="closed") == ()
    assert say(made, 30, "red", pit_exit="closed") == ("status",)
    assert say(made, 40, "green", pit_exit="closed") == ("status",)
    assert made.pit_exit == "closed"
    assert say(made, 50, pit_exit="open") == ("pit_exit",)


# -- by time alone ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("status", ["green", "yellow", "slow", "red"])
def test_the_flag_falls_by_time_when_nobody_says_so(status: str) -> None:
    """Time is up and the clock's uncertainty used up: the flag is due, under a red whose clock runs as well."""
    made = clock()
    say(made, 0, "green")
    say(made, 100, status)
    uncertain = made.regulations.clock_uncertainty_s
    assert not made.flag_is_due(3600)
    assert not made.flag_is_due(3600 + uncertain)
    assert made.flag_is_due(3600 + uncertain + 2)


def test_no_flag_falls_on_a_clock_that_stands() -> None:
    """Waiting, stopped under red or finished: no flag is due by time."""
    made = clock(red_clock="stops")
    assert not made.flag_is_due(9999)
    say(made, 0, "green")
    say(made, 100, "red")
    assert not made.flag_is_due(9999)
    say(made, 200, "finished")
    assert not made.flag_is_due(9999)


def test_a_finished_session_closes_when_nobody_closes_it() -> None:
    """Twenty minutes after the flag; a session that was resumed starts the count anew."""
    made = clock()
    say(made, 0, "green")
    say(made, 3600, "finished")
    assert not made.closing_is_due(3600 + CLOSES_AFTER_FLAG_S - 1)
    assert made.closing_is_due(3600 + CLOSES_AFTER_FLAG_S)
    say(made, 3700, "green")
    assert not made.closing_is_due(9999)
    say(made, 3900, "finished")
    assert not made.closing_is_due(3700 + CLOSES_AFTER_FLAG_S)
