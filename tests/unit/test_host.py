"""The host: one writer, journal before engine before sinks, nothing that comes from outside takes it down."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Iterator, MutableMapping, Sequence
from typing import Any

import pytest
import structlog

from pitwall.errors import JournalError
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import (
    CarPositioned,
    ClockReported,
    LinkChanged,
    PromptDelivered,
    Stamped,
    SwitchReported,
    TimeReached,
)
from pitwall.model.outputs import Output, Refused, WakeAt
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.forecaster import InlineForecaster
from pitwall.runtime.host import Host
from pitwall.runtime.ports import Forecaster
from pitwall.runtime.virtual_clock import VirtualClock
from tests.replay.toy import Deaf, Desk, Ear, Toy, answer_of, command, crossing, told


class Slow(MemoryJournal):
    """A journal that notes its batches, and can be told to refuse."""

    def __init__(self) -> None:
        super().__init__()
        self.batches: list[list[int]] = []
        self.refuse = 0

    async def append(self, batch: Sequence[Stamped]) -> None:
        """Give others a turn first, as a disk would."""
        await asyncio.sleep(0)
        if self.refuse:
            self.refuse -= 1
            raise JournalError("disk full: free some space")
        await super().append(batch)
        self.batches.append([stamped.seq for stamped in batch])


class Bench:
    """A host with everything around it within reach."""

    def __init__(self, *, toy: Toy | None = None, forecaster: Forecaster | None = None, **options: object) -> None:
        self.clock, self.journal, self.toy, self.ear = VirtualClock(), Slow(), toy or Toy(), Ear()
        self.desk = Desk()
        self.host = Host(self.toy, self.journal, self.clock, forecaster or self.desk, [self.ear], **options)

    async def submit(self, *events: object) -> None:
        """Submit and drain."""
        for event in events:
            self.host.submit(event)
        await self.host.drain()

    async def to(self, t: float) -> None:
        """Drive virtual time."""
        await self.clock.run_to(t, self.host.drain)

    @property
    def seen(self) -> list[str]:
        """Ids of what the engine was given, in order."""
        return [stamped.event.id for stamped in self.toy.handled]


class Bell(Ear):
    """A sink that rings once it has heard enough."""

    def __init__(self, enough: Callable[[list[str]], bool]) -> None:
        super().__init__()
        self.heard, self._enough = asyncio.Event(), enough

    def take(self, outputs: Sequence[Output]) -> None:
        """Write down, and ring when it is enough."""
        super().take(outputs)
        if self._enough(self.ids):
            self.heard.set()


@pytest.fixture(autouse=True)
def lines() -> Iterator[list[MutableMapping[str, Any]]]:
    """What is logged, captured: printing pretty tracebacks would take most of the time."""
    with structlog.testing.capture_logs() as captured:
        yield captured


async def test_numbers_have_no_gap_and_times_never_fall() -> None:
    """Events are stamped in the order of submission; a late fact keeps its own time."""
    bench = Bench(batch_limit=4)
    await bench.to(10.0)
    await bench.submit(*(crossing(n, 9.0 - n) for n in range(7)))
    await bench.to(11.0)
    await bench.submit(crossing(7, 2.0))
    events = await bench.journal.read()
    assert [stamped.seq for stamped in events] == list(range(8))
    assert [stamped.event.t for stamped in events] == [9.0 - n for n in range(7)] + [2.0]
    assert [stamped.received_t for stamped in events] == [10.0] * 7 + [11.0]


async def test_takes_batches_up_to_the_limit() -> None:
    """Ten waiting events at a limit of four are three commits, in order."""
    bench = Bench(batch_limit=4)
    await bench.submit(*(crossing(n, 0.0) for n in range(10)))
    assert bench.journal.batches == [[0, 1, 2, 3], [4, 5, 6, 7], [8, 9]]
    assert bench.host.health().batches == 3


async def test_engine_and_sinks_see_only_what_is_stored() -> None:
    """At the moment the engine is handed an event, and again when the sink gets its output, it is in the journal."""
    journal = Slow()
    checked: list[str] = []

    class Watchful(Toy):
        def handle(self, stamped: Stamped) -> tuple[Output, ...]:
            assert stamped in journal._events
            return super().handle(stamped)

    class WatchfulEar(Ear):
        def take(self, outputs: Sequence[Output]) -> None:
            stored = {stamped.event.id for stamped in journal._events}
            assert {"x:41:0", "x:41:1"} <= stored
            checked.extend(output.id for output in outputs)

    host = Host(Watchful(), journal, VirtualClock(), Desk(), [WatchfulEar()])
    host.submit(crossing(0, 0.0))
    host.submit(crossing(1, 0.0))
    await host.drain()
    assert checked == ["lap:41:1", "lap:41:2"]
    assert host.health().poisoned == 0


async def test_outputs_keep_their_order_and_internal_ones_stay_inside() -> None:
    """Sinks get what was decided, in order; wake-ups and questions to the forecaster never reach them."""
    bench = Bench()
    await bench.submit(*(crossing(n, 0.0) for n in range(3)))
    assert [output.type for output in bench.ear.taken] == ["answered"] * 3
    assert bench.ear.ids == ["lap:41:1", "lap:41:2", "lap:41:3"]
    assert len(bench.desk.asked) == 1


async def test_same_id_is_the_same_fact() -> None:
    """In the same batch or later, a known id is dropped before the journal and counted."""
    bench = Bench()
    await bench.submit(crossing(1, 0.0), crossing(1, 0.0), crossing(2, 0.0))
    await bench.submit(crossing(1, 5.0))
    assert bench.seen == ["x:41:1", "x:41:2"]
    assert bench.host.health().duplicates == 2


async def test_timers_leave_as_outputs_and_return_as_events() -> None:
    """A wake-up asked for comes back as a journaled TimeReached at its time, and its reminder is told once."""
    bench = Bench()
    await bench.to(10.0)
    await bench.submit(crossing(0, 9.5))
    await bench.to(14.9)
    assert bench.ear.ids == ["lap:41:1"]
    await bench.to(15.0)
    assert bench.ear.ids == ["lap:41:1", "remind:x:41:0"]
    woken = (await bench.journal.read())[-1]
    assert isinstance(woken.event, TimeReached)
    assert (woken.event.t, woken.received_t) == (15.0, 15.0)


async def test_same_wakeup_is_armed_once() -> None:
    """However often the engine asks for the same moment, it is woken once for it."""
    bench = Bench()
    await bench.submit(*(crossing(n, 0.0, car) for n in range(4) for car in ("41", "58")))
    assert bench.host.health().wakeups_armed == 1
    await bench.to(6.0)
    assert sum(isinstance(stamped.event, TimeReached) for stamped in bench.toy.handled) == 1


async def test_overdue_wakeup_comes_at_once() -> None:
    """A wake-up for a moment that has passed comes at the next turn, not never."""

    class Tardy(Toy):
        def handle(self, stamped: Stamped) -> tuple[Output, ...]:
            self.handled.append(stamped)
            return (WakeAt(t=3.0),) if stamped.event.type == "car_crossed" else ()

    bench = Bench(toy=Tardy())
    await bench.to(10.0)
    await bench.submit(crossing(0, 9.0))
    await bench.to(10.0)
    assert bench.toy.handled[-1].event.type == "time_reached"
    assert bench.toy.handled[-1].received_t == 10.0


async def test_forecasts_leave_as_outputs_and_return_as_events() -> None:
    """The answer is journaled with its revision, stale ones too: dropping them is the engine's business."""
    bench = Bench()
    await bench.submit(*(crossing(n, 0.0) for n in range(6)))
    assert [wanted.revision for wanted, _ in bench.desk.asked] == [1, 2]
    bench.desk.answer_all()
    await bench.host.drain()
    stored = [stamped.event for stamped in await bench.journal.read() if stamped.event.type == "forecast_ready"]
    assert [event.revision for event in stored] == [1, 2]
    assert len({event.id for event in stored}) == 2
    assert [name for name in bench.ear.ids if name.startswith("forecast")] == ["forecast:2"]


