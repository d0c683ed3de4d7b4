"""The compositions: how clock, bus, journal and world are put together. One daemon, host and engine in all of them.

    instant   virtual clock, in-memory bus with the codec between world and daemon, forecasts inline
    speed     live clocks at N times life, embedded broker, MQTT between world and daemon
    attach    the world alone, against a daemon elsewhere
    serve     live clock, journal on disk, any broker: in ``serving``
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import structlog

from pitwall.app.brokers import RunningBroker, own_broker
from pitwall.app.clients import AlertOver, Heard, Onlooker
from pitwall.app.daemon import Daemon, offline_message
from pitwall.app.day_watch import RehearsedDay
from pitwall.app.debrief_live import noted_until_the_end
from pitwall.app.journals import open_journal
from pitwall.app.lifecycle import Lifecycle
from pitwall.app.memory import few_collections
from pitwall.app.report import MachinePace, Recorder, make_report
from pitwall.app.scenarios import Rehearsal
from pitwall.app.screen import ScreenStart
from pitwall.app.slow_work import Beside, Inline
from pitwall.app.starting import start_daemon
from pitwall.app.world_side import pace_of, run_world, world_side
from pitwall.bus.address import BrokerAddress, parse_address
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.bus.mqtt import MqttBus
from pitwall.engine.session import Session
from pitwall.errors import InternalError
from pitwall.forecast.futures import forecast
from pitwall.journal.codec import digest
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import Stamped
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.truth import WorldOutcome
from pitwall.runtime.clock import LiveClock, awake_seconds
from pitwall.runtime.forecaster import ForecastFunction
from pitwall.runtime.health import HostHealth
from pitwall.runtime.ports import Decider, Journal
from pitwall.runtime.virtual_clock import VirtualClock

_log = structlog.get_logger(__name__)

MOST_AT_ONE_MOMENT = 20_000
Report = dict[str, Any]
WallSteps = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Audience:
    """Who looks on at a rehearsal: told the addresses of broker and screen, then hears all as a client of the bus."""

    told: Callable[[str, str | None], None]
    hear: Heard
    alert_over: AlertOver


@dataclass(frozen=True)
class Evidence:
    """What a report is made from, for studies that look closer: prompts, truth, journal, the host's figures."""

    recorder: Recorder
    outcome: WorldOutcome
    events: tuple[Stamped, ...]
    host: HostHealth


async def rehearse_instant(
    rehearsal: Rehearsal, journal_file: Path | None = None, witness: Callable[[Evidence], None] | None = None,
    *, wall_steps: WallSteps = (), progress: Callable[[float], None] | None = None, screens: bool = False,
) -> Report:
    """The report of an instant rehearsal: ``instant_evidence`` has the arguments. ``witness`` is shown its evidence."""
    evidence = await instant_evidence(rehearsal, journal_file, wall_steps=wall_steps, progress=progress,
                                      screens=screens)
    return _seen(rehearsal, evidence, witness)


async def instant_evidence(
    rehearsal: Rehearsal, journal_file: Path | None = None, *, wall_steps: WallSteps = (),
    progress: Callable[[float], None] | None = None, work: ForecastFunction = forecast, screens: bool = False,
) -> Evidence:
    """Run world and daemon on one virtual clock, as fast as the machine goes. Studies need no more than the evidence.

    Args:
        rehearsal: what to run.
        journal_file: keep the journal there; without it, it is gone afterwards.
        wall_steps: the day's wall clock is set at these session seconds by so many seconds.
        progress: told the session second, very often.
        work: the forecast, for studies that note what it was asked.
        screens: also make what clock, field and desks show, and the debriefs of runs, which are made anyway where a
            journal is kept. Nobody looks on at an instant, and it decides nothing.

    Raises:
        JournalError: when the journal cannot be written or already holds a session.
    """
    scenario, setup = rehearsal.scenario, rehearsal.setup
    async with Lifecycle() as life:
        clock, broker, recorder = VirtualClock(scenario.starts_at_s), MemoryBroker(), Recorder()
        engine = await _engine_for_instant(life, journal_file, screens)
        journal = await _journal_for_rehearsal(life, journal_file, setup)
        workers, day = Inline.on(clock, work), RehearsedDay(rehearsal.timetable, setup, clock, wall_steps)
        daemon = Daemon(
            setup, engine, clock=clock, journal=journal, bus=MemoryBus(broker, offline_message(setup.session)),
            forecaster=workers.forecaster, adviser=workers.adviser, sinks=(recorder,), follow_clock=False,
            watch=day.watch,
        )
        world = world_side(rehearsal, clock, MemoryBus(broker))
        await daemon.prepare(scenario.starts_at_s)
        day.begin(daemon.host)
        await life.start("daemon's link", daemon.bus.start, daemon.bus.stop)
        await life.start("world's link", world.bus.start, world.bus.stop)
        world.world.start()
        with few_collections():
            await clock.run(_settling(clock, daemon, progress), lambda: world.world.finished)
        return Evidence(recorder, world.world.outcome(), await journal.read(), daemon.host.health())


