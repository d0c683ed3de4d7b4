"""The live clock: what only real loops and real clocks can do to it."""

from __future__ import annotations

import asyncio
import re
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.runtime.clock import LiveClock, wall_seconds, wall_text
from pitwall.runtime.wakeups import WakeupHeap
from tests.contract.test_clock_contract import CrankedLoop


def live(loop: CrankedLoop, start: float = 0.0, rate: float = 1.0) -> LiveClock:
    """A live clock on a hand-cranked loop."""
    return LiveClock(start, rate, monotonic=loop.monotonic, wall=lambda: loop.wall, loop=loop)


@pytest.mark.parametrize("early", [0.0005, 0.001, 0.3])
def test_loop_that_fires_early_does_not_make_it_early(early: float) -> None:
    """Some loops wake up to a millisecond before the deadline: the action still waits for it."""
    loop = CrankedLoop()
    clock = live(loop)
    seen: list[float] = []
    clock.call_at(10.0, lambda: seen.append(clock.now()))
    loop.pass_s(20, early=early)
    assert len(seen) == 1
    assert seen[0] >= 10.0


def test_one_timer_for_all() -> None:
    """A thousand wake-ups hold one timer in the loop, set to the earliest."""
    loop = CrankedLoop()
    clock = live(loop)
    for t in range(1000, 0, -1):
        clock.call_at(float(t), lambda: None)
    assert [timer.at for timer in loop.timers if timer.live] == [5001.0]


def test_wall_clock_steps_move_nothing() -> None:
    """The wall clock set an hour forward, then two back: session time and wake-ups do not notice."""
    loop = CrankedLoop()
    clock = live(loop)
    seen: list[float] = []
    clock.call_at(10.0, lambda: seen.append(clock.now()))
    loop.wall += 3600
    loop.pass_s(5)
    assert clock.now() == pytest.approx(5.0)
    loop.wall -= 7200
    loop.pass_s(6)
    assert seen == [pytest.approx(10.0)]


def test_step_back_holds_still_until_the_line_has_caught_up() -> None:
    """Anchored 3 s back, now stands for 3 s and then runs on; a wake-up comes at its time on the new line."""
    loop = CrankedLoop()
    clock = live(loop)
    loop.pass_s(100)
    assert clock.now() == pytest.approx(100.0)
    seen: list[float] = []
    clock.call_at(105.0, lambda: seen.append(loop.m))
    clock.anchor(97.0)
    assert clock.held_s == pytest.approx(3.0)
    loop.pass_s(2)
    assert clock.now() == pytest.approx(100.0)
    loop.pass_s(2)
    assert clock.now() == pytest.approx(101.0)
    assert clock.held_s == 0.0
    loop.pass_s(10)
    assert seen == [pytest.approx(5000 + 100 + 8)]


def test_what_is_due_is_called_even_while_now_holds_still() -> None:
    """A wake-up for a moment that has passed does not wait for the line to catch up."""
    loop = CrankedLoop()
    clock = live(loop)
    loop.pass_s(100)
    clock.now()
    clock.anchor(40.0)
    seen: list[float] = []
    clock.call_at(99.0, lambda: seen.append(clock.now()))
    loop.pass_s(0.001)
    assert seen == [pytest.approx(100.0)]


def test_step_back_before_anybody_looked_is_no_step() -> None:
    """A fresh clock that nobody has read yet simply starts where it is anchored, also before the green light."""
    loop = CrankedLoop()
    clock = live(loop)
    clock.anchor(-1800.0)
    assert clock.now() == pytest.approx(-1800.0)


def test_change_of_rate_keeps_the_moment() -> None:
    """At 30 times life a wake-up comes 30 times sooner; slowed down again, the rest of the way takes longer."""
    loop = CrankedLoop()
    clock = live(loop)
    seen: list[float] = []
    clock.call_at(61.0, lambda: seen.append(loop.m))
    loop.pass_s(1)
    clock.anchor(clock.now(), 30.0)
    loop.pass_s(1)
    assert clock.now() == pytest.approx(31.0)
    clock.anchor(clock.now(), 10.0)
    loop.pass_s(10)
    assert seen == [pytest.approx(5000 + 1 + 1 + 3)]


