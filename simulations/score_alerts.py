"""Score the alerts: is each injected fault told, how many alerts have none behind them, and how many are there in all?

    python simulations/score_alerts.py                        # 60 rehearsals with faults, 12 normal hours
    python simulations/score_alerts.py --faulty 20 --hours 4 --json

*Normal* hours have a green track, healthy cars and people with their usual habits; the steady load is counted there,
for one engineer (a car's own alerts and everybody's). EEMUA 191 (secondary): about one in ten minutes in steady
operation, ten in the first ten minutes after an upset, priorities about 80/15/5 from low to high.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import structlog

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.memory import few_collections
from simulations.evidence import evidence_of
from simulations.score_alerts_judge import AlertDay, alert_day

FOLDER = Path(__file__).parent / "alerts"
NORMAL, FAULTY = FOLDER / "normal_hour.yaml", FOLDER / "faults.yaml"
PRIORITIES = ("low", "medium", "high")


def rehearse(order: tuple[str, int]) -> AlertDay:
    """One rehearsal and what its alerts were worth."""
    scenario, seed = order
    with few_collections():
        return alert_day(evidence_of(scenario, seed))


def run(faulty: int, hours: int, jobs: int, first: int = 1) -> tuple[list[AlertDay], list[AlertDay]]:
    """So many rehearsals with faults, and so many normal hours, each with a seed of its own."""
    normal = [(str(NORMAL), first + number) for number in range(hours)]
    broken = [(str(FAULTY), first + number) for number in range(faulty)]
    if jobs == 1:
        days = [rehearse(order) for order in (*normal, *broken)]
    else:
        with ProcessPoolExecutor(jobs) as pool:
            days = list(pool.map(rehearse, (*normal, *broken)))
    return days[hours:], days[:hours]


def figures(faulty: Sequence[AlertDay], normal: Sequence[AlertDay]) -> dict[str, Any]:
    """``fault_recall`` and ``alert_load``."""
    judged = [fault for day in (*faulty, *normal) for fault in day.faults]
    kinds = sorted({fault.what for fault in judged})
    heard = [one for day in normal for one in day.raised]
    minutes = sum(day.engineer_minutes for day in normal)
    every = [one for day in (*faulty, *normal) for one in day.raised]
    after = [count for day in (*faulty, *normal) for count in day.after_upset]
    return {
        "fault_recall": {
            "faults": len(judged), "recall": _share(sum(fault.told for fault in judged), len(judged)),
            "by_kind": {kind: {"faults": sum(fault.what == kind for fault in judged),
                               "told": sum(fault.told for fault in judged if fault.what == kind)} for kind in kinds},
            "false_alarms": dict(Counter(kind for day in (*faulty, *normal) for kind in day.false_kinds).most_common()),
        },
        "alert_load": {
            "engineer_hours": round(minutes / 60, 1),
            "per_10_min": _share(10 * len(heard), minutes),
            "by_kind": dict(Counter(kind for kind, _, _ in heard).most_common()),
            "priorities": {name: _share(sum(one == name for _, one, _ in every), len(every)) for name in PRIORITIES},
            "priorities_in_normal_hours": {name: _share(sum(one == name for _, one, _ in heard), len(heard))
                                           for name in PRIORITIES},
            "peak_10_min_after_upset": max(after, default=0),
        },
    }  # fmt: skip


def alerts_scored(rehearsals: int, jobs: int, first: int = 1) -> dict[str, Any]:
    """The figures beside so many rehearsals of the radio: one with faults for every twelve, one hour for sixty."""
    return figures(*run(rehearsals // 12, rehearsals // 60, jobs, first))


def _share(part: float, whole: float) -> float | None:
    return round(part / whole, 4) if whole else None


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; 0 when it ran."""
    parser = argparse.ArgumentParser(description="score the alerts of many rehearsals against the truth")
    parser.add_argument("--faulty", type=int, default=60, metavar="N", help="rehearsals with faults (default 60)")
    parser.add_argument("--hours", type=int, default=12, metavar="N", help="normal hours (default 12)")
    parser.add_argument("--first", type=int, default=1, metavar="N", help="the first seed (default 1)")
    parser.add_argument("--jobs", type=int, default=2, metavar="N", help="rehearsals at a time (default 2)")
    parser.add_argument("--json", action="store_true", help="print the figures alone, as JSON")
    args = parser.parse_args(arguments)
    faulty, normal = run(args.faulty, args.hours, max(1, args.jobs), args.first)
    print(json.dumps(figures(faulty, normal), indent=2))
    if not args.json:
        for number, day in enumerate((*faulty, *normal)):
            of, seed = ("faults", number) if number < len(faulty) else ("hour", number - len(faulty))
            name = f"{of} {args.first + seed}"
            for fault in day.faults:
                if not fault.told:
                    late = "never" if fault.late_s is None else f"{fault.late_s:.1f} s late"
                    print(f"{name}: {fault.what} of {fault.car} from {fault.start_s:.1f} due {fault.due_s:.1f}: {late}")
            for text in day.false:
                print(f"{name}: false: {text}")
    return 0


if __name__ == "__main__":
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
