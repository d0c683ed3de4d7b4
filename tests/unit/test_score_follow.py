"""The score of following: rows from what was published alone, truth counted by hand, a wrong belief scored wrong."""

from __future__ import annotations

import asyncio
import csv
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from pitwall.app.loading import load_setup
from pitwall.model.setup import CallTiming, SessionSetup
from simulations.plan_from_session import MADE_FROM, write_event
from simulations.score_follow_calls import judge_calls, judge_entries, stayed_out
from simulations.score_follow_marks import Marks, figures, mark
from simulations.score_follow_rows import Row, follow, write_rows
from simulations.score_follow_truth import Stint, TrueLap, Truth, read_truth
from simulations.score_follow_worst import worst

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "data" / "recording_small"
TIMING = CallTiming()


class Followed:
    """The small recording as it was followed with plans for cars 3 and 11, from a folder without the answer key."""

    def __init__(self, work: Path) -> None:
        self.event = write_event(SMALL, ["3", "11"], 1, work / "event")
        self.setup: SessionSetup = load_setup(self.event)
        self.without_key = work / SMALL.name
        shutil.copytree(SMALL, self.without_key)
        (self.without_key / "laps.csv").unlink()
        (self.event.parent / MADE_FROM).rename(work / MADE_FROM)
        self.rows = asyncio.run(follow(self.without_key, self.setup))
        (work / MADE_FROM).rename(self.event.parent / MADE_FROM)
        self.truth = read_truth(SMALL, self.setup, self.event)

    def marks(self, rows: list[Row] | None = None) -> Marks:
        """These rows judged; those of the session when none are given."""
        return mark(self.rows if rows is None else rows, self.truth, self.setup)


@pytest.fixture(scope="module")
def followed(tmp_path_factory: pytest.TempPathFactory) -> Followed:
    """Followed once for all tests; the answer key and the side file were not there while it was."""
    return Followed(tmp_path_factory.mktemp("followed"))


# -- the believing side ---------------------------------------------------------------------------------------------


def test_following_opens_no_answer_key(followed: Followed) -> None:
    """Without the answer key beside it the recording is followed all the same, and with it nothing is believed that
    was not believed without."""
    assert {row.what for row in followed.rows} == {"lap_kind", "run", "arrival", "box", "call"}
    assert asyncio.run(follow(SMALL, followed.setup)) == followed.rows


@pytest.mark.parametrize("name", ["rows.csv", "rows.jsonl"])
def test_same_inputs_same_bytes(followed: Followed, tmp_path: Path, name: str) -> None:
    """Followed a second time, the file of beliefs is the same to the byte, whatever the seed of Python's hashes."""
    written = tmp_path / name
    script = ROOT / "simulations" / "score_follow.py"
    command = [sys.executable, str(script), str(SMALL), "--cars", "2", "--predictions", str(written)]
    made = []
    for seed in ("1", "2"):
        env = {**os.environ, "PYTHONHASHSEED": seed}
        run = subprocess.run([*command, "--json"], capture_output=True, env=env, timeout=300, check=False)
        assert run.returncode == 0, run.stderr.decode()
        made.append((written.read_bytes(), run.stdout))
    assert made[0] == made[1]
    assert json.loads(made[0][1])[0]["recording"] == SMALL.name


def test_the_file_of_beliefs_says_all(followed: Followed, tmp_path: Path) -> None:
    """Every row is in the file, in order, under its columns, as CSV and as JSON lines alike."""
    write_rows(followed.rows, tmp_path / "rows.csv")
    write_rows(followed.rows, tmp_path / "rows.jsonl")
    with (tmp_path / "rows.csv").open(newline="") as file:
        cells = list(csv.DictReader(file))
    lines = [json.loads(line) for line in (tmp_path / "rows.jsonl").read_text().splitlines()]
    assert [Row(**line) for line in lines] == followed.rows
    assert [[cell[name] for name in ("car", "t", "what", "about", "value", "at")] for cell in cells] == [
        [row.car, str(row.t), row.what, row.about, str(row.value), row.at] for row in followed.rows
    ]


def test_rows_are_about_real_laps(followed: Followed) -> None:
    """Believed kinds name the lap by its beginning, and arrivals lie in the future of the row."""
    begins = {(lap.car, lap.start_s) for laps in followed.truth.laps.values() for lap in laps}
    kinds = [row for row in followed.rows if row.what == "lap_kind" and row.at == "line"]
    assert len(kinds) > 20
    assert all(any(car == row.car and abs((row.start_s or 0) - (t or 0)) < 1 for car, t in begins) for row in kinds)
    assert all(float(row.value) > row.t - 1.0 for row in followed.rows if row.what == "arrival")


# -- truth counted by hand ------------------------------------------------------------------------------------------


