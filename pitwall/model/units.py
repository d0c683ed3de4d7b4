"""Units as types: aliases say what a bare float means, validators read what people write.

Seconds are session seconds unless a name says otherwise; session zero is the green light.
"""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import BeforeValidator, Field

KPH_PER_MPS = 3.6

_CLOCK_TEXT = re.compile(r"^([+-]?)(?:(\d{1,2}):)?(\d{1,3}):(\d{2})(?:\.(\d{1,3}))?$")


def seconds_from_text(value: object) -> object:
    """Read ``"+00:08:00"`` or ``"1:23.4"`` as seconds; leave numbers alone.

    Raises:
        ValueError: when text is not ``[+]hh:mm:ss`` or ``mm:ss[.f]``.
    """
    if not isinstance(value, str):
        return value
    match = _CLOCK_TEXT.match(value.strip())
    if match is None:
        raise ValueError("expected seconds, or a time such as '+00:08:00' or '1:23.4'")
    sign, hours, minutes, secs, fraction = match.groups()
    total = int(hours or 0) * 3600 + int(minutes) * 60 + int(secs) + float(f"0.{fraction or 0}")
    return -total if sign == "-" else total


Seconds = Annotated[float, BeforeValidator(seconds_from_text)]
"""A moment in session seconds, may be negative before the green light."""

Duration = Annotated[float, Field(ge=0), BeforeValidator(seconds_from_text)]
"""A length of time in seconds, never negative."""

Share = Annotated[float, Field(ge=0, le=1)]
"""A part of the whole, 0 to 1."""


def clock_text(seconds: float) -> str:
    """Write session seconds as a person reads them: ``12:05``, ``1:02:05``, ``-0:30``."""
    whole = int(abs(seconds))
    sign = "-" if seconds < 0 and whole else ""
    hours, rest = divmod(whole, 3600)
    minutes, secs = divmod(rest, 60)
    return f"{sign}{hours}:{minutes:02d}:{secs:02d}" if hours else f"{sign}{minutes}:{secs:02d}"


def items_done(done: int, probably: int, items: int, what: str = "") -> str:
    """``4 of 6, 2 probably``: of ``done`` items those that are only ``probably`` done are counted apart."""
    return f"{done - probably} of {items}{what}" + (f", {probably} probably" if probably else "")


def timed_laps(done: int, wanted: int) -> str:
    """``2 of 3 timed``; of a run that went on for longer than planned ``5 timed, 3 planned``; of one that neither has
    nor was to have any ``no timed laps``."""
    if not done and not wanted:
        return "no timed laps"
    return f"{done} of {wanted} timed" if done <= wanted else f"{done} timed, {wanted} planned"