async def test_inline_forecast_answers_after_its_latency() -> None:
    """In virtual time the answer comes a fixed time after the question."""
    bench = Bench()
    bench.host = Host(bench.toy, bench.journal, bench.clock, InlineForecaster(answer_of, bench.clock, 0.5))
    await bench.to(20.0)
    await bench.submit(*(crossing(n, 20.0) for n in range(3)))
    await bench.to(21.0)
    assert next(s.received_t for s in bench.toy.handled if s.event.type == "forecast_ready") == 20.5


async def test_failing_sink_stops_nobody() -> None:
    """A sink that raises is counted; the other sinks get everything, and the session goes on."""
    bench = Bench()
    host = Host(bench.toy, bench.journal, bench.clock, bench.desk, [Deaf(), bench.ear])
    host.submit(crossing(0, 0.0))
    await host.drain()
    host.restate()
    assert bench.ear.ids == ["lap:41:1"]
    assert len(bench.ear.restated) == 1
    assert host.health().sink_failures == 2


async def test_failing_forecaster_stops_nobody() -> None:
    """A forecaster that raises when asked is counted, and the outputs beside the question still leave."""

    class Broken:
        def ask(self, wanted: object, answer: object) -> None:
            raise RuntimeError("no thread left")

    bench = Bench(forecaster=Broken())
    await bench.submit(*(crossing(n, 0.0) for n in range(3)))
    assert len(bench.ear.ids) == 3
    assert bench.host.health().forecast_failures == 1


