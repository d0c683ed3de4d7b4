"""Loading an event: every error of every file at once, each with its file, line, path and a suggestion."""

from __future__ import annotations

import functools
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pitwall.app import loading
from pitwall.app.loading import find_event, load_plan_setup, load_setup, read_event, read_plan
from pitwall.app.resources import demo_event, find_shipped, shipped
from pitwall.app.serving import to_serve
from pitwall.checks.codes import CODES
from pitwall.errors import FileProblem, Finding, UserError
from pitwall.model.setup import SessionSetup


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo event that a test may spoil."""
    return Path(shutil.copytree(shipped("config"), tmp_path / "event"))


def spoil(path: Path, *changes: tuple[str, str]) -> None:
    """Replace text in a file, once each; the text must be there."""
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{path.name} has no {old!r}"
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")


def line_of(path: Path, text: str) -> int:
    """The line, from 1, on which this text stands first."""
    return next(n for n, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if text in line)


def _refusing_in(path: Path, folder: str, real: Callable[..., Any], *args: Any, **more: Any) -> Any:
    """The system's answer for a path, and its refusal for one in a folder that may not be read."""
    if folder in path.parts:
        raise PermissionError(13, "Permission denied")
    return real(path, *args, **more)


def only(findings: tuple[Finding, ...], code: str) -> Finding:
    """The one finding of this code."""
    found = [item for item in findings if item.code == code]
    assert len(found) == 1, [item.text() for item in findings]
    return found[0]


def test_the_demo_event_has_nothing_to_find() -> None:
    """What ships is without an error and without a warning."""
    loaded = read_event(demo_event())
    assert [item.text() for item in loaded.findings] == []
    assert loaded.setup is not None


def test_the_lap_of_a_car_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two cars of one make and five plans, three of them alternates: one lap serves them all."""
    worked_out: list[object] = []
    real = loading.lap_map

    def counted(*given: object) -> object:
        worked_out.append(given)
        return real(*given)  # type: ignore[arg-type]  # handed on as it came

    monkeypatch.setattr(loading, "lap_map", counted)
    loaded = read_event(demo_event())
    assert {car: len(files) for car, files in loaded.plan_files.items()} == {"41": 3, "58": 2}
    assert len(worked_out) == 1
    assert all(around.lap is loaded.around["41"].lap for around in loaded.around.values())


def test_the_setup_holds_everything_that_the_engine_needs() -> None:
    """Cars, plans, procedures, drivers, the field and the settings; it survives JSON, as the journal needs."""
    setup = load_setup(demo_event())
    assert set(setup.plans) == set(setup.cars) == {"41", "58"}
    assert setup.duration_s == 3600
    assert setup.drivers["ines"].spoken == "Ines"
    assert len(setup.field_cars) == 18
    assert {"constant_speed_hold", "practice_start", "pit_stop_practice"} <= set(setup.procedures)
    assert SessionSetup.model_validate_json(setup.model_dump_json()) == setup


def test_the_demo_plans_have_four_runs_that_fit_and_a_fifth_that_could() -> None:
    """Over-full on purpose: the fifth is the one to drop."""
    for plan in load_setup(demo_event()).plans.values():
        assert [run.want == "could" for run in plan.runs] == [False, False, False, False, True]


def test_another_session_may_be_asked_for() -> None:
    """The event's own session is a default; one that the regulations lack is the caller's mistake."""
    assert load_setup(demo_event(), session="practice-90").duration_s == 5400
    with pytest.raises(UserError, match="practice-90"):
        load_setup(demo_event(), session="qualifying")


def test_a_plan_may_be_put_in_the_place_of_the_events_own() -> None:
    """An override is used, for its car only; a car that is not there is the caller's mistake."""
    wet = shipped("config") / "plans" / "plan_41_wet.yaml"
    setup = load_setup(demo_event(), plan_overrides={"41": wet})
    assert [run.run for run in setup.plans["41"].runs] == ["checks", "learn", "drying"]
    assert len(setup.plans["58"].runs) == 5
    with pytest.raises(UserError, match="no car 99"):
        load_setup(demo_event(), plan_overrides={"99": wet})
    with pytest.raises(FileProblem, match="found car '41', expected '58'"):
        load_setup(demo_event(), plan_overrides={"58": wet})


