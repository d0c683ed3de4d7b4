"""Facts and commands from the bus to the host. What cannot be taken is counted, logged and answered, never raised."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import structlog

from pitwall.bus.codec import fact_from, message_for
from pitwall.bus.topics import filters, place_of
from pitwall.errors import PayloadError
from pitwall.model.outputs import Refused
from pitwall.runtime.ports import Bus, Submit

_log = structlog.get_logger(__name__)
_FIRST_ANSWERED = 20
_THEN_EVERY = 100


class BusSource:
    """Subscribes to every inbound topic of a session and submits what arrives."""

    def __init__(self, bus: Bus, session: str, submit: Submit, now: Callable[[], float]) -> None:
        self._bus, self._session, self._submit, self._now = bus, session, submit, now
        self.taken = 0
        self.refused = 0
        for topic_filter in filters(session, "in"):
            bus.subscribe(topic_filter, self._on_message)

    def _on_message(self, topic: str, payload: bytes) -> None:
        try:
            fact = fact_from(topic, payload, self._now())
        except PayloadError as error:
            self._refuse(error, payload)
            return
        self.taken += 1
        self._submit(fact)

    def _refuse(self, error: PayloadError, payload: bytes) -> None:
        """Answer on ``refused``. A flood without ids is answered in part: it must not become two floods."""
        self.refused += 1
        few = self.refused <= _FIRST_ANSWERED or self.refused % _THEN_EVERY == 0
        if few:
            _log.warning("message refused", reason=str(error), id=error.message_id, count=self.refused)
        if not few and error.message_id is None:
            return
        now = self._now()
        place = place_of(error.topic)
        digest = hashlib.sha256(f"{error.topic}\n{now!r}\n{self.refused}\n".encode() + payload).hexdigest()
        answer = Refused(
            id=f"refused:{digest[:24]}",
            t=now,
            because=error.message_id or "unknown",
            car=place.levels.get("car") if place is not None else None,
            reason=str(error),
        )
        message = message_for(self._session, answer)
        if message is not None:
            self._bus.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)
