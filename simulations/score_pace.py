"""How well it is known when cars arrive, what the next laps will take and which kind of lap it is, on recordings.

    python simulations/score_pace.py predict FOLDER... --predictions FILE.csv [--events DIR]
    python simulations/score_pace.py score FILE.csv FOLDER... [--json]
    python simulations/score_pace.py plans FOLDER... --out DIR [--cars 8] [--seed 1]

``predict`` follows each recording (see ``score_pace_rows.py``) and never opens its answer key, which need not be
there. It ends with 1 where the engine failed on a fact, and says on which. ``score`` opens the answer key and no part
of the product. With ``--events`` the plans of ``DIR/<name of the folder>/event.yaml`` are followed, too; ``plans``
makes such files, wrong as plans of the night before are (it reads the answer key).

The rows of the table, in each session and pooled; each beside the simple rule on the same forecasts:

* ``s1_line``, ``s2_line``: from the loop to the line, all complete laps without pit entry or exit; ``line_line``:
  from line to line, timed part of the mixture, laps that turn out timed; ``out_lap``, ``out_lap_s1``, ``out_lap_s2``:
  laps out of the pits that reach the line, from the pit exit and the loops. Median and 90 % quantile of the error,
  seconds.
* ``next_lap``, ``fifth``, ``sum5``: timed laps of the run that is on; ``first_of_run``: forecast at the pit entry of
  the run before. Mean absolute error, seconds.
* All of these: CRPS (over the levels that were told), the simple rule's with its errors at all other forecasts
  of that row in that session as its distribution (hindsight, which favours it); the share of truths within the 80 %
  interval, and the band in which 95 % of such shares lie if it holds.
* ``kind_s1``, ``kind_s2``: share of laps from the line whose kind (timed, cool-down, in) was the likeliest, beside
  always saying the commonest; Brier score over the three.

Forecasts are judged by the true crossing, and made when the message came.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.errors import FileProblem
from simulations.plan_from_session import write_event
from simulations.score_follow import busiest
from simulations.score_pace_figures import KEYS, figures
from simulations.score_pace_rows import Row, predict, read_rows, write_rows
from simulations.score_pace_truth import cases, read_truth


def score(file: Path, folders: list[Path]) -> dict[str, Any]:
    """Every figure, by session and pooled.

    Raises:
        ValueError: when the file cannot be read.
        OSError: when an answer key cannot be opened.
    """
    rows = read_rows(file)
    by_session = {}
    for folder in folders:
        mine = [row for row in rows if row.session == folder.name]
        by_session[folder.name] = list(cases(read_truth(folder), mine))
    return {
        "sessions": {name: figures([found]) for name, found in by_session.items()},
        "pooled": figures(list(by_session.values())),
    }


def text(title: str, found: dict[str, Any]) -> str:
    """One table as lines."""
    lines = [title, f"  {'row':<13}{'n':>5}{'median':>9}{'p90':>8}{'mae':>8}{'crps':>8}{'80 %':>7}  {'band':<11}"
                    f"| simple rule: median, p90, mae, crps | ratios"]  # fmt: skip
    for key in KEYS:
        one = found.get(key)
        if one is None:
            continue
        if key.startswith("kind"):
            lines.append(f"  {key:<13}{one['n']:>5}  right {one['right']:.3f}, commonest {one['naive_right']:.3f}, "
                         f"Brier {one['brier']:.3f}; {one['table']}"
                         + (f"; with a plan {one['planned']:.3f} of {one['planned_n']}" if one["planned_n"] else ""))
            continue
        ratios = " ".join(f"{one['ratio'][name]:.2f}" if one["ratio"][name] is not None else "-"
                          for name in ("median", "p90", "mae", "crps"))
        low, high = one["band"]
        lines.append(
            f"  {key:<13}{one['n']:>5}{one['median']:>9.3f}{one['p90']:>8.2f}{one['mae']:>8.3f}{one['crps']:>8.3f}"
            f"{one['inside']:>7.2f}  {low:.2f}-{high:.2f}  | {one['naive']['median']:.3f} {one['naive']['p90']:.2f} "
            f"{one['naive']['mae']:.3f} {one['naive']['crps']:.3f} | {ratios}"
        )
    return "\n".join(lines)


def _predict(options: argparse.Namespace) -> int:
    rows: list[Row] = []
    failures: list[str] = []
    for folder in options.folders:
        event = options.events / folder.name / "event.yaml" if options.events is not None else None
        rows += predict(folder, event, failures)
    write_rows(rows, options.predictions)
    print(f"{len(rows)} forecasts in {options.predictions}")
    if failures:
        print(f"the engine failed on {len(failures)} facts; forecasts that needed them are missing. The first: "
              f"{failures[0]}", file=sys.stderr)
    return 1 if failures else 0


def _score(options: argparse.Namespace) -> int:
    found = score(options.file, options.folders)
    if options.json:
        print(json.dumps(found, indent=1))
        return 0
    for name, one in found["sessions"].items():
        print(text(f"{name}:", one))
    print(text("pooled:", found["pooled"]))
    return 0


def _plans(options: argparse.Namespace) -> int:
    for folder in options.folders:
        out = options.out / folder.name
        out.mkdir(parents=True, exist_ok=True)
        print(write_event(folder, busiest(folder, options.cars), options.seed, out))
    return 0


def _folders(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folders", nargs="+", type=Path)


def main() -> int:
    """Command line: 0, or 1 when a file has problems."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    predicting = commands.add_parser("predict", help="follow recordings and write every forecast")
    _folders(predicting)
    predicting.add_argument("--predictions", type=Path, required=True)
    predicting.add_argument("--events", type=Path, help="folder with one event folder a recording: follow with plans")
    predicting.set_defaults(run=_predict)
    scoring = commands.add_parser("score", help="judge forecasts by the answer keys")
    scoring.add_argument("file", type=Path)
    _folders(scoring)
    scoring.add_argument("--json", action="store_true")
    scoring.set_defaults(run=_score)
    planning = commands.add_parser("plans", help="make plans of the night before for every recording")
    _folders(planning)
    planning.add_argument("--out", type=Path, required=True)
    planning.add_argument("--cars", type=int, default=8, help="those that drove most (default and most: 8)")
    planning.add_argument("--seed", type=int, default=1)
    planning.set_defaults(run=_plans)
    options = parser.parse_args()
    try:
        return int(options.run(options))
    except (FileProblem, ValueError, OSError) as problem:
        print(problem, file=sys.stderr)
        return 1


if __name__ == "__main__":
    raise SystemExit(main())