def test_one_plan_is_loaded_with_the_event_above_it(folder: Path) -> None:
    """The setup of one plan holds that plan and its car only."""
    setup = load_plan_setup(folder / "plans" / "plan_58.yaml")
    assert set(setup.plans) == set(setup.cars) == {"58"}


def test_the_event_is_looked_for_beside_the_plan_and_two_folders_up(folder: Path, tmp_path: Path) -> None:
    """Beside, one up, two up; three up is too far, and then the demo event serves."""
    deep = folder / "a" / "b" / "c"
    deep.mkdir(parents=True)
    assert find_event(folder / "plan.yaml") == folder / "event.yaml"
    assert find_event(folder / "a" / "b" / "plan.yaml") == folder / "event.yaml"
    assert find_event(deep / "plan.yaml") == demo_event()


def test_mistakes_all_over_the_files_are_told_at_once(folder: Path) -> None:
    """A dozen mistakes in six files: one reading finds each at its line, and nothing that only follows from another."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("driver: ines", "drivr: ines"), ("want: must      ", "want: musst      "),
          ("switches: {torque_map: 3}", "switches: {brake_bais: 3, engine_mode: 9}"),
          ("after: turn 4 ", "after: turn 44 "),
          ("on: {timed: 3}", "on: {timed: 7}"), ("do: cool_down_lap", "do: cool_down_lp"),
          ("with: {topic: balance}", "with: {topik: balance}"), ("laps: out, 4 timed, in", "laps: out, 4 tmed, in"),
          ("before: [compare]", "before: [compair]"), ("fuel_kg: 26", "fuel_kg: 26 kg"))
    spoil(folder / "event.yaml", ("driver: bryn", "driver: brin"))
    spoil(folder / "car.yaml", ("mass_kg: 780", "mass_kg: 78"))
    spoil(folder / "regulations.yaml", ("red_clock: runs", "red_clock: run"))
    spoil(folder / "procedures" / "coast_down.yaml", ("place: needed", "plase: needed"))
    spoil(folder / "settings.yaml", ("lead_s: 20", "lead_s: twenty"))

    findings = read_event(folder / "event.yaml").findings

    expected = {
        ("PW105", "event.yaml", "cars.58.driver", "driver: brin"),
        ("PW015", "car.yaml", "mass_kg", "mass_kg: 78"),
        ("PW013", "regulations.yaml", "red_clock", "red_clock: run"),
        ("PW011", "coast_down.yaml", "plase", "plase: needed"),
        ("PW016", "settings.yaml", "calls.lead_s", "lead_s: twenty"),
        ("PW012", "plan_41.yaml", "", "plan: 1"),
        ("PW011", "plan_41.yaml", "drivr", "drivr: ines"),
        ("PW013", "plan_41.yaml", "runs[0].want", "want: musst"),
        ("PW101", "plan_41.yaml", "runs[1].switches.brake_bais", "brake_bais"),
        ("PW102", "plan_41.yaml", "runs[1].switches.engine_mode", "engine_mode: 9"),
        ("PW204", "plan_41.yaml", "runs[1].items[0].after", "turn 44"),
        ("PW201", "plan_41.yaml", "runs[1].items[1].on", "timed: 7"),
        ("PW103", "plan_41.yaml", "runs[1].items[2].do", "cool_down_lp"),
        ("PW122", "plan_41.yaml", "runs[1].items[3].with.topik", "topik"),
        ("PW016", "plan_41.yaml", "runs[2].laps", "4 tmed"),
        ("PW109", "plan_41.yaml", "runs[2].before[0]", "compair"),
        ("PW014", "plan_41.yaml", "runs[4].fuel_kg", "26 kg"),
    }
    got = {(item.code, Path(item.file or "").name, item.as_record()["path_text"], item.line) for item in findings}
    paths = {path.name: path for path in folder.rglob("*.yaml")}
    assert got == {(code, name, where, line_of(paths[name], text)) for code, name, where, text in expected}


def test_a_finding_reads_as_the_line_that_was_promised(folder: Path) -> None:
    """File, line, path, found, expected, suggestion: in this order, in one line."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("switches: {torque_map: 3}", "switches: {brake_bais: 56}"))
    found = only(read_plan(plan).findings, "PW101")
    line = line_of(plan, "brake_bais")
    assert found.text().endswith(
        f"plan_41.yaml:{line}: runs[1].switches.brake_bais: found unknown switch 'brake_bais', "
        "expected a switch of car.yaml: did you mean 'brake_bias'?")
    assert found.column == plan.read_text().splitlines()[line - 1].index("brake_bais") + 1
    assert found.why == CODES["PW101"].why
    assert json.loads(json.dumps(found.as_record()))["path"] == ["runs", 1, "switches", "brake_bais"]