def test_kinds_against_the_answer_key_counted_by_hand(followed: Followed) -> None:
    """The answer key has 18 timed and 5 cool-down laps. It was made without a thought of the slow period from 480 to
    552 s, which four laps touch that it calls timed (cars 3, 7 and 11 on their first, car 11 on its second): those are
    believed cool-down laps at the line, and nothing else is believed wrong there."""
    found = figures(followed.marks())["kinds_all_cars"]["line"]
    assert found["laps"] == 23
    assert found["right"] == 19
    assert found["believed_by_truth"] == {"timed": {"cool": 4, "timed": 14}, "cool": {"cool": 5}}
    planned = figures(followed.marks())["kinds_planned_cars"]["line"]
    assert (planned["laps"], planned["right"]) == (14, 11)


def test_a_wrong_kind_is_scored_wrong(followed: Followed) -> None:
    """One belief at the line turned round: one lap fewer is right, and it is listed among the worst with its times."""
    at = next(i for i, row in enumerate(followed.rows)
              if (row.what, row.at, row.value, row.car) == ("lap_kind", "line", "timed", "15"))
    rows = [*followed.rows[:at], replace(followed.rows[at], value="cool"), *followed.rows[at + 1 :]]
    marks = followed.marks(rows)
    assert figures(marks)["kinds_all_cars"]["line"]["right"] == 18
    listed = "\n".join(worst(marks, 10)["lap kinds"])
    assert "car 15, lap" in listed
    assert "cool at line, was timed" in listed


def test_no_belief_is_no_right_belief(followed: Followed) -> None:
    """Without any row every lap counts as wrong, every entry and leaving as missing."""
    found = figures(followed.marks([]))
    assert found["kinds_all_cars"]["line"]["right"] == 0
    assert found["kinds_all_cars"]["line"]["believed_by_truth"]["cool"] == {"nothing": 5}
    assert found["runs"]["right_on_coming_in"] == 0
    calm, red = found["box"], found["box"]["under_red"]
    assert (calm["missing"], red["missing"]) == (calm["entries"], red["entries"])
    assert found["calls"]["leavings_without_a_prompt"] == found["calls"]["leavings"] == 6


def test_runs_against_what_they_were_made_from(followed: Followed) -> None:
    """Cars 3 and 11 drove three runs each; a belief in another run is scored wrong."""
    marks = followed.marks()
    found = figures(marks)["runs"]
    assert found["driven"] == 6
    case = next(case for case in marks.runs if case.on_coming_in == case.stint.made_into)
    begin, end = case.stint.laps[0].start_s or 0.0, case.stint.laps[-1].off_s or 0.0

    def on_it(row: Row) -> bool:
        return row.what == "run" and row.car == case.stint.car and begin <= row.t < end

    rows = [replace(row, about="run-99") if on_it(row) else row for row in followed.rows]
    assert figures(followed.marks(rows))["runs"]["right_on_coming_in"] == found["right_on_coming_in"] - 1


def test_entries_counted_by_hand(followed: Followed) -> None:
    """Cars 3 and 11 came in three times each; car 11 once under red, from 700 to 900 s. Without its box prompts an
    entry is missing, with prompts a minute later it was too late."""
    entries = followed.marks().entries
    assert len(entries) == 6
    red = [entry for entry in entries if entry.lap.status == "red"]
    assert [(entry.lap.car, round(entry.lap.in_s or 0)) for entry in red] == [("11", 780)]
    prompted = next(entry for entry in entries if entry.verdict == "in time")
    begin, end = prompted.lap.start_s or 0.0, prompted.lap.in_s or 0.0

    def here(row: Row) -> bool:
        return row.what == "box" and row.car == prompted.lap.car and begin - 100 < row.t <= end

    def again(rows: list[Row]) -> str:
        return next(entry for entry in followed.marks(rows).entries if entry.lap == prompted.lap).verdict

    assert again([row for row in followed.rows if not here(row)]) == "missing"
    assert again([replace(row, t=end - 4) if here(row) else row for row in followed.rows]) == "too late"


def test_side_file_says_what_was_made_of_what(followed: Followed, tmp_path: Path) -> None:
    """Every planned run stands in the side file with the driven runs behind it; no file of the event names it."""
    made_from = json.loads((followed.event.parent / MADE_FROM).read_text())
    assert {car: set(runs) for car, runs in made_from.items()} == {
        car: {run.run for run in plan.runs} for car, plan in followed.setup.plans.items()
    }
    assert set().union(*made_from["3"].values()) <= {"1", "2", "3"}
    assert all(MADE_FROM not in path.read_text() for path in followed.event.parent.rglob("*.yaml"))


# -- calls against an invented truth ----------------------------------------------------------------------------------

