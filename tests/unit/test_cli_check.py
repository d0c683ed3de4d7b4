"""``pitwall check`` and ``pitwall schema``: exit codes, what is printed, and that importing them costs nothing."""

from __future__ import annotations

import argparse
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from pitwall.app.resources import shipped
from pitwall.checks.codes import CODES
from pitwall.cli import check, schema


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo event."""
    return Path(shutil.copytree(shipped("config"), tmp_path / "event"))


def command(module: Any, *words: str) -> int:
    """Run one command as the main program would."""
    parser = argparse.ArgumentParser()
    module.add_parser(parser.add_subparsers(dest="command"))
    return int(module.run(parser.parse_args(words)))


def test_a_sound_plan_gives_0_and_a_summary(capsys: pytest.CaptureFixture[str]) -> None:
    """The engineer sees that the plan was understood."""
    assert command(check, "check", str(shipped("config") / "plans" / "plan_41.yaml")) == 0
    out = capsys.readouterr().out
    assert "baseline: must" in out
    assert "ready to rehearse: no errors, 0 warnings" in out


def test_an_event_file_checks_every_plan(capsys: pytest.CaptureFixture[str]) -> None:
    """Given the event, both cars are told."""
    assert command(check, "check", str(shipped("config") / "event.yaml")) == 0
    out = capsys.readouterr().out
    assert "car 41, ines" in out
    assert "car 58, bryn" in out


def test_errors_give_1_with_every_finding_and_the_way_to_more(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each finding on its line with its code; then how many, and how to have a code explained."""
    plan = folder / "plans" / "plan_41.yaml"
    plan.write_text(plan.read_text().replace("do: radio_check", "do: radio_chek").replace("turn 4 ", "turn 44 "))
    assert command(check, "check", str(plan)) == 1
    out = capsys.readouterr().out
    assert "did you mean 'radio_check'? [PW103]" in out
    assert "did you mean 'turn 4'? [PW204]" in out
    assert "2 errors, 0 warnings" in out
    assert "pitwall check --explain PW103" in out
    assert "ready to rehearse" not in out


