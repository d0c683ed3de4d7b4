"""Score what is said of the future: does what was given 80 percent happen four times in five?

    python simulations/score_forecast.py                       # 300 rehearsals of simulations/forecast, two at a time
    python simulations/score_forecast.py --rehearsals 30 --json
    python simulations/score_forecast.py --scenarios FOLDER --first 501
    python simulations/score_forecast.py --rehearsals 60 --recordings FOLDER... --cars 4

Every chance that was published before the flag is a question: does this run fit, do all musts of this car fit. Worlds
are those of the scenarios: their lap times, work, flags and drivers differ from what plans and regulations expect, and
by how much is in the scenario files. What is real and what is the world's: ``score_forecast_rows.py``. The two rivals
that are asked the same: ``score_forecast_rivals.py``.

``brier`` is the mean squared error of the chances (Brier 1950; smaller is better), ``brier_fixed`` and ``brier_pert``
those of the rivals, ``brier_hindsight`` that of somebody who knows the averages of these very worlds. ``calibration``:
of what was given 80 to 95 percent, by how far the share that happened lies from the mean of what was stated.
``reliability`` shows that for every band, ``sharpness`` is the mean of p (1 - p): 0 when every chance is 0 or 1, which
is worth nothing by itself. ``ratio_*`` has a band: nine in ten of 400 draws of whole sessions with replacement, for the
questions of one session hang together.

Recordings, if any are given, are a part of their own (``recordings``): plans and answers are of another kind there
(``score_forecast_recorded.py``).

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

from pitwall.errors import FileProblem, UserError
from simulations.score_forecast_recorded import recorded
from simulations.score_forecast_rivals import fixed, hindsight, pert
from simulations.score_forecast_rows import Day, Order, Row, rehearse
from simulations.score_radio import orders

FOLDER = Path(__file__).parent / "forecast"
BANDS = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0)
JUDGED = (0.8, 0.95)
BUDGET_S = 200.0
RESAMPLES = 400
Scored = tuple[Row, float, float, float]
"""A question with what fixed averages, PERT and hindsight say to it."""
RIVALS = ("fixed", "pert", "hindsight")


def summary(days: Sequence[Day]) -> dict[str, Any]:
    """The figures of all rehearsals."""
    by_day = [list(zip(day.rows, by_fixed, map(pert, day.rows), by_hindsight, strict=True))
              for day, by_fixed, by_hindsight in zip(days, fixed(days), hindsight(days), strict=True)]
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
        return {"questions": 0, "brier": None, **{f"brier_{rival}": None for rival in RIVALS}, "calibration": None,
                "sharpness": None}
    rows = [one[0] for one in scored]
    happened = np.array([row.happened for row in rows], dtype=float)
    stated = np.array([row.stated for row in rows])
    chances = np.array([one[1:] for one in scored], dtype=float)
    errors = ((chances - happened[:, None]) ** 2).mean(axis=0)
    return {
        "questions": len(scored),
        "brier": _rounded(np.mean((stated - happened) ** 2)),
        **{f"brier_{rival}": _rounded(error) for rival, error in zip(RIVALS, errors, strict=True)},
        "calibration": calibration(rows),
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
    errors = np.array([[sum((chance - one[0].happened) ** 2 for one, chance in zip(day, chances, strict=True))
                        for chances in ([one[0].stated for one in day],
                                        *([one[place] for one in day] for place in range(1, 1 + len(RIVALS))))]
                       for day in by_day])
    if not len(errors) or not errors[:, 1:].sum(axis=0).all():
        return {f"ratio_{rival}": None for rival in RIVALS}
    drawn = np.random.default_rng(1).integers(len(errors), size=(RESAMPLES, len(errors)))
    sums, whole = errors[drawn].sum(axis=1), errors.sum(axis=0)
    found = {}
    for place, rival in enumerate(RIVALS, start=1):
        ratios = sums[:, 0] / np.maximum(sums[:, place], 1e-12)
        low, high = np.quantile(ratios, (0.05, 0.95))
        found[f"ratio_{rival}"] = {"ratio": _rounded(whole[0] / whole[place]), "from": _rounded(low),
                                   "to": _rounded(high)}
    return found


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
    for name in (f"ratio_{rival}" for rival in RIVALS):
        if found[name] is not None:
            lines.append(f"  {name:<15} {found[name]['ratio']} ({found[name]['from']} to {found[name]['to']})")
    for group in ("by_want", "by_scenario", "by_status"):
        lines += [_line(name, one) for name, one in found[group].items() if one["questions"]]
    lines += [f"  given {one['from']:.2f} to {one['to']:.2f}: {one['questions']} times, stated {one['stated']:.3f}, "
              f"happened {one['happened']:.3f}" for one in found["reliability"]]
    if "recordings" in found:
        lines += ["recordings", _line("all", found["recordings"])]
        lines += [_line(name, one) for name, one in found["recordings"]["by_scenario"].items()]
    return "\n".join(lines)


def _line(name: str, one: dict[str, Any]) -> str:
    return (f"  {name:<14} {one['questions']:>6} questions, brier {one['brier']}, fixed {one['brier_fixed']}, "
            f"pert {one['brier_pert']}, hindsight {one['brier_hindsight']}, calibration {one['calibration']}, "
            f"sharpness {one['sharpness']}")


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
    parser.add_argument("--recordings", type=Path, nargs="+", default=[], metavar="FOLDER",
                        help="recorded sessions with their answer keys, scored apart")
    parser.add_argument("--cars", type=int, default=4, help="how many cars have a plan there (default 4)")
    parser.add_argument("--json", action="store_true", help="print the figures as one JSON object")
    args = parser.parse_args(arguments)
    began = time.perf_counter()
    try:
        days = run(orders(args.scenarios, max(1, args.rehearsals), args.first), max(1, args.jobs), args.budget)
        real = [recorded(folder, args.cars, args.first) for folder in args.recordings]
    except (UserError, FileProblem) as problem:
        print(problem, file=sys.stderr)
        return 2
    found = summary(days) | ({"recordings": summary(real)} if real else {})
    took = time.perf_counter() - began
    print(json.dumps(found | {"took_s": round(took, 1)}, indent=2) if args.json else text(found, took))
    return 0


if __name__ == "__main__":
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
