"""The wall clock is set by an hour during a rehearsal: no prompt is dropped, delayed or repeated, and reminders behave
as documented. On virtual time, on a live clock with the scheduler of a real day, and over MQTT at speed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, tzinfo
from functools import cache
from pathlib import Path

import apscheduler.executors.base
import apscheduler.schedulers.base
import pytest

from pitwall.app.clients import WorldLink
from pitwall.app.daemon import Daemon, offline_message
from pitwall.app.day_watch import DayWatch
from pitwall.app.report import Recorder
from pitwall.app.scenarios import Rehearsal, load_rehearsal
from pitwall.app.slow_work import FORECAST_LATENCY_S
from pitwall.app.wiring import Evidence, WallSteps, rehearse_at_speed, rehearse_instant
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.engine.session import Session
from pitwall.forecast.futures import forecast
from pitwall.journal.memory import MemoryJournal
from pitwall.journal.replay import replay
from pitwall.model.events import Resumed, Stamped, TimetableReached
from pitwall.model.outputs import Output, Prompt
from pitwall.model.timetable import TimetableEntry
from pitwall.rehearsal.world import World
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.forecaster import InlineForecaster
from pitwall.runtime.steps import StepWatch
from pitwall.runtime.wall_timetable import WallTimetable
from tests.contract.test_timetable_contract import Loop

HOUR = 3600.0
STARTS_S, LASTS_S = -2900.0, 420.0
BRIEFING, WARM_UP, FIRE_UP, OPENS = (f"{name}-practice-1" for name in ("briefing", "warm_up", "fire_up", "opens"))

Told = list[tuple[str, float, bool]]


@cache
def short_morning() -> Rehearsal:
    """The demo's morning: from 48 minutes before the session to the end of its first 7 minutes."""
    whole = load_rehearsal("practice_hour.yaml", seed=3)
    scenario = whole.scenario.model_copy(update={"starts_at_s": STARTS_S, "duration_s": LASTS_S})
    return replace(whole, scenario=scenario, setup=scenario.fitted(whole.setup))


def prompts(recorder: Recorder) -> list[Prompt]:
    """Every prompt that was given out, in a fixed order."""
    return [prompt for call in sorted(recorder.calls) for prompt in recorder.calls[call]]


def rounded(given: Sequence[Prompt]) -> list[dict[str, object]]:
    """The same with every figure rounded to a tenth of a millisecond."""
    return [{name: round(value, 4) if isinstance(value, float) else value for name, value in dict(prompt).items()}
            for prompt in given]


def told(events: Iterable[Stamped]) -> Told:
    """What the timetable told: entry, how late in seconds, passed."""
    facts = [stamped.event for stamped in events]
    return [(one.entry, round(one.late_s), one.passed) for one in facts if isinstance(one, TimetableReached)]


async def on_virtual_time(steps: WallSteps) -> tuple[list[Prompt], Told]:
    """Rehearse at once."""
    found: list[Evidence] = []
    await rehearse_instant(short_morning(), witness=found.append, wall_steps=steps)
    return prompts(found[0].recorder), told(found[0].events)


async def test_virtual_time_prompts_are_those_of_the_unstepped_twin() -> None:
    """Set an hour forward, an hour back, and to and fro: the same prompts to the byte, and the timetable as
    documented."""
    plain, day = await on_virtual_time(())
    assert len(plain) > 30
    assert day == [(BRIEFING, 0, False), (WARM_UP, 0, False), (FIRE_UP, 0, False), (OPENS, 0, False)]

    forward, day = await on_virtual_time([(-1000.0, HOUR)])
    assert forward == plain
    # At -1000 s the wall clock shows +2600 s, noticed within a second or so: fire-up (grace 300 s) and opening passed.
    assert [(name, passed) for name, _, passed in day] \
        == [(BRIEFING, False), (WARM_UP, False), (FIRE_UP, True), (OPENS, True)]
    assert day[2][1] == pytest.approx(2900, abs=10)

    back, day = await on_virtual_time([(-1000.0, -HOUR)])
    assert back == plain
    # The hour before comes again: what was told is not told again, and what is ahead is an hour further off.
    assert day == [(BRIEFING, 0, False), (WARM_UP, 0, False)]

    to_and_fro, day = await on_virtual_time([(-2000.0, HOUR), (-1500.0, -HOUR), (150.0, HOUR), (300.0, -HOUR)])
    assert to_and_fro == plain
    # Reported as passed by the wrong clock, and told in their time when it was put right.
    assert [entry for entry in day if not entry[2]] \
        == [(BRIEFING, 0, False), (WARM_UP, 0, False), (FIRE_UP, 0, False), (OPENS, 0, False)]
    assert {name for name, _, passed in day if passed} == {WARM_UP, FIRE_UP, OPENS}


