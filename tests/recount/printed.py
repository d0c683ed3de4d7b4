"""Numbers as they are printed: what stands in a sentence or a cell, of a value of our own."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from tests.recount.own import Account, Own, numbers, seconds

Printed = list[Own]


def text(words: Any, kind: str = "engine") -> Printed:
    """The numbers in words that somebody else wrote."""
    if isinstance(words, Own):
        return text(words.value, words.kind)
    if isinstance(words, list):
        return [one for each in words for one in text(each, kind)]
    shown = "" if words is None else f"{words:g}" if isinstance(words, float) else str(words)
    return [Own(seconds(one), kind) for one in numbers(shown.replace("-", "−") if isinstance(words, float) else shown)]


def count(value: Any) -> Printed:
    """A whole number."""
    return [value if isinstance(value, Own) else Own(value)]


def decimal(value: Any, places: int, factor: float = 1.0) -> Printed:
    """A number with so many places; nothing for none."""
    if value is None:
        return []
    own = value if isinstance(value, Own) else Own(value)
    off, half = own.off * factor, 0.501 * 10**-places
    # What was rounded as finely before is not rounded again.
    return [Own(own.value * factor, own.kind, off + half if half > 1.01 * off else off)]


def clock(value: Any, places: int = 0) -> Printed:
    """Session time or a lap time, read as seconds."""
    return decimal(value, places)


def lap_time(value: Any) -> Printed:
    """To the thousandth."""
    return decimal(value, 3)


def duration(length: float) -> Printed:
    """``45 s``, ``3 min 20 s``, ``1 h 05 min``."""
    whole = round(length)
    if whole < 60:
        return [Own(whole)]
    if whole < 3600:
        return [Own(whole // 60), *([Own(whole % 60)] if whole % 60 else [])]
    minutes = round(length / 60)
    return [Own(minutes // 60), Own(minutes % 60)]


def within(value: dict[str, Own], places: int, factor: float = 1.0) -> Printed:
    """The value, and how much less and more it may be."""
    middle, low, high = (value[key] for key in ("value", "low", "high"))
    ends = [Own(low.value - middle.value, low.kind, low.off + middle.off),
            Own(high.value - middle.value, high.kind, high.off + middle.off)]
    return [one for own in (middle, *ends) for one in decimal(own, places, factor)]


def time_of_day(own: Own | None, places: int = 0, green: Own | None = None) -> Printed:
    """Seconds since midnight of that place's clock; then which day, and which offset, where they are others."""
    if own is None:
        return []
    moment: datetime = own.value
    since = moment.hour * 3600 + moment.minute * 60 + moment.second + moment.microsecond / 1e6
    found = [Own(since, own.kind, 0.501 * 10**-places + own.off)]
    if green is not None:
        days = (moment.date() - green.value.date()).days
        found += [Own(days)] if days else []
        found += zone(moment) if moment.utcoffset() != green.value.utcoffset() else []
    return found


def zone(moment: datetime) -> Printed:
    """``UTC+02:00`` as it is read; nothing for UTC itself."""
    offset = moment.utcoffset()
    assert offset is not None
    minutes = abs(round(offset.total_seconds() / 60))
    return [Own(minutes)] if minutes else []


def account_for(account: Account, shown: str, printed: Printed, where: str) -> None:
    """Each number of a text is our own at the same place, and none is lacking."""
    found = [seconds(one) for one in numbers(shown)]
    if len(found) != len(printed) or any(abs(one - own.value) > own.off + 1e-9
                                         for one, own in zip(found, printed, strict=False)):  # fmt: skip
        account.lacking.append(f"{where}: {shown!r} has {found}, ours {[own.value for own in printed]}")
        return
    for own in printed:
        account.kinds[own.kind] += 1
