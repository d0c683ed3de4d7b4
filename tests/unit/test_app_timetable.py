"""From the event file's day to the moments of the timetable, in the event's zone, over nights when clocks change."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pydantic import ValidationError

from pitwall.app import timetable
from pitwall.app.timetable import dates_of, entries_on, local_moment, zone_of
from pitwall.model.rules import Regulations
from pitwall.model.timetable import Day, Reminder, TimetableEntry

BERLIN = ZoneInfo("Europe/Berlin")
FRIDAY = date(2031, 5, 16)


def regulations(*sessions: dict[str, Any]) -> Regulations:
    """A regulations file with these sessions, or one of an hour from 10:30 in Berlin."""
    one = {"session": "p1", "opens_at": "2031-05-16T10:30:00+02:00", "duration_s": 3600}
    return Regulations.model_validate({"regulations": 1, "sessions": list(sessions) or [one]})


def day(**changes: Any) -> Day:
    """A day in Berlin."""
    return Day.model_validate({"time_zone": "Europe/Berlin"} | changes)


def on(told: Day, rules: Regulations | None = None, when: date = FRIDAY) -> tuple[TimetableEntry, ...]:
    """The entries of one date."""
    zone = zone_of(told.time_zone)
    assert zone is not None
    return entries_on(told, when, dates_of(rules or regulations(), zone)[when], zone)


def at(entries: tuple[TimetableEntry, ...]) -> dict[str, str]:
    """Name to time of day with offset."""
    return {entry.name: entry.moment.isoformat()[11:16] for entry in entries}


def test_reminders_count_back_from_the_opening() -> None:
    """45, 20 and 5 minutes before 10:30 are 9:45, 10:10 and 10:25; the opening itself is told too."""
    entries = on(day(reminders=[
        {"name": "fire_up", "text": "fire up", "before_s": 300},
        {"name": "briefing", "text": "briefing", "before_s": 2700},
        {"name": "warm_up", "text": "warm up", "before_s": "20:00"}]))
    assert at(entries) == {"briefing-p1": "09:45", "warm_up-p1": "10:10", "fire_up-p1": "10:25", "opens-p1": "10:30"}
    assert [entry.text for entry in entries] == ["p1: briefing", "p1: warm up", "p1: fire up", "p1 opens"]
    assert [entry.kind for entry in entries] == ["reminder", "reminder", "reminder", "session"]


def test_reminder_is_of_no_use_once_the_session_opened() -> None:
    """The grace of a reminder ends with the opening at the latest."""
    entries = on(day(grace_s=600, reminders=[{"name": "fire_up", "text": "x", "before_s": 300},
                                             {"name": "briefing", "text": "x", "before_s": 2700},
                                             {"name": "own", "text": "x", "before_s": 2700, "grace_s": 60}]))
    graces = {entry.name: entry.grace_s for entry in entries}
    assert (graces["fire_up-p1"], graces["briefing-p1"], graces["own-p1"]) == (300, 600, 60)


def test_windows_of_a_session_have_their_own_reminders() -> None:
    """A test day with lunch: the afternoon opens too; `of: window` comes before each, `of: session` once."""
    rules = regulations({"session": "test", "opens_at": "2031-05-16T09:00:00+02:00", "windows": [
        {"window": "morning", "from": "09:00", "to": "12:00"},
        {"window": "afternoon", "from": "13:30", "to": "17:00"}]})
    entries = on(day(reminders=[{"name": "briefing", "text": "briefing", "before_s": 1800},
                                {"name": "fire_up", "text": "fire up", "before_s": 300, "of": "window"}]), rules)
    assert at(entries) == {"briefing-test": "08:30", "fire_up-test": "08:55", "opens-test": "09:00",
                           "fire_up-test-2": "13:25", "opens-test-2": "13:30"}
    assert entries[-1].text == "test, window afternoon opens"
    assert entries[-1].kind == "window"


def test_reminders_at_a_time_of_day_come_once_a_date() -> None:
    """`at` is told once on each date that has (one of) its sessions."""
    rules = regulations({"session": "p1", "opens_at": "2031-05-16T10:30:00+02:00", "duration_s": 3600},
                        {"session": "p2", "opens_at": "2031-05-16T14:00:00+02:00", "duration_s": 3600},
                        {"session": "p3", "opens_at": "2031-05-17T10:00:00+02:00", "duration_s": 3600})
    told = day(reminders=[{"name": "lunch", "text": "lunch", "at": "12:00"},
                          {"name": "scales", "text": "scales", "at": "8:15", "sessions": ["p3"]}])
    assert {"lunch-2031-05-16": "12:00"}.items() <= at(on(told, rules)).items()
    assert "scales-2031-05-16" not in at(on(told, rules))
    assert {"lunch-2031-05-17": "12:00", "scales-2031-05-17": "08:15"}.items() \
        <= at(on(told, rules, date(2031, 5, 17))).items()


def test_curfew_and_export() -> None:
    """The curfew is warned of, the export is better late than never."""
    entries = {entry.name: entry for entry in on(day(curfew="20:00", curfew_warning_s=1800, export_at="18:30"))}
    assert {name: one.moment.isoformat()[11:16] for name, one in entries.items() if name != "opens-p1"} == {
        "export-2031-05-16": "18:30", "curfew-warning-2031-05-16": "19:30", "curfew-2031-05-16": "20:00"}
    assert entries["curfew-warning-2031-05-16"].text == "Curfew at 20:00, in 30 min: bring the work to an end"
    assert entries["export-2031-05-16"].grace_s == 43_200


def test_curfew_after_midnight_is_the_night_after() -> None:
    """00:30 is before the first opening, so it is meant for the coming night."""
    entry = next(one for one in on(day(curfew="00:30", curfew_warning_s=0)) if one.kind == "curfew")
    assert entry.moment.isoformat() == "2031-05-17T00:30:00+02:00"


def test_written_offset_of_another_zone_is_the_same_moment() -> None:
    """A session written in UTC is at 10:30 on the clock in Berlin, on that clock's date."""
    rules = regulations({"session": "p1", "opens_at": "2031-05-16T08:30:00Z", "duration_s": 3600},
                        {"session": "night", "opens_at": "2031-05-16T22:30:00Z", "duration_s": 3600})
    assert {when.isoformat(): [one.session for one in sessions]
            for when, sessions in dates_of(rules, BERLIN).items()} == {"2031-05-16": ["p1"], "2031-05-17": ["night"]}
    assert at(on(day(), rules))["opens-p1"] == "10:30"


