"""The two box calls of an in-lap, in the order in which they are said.

Each has a place of its own on the channel. The first one may find no stretch before the reminder's, or the reminder is
said while the first one waits: what comes second is then said in the reminder's words, for "box this lap" behind
"box, box" sounds like news.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitwall.engine.call import CallSpec
from pitwall.engine.calls import CallBook
from pitwall.engine.rules.box import AGAIN, BOX_AGAIN, BOX_AGAIN_SHORT
from pitwall.engine.situation import Situation
from pitwall.model.record import altered


def reminded_of(key: str) -> str | None:
    """Key of the box call that the call of this key reminds of; None for any other call."""
    return key.removesuffix(AGAIN) if key.endswith(AGAIN) else None


def in_order(at: Situation, specs: Sequence[CallSpec], book: CallBook) -> list[CallSpec]:
    """The specs, a box call that comes behind its own reminder with the reminder's words. Boards stay as they are."""
    reminders = {reminded_of(spec.key): spec for spec in specs if reminded_of(spec.key) and spec.medium != "board"}
    if not reminders:
        return [*specs]
    found = []
    for spec in specs:
        reminder = reminders.get(spec.key)
        if reminder is not None and _comes_behind(spec, reminder, book):
            text = BOX_AGAIN if spec.text != spec.short else BOX_AGAIN_SHORT
            spec = altered(spec, text=text, short=BOX_AGAIN_SHORT, spoken_s=at.spoken(text))
        found.append(spec)
    return found


def _comes_behind(first: CallSpec, reminder: CallSpec, book: CallBook) -> bool:
    told, waits = book.latest.get(reminder.key), book.latest.get(first.key)
    if waits is not None and (waits.said_t is not None or waits.state == "due"):
        return waits.spec.short == BOX_AGAIN_SHORT  # it may be on the air with the words that it has
    return reminder.say_from_s < first.say_from_s or (told is not None and told.said_t is not None)
