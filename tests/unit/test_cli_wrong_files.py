"""A wrong name or a file of another kind on the command line: what it is said to be, and exit code 2."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from pitwall.app.yaml_lines import near_file_name
from pitwall.cli.main import COMMANDS, build_parser, main

CONFIG = Path(__file__).resolve().parents[2] / "config"
EVENT = str(CONFIG / "event.yaml")


def told(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """Exit code and standard error of one command."""
    code = main(arguments)
    return code, capsys.readouterr().err


@pytest.mark.parametrize("arguments", [
    ["check", "nope.yaml"], ["debrief", "nope.sqlite"], ["export", "nope.sqlite"], ["replay", "nope"],
    ["plan", "next", "nope.sqlite", "--out", "x.yaml"], ["plan", "convert", "nope.yaml", "x.xlsx"],
    ["plan", "convert", "nope.xlsx", "x.yaml"], ["plan", "print", "nope.yaml"],
    ["plan", "diff", "nope.yaml", "nope.yaml"], ["day", "nope.yaml"], ["serve", "nope.yaml"], ["rehearse", "nope.yaml"],
])  # fmt: skip
def test_a_file_that_is_not_there_is_wrong_usage(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every command that reads a file ends with 2 when it is not there, as the README says."""
    monkeypatch.chdir(tmp_path)
    assert told(arguments, capsys)[0] == 2


@pytest.mark.parametrize("arguments", [["debrief", EVENT], ["plan", "next", EVENT, "--out", "x.yaml"]])
def test_an_event_file_is_no_journal(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is told what the file is and what to name; nobody is told to move it away."""
    monkeypatch.chdir(tmp_path)
    code, err = told(arguments, capsys)
    assert code == 2
    assert "this is no journal but an event file; name the journal of a session, such as practice-1.sqlite" in err
    assert "damaged" not in err
    assert "move it away" not in err


@pytest.mark.parametrize("content", [b"cars: [41]\n", b'{\n  "name": "x"\n}\n', b"\x00\x01\x02 picture", b"[1, 2]\n"])
def test_any_other_file_is_no_journal(content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What begins as no journal does is never called a damaged one."""
    file = tmp_path / "some.file"
    file.write_bytes(content)
    code, err = told(["debrief", str(file)], capsys)
    assert (code, "this is no journal; name the journal" in err, "move it away" in err) == (2, True, False)


def test_a_journal_that_is_not_there_names_those_that_are(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The journals in the folder are listed; where the folder is not there, those in the folders beside it."""
    folder = tmp_path / "spring-test"
    folder.mkdir()
    for name in ("practice-1.sqlite", "practice-2.sqlite", "notes.txt"):
        (folder / name).touch()
    there = f"there are {folder / 'practice-1.sqlite'}, {folder / 'practice-2.sqlite'} ("
    assert there in told(["debrief", str(folder / "practice-9.sqlite")], capsys)[1]
    assert there in told(["debrief", str(tmp_path / "EVENT" / "practice-1.sqlite")], capsys)[1]


def test_an_event_file_is_no_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line says so, in the place of one for every key that a plan does not have."""
    code, err = told(["plan", "convert", EVENT, str(tmp_path / "e.xlsx")], capsys)
    assert (code, err.count("\n")) == (2, 1)
    assert "this is an event file, not a plan" in err


@pytest.mark.parametrize(("name", "meant"), [
    ("plan_58.yaml", None), ("plan_58_wet.yaml", None), ("nope.yaml", None), ("cirkuit.yaml", "circuit.yaml"),
    ("plan_41_wett.yaml", "plan_41_wet.yaml"), ("plan_41.yml", "plan_41.yaml"), ("evnt.yaml", "event.yaml"),
])  # fmt: skip
def test_only_really_near_names_are_suggested(name: str, meant: str | None) -> None:
    """The plan of another car is no slip of the finger, and a common ending makes no two names alike."""
    assert near_file_name(name, ["circuit.yaml", "event.yaml", "plan_41.yaml", "plan_41_wet.yaml"]) == meant


def test_a_misspelt_command_has_a_suggestion(capsys: pytest.CaptureFixture[str]) -> None:
    """`pitwall chekc` is asked about."""
    with pytest.raises(SystemExit) as stop:
        main(["chekc", "config/event.yaml"])
    assert stop.value.code == 2
    assert "no command 'chekc': did you mean 'check'?" in capsys.readouterr().err


def _parsers(parser: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
    below = [one for action in parser._actions if isinstance(action, argparse._SubParsersAction)
             for one in action.choices.values()]
    return [parser, *(deeper for one in below for deeper in _parsers(one))]


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_command_has_an_example(command: str) -> None:
    """`--help` of each command, and of each that it has below it, gives an example that begins as it is called."""
    parser, _ = build_parser(command)
    commands = next(action for action in parser._actions if isinstance(action, argparse._SubParsersAction))
    for one in _parsers(commands.choices[command]):
        assert f"example: {one.prog}" in one.format_help(), one.prog


def test_help_of_watch_names_every_key() -> None:
    """Each key that commands something stands in `watch --help`."""
    from pitwall.cli.terminal.desk import KEYS
    from pitwall.cli.watch import KEYS as SHOWN

    missing = [key for key in KEYS if f" {key} " not in SHOWN.replace("\n", " ")]
    assert not missing