def test_broken_action_takes_no_other_with_it() -> None:
    """An action that raises is logged; the next one of the same moment and the later ones still run."""
    loop = CrankedLoop()
    clock = live(loop)
    seen: list[str] = []

    def broken() -> None:
        raise RuntimeError("broken")

    clock.call_at(1.0, broken)
    clock.call_at(1.0, lambda: seen.append("same"))
    clock.call_at(2.0, lambda: seen.append("later"))
    loop.pass_s(3)
    assert seen == ["same", "later"]


def test_action_that_arms_now_forever_does_not_starve_the_loop() -> None:
    """An action that arms itself again at once runs once in each round of the loop."""
    loop = CrankedLoop()
    clock = live(loop)
    rounds: list[float] = []

    def forever() -> None:
        rounds.append(loop.m)
        clock.call_at(clock.now(), forever)

    clock.call_at(0.0, forever)
    for _ in range(5):
        timer = next(timer for timer in loop.timers if timer.live)
        timer.live = False
        timer.callback()
    assert len(rounds) == 5


async def test_on_the_real_loop() -> None:
    """On asyncio itself, 50 times life: in order, never early, and without being given a loop."""
    clock = LiveClock(rate=50.0)
    seen: list[tuple[float, float]] = []
    done = asyncio.Event()
    for t in (2.0, 1.0, 0.5):
        clock.call_at(t, lambda t=t: seen.append((t, clock.now())))
    clock.call_at(2.5, done.set)
    await asyncio.wait_for(done.wait(), 30)
    assert [t for t, _ in seen] == [0.5, 1.0, 2.0]
    assert all(now >= t for t, now in seen)


def test_needs_a_loop_and_says_so() -> None:
    """Outside an event loop arming is refused by asyncio's own error."""
    with pytest.raises(RuntimeError, match="no running event loop"):
        LiveClock().call_at(1.0, lambda: None)


MOVES = st.tuples(st.sampled_from(["pass", "anchor", "read"]), st.floats(-500, 500), st.sampled_from([1.0, 30.0]))


@given(st.lists(MOVES))
def test_now_never_falls(moves: list[tuple[str, float, float]]) -> None:
    """Whatever anchors come in whatever order, what is read never falls."""
    loop = CrankedLoop()
    clock = live(loop)
    last = clock.now()
    for what, value, rate in moves:
        if what == "pass":
            loop.m += abs(value)
        elif what == "anchor":
            clock.anchor(value, rate)
        now = clock.now()
        assert now >= last
        last = now


def test_wall_text_is_rfc_3339_with_offset() -> None:
    """RFC 3339 section 5.6 (date-time with offset); 5.8 gives 1996-12-19T16:39:57-08:00 equal to 1996-12-20T00:39:57Z.

    Source: RFC 3339 5.8, strings from memory, result calculated.
    """
    unix_s = datetime.fromisoformat("1996-12-19T16:39:57-08:00").timestamp()
    assert wall_text(unix_s) == "1996-12-20T00:39:57.000Z"
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", wall_text())
    assert abs(datetime.fromisoformat(wall_text()).timestamp() - wall_seconds()) < timedelta(seconds=5).total_seconds()


def test_heap_pop_on_empty_is_an_error() -> None:
    """Popping without asking for the next time first is a mistake of the caller and is told so."""
    with pytest.raises(IndexError, match="no wake-up"):
        WakeupHeap().pop()


def test_heap_counts_what_is_still_to_come() -> None:
    """The length leaves cancelled wake-ups out, before and after they are swept."""
    heap = WakeupHeap()
    armed = [heap.arm(float(t), lambda: None) for t in range(500)]
    for wakeup in armed[:400]:
        wakeup.cancel()
    assert len(heap) == 100
    assert heap.next_t() == 400.0
    assert len(heap) == 100