class LiveMorning:
    """A live composition at thirty times life on a hand-cranked loop: live clock, daemon, world, APScheduler.

    ``step_at_s`` sets the wall clock, which everybody reads, when the loop has run for so many real seconds.
    """

    RATE = 30.0

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        loop = self.loop = Loop()

        class Reading(datetime):
            @classmethod
            def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]  # APScheduler wants one
                return datetime.fromtimestamp(loop.wall(), tz)

        monkeypatch.setattr(apscheduler.schedulers.base, "datetime", Reading)
        monkeypatch.setattr(apscheduler.executors.base, "datetime", Reading)
        rehearsal = short_morning()
        scenario = rehearsal.scenario.model_copy(update={"starts_at_s": -60.0})
        setup = scenario.fitted(rehearsal.setup)
        self.clock = LiveClock(-60.0, self.RATE, monotonic=loop.monotonic, wall=loop.wall, loop=loop)
        broker, self.recorder, self.journal = MemoryBroker(), Recorder(), MemoryJournal()
        self.daemon = Daemon(
            setup, Session(), clock=self.clock, journal=self.journal, follow_clock=False, sinks=(self.recorder,),
            bus=MemoryBus(broker, offline_message(setup.session)),
            forecaster=InlineForecaster(forecast, self.clock, FORECAST_LATENCY_S),
            watch=StepWatch(stood_still_s=math.inf, elapsed=loop.monotonic, awake=loop.monotonic, wall=loop.wall),
        )
        self._world_bus = MemoryBus(broker)
        link = WorldLink(self._world_bus, setup.session)
        self.world = World(scenario, setup, rehearsal.seed, self.clock, link.send, rate=self.RATE)
        link.listen(self._hear)
        self.timetable = WallTimetable(loop.wall, loop=loop, scheduler_wall=loop.wall)
        self._begins_wall = loop.wall()

    def _hear(self, output: Output) -> None:
        if isinstance(output, Prompt) or output.type in ("answered", "refused"):
            self.world.hear(output)

    def entries(self, *after_s: float) -> Sequence[TimetableEntry]:
        """Entries so many real seconds after the beginning, by the wall clock as it is now; told at most 10 s late."""
        return [TimetableEntry(name=f"at-{after:g}", kind="reminder", text="now", grace_s=10.0,
                               moment=datetime.fromtimestamp(self._begins_wall + after, UTC)) for after in after_s]

    async def run(self, entries: Sequence[TimetableEntry], steps: Sequence[tuple[float, float]] = ()) -> None:
        """To the end of the session; ``steps`` are real seconds since the beginning, and by how much."""
        await self.daemon.prepare(-60.0, "2031-05-16T10:29:00+02:00")
        await self.daemon.bus.start()
        await self._world_bus.start()
        DayWatch(self.daemon.host, self.clock, self.timetable).begin(entries, self._begins_wall)
        self.world.start()
        for at, seconds in steps:
            self.loop.call_later(at, self._setting(seconds))
        await self.daemon.host.drain()
        while not self.world.finished and (alarms := [timer.at for timer in self.loop.timers if timer.live]):
            self.loop.pass_s(max(0.0, min(alarms) - self.loop.m) + 1e-9)
            self.daemon.host.look()
            await self.daemon.host.drain()
        self.timetable.stop()
        await self.daemon.bus.stop()

    def _setting(self, seconds: float) -> Callable[[], None]:
        def set_it() -> None:
            self.loop.wall_offset += seconds

        return set_it


DAYS = {
    # 15 s after the beginning an hour forward: 20 is long over, 3606 was 9 s ago, 3625 is still to come
    HOUR: [("at-5", False), ("at-20", True), ("at-3606", False), ("at-3625", False)],
    -HOUR: [("at-5", False)],
}


async def test_live_clock_with_the_scheduler_of_a_real_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a live clock thirty times as fast as life, with APScheduler and a wall clock that is set: the prompts are
    those of the twin whose clock nobody touched, to the tenth of a millisecond (cranking takes 1 ns a timer)."""
    plain = LiveMorning(monkeypatch)
    await plain.run(plain.entries(5, 20))
    assert told(await plain.journal.read()) == [("at-5", 0, False), ("at-20", 0, False)]
    assert len(prompts(plain.recorder)) > 30

    for step, day in DAYS.items():
        stepped = LiveMorning(monkeypatch)
        await stepped.run(stepped.entries(5, 20, 3606, 3625), [(15.0, step)])
        events = await stepped.journal.read()
        assert [(name, passed) for name, _, passed in told(events)] == day
        assert not [one for one in events if isinstance(one.event, Resumed)]
        assert rounded(prompts(stepped.recorder)) == rounded(prompts(plain.recorder))


async def test_over_mqtt_at_speed_the_day_decides_no_prompt(tmp_path: Path) -> None:
    """World, daemon and broker for real, at speed, the wall clock set to and fro: the journal without the day gives the
    very prompts that were given out, none of which came again, and nobody is said to have slept."""
    short = short_morning()
    scenario = short.scenario.model_copy(update={"starts_at_s": -400.0, "duration_s": 500.0, "close_after_s": 20.0})
    rehearsal = replace(short, scenario=scenario, setup=scenario.fitted(short.setup))
    found: list[tuple[Evidence, list[Prompt]]] = []
    steps = [(-350.0, HOUR), (-200.0, -HOUR), (100.0, -HOUR), (200.0, HOUR), (300.0, HOUR)]

    def witness(evidence: Evidence) -> None:
        # Here and now: until it is stopped the daemon goes on to decide, on facts that this journal has not.
        found.append((evidence, prompts(evidence.recorder)))

    assert await rehearse_at_speed(rehearsal, 150.0, witness=witness, wall_steps=steps) is not None
    ((evidence, said),) = found
    day = told(evidence.events)
    assert [name for name, _, passed in day if not passed] == [FIRE_UP, OPENS]
    assert {name for name, _, passed in day if passed} <= {FIRE_UP, OPENS}
    assert not [one for one in evidence.events if isinstance(one.event, Resumed)]

    without = [one for one in evidence.events if not isinstance(one.event, TimetableReached)]
    renumbered = [one.model_copy(update={"seq": seq, "wall_s": None}) for seq, one in enumerate(without)]
    _, outputs = replay(renumbered, Session)
    decided = {output.id: output for output in outputs if isinstance(output, Prompt)}
    given = {prompt.id: prompt for prompt in said}
    assert given == decided
    assert len(given) > 10
