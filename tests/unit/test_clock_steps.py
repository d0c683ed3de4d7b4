"""A sleep, a process that stood still and a wall clock that was set are told apart, on each system as far as it can."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import pytest

from pitwall.runtime.clock import LiveClock, awake_seconds, chosen_elapsed, elapsed_seconds
from pitwall.runtime.steps import StepWatch, TimeStep
from tests.contract.test_timetable_contract import Loop


class Machine:
    """Three clocks of a machine. ``stops_asleep`` is whether its monotonic clock stands still in a suspend."""

    def __init__(self, stops_asleep: bool = True, has_elapsed: bool = True) -> None:
        self.awake, self.elapsed, self.wall = 100.0, 100.0, 1.7e9
        self.stops_asleep, self.has_elapsed = stops_asleep, has_elapsed

    def runs(self, seconds: float, drift: float = 0.0) -> None:
        """Time passes."""
        self.awake += seconds
        self.elapsed += seconds
        self.wall += seconds + drift

    def sleeps(self, seconds: float) -> None:
        """The lid is shut."""
        self.elapsed += seconds
        self.wall += seconds
        if not self.stops_asleep:
            self.awake += seconds

    def watch(self) -> StepWatch:
        """A watch over it."""
        elapsed = (lambda: self.elapsed) if self.has_elapsed else (lambda: self.awake)
        return StepWatch(elapsed=elapsed, awake=lambda: self.awake, wall=lambda: self.wall)


def test_drift_is_no_step() -> None:
    """A clock that is disciplined by 20 ms a look never adds up to a step."""
    machine = Machine()
    watch = machine.watch()
    for _ in range(500):
        machine.runs(1, drift=0.02)
        assert not watch.look()


@pytest.mark.parametrize("at_reading", [0, 1, 2, 3])
@pytest.mark.parametrize("away_s", [0.8, 30.0])
def test_a_process_that_waits_between_two_readings_saw_no_step(at_reading: int, away_s: float) -> None:
    """A busy machine takes the processor away between the readings of two clocks: no sleep, and nobody set the clock.
    A second and a half later the look is again as any other."""
    machine, readings = Machine(), iter(range(1000))
    due: list[float] = []

    def reads(clock: str) -> Callable[[], float]:
        def read() -> float:
            if due and next(readings) == at_reading:
                machine.runs(due.pop())
            return float(getattr(machine, clock))
        return read

    watch = StepWatch(stood_still_s=math.inf, elapsed=reads("elapsed"), awake=reads("awake"), wall=reads("wall"))
    machine.runs(1)
    due.append(away_s)
    assert not watch.look()
    assert not due
    machine.runs(1.5)
    assert not watch.look()
    machine.sleeps(1800)
    assert watch.look().slept_s == pytest.approx(1800)


@pytest.mark.parametrize("set_by", [3600.0, -3600.0, 1.5])
def test_wall_clock_set_is_a_step_and_no_gap(set_by: float) -> None:
    """The wall clock set by an hour or a second is told once, by its size, and nobody was away."""
    machine = Machine()
    watch = machine.watch()
    machine.runs(1)
    machine.wall += set_by
    assert watch.look() == TimeStep(wall_s=pytest.approx(set_by))
    machine.runs(1)
    assert not watch.look()


def test_sleep_where_timers_stand_still() -> None:
    """Linux and macOS: the monotonic clock stands still, the other goes on: asleep, and the wall clock was not set."""
    machine = Machine()
    watch = machine.watch()
    machine.runs(1)
    machine.sleeps(1800)
    found = watch.look()
    assert (found.gap_s, found.slept_s, found.wall_s) == (pytest.approx(1800), pytest.approx(1800), 0.0)
    assert not watch.look()


def test_sleep_where_both_clocks_go_on() -> None:
    """Windows: nothing stands still, but nobody looked for half an hour: a gap, in which timers ran out."""
    machine = Machine(stops_asleep=False)
    watch = machine.watch()
    machine.runs(1)
    machine.sleeps(1800)
    found = watch.look()
    assert (found.gap_s, found.slept_s, found.wall_s) == (pytest.approx(1801), 0.0, 0.0)


def test_busy_machine_is_no_gap_and_a_stopped_process_is_one() -> None:
    """A look that is ten seconds late is a slow machine, later ones are a process that was stopped."""
    machine = Machine()
    watch = machine.watch()
    machine.runs(10)
    assert not watch.look()
    machine.runs(60)
    assert watch.look() == TimeStep(gap_s=pytest.approx(60))


def test_sleep_and_step_at_once() -> None:
    """Asleep for ten minutes and set two hours forward meanwhile: both are told."""
    machine = Machine()
    watch = machine.watch()
    machine.sleeps(600)
    machine.wall += 7200
    found = watch.look()
    assert (found.slept_s, found.wall_s) == (pytest.approx(600), pytest.approx(7200))


def test_system_without_such_a_clock_takes_a_sleep_for_a_step() -> None:
    """Documented fallback: no reading goes on in a sleep, so it looks like a wall clock set forward: no gap."""
    machine = Machine(has_elapsed=False)
    watch = machine.watch()
    machine.sleeps(1800)
    assert watch.look() == TimeStep(wall_s=pytest.approx(1800))


class Readings:
    """Stands in for the module ``time`` of another system."""

    def __init__(self, refuses: bool = False, **numbers: int) -> None:
        self.refuses = refuses
        self.__dict__.update(numbers)

    def monotonic(self) -> float:
        """Python's own."""
        return 1.0

    def clock_gettime(self, number: int) -> float:
        """The system's, by number."""
        if self.refuses:
            raise OSError("not in this kernel")
        return 10.0 + number