async def test_event_that_breaks_the_engine_is_journaled_refused_and_survived() -> None:
    """The command is stored, answered with a refusal that names it, counted; the next event is handled as ever."""
    bench = Bench()
    await bench.submit(command("c:1", 0.0, "boom"), crossing(0, 0.0))
    assert [stamped.event.id for stamped in await bench.journal.read()] == ["c:1", "x:41:0"]
    refusal = bench.ear.taken[0]
    assert isinstance(refusal, Refused)
    assert (refusal.because, refusal.car) == ("c:1", "41")
    assert bench.ear.ids == ["lap:41:1"]
    assert bench.host.health().poisoned == 1
    # What the engine had decided when it broke was lost on the way: what stands is said once more.
    assert len(bench.ear.restated) == 1


async def test_wakeup_lost_with_a_broken_event_is_asked_for_again() -> None:
    """If a timer's event breaks the engine, the engine is woken again a little later instead of sleeping for ever."""

    class Trips(Toy):
        trips = 1

        def handle(self, stamped: Stamped) -> tuple[Output, ...]:
            if isinstance(stamped.event, TimeReached) and self.trips:
                self.trips -= 1
                raise ValueError("tripped")
            return super().handle(stamped)

    bench = Bench(toy=Trips())
    await bench.submit(crossing(0, 0.0))
    await bench.to(30.0)
    reminder = bench.ear.taken[-1]
    assert reminder.id == "remind:x:41:0"
    assert reminder.t == 6.0


async def test_engine_that_always_breaks_does_not_spin() -> None:
    """An engine that breaks on everything, its wishes included, is woken about once a second, not in a circle."""

    class Dead(Toy):
        def handle(self, stamped: Stamped) -> tuple[Output, ...]:
            raise ValueError("dead")

        def open_wishes(self) -> tuple[Output, ...]:
            raise ValueError("dead")

        def standing(self) -> tuple[Output, ...]:
            raise ValueError("dead")

    bench = Bench(toy=Dead())
    await bench.submit(crossing(0, 0.0))
    await bench.to(60.0)
    bench.host.restate()
    assert 55 <= bench.host.health().journaled <= 65
    assert bench.host.health().poisoned >= 55


async def test_failing_journal_keeps_the_batch_and_releases_nothing() -> None:
    """What was not stored is not applied and nobody hears of it; health says why; the same batch is stored later."""
    bench = Bench()
    bench.journal.refuse = 1
    with pytest.raises(JournalError, match="disk full"):
        await bench.submit(crossing(0, 0.0), crossing(1, 0.0))
    assert (bench.toy.handled, bench.ear.taken) == ([], [])
    assert "disk full" in bench.host.health().store
    await bench.submit(crossing(2, 0.0))
    assert bench.seen == ["x:41:0", "x:41:1", "x:41:2"]
    assert [stamped.seq for stamped in await bench.journal.read()] == [0, 1, 2]
    assert bench.host.health().store == "ok"
    assert bench.host.health().store_failures == 1


