"""Checks of a session in windows and of several drivers, and how windows are written."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from pitwall.app.loading import load_setup, read_event
from pitwall.app.resources import shipped
from pitwall.checks.around import Around
from pitwall.checks.plan import check_plan
from pitwall.checks.spans import spans_of
from pitwall.errors import path_text
from pitwall.model.plan import Plan, Run
from pitwall.model.rules import SessionWindow
from pitwall.model.setup import CarLimits, Driver, GarageWork
from pitwall.track.lapmap import lap_map
from pitwall.track.likely import needed_s

DAY = load_setup(shipped("config") / "test_day.yaml")
CAR = DAY.cars["41"]
AROUND = Around(
    regulations=DAY.regulations, circuit=DAY.circuit, car=CAR, lap=lap_map(DAY.circuit, CAR, DAY.calls),
    procedures=DAY.procedures, drivers=("ines", "maro"), cars=("41",), garage=DAY.garage,
    people={"ines": Driver(driver="ines", spoken="Ines"), "maro": Driver(driver="maro", spoken="Maro")},
)  # fmt: skip
LAP_S = AROUND.lap.lap_s if AROUND.lap is not None else 0.0
OPENS = "2031-05-18T09:00:00+02:00"
MINE = {"PW116", "PW105", "PW503", "PW506", "PW509", "PW511", "PW512"}


def run(name: str = "a", **keys: Any) -> dict[str, Any]:
    """A run that is sound but for what the test puts in."""
    return {"run": name, "want": "must", "laps": "out, 3 timed, in", "fuel_kg": 30, **keys}


def plan(*runs: dict[str, Any], **head: Any) -> Plan:
    """A plan of car 41 for the test day."""
    return Plan.model_validate({"plan": 1, "car": 41, "driver": "ines", "session": "test-day", **head, "runs": runs})


def said(*runs: dict[str, Any], around: Around = AROUND, **head: Any) -> list[tuple[str, str]]:
    """Code and path of what is found that concerns windows, drivers or time."""
    found = check_plan(plan(*runs, **head), around)
    return [(one.code, path_text(one.path)) for one in found if one.code in MINE]


def session(**fields: Any) -> SessionWindow:
    """A session with these fields."""
    return SessionWindow.model_validate({"session": "test-day", **fields})


def test_windows_are_written_as_times_of_day_or_as_session_time() -> None:
    """09:00 to 17:00 with lunch is the same session however its times are written; it lasts until the last flag."""
    by_clock = session(opens_at=OPENS, windows=[{"window": "morning", "from": "09:00", "to": "12:30"},
                                                {"window": "afternoon", "from": "13:30", "to": "17:00"}])  # fmt: skip
    by_seconds = session(opens_at=OPENS, windows=[{"window": "morning", "from": 0, "to": "+03:30:00"},
                                                  {"window": "afternoon", "from": 16200, "to": 28800}])  # fmt: skip
    assert by_clock == by_seconds
    assert [(one.from_s, one.to_s) for one in by_clock.windows] == [(0, 12600), (16200, 28800)]
    assert by_clock.duration_s == 28800
    assert (by_clock.find("afternoon"), by_clock.find(1), by_clock.find("evening")) == (1, 0, None)
    assert SessionWindow.model_validate_json(by_clock.model_dump_json()) == by_clock


def test_a_session_past_midnight_goes_on_the_next_day() -> None:
    """A window that is named by a time before the opening is that of the next day."""
    night = session(opens_at="2031-05-18T20:00:00+02:00", windows=[{"window": "night", "from": "20:00", "to": "02:00"}])
    assert night.duration_s == 6 * 3600


def test_a_session_in_one_piece_is_as_it_was() -> None:
    """Without windows a length must be given, and nothing else changes."""
    assert session(duration_s=3600).windows == ()
    with pytest.raises(ValidationError, match="duration_s"):
        session()


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"windows": [{"window": "a", "from": 0, "to": 60}, {"window": "b", "from": 50, "to": 90}]}, "overlaps"),
        ({"windows": [{"window": "a", "from": 0, "to": 60}, {"window": "a", "from": 70, "to": 90}]}, "again"),
        ({"windows": [{"window": "a", "from": 10, "to": 60}]}, "first window"),
        ({"windows": [{"window": "a", "from": 0, "to": 60}], "duration_s": 3600}, "last window"),
        ({"windows": [{"window": "a", "from": "09:00", "to": "12:30"}]}, "opens_at"),
        ({"windows": [{"window": "a", "from": 0, "to": 60}, {"window": "b", "from": 90, "to": 80}]}, "ends at"),
    ],
)
def test_windows_that_cannot_be_are_refused_in_words(fields: dict[str, Any], words: str) -> None:
    """Overlapping windows, names given twice, a first window that is not at the green light: each is told as what it
    is."""
    with pytest.raises(ValidationError, match=words):
        session(**fields)


def test_overlapping_windows_are_told_at_their_line(tmp_path: Path) -> None:
    """In a file the finding has its own code and names the line of the window that it runs into."""
    config = shipped("config")
    for name in ("car.yaml", "circuit.yaml"):
        (tmp_path / name).write_text((config / name).read_text(encoding="utf-8"), encoding="utf-8")
    rules = (config / "regulations_test_day.yaml").read_text(encoding="utf-8").replace('from: "13:00"', 'from: "11:00"')
    (tmp_path / "rules.yaml").write_text(rules, encoding="utf-8")
    event = "event: 1\nname: x\nteam: y\nsession: test-day\nregulations: rules.yaml\ndrivers: {ines: {spoken: Ines}}\n"
    (tmp_path / "event.yaml").write_text(event + "cars: {41: {car: car.yaml, plan: plan.yaml}}\n", encoding="utf-8")
    found = [one for one in read_event(tmp_path / "event.yaml").findings if one.code == "PW510"]
    assert [(one.file is not None and one.file.endswith("rules.yaml"), one.line) for one in found] == [(True, 12)]
    assert "first in line 11" in found[0].found


def test_a_run_in_a_window_that_there_is_not() -> None:
    """A window is known by its name and by its number; any other is told, with the windows that there are."""
    assert said(run("a", window="morning"), run("b", window=2)) == []
    assert said(run(window="evening")) == [("PW116", "runs[0].window")]
    assert said(run(window=3)) == [("PW116", "runs[0].window")]


def test_a_run_by_a_driver_whom_the_event_does_not_have() -> None:
    """The driver of a run, and the drivers of a minimum, are drivers of the event."""
    assert said(run(driver="maro")) == []
    assert said(run(driver="mora")) == [("PW105", "runs[0].driver")]
    assert ("PW105", "minimum_laps.nobody") in said(run(), minimum_laps={"nobody": 1})


def test_a_run_longer_than_its_window() -> None:
    """What cannot be begun between one green light and its flag is told; fewest laps that count make it fit."""
    endless = run(laps="out, 170 timed, in", shorten_to=170, fuel_kg=400)
    assert ("PW509", "runs[0].laps") in said(endless)
    assert "PW509" not in {code for code, _ in said(endless | {"shorten_to": 5})}


def test_a_minimum_that_the_plan_does_not_reach() -> None:
    """Out- and in-laps count as laps; the plan's own minimum goes over that of the event file; time counts as well."""
    assert said(run(), minimum_laps={"ines": 5}) == []
    assert said(run(), minimum_laps={"ines": 6}) == [("PW511", "minimum_laps.ines")]
    asks = replace(AROUND, people={"ines": Driver(driver="ines", spoken="Ines", minimum_laps=6, minimum_s=3600)})
    assert said(run(), around=asks) == [("PW511", "runs"), ("PW511", "runs")]
    assert said(run(), around=asks, minimum_laps={"ines": 5}) == [("PW511", "runs")]


