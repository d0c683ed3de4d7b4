"""The debrief of a small test day: two windows with a break between, two drivers in one car, a run cut by a flag."""

from __future__ import annotations

import json
from functools import cache
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pitwall.app.debriefing import debrief_of
from pitwall.app.next_plan import next_plan
from pitwall.debrief.model import Debrief, LapRow
from pitwall.debrief.pages import page_of
from pitwall.model.rules import Regulations
from pitwall.model.setup import Driver
from tests.unit.engine_stage import plan, setup
from tests.unit.kept_stage import Kept

MORNING, AFTERNOON = (0.0, 1000.0), (1600.0, 2600.0)
WINDOWS = [{"window": "morning", "from": 0, "to": 1000}, {"window": "afternoon", "from": 1600, "to": 2600}]
RULES = Regulations.model_validate({"regulations": 1, "sessions": [{"session": "p1", "windows": WINDOWS}]})
SETS = {"A1": {"compound": "hard"}, "B1": {"compound": "medium"}}


def a_run(name: str, driver: str, window: str, **more: Any) -> dict[str, Any]:
    """A run of out, two timed, in, for this driver in this window."""
    return {"run": name, "want": "must", "laps": "out, 2 timed, in", "after_garage_s": 200, "driver": driver,
            "window": window, "tyres": "A1", "fuel_kg": 30} | more


def the_day() -> Kept:
    """Ines drives two runs in the morning, the second is cut by its flag; Maro drives one in the afternoon."""
    people = {name: Driver(driver=name, spoken=name.title()) for name in ("ines", "maro")}
    made = Kept(setup(
        plan(a_run("first", "ines", "morning"),
             a_run("long", "ines", "morning", laps="out, 6 timed, in", cut_by_flag="give_up", want="should"),
             a_run("last", "maro", "afternoon", tyres="B1", fuel_kg=20), tyre_sets=SETS),
        regulations=RULES, drivers=people))
    made.green()
    made.home(made.drive(60.0, 125.0, 100.0, 100.0))
    line = made.drive(750.0, 125.0, 100.0)
    made.status(1000.0, "finished")
    made.home(line)
    for t, status in ((1200.0, "waiting"), (1600.0, "green")):
        made.status(t, status)
    begin = made.drive(1700.0, 126.0, 101.0)
    made.command("comment", text="rear light", shorthand="t1 os 3")
    made.home(made.lap(begin, 102.0))
    made.status(2600.0, "finished")
    made.status(2800.0, "closed")
    return made


@cache
def journal() -> tuple[Debrief, tuple[dict[str, Any], ...]]:
    """The debrief of the day, and the lines of its journal as plain data."""
    with TemporaryDirectory() as folder:
        path = the_day().journal(Path(folder))
        return debrief_of(path), tuple(json.loads(line)["event"] for line in path.read_text("utf-8").splitlines())


def laps() -> tuple[LapRow, ...]:
    """The laps of the one car."""
    return journal()[0].cars[0].laps


def test_windows_stand_as_the_regulations_have_them() -> None:
    """Both windows with their times; the statuses go from green over the flag and the break to the next green."""
    session = journal()[0].session
    assert session.windows == (("morning", *MORNING), ("afternoon", *AFTERNOON))
    told = [(event["status"], event["t"]) for event in journal()[1] if event["type"] == "status_changed"]
    spans = [(span.status, span.from_s) for span in session.statuses if span.from_s >= 0]
    assert spans == sorted({*told, ("finished", MORNING[1])}, key=lambda one: one[1])
    assert all(before.to_s == after.from_s for before, after in pairwise(session.statuses))
    assert session.scheduled_s == AFTERNOON[1]


def test_laps_are_those_of_the_facts() -> None:
    """Begun at the pit exit or the line and ended at the line or the pit entry, counted from the journal's lines; the
    break makes no lap."""
    seen = [(event["t"], event.get("where", "line")) for event in journal()[1]
            if event["type"] == "car_pitted" or (event["type"] == "car_crossed" and event["loop"] == "line")]
    pairs = [(begin, end) for (begin, what), (end, _) in pairwise(sorted(seen)) if what != "entry"]
    assert [(lap.start_s, lap.end_s) for lap in laps()] == [(round(begin, 3), round(end, 3)) for begin, end in pairs]
    assert not [lap for lap in laps() if MORNING[1] < lap.start_s < AFTERNOON[0]]


def test_each_lap_has_who_drove_it_on_what() -> None:
    """Ines with her tyres in the morning, Maro with his in the afternoon; tyre laps go on over the runs of a set."""
    for lap in laps():
        morning = lap.start_s < MORNING[1]
        assert (lap.driver, lap.tyres) == (("ines", "A1") if morning else ("maro", "B1"))
    ages = {driver: [lap.tyre_laps for lap in laps() if lap.driver == driver] for driver in ("ines", "maro")}
    assert ages == {"ines": list(range(7)), "maro": list(range(4))}
    car = journal()[0].cars[0]
    assert car.drivers == ("ines", "maro")
    assert [(comment.driver, comment.run) for comment in car.comments] == [("maro", "last")]


def test_runs_have_their_drivers_their_laps_and_their_ends() -> None:
    """What was driven of each; the run that the morning's flag cut is not gone on with in the afternoon."""
    rows = {run.run: run for run in journal()[0].cars[0].runs}
    assert {name: run.driver for name, run in rows.items()} == {"first": "ines", "long": "ines", "last": "maro"}
    assert [(run.finished, run.timed_done, len(run.stints)) for run in rows.values()] == [
        (True, 2, 1), (False, 1, 1), (True, 2, 1)]
    own = {name: [lap for lap in laps() if lap.run == name] for name in rows}
    assert {name: len(found) for name, found in own.items()} == {"first": 4, "long": 3, "last": 4}
    for name, run in rows.items():
        assert run.best_lap_s == min(lap.lap_time_s for lap in own[name] if lap.kind == "timed" and lap.lap_time_s)
        assert (run.stints[0].from_s, run.stints[-1].to_s) == (own[name][0].start_s, own[name][-1].end_s)


def test_the_page_names_both_windows_both_drivers_and_the_run_that_was_cut() -> None:
    """A reader of the page sees who drove, when each window was, and that a run that was given up is not done."""
    page = page_of(journal()[0])
    assert "Should: run long:" in page
    assert "broken off, 1 of 6 timed" in page
    assert "2 of 3 runs done, 1 begun and not finished" in page
    assert "ines, maro" in page
    assert page.index("morning") < page.index("afternoon")


def test_what_the_flag_cut_goes_on_in_the_next_plan(tmp_path: Path) -> None:
    """The draft carries the five timed laps that are left, not the six, without the window of the day that is over."""
    draft = next_plan(the_day().journal(tmp_path))
    run = draft.plan.find("long")
    assert run is not None
    assert (run.timed_laps, run.driver, run.window) == (5, "ines", None)
    assert [one.run for one in draft.plan.runs] == ["long"]
