"""Status words and the official clock: many messages, few changes."""

from __future__ import annotations

import math

import pytest

from pitwall.feeds.official_clock import OfficialClock
from pitwall.feeds.recording import Meta, StatusRow
from pitwall.feeds.status import tell_status
from pitwall.feeds.status_words import WORDS, Meaning, marshal_sector, meaning

Told = tuple[float, str, str, str]
START: Told = (0.0, "started", "session", "")


def told(*rows: Told) -> list[tuple[float, str | None, object, bool]]:
    """Changes that these messages make: time, status, scope, ending."""
    story = tell_status(StatusRow(*row) for row in rows)
    return [(change.t, change.status, change.scope, change.ending) for change in story.changes]


def clock(*rows: Told, scheduled: float = 600.0) -> OfficialClock:
    """The clock of a session with these messages."""
    story = tell_status(StatusRow(*row) for row in rows)
    return OfficialClock(story.changes, Meta(scheduled_s=scheduled, start_t_s=0.0))


def test_every_word_is_written_plainly() -> None:
    """The table's words are lower case with underscores: that is what a word is turned into before it is looked up."""
    assert all(word == word.lower().replace(" ", "_").replace("-", "_") for word in WORDS)
    assert meaning("Double-Yellow") is Meaning.YELLOW
    assert meaning(" VSC ending ") is Meaning.SLOW_ENDING
    assert meaning("part_2") is Meaning.NO_NEWS
    assert meaning("martians") is None


@pytest.mark.parametrize(("scope", "name"), [("sector 10", "10"), ("Sector 3", "3"), ("track", None), ("", None)])
def test_marshal_sector(scope: str, name: str | None) -> None:
    """A control message's sector is a marshal sector; anything else is the whole track."""
    assert marshal_sector(scope) == name


def test_unknown_words_are_counted() -> None:
    """A word that nobody knows changes nothing and is counted."""
    story = tell_status([StatusRow(*START), *(StatusRow(5.0 + n, "martians", "control", "track") for n in range(3))])
    assert len(story.changes) == 1
    assert story.unknown_words == {"martians": 3}


def test_one_red_flag_told_three_times() -> None:
    """Aborted, red and red within a moment are one change."""
    rows = (START, (9.0, "aborted", "session", ""), (9.06, "red", "control", "track"), (9.1, "red", "track", ""))
    assert told(*rows)[1:] == [(9.0, "red", "all", False)]


@pytest.mark.parametrize("word", ["started", "resumed", "green"])
def test_red_ends_with_a_word_that_restarts(word: str) -> None:
    """Started, resumed or a green for the whole track end a red flag."""
    rows = (START, (9.0, "red", "control", "track"), (50.0, word, "control", "track"))
    assert told(*rows)[2:] == [(50.0, "green", "all", False)]


def test_clear_does_not_end_a_red_flag() -> None:
    """Clear ends cautions; a session that was stopped stays stopped."""
    assert len(told(START, (9.0, "red", "control", "track"), (50.0, "clear", "control", "track"))) == 2


def test_summary_yellow_with_a_sector_just_after() -> None:
    """The track's own yellow adds nothing when a sector is named within a second, before or after it."""
    after = told(START, (9.0, "yellow", "track", ""), (9.05, "yellow", "control", "sector 4"))
    before = told(START, (9.0, "yellow", "control", "sector 4"), (9.05, "yellow", "track", ""))
    assert after[1:] == [(9.05, "yellow", ("4",), False)]
    assert before[1:] == [(9.0, "yellow", ("4",), False)]


def test_yellow_of_unknown_place() -> None:
    """A yellow whose sector nobody names holds everywhere until the track is green."""
    rows = (START, (9.0, "yellow", "track", ""), (12.0, "yellow", "control", "sector 4"), (20.0, "green", "track", ""))
    assert told(*rows)[1] == (9.0, "yellow", "all", False)
    assert told(*rows)[-1] == (20.0, "green", "all", False)


