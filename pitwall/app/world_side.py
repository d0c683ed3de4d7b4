"""The rehearsed world as a client of the bus: put on its link, run to its end; a word when the machine fell behind."""

from __future__ import annotations

from dataclasses import dataclass

import structlog

from pitwall.app.clients import WorldLink
from pitwall.app.lifecycle import Lifecycle
from pitwall.app.report import MachinePace, Recorder
from pitwall.app.scenarios import Rehearsal
from pitwall.model.outputs import Health, Output, Prompt
from pitwall.rehearsal.world import World
from pitwall.runtime.ports import Bus, Clock

_log = structlog.get_logger(__name__)



@dataclass(frozen=True)
class WorldSide:
    """World, bus, and how late each prompt reached it."""

    world: World
    bus: Bus
    late_s: list[float]


def world_side(
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


def pace_of(side: WorldSide, rate: float) -> MachinePace:
    """How the machine kept up, for the report; logged as well where it fell behind."""
    late = sorted(side.late_s) or [0.0]
    found = MachinePace(rate, late[-len(late) // 20], late[-1])
    if found.fell_behind:
        _log.warning("this machine fell behind, so calls came late: choose a lower --speed", speed=rate,
                     behind_session_s=round(found.late_s, 1))
    return found


async def run_world(life: Lifecycle, side: WorldSide) -> bool:
    """Start the world and wait for its end; False when somebody stopped it first."""
    await life.start("world's link", side.bus.start, side.bus.stop)
    side.world.start()
    return await life.wait_until(lambda: side.world.finished)
