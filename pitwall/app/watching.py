"""Looking on: a client of any broker that follows a session and may give commands."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import suppress

from pitwall.app.clients import AlertOver, Heard, Onlooker
from pitwall.app.lifecycle import Lifecycle
from pitwall.bus.address import parse_address
from pitwall.bus.mqtt import MqttBus
from pitwall.errors import UserError
from pitwall.model.outputs import Health, Output

SPEAKS_WITHIN_S = 3.0

Show = Callable[[Onlooker, asyncio.Event], Awaitable[None]]


async def watch(
    address: str, session: str | None, hear: Heard, alert_over: AlertOver, show: Show | None = None
) -> None:
    """Follow a session until somebody stops it.

    Args:
        address: of the broker.
        session: which session; the first that speaks when left out.
        hear, alert_over: what is called with each message, and with each alert that was cleared.
        show: runs meanwhile, with the onlooker to give commands through; ends by setting the event it is given.

    Raises:
        UserError: when the address cannot be read.
        BrokerError: when no broker answers there.
    """
    async with Lifecycle() as life:
        life.stop_on_signals()
        bus = MqttBus(parse_address(address))
        onlooker = Onlooker(bus, session, hear, alert_over)
        await life.start("link", bus.start, bus.stop)
        if show is not None:
            await show(onlooker, life.stopping)
        else:
            await life.wait()


async def find_session(address: str) -> str:
    """The session of the daemon that speaks on this broker.

    Raises:
        UserError: when none is heard in time; says what to give instead.
        BrokerError: when no broker answers.
    """
    found = asyncio.Event()

    def hear(output: Output | Health) -> None:
        if onlooker.session is not None:
            found.set()

    bus = MqttBus(parse_address(address))
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
