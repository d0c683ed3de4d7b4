"""The iCalendar file against RFC 5545, and as another program reads it (the package icalendar).

Source of the examples: RFC 5545, sections 3.1 (content lines: at most 75 octets, folded with CRLF and a blank), 3.3.5
(form #2: "19980119T070000Z" is January 19, 1998, at 0700 UTC), 3.3.11 (TEXT: backslash, semicolon, comma, newline as
"\\n"), 3.6.1 (VEVENT), 3.6.6 (VALARM), 3.8.4.7 (UID). Text from memory.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.app.calendar_text import calendar_text, escaped, folded, utc
from pitwall.app.resources import demo_event
from pitwall.app.timetable import timetable_of
from pitwall.cli.main import main
from pitwall.model.eventfile import EventFile
from pitwall.model.rules import Regulations

CHANGED = datetime(2031, 5, 1, 12, 0, tzinfo=UTC)


def _event(zone: str = "Europe/Berlin", name: str = "Spring test", **day: Any) -> EventFile:
    return EventFile.model_validate({
        "event": 1, "name": name, "team": "Gannet", "session": "p1", "drivers": {"ines": {"spoken": "Ines"}},
        "cars": {"41": {"car": "car.yaml", "plan": "plan.yaml"}}, "day": {"time_zone": zone} | day})


def _calendar(event: EventFile, *sessions: dict[str, Any]) -> str:
    rules = Regulations.model_validate({"regulations": 1, "sessions": list(sessions)})
    return calendar_text(event, rules, timetable_of(event, rules), CHANGED)


def _read(text: str) -> dict[str, icalendar.Event]:
    """The entries as the other program has them, by summary."""
    found = icalendar.Calendar.from_ical(text)
    return {str(one["SUMMARY"]): one for one in found.walk("VEVENT")}


def test_folding_is_that_of_the_standard() -> None:
    """Lines of at most 75 octets, the further ones begin with one blank; taken together they are the line again."""
    line = "DESCRIPTION:This is a long description that exists on a long line, and that goes on for a while yet."
    parts = folded(line).split("\r\n")
    assert [len(part) for part in parts] == [75, len(line) - 75 + 1]
    assert folded(line).replace("\r\n ", "") == line
    assert folded("X" * 75) == "X" * 75


@given(st.text(max_size=200))
@settings(max_examples=60, deadline=None)
def test_no_character_is_cut_and_every_text_comes_back(text: str) -> None:
    """Octets are counted, not characters; the other program reads what was written, without control characters."""
    whole = folded(f"SUMMARY:{escaped(text)}")
    assert all(len(part.encode()) <= 75 for part in whole.split("\r\n"))
    (name, _, value) = icalendar.parser.Contentline.from_ical(whole).parts()
    assert name == "SUMMARY"
    expected = "".join(sign if sign in "\n\t" or (sign >= " " and sign != "\x7f") else " "
                       for sign in text.replace("\r\n", "\n").replace("\r", "\n"))
    assert str(icalendar.vText.from_ical(value)) == expected


def test_text_and_times_are_written_as_the_examples() -> None:
    """The example of 3.3.11, the signs that are written out, and the UTC example of 3.3.5."""
    told = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert escaped(told) == r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert escaped("a,b;c\\d: e") == r"a\,b\;c\\d: e"
    assert utc(datetime(1998, 1, 19, 2, 0, tzinfo=ZoneInfo("America/New_York"))) == "19980119T070000Z"


def test_sessions_have_their_length_and_reminders_an_alarm() -> None:
    """An hour from 10:30 in Berlin is 8:30 to 9:30 UTC in May; what only informs blocks nobody's time."""
    event = _event(reminders=[{"name": "fire_up", "text": "fire up, drivers in", "before_s": 300}], curfew="20:00",
                   export_at="18:30")
    text = _calendar(event, {"session": "p1", "opens_at": "2031-05-16T10:30:00+02:00", "duration_s": 3600})
    found = _read(text)
    assert set(found) == {"p1", "p1: fire up, drivers in", "Curfew: nobody works on the car from now on",
                          "Curfew at 20:00, in 30 min: bring the work to an end"}
    p1, fire = found["p1"], found["p1: fire up, drivers in"]
    assert (p1["DTSTART"].dt, p1["DTEND"].dt) == (datetime(2031, 5, 16, 8, 30, tzinfo=UTC),
                                                  datetime(2031, 5, 16, 9, 30, tzinfo=UTC))
    assert fire["DTSTART"].dt == datetime(2031, 5, 16, 8, 25, tzinfo=UTC)
    assert "DTEND" not in fire
    assert str(fire["TRANSP"]) == "TRANSPARENT"
    (alarm,) = fire.walk("VALARM")
    assert (str(alarm["ACTION"]), alarm["TRIGGER"].dt) == ("DISPLAY", timedelta(0))
    assert str(p1["DESCRIPTION"]) == "Spring test: 10:30 in Europe/Berlin"
    assert text.startswith("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:")
    assert text.endswith("END:VCALENDAR\r\n")
    assert "\n" not in text.replace("\r\n", "")


