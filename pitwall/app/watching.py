"""Looking on: a client of any broker that follows a session and may give commands."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import suppress

from pitwall.app.clients import AlertOver, Heard, Onlooker
from pitwall.app.lifecycle import Lifecycle
from pitwall.app.plain_words import near
from pitwall.bus.address import BrokerAddress
from pitwall.bus.codec import output_from
from pitwall.bus.connection import SubscriptionRefused
from pitwall.bus.mqtt import MqttBus
from pitwall.bus.topics import BY_MODEL, ROOT, filter_of, place_of
from pitwall.errors import BrokerError, PayloadError, UserError
from pitwall.model.outputs import Health, PlanState

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
        if not await linked(bus, life.stopping, waits or (lambda reason: None)):
            return
        await life.start("link", None, bus.stop)
        if show is not None:
            await show(onlooker, life.stopping)
        else:
            await life.wait()


async def linked(
    bus: MqttBus, stopping: asyncio.Event, waits: Callable[[str], None], over: type[BrokerError] = BrokerError
) -> bool:
    """Try until the broker answers; False when somebody wishes to stop before.

    Args:
        bus: not started yet.
        stopping: the wish to stop.
        waits: told why there is no link yet, once for each reason.
        over: which failures are waited over.

    Raises:
        BrokerError: of another kind.
    """
    told = ""
    while not stopping.is_set():
        try:
            await bus.start()
            return True
        except over as failure:
            if str(failure) != told:
                told = str(failure)
                waits(told)
        with suppress(TimeoutError):
            await asyncio.wait_for(stopping.wait(), TRY_AGAIN_AFTER_S)
    return False


async def planned_cars(address: BrokerAddress | str, session: str) -> tuple[str, ...]:
    """The cars that a daemon has plans for, from what it left on the broker; none when no daemon was there.

    None too for a user who may not read plans, such as a feed.

    Raises:
        UserError: when the address or the session cannot be used.
        BrokerError: when no broker answers.
    """
    cars: set[str] = set()

    def hear(topic: str, payload: bytes) -> None:
        place = place_of(topic)
        if place is not None and payload:
            cars.add(place.levels["car"])

    bus = MqttBus(address)
    bus.subscribe(filter_of(session, BY_MODEL[PlanState]), hear)
    with suppress(SubscriptionRefused):
        await bus.start()
        await asyncio.sleep(RETAINED_WITHIN_S)
    await bus.stop()
    return tuple(sorted(cars, key=lambda car: (len(car), car)))


async def find_session(address: BrokerAddress | str, wanted: str | None = None) -> str:
    """The session of the daemon that speaks on this broker, by its health: whoever sends facts may read that.

    Args:
        address: of the broker.
        wanted: only this one; the first that speaks when left out.

    Raises:
        UserError: when none, or only others, are heard in time; says what to give instead.
        BrokerError: when no broker answers.
    """
    found: asyncio.Future[str] = asyncio.get_running_loop().create_future()
    others: set[str] = set()

    def hear(topic: str, payload: bytes) -> None:
        place = place_of(topic)
        with suppress(PayloadError):
            health = output_from(topic, payload)
            if place is None or not isinstance(health, Health) or health.state != "online" or found.done():
                return
            if wanted in (None, place.session):
                found.set_result(place.session)
            else:
                others.add(place.session)

    bus = MqttBus(address)
    bus.subscribe(f"{ROOT}/+/{BY_MODEL[Health].pattern}", hear)
    await bus.start()
    try:
        with suppress(TimeoutError):
            # Health is retained: who is there is heard at once. Who is not may be on the way back.
            return await asyncio.wait_for(asyncio.shield(found), RETAINED_WITHIN_S)
        if others:
            raise UserError(_only_others(str(wanted), sorted(others)))
        return await asyncio.wait_for(found, SPEAKS_WITHIN_S - RETAINED_WITHIN_S)
    except TimeoutError:
        if wanted is not None:
            raise UserError(f"no daemon of {wanted!r} speaks on {address}: start one with pitwall serve") from None
        raise UserError(
            f"no daemon speaks on {address}: start one with pitwall serve, or give --session"
        ) from None
    finally:
        await bus.stop()


def _only_others(wanted: str, others: list[str]) -> str:
    if len(others) == 1:
        return f"no session {wanted!r}; the daemon there serves {others[0]}"
    hint = near(wanted, others) or "name one of them"
    return f"no session {wanted!r}; daemons there serve {', '.join(others)}: {hint}"
