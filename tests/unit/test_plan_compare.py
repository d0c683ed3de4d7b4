"""``pitwall plan diff``: what one plan file changes against another, in the words of the trade."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from pitwall.app.plan_compare import plan_differences
from pitwall.app.plan_sheets import write_any
from pitwall.cli.main import main
from pitwall.model.plan import Plan
from tests.unit.test_plan_sheets import plans

CHECKS: dict[str, Any] = {"run": "checks", "want": "must", "laps": "out-in", "tyres": "A1", "items": [
    {"do": "radio_check", "on": "out"}, {"do": "systems_check", "on": "in"}]}
LONG: dict[str, Any] = {"run": "long", "want": "could", "laps": "out, 8 timed, in", "tyres": "B2", "fuel_kg": 26}
BASE: dict[str, Any] = {"plan": 1, "car": "41", "driver": "ines", "session": "practice-1", "runs": [CHECKS, LONG]}


def _lines(**changes: Any) -> tuple[str, ...]:
    return plan_differences(Plan.model_validate(BASE), Plan.model_validate(BASE | changes))


@pytest.mark.parametrize(("changes", "line"), [
    ({"car": "58"}, "car: 58 instead of 41"),
    ({"session": "practice-2"}, "session: practice-2 instead of practice-1"),
    ({"starts_with": {"tyres": "A1"}}, "tyres at the start: A1 instead of none given"),
    ({"starts_with": {"fuel_kg": 12.5}}, "fuel at the start: 12.5 kg instead of none given"),
    ({"starts_with": {"switches": {"flap": "open"}}},
     "switches at the start: flap open instead of the defaults for wet or dry"),
    ({"alternates": {"wet": "w.yaml"}}, "alternate for wet: w.yaml instead of none given"),
    ({"notes": "A crane at turn 4."}, "note: A crane at turn 4."),
    ({"tyre_sets": {"B2": {"compound": "soft"}}}, "new tyre set B2: soft, 0 laps"),
    ({"runs": [LONG, CHECKS]}, "checks moves after long"),
    ({"runs": [CHECKS, LONG | {"fuel_kg": 26.00000001}]}, "runs[1].fuel_kg: 26.00000001 instead of 26.0"),
    ({"runs": [CHECKS | {"items": CHECKS["items"][::-1]}, LONG]},
     "items of checks in another order: systems_check, radio_check"),
    ({"runs": [CHECKS | {"items": CHECKS["items"][1:]}, LONG | {"items": [{"do": "radio_check", "on": {"timed": 2}}]}]},
     "radio_check moves from checks (out-lap) to long (timed lap 2)"),
])  # fmt: skip
def test_each_change_is_one_sentence(changes: dict[str, Any], line: str) -> None:
    """Also what no change at the desk can touch, and an item that goes over to another run is moved, not dropped."""
    assert _lines(**changes) == (line,)


def test_what_it_comes_to_stands_at_the_end() -> None:
    """Runs, musts and timed laps in all, and the laps that each set is to do."""
    assert _lines(runs=[CHECKS | {"tyres": "B2"}]) == (
        "run long is dropped", "tyres of checks: B2 instead of A1",
        "in all: 1 run instead of 2, 0 timed laps instead of 8",
        "planned laps on A1: 0 instead of 1", "planned laps on B2: 1 instead of 10",
    )  # fmt: skip


def test_items_of_a_dropped_run_that_another_takes_over_are_moved() -> None:
    """The run falls out, its procedure does not."""
    lines = _lines(runs=[LONG | {"items": CHECKS["items"]}])
    assert "run checks is dropped" in lines
    assert "radio_check moves from checks (out-lap) to long (out-lap)" in lines
    assert not any("new item" in line for line in lines)


@given(plans(), plans())
@settings(max_examples=20, deadline=None)
def test_two_plans_differ_exactly_if_there_is_something_to_tell(one: Plan, other: Plan) -> None:
    """No difference is silent, and a plan does not differ from itself."""
    assert plan_differences(one, one) == ()
    assert bool(plan_differences(one, other)) == (one != other)


def test_the_command_converts_and_tells_differences(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """There and back from the shell; what is there is not written over; a difference is told and gives 1, also between
    forms."""
    source, sheet, back, folder = (tmp_path / name for name in ("a.yaml", "a.xlsx", "b.yaml", "folder"))
    write_any(source, Plan.model_validate(BASE))
    for one, other in ((source, sheet), (sheet, folder), (folder, back)):
        assert main(["plan", "convert", str(one), str(other)]) == 0
    assert main(["plan", "convert", str(sheet), str(back)]) == 2
    assert "--force" in capsys.readouterr().err
    assert main(["plan", "convert", str(sheet), str(back), "--force"]) == 0
    capsys.readouterr()
    assert main(["plan", "diff", str(source), str(folder)]) == 0
    assert capsys.readouterr().out == "no difference\n"
    write_any(back, Plan.model_validate(BASE | {"runs": [CHECKS]}))
    assert main(["plan", "diff", str(sheet), str(back), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["differences"][0] == "run long is dropped"
    assert main(["plan", "--json", "diff", str(sheet), str(sheet)]) == 0
    assert json.loads(capsys.readouterr().out) == {"differences": [], "notes": []}
    assert main(["plan", "convert", str(source), str(tmp_path / "plan.ods")]) == 2
    assert main(["plan", "template", str(tmp_path / "plan.csv")]) == 2
