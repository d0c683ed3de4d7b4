"""The command line's frame: help, exit codes, errors without tracebacks."""

from __future__ import annotations

import argparse
import subprocess
import sys
from types import ModuleType

import pytest

from pitwall.cli import main as cli
from pitwall.errors import BrokerError, FileProblem, InternalError, JournalError, PayloadError, PitwallError, UserError


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """A command `probe` whose run() may be replaced by each test."""
    module = ModuleType("probe_command")
    module.HELP, module.EXAMPLE = "probe things", "pitwall probe --json"

    def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
        subparsers.add_parser("probe", help=module.HELP).add_argument("--json", action="store_true")

    module.add_parser, module.run = add_parser, lambda args: 0
    monkeypatch.setitem(sys.modules, "probe_command", module)
    monkeypatch.setitem(cli.COMMANDS, "probe", ("probe_command", "probe things"))
    return module


def test_help_is_instant() -> None:
    """`pitwall --help` names every command and loads none of the heavy libraries (simulations/bench_startup.py has the
    seconds)."""
    probe = "import sys; from pitwall.cli.main import main\ntry: main(['--help'])\nexcept SystemExit: pass\n"
    probe += "print('LOADED', *sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    shown, _, loaded = done.stdout.partition("LOADED")
    assert all(name in shown for name in cli.COMMANDS)
    heavy = {"numpy", "pydantic", "aiomqtt", "amqtt", "rich", "yaml", "structlog", "asyncio", "sqlite3"}
    assert not heavy & set(loaded.split())


def test_no_command_is_bad_usage(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a command the help goes to standard error and the exit code is 2."""
    assert cli.main([]) == 2
    assert "commands" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [["nonsense"], ["probe", "--nonsense"], ["--nonsense"]])
def test_unknown_words_are_bad_usage(
    command: ModuleType, arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """An unknown command or option ends with 2 and a usage line."""
    with pytest.raises(SystemExit) as stop:
        cli.main(arguments)
    assert stop.value.code == 2
    assert "usage: pitwall" in capsys.readouterr().err


def test_words_after_options_count_and_slips_are_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`pitwall command 41 cross --by bob loop=2` is the same as with the options last; a misspelt option says which one
    is near."""
    from pitwall.cli import command as commanding

    seen: list[list[str]] = []
    monkeypatch.setattr(commanding, "run", lambda args: seen.append(args.arguments) or 0)
    assert cli.main(["command", "41", "cross", "loop=2", "--by", "bob"]) == 0
    assert cli.main(["command", "41", "cross", "--by", "bob", "loop=2", "--at", "-3s", "forgotten=true"]) == 0
    assert seen == [["loop=2"], ["loop=2", "forgotten=true"]]
    with pytest.raises(SystemExit) as stop:
        cli.main(["command", "41", "cross", "--by", "bob", "--sesion", "practice-1"])
    assert stop.value.code == 2
    assert "unrecognized arguments: --sesion: did you mean --session?" in capsys.readouterr().err


def test_version_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    """`--version` names the program and its version."""
    from pitwall import __version__

    with pytest.raises(SystemExit) as stop:
        cli.main(["--version"])
    assert stop.value.code == 0
    assert capsys.readouterr().out == f"pitwall {__version__}\n"


def test_help_of_a_command_shows_its_example_and_the_log_options(
    command: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every command's help ends with an example and offers the log options."""
    with pytest.raises(SystemExit):
        cli.main(["probe", "--help"])
    text = capsys.readouterr().out
    assert "example: pitwall probe --json" in text
    assert "--log-format" in text
    assert "--log-level" in text


@pytest.mark.parametrize("name", sorted(cli.COMMANDS))
def test_shipped_command_keeps_the_contract(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each shipped command has HELP, EXAMPLE and run, and its help shows an example of itself and `--json`."""
    parser, module = cli.build_parser(name)
    assert module is not None
    assert module.EXAMPLE.startswith(f"pitwall {name}")
    assert callable(module.run)
    assert cli.COMMANDS[name][1] == module.HELP, "the line in the table is the module's own"
    with pytest.raises(SystemExit) as stop:
        parser.parse_args([name, "--help"])
    assert stop.value.code == 0
    text = capsys.readouterr().out
    assert module.EXAMPLE in text
    assert "--json" in text


@pytest.mark.parametrize("name", sorted(cli.COMMANDS))
def test_example_of_a_command_parses(name: str) -> None:
    """The example in a command's help is one that its own parser takes."""
    parser, module = cli.build_parser(name)
    assert module is not None
    typed = module.EXAMPLE.partition(">")[0]  # an example may send its output to a file
    args = parser.parse_args(typed.split()[1:])
    assert args.command == name


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (FileProblem(["config/plan.yaml:3: unknown switch"]), 1),
        (PayloadError("pitwall/1/p/timing/pit", "not JSON"), 1),
        (BrokerError("no broker at mqtt://127.0.0.1:1: start one"), 1),
        (JournalError("cannot write"), 1),
        (InternalError("ours"), 1),
        (UserError("give --speed or --instant, not both"), 2),
    ],
)
def test_own_errors_become_a_message_and_a_code(
    command: ModuleType, capsys: pytest.CaptureFixture[str], error: PitwallError, code: int
) -> None:
    """An error of ours is one message on standard error, no traceback, and the code that the README promises."""

    def fail(args: argparse.Namespace) -> int:
        raise error

    command.run = fail
    assert cli.main(["probe"]) == code
    captured = capsys.readouterr()
    assert captured.out == ""
    assert str(error) in captured.err
    assert "Traceback" not in captured.err


def test_break_from_the_keyboard_is_clean(command: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    """Ctrl-C ends with 130 and one line."""

    def broken_off(args: argparse.Namespace) -> int:
        raise KeyboardInterrupt

    command.run = broken_off
    assert cli.main(["probe"]) == 130
    assert capsys.readouterr().err == "pitwall: broken off\n"


def test_reader_that_goes_away_is_clean() -> None:
    """`pitwall --help | head -0` says nothing on standard error."""
    reader = subprocess.Popen([sys.executable, "-c", "pass"], stdin=subprocess.PIPE)
    reader.wait()
    writer = subprocess.run(
        [sys.executable, "-c", "from pitwall.cli.main import main; raise SystemExit(main(['schema', 'plan']))"],
        stdout=reader.stdin,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    assert writer.stderr == ""
    assert writer.returncode == 1


def test_bad_environment_is_named(
    command: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A variable that cannot be used is named with what was found."""
    monkeypatch.setenv("PITWALL_LOG_LEVEL", "loud")
    assert cli.main(["probe"]) == 2
    text = capsys.readouterr().err
    assert "PITWALL_LOG_LEVEL" in text
    assert "loud" in text
