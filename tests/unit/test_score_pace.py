"""The scorer of arrivals and lap times: forecasts without the answer key, figures that can be counted by hand."""

from __future__ import annotations

import csv
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from pitwall.engine.session import Session
from pitwall.model.events import CarCrossed, Stamped
from pitwall.model.outputs import Output
from simulations.score_pace import main, score, text
from simulations.score_pace_figures import figures
from simulations.score_pace_rows import Row, predict, read_rows, write_rows
from simulations.score_pace_truth import Case, cases, read_truth

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "data" / "recording_small"


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> list[Row]:
    """The forecasts of the small recording, from a folder without the answer key."""
    folder = tmp_path_factory.mktemp("pace") / SMALL.name
    shutil.copytree(SMALL, folder)
    (folder / "laps.csv").unlink()
    return predict(folder)


def row(q50: float, naive: float, **more: object) -> Row:
    """A forecast from sector 1 to the line, a second to each side at 80 %."""
    made = Row("s", "3", 2, 100.0, "line", "1", 100.0, naive, 1, 0, 0.7, 0.2, 0.1,
               q50 - 2, q50 - 1, q50 - 0.5, q50, q50 + 0.5, q50 + 1, q50 + 2)  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def test_forecasts_need_no_answer_key_and_come_in_order(rows: list[Row]) -> None:
    """They are made on receipt, never before what they build on, and their quantiles rise."""
    assert {one.target for one in rows} >= {"line", "timed_line"}
    assert [one.issued_at for one in rows] == sorted(one.issued_at for one in rows)
    for one in rows:
        assert one.seen_s <= one.issued_at + 1e-6
        assert one.q05 <= one.q10 <= one.q25 <= one.q50 <= one.q75 <= one.q90 <= one.q95
        if one.target == "line":
            assert one.q05 >= one.seen_s - 1e-3
            assert (one.p_timed or 0) + (one.p_cool or 0) + (one.p_in or 0) == pytest.approx(1, abs=1e-3)


def test_the_same_recording_gives_the_same_forecasts(rows: list[Row], tmp_path: Path) -> None:
    """With the answer key beside it nothing else is forecast; written and read again the rows are the same."""
    assert predict(SMALL) == rows
    file = tmp_path / "p.csv"
    write_rows(rows, file)
    assert read_rows(file) == rows


def test_an_engine_that_fails_is_told_and_the_rest_forecast(
    rows: list[Row], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It fails on every fact of one car: the others' forecasts are written, the first failure named, the end is 1."""
    car, handle = rows[0].car, Session.handle

    def failing(session: Session, stamped: Stamped) -> tuple[Output, ...]:
        if isinstance(stamped.event, CarCrossed) and stamped.event.car == car:
            raise RuntimeError("cannot be reckoned")
        return handle(session, stamped)

    file = tmp_path / "p.csv"
    monkeypatch.setattr(Session, "handle", failing)
    monkeypatch.setattr(sys, "argv", ["score_pace.py", "predict", str(SMALL), "--predictions", str(file)])
    assert main() == 1
    told = capsys.readouterr()
    assert "cannot be reckoned" in told.err
    assert "Traceback" not in told.out + told.err
    assert {one.car for one in read_rows(file)} >= {one.car for one in rows} - {car} != set()


def test_cars_with_names_in_capitals_are_found_in_the_answer_key(rows: list[Row], tmp_path: Path) -> None:
    """Forecasts have names as they go over the wire, in lower case; the answer key has the source's own."""
    folder = tmp_path / SMALL.name
    shutil.copytree(SMALL, folder)
    for name in ("events.csv", "laps.csv"):
        lines = list(csv.DictReader((folder / name).open(encoding="utf-8-sig", newline="")))
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(lines[0]))
            writer.writeheader()
            writer.writerows(cells | {"car": f"N{cells['car']}"} for cells in lines)
    named = [replace(one, car=f"n{one.car}") for one in rows]
    assert len(list(cases(read_truth(folder), named))) == len(list(cases(read_truth(SMALL), rows))) > 0


def test_every_row_is_judged_beside_the_simple_rule(rows: list[Row], tmp_path: Path) -> None:
    """Sessions and pooled have the same rows; each has errors here and by the rule, on the same forecasts."""
    file = tmp_path / "p.csv"
    write_rows(rows, file)
    found = score(file, [SMALL])
    assert set(found) == {"sessions", "pooled"}
    assert found["sessions"][SMALL.name].keys() == found["pooled"].keys() >= {"out_lap", "next_lap"}
    assert found["pooled"]["out_lap"]["naive"]["median"] > 0
    assert "out_lap" in text("pooled", found["pooled"])


def test_figures_are_what_can_be_counted() -> None:
    """Errors of 0.5 and 1.5 s, the rule's 2 and 4 s; one of two within the 80 % interval."""
    told = [Case("s1_line", row(200.0, 198.5), 200.5, "timed"), Case("s1_line", row(300.0, 297.5), 301.5, "timed")]
    one = figures([told])["s1_line"]
    assert (one["n"], one["inside"]) == (2, 0.5)
    assert one["median"] == one["mae"] == pytest.approx(1.0)
    assert one["naive"]["median"] == pytest.approx(3.0)
    assert one["ratio"]["median"] == pytest.approx(1 / 3)


def test_kinds_are_scored_by_the_likeliest() -> None:
    """Timed at 0.7 three times, true twice: two of three right, as the commonest would be."""
    kinds = [Case("kind_s1", row(200, 200), 0.0, label) for label in ("timed", "timed", "in")]
    one = figures([kinds])["kind_s1"]
    assert one["right"] == one["naive_right"] == pytest.approx(2 / 3)
    assert one["brier"] == pytest.approx((2 * (0.3**2 + 0.2**2 + 0.1**2) + 0.7**2 + 0.2**2 + 0.9**2) / 3)


def test_a_lap_that_came_in_is_no_arrival(rows: list[Row]) -> None:
    """Arrivals at the line are judged on laps that reached it, kinds on laps from the line only."""
    found = list(cases(read_truth(SMALL), rows))
    assert {case.label for case in found if case.key in ("s1_line", "s2_line")} <= {"timed", "cool"}
    assert {case.label for case in found if case.key.startswith("out_lap")} <= {"out"}
    assert {case.label for case in found if case.key.startswith("kind")} <= {"timed", "cool", "in"}


def test_a_file_that_is_no_prediction_is_refused(tmp_path: Path) -> None:
    """The error names file, line and remedy; the command ends with 1."""
    file = tmp_path / "wrong.csv"
    file.write_text("car,lap\n3,1\n", encoding="utf-8")
    with pytest.raises(ValueError, match=r"wrong\.csv, line 2: .*predict"):
        read_rows(file)
    command = [sys.executable, str(ROOT / "simulations" / "score_pace.py"), "score", str(file), str(SMALL)]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert (ended.returncode, "line 2" in ended.stderr) == (1, True)
