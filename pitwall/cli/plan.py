"""``pitwall plan``: run plans in the forms that people have, and what one changes against another."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

HELP = "turn a run plan into a spreadsheet or back, or tell what one changes against another"
EXAMPLE = "pitwall plan convert plan_41.yaml plan_41.xlsx"

ABOUT = """A plan is a YAML file, a spreadsheet (.xlsx), or a folder of CSV files: plan, runs, items and tyres. Nothing is
lost on the way there and back. YAML stays the source: that is what pitwall reads at an event. The spreadsheet offers the
words that may stand in a cell, and a mistake in it is told with sheet and cell."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    parser: argparse.ArgumentParser = subparsers.add_parser("plan", help=HELP, description=f"{HELP}.\n{ABOUT}")
    kinds = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    convert = kinds.add_parser("convert", help="write a plan in another form")
    convert.add_argument("source", metavar="FROM", help="plan.yaml, plan.xlsx, or a folder of CSV files")
    convert.add_argument("target", metavar="TO", help="likewise; a name without an ending is a folder")
    convert.add_argument("--force", action="store_true", help="write over what is there")
    diff = kinds.add_parser("diff", help="what the second plan changes against the first, in the words of the trade")
    diff.add_argument("old", metavar="A")
    diff.add_argument("new", metavar="B")
    diff.add_argument("--json", action="store_true", help="as a JSON list of sentences")


def run(args: argparse.Namespace) -> int:
    """Do it; 1 when ``diff`` finds a difference, as such commands do."""
    return _convert(args) if args.what == "convert" else _diff(args)


def _convert(args: argparse.Namespace) -> int:
    from pitwall.app.plan_sheets import read_any, write_any
    from pitwall.errors import UserError

    target = Path(args.target)
    if target.exists() and not args.force:
        raise UserError(f"{target} is there already: give another name, or --force to write over it")
    plan = read_any(Path(args.source))
    write_any(target, plan)
    print(f"{target}: {len(plan.runs)} runs of car {plan.car}")
    return 0


def _diff(args: argparse.Namespace) -> int:
    from pitwall.app.plan_sheets import plan_differences, read_any

    lines = plan_differences(read_any(Path(args.old)), read_any(Path(args.new)))
    if args.json:
        print(json.dumps(list(lines), ensure_ascii=False, indent=2))
    else:
        print("\n".join(lines) or "no difference")
    return 1 if lines else 0
