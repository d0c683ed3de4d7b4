"""One contract for every clock: live (on a hand-cranked loop) and virtual."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

import pytest

from pitwall.runtime.clock import LiveClock
from pitwall.runtime.ports import Clock
from pitwall.runtime.virtual_clock import VirtualClock


class Timer:
    """A timer of the hand-cranked loop."""

    def __init__(self, at: float, callback: Callable[[], None]) -> None:
        self.at, self.callback, self.live = at, callback, True

    def cancel(self) -> None:
        """Forget it."""
        self.live = False


class CrankedLoop:
    """A monotonic clock and the timers of an event loop, moved by hand."""

    def __init__(self) -> None:
        self.m, self.wall, self.timers = 5000.0, 1.7e9, []

    def monotonic(self) -> float:
        """The hand-cranked monotonic clock."""
        return self.m

    def call_later(self, delay: float, callback: Callable[[], None]) -> Timer:
        """As an event loop does."""
        timer = Timer(self.m + delay, callback)
        self.timers.append(timer)
        return timer

    def pass_s(self, seconds: float, early: float = 0.0) -> None:
        """Let real time pass; timers fire in order, ``early`` seconds before their time."""
        end = self.m + seconds
        while True:
            live = [timer for timer in self.timers if timer.live and timer.at - early <= end]
            if not live:
                break
            timer = min(live, key=lambda timer: timer.at)
            self.m = max(self.m, timer.at - early) + 1e-9  # calling back takes time, or rounding could spin for ever
            timer.live = False
            timer.callback()
            # The same early firing again would never get anywhere: real loops close in on the deadline.
            early /= 2
            if early < 1e-9:
                early = 0.0
        self.m, self.timers = max(self.m, end), [timer for timer in self.timers if timer.live]


class Driven(Protocol):
    """A clock with the means to let time pass."""

    clock: Clock

    def pass_s(self, seconds: float) -> None:
        """Let session seconds pass."""


class DrivenVirtual:
    """The virtual clock under its driver."""

    def __init__(self) -> None:
        self.clock = VirtualClock(follows=True)

    def pass_s(self, seconds: float) -> None:
        """Run up to so many seconds later."""
        self.clock.run_until(self.clock.now() + seconds)


class DrivenLive:
    """The live clock on a hand-cranked loop at a rate."""

    def __init__(self, rate: float) -> None:
        self.loop = CrankedLoop()
        self.clock = LiveClock(0.0, rate, monotonic=self.loop.monotonic, wall=lambda: self.loop.wall, loop=self.loop)

    def pass_s(self, seconds: float) -> None:
        """Let so many session seconds pass at the clock's rate."""
        self.loop.pass_s(seconds / self.clock.rate)


@pytest.fixture(params=["virtual", "live", "live-30"])
def driven(request: pytest.FixtureRequest) -> Driven:
    """Each clock, standing at 0."""
    if request.param == "virtual":
        return DrivenVirtual()
    return DrivenLive(30.0 if request.param == "live-30" else 1.0)


def test_are_clocks(driven: Driven) -> None:
    """Each satisfies the port."""
    assert isinstance(driven.clock, Clock)


def test_time_passes(driven: Driven) -> None:
    """After ten session seconds it is ten session seconds later."""
    assert driven.clock.now() == pytest.approx(0.0)
    driven.pass_s(10)
    assert driven.clock.now() == pytest.approx(10.0)


def test_wakes_in_order_of_time_and_never_early(driven: Driven) -> None:
    """Whatever the order of arming, actions run by time, each at or after its time."""
    seen: list[tuple[float, float]] = []
    for t in (7.0, 3.0, 5.0, 0.5):
        driven.clock.call_at(t, lambda t=t: seen.append((t, driven.clock.now())))
    driven.pass_s(6)
    assert [t for t, _ in seen] == [0.5, 3.0, 5.0]
    assert all(t <= now <= t + 1e-6 for t, now in seen)
    driven.pass_s(2)
    assert [t for t, _ in seen] == [0.5, 3.0, 5.0, 7.0]


def test_equal_times_run_in_arming_order(driven: Driven) -> None:
    """Ties are broken by who armed first."""
    seen: list[str] = []
    for name in "cab":
        driven.clock.call_at(2.0, lambda name=name: seen.append(name))
    driven.pass_s(3)
    assert seen == ["c", "a", "b"]


