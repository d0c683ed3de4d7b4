"""The rehearsed world beside a daemon: its link, how far it may fall behind, and time that goes on while it acts."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

import structlog

from pitwall.app.clients import WorldLink
from pitwall.app.daemon import Daemon
from pitwall.app.lifecycle import Lifecycle
from pitwall.app.report import Recorder
from pitwall.app.scenarios import Rehearsal
from pitwall.errors import InternalError
from pitwall.model.outputs import Health, Output, Prompt
from pitwall.rehearsal.world import World
from pitwall.runtime.clock import VirtualClock
from pitwall.runtime.ports import Bus, Clock

_log = structlog.get_logger(__name__)

FELL_BEHIND_S = 2.0
MOST_AT_ONE_MOMENT = 20_000


@dataclass(frozen=True)
class WorldSide:
    """The world, its link, and by how much each prompt was late there, session seconds."""

    world: World
    bus: Bus
    late_s: list[float]


def make_world(
    rehearsal: Rehearsal, clock: Clock, bus: Bus, rate: float = 1.0, recorder: Recorder | None = None
) -> WorldSide:
    """The world on its bus; with a recorder, everything that the daemon publishes is noted from the bus as well."""
    link = WorldLink(bus, rehearsal.setup.session)
    world = World(rehearsal.scenario, rehearsal.setup, rehearsal.seed, clock, link.send, rate=rate)
    late_s: list[float] = []

    def hear(output: Output | Health) -> None:
        if isinstance(output, Health):
            return
        if isinstance(output, Prompt):
            late_s.append(clock.now() - output.t)
        if recorder is not None:
            recorder.take([output])
        world.hear(output)

    link.listen(hear, everything=recorder is not None)
    return WorldSide(world, bus, late_s)


def warn_if_behind(side: WorldSide, rate: float) -> None:
    """Say so when one prompt in twenty reached the world seconds after it was decided: then calls came late."""
    late = sorted(side.late_s)[-len(side.late_s) // 20 :]
    if late and late[0] > FELL_BEHIND_S:
        _log.warning("this machine fell behind, so calls came late: choose a lower --speed", speed=rate,
                     behind_session_s=round(late[0], 1))


async def run_world(life: Lifecycle, side: WorldSide) -> bool:
    """Start the world and wait for its end; False when somebody stopped it first."""
    await life.start("world's link", side.bus.start, side.bus.stop)
    side.world.start()
    return await life.wait_until(lambda: side.world.finished)


def settling(
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