def test_a_plan_beyond_a_limit() -> None:
    """More laps or time than a driver may drive, more laps or kilometres than the car may do."""
    most = replace(AROUND, people={"ines": Driver(driver="ines", spoken="Ines", most_laps=4, most_s=60)})
    assert said(run(), around=most) == [("PW512", "runs"), ("PW512", "runs")]
    assert said(run(), around=replace(AROUND, limits=CarLimits(most_laps=4, most_km=10))) == [("PW512", "runs")] * 2
    assert said(run(), around=replace(AROUND, limits=CarLimits(most_laps=5, most_km=500))) == []


def test_the_spans_know_lunch_and_the_change_of_drivers() -> None:
    """A run that no longer fits before lunch is laid out after it, and the stop before another driver takes at least
    the change."""
    short = {"after_garage_s": 10}
    spans = spans_of(plan(run("a", **short), run("b", driver="maro", **short), run("c", driver="maro")), LAP_S, AROUND)
    assert spans[1].start_s - spans[0].end_s == pytest.approx(150)
    assert spans[2].start_s - spans[1].end_s == pytest.approx(10)
    late = spans_of(plan(run("a", release={"not_before": 10790}), run("b")), LAP_S, AROUND)
    assert [span.start_s for span in late] == [14400, pytest.approx(late[0].end_s + 540)]
    bound = spans_of(plan(run("a", window="afternoon")), LAP_S, AROUND)
    assert (bound[0].start_s, bound[0].flag_s) == (14400, 25200)


def test_what_a_run_needs_of_a_window() -> None:
    """From the release to the start of the fewest timed laps that count: half of them when the plan does not say."""
    four = Run.model_validate(run(laps="out, 4 timed, in"))
    assert needed_s(four, 100.0, {}) == pytest.approx(125 + 101)
    assert needed_s(four.model_copy(update={"shorten_to": 4}), 100.0, {}) == pytest.approx(125 + 3 * 101)
    assert needed_s(four, 100.0, {}, finish_started_lap=False) == pytest.approx(125 + 2 * 101)


def test_a_change_of_drivers_is_garage_work() -> None:
    """Two to three minutes (common practice, no source), beside the other work or after it, as the settings say."""
    work = plan(run()).runs[0].after_garage_s
    quick = work.model_copy(update={"low_s": 60.0, "likely_s": 90.0, "high_s": 600.0})
    beside, after = GarageWork(), GarageWork(driver_change="after")
    assert beside.stop(quick, changes_driver=False) == quick
    stop = beside.stop(quick, changes_driver=True)
    assert (stop.low_s, stop.likely_s, stop.high_s) == (120, 150, 600)
    stop = after.stop(quick, changes_driver=True)
    assert (stop.low_s, stop.likely_s, stop.high_s) == (180, 240, 780)


def test_the_demo_test_day_is_sound() -> None:
    """What ships has no findings, and the driver's profile and minimum reach the session."""
    loaded = read_event(shipped("config") / "test_day.yaml")
    assert loaded.findings == ()
    assert DAY.drivers["maro"].minimum_laps == 25
    assert "procedure" in DAY.drivers["maro"].quiet["timed"]
    assert DAY.limits["41"].most_km == 650
    assert len(DAY.windows) == 2
