"""``pitwall plan next``: a draft of the next session's plan, made from the journal of the one that is over."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

FORMS = "plan.yaml, plan.xlsx, or a folder of CSV files"


def add_next(kinds: Any) -> argparse.ArgumentParser:
    """Add the subcommand's options."""
    parser: argparse.ArgumentParser = kinds.add_parser(
        "next", help="draft the next session's plan from a journal",
        description="Draft the next session's plan: what was not done, the laps on the tyre sets, fuel, what came of "
        "switches, and what the driver still complains of. The file says what came from where and what to decide.",
        epilog="example: pitwall plan next practice-1.sqlite --car 41 --out plan_41_next.yaml",
    )  # fmt: skip
    parser.add_argument("journal", metavar="JOURNAL", help="of the session that is over; it is only read")
    parser.add_argument("--template", metavar="PLAN", help=f"add to this plan of the next session: {FORMS}")
    parser.add_argument("--car", metavar="CAR", help="which car, where the journal has several")
    parser.add_argument("--session", metavar="S", help="the next session (default: the next of the regulations)")
    parser.add_argument("--out", metavar="FILE", required=True, help="the draft, a YAML file")
    parser.add_argument("--force", action="store_true", help="write over what is there")
    return parser


def run(args: argparse.Namespace) -> int:
    """Write the draft and say what has to be decided."""
    from dataclasses import asdict

    from pitwall.app.next_plan import next_plan
    from pitwall.app.next_plan_text import draft_text
    from pitwall.app.plan_sheets import YAML, read_any
    from pitwall.errors import UserError

    target = Path(args.out)
    if target.suffix.lower() not in YAML:
        raise UserError(f"{target}: expected a name that ends with .yaml; 'plan convert' makes other forms of it")
    if target.exists() and not args.force:
        raise UserError(f"{target} is there already: give another name, or --force to write over it")
    template = None if args.template is None else read_any(Path(args.template))
    draft = next_plan(Path(args.journal), args.car, template, args.session)
    try:
        target.write_text(draft_text(draft), encoding="utf-8")
    except OSError as problem:
        raise UserError(f"{target}: cannot be written ({problem.strerror})") from None
    if args.json:
        record = {name: value for name, value in asdict(draft).items() if name != "plan"}
        print(json.dumps({"written": str(target), "runs": [one.run for one in draft.plan.runs],
                          "notes": draft.plan.notes.splitlines(), **record}, indent=2))
        return 0
    runs = len(draft.plan.runs)
    print("\n".join([f"{target}: {runs} run{'s' if runs != 1 else ''} of car {draft.plan.car} for {draft.plan.session}",
                     *(f"  decide  {line}" for line in draft.decide)]))
    return 0
