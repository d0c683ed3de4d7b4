"""One connection attempt to a broker: a fresh aiomqtt client with our bounds, and the broker's refusals in words.

A fresh client each time, for a fault that was seen: a re-used one takes a refused login for success and sends messages
of before the break after it (a stale "box now" must never do that). TCP_NODELAY, because without it small bursts
stall for some 40 ms.
"""

from __future__ import annotations

import asyncio
import functools
import logging
import socket
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, cast

import aiomqtt
from aiomqtt.exceptions import MqttConnectError

from pitwall.bus.address import BrokerAddress, tls_context
from pitwall.bus.codec import Message
from pitwall.errors import BrokerError, UserError

_PAHO_LOG = logging.getLogger("aiomqtt.pitwall")
_PAHO_LOG.addHandler(logging.NullHandler())
_PAHO_LOG.propagate = False  # whatever it says reaches us as an exception or a count

# The client library gives MQTT 3.1.1's return codes 1 to 5 as their MQTT 5 equivalents.
_REFUSALS = {
    132: "it does not speak MQTT 3.1.1",
    133: "it does not take our client id",
    134: "wrong user or password",
    135: "not authorised: check user and password in the address",
    136: "it is not available now",
}


class SubscriptionRefused(BrokerError):
    """The broker is there and lets us in, but this user may not read what was asked for."""


class Unanswered(BrokerError):
    """Nobody answers there yet; whoever has time may wait."""


@dataclass(frozen=True)
class LinkSettings:
    """Times and bounds of one link. The back-off has no jitter: one daemon, one broker, nothing to spread."""

    keepalive_s: int = 5
    timeout_s: float = 2.0
    queue: int = 5000
    in_flight: int = 16
    first_wait_s: float = 0.1
    longest_wait_s: float = 5.0

    def wait_s(self, failures: int) -> float:
        """How long to wait before the next attempt after so many failures in a row: doubled each time, bounded."""
        return min(self.longest_wait_s, self.first_wait_s * 2.0 ** min(failures - 1, 20))


class _CountingQueue(asyncio.Queue[aiomqtt.Message]):
    """The library's incoming queue, bounded; what does not fit is counted."""

    def __init__(self, lost: Callable[[], None], maxsize: int) -> None:
        super().__init__(maxsize)
        self._lost = lost

    def put_nowait(self, item: aiomqtt.Message) -> None:
        try:
            super().put_nowait(item)
        except asyncio.QueueFull:
            self._lost()


def fresh_client(
    address: BrokerAddress,
    client_id: str | None,
    will: Message | None,
    settings: LinkSettings,
    lost_incoming: Callable[[], None],
) -> aiomqtt.Client:
    """A client for one attempt. ``lost_incoming`` is called for each message that the full queue could not take."""
    client = aiomqtt.Client(
        hostname=address.host,
        port=address.port,
        username=address.username,
        password=address.password,
        identifier=client_id,
        protocol=aiomqtt.ProtocolVersion.V311,
        clean_session=True,
        will=aiomqtt.Will(will.topic, will.payload, will.qos, will.retain) if will else None,
        timeout=settings.timeout_s,
        keepalive=settings.keepalive_s,
        queue_type=cast("type[asyncio.Queue[aiomqtt.Message]]", functools.partial(_CountingQueue, lost_incoming)),
        max_queued_incoming_messages=settings.queue,
        max_queued_outgoing_messages=settings.queue,
        tls_context=tls_context(address),
        socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        logger=_PAHO_LOG,
    )
    client.pending_calls_threshold = settings.queue
    client._client.connect_timeout = settings.timeout_s  # aiomqtt does not offer it; the default is 5 s
    return client


def abandon(client: aiomqtt.Client) -> None:
    """End a client whose connection did not come about, so that a late answer cannot make it live unseen."""
    client._client.disconnect()


async def leave(client: aiomqtt.Client) -> None:
    """Say goodbye if the link still stands, and release the client."""
    try:
        await client.__aexit__(None, None, None)
    except aiomqtt.MqttError:
        abandon(client)
    if client._disconnected.done() and not client._disconnected.cancelled():
        client._disconnected.exception()  # retrieved, or asyncio complains about it on standard error


def reason_in_words(address: BrokerAddress, error: Exception) -> str:
    """Why there is no link, and what to look at."""
    if isinstance(error, MqttConnectError):
        return f"the broker at {address} refused us: {_REFUSALS.get(code_of(error.rc), str(error))}"
    if isinstance(error, BrokerError):
        return f"the broker at {address}: {error}"
    if isinstance(error, UserError):
        return str(error)
    if (distrust := _distrust(error)) is not None:
        return (
            f"the certificate of the broker at {address} is not trusted ({distrust.verify_message}): give the file of "
            "the authority that signed it (--ca-file, PITWALL_CA_FILE), and the host by the name in the certificate"
        )
    secure = ", does it speak TLS there with a trusted certificate" if address.tls else ""
    return f"no broker answers at {address} ({error}): is it running{secure}, and is the address right?"


def broken_off(address: BrokerAddress, error: Exception) -> BrokerError:
    """The error to raise for why there is no link: of a kind that tells whether waiting may help."""
    reason = reason_in_words(address, error)
    if isinstance(error, SubscriptionRefused):
        return SubscriptionRefused(reason)
    answered = isinstance(error, MqttConnectError | BrokerError | UserError) or _distrust(error) is not None
    return BrokerError(reason) if answered else Unanswered(reason)


def code_of(reason: Any) -> int:
    """The number of a reason code, however the library wraps it."""
    return int(getattr(reason, "value", reason))


def _distrust(error: BaseException | None) -> ssl.SSLCertVerificationError | None:
    """The refused certificate behind an error, if there is one."""
    while error is not None:
        if isinstance(error, ssl.SSLCertVerificationError):
            return error
        error = error.__cause__ or error.__context__
    return None