def test_hours_before_a_session_on_the_night_when_clocks_change() -> None:
    """30 March 2031, 2:00 becomes 3:00: five hours before 6:00 is midnight by the clock, five real hours before."""
    rules = regulations({"session": "p1", "opens_at": "2031-03-30T06:00:00+02:00", "duration_s": 3600})
    told = day(reminders=[{"name": "up", "text": "x", "before_s": 18_000}])
    entries = on(told, rules, date(2031, 3, 30))
    assert entries[0].moment.isoformat() == "2031-03-30T00:00:00+01:00"
    assert entries[1].unix_s - entries[0].unix_s == 18_000


def test_window_after_the_clocks_changed() -> None:
    """A window three hours into a session over the change opens three real hours later."""
    rules = regulations({"session": "p1", "opens_at": "2031-10-26T01:00:00+02:00", "windows": [
        {"window": "a", "from": 0, "to": 3600}, {"window": "b", "from": 10_800, "to": 14_400}]})
    entries = on(day(), rules, date(2031, 10, 26))
    assert entries[-1].moment.isoformat() == "2031-10-26T03:00:00+01:00"


def test_session_without_an_opening_has_no_day() -> None:
    """Nobody can say when: no entries, and the others have theirs."""
    rules = regulations({"session": "p1", "duration_s": 3600},
                        {"session": "p2", "opens_at": "2031-05-16T14:00:00+02:00", "duration_s": 3600})
    assert list(at(on(day(), rules))) == ["opens-p2"]


@pytest.mark.parametrize("name", ["Europe/Berln", "europe/berlin", "", "../etc/passwd", "Europe", "UTC+2", "a\0b"])
def test_unknown_zones(name: str) -> None:
    """A zone is known by its exact name, on every file system; folders and paths are none."""
    assert zone_of(name) is None


def test_no_time_zones_on_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A Windows without tzdata knows no zone, and says what helps."""
    from pitwall.app import day_checks

    monkeypatch.setattr(timetable, "zone_names", frozenset)
    monkeypatch.setattr(day_checks, "zone_names", frozenset)
    assert zone_of("Europe/Berlin") is None
    assert day_checks._unknown_zone("Europe/Berlin").suggestion == "this machine has no time zones: pip install tzdata"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"name": "b", "text": "x"}, "neither before_s nor at"),
        ({"name": "b", "text": "x", "at": "10:00", "before_s": 5}, "both before_s and at"),
        ({"name": "b", "text": "x", "at": "24:00"}, "pattern"),
        ({"name": "b", "text": "x", "at": "10:60"}, "pattern"),
        ({"name": "b", "text": "x", "before_s": -1}, "greater than or equal"),
    ],
)
def test_reminder_has_one_moment(changes: dict[str, Any], words: str) -> None:
    """Exactly one of before_s and at; a time of day is one of 24 hours; nobody is reminded afterwards."""
    with pytest.raises(ValidationError, match=words):
        Reminder.model_validate(changes)


def test_names_of_reminders_are_unique() -> None:
    """Two reminders of one name could not be told apart."""
    twice = [{"name": "b", "text": "x", "before_s": 5}, {"name": "b", "text": "y", "before_s": 6}]
    with pytest.raises(ValidationError, match="again"):
        day(reminders=twice)


def test_short_hours() -> None:
    """8:15 is read as 08:15."""
    assert day(curfew="8:15").curfew == "08:15"


def test_names_of_entries_fit_the_journal() -> None:
    """The longest names that the files allow still make an id of at most 128 characters."""
    from pitwall.app.day_watch import fact_id

    session = "s" * 32
    rules = regulations({"session": session, "opens_at": "2031-05-16T09:00:00+02:00", "windows": [
        {"window": "w" * 32, "from": 0, "to": 100}, {"window": "v" * 32, "from": 200, "to": 300}]})
    entries = on(day(reminders=[{"name": "r" * 48, "text": "t" * 160, "before_s": 5, "of": "window"}]), rules)
    assert max(len(fact_id(entry, passed=True)) for entry in entries) <= 128


def test_moments_are_of_the_place_and_in_order() -> None:
    """Entries come in order of time, each with the offset of the place."""
    entries = on(day(reminders=[{"name": "lunch", "text": "x", "at": "12:00"}], curfew="20:00"))
    assert [entry.unix_s for entry in entries] == sorted(entry.unix_s for entry in entries)
    assert {entry.moment.isoformat()[-6:] for entry in entries} == {"+02:00"}
    assert entries[0].moment.astimezone(UTC) == datetime(2031, 5, 16, 8, 30, tzinfo=UTC)


def test_time_of_day_is_that_of_the_place() -> None:
    """18:30 in Berlin in May is 16:30 UTC."""
    assert local_moment(FRIDAY, "18:30", BERLIN).astimezone(UTC).isoformat() == "2031-05-16T16:30:00+00:00"
