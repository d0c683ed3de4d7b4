"""From a page's WebSocket to the broker and back: the bytes of MQTT, as they are.

MQTT over WebSocket carries the very byte stream of MQTT over TCP in binary frames (MQTT 5.0, section 6), and a packet
may begin and end anywhere in a frame. So nothing is taken apart here: who logs in, and what they may publish and read,
stays the broker's business, whichever broker it is, and the page needs no second port.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import suppress

import structlog
from starlette.websockets import WebSocket, WebSocketDisconnect

log = structlog.get_logger(__name__)

Streams = tuple[asyncio.StreamReader, asyncio.StreamWriter]
Dial = Callable[[], Awaitable[Streams]]
"""Opens a connection to the broker."""

SUBPROTOCOL = "mqtt"
CHUNK_BYTES = 64 * 1024
DIAL_WITHIN_S = 3.0

WRONG_PROTOCOL, WRONG_DATA, GOING_AWAY, TRY_LATER = 1002, 1003, 1001, 1013
"""Close codes of RFC 6455, section 7.4.1, and of its registry."""


async def relay(page: WebSocket, dial: Dial) -> None:
    """Join a page to the broker until either of them is gone.

    Args:
        page: not accepted yet. One that does not speak MQTT is refused.
        dial: opens the connection to the broker; a broker that is not there closes the page's link with "try again
            later", and the page does.
    """
    if SUBPROTOCOL not in page.scope.get("subprotocols", ()):
        await page.close(WRONG_PROTOCOL, "this is MQTT over WebSocket: ask for the subprotocol 'mqtt'")
        return
    await page.accept(SUBPROTOCOL)
    try:
        reader, writer = await asyncio.wait_for(dial(), DIAL_WITHIN_S)
    except (OSError, TimeoutError) as failure:
        log.warning("broker not reached for a page", reason=str(failure) or type(failure).__name__)
        await page.close(TRY_LATER, "the broker does not answer")
        return
    try:
        await _until_one_ends(_to_broker(page, writer), _to_page(page, reader))
    finally:
        writer.close()
        with suppress(Exception):  # the other end may be gone in any way there is
            await writer.wait_closed()


async def _until_one_ends(*ways: Awaitable[None]) -> None:
    tasks = [asyncio.ensure_future(way) for way in ways]
    try:
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


async def _to_broker(page: WebSocket, writer: asyncio.StreamWriter) -> None:
    with suppress(WebSocketDisconnect, OSError):
        while True:
            message = await page.receive()
            if message["type"] != "websocket.receive":
                return
            data = message.get("bytes")
            if data is None:
                await page.close(WRONG_DATA, "MQTT comes in binary frames")
                return
            writer.write(data)
            # Waits while the broker is slow: the page's own link then fills up, and nothing piles up here.
            await writer.drain()


async def _to_page(page: WebSocket, reader: asyncio.StreamReader) -> None:
    with suppress(WebSocketDisconnect, OSError, RuntimeError):  # RuntimeError: the page has closed it meanwhile
        while data := await reader.read(CHUNK_BYTES):
            await page.send_bytes(data)
        await page.close(GOING_AWAY, "the broker closed the connection")
