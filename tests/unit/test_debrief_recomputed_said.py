"""What a debrief says of the driver's words and of the desk's, reckoned a second time from the rows of the journal.

The typed comments are read here by a few lines of the test's own, and laps, tyres and fuel are counted from pit signals
and lines: none of the debrief's code, of the shorthand's or of the engine's has a part in the second reckoning.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from pitwall.app.debriefing import debrief_of
from pitwall.debrief.model import CarDebrief
from pitwall.model.comment_rows import CommentMatrix, Said

JOURNAL = Path(__file__).resolve().parents[1] / "replay" / "golden" / "questions.jsonl"
Row = dict[str, Any]
FINDINGS = {"us": ("balance", "understeer"), "os": ("balance", "oversteer"), "hot": ("tyres", "hot"),
            "good": ("tyres", "good"), "lock": ("braking", "locking")}
OPPOSITES = {("understeer", "oversteer"), ("oversteer", "understeer")}
EXIT_SHARE = 0.05


class One(NamedTuple):
    """One remark of a comment: of which comment, when, on which run, and what it says."""

    comment: int
    t: float
    run: str
    turn: int | None
    phase: str | None
    about: str
    what: str
    axle: str | None
    severity: int | None

    @property
    def topic(self) -> tuple[object, ...]:
        """Where, and of what."""
        return (self.turn, self.phase, self.about, None if self.about == "balance" else self.axle)


class Lap(NamedTuple):
    """A lap as pit signals and lines have it; tyres, their age and the fuel as it began."""

    run: str
    begin: float
    end: float
    timed: bool
    tyres: str
    age: int
    fuel_kg: float


@cache
def car() -> CarDebrief:
    """The debrief of the car."""
    return debrief_of(JOURNAL).cars[0]


@cache
def events() -> tuple[Row, ...]:
    """The events of the journal's rows, in their order."""
    return tuple(json.loads(line)["event"] for line in JOURNAL.read_text(encoding="utf-8").splitlines())


def commands(*names: str) -> list[Row]:
    """What the desk asked for."""
    return [one for one in events() if one["type"] == "command_given" and one["command"] in names]


@cache
def laps() -> tuple[Lap, ...]:
    """Every lap of car 41, with what the plan put into it."""
    plan = events()[0]["setup"]["plans"]["41"]
    burn = events()[0]["setup"]["cars"]["41"]["fuel_per_lap_kg"]
    ages = {name: one["laps"] for name, one in plan["tyre_sets"].items()}
    seen = sorted((one["t"], one.get("where") or "line") for one in events()
                  if one.get("car") == "41" and (one["type"] == "car_pitted" or one.get("loop") == "line"))
    found: list[Lap] = []
    runs, run, begun, fuel = iter(plan["runs"]), {}, None, 0.0
    for t, what in seen:
        if what == "exit":
            run = next(runs)
            fuel = run["fuel_kg"]
        elif begun is not None:
            out = not found or found[-1].run != run["run"]
            timed = not out and what == "line" and t - begun < 130
            found.append(Lap(run["run"], begun, t, timed, run["tyres"], ages[run["tyres"]], fuel))
            ages[run["tyres"]] += 1
            fuel -= burn * (1 - EXIT_SHARE if out else 1)
        begun = None if what == "entry" else t
    return tuple(found)


def run_at(t: float) -> str:
    """The run on which the car was."""
    (found,) = {lap.run for lap in laps() if lap.begin <= t < lap.end}
    return found


def words(typed: str) -> Iterator[tuple[int | None, str | None, str, str, str | None, int | None]]:
    """The remarks of a typed comment, for the few words that this journal has."""
    for part in typed.split(":")[0].split(","):
        turn = re.search(r"\bt(\d+)\b", part)
        phase = re.search(r"\b(entry|mid|exit)\b", part)
        axle = re.search(r"\b(front|rear)s\b", part)
        severity = re.search(r"\b([1-5])$", part)
        (name,) = [one for one in FINDINGS if re.search(rf"\b{one}\b", part)]
        yield (int(turn[1]) if turn else None, phase[1] if phase else None, *FINDINGS[name],
               axle[1] if axle else None, int(severity[1]) if severity else None)


@cache
def told() -> tuple[tuple[Row, ...], tuple[One, ...]]:
    """The comments that stand at the end, as commands, and all their remarks in the order in which they were said."""
    noted: dict[int, Row] = {}
    last = 0
    for one in commands("comment", "undo"):
        if one["command"] == "undo":
            del noted[max(number for number, row in noted.items() if row["by"] == one["by"])]
        elif one.get("comment"):
            noted[one["comment"]] |= {"shorthand": one["shorthand"]}
        else:
            last += 1
            noted[last] = dict(one) | {"number": last}
    found = [One(number, row["t"], run_at(row["t"]), *said) for number, row in noted.items()
             for said in words(row["shorthand"])]
    return tuple(noted.values()), tuple(sorted(found, key=lambda one: (one.t, one.comment)))


