"""``pitwall comment``: what the driver said, typed in shorthand, noted by the running daemon."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from pitwall.cli import command

if TYPE_CHECKING:
    from pitwall.comments.shorthand import Typed

HELP = "note what the driver said, typed in shorthand"
EXAMPLE = "pitwall comment 41 t4 mid us 3, exit os 2: worse with wear --by ann"
WORDS_GO_TO = "words"
KEPT = "as words, not counted"
OPTIONS = {"run": "--run", "lap": "--lap", "comment": "--number", "number": "--number"}

ABOUT = """A comment is remarks, then a colon and free text; the words of a remark stand in any order:
  where        t4, t4-6, t4/7, out of 3; entry, mid, exit; slow, medium, fast; left out: the car as a whole
  what         us (understeer), os (oversteer), snap, spin, lock, bottoming, rears hot, engine flat, no grip, good ...
  which end    front, rear, left, right, fl, fr, rl, rr
  how bad      1 hardly felt, 2 felt, 3 costs time, 4 costs much time, 5 cannot be driven
  how sure     sure, likely, ?          against before: better, worse, same, more us, less us
               than run 1, us gone, no us; "no grip any more" is there now
A comma goes on: "t4 entry us 3, exit os" is turn 4 twice, "us t4 3, t7 2" is understeer twice. A semicolon begins anew.
"then" goes on at the same place, and so does "and": "entry us and exit os t6". Words may be glued: "t4e us3". A number
behind a corner phase is the turn where it is no severity, "us entry 7"; write "us entry t3". A comment of nothing but
tags in the letters of the page is read too, "4eu3, 7xo2", with the turn, the finding, and its phase or how bad it is
("2xs" alone may be two snaps: "2xs3", "t2xs").
Words that only tell may stand among them ("really annoying", "suddenly", "scary"); any other that the shorthand does
not know is refused. Those, laps, wind, traffic and settings ("with diff 5"), and what begins with "when" are kept as
words beside the remark; so is all that is said of a topic ("tc too late t6"). How a comment is read is shown, with what
is kept as words and which of them were not read. A word that could change the meaning ("nearly", "hopefully",
"than t7") is refused and marked: then the line is noted as words, at its moment, and counted nowhere.
--words prints every word, --check says how a comment is read. Without words the moment alone is noted; --number gives
it its words later, or other words: they take the place of its remarks and of its free text."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    from pitwall.cli.arguments import add_ca_file

    parser: argparse.ArgumentParser = subparsers.add_parser("comment", help=HELP, description=f"{HELP}.\n{ABOUT}")
    parser.add_argument("car", metavar="CAR", nargs="?", help="whose driver said it")
    parser.add_argument("words", metavar="WORD", nargs="*", help="the comment, see above")
    parser.add_argument("--words", action="store_true", dest="table", help="print every word of the shorthand")
    parser.add_argument("--check", action="store_true", help="only say how the comment is read")
    parser.add_argument("--event", metavar="FILE", help="with --check: the turns are those of this event's circuit "
                        "(default: event.yaml in this folder or in its folder config)")
    parser.add_argument("--by", metavar="NAME", help="who notes it, for the journal")
    parser.add_argument("--number", metavar="N", help="the comment that gets these words, by its number")
    parser.add_argument("--run", dest="of_run", metavar="RUN", help="of which run (default: the one of the moment)")
    parser.add_argument("--lap", metavar="N", help="of which lap of that run, 1 for the out-lap")
    parser.add_argument("--at", metavar="WHEN", help="when it was said: so long ago (-20s) or a session second")
    parser.add_argument("--broker", metavar="URL", help="address of the broker (default mqtt://127.0.0.1:1883)")
    add_ca_file(parser)
    parser.add_argument("--session", metavar="S", help="which session (default: the one of the daemon there)")
    parser.add_argument("--json", action="store_true", help="print the answer as one JSON object")


