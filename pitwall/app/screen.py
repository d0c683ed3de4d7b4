"""The second screen beside a daemon: what the page is told of the session, and how it reaches the broker."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from pitwall import __version__
from pitwall.app.brokers import RunningBroker
from pitwall.app.lifecycle import Lifecycle
from pitwall.app.screen_answers import rights_told, shorthand_told
from pitwall.bus.address import BrokerAddress, tls_context
from pitwall.bus.topics import filters
from pitwall.model.setup import SessionSetup

if TYPE_CHECKING:
    from pitwall.screen.relay import Dial, Streams

USUAL_PORT = 8200

class ScreenStart(Protocol):
    """Starts the screen once the broker runs."""

    async def __call__(self, life: Lifecycle, broker: RunningBroker, setup: SessionSetup) -> str | None:
        """Start it; returns its address."""


@dataclass(frozen=True)
class ScreenWishes:
    """Where the screen is to be: ``port`` None takes the usual one, or any free one where that is taken; 0 any."""

    bind: str = "127.0.0.1"
    port: int | None = None

    async def __call__(self, life: Lifecycle, broker: RunningBroker, setup: SessionSetup) -> str | None:
        """Start the screen's server within this life.

        Args:
            life: what ends it.
            broker: where pages are led to; never as the daemon: each page gives its own user.
            setup: the session.

        Returns:
            The address to type into a browser.

        Raises:
            UserError: when the wanted port is taken.
        """
        # Only here: a daemon without a screen, and --help, start without a web server.
        from pitwall.errors import UserError
        from pitwall.screen.running import ScreenServer
        from pitwall.screen.server import application

        ask = {"rights": rights_told(broker), "shorthand": shorthand_told(setup.circuit.all_turns)}
        app = application(about(setup, broker.asks), _dial(broker.address), ask)
        server = ScreenServer(app, self.bind, USUAL_PORT if self.port is None else self.port)
        try:
            await server.start()
        except UserError:
            if self.port is not None:
                raise
            server = ScreenServer(app, self.bind, 0)
            await server.start()
        await life.start("screen", None, server.stop)
        return server.address


def about(setup: SessionSetup, asks: bool) -> dict[str, Any]:
    """What the page must know before the first message."""
    return {
        "event": setup.event, "session": setup.session, "team": setup.team, "cars": sorted(setup.plans, key=_in_order),
        "version": __version__, "logins": asks, "read": list(filters(setup.session, "out")),
        "turns": list(setup.circuit.all_turns),
    }  # fmt: skip


def _in_order(car: str) -> tuple[int, str]:
    return len(car), car


def _dial(broker: BrokerAddress) -> Dial:
    context = tls_context(broker)

    async def dial() -> Streams:
        return await asyncio.open_connection(broker.host, broker.port, ssl=context)

    return dial
