"""Local times on the nights when clocks change, against RFC 5545 (iCalendar), section 3.3.5, DATE-TIME.

Source: RFC 5545, form #3: a local time that occurs twice refers to the first occurrence,
"TZID=America/New_York:20071104T013000 indicates November 4, 2007 at 1:30 A.M. EDT (UTC-04:00)"; one that does not occur
is interpreted with the UTC offset before the gap, "TZID=America/New_York:20070311T023000 indicates March 11, 2007 at
3:30 A.M. EDT (UTC-04:00)". Text from memory. The zones' own rules are the IANA database's.
"""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from pitwall.app.timetable import local_moment


@pytest.mark.parametrize(
    ("on", "at", "zone", "is_then"),
    [
        (date(2007, 11, 4), "01:30", "America/New_York", "2007-11-04T01:30:00-04:00"),
        (date(2007, 3, 11), "02:30", "America/New_York", "2007-03-11T03:30:00-04:00"),
        # the same in Europe: by Directive 2000/84/EC at 01:00 UTC on the last Sundays of March and October
        (date(2024, 3, 31), "02:30", "Europe/Berlin", "2024-03-31T03:30:00+02:00"),
        (date(2024, 10, 27), "02:30", "Europe/Berlin", "2024-10-27T02:30:00+02:00"),
        (date(2024, 3, 31), "01:59", "Europe/Berlin", "2024-03-31T01:59:00+01:00"),
        (date(2024, 3, 31), "03:00", "Europe/Berlin", "2024-03-31T03:00:00+02:00"),
        # half an hour's change, and none at all
        (date(2024, 10, 6), "02:15", "Australia/Lord_Howe", "2024-10-06T02:45:00+11:00"),
        (date(2024, 3, 31), "02:30", "UTC", "2024-03-31T02:30:00+00:00"),
    ],
)
def test_skipped_and_repeated_times(on: date, at: str, zone: str, is_then: str) -> None:
    """A time that the clock skips counts by the offset before the gap; one shown twice is the first."""
    assert local_moment(on, at, ZoneInfo(zone)).isoformat() == is_then
