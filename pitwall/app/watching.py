"""Looking on: a client of any broker that follows a session and may give commands."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import suppress

from pitwall.app.clients import AlertOver, Heard, Onlooker
from pitwall.app.lifecycle import Lifecycle
from pitwall.bus.address import BrokerAddress
from pitwall.bus.mqtt import MqttBus
from pitwall.errors import BrokerError, UserError
from pitwall.model.outputs import Health, Output, PlanState

SPEAKS_WITHIN_S = 3.0
RETAINED_WITHIN_S = 0.5
TRY_AGAIN_AFTER_S = 1.0

Show = Callable[[Onlooker, asyncio.Event], Awaitable[None]]


async def watch(
    address: BrokerAddress | str, session: str | None, hear: Heard, alert_over: AlertOver, show: Show | None = None,
    waits: Callable[[str], None] | None = None,
) -> None:
    """Follow a session until somebody stops it. A broker that is not there yet is waited for.

    Args:
        address: of the broker.
        session: which session; the first that speaks when left out.
        hear, alert_over: what is called with each message, and with each alert that was cleared.
        show: runs meanwhile, with the onlooker to give commands through; ends by setting the event it is given.
        waits: told why there is no link yet, once for each reason.

    Raises:
        UserError: when the address cannot be read.
    """
    async with Lifecycle() as life:
        life.stop_on_signals()
        bus = MqttBus(address)
        onlooker = Onlooker(bus, session, hear, alert_over)
        if not await _linked(bus, life.stopping, waits or (lambda reason: None)):
            return
        await life.start("link", None, bus.stop)
        if show is not None:
            await show(onlooker, life.stopping)
        else:
            await life.wait()


async def _linked(bus: MqttBus, stopping: asyncio.Event, waits: Callable[[str], None]) -> bool:
    """Try until the broker answers; False when somebody wishes to stop before."""
    told = ""
    while not stopping.is_set():
        try:
            await bus.start()
            return True
        except BrokerError as failure:
            if str(failure) != told:
                told = str(failure)
                waits(told)
        with suppress(TimeoutError):
            await asyncio.wait_for(stopping.wait(), TRY_AGAIN_AFTER_S)
    return False


async def planned_cars(address: BrokerAddress | str, session: str) -> tuple[str, ...]:
    """The cars that a daemon has plans for, from what it left on the broker; none when no daemon was there.

    Raises:
        UserError: when the address or the session cannot be used.
        BrokerError: when no broker answers.
    """
    cars: set[str] = set()

    def hear(output: Output | Health) -> None:
        if isinstance(output, PlanState):
            cars.add(output.car)

    bus = MqttBus(address)
    Onlooker(bus, session, hear, lambda alert: None)
    await bus.start()
    await asyncio.sleep(RETAINED_WITHIN_S)
    await bus.stop()
    return tuple(sorted(cars, key=lambda car: (len(car), car)))


async def find_session(address: BrokerAddress | str) -> str:
    """The session of the daemon that speaks on this broker.

    Raises:
        UserError: when none is heard in time; says what to give instead.
        BrokerError: when no broker answers.
    """
    found = asyncio.Event()

    def hear(output: Output | Health) -> None:
        if onlooker.session is not None:
            found.set()

    bus = MqttBus(address)
    onlooker = Onlooker(bus, None, hear, lambda alert: None)
    await bus.start()
    try:
        with suppress(TimeoutError):
            await asyncio.wait_for(found.wait(), SPEAKS_WITHIN_S)
    finally:
        await bus.stop()
    if onlooker.session is None:
        raise UserError(f"no daemon speaks on {address}: start one with pitwall serve, or give --session")
    return onlooker.session