def run(args: argparse.Namespace) -> int:
    """Print the words, say how a comment is read, or note it. One that cannot be read has its word marked, and is noted
    as words all the same, with its moment: 2 only where it was to be read alone, or to take the place of another."""
    from pitwall.errors import UserError

    if args.table:
        return _table(args.json)
    if args.car is None:
        raise UserError("name the car, then the comment: pitwall comment 41 t4 mid us 3 --by ann")
    text = " ".join(args.words)
    _demand_options(args.words)
    turns = _turns(args.event) if args.check else ()
    if args.by is None and not args.check:
        raise UserError("say who notes it with --by, such as --by ann")
    typed = _typed(text, turns) if args.check or text else None
    if typed is None and (args.check or args.number is not None):
        return 2  # nothing is lost: what the comment says already stays
    if args.check and typed is not None:
        return _show(typed, args.json, turns)
    told: list[str] = []
    answer = command.run(_as_command(args, text), told)
    kept = [one for one in told if KEPT in one]  # the daemon knows the circuit's turns and may not read it so
    if answer == 0 and text and typed is None:
        print("kept as words, and counted nowhere; with --number and its number it gets other words", file=sys.stderr)
    if answer == 0 and typed is not None and not kept:
        print(f"reads: {'; '.join(_read_back(typed))}", file=sys.stderr)
    return answer


def _demand_options(words: list[str]) -> None:
    """Guard: what ``pitwall command`` writes as name=value is an option here."""
    from pitwall.errors import UserError

    for word in words:
        name, equals, value = word.partition("=")
        if equals and name in OPTIONS:
            raise UserError(f"{word!r} is no part of the comment: write {OPTIONS[name]} {value}")


def _as_command(args: argparse.Namespace, text: str) -> argparse.Namespace:
    """The same as ``pitwall command`` has it."""
    words_too = text if text and args.number is None else None  # what cannot be read is then kept as words
    named = {"text": words_too, "shorthand": text or None, "comment": args.number, "run": args.of_run, "lap": args.lap}
    words = [f"{name}={value}" for name, value in named.items() if value is not None]
    return argparse.Namespace(**{**vars(args), "asked": "comment", "arguments": words, "changes": None})


def _turns(event: str | None) -> tuple[int, ...]:
    """The turns of the event's circuit; none where no event is named and none lies here. The daemon knows its own."""
    from pathlib import Path

    from pitwall.app.loading import load_setup

    here = [Path("event.yaml"), Path("config") / "event.yaml"] if event is None else [Path(event)]
    found = next((path for path in here if event is not None or path.is_file()), None)
    return () if found is None else load_setup(found).circuit.all_turns


def _typed(text: str, turns: tuple[int, ...]) -> Typed | None:
    """What a comment says; None where it cannot be read, and then the word is marked."""
    from pitwall.comments.shorthand import ShorthandError, parse

    try:
        return parse(text, turns)
    except ShorthandError as problem:
        print(f"{problem.pointed()}\npitwall: {problem}", file=sys.stderr)
        return None


def _read_back(typed: Typed) -> tuple[str, ...]:
    from pitwall.comments.writing import read_back

    return read_back(typed.remarks, typed.text, typed.unread)


def _show(typed: Typed, as_json: bool, turns: tuple[int, ...]) -> int:
    """Print how a comment is read."""
    if as_json:
        import json

        remarks = [remark.model_dump(exclude_none=True) for remark in typed.remarks]
        print(json.dumps({"remarks": remarks, "text": typed.text}, indent=2))
        return 0
    print("\n".join(_read_back(typed)))
    if not turns and any(remark.turn is not None for remark in typed.remarks):
        print("which turns there are is not known here: --event FILE says so", file=sys.stderr)
    return 0


def _table(as_json: bool) -> int:
    from pitwall.comments.words import TABLE

    rows = [entry for entry in TABLE if entry.part != "filler"]
    if as_json:
        import json

        named = [{"part": one.part, "value": one.value, "of": one.subject, "forms": one.forms, "meaning": one.meaning}
                 for one in rows]
        print(json.dumps(named, indent=2))
        return 0
    for one in rows:
        part = f"{one.part} of {one.subject}" if one.subject else one.part
        print(f"{part:<22}{one.meaning}: {', '.join(one.forms)}")
    return 0