async def rehearse_at_speed(
    rehearsal: Rehearsal, rate: float, *, port: int = 0, journal_file: Path | None = None,
    audience: Audience | None = None, witness: Callable[[Evidence], None] | None = None, wall_steps: WallSteps = (),
    screen: ScreenStart | None = None,
) -> Report | None:
    """Run world, daemon and broker ``rate`` times faster than life, MQTT between them.

    Args:
        rehearsal: what to run.
        rate: session seconds in a real second.
        port, journal_file: of the embedded broker, 0 takes a free one; where the journal is kept.
        audience, witness: who looks on; who is shown the evidence at the end.
        wall_steps: as for :func:`rehearse_instant`.
        screen: started once the broker runs.

    Returns:
        The report, or None when it was broken off.

    Raises:
        BrokerError: when the broker cannot listen.
    """
    scenario, setup = rehearsal.scenario, rehearsal.setup
    async with Lifecycle() as life:
        life.stop_on_signals()
        address, recorder = await own_broker(life, port), Recorder()
        noted = await noted_until_the_end(life, journal_file)
        journal = await _journal_for_rehearsal(life, journal_file, setup)
        page = await screen(life, RunningBroker("embedded", address), setup) if screen else None
        await _seat(life, audience, address, setup.session, page)
        workers = await Beside.warm()
        # A rehearsal sleeps with its machine, unlike a session: nothing happens meanwhile.
        clock = LiveClock(scenario.starts_at_s, rate, monotonic=awake_seconds)
        day = RehearsedDay(rehearsal.timetable, setup, clock, wall_steps)
        daemon = Daemon(
            setup, noted, clock=clock, journal=journal,
            bus=MqttBus(address, "pitwall-daemon", offline_message(setup.session)),
            forecaster=workers.forecaster, adviser=workers.adviser, sinks=(recorder,),
            broker=f"embedded {address}", store=str(journal_file or "memory"), watch=day.watch,
        )
        await start_daemon(life, daemon, workers, scenario.starts_at_s)
        day.begin(daemon.host)
        world_clock = LiveClock(scenario.starts_at_s, rate, monotonic=awake_seconds)
        world = world_side(rehearsal, world_clock, MqttBus(address, "pitwall-world"), rate)
        finished = await run_world(life, world)
        await daemon.host.drain()
        if not finished:
            return None
        machine = pace_of(world, rate)
        evidence = Evidence(recorder, world.world.outcome(), await journal.read(), daemon.host.health())
        return _seen(rehearsal, evidence, witness, machine)


async def rehearse_attached(
    rehearsal: Rehearsal, address: BrokerAddress | str, rate: float, audience: Audience | None = None
) -> Report | None:
    """Run the world alone as a client of a broker, against whatever daemon serves the session there.

    Returns:
        The report without a digest, or None when it was broken off.

    Raises:
        BrokerError: when no broker answers.
    """
    scenario, setup = rehearsal.scenario, rehearsal.setup
    async with Lifecycle() as life:
        life.stop_on_signals()
        broker = parse_address(address) if isinstance(address, str) else address
        recorder = Recorder()
        await _seat(life, audience, broker, setup.session)
        world = world_side(rehearsal, LiveClock(scenario.starts_at_s, rate), MqttBus(broker), rate, recorder)
        if not await run_world(life, world):
            return None
        return _report(rehearsal, recorder, world.world.outcome(), None, pace_of(world, rate))


def _seen(
    rehearsal: Rehearsal, evidence: Evidence, witness: Callable[[Evidence], None] | None,
    machine: MachinePace | None = None,
) -> Report:
    if witness is not None:
        witness(evidence)
    return _report(rehearsal, evidence.recorder, evidence.outcome, digest(evidence.events), machine)


def _report(
    rehearsal: Rehearsal, recorder: Recorder, outcome: WorldOutcome, journal_digest: str | None,
    machine: MachinePace | None = None,
) -> Report:
    setup = rehearsal.setup
    return make_report(recorder, outcome, event=setup.event, plans=rehearsal.plan_names, session_s=setup.duration_s,
                       digest=journal_digest, machine=machine)


async def _seat(
    life: Lifecycle, audience: Audience | None, address: BrokerAddress, session: str, page: str | None = None
) -> None:
    if audience is None:
        return
    bus = MqttBus(address)
    Onlooker(bus, session, audience.hear, audience.alert_over)
    await life.start("audience", bus.start, bus.stop)
    audience.told(str(address), page)


def _settling(
    clock: VirtualClock, daemon: Daemon, progress: Callable[[float], None] | None
) -> Callable[[], Awaitable[None]]:
    """The host's drain, with a watch on time: wake-ups that make each other at one moment would run for ever.

    Raises:
        InternalError: from the returned function, when time stands still.
    """
    moment, wakeups = float("-inf"), 0

    async def settle() -> None:
        nonlocal moment, wakeups
        moment, wakeups = clock.now(), wakeups + 1 if clock.now() == moment else 0
        if wakeups > MOST_AT_ONE_MOMENT:
            raise InternalError(f"session time stands still at {moment:.3f} s; report it with scenario and seed")
        await daemon.host.drain()
        if progress is not None:
            progress(moment)

    return settle


async def _engine_for_instant(life: Lifecycle, journal_file: Path | None, screens: bool) -> Decider:
    """Without notes for a debrief where it is neither shown nor kept: they are some three per cent of a rehearsal."""
    if journal_file is not None or screens:
        return await noted_until_the_end(life, journal_file, screens)
    session = Session()
    session.notices.shown = False
    return session


async def _journal_for_rehearsal(life: Lifecycle, path: Path | None, setup: SessionSetup) -> Journal:
    if path is None:
        memory = MemoryJournal()
        await life.start("journal", None, memory.forget)
        return memory
    journal = await open_journal(path, setup, fresh=True)
    await life.start("journal", None, journal.close)
    return journal
