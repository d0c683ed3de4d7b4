"""``pitwall debrief``: what was done, where the data is and what was said, from a journal alone."""

from __future__ import annotations

import argparse
import sys
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitwall.model.laps_in_doubt import best_lap_doubts, counted_in_doubt, laps_in_doubt
from pitwall.model.units import clock_text, items_done, timed_laps

if TYPE_CHECKING:
    from pitwall.app.debriefing import CarDebrief, Debrief, RadioStatistics

HELP = "tell what was done, where the data is and what was said, from a journal"
EXAMPLE = "pitwall debrief practice-1.sqlite --out debrief"
ABOUT = ("The journal is that of serve, of rehearse --journal, or one that export wrote out as text. It is only read, "
         "also while the daemon goes on with it.")


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    parser: argparse.ArgumentParser = subparsers.add_parser("debrief", help=HELP, description=f"{HELP}.\n{ABOUT}")
    parser.add_argument("journal", metavar="JOURNAL", help="a journal file")
    parser.add_argument("--run", metavar="RUN", help="of one run alone: its name, or 'last' for the one from which "
                                                     "the car came back last; so are pages and tables then")
    parser.add_argument("--car", metavar="CAR", help="with --run: whose, where several cars have driven such a run")
    parser.add_argument("--json", action="store_true", help="print the whole debrief as one JSON object")
    parser.add_argument("--anew", action="store_true",
                        help="go over all facts again; else what the daemon kept with its journal as it ended is used")
    parser.add_argument("--out", metavar="FOLDER", help="write debrief.html and debrief.pdf there; of one run "
                                                        "debrief-CAR-RUN.html and .pdf")
    parser.add_argument("--tables", metavar="FOLDER", help="write the tables there, one file each: runs, items, data "
                                                           "windows, laps, sectors, switches, calls, alerts and more")
    parser.add_argument("--formats", metavar="LIST",
                        help="of the tables: csv, json, parquet (default csv,json)")


def run(args: argparse.Namespace) -> int:
    """Make the debrief and print it."""
    from pitwall.app.memory import few_collections_to_the_end

    few_collections_to_the_end()  # before all else is loaded
    from pitwall.app.debrief_files import PageMakers, write_pages
    from pitwall.app.debrief_run import cut_to_run
    from pitwall.app.debriefing import debrief_of
    from pitwall.errors import UserError

    if args.car is not None and args.run is None:
        raise UserError("--car goes with --run: say which run with --run last or --run NAME")
    formats = _formats(args)  # first: the pages take seconds
    with PageMakers() if args.out else nullcontext() as makers:
        made = debrief_of(Path(args.journal), anew=args.anew)
        if args.run is not None:
            made = cut_to_run(made, args.run, args.car)
        print(made.model_dump_json(indent=2) if args.json else "\n".join(in_words(made)))
        if makers is not None:
            for path in write_pages(made, Path(args.out), makers):
                print(f"written: {path}", file=sys.stderr)
    if args.tables:
        from pitwall.app.debrief_tables import write_tables

        count = len(write_tables(made, Path(args.tables), formats))
        print(f"written: {count} tables in {args.tables}", file=sys.stderr)
    return 0


def _formats(args: argparse.Namespace) -> list[str]:
    """Formats of the tables, all of which can be written; none when no tables are wanted."""
    from pitwall.app.debrief_tables import check_formats
    from pitwall.errors import UserError

    if args.tables is None:
        if args.formats is not None:
            raise UserError("--formats is of the tables: say where they go with --tables FOLDER")
        return []
    named = args.formats if args.formats is not None else "csv,json"
    formats = [name.strip().lower() for name in named.split(",") if name.strip()]
    check_formats(formats)
    return formats


def in_words(made: Debrief) -> list[str]:
    """The debrief in a few lines."""
    session = made.session
    so_far = f"{clock_text(session.ended_s)} of " if session.state == "running" else ""
    lines = [f"{session.event}, {session.session}: {so_far}{clock_text(session.scheduled_s)}, "
             f"{session.state.replace('_', ' ')}"]
    for car in made.cars:
        lines += _of_car(car)
    if made.alerts is not None:
        lines.append(f"  alerts      {made.alerts.raised} raised, {made.alerts.mean_rate:g} in ten minutes, at most "
                     f"{made.alerts.most_in_ten} in any ten; {made.alerts.held_back} held back")
    if made.run is not None:
        lines += [f"    to ask: the driver has not commented on {', '.join(run.unsaid)}"
                  for car in made.cars for run in car.runs if run.unsaid]
    return [*lines, *(f"  note        {note}" for note in made.notes)]


def _other_ends(radio: RadioStatistics) -> str:
    """How else calls ended, as far as any did: with these the counts come to all calls."""
    ends = {"settled later by what happened": radio.settled, "withdrawn": radio.withdrawn, "skipped": radio.skipped,
            "not at their end": radio.open}
    return "".join(f", {count} {words}" for words, count in ends.items() if count)


def _of_car(car: CarDebrief) -> list[str]:
    doubt = best_lap_doubts(car.best_lap_s, car.laps)
    best = "no time" if car.best_lap_s is None else f"best {car.best_lap_s:.3f} s{doubt}"
    lines = [f"  car {car.car}: {len(car.laps)} laps, {best}"]
    wide = max([14, *(len(run.run) + 2 for run in car.runs)])
    for run in car.runs:
        why = f" ({run.reason})" if run.reason else ""
        state = "in part" if run.in_part else run.state if run.counts else "cut"
        items = f", {items_done(run.items_done, run.items_probably, run.items, ' items')}" if run.items else ""
        timed = timed_laps(run.timed_done, run.timed_wanted)
        timed += counted_in_doubt([lap for lap in car.laps if lap.run == run.run])
        lines.append(f"    {run.run:<{wide}}{state:<9}{timed}{items}{why}")
    lines += [f"    {mark}: {words}" for mark, words in laps_in_doubt(car.laps)]
    left = {run.run for run in car.runs if not run.told}
    lost = [item for item in car.items if item.outcome in ("not_done", "done_badly") and item.run not in left]
    lines += [f"    {item.outcome.replace('_', ' ')}: {item.do} on {item.lap} of {item.run}: {item.reason}"
              for item in lost]
    radio = car.radio
    lines.append(f"    radio: {radio.calls} calls, {radio.in_time} in time ({radio.in_window} begun in their window), "
                 f"{radio.unconfirmed} unconfirmed, {radio.late} late, {radio.missed} missed{_other_ends(radio)}; " + (
                     "a pit board, nothing spoken on track" if radio.medium == "board" else
                     f"{radio.mean_load_s:g} s spoken a minute on track"))
    return lines
