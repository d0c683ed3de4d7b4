"""``pitwall command``: one command to the running daemon, and its one answer."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

HELP = "give the running daemon one command and print its answer"
EXAMPLE = "pitwall command 41 cross --by ann --at=-20s"
WORDS_GO_TO = "arguments"
"""Where the command line puts name=value words that stand after options."""

ABOUT = """What a key, a keypad or a script may ask for; arguments are written name=value:
  what happened  cross [loop=2] [forgotten=true], pit where=entry|exit, status status=red [sectors=1,2],
                 clock remaining_s=2480 (or 41:20) [running=true], pit_exit pit_exit=closed [opens_at_s=600],
                 set_car run=long lap=3 lap_kind=timed | in_garage=true, set_switch switch=... position=...,
                 set_tyres tyres=B1 [tyre_laps=4], set_fuel fuel_kg=18, undo [comment=3]
                 [of=quiet]: of that name, however long ago
  calls          said, skip, defer, repeat, confirm [call="words of the call"]; box, quiet, keep_in, let_go
  the plan       extend, shorten [run=...] [laps=1], drop run=... [item=...], amend text=why --changes FILE,
                 adopt, decline [proposal=...], switch_plan alternate=wet text=why: the answer waits up to three
                 seconds for the forecast, and says how sure the musts are then
  the driver     asked [text=...], answered [question=2] (the one that waits longest when left out)
  the record     comment [text=...] [shorthand=...] [comment=3] [run=... lap=2], acknowledge alert=..., take_over
Exit code 0: done, the effect is printed. 1: refused, the reason is printed; or nobody answered. 2: wrong usage."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    from pitwall.cli.arguments import add_ca_file

    parser: argparse.ArgumentParser = subparsers.add_parser("command", help=HELP, description=f"{HELP}.\n{ABOUT}")
    parser.add_argument("car", metavar="CAR", help="which car; for the whole session any of the team's")
    # Not "command": that is the program's own word for what is being run.
    parser.add_argument("asked", metavar="COMMAND", nargs="?", help="see above")
    parser.add_argument("arguments", metavar="name=value", nargs="*", help="what the command needs")
    parser.add_argument("--by", required=True, metavar="NAME", help="whose hand gives it, for the journal")
    parser.add_argument("--at", metavar="WHEN",
                        help="when it happened: so long ago (-20s) or a session second (default: now)")
    parser.add_argument("--changes", metavar="FILE", help="for amend: the list of changes, JSON or YAML")
    parser.add_argument("--broker", metavar="URL", help="address of the broker (default mqtt://127.0.0.1:1883)")
    add_ca_file(parser)
    parser.add_argument("--session", metavar="S", help="which session (default: the one of the daemon there)")
    parser.add_argument("--json", action="store_true", help="print the answer as one JSON object")


def run(args: argparse.Namespace, told: list[str] | None = None) -> int:
    """Give it; 0 for an effect, 1 for a refusal. ``told`` gets the effect in words."""
    from pitwall.app import lifecycle
    from pitwall.app.brokers import client_address
    from pitwall.app.commanding import arguments_from, as_json, command_from, give_to, moment
    from pitwall.app.settings import load_settings
    from pitwall.model.outputs import Answered

    _demand_car(args.car, args.asked, args.arguments)
    arguments = arguments_from(args.arguments, Path(args.changes) if args.changes else None)
    values = command_from(args.car, args.asked, args.by, arguments)
    at = moment(args.at) if args.at is not None else None
    address = client_address(load_settings(), args.broker, args.ca_file)
    answer = lifecycle.run(give_to(address, args.session, values, at, ids=args.json))
    taken = isinstance(answer, Answered)
    if isinstance(answer, Answered) and told is not None:
        told.append(answer.effect)
    if args.json:
        print(as_json(answer))
    elif isinstance(answer, Answered):
        print(answer.effect)
    else:
        print(f"refused: {answer.reason}", file=sys.stderr)
    return 0 if taken else 1


def _demand_car(car: str, asked: str | None, words: list[str]) -> None:
    """Guard: a car is named, and then a command. What concerns the whole session is easily given without a car."""
    from pitwall.app.commanding import names_of_commands
    from pitwall.errors import UserError

    names = names_of_commands()
    if asked not in names and car in names:
        line = " ".join(["pitwall command CAR", car, *([asked] if asked else []), *words])
        raise UserError(f"the car is missing: {line}; for what concerns the whole session any of the team's")
    if asked is None:
        raise UserError(f"what is car {car} to be told? the commands are {', '.join(names)}")
