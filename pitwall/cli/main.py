"""The ``pitwall`` command: one table of commands, each in a module that is imported only when it is asked for.

Exit codes: 0 all is well, 1 problems were found, 2 the command was given wrongly, 130 broken off from the keyboard.
A command module offers ``HELP``, ``EXAMPLE``, ``add_parser(subparsers)`` and ``run(args) -> int``.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Sequence
from importlib import import_module
from types import ModuleType

from pitwall import __version__
from pitwall.cli.console import take_every_character
from pitwall.errors import FileProblem, PayloadError, PitwallError, UserError

COMMANDS: dict[str, tuple[str, str]] = {
    "check": ("pitwall.cli.check", "judge a run plan or a whole event before the session"),
    "plan": ("pitwall.cli.plan", "turn a plan into a spreadsheet or back, compare two, print it, or draft the next"),
    "rehearse": ("pitwall.cli.rehearse", "run a session against a simulated world"),
    "serve": ("pitwall.cli.serve", "run the daemon beside live timing"),
    "replay": ("pitwall.cli.replay", "publish a recorded session onto the bus"),
    "watch": ("pitwall.cli.watch", "show prompts, clock and alerts in the terminal"),
    "day": ("pitwall.cli.day", "show the timetable of an event, day by day"),
    "debrief": ("pitwall.cli.debrief", "tell what was done, where the data is and what was said, from a journal"),
    "export": ("pitwall.cli.export", "write the journals of an event or a session out as text"),
    "command": ("pitwall.cli.command", "give the running daemon one command and print its answer"),
    "comment": ("pitwall.cli.comment", "note what the driver said, typed in shorthand"),
    "users": ("pitwall.cli.users", "say who may use the broker of serve over the network"),
    "schema": ("pitwall.cli.schema", "print the schema of a file or of the wire"),
}
"""Command -> (module, help line). The help line stands here too so that ``--help`` imports none of the modules."""

FOUND_PROBLEMS, BAD_USAGE, BROKEN_OFF = 1, 2, 130

EPILOG = (
    "example: pitwall rehearse practice_hour.yaml\n"
    "pitwall advises a person. Officials' signals and the event's regulations come first."
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code.

    Args:
        argv: the arguments after the program's name; the process's own when left out.
    """
    arguments = list(sys.argv[1:] if argv is None else argv)
    take_every_character(sys.stdout, sys.stderr)
    try:
        code = _dispatch(arguments)
        sys.stdout.flush()
    except PitwallError as error:
        print(f"pitwall: {error}", file=sys.stderr)
        return _exit_code(error)
    except KeyboardInterrupt:
        print("pitwall: broken off", file=sys.stderr)
        return BROKEN_OFF
    except BrokenPipeError:
        # The reader went away (`| head`). Point stdout elsewhere or the interpreter complains while it exits.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FOUND_PROBLEMS
    return code


def build_parser(command: str | None) -> tuple[argparse.ArgumentParser, ModuleType | None]:
    """The argument parser with the full options of ``command`` and the bare names of all others.

    Args:
        command: the command asked for, or None: then no command module is imported.
    """
    parser = argparse.ArgumentParser(
        prog="pitwall",
        description="Session clock and radio-call scheduler for the race engineer on the pit wall.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"pitwall {__version__}")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    module: ModuleType | None = None
    for name, (path, help_line) in COMMANDS.items():
        if name == command:
            module = import_module(path)
            module.add_parser(subparsers)
            _complete(subparsers.choices[name], module)
        else:
            subparsers.add_parser(name, help=help_line)
    return parser, module


def _dispatch(arguments: list[str]) -> int:
    command = next((word for word in arguments if not word.startswith("-")), None)
    parser, module = build_parser(command)
    if command is not None and module is None and (meant := _near(command, list(COMMANDS))):
        parser.error(f"no command {command!r}: did you mean {meant!r}?")
    args, left = parser.parse_known_args(_with_values(arguments))
    if left:
        _take_left(parser, module, args, left)
    if module is None:
        parser.print_help(sys.stderr)
        return BAD_USAGE
    _set_up_logs(args)
    code = module.run(args)
    assert isinstance(code, int)
    return code


def _take_left(
    parser: argparse.ArgumentParser, module: ModuleType | None, args: argparse.Namespace, left: list[str]
) -> None:
    """Words after the options go to the list that the command names in ``WORDS_GO_TO``; anything else is a slip.

    argparse closes such a list at the first option, and intermixes none below a subcommand.
    """
    words, wanted = [word for word in left if not word.startswith("-")], getattr(module, "WORDS_GO_TO", None)
    if wanted is not None and len(words) == len(left):
        setattr(args, wanted, [*getattr(args, wanted), *words])
        return
    unknown = [word for word in left if word.startswith("-") or wanted is None]
    if wanted is not None and not re.match(r"--?[a-zA-Z]", unknown[0]):
        parser.error(f"{unknown[0]!r} begins with a dash, as options do: put all of it in quotation marks, as one word")
    hint = _nearest_option(unknown[0], getattr(args, "usage", ""))
    parser.error(f"unrecognized arguments: {' '.join(unknown)}{hint}")


def _nearest_option(word: str, usage: str) -> str:
    near = _near(word.partition("=")[0], re.findall(r"--[a-z-]+", usage))
    return f": did you mean {near}?" if near else ""


def _near(word: str, choices: Sequence[str]) -> str | None:
    from difflib import get_close_matches  # only here: help is instant

    return next(iter(get_close_matches(word, choices, n=1)), None)


def _with_values(arguments: list[str]) -> list[str]:
    """``--at -20s`` as ``--at=-20s``: a value that begins with a minus and a digit is none of argparse's options."""
    joined: list[str] = []
    for word in arguments:
        if joined and joined[-1].startswith("--") and "=" not in joined[-1] and word[:1] == "-" and word[1:2].isdigit():
            joined[-1] += f"={word}"
        else:
            joined.append(word)
    return joined


def _complete(parser: argparse.ArgumentParser, module: ModuleType) -> None:
    """Give a command what all commands share: the log options, and its example at the foot of ``--help``."""
    logs = parser.add_argument_group("logs (to standard error)")
    logs.add_argument("--log-format", choices=("json", "console"), help="default: console on a terminal, else json")
    logs.add_argument("--log-level", choices=("debug", "info", "warning", "error"), help="default: warning")
    if parser.epilog is None:
        parser.epilog = f"example: {module.EXAMPLE}"
    if parser.description is None:
        parser.description = module.HELP
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.set_defaults(usage=parser.format_usage())  # the options to look among when one is misspelt


def _set_up_logs(args: argparse.Namespace) -> None:
    from pitwall.app.logs import set_up_logs
    from pitwall.app.settings import load_settings

    settings = load_settings()
    set_up_logs(format_=args.log_format or settings.log_format, level=args.log_level or settings.log_level)


def _exit_code(error: PitwallError) -> int:
    # Files and messages with faults in them are what a command found; any other user error is a wrong command.
    wrong_usage = isinstance(error, UserError) and not isinstance(error, FileProblem | PayloadError)
    return BAD_USAGE if wrong_usage else FOUND_PROBLEMS
