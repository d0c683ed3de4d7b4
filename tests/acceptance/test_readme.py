"""The README keeps its word: its command lines are the ones CI runs, and each `pitwall` command in it works."""

from __future__ import annotations

import importlib.util
import re
import shlex
import subprocess
from pathlib import Path
from types import ModuleType

import pytest

from pitwall.bus.codec import fact_from
from pitwall.cli.main import build_parser
from pitwall.model.events import ChannelReported, CommandGiven
from tests.acceptance.processes import ROOT, Processes

README = (ROOT / "README.md").read_text(encoding="utf-8")


def _extractor() -> ModuleType:
    spec = importlib.util.spec_from_file_location("readme_command", ROOT / ".ci" / "readme_command.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _marked(name: str) -> str:
    found = _extractor().command(name, README)
    assert isinstance(found, str)
    return found


def _shell_lines() -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", README, flags=re.DOTALL)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


PITWALL_LINES = sorted({line.partition(" && ")[2].rpartition(".venv/bin/")[2] if ".venv/bin/" in line else line
                        for line in _shell_lines() if "pitwall " in line and "mosquitto" not in line})


def test_ci_runs_the_marked_lines() -> None:
    """`.ci/run` takes both command lines from the README, so they cannot drift apart."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert ".ci/readme_command.py tests" in script
    assert ".ci/readme_command.py demo" in script
    for word in ("ruff check", "mypy", "lint-imports"):
        assert f".venv/bin/{word}" in script


@pytest.mark.parametrize("name", ["demo", "tests"])
def test_marked_line_is_one_line_of_good_shell(name: str) -> None:
    """Each set-up line is a single line that the shell can read, and makes its own environment with pinned versions."""
    line = _marked(name)
    assert "\n" not in line
    assert subprocess.run(["sh", "-n", "-c", line], check=False).returncode == 0
    assert "python3 -m venv .venv" in line
    assert "-c .ci/constraints.txt" in line


def test_unknown_mark_is_an_error() -> None:
    """Asking for a line that the README does not have fails instead of printing nothing."""
    with pytest.raises(LookupError, match="nonsense"):
        _marked("nonsense")


def test_tests_line_names_the_packages_and_asks_for_rights_only_when_needed() -> None:
    """The Debian packages are named; sudo is used only where it exists, and only when something is missing."""
    line = _marked("tests")
    assert "mosquitto mosquitto-clients chromium" in line
    assert "command -v mosquitto_sub >/dev/null && command -v chromium >/dev/null ||" in line
    assert "$(command -v sudo || true)" in line
    assert line.endswith("-m pytest -q -n 3")


def test_constraints_pin_every_dependency() -> None:
    """Whatever pyproject.toml asks for, for the product and for tests and lint, has an exact version."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = [*project["dependencies"], *extras["test"], *extras["lint"]]
    pinned = {
        line.partition("==")[0] for line in (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
        if "==" in line
    }
    names = {re.split(r"[\[<>=;~! ]", item)[0].lower().replace("_", "-") for item in wanted if "win32" not in item}
    assert names - pinned == set()


@pytest.mark.parametrize("line", PITWALL_LINES)
def test_command_in_the_readme_parses(line: str) -> None:
    """Each `pitwall` command is one that its own parser takes."""
    words = shlex.split(line, comments=True)[1:]
    parser, module = build_parser(words[0])
    assert module is not None
    args, left = parser.parse_known_args(words)
    assert args.command == words[0]
    assert not left or hasattr(module, "WORDS_GO_TO"), "words after the options, and the command takes none there"
    assert not any(word.startswith("-") for word in left), left


@pytest.mark.parametrize("line", [line for line in PITWALL_LINES if "check" in line])
def test_command_in_the_readme_that_ends_by_itself_works(processes: Processes, line: str) -> None:
    """The commands that need nobody else are run as they stand, in a copy of what they name. (Both instant rehearsals:
    in ``test_session_many_seeds.py``, where they are judged as well.)"""
    processes.copy_folder("config", "simulations")
    done = processes.run(*shlex.split(line, comments=True)[1:])
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("line", [line for line in _shell_lines() if line.startswith("mosquitto_pub ")])
def test_a_message_that_the_readme_publishes_is_taken_as_it_stands(line: str) -> None:
    """A foot switch knows no session time: what the shell makes of the line is a fact of the moment it came."""
    words = 'mosquitto_pub() { printf "%s\\n" "$@"; }; '
    said = subprocess.run(["sh", "-c", words + line], check=True, capture_output=True, text=True).stdout.splitlines()
    topic, payload = said[said.index("-t") + 1], said[said.index("-m") + 1]
    fact = fact_from(topic, payload.encode(), 612.5)
    assert fact.t == 612.5
    assert fact.id.rpartition("-")[2].isdecimal()
    assert isinstance(fact, ChannelReported if "/radio/" in topic else CommandGiven)


def test_the_readme_shows_a_message_of_the_keypad_and_one_of_the_push_to_talk() -> None:
    """Both are whole lines, so that the test above runs them."""
    published = [line for line in _shell_lines() if line.startswith("mosquitto_pub ")]
    assert ["/desk/41/" in line for line in published] == [True, False]
    assert ["/radio/41/channel" in line for line in published] == [False, True]


def test_the_commands_about_files_work_one_after_the_other(processes: Processes) -> None:
    """Each takes up what the ones before it wrote; `diff` tells the difference and says so with its exit code."""
    processes.copy_folder("config")
    told = ("pitwall plan ", "pitwall day config/event.yaml --ics", "pitwall schema --editor")
    lines = [line for line in _shell_lines() if line.startswith(told)]
    assert len(lines) >= 8
    for line in lines:
        words = shlex.split(line, comments=True)[1:]
        done = processes.run(*words)
        assert done.returncode == (1 if words[1] == "diff" else 0), done.stdout + done.stderr
        assert done.stdout.strip()


def test_files_named_in_the_readme_exist() -> None:
    """The recording, the event and the folders that the README points at are there."""
    for name in re.findall(r"`((?:[\w.-]+/)+)`", README):
        assert (ROOT / name).is_dir() or name.startswith("~"), name
    for line in PITWALL_LINES:
        for word in shlex.split(line, comments=True):
            if "/" in word and "://" not in word and not word.startswith((".", "~")):
                assert (Path(ROOT) / word).exists(), word
