"""What ``check`` says of the switches of a car file whose every figure can be read: defaults and keys at odds."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from pitwall.app.loading import read_event
from pitwall.app.resources import demo_event
from pitwall.checks.car import check_car_switches
from pitwall.errors import path_text
from tests.unit.engine_stage import SWITCHES, car_file, shipped


def said(switch: str, **changes: Any) -> list[tuple[str, str, str]]:
    """(code, path, what was found) of the cars' file with these changes of one switch."""
    switches = [one | changes if one["switch"] == switch else one for one in SWITCHES]
    return [(one.code, path_text(one.path), one.found) for one in check_car_switches(car_file(switches=switches))]


def test_the_shipped_cars_and_those_of_these_tests_are_sound() -> None:
    """Entries for a lap, a driver and the weather side by side: the most particular one wins."""
    assert [list(check_car_switches(car)) for car in shipped().cars.values()] == [[]] * len(shipped().cars)
    assert said("torque_map") == []


@pytest.mark.parametrize(("case", "words"), [
    ({"lap": "cool"}, "cool laps"), ({"lap": "cool", "driver": "dana"}, "cool laps and dana"),
    ({"wet": False}, "the dry"),
])  # fmt: skip
def test_two_defaults_for_one_case_contradict_one_another(case: dict[str, Any], words: str) -> None:
    """The second is where it is told; written twice it is no contradiction."""
    told = said("torque_map", defaults=[{"position": 1, **case}, {"position": 3, **case}])
    assert told == [("PW153", "switches[0].defaults[1].position",
                     f"3 for {words}, where 'torque_map' has 1 already")]
    assert said("torque_map", defaults=[{"position": 1, **case}, {"position": "1", **case}]) == []


def test_a_default_for_every_case_contradicts_the_default() -> None:
    """It would win over it on every lap."""
    assert said("torque_map", defaults=[{"position": 4}]) == [
        ("PW153", "switches[0].defaults[0].position", "4 for every lap, where 'torque_map' has 2 already")]
    assert said("torque_map", defaults=[{"position": 2}]) == []


@pytest.mark.parametrize(("switch", "key", "value"), [
    ("torque_map", "low", 0), ("torque_map", "step", 1), ("torque_map", "home", 1), ("flap", "sets", {"torque_map": 4}),
    ("brake_bias", "positions", [50, 55]), ("display", "high", 3),
])  # fmt: skip
def test_a_key_of_another_kind_of_switch_has_no_effect(switch: str, key: str, value: object) -> None:
    """Whoever wrote it meant something."""
    ((code, path, found),) = said(switch, **{key: value})
    assert (code, path.rsplit(".", 1)[1]) == ("PW154", key)
    assert repr(switch) in found


def test_a_preset_sets_others() -> None:
    """Never itself."""
    with pytest.raises(ValidationError, match="sets itself"):
        said("push", sets={"push": "on"})


def test_they_are_told_at_their_line_in_the_car_file(tmp_path: Path) -> None:
    """With the other findings of the event: two defaults are an error."""
    folder = Path(shutil.copytree(demo_event().parent, tmp_path / "event"))
    path = folder / "car.yaml"
    text = path.read_text(encoding="utf-8")
    head = "  - switch: mark\n    kind: momentary\n"
    assert head in text
    path.write_text(text.replace(head, f"{head}    home: released\n"), encoding="utf-8")
    told = [one for one in read_event(folder / "event.yaml").findings if one.code == "PW154"]
    line = 1 + path.read_text(encoding="utf-8").splitlines().index("    home: released")
    assert {(one.severity, one.file, one.line) for one in told} == {("warning", str(path), line)}