def test_an_error_is_not_lost_among_warnings_of_other_files(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """They are told whole once nothing is wrong; beside an error it is told that there are some."""
    event, wrong = folder / "event.yaml", folder / "plans" / "plan_41.yaml"
    doubtful = folder / "plans" / "plan_58.yaml"
    doubtful.write_text(doubtful.read_text().replace("driver: bryn", "driver: ines"))
    assert command(check, "check", str(event)) == 0
    assert "warning: found driver 'ines'" in capsys.readouterr().out
    wrong.write_text(wrong.read_text().replace("do: radio_check", "do: radio_chek"))
    assert command(check, "check", str(event)) == 1
    out = capsys.readouterr().out
    assert "did you mean 'radio_check'? [PW103]" in out
    assert "warning: found driver" not in out
    assert f"{doubtful}: 1 warning, told once the errors are mended" in out
    assert "1 error, 1 warning;" in out


def test_warnings_alone_give_0(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A doubt does not fail a build."""
    plan = folder / "plans" / "plan_41.yaml"
    plan.write_text(plan.read_text().replace("driver: ines", "driver: bryn"))
    assert command(check, "check", str(plan)) == 0
    out = capsys.readouterr().out
    assert "warning: found driver 'bryn'" in out
    assert "no errors, 1 warning;" in out


def test_json_carries_the_findings_for_machines(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One object: counts, and each finding with file, line, path, found, expected, suggestion and reason."""
    plan = folder / "plans" / "plan_41.yaml"
    plan.write_text(plan.read_text().replace("{torque_map: 3}", "{torque_mapp: 3}"))
    assert command(check, "check", str(plan), "--json") == 1
    answer = json.loads(capsys.readouterr().out)
    assert (answer["ok"], answer["errors"], answer["warnings"], answer["plans"]) == (False, 1, 0, {})
    found = answer["findings"][0]
    assert (found["code"], found["path"], found["suggestion"]) == (
        "PW101", ["runs", 1, "switches", "torque_mapp"], "did you mean 'torque_map'?")
    assert found["line"] > 1
    assert found["why"]
    assert found["file"].endswith("plan_41.yaml")


def test_json_of_a_sound_plan_carries_the_summary(capsys: pytest.CaptureFixture[str]) -> None:
    """The same lines that the text form prints."""
    assert command(check, "check", str(shipped("config") / "plans" / "plan_58.yaml"), "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["ok"]
    assert answer["plans"]["58"]["summary"][0].startswith("car 58, bryn")


def test_a_plan_away_from_any_event_is_checked_with_the_demo(folder: Path, tmp_path: Path,
                                                             capsys: pytest.CaptureFixture[str]) -> None:
    """No event beside it: the demo event serves and is named; --event chooses another."""
    plan = tmp_path / "far" / "off" / "and" / "away" / "plan.yaml"
    plan.parent.mkdir(parents=True)
    plan.write_text((folder / "plans" / "plan_58_short.yaml").read_text())
    assert command(check, "check", str(plan)) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith(f"note: no event.yaml beside {plan} or above it: judged with the demo event")
    assert str(Path("config", "event.yaml")) in first
    for given in ([str(plan), "--event", str(folder / "event.yaml")], [str(folder / "plans" / "plan_58_short.yaml")]):
        assert command(check, "check", *given) == 0
        said = capsys.readouterr().out
        assert str(folder) in said
        assert "note: no event.yaml" not in said


def test_a_name_that_is_not_there_gives_2(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is told like any other finding, but the command was given wrongly: as plan, as event, in JSON too."""
    assert command(check, "check", "no_such_plan.yaml") == 2
    assert "no_such_plan.yaml: no such file" in capsys.readouterr().out
    assert command(check, "check", str(folder / "plans" / "plan_41.yaml"), "--event", "no_such_event.yaml") == 2
    assert "no_such_event.yaml: no such file" in capsys.readouterr().out
    assert command(check, "check", "no_such_plan.yaml", "--json") == 2
    assert json.loads(capsys.readouterr().out)["ok"] is False


def test_a_shipped_name_is_found_from_anywhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An event by its bare name, as serve, day and rehearse take it; as --event too."""
    monkeypatch.chdir(tmp_path)
    assert command(check, "check", "test_day.yaml") == 0
    assert "test_day.yaml" in capsys.readouterr().out
    plan = Path(__file__).resolve().parents[2] / "config" / "plans" / "plan_58_short.yaml"
    assert command(check, "check", str(plan), "--event", "event.yaml") == 0


def test_a_place_is_judged_beside_a_name_that_cannot_be_one(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An item with a procedure that is no name still has its unknown place told, in the same run of the check."""
    plan = folder / "plans" / "plan_41.yaml"
    text = plan.read_text(encoding="utf-8")
    assert "do: radio_check," in text
    plan.write_text(text.replace("do: radio_check,", "do: Radio check, after: trun 5,", 1), encoding="utf-8")
    assert command(check, "check", str(plan)) == 1
    told = capsys.readouterr().out
    assert "unknown place 'trun 5'" in told
    assert "found 'Radio check'" in told


def test_a_time_of_day_is_told_in_words(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No pattern of a program is shown to an engineer."""
    event = folder / "event.yaml"
    text = event.read_text(encoding="utf-8")
    changed = re.sub(r"(curfew: )\S+", r'\g<1>"25:00"', text, count=1)
    assert changed != text
    event.write_text(changed, encoding="utf-8")
    assert command(check, "check", str(event)) == 1
    told = capsys.readouterr().out
    assert "found '25:00', expected a time of day from 00:00 to 23:59, such as 08:30" in told
    assert "^" not in told


def test_a_file_that_a_file_names_and_that_is_not_there_gives_1(folder: Path) -> None:
    """The fault is in the event file, not on the command line."""
    (folder / "plans" / "plan_41.yaml").unlink()
    assert command(check, "check", str(folder / "event.yaml")) == 1


def test_explain_tells_what_a_code_means(capsys: pytest.CaptureFixture[str]) -> None:
    """In text and in JSON; the case of the code does not matter; an unknown code is wrong usage."""
    assert command(check, "check", "--explain", "pw501") == 0
    assert "why:" in capsys.readouterr().out
    assert command(check, "check", "--explain", "PW501", "--json") == 0
    assert json.loads(capsys.readouterr().out)["code"] == "PW501"
    assert command(check, "check", "--explain", "PW999") == 2
    assert "no code 'PW999'" in capsys.readouterr().err


def test_every_code_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    """Title, reason and remedy of each, whatever its severity."""
    for code, entry in CODES.items():
        assert command(check, "check", "--explain", code) == 0
        out = capsys.readouterr().out
        assert out.startswith(f"{code} ({entry.severity}): ")
        assert "why: " in out
        assert "mend: " in out
    assert CODES["PW408"].severity == "information"


def test_the_proof_is_told_in_a_few_lines_and_whole_on_request(capsys: pytest.CaptureFixture[str]) -> None:
    """What is safe while every call is made, a few calls on which timed laps hang, and how to see the others."""
    plan = str(shipped("config") / "plans" / "plan_41.yaml")
    assert command(check, "check", plan) == 0
    out = capsys.readouterr().out
    assert "while every call is made, no timed lap starts with a wrong switch" in out
    assert "timed laps, telemetry shows each at once:" in out
    assert out.count(" -> timed lap") == 3
    assert "more calls: --every-call" in out
    assert command(check, "check", plan, "--every-call") == 0
    assert capsys.readouterr().out.count(" -> timed lap") > 3
    assert command(check, "check", plan, "--json") == 0
    told = json.loads(capsys.readouterr().out)["plans"]["41"]
    assert len(told["one_missed_call"]) > 4
    assert told["may_stand"]["timed lap 3 of holds"]["flap"] == ["closed", "open"]


def test_a_plan_that_can_start_wrong_is_told_with_its_story(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A guarded page that the run wants away from home is doubted at its line, and nothing is called proved."""
    car = folder / "car.yaml"
    car.write_text(car.read_text().replace("forbidden_on_timed: [", "forbidden_on_timed: [shift_lights, "))
    plan = folder / "plans" / "plan_41.yaml"
    plan.write_text(plan.read_text().replace("{torque_map: 3}", "{torque_map: 3, shift_lights: late}"))
    assert command(check, "check", str(plan)) == 0
    out = capsys.readouterr().out
    assert "runs[1].switches.shift_lights: warning: found shift lights goes home to normal by itself on" in out
    assert "shift_lights goes home to normal: want it there on timed laps [PW407]" in out
    assert "while every call is made" not in out


def test_the_plan_for_the_wet_is_judged_in_the_wet(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A must for the dry in the alternate for the rain is doubted, though the event begins dry."""
    wet = folder / "plans" / "plan_41_wet.yaml"
    wet.write_text(wet.read_text() + "    dry_only: true\n")
    wet.write_text(wet.read_text().replace("want: should", "want: must"))
    assert command(check, "check", str(folder / "event.yaml")) == 0
    assert "'drying', a must that is for the dry only" in capsys.readouterr().out


def test_no_plan_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    """The answer shows an example."""
    assert command(check, "check") == 2
    assert check.EXAMPLE in capsys.readouterr().err


@pytest.mark.parametrize("kind", [kind for kind in schema.SCHEMAS if kind != "asyncapi"])
def test_each_schema_prints_as_a_valid_json_schema(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What is printed is JSON and passes the metaschema."""
    assert command(schema, "schema", kind) == 0
    jsonschema.Draft202012Validator.check_schema(json.loads(capsys.readouterr().out))


def test_the_wire_prints_as_an_asyncapi_document(capsys: pytest.CaptureFixture[str]) -> None:
    """Version 3 of the format, with channels."""
    assert command(schema, "schema", "asyncapi") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["asyncapi"].startswith("3.")
    assert document["channels"]


def test_an_unknown_schema_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    """The parser answers with the choices and 2."""
    with pytest.raises(SystemExit) as caught:
        command(schema, "schema", "nothing")
    assert caught.value.code == 2
    assert "plan" in capsys.readouterr().err


@pytest.mark.parametrize("module", ["pitwall.cli.check", "pitwall.cli.schema"])
def test_importing_a_command_imports_nothing_heavy(module: str) -> None:
    """``--help`` stays instant: no pydantic, numpy or YAML before the command runs."""
    code = f"import sys, {module}; print([m for m in ('pydantic', 'numpy', 'yaml', 'jsonschema') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=300)
    assert done.stdout.strip() == "[]"