def test_a_plan_of_another_session_is_told(folder: Path) -> None:
    """A plan made for another session than the one to serve is a warning at its line, also where the session was asked
    for and for an alternate; the session served stays the event's, whatever a single plan says. A plan that is checked
    alone may be tomorrow's."""
    event, plan = folder / "event.yaml", folder / "plans" / "plan_41.yaml"
    assert not [one for one in read_event(event).findings if one.code == "PW117"]
    asked = [one for one in read_event(event, session="practice-2").findings if one.code == "PW117"]
    assert {one.file.rpartition("/")[2] for one in asked if one.file} >= {"plan_41.yaml", "plan_58.yaml"}
    spoil(plan, ("session: practice-1", "session: practice-2"))
    found = only(read_event(event).findings, "PW117")
    assert (found.severity, found.found) == ("warning", "a plan of 'practice-2'")
    assert found.expected == "one of 'practice-1', the session to be served"
    assert found.line is not None
    assert load_setup(event).session == "practice-1"
    assert not [one for one in read_plan(plan).findings if one.code == "PW117"]
    spoil(event, ("  58: {car: car.yaml, plan: plans/plan_58.yaml, driver: bryn}\n", ""))
    assert load_setup(event).session == "practice-1"
    served = to_serve(event, None, lambda *_: folder / "new.sqlite", fresh=False)
    assert [one.code for one in served.other_sessions] == ["PW117"]


