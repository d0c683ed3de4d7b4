"""Clients of the bus on this side of the wire: the rehearsed world, and whoever looks on. Both speak typed models."""

from __future__ import annotations

from collections.abc import Callable

import structlog

from pitwall.bus.codec import Cleared, message_for_fact, output_from
from pitwall.bus.topics import BY_MODEL, ROOT, filter_of, filters, place_of
from pitwall.errors import PayloadError
from pitwall.model.events import Fact
from pitwall.model.outputs import (
    AdviceState,
    Alert,
    Answered,
    Health,
    LadderState,
    Output,
    Prompt,
    Proposal,
    Refused,
)
from pitwall.runtime.ports import Bus

_log = structlog.get_logger(__name__)

Heard = Callable[[Output | Health], None]
AlertOver = Callable[[str], None]


class WorldLink:
    """What the rehearsed world holds of the bus: it sends facts and hears decisions, and never sees a byte."""

    def __init__(self, bus: Bus, session: str) -> None:
        self._bus, self._session = bus, session
        self.unreadable = 0

    def send(self, fact: Fact) -> None:
        """Publish a fact as any feed or desk would."""
        message = message_for_fact(self._session, fact)
        self._bus.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)

    def listen(self, hear: Heard, *, everything: bool = False) -> None:
        """Hand decisions on the bus to ``hear``: what a desk is told, or everything that the daemon publishes.

        To be called once: filters of one bus should not overlap.
        """

        def take(topic: str, payload: bytes) -> None:
            try:
                output = output_from(topic, payload)
            except PayloadError as failure:
                self.unreadable += 1
                _log.warning("decision not understood", topic=failure.topic, reason=failure.reason)
                return
            standing = _gone(output) if isinstance(output, Cleared) else output
            if standing is not None:
                hear(standing)

        told = [filter_of(self._session, BY_MODEL[model]) for model in (Prompt, Answered, Refused, Alert, AdviceState)]
        for topic_filter in filters(self._session, "out") if everything else told:
            self._bus.subscribe(topic_filter, take)


class Onlooker:
    """A screen's side of the bus: follows one session, or the first that speaks, and may give commands."""

    def __init__(self, bus: Bus, session: str | None, hear: Heard, alert_over: AlertOver) -> None:
        self._bus, self.session, self._hear, self._alert_over = bus, session, hear, alert_over
        self.unreadable = 0
        for topic_filter in filters(session, "out") if session else (f"{ROOT}/+/#",):
            bus.subscribe(topic_filter, self._take)

    @property
    def linked(self) -> bool:
        """The broker is there now: what is shown can still change."""
        return self._bus.connected

    def give(self, fact: Fact) -> bool:
        """Publish a command; False when nobody has been heard yet or the link is down, for then it would be lost."""
        if self.session is None or not self.linked:
            return False
        message = message_for_fact(self.session, fact)
        self._bus.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)
        return True

    def _take(self, topic: str, payload: bytes) -> None:
        place = place_of(topic)
        if place is None or place.row.direction != "out" or self.session not in (None, place.session):
            return
        try:
            output = output_from(topic, payload)
        except PayloadError as failure:
            self.unreadable += 1
            _log.warning("message not understood", topic=failure.topic, reason=failure.reason)
            return
        if isinstance(output, Cleared):
            if output.model is Alert:
                self._alert_over(output.levels["alert"])
            gone = _gone(output)
            if gone is not None:
                self._hear(gone)
            return
        if self.session is None and not (isinstance(output, Health) and output.state == "offline"):
            # A daemon that ended left its last word behind; one that speaks is the one to follow.
            self.session = place.session
        self._hear(output)


def _gone(cleared: Cleared) -> Output | None:
    """What an emptied topic says, for what ends otherwise than an alert: nothing of that stands any more."""
    name = "cleared"
    if cleared.model is Proposal:
        car = cleared.levels["car"]
        return Proposal(id=name, t=0.0, car=car, active=False, source="", lines=(), plan_revision=0)
    if cleared.model is AdviceState:
        return AdviceState(id=name, t=0.0, active=False, asked="", musts_chance=0.0)
    if cleared.model is LadderState:
        return LadderState(id=name, t=0.0, active=False, red_s=0.0)
    return None
