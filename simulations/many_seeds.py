"""Rehearse one scenario under many seeds and say what went wrong, if anything did.

    python simulations/many_seeds.py practice_hour --seeds 50
    python simulations/many_seeds.py practice_hour_quiet --seeds 50 --jobs 2 --json

Each seed is another day. For all days together: exceptions, calls left open a minute after the session closed, calls
reported as missed though the engineer spoke them in time, and totals of calls, procedures, laps and alerts with the
reasons why calls were late or missed. Ends with 1 when a day failed, left a call open, or has such a false "missed".
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import sys
import time
import traceback
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import structlog

from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import Evidence, rehearse_instant
from pitwall.engine.transitions import CALL_REST
from pitwall.errors import UserError

REASONS = ("late", "missed")


@dataclass
class Day:
    """What one seed gave. ``left_open`` and ``false_missed`` name calls; ``failure`` is a traceback or a count."""

    seed: int
    took_s: float = 0.0
    report: dict[str, Any] = field(default_factory=dict)
    left_open: list[str] = field(default_factory=list)
    false_missed: list[str] = field(default_factory=list)
    failure: str | None = None

    @property
    def good(self) -> bool:
        """True when nothing went wrong."""
        return self.failure is None and not self.left_open and not self.false_missed


def rehearse(scenario: str, seed: int) -> Day:
    """One day. An exception is part of what it gave."""
    day, began, kept = Day(seed), time.perf_counter(), list[Evidence]()
    try:
        day.report = asyncio.run(rehearse_instant(load_rehearsal(scenario, seed), witness=kept.append, screens=True))
    except UserError:
        raise
    except Exception:
        day.failure = traceback.format_exc()
        return day
    return judged(seed, day.report, kept[0], time.perf_counter() - began)


def judged(seed: int, report: dict[str, Any], evidence: Evidence, took_s: float = 0.0) -> Day:
    """A day that was rehearsed to its end, and what went wrong on it."""
    day = Day(seed, took_s, report)
    if evidence.host.poisoned:
        day.failure = f"the engine raised on {evidence.host.poisoned} events"
    last = {call: history[-1] for call, history in evidence.recorder.calls.items()}
    day.left_open = sorted(call for call, prompt in last.items() if prompt.state not in CALL_REST)
    in_time = {
        spoken.call
        for car in evidence.outcome.cars.values()
        for spoken in car.calls
        if spoken.in_window or spoken.start_s <= last[spoken.call].say_by_s
    }
    day.false_missed = sorted(call for call, prompt in last.items() if prompt.state == "missed" and call in in_time)
    return day


def summary(scenario: str, days: Sequence[Day]) -> dict[str, Any]:
    """All days together."""
    ran = [day for day in days if day.report]
    reports = [day.report for day in ran]
    alerts: Counter[str] = Counter()
    calls: Counter[str] = Counter()
    for report in reports:
        alerts.update(report["alerts"])
        calls.update({name: count for name, count in report["calls"].items() if isinstance(count, int)})
    return {
        "scenario": scenario,
        "seeds": len(days),
        "failures": {day.seed: day.failure for day in days if day.failure is not None},
        "left_open": {day.seed: day.left_open for day in days if day.left_open},
        "false_missed": {day.seed: day.false_missed for day in days if day.false_missed},
        "calls": dict(calls),
        "reasons": {state: _reasons(reports, state) for state in REASONS},
        "procedures": {name: sum(report["procedures"][name] for report in reports) for name in ("planned", "done")},
        "laps": {name: sum(report["laps"][name] for report in reports) for name in ("timed", "forbidden_switch")},
        "alerts": dict(sorted(alerts.items())),
        "slowest_s": round(max((day.took_s for day in ran), default=0.0), 2),
    }


def _reasons(reports: Sequence[dict[str, Any]], state: str) -> dict[str, int]:
    found: Counter[str] = Counter()
    for report in reports:
        found.update(report["calls"]["reasons"][state])
    return dict(found.most_common())


def run(scenario: str, seeds: Sequence[int], jobs: int = 1) -> list[Day]:
    """Every day, in the order of the seeds.

    Raises:
        UserError: when there is no such scenario.
        FileProblem: when one of its files is wrong.
    """
    if jobs == 1:
        return [rehearse(scenario, seed) for seed in seeds]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(partial(rehearse, scenario), seeds))


def _text(found: dict[str, Any]) -> str:
    calls, laps = found["calls"], found["laps"]
    lines = [f"{found['scenario']}, {found['seeds']} seeds, the slowest took {found['slowest_s']} s"]
    counts = [f"{count} {name.replace('_', ' ')}" for name, count in calls.items() if count]
    lines.append("  calls       " + ", ".join(counts))
    lines += [f"              {count} x {state}: {reason}" for state in REASONS
              for reason, count in found["reasons"][state].items()]
    lines.append(f"  procedures  {found['procedures']['done']} of {found['procedures']['planned']} done")
    lines.append(f"  laps        {laps['timed']} timed, {laps['forbidden_switch']} with a switch that it must not have")
    lines.append("  alerts      " + (", ".join(f"{count} {kind}" for kind, count in found["alerts"].items()) or "none"))
    for what in ("failures", "left_open", "false_missed"):
        lines += [f"  {what.replace('_', ' ')}, seed {seed}: {value}" for seed, value in found[what].items()]
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; 0 when every day was good."""
    parser = argparse.ArgumentParser(description="rehearse one scenario under many seeds")
    parser.add_argument("scenario", help="a scenario file, or the name of a shipped one")
    parser.add_argument("--seeds", type=int, default=50, metavar="N", help="how many (default 50)")
    parser.add_argument("--first", type=int, default=1, metavar="N", help="the first seed (default 1)")
    parser.add_argument("--jobs", type=int, default=1, metavar="N", help="days at a time (default 1)")
    parser.add_argument("--json", action="store_true", help="print the summary as JSON")
    args = parser.parse_args(arguments)
    try:
        days = run(args.scenario, range(args.first, args.first + args.seeds), max(1, args.jobs))
    except UserError as problem:
        print(problem, file=sys.stderr)
        return 2
    found = summary(args.scenario, days)
    print(json.dumps(found, indent=2) if args.json else _text(found))
    return 0 if all(day.good for day in days) else 1


if __name__ == "__main__":
    # Failures are part of the summary; what each of them would log is not wanted here.
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