def test_never_calls_from_within_call_at(driven: Driven) -> None:
    """A time that has passed is called soon, not at once; and time does not move back for it."""
    driven.pass_s(10)
    seen: list[float] = []
    driven.clock.call_at(4.0, lambda: seen.append(driven.clock.now()))
    assert seen == []
    driven.pass_s(0.001)
    assert seen == [pytest.approx(10.0, abs=0.01)]


def test_cancelled_wakeups_never_happen(driven: Driven) -> None:
    """Before its time, twice, after its time, or by an earlier action of the same moment: cancelling is safe."""
    seen: list[str] = []
    early = driven.clock.call_at(1.0, lambda: seen.append("early"))
    late = driven.clock.call_at(2.0, lambda: seen.append("late"))
    driven.clock.call_at(5.0, lambda: same.cancel())  # noqa: PLW0108  # armed in the next line
    same = driven.clock.call_at(5.0, lambda: seen.append("same moment"))
    late.cancel()
    late.cancel()
    driven.pass_s(6)
    early.cancel()
    assert seen == ["early"]


def test_actions_may_arm_more(driven: Driven) -> None:
    """An action arms the next one: a chain runs through, and one that arms 'now' is called again."""
    seen: list[float] = []

    def again() -> None:
        seen.append(round(driven.clock.now(), 6))
        if len(seen) < 4:
            driven.clock.call_at(driven.clock.now() + (1.0 if len(seen) < 3 else 0.0), again)

    driven.clock.call_at(1.0, again)
    driven.pass_s(10)
    assert seen == [1.0, 2.0, 3.0, 3.0]


def test_anchor_forward_retimes_wakeups(driven: Driven) -> None:
    """Told that it is later than believed, what came due meanwhile is called soon, once; the rest at its new time."""
    seen: list[str] = []
    driven.clock.call_at(50.0, lambda: seen.append("50"))
    driven.clock.call_at(120.0, lambda: seen.append("120"))
    driven.pass_s(10)
    driven.clock.anchor(100.0, driven.clock.rate)
    assert driven.clock.now() == pytest.approx(100.0)
    driven.pass_s(0.001)
    assert seen == ["50"]
    driven.pass_s(19)
    assert seen == ["50"]
    driven.pass_s(2)
    assert seen == ["50", "120"]


def test_anchor_takes_the_rate(driven: Driven) -> None:
    """The rate of the last anchor is the clock's rate."""
    driven.clock.anchor(5.0, 4.0)
    assert driven.clock.rate == 4.0


def test_now_never_falls_and_nothing_happens_twice(driven: Driven) -> None:
    """An anchor in the past moves no time back and calls no action again."""
    seen: list[float] = []
    driven.clock.call_at(8.0, lambda: seen.append(driven.clock.now()))
    driven.pass_s(10)
    before = driven.clock.now()
    driven.clock.anchor(2.0, driven.clock.rate)
    assert driven.clock.now() >= before
    driven.pass_s(20)
    assert driven.clock.now() >= before
    assert len(seen) == 1


@pytest.mark.parametrize(("t", "rate"), [(math.nan, 1.0), (math.inf, 1.0), (0.0, 0.0), (0.0, -1.0), (0.0, math.nan)])
def test_refuses_impossible_anchors(driven: Driven, t: float, rate: float) -> None:
    """Time that is no number or does not run forward is refused and changes nothing."""
    before = driven.clock.now()
    with pytest.raises(ValueError, match=r"session time|rate of time"):
        driven.clock.anchor(t, rate)
    assert driven.clock.now() == pytest.approx(before)


@pytest.mark.parametrize("t", [math.nan, math.inf, -math.inf])
def test_refuses_impossible_wakeups(driven: Driven, t: float) -> None:
    """A wake-up at no finite time is refused: it would spoil the order of the heap."""
    with pytest.raises(ValueError, match="finite"):
        driven.clock.call_at(t, lambda: None)


def test_many_cancelled_wakeups_leave_the_others(driven: Driven) -> None:
    """A thousand re-plannings, each cancelling the one before, end in exactly the last one."""
    seen: list[int] = []
    armed = None
    for number in range(1000):
        if armed is not None:
            armed.cancel()
        armed = driven.clock.call_at(100.0 - number * 0.05, lambda number=number: seen.append(number))
    driven.pass_s(200)
    assert seen == [999]