def test_load_raises_with_errors_and_passes_over_warnings(folder: Path) -> None:
    """A warning never stops a session; an error does, and the exception carries errors only."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("driver: ines", "driver: bryn"))
    assert only(read_plan(plan).findings, "PW112").severity == "warning"
    assert load_plan_setup(plan).plans["41"].driver == "bryn"
    spoil(plan, ("driver: bryn", "driver: brin"))
    with pytest.raises(FileProblem) as caught:
        load_plan_setup(plan)
    assert [item.code for item in caught.value.findings] == ["PW105"]


FAULTS: list[tuple[str, str, str, str, str]] = [
    ("plans/plan_41.yaml", "plan: 1 ", "plan: 2 ", "PW017", "version 1"),
    ("plans/plan_41.yaml", "plan: 1 ", "circuit: 1 ", "PW017", "a plan file"),
    ("plans/plan_41.yaml", "car: 41", "car: 14", "PW106", "41"),
    ("plans/plan_41.yaml", "session: practice-1", "session: practise-1", "PW107", "practice-1"),
    ("plans/plan_41.yaml", "value: 3", "value: high", "PW014", "a number"),
    ("plans/plan_41.yaml", "value: 3", "value: 30000", "PW015", "1000 or less"),
    ("plans/plan_41.yaml", "value: 3", "value:", "PW014", "a number"),
    ("plans/plan_41.yaml", "want: should", "want: shuld", "PW013", "did you mean 'should'?"),
    ("plans/plan_41.yaml", "run: baseline", "run: Base Line", "PW016", "write 'base-line'"),
    ("plans/plan_41.yaml", "run: baseline", "run: holds", "PW016", "runs[2].run: found run named twice: holds"),
    ("plans/plan_41.yaml", "driver: ines", "# nobody", "PW012", "add a line such as 'driver: ines'"),
    ("plans/plan_41.yaml", "plan: 1 ", "# nothing ", "PW012", "add a line 'plan: 1'"),
    ("plans/plan_41.yaml", "laps: out, 8 timed, in", "laps: 10", "PW016",
     "runs[4].laps: found 10, expected laps such as 'out, 3 timed, in': write 'out, 10 timed, in' for 10 timed laps, "
     "or 'out, 8 timed, in' for 10 laps in all"),
    ("plans/plan_41.yaml", "laps: out, 8 timed, in", "laps:", "PW016", "found nothing, expected laps such as"),
    ("plans/plan_41.yaml", "laps: out, 8 timed, in", "laps: {timed: 3}", "PW016",
     "found keys and values, expected laps such as"),
    ("plans/plan_41.yaml", "laps: out, 8 timed, in", "laps: 8 timed", "PW016",
     "runs[4].laps: found '8 timed', expected a run that starts with an 'out' lap and ends with an 'in' lap"),
    ("plans/plan_41.yaml", "laps: out, 8 timed, in", "laps: out, 8 timed, in, out, in", "PW016", "is a second run"),
    ("plans/plan_41.yaml", "+00:05:00", "+00:35:00", "PW016",
     "runs[1].release.not_before: found not_before 35:00, which lies after not_after, expected 25:00 or earlier"),
    ("plans/plan_41.yaml", "on: cool, with: {topic: balance}", "on: cool, after: turn 1, at: turn 2", "PW016",
     "items[3].at: found 'after: turn 1' and 'at: turn 2', expected 'after' or 'at', not both"),
    ("plans/plan_41.yaml", "[180, 300, 480]", "[180, 300]", "PW016",
     "after_garage_s: found [180, 300], expected [quick, likely, slow] seconds"),
    ("plans/plan_41.yaml", "[180, 300, 480]", "[480, 300, 180]", "PW016",
     "after_garage_s: found [480, 300, 180], expected quick <= likely <= slow"),
    ("plans/plan_41.yaml", "+00:05:00", "5 past", "PW016", "'+00:08:00'"),
    ("plans/plan_41.yaml", "on: {timed: 3}", "on: {timed: three}", "PW016", "{timed: [1, 3]}"),
    ("plans/plan_41.yaml", "on: {timed: 3}", "on: {tmed: 3}", "PW013", "did you mean 'timed'?"),
    ("plans/plan_41.yaml", "by: -2.0}", "by: -2.0}\n        put_back: false", "PW016",
     "items[0].put_back: found put_back: false without a reason, expected the reason"),
    ("plans/plan_41.yaml", "shorten_to: 5", "shorten_to: 9", "PW016",
     "runs[4].shorten_to: found 9 for run 'long', expected 1 to 8"),
    ("plans/plan_41.yaml", "timed: [session,", "timed: [sesion,", "PW013", "did you mean 'session'?"),
    ("plans/plan_41.yaml", "short: plan_41_short.yaml", "short: plan_41_shrt.yaml", "PW001", "plan_41_shrt.yaml"),
    ("plans/plan_41.yaml", "short: plan_41_short.yaml", "shrt: plan_41_short.yaml", "PW013", "did you mean 'short'?"),
    ("plans/plan_41_wet.yaml", "do: radio_check", "do: radio_chek", "PW103", "did you mean 'radio_check'?"),
    ("event.yaml", "event: 1", "event: one", "PW017", "version 1"),
    ("event.yaml", "team: Gannet\n", "", "PW012", "no key 'team'"),
    ("event.yaml", "circuit: circuit.yaml", "circuit: cirkuit.yaml", "PW001", "did you mean 'circuit.yaml'?"),
    ("event.yaml", "circuit: circuit.yaml", "circuit: procedures", "PW002", "a folder"),
    ("event.yaml", "circuit: circuit.yaml", "circuit: regulations.yaml", "PW017", "a circuit file"),
    ("event.yaml", "procedures: procedures ", "procedures: proceedings ", "PW001", "proceedings"),
    ("event.yaml", "procedures: procedures ", "procedures: car.yaml ", "PW002", "car.yaml"),
    ("event.yaml", "[3, 7,", "[3, 41,", "PW016", "the team's own car: 41"),
    ("event.yaml", "[3, 7,", "[3, 3,", "PW016", "a car twice: 3"),
    ("event.yaml", "session: practice-1", "session: practise-1", "PW107", "practice-1"),
    ("event.yaml", "bryn: {spoken", "bryne: {spoken", "PW105", "did you mean 'bryne'?"),
    ("settings.yaml", "futures: 5000", "futures: 5", "PW015", "100 or more"),
    ("settings.yaml", "seed: 1", "seeds: 1", "PW011", "did you mean 'seed'?"),
    ("regulations.yaml", "+02:00\", duration", "\", duration", "PW014", "a time with an offset"),
    ("regulations.yaml", "practice-1,", "Practice 1,", "PW016", "write 'practice-1'"),
    ("circuit.yaml", "quiet_places: [turn 13]", "quiet_places: [turn 31]", "PW016", "no such place"),
    ("circuit.yaml", "direction: right}", "direction: rigth}", "PW013", "did you mean 'right'?"),
    ("circuit.yaml", "entry_m: 4640", "entry_m: 46400", "PW016", "beyond the lap"),
    ("car.yaml", "default: 56", "default: 66", "PW016", "expected one of its positions: 50 to 62"),
    ("car.yaml", "default: 56", "default: 56.2", "PW016", "in steps of 0.5: 56 or 56.5"),
    ("car.yaml", "switch: engine_mode", "switch: torque_map", "PW016", "switch named twice: torque_map"),
    ("procedures/coast_down.yaml", "count {seconds}", "count {second}", "PW131", "did you mean 'seconds'?"),
    ("procedures/coast_down.yaml", "count {seconds}", "count {seconds", "PW131", "braces"),
    ("procedures/radio_check.yaml", "how do you", "after {after} how do you", "PW131", "'place: needed'"),
    ("procedures/constant_speed_hold.yaml", "{seconds: seconds,", "{seconds: second,", "PW132", "'seconds'"),
    ("procedures/flap_compare.yaml", "switches: {flap:", "switches: {flapp:", "PW101", "did you mean 'flap'?"),
    ("procedures/flap_compare.yaml", "\"{flap}\"", "ajar", "PW102", "closed, open"),
    ("procedures/switch_compare.yaml", "by: by", "by: bye", "PW132", "did you mean 'by'?"),
    ("procedures/radio_check.yaml", "name: radio_check", "name: systems_check", "PW111", "radio_check.yaml"),
]  # fmt: skip


FAULT_NAMES = [f"{code}-{name}-{number}" for number, (name, _, _, code, _) in enumerate(FAULTS)]


@pytest.mark.parametrize(("name", "old", "new", "code", "words"), FAULTS, ids=FAULT_NAMES)
def test_each_fault_is_an_error_with_its_code_its_file_and_the_remedy(
    folder: Path, name: str, old: str, new: str, code: str, words: str
) -> None:
    """One spoilt place in a sound event: its code, and in the text the words that help."""
    spoil(folder / name, (old, new))
    findings = read_event(folder / "event.yaml").findings
    matching = [item for item in findings if item.code == code and words in item.text()]
    assert matching, [item.text() for item in findings]
    assert matching[0].severity == "error"
    assert all(item.file is not None for item in findings)
    assert not [item.text() for item in findings if "unread" in item.text()], "what stands in for a name is no name"
    with pytest.raises(FileProblem):
        load_setup(folder / "event.yaml")


def test_a_run_named_twice_is_told_at_the_second_with_the_line_of_the_first(folder: Path) -> None:
    """Both lines are named, and the rest of the plan is checked all the same."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("run: baseline", "run: holds"), ("do: cool_down_lap", "do: cool_down_lp"))
    findings = read_plan(plan).findings
    found = only(findings, "PW016")
    lines = [n for n, line in enumerate(plan.read_text().splitlines(), 1) if "run: holds" in line]
    assert (found.line, found.path) == (lines[1], ("runs", 2, "run"))
    assert found.found == f"run named twice: holds (first in line {lines[0]})"
    assert only(findings, "PW103").path == ("runs", 1, "items", 2, "do")