async def test_two_drains_are_still_one_writer() -> None:
    """Draining from two tasks at once interleaves no batch."""
    bench = Bench(batch_limit=2)
    for n in range(9):
        bench.host.submit(crossing(n, 0.0))
    await asyncio.gather(bench.host.drain(), bench.host.drain())
    assert [stamped.seq for stamped in await bench.journal.read()] == list(range(9))


async def test_what_a_sink_submits_is_taken_in_the_same_drain() -> None:
    """A delivered prompt comes back as an event once, even when its delivery is told again after a reconnection."""
    bench = Bench()

    class Broker(Ear):
        def take(self, outputs: Sequence[Output]) -> None:
            for output in outputs:
                if output.id.startswith("lap"):
                    bench.host.submit(PromptDelivered(id=f"delivered:{output.id}", t=0.0, prompt=output.id))

    bench.host.add_sink(broker := Broker())
    await bench.submit(crossing(0, 0.0))
    broker.take([told("lap:41:1", 0.0, "again")])
    await bench.host.drain()
    assert bench.seen == ["x:41:0", "delivered:lap:41:1"]


async def test_positions_are_thinned_before_the_journal() -> None:
    """Fifty positions a second for two seconds become some six a second for each car (5 Hz with jitter passes); what is
    not a position passes."""
    bench = Bench()
    for n in range(100):
        for car in ("41", "58"):
            bench.host.submit(CarPositioned(id=f"p:{car}:{n}", t=n * 0.02, car=car, distance_m=n * 1.5))
    bench.host.submit(crossing(0, 2.0))
    await bench.host.drain()
    kinds = [stamped.event.type for stamped in await bench.journal.read()]
    assert kinds.count("car_positioned") == 2 * 13
    assert kinds.count("car_crossed") == 1
    assert bench.host.health().thinned == 200 - 26


async def test_full_queue_refuses_chatter_and_keeps_facts() -> None:
    """Over the limit, positions and clock reports are dropped and counted; crossings and commands all get through."""
    bench = Bench(queue_limit=10, position_every_s=0.0)
    for n in range(30):
        bench.host.submit(CarPositioned(id=f"p:{n}", t=float(n), car="41", distance_m=1.0))
        bench.host.submit(crossing(n, float(n)))
        bench.host.submit(command(f"c:{n}", float(n)))
    health = bench.host.health()
    assert health.queue_depth > 10
    assert health.dropped > 0
    await bench.host.drain()
    kinds = [stamped.event.type for stamped in await bench.journal.read()]
    assert (kinds.count("car_crossed"), kinds.count("command_given")) == (30, 30)
    assert kinds.count("car_positioned") + bench.host.health().dropped == 30
    # A dropped message that its source sends again is welcome: it was never taken.
    await bench.submit(CarPositioned(id="p:29", t=29.0, car="41", distance_m=1.0))
    assert (await bench.journal.read())[-1].event.id == "p:29"


async def test_health_tells_the_figures() -> None:
    """Feed age counts from the last timing fact, in session seconds; the desk is no feed. Each feed has its own age,
    and positions count for the timing as well."""
    bench = Bench()
    assert bench.host.health().feed_age_s is None
    await bench.submit(command("c:1", 0.0))
    assert bench.host.health().feed_age_s is None
    await bench.submit(crossing(0, 0.0))
    await bench.to(42.0)
    await bench.submit(command("c:2", 42.0), LinkChanged(id="l:1", t=42.0, connected=False))
    health = bench.host.health()
    assert health.feed_age_s == 42.0
    await bench.submit(SwitchReported(id="s:1", t=50.0, car="41", switch="torque", position=4))
    assert bench.host.health().feed_ages_s == {"switches": 0.0, "timing": 42.0}
    await bench.submit(CarPositioned(id="p:1", t=50.0, car="41", distance_m=1.0))
    assert (bench.host.health().feed_age_s, bench.host.health().feed_ages_s["timing"]) == (0.0, 42.0)
    assert health.t == 42.0
    assert health.journaled == health.accepted == 5  # the crossing's reminder is one of them
    assert (health.queue_depth, health.lag_s, health.store) == (0, 0.0, "ok")


