"""``pitwall plan``: run plans in the forms that people have, and what one changes against another."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

HELP = "turn a run plan into a spreadsheet or back, or tell what one changes against another"
EXAMPLE = "pitwall plan convert plan_41.yaml plan_41.xlsx"

ABOUT = """A plan is a YAML file, a spreadsheet (.xlsx), or a folder of CSV files: plan, runs, items and tyres. Nothing
is lost on the way there and back. YAML stays the source: that is what pitwall reads at an event. The spreadsheet offers
the words that may stand in a cell, and a mistake in it is told with sheet and cell."""
FORMS = "plan.yaml, plan.xlsx, or a folder of CSV files"


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    parser: argparse.ArgumentParser = subparsers.add_parser("plan", help=HELP, description=f"{HELP}.\n{ABOUT}")
    kinds = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    convert = kinds.add_parser("convert", help="write a plan in another form")
    convert.add_argument("source", metavar="FROM", help=FORMS)
    convert.add_argument("target", metavar="TO", help="likewise; a name without an ending is a folder")
    _add_force(convert)
    template = kinds.add_parser("template", help="write an empty spreadsheet to fill in, with a sheet that explains it")
    template.add_argument("target", metavar="TO", help="plan.xlsx")
    _add_force(template)
    diff = kinds.add_parser("diff", help="what the second plan changes against the first, in the words of the trade",
                            epilog="exit code 1: they differ")
    diff.add_argument("old", metavar="A", help=FORMS)
    diff.add_argument("new", metavar="B", help="likewise, also in another form")
    diff.add_argument("--json", action="store_true", help="as a JSON list of sentences")


def _add_force(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--force", action="store_true", help="write over what is there")


def run(args: argparse.Namespace) -> int:
    """Do it; 1 when ``diff`` finds a difference, as such commands do."""
    kinds = {"convert": _convert, "template": _template, "diff": _diff}
    return kinds[args.what](args)


def _free(target: Path, args: argparse.Namespace) -> Path:
    from pitwall.errors import UserError

    if target.exists() and not args.force:
        raise UserError(f"{target} is there already: give another name, or --force to write over it")
    return target


def _convert(args: argparse.Namespace) -> int:
    from pitwall.app.plan_sheets import read_with_notes, write_any

    target = _free(Path(args.target), args)
    plan, notes = read_with_notes(Path(args.source))
    _tell(notes)
    write_any(target, plan)
    print(f"{target}: {len(plan.runs)} runs of car {plan.car}")
    return 0


def _template(args: argparse.Namespace) -> int:
    from pitwall.app.plan_sheets import write_template

    target = _free(Path(args.target), args)
    write_template(target)
    print(f"{target}: fill it in, then: pitwall plan convert {target} {target.with_suffix('.yaml')}")
    return 0


def _diff(args: argparse.Namespace) -> int:
    from pitwall.app.plan_compare import plan_differences
    from pitwall.app.plan_sheets import read_with_notes

    (old, of_old), (new, of_new) = read_with_notes(Path(args.old)), read_with_notes(Path(args.new))
    _tell((*of_old, *of_new))
    lines = plan_differences(old, new)
    if args.json:
        print(json.dumps(list(lines), ensure_ascii=False, indent=2))
    else:
        print("\n".join(lines) or "no difference")
    return 1 if lines else 0


def _tell(notes: tuple[str, ...]) -> None:
    for note in notes:
        print(f"note: {note}", file=sys.stderr)
