"""The virtual clock and its drivers."""

from __future__ import annotations

from pitwall.runtime.virtual_clock import VirtualClock


def test_stands_still_without_its_driver() -> None:
    """Nothing moves it but advance and run."""
    clock = VirtualClock(12.0)
    clock.call_at(20.0, lambda: None)
    assert clock.now() == 12.0
    assert clock.next_t() == 20.0
    assert clock.advance() is True
    assert clock.now() == 20.0
    assert clock.advance() is False
    assert clock.now() == 20.0


def test_anchor_leaves_time_to_the_driver() -> None:
    """A clock report made from this very clock must not push it: only the rate is noted."""
    clock = VirtualClock(100.0)
    clock.anchor(102.0, 30.0)
    assert (clock.now(), clock.rate) == (100.0, 30.0)


def test_has_no_time_of_day() -> None:
    """Virtual sessions store none, so their journals are equal everywhere."""
    assert VirtualClock().wall_s() is None


def test_run_until_stands_at_its_end() -> None:
    """Everything up to the end happens, with a call after each; then it is the end, even with nothing armed."""
    clock = VirtualClock()
    seen: list[float] = []
    for t in (1.0, 2.0, 2.0, 9.0):
        clock.call_at(t, lambda: None)
    clock.run_until(5.0, lambda: seen.append(clock.now()))
    assert seen == [1.0, 2.0, 2.0]
    assert clock.now() == 5.0
    clock.run_until(3.0)
    assert clock.now() == 5.0


async def test_run_settles_after_each_wakeup_and_stops_when_told() -> None:
    """The driver settles first, then after every single wake-up, and ends at ``until`` with the rest still armed."""
    clock = VirtualClock()
    settled: list[float] = []

    async def settle() -> None:
        settled.append(clock.now())

    for t in (1.0, 1.0, 4.0, 6.0):
        clock.call_at(t, lambda: None)
    await clock.run(settle, lambda: clock.now() >= 4.0)
    assert settled == [0.0, 1.0, 1.0, 4.0]
    assert clock.next_t() == 6.0


async def test_run_ends_when_nothing_is_armed() -> None:
    """What settling arms is still driven; then the end comes by itself."""
    clock = VirtualClock()
    left = [3.0, 2.0, 1.0]

    async def settle() -> None:
        if left:
            clock.call_at(clock.now() + left.pop(), lambda: None)

    await clock.run(settle, lambda: False)
    assert clock.now() == 6.0


async def test_run_to_stands_at_its_end() -> None:
    """Driving to a moment takes every wake-up up to it, and then it is that moment."""
    clock = VirtualClock()
    settled: list[float] = []

    async def settle() -> None:
        settled.append(clock.now())

    clock.call_at(1.0, lambda: None)
    clock.call_at(7.0, lambda: None)
    await clock.run_to(5.0, settle)
    assert settled == [0.0, 1.0]
    assert clock.now() == 5.0
