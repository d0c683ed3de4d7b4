"""Score what is said of the future: does what was given 80 percent happen four times in five?

    python simulations/score_forecast.py                       # 300 rehearsals of simulations/forecast, two at a time
    python simulations/score_forecast.py --rehearsals 30 --json
    python simulations/score_forecast.py --scenarios FOLDER --first 501
    python simulations/score_forecast.py --recordings FOLDER... --cars 4

Every chance that was published before the flag is a question: does this run fit, do all musts of this car fit. Worlds
are those of the scenarios: their lap times, work, flags and drivers differ from what plans and regulations expect, and
by how much is in the scenario files. What is real and what is the world's: ``score_forecast_rows.py``. The two rivals
that are asked the same: ``score_forecast_rivals.py``.

``brier`` is the mean squared error of the chances (Brier 1950; smaller is better), ``brier_fixed`` and ``brier_pert``
those of the rivals. ``calibration``: of what was given 80 to 95 percent, by how far the share that happened lies from
the mean of what was stated. ``reliability`` shows that for every band, ``sharpness`` is the mean of p (1 - p): 0 when
every chance is 0 or 1, which is worth nothing by itself. ``ratio_*`` has a band: nine in ten of 400 draws of whole
sessions with replacement, for the questions of one session hang together.

No rehearsal is begun after ``--budget`` seconds; how many there were is told.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import structlog

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.errors import UserError
from simulations.score_forecast_rivals import fixed, pert
from simulations.score_forecast_rows import Day, Order, Row, rehearse
from simulations.score_radio import orders

FOLDER = Path(__file__).parent / "forecast"
BANDS = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0)
JUDGED = (0.8, 0.95)
BUDGET_S = 200.0
RESAMPLES = 400
Scored = tuple[Row, float, float]
"""A question with what fixed averages and PERT say to it."""


def summary(days: Sequence[Day]) -> dict[str, Any]:
    """The figures of all rehearsals."""
    by_day = [list(zip(day.rows, fixed_ones, map(pert, day.rows), strict=True))
              for day, fixed_ones in zip(days, fixed(days), strict=True)]
    every = [scored for day in by_day for scored in day]
    return {
        **figures(every),
        **_ratios(by_day),
        "sessions": len(days),
        "by_want": {want: figures([one for one in every if one[0].want == want])
                    for want in ("must", "should", "could", "musts")},
        "by_scenario": {name: figures([one for one in every if Path(one[0].scenario).stem == name])
                        for name in sorted({Path(day.scenario).stem for day in days})},
        "by_status": {status: figures([one for one in every if one[0].status == status])
                      for status in sorted({one[0].status for one in every})},
        "reliability": reliability([one[0] for one in every]),
    }


def figures(scored: Sequence[Scored]) -> dict[str, Any]:
    """The scores of these questions; none of an empty list."""
    if not scored:
        return {"questions": 0, "brier": None, "brier_fixed": None, "brier_pert": None, "calibration": None,
                "sharpness": None}
    happened = np.array([row.happened for row, _, _ in scored], dtype=float)
    stated = np.array([row.stated for row, _, _ in scored])
    return {
        "questions": len(scored),
        "brier": _rounded(np.mean((stated - happened) ** 2)),
        "brier_fixed": _rounded(np.mean((np.array([chance for _, chance, _ in scored]) - happened) ** 2)),
        "brier_pert": _rounded(np.mean((np.array([chance for _, _, chance in scored]) - happened) ** 2)),
        "calibration": calibration([row for row, _, _ in scored]),
        "sharpness": _rounded(np.mean(stated * (1.0 - stated))),
        "stated": _rounded(stated.mean()),
        "happened": _rounded(happened.mean()),
    }


def calibration(rows: Sequence[Row]) -> float | None:
    """How far the share that happened lies from what was stated, over all that was given 80 to 95 percent."""
    band = [row for row in rows if JUDGED[0] <= row.stated <= JUDGED[1]]
    if not band:
        return None
    return _rounded(abs(sum(row.happened for row in band) - sum(row.stated for row in band)) / len(band))


def reliability(rows: Sequence[Row]) -> list[dict[str, Any]]:
    """For each band of stated chances: how many questions, what was stated on average, what share happened."""
    found = []
    for low, high in pairwise(BANDS):
        band = [row for row in rows if low <= row.stated < high or row.stated == high == 1.0]
        if band:
            found.append({"from": low, "to": high, "questions": len(band),
                          "stated": _rounded(sum(row.stated for row in band) / len(band)),
                          "happened": _rounded(sum(row.happened for row in band) / len(band))})
    return found


def _ratios(by_day: Sequence[Sequence[Scored]]) -> dict[str, Any]:
    """Brier score over those of the rivals, with the band of nine in ten resamples of whole sessions."""
    errors = np.array([[sum((chance - row.happened) ** 2 for row, chance in chances)
                        for chances in ([(row, row.stated) for row, _, _ in day],
                                        [(row, one) for row, one, _ in day], [(row, one) for row, _, one in day])]
                       for day in by_day])
    if not len(errors) or not errors[:, 1:].sum(axis=0).all():
        return {"ratio_fixed": None, "ratio_pert": None}
    drawn = np.random.default_rng(1).integers(len(errors), size=(RESAMPLES, len(errors)))
    sums, whole = errors[drawn].sum(axis=1), errors.sum(axis=0)
    return {
        name: {"ratio": _rounded(whole[0] / whole[place]),
               "from": _rounded(np.quantile(sums[:, 0] / np.maximum(sums[:, place], 1e-12), 0.05)),
               "to": _rounded(np.quantile(sums[:, 0] / np.maximum(sums[:, place], 1e-12), 0.95))}
        for name, place in (("ratio_fixed", 1), ("ratio_pert", 2))
    }


def _rounded(value: float | np.floating[Any]) -> float:
    return round(float(value), 5)


def run(wanted: Sequence[Order], jobs: int, budget_s: float, work: Callable[[Order], Day] = rehearse) -> list[Day]:
    """Every rehearsal in order, up to the one before the budget ends."""
    until = time.monotonic() + budget_s
    if jobs == 1:
        found = []
        for order in wanted:
            if found and time.monotonic() >= until:
                break
            found.append(work(order))
        return found
    with ProcessPoolExecutor(jobs) as pool:
        days = []
        for start in range(0, len(wanted), 4 * jobs):
            if days and time.monotonic() >= until:
                break
            days += pool.map(work, wanted[start : start + 4 * jobs])
        return days


def text(found: dict[str, Any], took_s: float) -> str:
    """The figures as a page."""
    lines = [f"{found['sessions']} sessions in {took_s:.0f} s, {found['questions']} questions",
             _line("all", found)]
    for name in ("ratio_fixed", "ratio_pert"):
        if found[name] is not None:
            lines.append(f"  {name:<14} {found[name]['ratio']} ({found[name]['from']} to {found[name]['to']})")
    for group in ("by_want", "by_scenario", "by_status"):
        lines += [_line(name, one) for name, one in found[group].items() if one["questions"]]
    lines += [f"  given {one['from']:.2f} to {one['to']:.2f}: {one['questions']} times, stated {one['stated']:.3f}, "
              f"happened {one['happened']:.3f}" for one in found["reliability"]]
    return "\n".join(lines)


def _line(name: str, one: dict[str, Any]) -> str:
    return (f"  {name:<14} {one['questions']:>6} questions, brier {one['brier']}, fixed {one['brier_fixed']}, "
            f"pert {one['brier_pert']}, calibration {one['calibration']}, sharpness {one['sharpness']}")


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; 0 when it ran, 2 when a folder or a file is no good."""
    parser = argparse.ArgumentParser(description="score the published chances of many rehearsals against the truth")
    parser.add_argument("--scenarios", type=Path, default=FOLDER, metavar="FOLDER",
                        help="default: simulations/forecast")
    parser.add_argument("--rehearsals", type=int, default=300, metavar="N", help="how many in all (default 300)")
    parser.add_argument("--first", type=int, default=1, metavar="N", help="the first seed (default 1)")
    parser.add_argument("--jobs", type=int, default=2, metavar="N", help="rehearsals at a time (default 2)")
    parser.add_argument("--budget", type=float, default=BUDGET_S, metavar="SECONDS",
                        help=f"begin none later (default {BUDGET_S:g})")
    parser.add_argument("--json", action="store_true", help="print the figures as one JSON object")
    args = parser.parse_args(arguments)
    began = time.perf_counter()
    try:
        days = run(orders(args.scenarios, max(1, args.rehearsals), args.first), max(1, args.jobs), args.budget)
    except UserError as problem:
        print(problem, file=sys.stderr)
        return 2
    found, took = summary(days), time.perf_counter() - began
    print(json.dumps(found | {"took_s": round(took, 1)}, indent=2) if args.json else text(found, took))
    return 0


if __name__ == "__main__":
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
