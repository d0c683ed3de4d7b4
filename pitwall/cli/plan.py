"""``pitwall plan``: run plans in the forms that people have, and what one changes against another."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

HELP = "turn a plan into a spreadsheet or back, compare two, print it, or draft the next"
EXAMPLE = "pitwall plan convert plan_41.yaml plan_41.xlsx"

ABOUT = """A plan is a YAML file, a spreadsheet (.xlsx), or a folder of CSV files: plan, runs, items and tyres. Nothing
is lost on the way there and back. YAML stays the source: that is what pitwall reads at an event. The spreadsheet offers
the words that may stand in a cell, and a mistake in it is told with sheet and cell."""
FORMS = "plan.yaml, plan.xlsx, or a folder of CSV files"


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    parser: argparse.ArgumentParser = subparsers.add_parser("plan", help=HELP, description=f"{HELP}.\n{ABOUT}")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    kinds = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    convert = kinds.add_parser("convert", help="write a plan in another form", epilog=f"example: {EXAMPLE}")
    convert.add_argument("source", metavar="FROM", help=FORMS)
    convert.add_argument("target", metavar="TO", help="likewise; a name without an ending is a folder")
    convert.add_argument("--event", metavar="EVENT", help="check it against this event too: a procedure, a switch or a "
                                                          "tyre set that is not there is told with its cell")
    _add_force(convert)
    template = kinds.add_parser("template", help="write an empty spreadsheet to fill in, with a sheet that explains it",
                                epilog="example: pitwall plan template plan.xlsx --event event.yaml")
    template.add_argument("target", metavar="TO", help="plan.xlsx")
    template.add_argument("--event", metavar="EVENT", help="offer the names of this event: procedures, drivers")
    _add_force(template)
    page = kinds.add_parser("print", help="write the run sheet for driver and crew: one page, calls in lap order",
                            epilog="example: pitwall plan print plan_41.yaml run_sheet_41.pdf --event event.yaml")
    page.add_argument("source", metavar="PLAN", help=FORMS)
    page.add_argument("target", metavar="TO", nargs="?", help="the PDF (default: named as the plan, in this folder)")
    page.add_argument("--event", metavar="EVENT", help="the event file (default: looked for near the plan)")
    page.add_argument("--runs", metavar="NAME,NAME", help="only these runs")
    page.add_argument("--text", action="store_true", help="print it as plain text instead")
    _add_force(page)
    diff = kinds.add_parser("diff", help="what the second plan changes against the first, in the words of the trade",
                            epilog="exit code 1: they differ; example: pitwall plan diff plan_41.yaml plan_41.xlsx")
    diff.add_argument("old", metavar="A", help=FORMS)
    diff.add_argument("new", metavar="B", help="likewise, also in another form")
    from pitwall.cli.plan_next import add_next

    for kind in (convert, template, page, diff, add_next(kinds)):  # said before WHAT, or behind it
        kind.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="print one JSON object")


def _add_force(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--force", action="store_true", help="write over what is there")


def run(args: argparse.Namespace) -> int:
    """Do it; 1 when ``diff`` finds a difference, as such commands do."""
    from pitwall.cli import plan_next

    kinds = {"next": plan_next.run, "convert": _convert, "template": _template, "print": _print, "diff": _diff}
    return kinds[args.what](args)


def _free(target: Path, args: argparse.Namespace) -> Path:
    from pitwall.errors import UserError

    if target.exists() and not args.force:
        raise UserError(f"{target} is there already: give another name, or --force to write over it")
    return target


def _convert(args: argparse.Namespace) -> int:
    from pitwall.app.plan_sheets import read_for_event, read_with_notes, write_any
    from pitwall.app.scenarios import locate

    target = _free(Path(args.target), args)
    if args.event is None:
        plan, notes = read_with_notes(Path(args.source))
    else:
        plan, notes, warnings = read_for_event(Path(args.source), locate(args.event, "config"))
        notes += tuple(one.text() for one in warnings)
    write_any(target, plan)
    _tell(notes, args)
    _say(args, f"{target}: {len(plan.runs)} runs of car {plan.car}", written=str(target), car=plan.car,
         runs=[one.run for one in plan.runs], notes=notes)
    return 0


def _template(args: argparse.Namespace) -> int:
    from pitwall.app.plan_sheets import write_template
    from pitwall.app.scenarios import locate

    target = _free(Path(args.target), args)
    write_template(target, None if args.event is None else locate(args.event, "config"))
    _say(args, f"{target}: fill it in, then: pitwall plan convert {target} {target.with_suffix('.yaml')}",
         written=str(target))
    return 0


def _print(args: argparse.Namespace) -> int:
    from dataclasses import asdict

    from pitwall.app.run_sheet import read_run_sheet, sheet_text
    from pitwall.app.scenarios import locate

    event = None if args.event is None else locate(args.event, "config")
    sheet, notes = read_run_sheet(Path(args.source), event, [name for name in (args.runs or "").split(",") if name])
    _tell(notes, args)
    if args.text:
        _say(args, sheet_text(sheet), sheet=asdict(sheet), notes=notes)
        return 0
    from pitwall.app.run_sheet_pdf import sheet_pdf
    from pitwall.errors import UserError

    target = _free(Path(args.target or f"{Path(args.source).stem}.pdf"), args)
    try:
        target.write_bytes(sheet_pdf(sheet))
    except OSError as problem:
        raise UserError(f"{target}: cannot be written ({problem.strerror})") from None
    _say(args, f"{target}: the run sheet of {sheet.title}", written=str(target), notes=notes)
    return 0


def _diff(args: argparse.Namespace) -> int:
    from pitwall.app.plan_compare import plan_differences
    from pitwall.app.plan_sheets import read_with_notes

    (old, of_old), (new, of_new) = read_with_notes(Path(args.old)), read_with_notes(Path(args.new))
    lines, notes = plan_differences(old, new), (*of_old, *of_new)
    _tell(notes, args)
    _say(args, "\n".join(lines) or "no difference", differences=lines, notes=notes)
    return 1 if lines else 0


def _say(args: argparse.Namespace, text: str, **record: Any) -> None:
    print(json.dumps(record, ensure_ascii=False, indent=2) if args.json else text)


def _tell(notes: tuple[str, ...], args: argparse.Namespace) -> None:
    for note in () if args.json else notes:
        print(f"note: {note}", file=sys.stderr)