def test_a_run_whose_name_is_refused_is_called_as_it_stands_there(folder: Path) -> None:
    """What stands in for its name while the rest is checked is in no message and in no list of what there is."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("run: compare", "run: baseline"), ("on: {timed: 2}", "on: {timed: 7}"))
    found = {item.code: item for item in read_plan(plan).findings}
    assert found["PW109"].suggestion == "there are checks, holds, long"
    assert found["PW201"].found == "timed lap 7 of run 'baseline'"


def test_what_shows_once_the_broken_parts_are_out_of_the_way_is_told_as_well(folder: Path) -> None:
    """A wrong word in one run hides neither a name used twice nor a shorten_to too large in another."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("want: must      ", "want: musst      "), ("run: holds", "run: checks"),
          ("shorten_to: 5", "shorten_to: 50"))
    assert [(item.code, item.as_record()["path_text"]) for item in read_plan(plan).findings] == [
        ("PW013", "runs[0].want"), ("PW016", "runs[1].run"), ("PW016", "runs[4].shorten_to")]


def test_faults_of_one_run_are_told_together_when_they_do_not_hang_together(folder: Path) -> None:
    """A wrong name, an estimate in the wrong order and a shorten_to too large hide neither each other nor an item."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("run: long", "run: Long\n    after_garage_s: [9, 8, 7]"), ("shorten_to: 5", "shorten_to: 50"),
          ("{do: driver_comment, on: in, with: {topic: rear", "{do: driver_comment, on: out, with: {topic: rear"))
    assert [(item.code, item.as_record()["path_text"]) for item in read_plan(plan).findings] == [
        ("PW016", "runs[4].run"), ("PW016", "runs[4].after_garage_s"), ("PW016", "runs[4].shorten_to"),
        ("PW203", "runs[4].items[0].on")]


def test_what_only_the_cutting_brings_about_is_not_told(folder: Path) -> None:
    """Laps that could not be read do not make shorten_to too large."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("laps: out, 8 timed, in", "laps: out, 8 tmed, in"))
    assert [item.as_record()["path_text"] for item in read_plan(plan).findings] == ["runs[4].laps"]


