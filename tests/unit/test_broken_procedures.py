"""A procedure file as a person gets it wrong the first time: one finding each, at its line, with what to write."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pitwall.app.loading import read_event
from pitwall.app.resources import demo_event
from pitwall.errors import Finding

FILE = """\
procedure: 1
name: lift_test
purpose: how the car settles when the throttle closes
laps: [out, cool]
place: needed
arguments:
  lifts: {type: whole, default: 2, low: 1, high: 4}
steps:
  - say: "After {after}: {lifts} short lifts, hands still."
    short: "{after}: {lifts} lifts"
    where: place
switches: {torque_map: 5}
early_end: {say: "Break off, break off.", short: Break off}
done_when: [driver]
caution: slows on a straight; mirrors first
clear_behind_s: 5
"""
BROKEN = [
    ("  - say:", "    say:", "PW014", 8, "a list: begin each entry with '- '"),
    ("    short: \"{after}: {lifts} lifts\"\n", "", "PW012", 9, "no key 'short'"),
    ("where: place", "where: turn 4", "PW013", 11, "'turn 4', expected one of: place, lap_start"),
    ("where: place", "kind: instruction", "PW013", 11, "'instruction', expected one of: session"),
    ("[out, cool]", "[outlap, cool]", "PW013", 4, "did you mean 'out'?"),
    ("type: whole", "type: int", "PW013", 7, "did you mean 'whole'?"),
    ("{type: whole, default: 2, low: 1, high: 4}", "2", "PW014", 7, "such as {type: ...}"),
    ("default: 2", "default: 9", "PW143", 7, "default 9, expected a whole number from 1 to 4"),
    ("default: 2", "default: two", "PW143", 7, "default 'two', expected a whole number from 1 to 4"),
    ("low: 1, high: 4", "low: 4, high: 1", "PW143", 7, "low 4 above high 1"),
    ("place: needed", "place: none", "PW016", 9, "'where: place' in a procedure that has no place"),
    ("\"{after}: {lifts} lifts\"", "{after} lifts", "PW007", 10, "a text that begins with '{' needs quotes"),
    ("\"After {after}: {lifts} short lifts, hands still.\"", "After {after}: lift", "PW007", 9, "needs quotes"),
    ("[driver]", "driver", "PW014", 14, "expected a list: write [driver]"),
    ("{say: \"Break off, break off.\", short: Break off}", "Break off", "PW014", 13, "such as {say: ..., short: ...}"),
    ("\"Break off, break off.\"", "\"Break off at {after}.\"", "PW131", 13, "a blank in 'Break off at {after}.'"),
    ("clear_behind_s: 5", "clear_behind_m: 400", "PW011", 16, "did you mean 'clear_behind_s'?"),
    ("clear_behind_s: 5\n", "clear_behind_s: 5\nhold: {seconds: 5}\n", "PW016", 17, "a hold without a speed"),
    ("clear_behind_s: 5\n", "clear_behind_s: 5\nhold: {seconds: 0, speed_mps: 55}\n", "PW016", 17, "more than 0"),
    ("clear_behind_s: 5\n", "clear_behind_s: 5\nhold: {seconds: 5, speed_mps: 200}\n", "PW138", 17,
     "is it meant in km/h? then write 'speed_kph'"),
    ("torque_map: 5", "torque_map: 55", "PW102", 12, "position 55 of 'torque_map'"),
    ("name: lift_test", "name: Lift Test", "PW016", 2, "write 'lift_test'"),
]  # fmt: skip


def found(folder: Path, text: str) -> tuple[Finding, ...]:
    """What is found in the demo event with this procedure beside its own."""
    event = folder / "config" / "event.yaml"
    if not event.exists():
        shutil.copytree(demo_event().parent, event.parent)
    (event.parent / "procedures" / "lift_test.yaml").write_text(text, encoding="utf-8")
    return read_event(event).findings


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One copy of the demo event for all cases."""
    return tmp_path_factory.mktemp("event")


def test_the_file_that_the_others_spoil_is_sound(folder: Path) -> None:
    """A new procedure is a new file: nothing is found in it."""
    assert found(folder, FILE) == ()


@pytest.mark.parametrize(("old", "new", "code", "line", "words"), BROKEN)
def test_one_slip_is_one_finding_with_its_line_and_what_to_write(
    folder: Path, old: str, new: str, code: str, line: int, words: str
) -> None:
    """No companion that follows from the slip alone; the line is the one to mend."""
    assert FILE.count(old) == 1
    (one,) = found(folder, FILE.replace(old, new))
    assert (one.code, one.line) == (code, line)
    assert words in one.text()


def test_an_argument_that_nothing_takes_is_told(folder: Path) -> None:
    """Left behind when the text changed: a plan that gives it would change nothing."""
    (one,) = found(folder, FILE.replace("{lifts} short lifts", "two lifts").replace("{lifts} lifts", "two lifts"))
    assert (one.code, one.severity, one.line) == ("PW144", "warning", 7)