def test_slow_period_with_its_end_announced() -> None:
    """Slow, about to end, over: three changes whatever the sources repeat."""
    rows = (
        START, (9.0, "vsc_deployed", "control", "track"), (9.01, "vsc", "track", ""),
        (80.0, "vsc_ending", "control", "track"), (80.01, "vsc_ending", "track", ""),
        (91.0, "clear", "control", "track"), (91.02, "green", "track", ""),
    )
    assert told(*rows)[1:] == [(9.0, "slow", "all", False), (80.0, "slow", "all", True), (91.0, "green", "all", False)]


def test_green_after_the_flag_restarts_nothing() -> None:
    """After the chequered flag a green track only clears its sectors."""
    rows = (
        START, (9.0, "finished", "session", ""), (9.3, "chequered", "control", "track"),
        (12.0, "yellow", "control", "sector 8"), (40.0, "green", "track", ""), (40.1, "clear", "control", "sector 8"),
    )
    assert told(*rows)[1:] == [
        (9.0, "finished", "all", False), (12.0, "yellow", ("8",), False), (40.0, "green", ("8",), False)
    ]


def test_green_before_the_start_is_no_start() -> None:
    """A clear track before the session does not begin it."""
    assert told((-30.0, "green", "track", ""), START) == [(0.0, "green", "all", False)]


def test_nothing_follows_closed() -> None:
    """Once closed, always closed."""
    assert told(START, (9.0, "finalised", "session", ""), (20.0, "started", "session", ""))[-1][1] == "closed"


def test_recording_without_started_begins_at_zero() -> None:
    """Where nobody says started, the green light of the meta file begins the session."""
    assert told((30.0, "aborted", "session", "")) == [(0.0, "green", "all", False), (30.0, "red", "all", False)]


def test_practice_clock_runs_on_under_red() -> None:
    """One part: the scheduled length from the green light, red flag or not, and never below zero."""
    read = clock(
        START, (100.0, "red", "track", ""), (300.0, "started", "session", ""), (600.0, "finished", "session", "")
    )
    assert read.read(-50.0) == (600.0, False)
    assert read.read(200.0) == (400.0, True)
    assert read.read(599.5) == (0.5, True)
    assert read.read(700.0) == (0.0, False)


def test_practice_clock_at_zero_under_red() -> None:
    """A session whose time ran out under red shows zero, standing, though nobody waved the flag."""
    assert clock(START, (500.0, "red", "track", ""), (700.0, "ends", "session", "")).read(650.0) == (0.0, False)


def test_session_in_parts() -> None:
    """Each part has its own clock: its length is what ran until its own flag; between parts the next one's stands."""
    read = clock(
        START, (100.0, "finished", "session", ""), (150.0, "inactive", "session", ""),
        (200.0, "started", "session", ""), (220.0, "aborted", "session", ""),
        (260.0, "started", "session", ""), (300.0, "finished", "session", ""),
        (400.0, "ends", "session", ""), scheduled=900.0,
    )
    assert [(part.start, part.end, part.length) for part in read.parts] == [(0.0, 100.0, 100.0), (200.0, 300.0, 60.0)]
    assert read.read(40.0) == (60.0, True)
    assert read.read(120.0) == (0.0, False)
    assert read.read(160.0) == (60.0, False)
    assert read.read(230.0) == (40.0, False)
    assert read.read(270.0) == (30.0, True)
    assert read.read(350.0) == (0.0, False)


def test_recording_that_breaks_off() -> None:
    """Without a flag the part goes on to the end of the recording, on the scheduled length."""
    assert clock(START).parts[0].end == math.inf
    assert clock(START).read(590.0) == (10.0, True)


def test_ticks_once_a_second() -> None:
    """The clock is told on every whole second, with the rate of the replay, and its ids say which."""
    ticks = list(clock(START).ticks(-1.5, 2.5, rate=30.0))
    assert [(tick.id, tick.remaining_s, tick.running) for tick in ticks] == [
        ("clock--1", 600.0, False), ("clock-0", 600.0, True), ("clock-1", 599.0, True), ("clock-2", 598.0, True)
    ]
    assert {tick.rate for tick in ticks} == {30.0}
