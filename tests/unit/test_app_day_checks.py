"""The day of an event file is checked against itself and the regulations: codes, lines, remedies."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pitwall.app.loading import read_event
from pitwall.app.resources import shipped
from pitwall.errors import Finding


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo event."""
    return Path(shutil.copytree(shipped("config"), tmp_path / "config"))


def with_day(folder: Path, *lines: str) -> tuple[Finding, ...]:
    """Findings of the event with this day in the place of its own."""
    event = folder / "event.yaml"
    text = event.read_text(encoding="utf-8")
    begin, end = text.index("\nday:\n"), text.index("# The other cars on track")
    event.write_text(text[:begin] + "\nday:\n" + "".join(f"  {line}\n" for line in lines) + "\n" + text[end:],
                     encoding="utf-8")
    return read_event(event).findings


def in_regulations(folder: Path, old: str, new: str) -> None:
    """Change the regulations file."""
    path = folder / "regulations.yaml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


ZONE = "time_zone: Europe/Berlin"


def one(findings: tuple[Finding, ...], code: str) -> Finding:
    """The one finding, which has this code, a line and a reason."""
    assert [found.code for found in findings] == [code]
    (found,) = findings
    assert found.line is not None
    assert found.why
    return found


def test_demo_day_is_sound(folder: Path) -> None:
    """The shipped event's day has nothing to find."""
    assert read_event(folder / "event.yaml").findings == ()


@pytest.mark.parametrize(
    ("zone", "meant"),
    [("Europe/Berln", "did you mean 'Europe/Berlin'?"), ("Berlin", "did you mean 'Europe/Berlin'?"),
     ("europe/berlin", "did you mean 'Europe/Berlin'?"), ("Middle-earth/Shire", None)],
)
def test_unknown_zone_is_an_error_with_the_nearest(folder: Path, zone: str, meant: str | None) -> None:
    """A zone that is not in the IANA database stops the preparation and names what may be meant."""
    found = one(with_day(folder, f"time_zone: {zone}"), "PW601")
    assert (found.severity, found.path, found.suggestion) == ("error", ("day", "time_zone"), meant)


def test_reminder_after_the_last_session(folder: Path) -> None:
    """At 16:00 on a day whose last session ends at 15:00 nobody need be reminded any more."""
    found = one(with_day(folder, ZONE, "reminders:", "  - {name: photo, text: photo, at: \"16:00\"}"), "PW602")
    assert (found.severity, found.path) == ("warning", ("day", "reminders", 0, "at"))
    assert found.expected is not None
    assert "15:00" in found.expected


def test_reminder_of_a_session_after_it_opened(folder: Path) -> None:
    """A reminder that belongs to practice-1 must come before that opens."""
    late = "  - {name: scales, text: s, at: \"10:31\", sessions: [practice-1]}"
    found = one(with_day(folder, ZONE, "reminders:", late), "PW602")
    assert found.expected == "a time before practice-1 opens, 10:30"


def test_reminder_of_an_unknown_session(folder: Path) -> None:
    """The session is named as the regulations name it."""
    found = one(with_day(folder, ZONE, "reminders:", "  - {name: b, text: t, before_s: 60, sessions: [practise-1]}"),
                "PW107")
    assert found.suggestion == "did you mean 'practice-1'?"


@pytest.mark.parametrize(
    ("line", "code"), [("curfew: \"14:30\"", "PW603"), ("export_at: \"14:59\"", "PW604")]
)
def test_evening_before_the_last_session_ends(folder: Path, line: str, code: str) -> None:
    """Curfew and export belong after the last session of each day, which ends at 15:00 on the first."""
    found = one(with_day(folder, ZONE, line), code)
    assert found.expected is not None
    assert found.expected.startswith("15:00")


def test_curfew_after_midnight_is_sound(folder: Path) -> None:
    """00:30 is the night after, not before the first session."""
    assert with_day(folder, ZONE, "curfew: \"00:30\"", "export_at: \"15:00\"") == ()


def test_session_without_an_opening(folder: Path) -> None:
    """With a day each session should have its opening time."""
    in_regulations(folder, '{session: practice-2, opens_at: "2031-05-16T14:00:00+02:00", duration_s: 3600}',
                   "{session: practice-2, duration_s: 3600}")
    found = one(read_event(folder / "event.yaml").findings, "PW605")
    assert found.file is not None
    assert found.file.endswith("regulations.yaml")


def test_time_that_the_clock_skips(folder: Path) -> None:
    """On 30 March 2031 there is no 02:30 in Berlin."""
    in_regulations(folder, '"2031-05-16T10:30:00+02:00"', '"2031-03-30T10:30:00+02:00"')
    found = one(with_day(folder, ZONE, "reminders:", "  - {name: early, text: t, at: \"02:30\"}"), "PW606")
    assert found.found == "02:30 on 2031-03-30, which the clock skips: taken as 03:30"


def test_time_that_the_clock_shows_twice(folder: Path) -> None:
    """On 26 October 2031 there are two 02:30 in Berlin; the curfew of the night before means the first."""
    in_regulations(folder, '"2031-05-16T10:30:00+02:00"', '"2031-10-25T10:30:00+02:00"')
    found = one(with_day(folder, ZONE, "curfew: \"02:30\""), "PW606")
    assert found.found == "02:30 on 2031-10-26, which the clock shows twice: taken as the first"


def test_opening_with_the_offset_of_another_zone(folder: Path) -> None:
    """Written for London summer, told in Berlin: the session opens an hour later on the clock of the place."""
    in_regulations(folder, '"2031-05-16T10:30:00+02:00"', '"2031-05-16T10:30:00+01:00"')
    found = one(read_event(folder / "event.yaml").findings, "PW607")
    assert found.found == "2031-05-16T10:30:00+01:00, which is 11:30 in Europe/Berlin"
    assert found.expected == "the offset +02:00"


@pytest.mark.parametrize(
    "lines",
    [(ZONE, "curfew: 2000"), (ZONE, "curfew: \"25:00\""), (ZONE, "reminder: []"), ("curfew: \"20:00\"",),
     (ZONE, "reminders:", "  - {name: b, text: t}")],
)
def test_what_a_day_cannot_be_is_told_at_its_line(folder: Path, lines: tuple[str, ...]) -> None:
    """Wrong forms, unknown keys and a missing zone are errors with a line, like everywhere."""
    findings = with_day(folder, *lines)
    assert findings
    assert all(found.severity == "error" and found.line is not None for found in findings)


def test_event_without_a_day_is_sound(folder: Path) -> None:
    """The day is optional."""
    event = folder / "event.yaml"
    text = event.read_text(encoding="utf-8")
    begin, end = text.index("\nday:\n"), text.index("# The other cars on track")
    event.write_text(text[:begin] + "\n" + text[end:], encoding="utf-8")
    assert read_event(event).findings == ()