DOUBTS = [
    ("procedures/radio_check.yaml", "name: radio_check", "name: radio_cheque", "PW110"),
    ("regulations.yaml", "_items: [practice_start]", "_items: [practice_start, practice_stop]", "PW113"),
    ("car.yaml", "driver: bryn}  ", "driver: brun}  ", "PW114"),
]  # fmt: skip


def test_laps_that_cannot_be_read_make_no_later_run_late(folder: Path) -> None:
    """What stands in for them is as long as no run is: nothing is reckoned from it for the runs that follow."""
    spoil(folder / "plans" / "plan_41.yaml", ("laps: out-in", "laps: out"))
    assert [item.code for item in read_event(folder / "event.yaml").findings] == ["PW016"]


@pytest.mark.parametrize(("name", "old", "new", "code"), DOUBTS)
def test_doubts_are_warnings(folder: Path, name: str, old: str, new: str, code: str) -> None:
    """What may be meant is told without stopping anybody."""
    spoil(folder / name, (old, new))
    assert only(read_event(folder / "event.yaml").findings, code).severity == "warning"


def test_a_broken_library_file_is_not_told_again_in_every_plan(folder: Path) -> None:
    """Plans that use a procedure whose own file has an error are not called wrong for it."""
    spoil(folder / "procedures" / "driver_comment.yaml", ("purpose:", "porpose:"))
    findings = read_event(folder / "event.yaml").findings
    assert {Path(item.file or "").name for item in findings} == {"driver_comment.yaml"}