def test_each_entry_has_what_the_standard_requires() -> None:
    """UID and DTSTAMP once each, no UID twice (3.6.1, 3.8.4.7), and VERSION and PRODID once (3.6)."""
    event = _event(reminders=[{"name": "briefing", "text": "briefing", "before_s": 2700}])
    sessions = [{"session": f"p{number}", "opens_at": f"2031-05-{15 + number}T10:30:00+02:00", "duration_s": 3600}
                for number in (1, 2, 3)]
    calendar = icalendar.Calendar.from_ical(_calendar(event, *sessions))
    assert (str(calendar["VERSION"]), "PRODID" in calendar) == ("2.0", True)
    uids = [str(one["UID"]) for one in calendar.walk("VEVENT")]
    assert len(uids) == len(set(uids)) == 6
    assert all(one["DTSTAMP"].dt == CHANGED for one in calendar.walk("VEVENT"))
    assert calendar.errors == []


def test_nights_when_clocks_change() -> None:
    """A session over the change of 26 October 2031 (Directive 2000/84/EC: 01:00 UTC, last Sunday) lasts as long as it
    lasts, and the same time of day is another moment on the day after."""
    event = _event(reminders=[{"name": "breakfast", "text": "breakfast", "at": "07:00"}])
    found = icalendar.Calendar.from_ical(_calendar(
        event, {"session": "p1", "opens_at": "2031-10-25T23:30:00+02:00", "duration_s": 6 * 3600},
        {"session": "p2", "opens_at": "2031-10-26T10:00:00+01:00", "duration_s": 3600})).walk("VEVENT")
    night = next(one for one in found if str(one["SUMMARY"]) == "p1")
    assert night["DTEND"].dt - night["DTSTART"].dt == timedelta(hours=6)
    assert night["DTEND"].dt.astimezone(ZoneInfo("Europe/Berlin")).isoformat() == "2031-10-26T04:30:00+01:00"
    assert sorted(one["DTSTART"].dt for one in found if str(one["SUMMARY"]) == "breakfast") == [
        datetime(2031, 10, 25, 5, 0, tzinfo=UTC), datetime(2031, 10, 26, 6, 0, tzinfo=UTC)]


@pytest.mark.parametrize(("zone", "opens", "at", "moment"), [
    ("Europe/Berlin", "2031-03-30T00:30:00+01:00", "02:15", "2031-03-30T01:15:00+00:00"),
    ("Australia/Lord_Howe", "2031-10-05T00:30:00+10:30", "02:15", "2031-10-04T15:45:00+00:00"),
    ("America/St_Johns", "2031-11-02T00:30:00-02:30", "01:45", "2031-11-02T04:15:00+00:00"),
])
def test_a_time_of_day_that_the_night_skips_or_shows_twice(zone: str, opens: str, at: str, moment: str) -> None:
    """3.3.5: skipped, it counts by the offset before the gap (also where clocks change by half an hour); shown twice,
    it is the first. The session of that night is as long as it is."""
    event = _event(zone, reminders=[{"name": "night", "text": "night work", "at": at}])
    text = _calendar(event, {"session": "p1", "opens_at": opens, "duration_s": 14400})
    found = _read(text)
    assert found["night work"]["DTSTART"].dt == datetime.fromisoformat(moment)
    assert found["p1"]["DTEND"].dt - found["p1"]["DTSTART"].dt == timedelta(hours=4)
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))


