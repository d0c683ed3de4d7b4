"""How well recorded sessions are followed with night-before plans: lap kinds, runs, calls, box prompts, arrivals.

    python simulations/score_follow.py FOLDER... --cars 5 --seed 1 [--seeds 3] [--json] [--worst 10]
    python simulations/score_follow.py FOLDER... --cars 5 --predictions FILE.csv
    python simulations/score_follow.py FOLDER... --no-plans
    python simulations/score_follow.py FOLDER --collected FILE [--cars 5 --seed 1]

Each recording is played through the real host, codec and engine on virtual time, with plans made by
``plan_from_session.py`` for the cars that drove most, wrong as plans of the night before are; ``--seeds N`` follows it
with N such sets of plans, ``--no-plans`` with none. With ``--collected`` the beliefs come from elsewhere: lines of
``topic payload`` as an independent client of the broker wrote them down while ``pitwall serve`` and ``pitwall replay``
ran as two processes (``mosquitto_sub -F '%t %p'``).

What was believed becomes rows, one each, and the rows are what is judged: ``--predictions FILE`` writes them (CSV for
``.csv``, else JSON lines; the columns are described in ``score_follow_rows.py``), so anybody can score them another
way. The recording's answer key ``laps.csv`` makes the plans before and judges the rows after; what follows the session
never opens it. The same inputs give the same bytes. What is reported, for each recording and in all:

* **Lap kinds**: over complete laps (no pit entry or exit on them), the share whose kind, timed or cool-down, was right
  as believed at sector 1, sector 2 and the line, and the table of what was believed against what it was.
* **Runs**: each driven run against the planned run that the car was believed to be on, right after the leaving and when
  it came in. Planned runs are made from driven ones, so the right answer is known; driven runs that
  stand in no plan have none and are counted apart.
* **Calls**: in time, too early, too late, wrong, by kind; what that means for each is in ``score_follow_calls.py``.
* **Box prompts**: each true pit entry prompted in time, early (a lap too soon), too late or not at all; laps with a
  prompt on which the car stayed out; the distribution of how long before the last moment the prompt stood there. Those
  of runs that the plan had as they were driven are apart from those that it had otherwise (nobody told pitwall), and
  those under red apart from all.
* **Arrivals** at the line: error of the expected time, by where the car was seen last.

``--worst K`` lists the K worst cases of each with why.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.loading import load_setup
from pitwall.errors import FileProblem
from pitwall.feeds.recording import read_recording
from simulations.plan_from_session import write_event
from simulations.score_follow_marks import Marks, figures, mark
from simulations.score_follow_rows import Row, collected, follow, write_rows
from simulations.score_follow_truth import read_truth
from simulations.score_follow_worst import worst


def busiest(folder: Path, cars: int) -> list[str]:
    """The cars with the most crossings, most first."""
    count: dict[str, int] = {}
    for row in read_recording(folder).timing:
        count[row.car] = count.get(row.car, 0) + 1
    return sorted(count, key=lambda car: (-count[car], car))[:cars]


def followed(
    folder: Path, cars: int, seed: int, file: Path | None = None, plans: bool = True
) -> tuple[list[Row], Marks]:
    """Follow one recording, or take what was collected in ``file``, and judge it."""
    with tempfile.TemporaryDirectory() as out:
        event = write_event(folder, busiest(folder, cars), seed, Path(out))
        setup = load_setup(event)
        if not plans:
            field_cars = tuple(sorted({*setup.field_cars, *setup.plans}, key=lambda car: (len(car), car)))
            setup = setup.model_copy(update={"plans": {}, "cars": {}, "drivers": {}, "field_cars": field_cars})
        rows = collected(file, folder.name) if file is not None else asyncio.run(follow(folder, setup))
        return rows, mark(rows, read_truth(folder, setup, event), setup)


def score(folder: Path, cars: int, seed: int, file: Path | None) -> tuple[dict[str, Any], list[Row]]:
    """Every figure of one recording, and the rows they were made from."""
    rows, marks = followed(folder, cars, seed, file)
    return {"recording": folder.name, "cars": cars, "seed": seed} | figures(marks), rows


def text(title: str, found: dict[str, Any]) -> str:
    """The figures as a page."""
    lines = [title]
    for who in ("kinds_all_cars", "kinds_planned_cars"):
        parts = [f"{at} {one['right']}/{one['laps']} = {one['share']}" for at, one in found[who].items()]
        lines.append(f"  {who.replace('_', ' ')}: {'; '.join(parts)}")
        for at, one in found[who].items():
            table = "; ".join(f"{truth} believed {seen}" for truth, seen in one["believed_by_truth"].items())
            lines.append(f"    {at}: {table}")
    runs, calls, box = found["runs"], found["calls"], found["box"]
    lines.append("  runs: " + "; ".join(f"{name.replace('_', ' ')} {value}" for name, value in runs.items()))
    for kind, one in calls["by_kind"].items():
        lines.append(f"  calls, {kind}: " + ", ".join(f"{name} {count}" for name, count in one.items() if count))
    lines.append(f"  calls in all: {calls['in_all']}; under red {calls['under_red']}; "
                 f"{calls['leavings_without_a_prompt']} of {calls['leavings']} leavings without a prompt")
    for name, value in box.items():
        lines.append(f"  box, {name.replace('_', ' ')}: {value}")
    for name, value in found["arrivals"].items():
        lines.append(f"  arrivals, {name}: {value}")
    return "\n".join(lines)


def main() -> int:
    """Command line: 0, or 1 when a recording has problems."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--cars", type=int, default=5, help="how many cars have a plan (default 5)")
    parser.add_argument("--seed", type=int, default=1, help="of the night-before plans (default 1)")
    parser.add_argument("--seeds", type=int, default=1, help="follow with so many sets of plans, from --seed on")
    parser.add_argument("--no-plans", action="store_true", help="follow every car without a plan")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--worst", type=int, default=0, metavar="K", help="list the K worst cases of each with why")
    parser.add_argument("--predictions", type=Path, help="write what was believed and when, one row each")
    parser.add_argument("--collected", type=Path, help="beliefs from this file instead of a run of our own")
    args = parser.parse_args()
    several = args.seeds > 1 or len(args.folders) > 1
    if (args.seeds > 1 and args.predictions) or (several and args.collected):
        parser.error("--predictions goes with one seed, --collected with one folder and one seed")
    in_all, rows, results = Marks(), list[Row](), list[dict[str, Any]]()
    try:
        for folder in args.folders:
            of_folder = Marks()
            for seed in range(args.seed, args.seed + args.seeds):
                believed, marks = followed(folder, args.cars, seed, args.collected, not args.no_plans)
                rows += believed
                of_folder.add(marks)
            results.append({"recording": folder.name} | figures(of_folder) | _listed(of_folder, args.worst))
            in_all.add(of_folder)
    except FileProblem as problem:
        print(problem, file=sys.stderr)
        return 1
    if len(results) > 1:
        results.append({"recording": "in all"} | figures(in_all) | _listed(in_all, 0))
    if args.predictions is not None:
        write_rows(rows, args.predictions)
    if args.json:
        print(json.dumps(results, indent=1))
        return 0
    for result in results:
        print(text(f"{result['recording']}:", result))
        for of_what, cases in result.get("worst", {}).items():
            print(f"  worst, {of_what}:", *cases, sep="\n    ")
    return 0


def _listed(marks: Marks, most: int) -> dict[str, Any]:
    return {"worst": worst(marks, most)} if most else {}


if __name__ == "__main__":
    raise SystemExit(main())