def test_a_broken_circuit_or_car_silences_only_what_depends_on_it(folder: Path) -> None:
    """Without a circuit nobody complains of places; a misspelt procedure is still told."""
    (folder / "circuit.yaml").write_text("circuit: [")
    (folder / "car.yaml").write_bytes(b"\xff")
    spoil(folder / "plans" / "plan_41.yaml", ("do: radio_check", "do: radio_chek"))
    codes = sorted(item.code for item in read_event(folder / "event.yaml").findings)
    assert codes == ["PW005", "PW007", "PW103"]


def test_one_car_file_for_two_cars_is_told_once(folder: Path) -> None:
    """A finding of a shared file appears once, not for every car that uses it."""
    spoil(folder / "car.yaml", ("mass_kg: 780", "mass_kg: heavy"))
    assert len(read_event(folder / "event.yaml").findings) == 1


def test_a_double_key_is_an_error_beside_the_others(folder: Path) -> None:
    """A key named twice does not hide what else is wrong."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("car: 41", "car: 41\ncar: 41"), ("after: turn 4 ", "after: turn 44 "))
    assert [item.code for item in read_plan(plan).findings] == ["PW008", "PW204"]


def test_a_missing_event_is_told_with_the_plans_own_faults(folder: Path) -> None:
    """Both files are read before anything is said."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("want: should", "want: shuld"))
    codes = [item.code for item in read_plan(plan, folder / "nothing.yaml").findings]
    assert codes == ["PW013", "PW001"]


def test_a_plan_for_a_car_that_the_event_lacks_is_still_checked(folder: Path) -> None:
    """The unknown car is told, and so is the unknown procedure."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("car: 41", "car: 77"), ("do: radio_check", "do: radio_chek"))
    loaded = read_plan(plan)
    assert [item.code for item in loaded.findings] == ["PW106", "PW103"]
    assert loaded.setup is None


def test_findings_are_in_the_order_of_the_files_and_lines(folder: Path) -> None:
    """Reading the list from the top is reading each file from the top."""
    plan = folder / "plans" / "plan_41.yaml"
    spoil(plan, ("after: turn 4 ", "after: turn 44 "), ("fuel_kg: 26", "fuel_kg: lots"),
          ("want: must      ", "want: musst      "))
    lines = [item.line for item in read_plan(plan).findings]
    assert lines == sorted(lines, key=lambda line: line or 0)
    assert len(lines) == 3


def test_two_readings_give_the_same_findings(folder: Path) -> None:
    """No order depends on a set or a folder's own order."""
    spoil(folder / "plans" / "plan_41.yaml",
          ("after: turn 4 ", "after: turn 44 "), ("want: must      ", "want: musst      "))
    assert read_event(folder / "event.yaml").findings == read_event(folder / "event.yaml").findings


def test_shipped_files_are_found_by_plain_name_only() -> None:
    """A scenario or plan may be named without its folder; a path is never completed from the shipped files."""
    assert find_shipped("config", "event") == shipped("config") / "event.yaml"
    assert find_shipped("config", "event.yaml") == shipped("config") / "event.yaml"
    assert find_shipped("config", "../config/event") is None
    assert find_shipped("config", "nothing") is None
    assert find_shipped("config", "") is None


