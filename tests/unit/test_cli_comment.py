"""``pitwall comment``: the words, how a comment is read, and the command that comes of it."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

import pytest

from pitwall.app.loading import load_setup
from pitwall.cli import command
from pitwall.cli.main import main


def test_it_says_how_a_comment_is_read(capsys: pytest.CaptureFixture[str]) -> None:
    """With --check nothing is sent: one line for each remark, and the free text."""
    assert main(["comment", "41", "t4", "mid", "us", "3,", "exit", "os:", "with", "wear", "--check"]) == 0
    assert capsys.readouterr().out.splitlines() == ["turn 4 mid: understeer, severity 3", "turn 4 exit: oversteer",
                                                    'words beside it: "with wear"']
    assert main(["comment", "41", "tc", "too", "late", "t6", "--check"]) == 0
    assert capsys.readouterr().out == 'words, not counted: "tc too late t6"\n'
    assert main(["comment", "41", "t4 us", "--check", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["remarks"][0]["what"] == "understeer"


@pytest.mark.parametrize("more", ["--check", "--number 2 --by ann"])
def test_the_word_that_is_wrong_is_marked(more: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, before anything is sent: where it is only to be read, and where it would take the place of what a
    comment says already."""
    assert main(["comment", "41", "t4 midd us", *more.split()]) == 2
    shown = capsys.readouterr().err.splitlines()
    assert shown[:2] == ["t4 midd us", "   ^^^^"]
    assert shown[2].endswith("did you mean 'mid'?")


def test_a_comment_that_cannot_be_read_is_kept_as_words(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on the page: the moment and the words are not lost. The word is marked, and it is said that nothing of it
    counts; the daemon answers the same."""
    sent: dict[str, Any] = {}
    monkeypatch.setattr(command, "run", lambda args, told=None: sent.update(vars(args)) or 0)
    assert main(["comment", "41", "six is a handful", "--by", "ann"]) == 0
    assert sent["arguments"] == ["text=six is a handful", "shorthand=six is a handful"]
    shown = capsys.readouterr().err.splitlines()
    assert shown[:2] == ["six is a handful", "         ^^^^^^^"]
    assert shown[-1].startswith("kept as words, and counted nowhere")
    monkeypatch.setattr(command, "run", lambda args, told=None: 1)
    assert main(["comment", "41", "six is a handful", "--by", "ann"]) == 1
    assert "kept as words" not in capsys.readouterr().err


def test_a_turn_that_is_not_there_is_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The turns are those of the event that is named, or that lies here; without one it is said that nobody knows."""
    event = Path(__file__).parents[2] / "config" / "event.yaml"
    last = max(load_setup(event).circuit.turns)
    monkeypatch.chdir(event.parents[1])
    assert main(["comment", "41", "t45", "us", "3", "--check"]) == 2
    assert f"no turn 45, expected a turn from 1 to {last}" in capsys.readouterr().err
    monkeypatch.chdir(tmp_path)
    assert main(["comment", "41", "t45 us 3", "--check", "--event", str(event)]) == 2
    capsys.readouterr()
    assert main(["comment", "41", "t45 us 3", "--check"]) == 0
    assert "--event FILE" in capsys.readouterr().err


def test_every_word_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    """As lines for people, as JSON for machines."""
    assert main(["comment", "--words"]) == 0
    assert any(line.startswith("finding of balance") and "us, understeer" in line
               for line in capsys.readouterr().out.splitlines())
    assert main(["comment", "--words", "--json"]) == 0
    words = json.loads(capsys.readouterr().out)
    assert any({"part": "phase", "value": "mid"}.items() <= word.items() for word in words)


def test_what_is_missing_is_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    """The car and whose hand it is."""
    assert main(["comment"]) == 2
    assert main(["comment", "41", "t4 us"]) == 2
    assert "--by" in capsys.readouterr().err


@pytest.mark.parametrize(("word", "option"), [("run=long", "--run long"), ("lap=4", "--lap 4"),
                                             ("comment=2", "--number 2"), ("number=2", "--number 2")])
def test_what_a_command_writes_with_an_equals_sign_is_an_option_here(
    word: str, option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Told as that, and not as a word that the shorthand does not know; nothing is sent."""
    assert main(["comment", "41", "t4", "us", "3", word, "--by", "ann"]) == 2
    assert capsys.readouterr().err == f"pitwall: {word!r} is no part of the comment: write {option}\n"


def test_every_comment_of_the_readme_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each line that it shows, and what it says of run and lap: the options name them, laps from the out-lap on."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    lines = re.findall(r"^pitwall (comment 41 .*?)(?: +#.*)?$", readme, re.MULTILINE)
    sent: list[dict[str, Any]] = []
    monkeypatch.setattr(command, "run", lambda args, told=None: sent.append(vars(args)) or 0)
    monkeypatch.chdir(Path(__file__).parents[2])
    assert len(lines) >= 5
    assert [main(line.split()) for line in lines] == [0] * len(lines)
    assert ["text=t4 mid us 3", "shorthand=t4 mid us 3", "run=baseline", "lap=4"] in [one["arguments"] for one in sent]
    assert "`--run` and `--lap` name others" in readme.replace("\n", " ")


def test_how_it_is_read_is_told_once_it_was_taken(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the daemon refuses, such as a turn that its circuit has not, was not read as anything: one answer."""
    monkeypatch.setattr(command, "run", lambda args, told=None: print("refused: no turn 14", file=sys.stderr) or 1)
    assert main(["comment", "41", "t14", "us", "--by", "ann"]) == 1
    assert capsys.readouterr().err == "refused: no turn 14\n"
    monkeypatch.setattr(command, "run", lambda args, told=None: print("comment 1 noted") or 0)
    assert main(["comment", "41", "t4", "us", "--by", "ann"]) == 0
    assert capsys.readouterr() == ("comment 1 noted\n", "reads: turn 4: understeer\n")
    as_words = "comment 1 noted as words, not counted: no turn 14"
    monkeypatch.setattr(command, "run", lambda args, told: told.append(as_words) or print(as_words) or 0)
    assert main(["comment", "41", "t14", "us", "--by", "ann"]) == 0
    assert capsys.readouterr() == (f"{as_words}\n", "")


def test_the_command_that_comes_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same as ``pitwall command`` would send: shorthand as it was typed, number, run and lap."""
    sent: dict[str, Any] = {}
    monkeypatch.setattr(command, "run", lambda args, told=None: sent.update(vars(args)) or 0)
    options = "--by ann --number 2 --run long --lap 4 --at -20s"
    assert main(["comment", "41", "t4 us 3: a=b", *options.split()]) == 0
    assert (sent["asked"], sent["by"], sent["at"]) == ("comment", "ann", "-20s")
    assert sent["arguments"] == ["shorthand=t4 us 3: a=b", "comment=2", "run=long", "lap=4"]
    assert main(["comment", "41", "--by", "ann"]) == 0
    assert sent["arguments"] == []


def test_a_word_that_begins_with_a_dash_is_to_be_quoted(capsys: pytest.CaptureFixture[str]) -> None:
    """The shell has parted the comment, and an arrow looks like an option."""
    with pytest.raises(SystemExit) as left:
        main(["comment", "41", "us", "4", "->", "2", "t4", "--check"])
    assert left.value.code == 2
    assert "'->' begins with a dash, as options do: put all of it in quotation marks" in capsys.readouterr().err
    assert main(["comment", "41", "us 4 -> 2 t4", "--check"]) == 0
