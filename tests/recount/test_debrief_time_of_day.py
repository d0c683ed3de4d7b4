"""Times of day in a debrief: across a change of clocks, across midnight, and where nobody knows the place.

The wall clock is a matter of the IANA database's rules; Europe's clocks go back by Directive 2000/84/EC at 01:00 UTC on
the last Sunday of October, forward on the last Sunday of March. Each session is a recorded one that opens at another
moment of the calendar.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

import pytest

from pitwall.app.debrief_tables import as_csv
from pitwall.app.debriefing import made_of
from pitwall.debrief.contents import document_of
from pitwall.debrief.document import Picture
from pitwall.debrief.html import as_html
from pitwall.debrief.tables import tables
from pitwall.model.events import SessionPrepared
from tests.recount import page_reader
from tests.recount.own import Account
from tests.recount.second import second_of
from tests.recount.sessions import Told, gone_over, stored


@cache
def followed() -> Told:
    """The night's session until its first run is over: that is all that is looked at."""
    return gone_over("two_windows", [line for line in stored("two_windows") if json.loads(line)["received_t"] <= 520.0])


@cache
def moved(opens: str, zone: str | None, wall: bool = True) -> Told:
    """The same as if it had opened then, there, with or without stamps of a machine's clock: nothing else depends on
    the time of day, so what was noted of it stands."""
    night = followed()
    assert night.noted is not None
    notes, rules = night.noted.notes, night.setup["regulations"]
    later = (datetime.fromisoformat(opens) - datetime.fromisoformat(rules["sessions"][0]["opens_at"])).total_seconds()
    setup = night.setup | {"time_zone": zone, "regulations": rules | {
        "sessions": [rules["sessions"][0] | {"opens_at": opens}]}}
    first = night.rows[0]
    rows = [first | {"event": first["event"] | {"setup": setup}}, *night.rows[1:]]
    rows = [row | {"wall_s": row["wall_s"] + later} if wall else row | {"wall_s": None} for row in rows]
    kept = notes.setup, notes.wall
    notes.setup = SessionPrepared.model_validate({"id": "prepared", "t": 0.0, "setup": setup})
    notes.wall = [(t, wall_s + later) for t, wall_s in notes.wall] if wall else []
    made = made_of(night.noted, night.name)
    notes.setup, notes.wall = kept
    return replace(night, rows=rows, debrief=made)


def starts(told: Told) -> list[datetime]:
    """When each lap began."""
    return [lap.start_time for lap in told.debrief.cars[0].laps if lap.start_time is not None]


def read(told: Told) -> page_reader.Page:
    """The page as it is read, without its figures: they take the longest to draw and name no time of day."""
    document = document_of(told.debrief)
    sections = tuple(replace(one, blocks=tuple(block for block in one.blocks if not isinstance(block, Picture)))
                     for one in document.sections)
    return page_reader.read(as_html(replace(document, sections=sections), {}))


def words_of(told: Told) -> list[str]:
    """The sentences of the page."""
    return read(told).sentences


def data_times(told: Told) -> list[str]:
    """The column of times of day of the data windows."""
    found = read(told).tables
    (table,) = [one for caption, one in found.items() if "where the data are" in caption]
    return [row[table.heads.index("time of day")] for row in table.rows]


def test_clocks_that_go_back() -> None:
    """The hour between two and three comes twice: what is of the second says so, and no time runs backwards."""
    told = moved("2031-10-26T02:56:00+02:00", "Europe/Berlin")
    found = starts(told)
    offsets = [one.utcoffset() for one in found]
    assert offsets[0] == timedelta(hours=2)
    assert offsets[-1] == timedelta(hours=1)
    assert found[-1].strftime("%H:%M") == "02:02"
    passed = [one.astimezone(UTC) for one in found]
    assert passed == sorted(passed)
    laps = told.debrief.cars[0].laps
    for one, lap in zip(passed, laps, strict=True):
        assert (one - passed[0]).total_seconds() == pytest.approx(lap.start_s - laps[0].start_s, abs=0.02)
    assert any("The clocks changed meanwhile: times of day with UTC+01:00" in one for one in words_of(told))
    shown = data_times(told)
    assert "UTC" not in shown[0]
    assert shown[-1].endswith("UTC+01:00")


def test_clocks_that_go_forward() -> None:
    """The hour that does not exist is on no page; so it is in a rehearsal, where the schedule alone is known."""
    told = moved("2032-03-28T01:56:00+01:00", "Europe/Berlin", wall=False)
    assert told.debrief.session.time_of_day_from == "schedule"
    assert [one.strftime("%H") for one in starts(told)] == ["01", "01", "03", "03"]
    assert any("UTC+02:00 are by the new one" in one for one in words_of(told))


def test_midnight() -> None:
    """What is of the next day says so; the day of the session is that of the green light."""
    told = moved("2031-05-16T23:56:00+02:00", "Europe/Berlin")
    assert [one.day for one in starts(told)] == [16, 16, 17, 17]
    assert any("Friday 16 May 2031" in one and "+1 d are of the day after" in one for one in words_of(told))
    shown = data_times(told)
    assert "+1 d" not in shown[0]
    assert shown[-1].count("+1 d") == 1
    assert shown[-1].endswith("+1 d")


def test_where_the_place_is_not_known() -> None:
    """A journal that names a place which this machine does not know (an older one names none): the offset of the
    schedule holds throughout."""
    told = moved("2031-10-26T02:56:00+02:00", "Nowhere/Atall")
    assert {one.utcoffset() for one in starts(told)} == {timedelta(hours=2)}
    assert starts(told)[-1].strftime("%H:%M") == "03:02"


def test_the_place_counts_and_not_the_offset_of_the_schedule() -> None:
    """A schedule in UTC of an event elsewhere: its times of day are those on the wall there."""
    told = moved("2031-05-16T10:30:00+00:00", "Australia/Lord_Howe")
    assert told.debrief.session.green_time is not None
    assert told.debrief.session.green_time.isoformat(timespec="minutes") == "2031-05-16T21:00+10:30"
    assert any("green light at 21:00:00 (UTC+10:30)" in one for one in words_of(told))
    every = " ".join([*words_of(told), *data_times(told)])
    assert "+1 d" not in every
    assert "clocks" not in every


@pytest.mark.parametrize(("opens", "zone"), [("2031-10-26T02:56:00+02:00", "Europe/Berlin"),
                                             ("2031-05-16T23:56:00+02:00", "Europe/Berlin")])
def test_every_number_stays_our_own(opens: str, zone: str) -> None:
    """Also then each number of the facts is reckoned again, and tables name the offset of each moment."""
    told = moved(opens, zone)
    account = Account()
    account.compare(json.loads(told.debrief.model_dump_json()), second_of(told))
    assert account.lacking == []
    (table,) = [one for one in tables(told.debrief) if one.name == "laps"]
    rows: list[dict[str, Any]] = list(csv.DictReader(io.StringIO(as_csv(table).decode(), newline="")))
    read = [datetime.fromisoformat(row["start_time"]) for row in rows]
    assert [(one.timestamp(), one.utcoffset()) for one in read] == [
        (one.timestamp(), one.utcoffset()) for one in starts(told)]