def test_windows_are_entries_of_their_own() -> None:
    """Morning and afternoon of a test day, each with its own length, and not the lunch between."""
    found = _read(_calendar(_event(), {"session": "day", "opens_at": "2031-05-18T09:00:00+02:00", "windows": [
        {"window": "morning", "from": "09:00", "to": "12:30"},
        {"window": "afternoon", "from": "13:30", "to": "17:00"}]}))
    spans = {name: (one["DTEND"].dt - one["DTSTART"].dt) for name, one in found.items()}
    assert spans == {"day": timedelta(hours=3.5), "day, window afternoon": timedelta(hours=3.5)}
    assert found["day, window afternoon"]["DTSTART"].dt == datetime(2031, 5, 18, 11, 30, tzinfo=UTC)


def test_an_entry_that_moves_keeps_its_name_and_counts_on() -> None:
    """The session opens half an hour later: the same UID, so the phone moves the entry, by a higher number."""
    session = {"session": "p1", "opens_at": "2031-05-16T10:30:00+02:00", "duration_s": 3600}
    before = _read(_calendar(_event(), session))["p1"]
    rules = Regulations.model_validate({"regulations": 1, "sessions": [
        session | {"opens_at": "2031-05-16T11:00:00+02:00"}]})
    later = calendar_text(_event(), rules, timetable_of(_event(), rules), CHANGED + timedelta(hours=1))
    after = _read(later)["p1"]
    assert before["UID"] == after["UID"]
    assert int(after["SEQUENCE"]) > int(before["SEQUENCE"])
    assert _read(_calendar(_event(name="Autumn test"), session))["p1"]["UID"] != before["UID"]


@pytest.mark.parametrize("on", [None, "2031-05-16"])
def test_the_command_writes_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str], on: str | None) -> None:
    """All dates or one, as the timetable that is printed; what is there stays without --force."""
    target = tmp_path / "crew.ics"
    words = ["day", str(demo_event()), "--ics", str(target), *(["--date", on] if on else [])]
    assert main(words) == 0
    assert "crew.ics: " in capsys.readouterr().out
    calendar = icalendar.Calendar.from_ical(target.read_bytes())
    dates = {one["DTSTART"].dt.astimezone(ZoneInfo("Europe/Berlin")).date() for one in calendar.walk("VEVENT")}
    assert (date(2031, 5, 16) in dates, dates == {date(2031, 5, 16)}) == (True, on is not None)
    assert main(words) == 2
    first = target.read_bytes()
    assert main([*words, "--force", "--json"]) == 0
    assert target.read_bytes() == first


def test_each_shipped_event_has_a_calendar(tmp_path: Path) -> None:
    """The test day as well as the race weekend; the afternoon's reminders come before the afternoon."""
    found = {}
    for name in ("event.yaml", "test_day.yaml"):
        target = tmp_path / f"{name}.ics"
        assert main(["day", str(demo_event().with_name(name)), "--ics", str(target)]) == 0
        found[name] = _read(target.read_text(encoding="utf-8"))
    assert all(len(entries) >= 9 for entries in found.values())
    begins = [one["DTSTART"].dt for summary, one in found["test_day.yaml"].items() if "window afternoon" in summary]
    opens = datetime(2031, 5, 18, 11, 0, tzinfo=UTC)
    assert sorted(begins) == [opens - timedelta(seconds=1200), opens - timedelta(seconds=300), opens]