def same(one: Said) -> One:
    """A remark of the debrief as the second reckoning has it."""
    remark = one.remark
    return One(one.comment, one.t, str(one.run), remark.turn, remark.phase, remark.about, str(remark.what), remark.axle,
               remark.severity)


def test_comments_and_remarks() -> None:
    """Each comment once, at its moment, with what it says; one that was completed later keeps its moment, and one that
    was taken back is gone."""
    comments, remarks = told()
    assert len(commands("undo")) == 1
    assert any(one.get("comment") for one in commands("comment"))
    assert [(one.comment, one.t) for one in car().comments] == [(one["number"], one["t"]) for one in comments]
    own_words = [one["shorthand"].partition(":")[2].strip() for one in comments]
    assert "much better" in own_words  # which way it goes, and no words beside what the car does
    assert [one.text for one in car().comments] == [text if text != "much better" else "" for text in own_words]
    assert len(remarks) >= 8
    assert [same(one) for one in car().said.said] == list(remarks)


def _expected_cells(remarks: list[One]) -> dict[tuple[int | None, str | None], tuple[int, int | None, dict[str, str]]]:
    found: dict[tuple[int | None, str | None], tuple[int, int | None, dict[str, str]]] = {}
    for place in {(one.turn, one.phase) for one in remarks}:
        own = [one for one in remarks if (one.turn, one.phase) == place]
        bad = [one.severity for one in own if one.what != "good" and one.severity is not None]
        highest: dict[str, str] = {}
        for one in own:
            name = next(short for short, value in FINDINGS.items() if value == (one.about, one.what))
            known = [other.severity for other in own if (other.about, other.what, other.axle) ==
                     (one.about, one.what, one.axle) and other.severity is not None]  # fmt: skip
            highest[name] = str(max(known)) if known else ""
        found[place] = (len(own), max(bad, default=None), highest)
    return found


def test_matrix_by_turn_and_phase() -> None:
    """Over all runs and for each run: how much was said of each place in each phase, the worst of it, and each finding
    with its highest severity."""
    remarks = told()[1]
    matrices = car().said.matrices
    assert [one.run for one in matrices] == [None, "one", "two"]
    for matrix in matrices:
        own = [one for one in remarks if matrix.run in (None, one.run)]
        cells = {(row.turn, cell.phase): cell for row in matrix.rows for cell in row.cells if cell.said}
        wanted = _expected_cells(own)
        assert len(wanted) >= 3
        assert {place: (len(cell.said), cell.worst) for place, cell in cells.items()} == {
            place: cell[:2] for place, cell in wanted.items()}
        for place, (_, _, highest) in wanted.items():
            shown = dict(re.findall(r"(\w+)(?: (\d))?(?:, |$)", cells[place].short))
            assert shown == highest, place
        assert [row.turn for row in matrix.rows] == _turns(matrix)


def _turns(matrix: CommentMatrix) -> list[int | None]:
    turns = sorted({row.turn for row in matrix.rows if row.turn is not None})
    return [*turns, *([None] if any(row.turn is None for row in matrix.rows) else [])]


def lap_of(one: One) -> Lap:
    """The timed lap that a remark is about: the one on which it was made, else the last one of its run before."""
    return [lap for lap in laps() if lap.timed and lap.run == one.run and lap.begin <= one.t][-1]


def _direction(before: One, after: One) -> str:
    if before.what != after.what:
        return "better" if after.what == "good" else "worse" if before.what == "good" else "other"
    assert before.severity is not None
    assert after.severity is not None
    return "better" if after.severity < before.severity else "worse" if after.severity > before.severity else "same"


def test_changes_from_run_to_run_and_what_was_changed_between() -> None:
    """The last word of each run on the same thing is set against the last one of the run before, beside the tyres,
    their age, the fuel and the switch that were changed between the two laps."""
    remarks = told()[1]
    wanted = {}
    for topic in {one.topic for one in remarks}:
        last = {one.run: one for one in remarks if one.topic == topic}
        for before, after in pairwise(last.values()):
            wanted[before.comment, after.comment, after.turn] = (before, after)
    found = {(one.before.comment, one.after.comment, one.after.remark.turn): one for one in car().said.changes}
    assert len(wanted) >= 3
    assert found.keys() == wanted.keys()
    assert {_direction(*pair) for pair in wanted.values()} == {"better", "worse", "other"}
    for key, (before, after) in wanted.items():
        assert found[key].direction == _direction(before, after), key
        first, second = lap_of(before), lap_of(after)
        changed = {one.name: (one.before, one.after) for one in found[key].between}
        assert changed == {
            "tyres": (first.tyres, second.tyres),
            **({"tyre laps": (first.age, second.age)} if first.age != second.age else {}),
            **({"fuel": pytest.approx((first.fuel_kg, second.fuel_kg), abs=0.06)}
               if abs(first.fuel_kg - second.fuel_kg) >= 3 else {}),
            "brake_bias": (55, 57),
        }  # fmt: skip