async def test_clock_reports_set_the_clock_before_they_are_stamped() -> None:
    """Session time and its rate follow the feed; the report itself is stamped with the new time."""
    clock, journal = VirtualClock(follows=True), MemoryJournal()
    host = Host(Toy(), journal, clock, Desk())
    host.submit(ClockReported(id="k:1", t=120.0, remaining_s=3480, running=True, rate=30))
    await host.drain()
    assert clock.rate == 30.0
    assert (await journal.read())[0].received_t == 120.0


async def test_clock_reports_leave_a_shared_clock_alone() -> None:
    """Where the reports are made from this very clock the host does not follow them."""
    clock = VirtualClock(follows=True)
    host = Host(Toy(), MemoryJournal(), clock, Desk(), follow_clock=False)
    host.submit(ClockReported(id="k:1", t=120.0, remaining_s=3480, running=True, rate=30))
    assert (clock.now(), clock.rate) == (0.0, 1.0)


async def test_live_loop_takes_what_comes_and_ends_when_told() -> None:
    """On asyncio and a live clock at 100 times life: facts, timers and forecasts come through; stop ends the loop."""
    clock, journal = LiveClock(rate=100.0), MemoryJournal()
    ear = Bell(lambda ids: sum(name.startswith("remind") for name in ids) == 3)
    host = Host(Toy(), journal, clock, InlineForecaster(answer_of, clock, 0.5), [ear])
    running = asyncio.create_task(host.run())
    for n in range(3):
        host.submit(crossing(n, clock.now()))
    async with asyncio.timeout(30):
        await ear.heard.wait()
    host.submit(crossing(3, clock.now()))
    host.stop()
    await asyncio.wait_for(running, 30)
    assert ear.ids[-1] == "lap:41:4"
    assert "forecast:1" in ear.ids
    assert host.health().wakeups_armed == 0


async def test_live_loop_outlives_a_failing_journal(monkeypatch: pytest.MonkeyPatch) -> None:
    """The loop tries a refused batch again until it is taken, then goes on."""
    monkeypatch.setattr("pitwall.runtime.host.STORE_RETRY_S", 0.001)
    journal, ear = Slow(), Bell(bool)
    journal.refuse = 3
    host = Host(Toy(), journal, LiveClock(), Desk(), [ear])
    running = asyncio.create_task(host.run())
    host.submit(crossing(0, 0.0))
    async with asyncio.timeout(30):
        await ear.heard.wait()
    host.stop()
    await asyncio.wait_for(running, 30)
    assert host.health().store_failures == 3


async def test_stopping_with_a_dead_journal_still_stops() -> None:
    """A store that refuses for good does not keep the daemon from ending."""
    journal = Slow()
    journal.refuse = 10**6
    host = Host(Toy(), journal, LiveClock(), Desk(), [])
    host.submit(crossing(0, 0.0))
    host.stop()
    await asyncio.wait_for(host.run(), 30)
    assert host.health().queue_depth == 1


async def test_log_of_a_broken_event_names_it(lines: list[MutableMapping[str, Any]]) -> None:
    """What broke the engine is logged with number and content, so that it can be reported."""
    await Bench().submit(command("c:1", 0.0, "boom"))
    line = next(line for line in lines if "engine failed" in line["event"])
    assert line["seq"] == 0
    assert json.loads(line["fact"])["id"] == "c:1"
    assert isinstance(line["exc_info"], RuntimeError)


async def test_log_says_when_chatter_is_refused_and_taken_again(lines: list[MutableMapping[str, Any]]) -> None:
    """One line when the queue fills, one when there is room again; not one for every message."""
    bench = Bench(queue_limit=5)
    for n in range(50):
        bench.host.submit(crossing(n, 0.0))
    await bench.submit(crossing(50, 0.0))
    await bench.submit(crossing(51, 0.0))
    assert [line["event"] for line in lines if "queue" in line["event"]] == [
        "queue full: chatter is refused", "queue has room again"]
