"""The embedded broker: amqtt in our own process, hardened. On loopback for everybody, beyond it for known users only.

It holds nothing beyond its own life, so a will cannot fire when daemon and broker end together; use a broker of its
own where that matters.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Mapping
from types import TracebackType
from typing import Any, Self

import structlog
from amqtt.errors import BrokerError as AmqttBrokerError

from pitwall.bus.address import BrokerAddress
from pitwall.bus.broker_limits import BrokerLimits, BrokerUser
from pitwall.bus.hardened import HardenedBroker
from pitwall.bus.sockets import is_loopback, listening_address, reached_at
from pitwall.bus.users import Login
from pitwall.errors import BrokerError, UserError

__all__ = ["BrokerLimits", "BrokerUser", "EmbeddedBroker", "users_from"]

_log = structlog.get_logger(__name__)
_SHUTDOWN_S = 5.0


class _ToStructlog(logging.Handler):
    """amqtt's records as debug lines of ours: nearly all of them tell of a client's fault, which it learns itself."""

    def emit(self, record: logging.LogRecord) -> None:
        _log.debug("broker", says=record.getMessage(), logger=record.name)


def quieten() -> None:
    """Keep amqtt and its state-machine library off standard error. Harmless when called again."""
    for name in ("amqtt", "transitions", "websockets"):
        logger = logging.getLogger(name)
        logger.propagate = False
        logger.setLevel(logging.WARNING)
        if not any(isinstance(handler, _ToStructlog) for handler in logger.handlers):
            logger.addHandler(_ToStructlog())


def users_from(logins: Mapping[str, Login]) -> dict[str, BrokerUser]:
    """The users of a broker in the form in which the embedded one keeps them."""
    return {
        name: BrokerUser(login.token_sha256, login.rights.publish, login.rights.read) for name, login in logins.items()
    }


class EmbeddedBroker:
    """``async with EmbeddedBroker() as broker: ... broker.address``.

    Args:
        port: TCP port; 0 takes a free one.
        host: an IPv4 address of this machine; one beyond loopback only with users.
        websocket_port: also listen for WebSockets there (0: a free port); None: do not.
        limits: bounds and users; without users anybody on this machine may connect.
    """

    def __init__(
        self,
        port: int = 0,
        host: str = "127.0.0.1",
        websocket_port: int | None = None,
        limits: BrokerLimits | None = None,
    ) -> None:
        self._limits = limits or BrokerLimits()
        self._host, self._port, self._websocket_port = _allowed(host, self._limits), port, websocket_port
        self._broker: HardenedBroker | None = None

    @property
    def address(self) -> BrokerAddress:
        """Where this machine reaches it, without a user.

        Raises:
            BrokerError: when it is not running.
        """
        return BrokerAddress(reached_at(self._host), self._running().port_of("default"))

    @property
    def websocket_address(self) -> str | None:
        """Where it listens for WebSockets, or None.

        Raises:
            BrokerError: when it is not running.
        """
        if self._websocket_port is None:
            return None
        return f"ws://{reached_at(self._host)}:{self._running().port_of('ws')}"

    @property
    def sessions(self) -> int:
        """How many client sessions it holds."""
        return len(self._running().sessions)

    async def start(self) -> None:
        """Listen.

        Raises:
            BrokerError: when the port is taken or may not be used.
        """
        quieten()
        listeners: dict[str, Any] = {"default": {"type": "tcp", "bind": f"{self._host}:{self._port}"}}
        if self._websocket_port is not None:
            listeners["ws"] = {"type": "ws", "bind": f"{self._host}:{self._websocket_port}"}
        broker = HardenedBroker({"listeners": listeners, "plugins": {}}, self._limits)
        try:
            await broker.start()
        except AmqttBrokerError as error:
            await broker.close_listeners()  # one of two may be open
            raise BrokerError(
                f"the embedded broker cannot listen on {self._host}, port {self._port}"
                f"{'' if self._websocket_port is None else f' and {self._websocket_port} for WebSockets'}: "
                f"{error.__cause__ or error}; choose another port, or 0 for a free one"
            ) from None
        self._broker = broker
        _log.debug("embedded broker listens", address=str(self.address))

    async def stop(self) -> None:
        """End every connection and stop listening. Harmless when not running."""
        broker, self._broker = self._broker, None
        if broker is None:
            return
        try:
            await asyncio.wait_for(broker.close_down(), _SHUTDOWN_S)
        except TimeoutError:
            _log.warning("the embedded broker did not stop in time")

    async def __aenter__(self) -> Self:
        await self.start()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.stop()

    def _running(self) -> HardenedBroker:
        if self._broker is None:
            raise BrokerError("the embedded broker is not running: use it within 'async with'")
        return self._broker


def _allowed(host: str, limits: BrokerLimits) -> str:
    try:
        address = listening_address(host)
    except UserError as problem:
        raise BrokerError(str(problem)) from None
    if not is_loopback(address) and limits.users is None:
        raise BrokerError(f"without users the embedded broker listens on loopback only, not on {host}: use 127.0.0.1")
    return address