def test_a_lack_of_shipped_files_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A damaged installation is told in words."""
    monkeypatch.setattr("pitwall.app.resources._PACKAGE", tmp_path / "pitwall")
    with pytest.raises(UserError, match="install pitwall again"):
        shipped("config")


def test_a_circuit_without_geometry_serves_as_well(folder: Path) -> None:
    """Nobody can say whether a hold fits there, so nobody says it does not; likely times come from its lap time."""
    spoil(folder / "event.yaml", ("circuit: circuit.yaml", "circuit: circuit_timing_only.yaml"))
    loaded = read_event(folder / "event.yaml")
    assert [item.text() for item in loaded.findings] == []
    assert loaded.around["41"].lap is not None
    assert loaded.around["41"].lap.timing_only


@pytest.mark.parametrize(("old", "new", "path", "found"), [
    ("plan: plans/plan_41.yaml", "plan: plans/plan_49.yaml", ("cars", "41", "plan"), "no file 'plans/plan_49.yaml'"),
    ("car: car.yaml, plan: plans/plan_41.yaml", "car: cra.yaml, plan: plans/plan_41.yaml", ("cars", "41", "car"),
     "no file 'cra.yaml'"),
    ("circuit: circuit.yaml", "circuit: circut.yaml", ("circuit",), "no file 'circut.yaml'"),
    ("regulations: regulations.yaml", "regulations: rules.yaml", ("regulations",), "no file 'rules.yaml'"),
    ("settings: settings.yaml", "settings: setings.yaml", ("settings",), "no file 'setings.yaml'"),
])
def test_a_file_that_the_event_names_and_that_is_not_there_is_told_where_it_is_named(
    folder: Path, old: str, new: str, path: tuple[str, ...], found: str
) -> None:
    """The event file is the place to mend: its name, the line and the key."""
    event = folder / "event.yaml"
    spoil(event, (old, new))
    told = only(read_event(event).findings, "PW001")
    assert (told.path, told.found, told.line) == (path, found, line_of(event, new))
    assert told.file is not None
    assert told.file.endswith("event.yaml")
    if path == ("circuit",):
        assert told.suggestion == "did you mean 'circuit.yaml'?"


@pytest.mark.parametrize(("file", "old", "new"), [
    ("event.yaml", "circuit: circuit.yaml", "circuit: {}"),
    ("event.yaml", "plan: plans/plan_41.yaml", "plan: {}"),
    ("plans/plan_41.yaml", "short: plan_41_short.yaml", "short: {}"),
])
def test_a_name_that_no_file_can_have_is_told_like_a_file_that_cannot_be_read(
    folder: Path, file: str, old: str, new: str
) -> None:
    """400 bytes are too many for the name of a file: the system says so, and the finding with it."""
    spoil(folder / file, (old, new.format("é" * 200 + ".yaml")))
    assert "too long" in only(read_event(folder / "event.yaml").findings, "PW003").found


def test_a_folder_without_rights_is_told_like_a_file_that_cannot_be_read(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether the file is there cannot even be asked; the finding says why."""
    for asked in ("stat", "open"):
        real = getattr(Path, asked)
        monkeypatch.setattr(Path, asked, functools.partialmethod(_refusing_in, "closed", real))
    spoil(folder / "event.yaml", ("circuit: circuit.yaml", "circuit: closed/circuit.yaml"))
    assert "Permission denied" in only(read_event(folder / "event.yaml").findings, "PW003").found


def test_a_default_that_is_no_position_is_told_with_those_that_there_are(folder: Path) -> None:
    """Each at its own line: one of a rotary for one kind of lap, one of a bias."""
    car = folder / "car.yaml"
    spoil(car, ("{position: 2, lap: cool}", "{position: 22, lap: cool}"), ("default: 56\n", "default: 64\n"))
    told = {one.path: (one.found, one.expected, one.line) for one in read_event(folder / "event.yaml").findings}
    assert told[("switches", 0, "defaults", 0, "position")] == (
        "22 for torque", "one of its positions: 1, 2, 3, 4, 5, 6, 7, 8", line_of(car, "position: 22"))
    assert told[("switches", 7, "default")] == (
        "64 for brake bias", "one of its positions: 50 to 62 in steps of 0.5", line_of(car, "default: 64"))
