"""How fast a rehearsal runs: session seconds per second of processor, for scenarios against each other in one run.

    python simulations/bench_rehearsal.py [--times 3] [practice_hour test_day]

Times belong to the machine, so what is to be compared over time is the ratio: the cost of one hour of the last scenario
in hours of the first. The aim for the test day (seven hours, instant) is under 15 s on one core.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import sys
import time
from collections.abc import Sequence
from typing import Any

import structlog

from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import rehearse_instant
from pitwall.errors import UserError

DEFAULT = ("practice_hour", "test_day")
HOUR_S = 3600.0


def once(scenario: str) -> dict[str, float]:
    """One rehearsal: processor and wall seconds, and the hours of session that it held.

    Raises:
        UserError: when there is no such scenario.
    """
    rehearsal = load_rehearsal(scenario)
    began, busy = time.perf_counter(), time.process_time()
    report = asyncio.run(rehearse_instant(rehearsal))
    return {"processor_s": time.process_time() - busy, "wall_s": time.perf_counter() - began,
            "hours": report["session_s"] / HOUR_S}


def measured(scenarios: Sequence[str], times: int) -> dict[str, Any]:
    """The best of so many rounds of each, the rounds in turn: a busy moment of the machine then harms all alike."""
    best: dict[str, dict[str, float]] = {}
    for _ in range(times):
        for scenario in scenarios:
            found = once(scenario)
            if scenario not in best or found["processor_s"] < best[scenario]["processor_s"]:
                best[scenario] = found
    figures = {name: {key: round(value, 2) for key, value in found.items()} for name, found in best.items()}
    first, last = (best[name]["processor_s"] / best[name]["hours"] for name in (scenarios[0], scenarios[-1]))
    return {"scenarios": figures, "cost_of_an_hour_as_ratio": round(last / first, 3)}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures as JSON."""
    parser = argparse.ArgumentParser(description="processor time of rehearsals")
    parser.add_argument("scenarios", nargs="*", default=list(DEFAULT), help="scenarios, the first is the measure")
    parser.add_argument("--times", type=int, default=3, metavar="N", help="rounds (default 3)")
    args = parser.parse_args(arguments)
    try:
        print(json.dumps(measured(args.scenarios or list(DEFAULT), max(1, args.times)), indent=2))
    except UserError as problem:
        print(problem, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