def test_contradictions() -> None:
    """Two remarks of one run on the same thing that cannot both hold."""
    remarks = told()[1]
    wanted = {(one.comment, other.comment) for at, one in enumerate(remarks) for other in remarks[at + 1 :]
              if one.run == other.run and one.topic == other.topic and (one.what, other.what) in OPPOSITES}
    assert wanted
    assert {(one.first.comment, one.second.comment) for one in car().said.contradictions} == wanted


def test_open_complaints() -> None:
    """The last word on each thing, where that is a complaint; the worst first."""
    remarks = told()[1]
    last = {one.topic: one for one in remarks}
    wanted = sorted((one for one in last.values() if one.what != "good"), key=lambda one: -(one.severity or 0))
    found = [same(one) for one in car().said.open]
    assert 0 < len(wanted) < len(last)
    assert [one.severity for one in found] == [one.severity for one in wanted]
    assert set(found) == set(wanted)


def test_questions_of_the_driver() -> None:
    """In the order in which they were asked, with the moment of the answer where there is one."""
    asked = commands("asked")
    answers = {one["question"]: one for one in commands("answered")}
    assert len(asked) == 2
    assert set(answers) == {1}
    assert [(one.question, one.asked_s, one.text, one.answered_s) for one in car().questions] == [
        (number, pytest.approx(one["t"], abs=1e-3), one["text"],
         pytest.approx(answers[number]["t"], abs=1e-3) if number in answers else None)
        for number, one in enumerate(asked, start=1)
    ]  # fmt: skip


def test_changes_of_the_plan_with_who_and_why() -> None:
    """Each command of the desk that changed something: when, by whom, and the reason that was given."""
    wanted = [(pytest.approx(one["t"], abs=1e-3), one["by"], one.get("text") or "")
              for one in commands("drop", "extend")]
    assert len(wanted) == 2
    found = [one for one in car().changes if one.about == "plan"]
    assert [(one.t, one.by, one.why) for one in found] == wanted
    assert all(earlier.revision < later.revision for earlier, later in pairwise(found)
               if earlier.revision is not None and later.revision is not None)
    assert f"now {sum(lap.timed for lap in laps() if lap.run == 'two')} timed laps" in found[-1].what


def _seconds(text: str) -> list[float]:
    return [60 * int(minutes) + float(seconds) for minutes, seconds in re.findall(r"(\d+):(\d\d\.\d)", text)]


def test_corrections() -> None:
    """The line that the desk entered, and the feed's message that took its place: told with both moments, and the lap
    has the feed's."""
    (hand,) = commands("cross")
    (change,) = [one for one in car().changes if one.about == "correction" and not one.by]
    line = max(one["t"] for one in events() if one["type"] == "car_crossed" and one["loop"] == "line"
               and one["car"] == "41" and one["t"] < hand["t"])  # fmt: skip
    assert _seconds(change.what) == [pytest.approx(line, abs=0.051), pytest.approx(hand["t"], abs=0.051)]
    assert any(lap.end_s == pytest.approx(line, abs=1e-3) for lap in car().laps)


def test_what_was_taken_back_is_a_correction_by_its_hand() -> None:
    """The comment that the desk took back changed no plan: it stands there with who and when, and has no revision."""
    (undo,) = commands("undo")
    found = [one for one in car().changes if one.by == undo["by"] and one.t == pytest.approx(undo["t"], abs=1e-3)]
    last = sum(1 for one in commands("comment") if not one.get("comment") and one["t"] <= undo["t"])
    assert [(one.about, one.revision, one.what) for one in found] == [
        ("correction", None, f"taken back: comment {last}; {last - 1} comments noted")]


def test_the_question_for_comments_is_less_what_was_noted() -> None:
    """Asked on the cool-down lap once, for what nobody had said by then; gone on the way in once the last comment
    came."""
    calls = [one for one in car().calls if one.text.startswith("Comment please")]
    assert [(one.run, one.state) for one in calls] == [("one", "done"), ("two", "withdrawn")]
    asked, gone = calls
    assert asked.said_s is not None
    typed = [one["shorthand"] for one in commands("comment") if one.get("shorthand") and one["t"] < asked.said_s]
    before = {about for one in typed for _, _, about, *_ in words(one)}
    assert before
    (run,) = [one for one in events()[0]["setup"]["plans"]["41"]["runs"] if one["run"] == "one"]
    wanted = [one for one in run["feedback"] if one not in before]
    assert asked.text == f"Comment please on {' and '.join(wanted)}."
    assert gone.said_s is None
