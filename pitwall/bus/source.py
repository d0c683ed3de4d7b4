"""Facts and commands from the bus to the host. What cannot be taken is counted, logged and answered, never raised."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import structlog

from pitwall.bus.codec import fact_from, message_for
from pitwall.bus.topics import filters, place_of
from pitwall.errors import PayloadError
from pitwall.model.events import Event
from pitwall.model.outputs import Refused
from pitwall.runtime.ports import Bus, Submit

_log = structlog.get_logger(__name__)
_FIRST_ANSWERED = 20
_THEN_EVERY = 100
HOURS_BEFORE_S = 6 * 3600.0
"""How long before now, or before the green light, a fact may have happened."""
HOURS_AFTER_S = 2 * 3600.0
"""How far after now, or after the scheduled end, the time of a fact may lie."""


class BusSource:
    """Subscribes to every inbound topic of a session and submits what arrives."""

    def __init__(
        self, bus: Bus, session: str, submit: Submit, now: Callable[[], float], duration_s: float = 0.0
    ) -> None:
        """Subscribe.

        Args:
            bus: where messages come from and refusals are answered.
            session: whose messages.
            submit: takes each fact.
            now: reads session seconds.
            duration_s: scheduled length of the session. A fact whose time is hours outside of it and of now is refused.
        """
        self._bus, self._session, self._submit, self._now = bus, session, submit, now
        self._duration_s = duration_s
        self.taken = 0
        self.refused = 0
        for topic_filter in filters(session, "in"):
            bus.subscribe(topic_filter, self._on_message)

    def _on_message(self, topic: str, payload: bytes) -> None:
        try:
            fact = fact_from(topic, payload, self._now())
            self._check_time(topic, fact)
        except PayloadError as error:
            self._refuse(error, payload)
            return
        self.taken += 1
        self._submit(fact)

    def _check_time(self, topic: str, fact: Event) -> None:
        """Refuse the time of another day. A feed may begin before us, run long, or tell again how it began."""
        now = self._now()
        earliest, latest = min(now, 0.0) - HOURS_BEFORE_S, max(now, self._duration_s) + HOURS_AFTER_S
        if not earliest <= fact.t <= latest:
            raise PayloadError(
                topic,
                f"field 't' is {fact.t:.0f} and it is session second {now:.0f}: expected {earliest:.0f} to "
                f"{latest:.0f}, counted from the green light; set the sender's clock or its zero",
                fact.id,
            )

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
