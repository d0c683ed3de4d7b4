"""amqtt 0.12.1 with its defects mended, each with a test in ``tests/unit/test_bus_broker_defects.py``.

As it comes: a keep-alive never expires, so wills do not fire on half-open links; a client with a bad password that
re-uses an id throws out its owner; retained messages go to whoever connects, past the access rules; wills bypass those
too; an MQTT 5 connection hangs; ``$share`` is granted and delivers nothing; subscriptions change while they are walked
through; a second subscription to a filter keeps the old QoS; a packet may have 256 MB; a connection that never speaks
stays for ever; a slow reader's messages pile up without end; a link to be closed for a protocol error stays open;
stopping a busy connection may never end; a WebSocket that ends within a packet is read on from copies of its last
frame.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
from collections.abc import Iterator
from typing import Any

import websockets.asyncio.server
from amqtt.adapters import (
    ReaderAdapter,
    StreamReaderAdapter,
    StreamWriterAdapter,
    WebSocketsWriter,
    WriterAdapter,
)
from amqtt.broker import Broker
from amqtt.contexts import Action
from amqtt.errors import AMQTTError, MQTTError, NoDataError
from amqtt.mqtt.connack import NOT_AUTHORIZED, ConnackPacket
from amqtt.mqtt.protocol.broker_handler import BrokerProtocolHandler
from amqtt.session import Session

from pitwall.bus.broker_limits import BrokerLimits
from pitwall.bus.framing import (
    BinaryFrames,
    ClosingWriter,
    FramedReader,
    PacketRefused,
    protocol_level,
    refusal_of_level,
)
from pitwall.bus.hardened_connection import HardenedHandler
from pitwall.bus.topics import covers, is_filter, matches

_REFUSED_SUBSCRIPTION = 0x80
_SPEAKS = 4
_CARRIED_OVER = (
    "will_flag", "will_message", "will_topic", "will_qos", "will_retain", "keep_alive", "username", "password",
    "is_anonymous", "clean_session", "attributes",
)  # fmt: skip


class _Snapshots(dict[str, list[tuple[Session, int]]]):
    """Subscriptions that may change while somebody walks through them."""

    def items(self) -> Any:
        return list(super().items())

    def __iter__(self) -> Iterator[str]:
        return iter(list(super().keys()))


class HardenedBroker(Broker):
    """The broker. ``limits.users`` None lets anybody in: for loopback only."""

    def __init__(self, config: dict[str, Any], limits: BrokerLimits) -> None:
        super().__init__(config)
        self._subscriptions = _Snapshots()
        self._limits = limits
        self._open: dict[ClosingWriter, HardenedHandler | None] = {}

    def port_of(self, listener: str) -> int:
        """The port that a listener really has."""
        instance = self._servers[listener].instance
        port: int = next(iter(instance.sockets)).getsockname()[1]
        return port

    async def close_down(self) -> None:
        """End the sessions, break whatever is still open (those that never spoke too), stop listening."""
        for client_id in list(self._sessions):
            await self._cleanup_session(client_id)
        for writer in tuple(self._open):
            writer.abort()
        await self.shutdown()

    async def close_listeners(self) -> None:
        """Stop listening, after a start that failed half-way."""
        for server in self._servers.values():
            await server.close_instance()
        self._servers.clear()

    # --- connections ---------------------------------------------------------------------------------------------

    async def stream_connected(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, listener_name: str
    ) -> None:
        """A TCP connection, through our streams."""
        closing = ClosingWriter(StreamWriterAdapter(writer), writer.transport.abort)
        await self._connected(listener_name, StreamReaderAdapter(reader), closing)

    async def ws_connected(self, websocket: websockets.asyncio.server.ServerConnection, listener_name: str) -> None:
        """A WebSocket connection, through our streams."""
        closing = ClosingWriter(WebSocketsWriter(websocket), websocket.transport.abort)
        await self._connected(listener_name, BinaryFrames(websocket), closing)

    async def _connected(self, listener_name: str, reader: ReaderAdapter, writer: ClosingWriter) -> None:
        self._open[writer] = None
        try:
            await self._client_connected(listener_name, FramedReader(reader, self._limits.packet_bytes), writer)
        except Exception as error:  # one client's fault must not reach the loop's exception handler
            self.logger.warning("connection ended: %r", error)
        finally:
            handler = self._open.pop(writer)
            if handler is not None:
                handler.finished.set()
            writer.abort()

    async def _initialize_client_session(
        self, reader: ReaderAdapter, writer: WriterAdapter, remote_address: str, remote_port: int
    ) -> tuple[HardenedHandler, Session]:
        try:
            handler, session = await asyncio.wait_for(self._admit(reader, writer), self._limits.connect_s)
        except TimeoutError:
            raise MQTTError("no CONNECT in time") from None
        except (PacketRefused, AMQTTError, MQTTError, NoDataError, OSError, ValueError) as error:
            raise MQTTError(f"no session: {error}") from error
        client_id = session.client_id or ""
        await self._take_over(client_id)
        session = await self._resumed(session)
        # From the last look of _take_over to here nothing waits, so two newcomers of one id cannot both pass.
        self._sessions[client_id] = (session, handler)
        assert isinstance(writer, ClosingWriter)
        self._open[writer] = handler
        # One and a half times what was asked [MQTT-3.1.2-24].
        session.keep_alive = int(session.keep_alive * 1.5 + 0.5)
        return handler, session

    async def _admit(self, reader: ReaderAdapter, writer: WriterAdapter) -> tuple[HardenedHandler, Session]:
        """Read CONNECT and check who it is. Nothing of the rightful owner of the id is touched before that."""
        assert isinstance(reader, FramedReader)
        level = protocol_level(await reader.peek())
        if level is None:
            raise MQTTError("the first packet is no CONNECT")
        if level != _SPEAKS:
            writer.write(refusal_of_level(level))
            await writer.drain()
            await writer.close()
            raise MQTTError(f"protocol level {level} is not spoken here")
        handler, session = await HardenedHandler.init_from_connect(reader, writer, self.plugins_manager)
        assert isinstance(handler, HardenedHandler)
        handler.pending_limit = self._limits.pending
        if not await self._authenticate(session, None):
            await ConnackPacket.build(0, NOT_AUTHORIZED).to_stream(writer)
            await writer.close()
            raise MQTTError(f"user {session.username!r} is not authorised")
        if session.will_flag and not await self._may_leave_will(session):
            session.will_flag = False
        return handler, session

    async def _may_leave_will(self, session: Session) -> bool:
        topic = session.will_topic or ""
        plain = topic and not topic.startswith("$") and not any(sign in topic for sign in "+#\0")
        return bool(plain) and await self._topic_filtering(session, topic, Action.PUBLISH)

    async def _take_over(self, client_id: str) -> None:
        """End the connection that has this id now [MQTT-3.1.4-2], and wait until it is gone."""
        while True:
            _, handler = self._sessions.get(client_id, (None, None))
            if not isinstance(handler, HardenedHandler) or handler.finished.is_set():
                return
            handler.drop()
            try:
                await asyncio.wait_for(handler.finished.wait(), self._limits.takeover_s)
            except TimeoutError:
                self.logger.warning("an old connection did not end in time")
                await handler.stop()
                handler.finished.set()

    async def _resumed(self, session: Session) -> Session:
        """The session to go on with: the stored one of this id if the client wants it, else this fresh one."""
        client_id = session.client_id or ""
        session.parent = 0
        if session.clean_session:
            await self._delete_session(client_id)
        elif client_id in self._sessions:
            stored, _ = self._sessions[client_id]
            for name in _CARRIED_OVER:
                setattr(stored, name, getattr(session, name))
            stored.parent = 1
            return stored
        return session

    async def _client_message_loop(self, client_session: Session, handler: BrokerProtocolHandler) -> None:
        await super()._client_message_loop(client_session, handler)
        _, current = self._sessions.get(client_session.client_id or "", (None, None))
        if current is handler and client_session.transitions.state == "connected":
            # Left after a protocol error: as if the link had broken.
            broken: asyncio.Future[None] = asyncio.get_running_loop().create_future()
            broken.set_result(None)
            await self._handle_disconnect(client_session, handler, broken)

    async def _session_monitor(self) -> None:
        """Forget sessions that ended. Each is looked at again just before: its client may be back."""
        while True:
            for client_id in list(self._sessions):
                session, _ = self._sessions.get(client_id, (None, None))
                ended = session is not None and session.transitions.state == "disconnected"
                if session is not None and ended and (session.is_anonymous or session.clean_session):
                    await self._cleanup_session(client_id)
            await asyncio.sleep(1)

    # --- who may do what -----------------------------------------------------------------------------------------

    async def _authenticate(self, session: Session, _: Any) -> bool:
        users = self._limits.users
        if users is None:
            session.is_anonymous = True  # such sessions keep nothing once their link is gone
            return True
        user = users.get(session.username or "")
        given = hashlib.sha256((session.password or "").encode()).hexdigest()
        return hmac.compare_digest(given, user.token_sha256 if user else "") and user is not None

    async def _topic_filtering(self, session: Session, topic: str, action: Action) -> bool:
        if self._limits.users is None:
            return True
        user = self._limits.users.get(session.username or "")
        if user is None:
            return False
        allowed = user.may_publish if action is Action.PUBLISH else user.may_read
        check = covers if action is Action.SUBSCRIBE else matches
        return any(check(topic_filter, topic) for topic_filter in allowed)

    # --- subscriptions and retained messages ---------------------------------------------------------------------

    async def add_subscription(self, subscription: tuple[str, int], session: Session) -> int:
        """Grant, replace [MQTT-3.8.4-3] or refuse a subscription."""
        topic_filter, qos = subscription
        if topic_filter.startswith("$share/") or not is_filter(topic_filter) or qos not in (0, 1, 2):
            return _REFUSED_SUBSCRIPTION
        if not await self._topic_filtering(session, topic_filter, Action.SUBSCRIBE):
            return _REFUSED_SUBSCRIPTION
        self._del_subscription(topic_filter, session)
        self._subscriptions.setdefault(topic_filter, []).append((session, qos))
        return qos

    def _del_subscription(self, a_filter: str, session: Session) -> int:
        """Replaces the list: somebody may be walking through the old one."""
        before = self._subscriptions.get(a_filter, [])
        after = [entry for entry in before if entry[0].client_id != session.client_id]
        if after:
            self._subscriptions[a_filter] = after
        else:
            self._subscriptions.pop(a_filter, None)
        return len(before) - len(after)

    async def _del_all_subscriptions(self, session: Session) -> None:
        for topic_filter in self._subscriptions:
            self._del_subscription(topic_filter, session)

    async def _publish_retained_messages_for_subscription(
        self, subscription: tuple[str, int], session: Session
    ) -> None:
        """What is retained, to those who subscribed and may read it. Does not wait for acknowledgements."""
        topic_filter, qos = subscription
        handler = self._get_handler(session)
        own = any(entry[0] is session for entry in self._subscriptions.get(topic_filter, ()))
        if handler is None or not own:
            return
        for topic, message in list(self._retained_messages.items()):
            if matches(topic_filter, topic) and await self._topic_filtering(session, topic, Action.RECEIVE):
                asked = min(qos, message.qos or 0)
                work = handler.mqtt_publish(message.topic, message.data, asked, retain=True)
                self._tasks_queue.append(asyncio.ensure_future(work))

    async def _retain_broadcast_message(self, broadcast: dict[str, Any], qos: int, target_session: Session) -> None:
        """Keep a message for a session that is away, up to a bound: what is newer is dropped."""
        if target_session.retained_messages.qsize() < self._limits.pending:
            await super()._retain_broadcast_message(broadcast, qos, target_session)

    def _matches(self, topic: str, a_filter: str) -> bool:
        return matches(a_filter, topic)