@pytest.mark.parametrize(
    ("system", "readings", "reads"),
    [
        ("linux", Readings(CLOCK_BOOTTIME=7, CLOCK_MONOTONIC=1), 17.0),
        ("linux", Readings(refuses=True, CLOCK_BOOTTIME=7), 1.0),
        ("linux", Readings(CLOCK_MONOTONIC=1), 1.0),
        ("darwin", Readings(CLOCK_MONOTONIC=6, CLOCK_UPTIME_RAW=8), 16.0),
        ("win32", Readings(), 1.0),
        ("freebsd14", Readings(CLOCK_MONOTONIC=4), 1.0),
    ],
)
def test_reading_that_goes_on_in_a_sleep(system: str, readings: Readings, reads: float) -> None:
    """Linux CLOCK_BOOTTIME (clock_gettime(2): "includes any time that the system is suspended"), macOS CLOCK_MONOTONIC
    (clock_gettime(3): continues while asleep), else Python's monotonic; also where the system refuses its own.

    Source: the manual pages named, words from memory.
    """
    assert chosen_elapsed(system, readings)() == reads


def test_readings_of_this_machine_advance_together() -> None:
    """Awake, both readings advance alike and never fall."""
    before = awake_seconds(), elapsed_seconds()
    time.sleep(0.01)
    after = awake_seconds(), elapsed_seconds()
    assert 0.01 <= after[0] - before[0] < 60
    assert after[1] - before[1] == pytest.approx(after[0] - before[0], abs=0.5)


@pytest.mark.parametrize("stops_asleep", [True, False])
def test_session_time_is_right_after_a_sleep(stops_asleep: bool) -> None:
    """Whether the loop's own clock stood still or not: 20 minutes asleep are 20 minutes of the session, and the next
    wake-up is neither lost nor waits for what the loop still counts down."""
    loop = Loop()
    asleep = {"s": 0.0}
    elapsed: Callable[[], float] = lambda: loop.m + asleep["s"]  # noqa: E731  # a reading in one line
    clock = LiveClock(0.0, monotonic=elapsed, wall=loop.wall, loop=loop)
    rang: list[float] = []
    clock.call_at(100.0, lambda: rang.append(clock.now()))
    clock.call_at(1300.0, lambda: rang.append(clock.now()))
    loop.pass_s(10)
    if stops_asleep:
        asleep["s"] += 1200
    else:
        loop.m += 1200  # the timers ran out meanwhile, and ring now
    clock.retime()
    loop.pass_s(0)
    assert clock.now() == pytest.approx(1210)
    assert rang == [pytest.approx(1210)]
    loop.pass_s(90)
    assert rang[1:] == [pytest.approx(1300)]
