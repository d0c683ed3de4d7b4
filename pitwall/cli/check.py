"""``pitwall check``: judge a run plan, or a whole event, before the session."""

from __future__ import annotations

import argparse
from collections import Counter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from pitwall.app.loading import Loaded
    from pitwall.errors import Finding

HELP = "judge a run plan or a whole event before the session"
EVERY_CODE = "all"
EXAMPLE = "pitwall check plans/plan_41.yaml --event event.yaml"

OK, FOUND_PROBLEMS, BAD_USAGE = 0, 1, 2
PROVED = ("while every call is made, no timed lap starts with a wrong switch, whatever is cut short, dropped or left "
          "out beforehand")
PROOF_CODES = {"PW221", "PW401", "PW406", "PW407", "PW409"}
"""Findings that say that a timed lap may start wrong though every call is made, or that nobody knows."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "check", help=HELP, description=f"{HELP}. Every error of every file is told at once, with its line.",
    )
    parser.add_argument("plan", nargs="?", metavar="PLAN", help="a run plan, or an event file to check all its plans; "
                        "or the name of a shipped one")
    parser.add_argument("--event", metavar="FILE", help="the event the plan belongs to (default: event.yaml beside the "
                                                        "plan or up to two folders above it, else the demo event)")
    parser.add_argument("--every-call", action="store_true",
                        help="list every call on which a timed lap hangs, not only a few")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.add_argument("--explain", metavar="CODE", help="say what a code such as PW101 means, and stop; "
                                                           f"{EVERY_CODE}: a line for each")


def run(args: argparse.Namespace) -> int:
    """Check, print, and return the exit code: 0 fine (warnings allowed), 1 errors found, 2 wrong usage."""
    if args.explain is not None:
        return _explain(args.explain, args.json)
    if args.plan is None:
        print("pitwall check: name a plan or an event file, or give --explain CODE\n"
              f"example: {EXAMPLE}", file=_stderr())
        return BAD_USAGE
    from pathlib import Path

    from pitwall.app.filing import may_be_there
    from pitwall.app.loading import read_event, read_plan
    from pitwall.app.scenarios import is_event

    path, event = _meant(Path(args.plan)), _meant(Path(args.event)) if args.event is not None else None
    whole = event is None and is_event(path)
    loaded = read_event(path) if whole else read_plan(path, event)
    if args.json:
        _print_json(loaded)
    else:
        if not whole and event is None and _in_no_event(path, loaded.event_path):
            print(f"note: no event.yaml beside {path} or above it: judged with the demo event, {_name(loaded)}; "
                  "its own: --event FILE\n")
        _print_text(loaded, args.every_call)
    named = [path] if event is None else [path, event]
    if loaded.errors and not all(may_be_there(one) for one in named):
        return BAD_USAGE  # no faulty file, but a wrong name on the command line
    return FOUND_PROBLEMS if loaded.errors else OK


def _in_no_event(plan: Path, event: Path) -> bool:
    """Guard: the demo event serves in the place of the plan's own, which nobody found."""
    from pitwall.app.resources import demo_event

    return event == demo_event() and event.resolve().parent not in plan.resolve().parents


def _meant(path: Path) -> Path:
    """The file itself, else the shipped one of that name; neither: as it was given, for the finding that says so."""
    from pitwall.app.filing import may_be_there
    from pitwall.app.scenarios import shipped_of

    return path if may_be_there(path) else shipped_of(str(path), "config") or path


def _stderr() -> Any:
    import sys

    return sys.stderr


def _explain(code: str, as_json: bool) -> int:
    from pitwall.checks.codes import CODES, explain, near

    if code.casefold() == EVERY_CODE:
        return _list_codes(as_json)
    entry = CODES.get(code.upper())
    if entry is None:
        listed = "\n".join(f"  {one.code}  {one.title}" for one in near(code))
        print(f"pitwall check: no code {code!r}; near it are:\n{listed}\n"
              f"every one of the {len(CODES)}: pitwall check --explain {EVERY_CODE}", file=_stderr())
        return BAD_USAGE
    if as_json:
        import json
        from dataclasses import asdict

        print(json.dumps(asdict(entry), indent=2))
    else:
        print(explain(entry.code))
    return OK


def _list_codes(as_json: bool) -> int:
    from pitwall.checks.codes import CODES

    if as_json:
        import json
        from dataclasses import asdict

        print(json.dumps([asdict(one) for one in CODES.values()], indent=2))
    else:
        print("\n".join(f"{one.code}  {one.severity:<11}  {one.title}" for one in CODES.values()))
    return OK


def _print_text(loaded: Loaded, every_call: bool) -> None:
    from pitwall.checks.flow.findings import one_missed_words
    from pitwall.checks.spoken import said_with_care
    from pitwall.checks.summary import plan_summary

    faulty = {found.file for found in loaded.errors}
    shown = [found for found in loaded.findings if not faulty or found.file in faulty]
    for found in shown:
        print(f"{found.text()} [{found.code}]")
    for file, count in Counter(found.file for found in loaded.findings if found not in shown).items():
        print(f"{file}: {count} warning{'' if count == 1 else 's'}, told once the errors are mended")
    if loaded.findings:
        print()
    if loaded.errors:
        print(_verdict(loaded.findings, loaded))
        codes = list(dict.fromkeys(found.code for found in loaded.errors))
        print(f"what a code means: pitwall check --explain {codes[0]}")
        return
    proved = not PROOF_CODES & {found.code for found in loaded.findings}
    for car, plan in loaded.plans.items():
        print("\n".join(plan_summary(plan, loaded.around[car])))
        if proved:
            print(f"  {PROVED}")
        lines = [*one_missed_words(plan, loaded.around[car], every_call), *said_with_care(plan, loaded.around[car])]
        print("".join(f"  {line}\n" for line in lines))
    print(_verdict(loaded.findings, loaded))


def _verdict(findings: tuple[Finding, ...], loaded: Loaded) -> str:
    errors = len(loaded.errors)
    warnings = len(findings) - errors
    doubts = f"{warnings} warning{'' if warnings == 1 else 's'}"
    if errors:
        return f"{errors} error{'' if errors == 1 else 's'}, {doubts}; checked with {_name(loaded)}"
    return f"ready to rehearse: no errors, {doubts}; checked with {_name(loaded)}"


def _name(loaded: Loaded) -> str:
    from pitwall.app.filing import display_name

    return display_name(loaded.event_path)


def _print_json(loaded: Loaded) -> None:
    import json

    from pitwall.checks.flow.findings import may_stand, one_missed_words
    from pitwall.checks.spoken import said_with_care
    from pitwall.checks.summary import plan_summary

    print(json.dumps({
        "ok": not loaded.errors,
        "event": _name(loaded),
        "errors": len(loaded.errors),
        "warnings": len(loaded.findings) - len(loaded.errors),
        "findings": [found.as_record() for found in loaded.findings],
        "plans": {} if loaded.errors else {
            car: {"summary": plan_summary(plan, loaded.around[car]),
                  "one_missed_call": one_missed_words(plan, loaded.around[car], every=True),
                  "said_with_care": said_with_care(plan, loaded.around[car]),
                  "may_stand": may_stand(plan, loaded.around[car])}
            for car, plan in loaded.plans.items()
        },
    }, indent=2, ensure_ascii=False))
