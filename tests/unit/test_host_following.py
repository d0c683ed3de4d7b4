"""Which clock reports the host believes."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from pitwall.runtime.following import WINDOW, ClockFollower


class Track:
    """A follower with a clock that starts ``off`` seconds away from the feed's."""

    def __init__(self, off: float, rate: float = 1.0) -> None:
        self.follower, self.off, self.rate = ClockFollower(), 0.0, rate
        self.report(0.0, 0.0)
        self.off = off

    def report(self, true_t: float, delay: float) -> float | None:
        """The feed says ``true_t``; it arrives ``delay`` session seconds later. Returns the anchor, if any."""
        now = true_t + delay + self.off
        anchored = self.follower.judge(true_t, self.rate, now)
        if anchored is not None:
            self.off += anchored - now
        return anchored


def test_first_report_is_followed_wherever_it_says() -> None:
    """Forward or back: nothing is known yet."""
    assert ClockFollower().judge(900.0, 1.0, 0.0) == 900.0
    assert ClockFollower().judge(-900.0, 1.0, 0.0) == -900.0


def test_change_of_rate_is_followed_at_once() -> None:
    """A replay that changes its speed says so with where it is."""
    follower = ClockFollower()
    follower.judge(0.0, 1.0, 0.0)
    assert follower.judge(5.0, 30.0, 9.0) == 5.0
    assert follower.judge(6.0, 30.0, 6.1) is None


def test_clock_that_runs_behind_follows_at_once() -> None:
    """No delay explains a report from the future: we are behind."""
    assert Track(-2.0).report(10.0, 0.1) == 10.0


def test_late_report_moves_nothing() -> None:
    """One report that was held up for half a minute does not set the clock back half a minute."""
    track = Track(0.0)
    for t in range(5):
        assert track.report(float(t), 0.0) is None
    assert track.report(5.0, 30.0) is None
    assert track.off == 0.0


def test_clock_that_runs_ahead_steps_back_once_a_window_agrees_and_by_the_fastest_report() -> None:
    """A window of reports behind us: step back by the smallest error, whose report travelled the shortest time."""
    track = Track(1.0)
    delays = [0.4, 0.1, 0.9, 0.3, 0.2, 0.5, 0.7, 0.6]
    assert len(delays) == WINDOW
    anchored = [track.report(10.0 + n, delay) for n, delay in enumerate(delays)]
    assert anchored[:-1] == [None] * (WINDOW - 1)
    assert anchored[-1] is not None
    assert abs(track.off - (-0.1)) < 1e-9


def test_small_error_behind_is_left_alone() -> None:
    """Within the dead band nothing is stepped: a few hundredths are no reason to hold time still."""
    track = Track(0.03)
    assert [track.report(float(n), 0.01) for n in range(50)] == [None] * 50


def test_leap_forward_must_be_said_twice() -> None:
    """One mad report is ignored; two that agree are followed; two mad ones that disagree are not."""
    track = Track(0.0)
    assert track.report(10.0, -1000.0) is None
    assert track.report(11.0, 0.0) is None
    assert track.report(12.0, -1000.0) is None
    assert track.report(13.0, -5000.0) is None
    assert track.off == 0.0
    assert track.report(14.0, -5000.0) is not None


def test_at_thirty_times_life_delays_are_thirty_times_as_long() -> None:
    """A dead band and a leap are measured in real seconds: 1 s of session time is a thirtieth of a second of delay."""
    track = Track(0.0, rate=30.0)
    assert [track.report(30.0 * n, 1.2) for n in range(50)] == [None] * 50
    assert track.report(2000.0, -60.0) == 2000.0


@given(st.lists(st.floats(0, 0.5), min_size=60, max_size=60), st.floats(-4, 4))
def test_error_ends_within_the_shortest_delays(delays: list[float], off: float) -> None:
    """From any start, after sixty reports with delays up to half a second, the clock is off by no more than those."""
    track = Track(off)
    for n, delay in enumerate(delays):
        track.report(float(n), delay)
    assert -0.5 - 1e-6 <= track.off <= 0.05 + 1e-6
