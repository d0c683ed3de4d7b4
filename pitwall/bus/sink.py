"""Decisions to the bus. Satisfies ``runtime.ports.Sink``.

The broker may hold retained messages of an earlier life of ours: an alert of before a restart, the plan of a car that
no longer runs. So the sink listens on its own retained topics, and one that it does not hold itself is cleared. It
begins to do so with the first :meth:`BusSink.restate`: before that it cannot know what stands.

What is told once (the end of a call, an answer) does not stand, so it is kept until the broker took it: what was under
way when the link broke, or decided while it was down, is told with the next restatement. An open call is not: it comes
as it stands then, and one that is over by then must not be told as open.

``health`` is left alone: the broker itself writes it (our will), and the host publishes a new one on each connection.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence

import structlog

from pitwall.bus.codec import Message, message_for
from pitwall.bus.topics import BY_MODEL, filters, topic_of
from pitwall.errors import PitwallError
from pitwall.model.events import PromptDelivered
from pitwall.model.outputs import Health, Output, Prompt
from pitwall.runtime.ports import Bus, Submit

_log = structlog.get_logger(__name__)

_OPEN = ("planned", "shown", "due", "said")
MOST_OWED = 2000
"""So many words that the broker did not take are kept; of more, the oldest are given up and counted."""


class BusSink:
    """Publishes outputs; a prompt that the broker took comes back as the fact ``PromptDelivered``."""

    def __init__(self, bus: Bus, session: str, submit: Submit, now: Callable[[], float]) -> None:
        self._bus, self._session, self._submit, self._now = bus, session, submit, now
        self._held: set[str] = set()
        self._found: set[str] = set()
        self._ours: set[str] = set()
        self._owed: dict[str, Output | Health] = {}
        self._stated = False
        self.unpublished = 0
        self._health = topic_of(session, BY_MODEL[Health])
        for topic_filter in filters(session, "out", retained=True):
            if topic_filter != self._health:
                bus.subscribe(topic_filter, self._on_retained)

    def take(self, outputs: Sequence[Output | Health]) -> None:
        """Publish these, in order. One that cannot be published is logged and does not hold up the others."""
        for output in outputs:
            message = self._message(output)
            if message is not None:
                self._publish(message, output)

    def restate(self, standing: Sequence[Output | Health]) -> None:
        """Publish what was told once and not taken, then everything that stands, and clear what we held before or found
        on the broker and no longer hold."""
        before, owed = self._ours | self._found, self._owed
        self._held, self._found, self._stated, self._owed = set(), set(), True, {}
        self.take([word for word in owed.values() if not (isinstance(word, Prompt) and word.state in _OPEN)])
        self.take(standing)
        for topic in sorted(before - self._held):
            self._clear(topic)

    def _message(self, output: Output | Health) -> Message | None:
        try:
            return message_for(self._session, output)
        except PitwallError as error:
            self.unpublished += 1
            _log.error("output cannot be published", output=type(output).__name__, reason=str(error))
            return None

    def _publish(self, message: Message, output: Output | Health) -> None:
        if message.retain and message.topic != self._health:
            (self._held.add if message.payload else self._held.discard)(message.topic)
            self._ours.add(message.topic)
        sent = None if message.retain else self._owe(output)
        self._bus.publish(message.topic, message.payload, qos=message.qos, retain=message.retain, sent=sent)

    def _owe(self, output: Output | Health) -> Callable[[], None]:
        """Keep a word that is told once; what is returned is to be called when the broker took it."""
        name = str(getattr(output, "id", ""))
        self._owed.pop(name, None)
        self._owed[name] = output
        if len(self._owed) > MOST_OWED:
            given_up = next(iter(self._owed))
            del self._owed[given_up]
            self.unpublished += 1
            _log.error("the broker takes nothing for so long that a word is given up", id=given_up)

        def taken() -> None:
            self._owed.pop(name, None)
            if isinstance(output, Prompt):
                self._submit(PromptDelivered(id=delivery_id(output.id), t=self._now(), prompt=output.id))

        return taken

    def _on_retained(self, topic: str, payload: bytes) -> None:
        if not payload or topic in self._ours:
            return  # an echo of our own words, perhaps of some that we have taken back since
        if self._stated:
            self._clear(topic)
        else:
            self._found.add(topic)

    def _clear(self, topic: str) -> None:
        _log.info("retained message of an earlier life cleared", topic=topic)
        self._bus.publish(topic, b"", qos=1, retain=True)


def delivery_id(prompt_id: str) -> str:
    """The id of the fact that a prompt was delivered: the prompt's own, marked, and never longer than an id may be."""
    marked = f"delivered:{prompt_id}"
    return marked if len(marked) <= 128 else f"delivered:{hashlib.sha256(prompt_id.encode()).hexdigest()}"
