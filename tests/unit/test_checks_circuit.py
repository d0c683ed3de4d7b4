"""What ``check`` says of a circuit file whose every figure can be read: loops out of order, stretches turned round."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
import yaml

from pitwall.app.loading import load_setup, read_event
from pitwall.app.resources import demo_event
from pitwall.checks.circuit import check_circuit
from pitwall.errors import path_text
from pitwall.model.circuit import Circuit

# The line at 0, loops at 1640 and 3450 of 4900 m; shares of the lap on the circuit that nobody measured.

CONFIG = demo_event().parent


def said(name: str = "circuit.yaml", **changes: Any) -> list[tuple[str, str, str]]:
    """(code, path, what was found) of a shipped circuit with these changes."""
    values = yaml.safe_load((CONFIG / name).read_text(encoding="utf-8")) | changes
    return [(one.code, path_text(one.path), one.found) for one in check_circuit(Circuit.model_validate(values))]


def loops(**places: float) -> list[dict[str, Any]]:
    """Loops in this order, the line last."""
    return [*({"loop": name.removeprefix("n"), "at_m": at} for name, at in places.items()), {"loop": "line"}]


@pytest.mark.parametrize("name", ["circuit.yaml", "circuit_timing_only.yaml"])
def test_the_shipped_circuits_are_sound(name: str) -> None:
    """Listed as they are passed; the last marshal sector spans the line."""
    assert said(name) == []


def test_loops_whose_places_contradict_their_order_are_told_at_the_second() -> None:
    """By their numbers, or as they are listed where they have none."""
    assert said(loops=loops(n1=3450, n2=1640)) == [
        ("PW151", "loops[1].at_m", "loop '2' at 1640, listed after '1' at 3450")]
    assert said(loops=loops(first=1640, second=3450, trap=2000)) == [
        ("PW151", "loops[2].at_m", "loop 'trap' at 2000, listed after 'second' at 3450")]
    shares = [{"loop": "1", "at_share": 0.7}, {"loop": "2", "at_share": 0.3}, {"loop": "line"}]
    assert [one[:2] for one in said("circuit_timing_only.yaml", loops=shares)] == [("PW151", "loops[1].at_share")]


@pytest.mark.parametrize("listed", [
    loops(n2=3450, n1=1640), loops(n57=1640, n12=3450), loops(first=1640, second=3450, exit=200),
    [{"loop": "line"}, *loops(a=10, b=20)[:2]], loops(),
])  # fmt: skip
def test_loops_in_the_order_of_the_lap_or_of_their_numbers_are_sound(listed: list[dict[str, Any]]) -> None:
    """Numbers in any order where the list follows the lap, and the other way round; a list that begins in the middle of
    the lap; the line stands anywhere."""
    assert said(loops=listed) == []


def test_two_loops_have_two_places() -> None:
    """Nor does one lie where the line is, at either end of the lap."""
    assert said(loops=loops(n1=1640, n2=1640)) == [("PW151", "loops[1].at_m", "loop '2' at 1640, where loop '1' is")]
    assert [found for _, _, found in said(loops=loops(n1=0, n2=4900))] == [
        "loop '1' at 0, where the line is", "loop '2' at 4900, where the line is"]


def test_a_stretch_over_the_line_that_is_most_of_the_lap_has_its_ends_exchanged() -> None:
    """A driver would be spoken to nearly everywhere. A shorter one may be meant."""
    told = said(listening=[{"from_m": 300, "to_m": 900}, {"from_m": 2400, "to_m": 2000}])
    assert told == [
        ("PW152", "listening[1].from_m", "listening stretch 2 from 2400 over the line to 2000, 92% of the lap")]
    assert said(listening=[{"from_m": 4600, "to_m": 300}]) == []
    assert [one[:2] for one in said(marshal_sectors=[{"sector": 7, "from_m": 900, "to_m": 300}])] == [
        ("PW152", "marshal_sectors[0].from_m")]
    assert [one[:2] for one in said("circuit_timing_only.yaml", listening=[{"from_share": 0.4, "to_share": 0.4}])] == [
        ("PW152", "listening[0].to_share")]


def test_both_are_warnings_at_their_line_and_the_event_is_served(tmp_path: Path) -> None:
    """They can be meant: nobody is kept from the session by them."""
    folder = Path(shutil.copytree(CONFIG, tmp_path / "event"))
    path = folder / "circuit.yaml"
    text = path.read_text(encoding="utf-8").replace("{loop: 1, at_m: 1640}", "{loop: 1, at_m: 3500}")
    path.write_text(text, encoding="utf-8")
    (found,) = read_event(folder / "event.yaml").findings
    assert (found.code, found.severity, found.file) == ("PW151", "warning", str(path))
    assert found.line == 1 + text.splitlines().index(next(one for one in text.splitlines() if "{loop: 2" in one))
    assert load_setup(folder / "event.yaml").circuit.loops[0].at_m == 3500
