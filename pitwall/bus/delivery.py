"""What both buses share: check a filter, and run other people's handlers without being broken by them."""

from __future__ import annotations

from collections.abc import Callable

import structlog

from pitwall.bus.topics import is_filter, matches
from pitwall.errors import UserError
from pitwall.runtime.ports import LinkHandler, MessageHandler

_log = structlog.get_logger(__name__)


def check_filter(topic_filter: str) -> None:
    """Refuse a malformed subscription filter where it is made, not when some broker closes the link over it.

    Raises:
        UserError: for a misplaced wildcard, an empty filter or a shared subscription.
    """
    if not is_filter(topic_filter):
        raise UserError(f"{topic_filter!r} is no topic filter: '+' stands alone in a level, '#' alone at the end")
    if topic_filter.startswith("$share/"):
        raise UserError(f"{topic_filter!r}: MQTT 3.1.1 has no shared subscriptions; take the topic itself")


def dispatch(subscriptions: list[tuple[str, MessageHandler]], topic: str, payload: bytes) -> None:
    """Hand a message to every subscription that takes it."""
    for topic_filter, handler in tuple(subscriptions):
        if matches(topic_filter, topic):
            deliver(handler, topic, payload)


def deliver(handler: MessageHandler, topic: str, payload: bytes) -> None:
    """Call a handler; one that fails is logged and never breaks the link or another handler."""
    try:
        handler(topic, payload)
    except Exception:
        _log.exception("message handler failed", topic=topic)


def tell_link(handlers: list[LinkHandler], up: bool) -> None:
    """Tell every link handler."""
    for handler in tuple(handlers):
        guarded(lambda handler=handler: handler(up), "link handler failed", up=up)  # type: ignore[misc]  # default binds now


def guarded(action: Callable[[], None], complaint: str, **where: object) -> None:
    """Run somebody else's code; what it raises is logged with its place and goes no further."""
    try:
        action()
    except Exception:
        _log.exception(complaint, **where)