OUT = TrueLap("5", 1, "1", "out", None, 200.0, 100.0, None, "green", None, {"1": 130.0, "2": 170.0, "line": 200.0})
TIMED = TrueLap("5", 2, "1", "timed", 200.0, 300.0, None, None, "green", 1.0, {"1": 230.0, "2": 270.0, "line": 300.0})
COOL = TrueLap("5", 3, "1", "cool", 300.0, 450.0, None, None, "green", 1.5, {"1": 345.0, "2": 405.0, "line": 450.0})
AGAIN = TrueLap("5", 4, "1", "timed", 450.0, 550.0, None, None, "green", 1.0, {"1": 480.0, "2": 520.0, "line": 550.0})
IN = TrueLap("5", 5, "1", "in", 550.0, 668.0, None, 665.0, "green", None, {"1": 585.0, "2": 635.0})
LAPS = [OUT, TIMED, COOL, AGAIN, IN]
TRUTH = Truth(
    session="invented", laps={"5": LAPS}, stints={"5": [Stint("5", "1", tuple(LAPS), "run-1")]},
    changes=((0.0, "green", True), (500.0, "yellow", False), (900.0, "finished", True)),
    wanted={("5", "run-1"): 2}, shares={("5", "run-1"): 1}, lap_s=100.0, last_chance=0.92, pit_entry=0.95,
)  # fmt: skip


def offer(t: float, kind: str, asks: str = "none", act_at_s: float | None = None, about: str = "5-call") -> Row:
    """A call of three seconds, offered at ``t``."""
    what = "box" if kind == "box" else "call"
    return Row("invented", "5", t, what, about, "shown", "line", kind=kind, asks=asks, act_at_s=act_at_s, spoken_s=3.0)


@pytest.mark.parametrize(
    ("row", "verdict"),
    [
        # The last place for the entry at 665 s is 3 s before it; 3 s to say and 3 s to react: 656; 5 s of notice: 651.
        (offer(560, "box", "box", 660), "in time"),
        (offer(650, "box", "box", 660), "in time"),
        (offer(652, "box", "box", 660), "too late"),
        (offer(540, "box", "box", 660), "too early"),  # 122 s before, and no lap of the field takes as long
        (offer(400, "box", "box", 440), "wrong"),
        (offer(320, "run", "timed"), "in time"),  # on the cool-down lap before the timed one
        (offer(444, "run", "timed"), "too late"),
        (offer(250, "run", "timed"), "wrong"),
        (offer(600, "run", "timed"), "wrong"),
        (offer(302, "run", "cool"), "in time"),
        (offer(210, "run", "cool"), "wrong"),
        (offer(150, "run"), "in time"),
        (offer(196, "run"), "too late"),
        (offer(210, "run"), "wrong"),
        (offer(310, "pace"), "in time"),
        (offer(344, "pace"), "too late"),
        (offer(460, "pace"), "wrong"),
        (offer(120, "procedure"), "in time"),
        (offer(60, "release", "leave"), "in time"),
        (offer(-40, "release", "leave"), "too early"),
        (offer(700, "release", "leave"), "wrong"),
        (offer(0, "brief"), "in time"),
        (offer(45, "brief"), "too late"),
        (offer(502, "session", "slow", about="5-session-2-yellow"), "in time"),
        (offer(520, "session", "slow", about="5-session-2-yellow"), "too late"),
        (offer(700, "session", "slow", about="5-session-2-yellow"), "wrong"),
        (offer(551, "session", "return_to_pits", about="5-session-3-finished"), "in time"),  # the line after the flag
        (offer(305, "session", about="5-last-lap-3"), "wrong"),
        (offer(2000, "box", "box", 2100), "not judged"),
    ],
)
def test_calls_against_the_moment_they_are_tied_to(row: Row, verdict: str) -> None:
    """Each kind of call is in time, too early, too late or wrong by what the car really did."""
    assert [found.verdict for found in judge_calls([row], TRUTH, TIMING)] == [verdict]


def test_a_call_counts_once_from_its_first_offer() -> None:
    """Planned is not offered; of shown, due and done only the first offer counts."""
    first = replace(offer(150, "run"), value="planned")
    rows = [first, replace(first, t=160, value="shown"), replace(first, t=198, value="due"), replace(first, value="x")]
    assert [(found.t, found.verdict) for found in judge_calls(rows, TRUTH, TIMING)] == [(160, "in time")]


def test_a_box_prompt_for_a_lap_on_which_the_car_stayed_out() -> None:
    """It is counted once for the lap, and the entry two laps later has had no prompt by it."""
    rows = [offer(460, "box", "box", 540), offer(520, "box", "box", 540, about="5-again")]
    assert [lap.number for lap, _ in stayed_out(rows, TRUTH)] == [4]
    assert [entry.verdict for entry in judge_entries(rows, TRUTH, TIMING)] == ["missing"]
    assert [entry.verdict for entry in judge_entries([offer(500, "box", "box", 660)], TRUTH, TIMING)] == ["early"]


def test_worst_cases_say_what_the_plan_had(followed: Followed) -> None:
    """Missing box prompts are listed with what was driven and whether the plan had it so; no more than asked for."""
    listed = worst(followed.marks([]), 2)
    assert all(len(cases) <= 2 for cases in listed.values())
    assert any("missing" in case and "driven run" in case for case in listed["box prompts"])
