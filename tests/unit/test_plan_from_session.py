"""The night-before plan made from a recording: valid files, wrong in the stated ways and no others."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from pitwall.app.loading import load_setup
from pitwall.errors import FileProblem

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "data" / "recording_small"


@pytest.fixture(scope="module")
def script() -> ModuleType:
    """The script as a module."""
    path = ROOT / "simulations" / "plan_from_session.py"
    spec = importlib.util.spec_from_file_location("plan_from_session", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["plan_from_session"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def test_event_loads(script: ModuleType, tmp_path: Path) -> None:
    """Two cars make one event that loads, follows the recording's length and its circuit, and names the others."""
    setup = load_setup(script.write_event(SMALL, ["3", "11"], 1, tmp_path))
    assert sorted(setup.plans) == ["11", "3"]
    assert setup.field_cars == ("7", "15")
    assert setup.duration_s == 1500
    assert setup.circuit.timing_only
    assert setup.regulations.red_clock == "runs"


def test_same_seed_same_files(script: ModuleType, tmp_path: Path) -> None:
    """The same seed writes the same files; another seed another plan."""
    made = {}
    for name, seed in (("a", 1), ("b", 1), ("c", 2)):
        script.write_event(SMALL, ["3", "7", "11", "15"], seed, tmp_path / name)
        made[name] = [path.read_text(encoding="utf-8") for path in sorted((tmp_path / name).rglob("*.yaml"))]
    assert made["a"] == made["b"]
    assert made["a"] != made["c"]


def test_cool_down_laps_are_not_planned(script: ModuleType, tmp_path: Path) -> None:
    """Cool-down laps were driven and are in no plan."""
    assert ",cool," in (SMALL / "laps.csv").read_text(encoding="utf-8")
    setup = load_setup(script.write_event(SMALL, ["3", "7", "11", "15"], 4, tmp_path))
    assert all("cool" not in run.laps for plan in setup.plans.values() for run in plan.runs)


def test_first_lap_out_and_in_is_planned_as_such(script: ModuleType) -> None:
    """A lone lap out and in was meant as one; an aborted run was meant as a run."""
    runs = script.read_driven(SMALL, "3")
    assert runs[0].out_in
    assert [run.timed for run in runs[1:]] == [1, 4]


def test_errors_of_the_night_before(script: ModuleType) -> None:
    """Over many draws: a fifth of the runs off by one or two, one stop in each plan missing, one in ten unmatched."""
    driven = [script.Driven(timed=5, out_in=False, compound="medium") for _ in range(11)]
    off, added, left_out = 0, 0, 0
    for seed in range(300):
        planned, notes = script.night_before(driven, np.random.default_rng(seed))
        assert sum("was not planned" in note for note in notes) == 1
        assert all(run.timed >= 1 for run in planned)
        off += sum("wants" in note for note in notes)
        added += sum("was not driven" in note for note in notes)
        left_out += sum("is left out" in note for note in notes)
        assert len(planned) == 10 + sum("not driven" in n for n in notes) - sum("left out" in n for n in notes)
    assert off == 300 * 2
    assert (added + left_out) / 3000 == pytest.approx(0.1, abs=0.02)
    assert added / (added + left_out) == pytest.approx(0.5, abs=0.1)


def test_unknown_car_is_named(script: ModuleType, tmp_path: Path) -> None:
    """A car that did not drive is refused with those that did."""
    with pytest.raises(FileProblem, match="no lap of car 99: choose one of 3, 7, 11, 15"):
        script.write_event(SMALL, ["99"], 1, tmp_path)


def test_recording_without_answer_key(script: ModuleType, tmp_path: Path) -> None:
    """Without the answer key no plan can be made, and the file is named."""
    with pytest.raises(FileProblem, match=r"laps\.csv"):
        script.read_driven(tmp_path, "3")
