"""How good is the advice? What is kept of the plan's value on days on which the printed plan loses some of it.

    python simulations/score_replan.py                    # 200 pressed sessions of simulations/forecast, two at a time
    python simulations/score_replan.py --sessions 20 --json
    python simulations/score_replan.py --scenarios FOLDER --first 5001

One session after the other is drawn from the scenarios (``replan_world.py``). *Pressed* is one in which following the
printed plan until time runs out loses at least 5 percent of what a clairvoyant gets who knows every lap, every piece of
work and every flag of it, and tries every plan (``replan_plans.py``). On those the product is followed: the real engine
is told what happens, works out advice when it does so by itself (a must in danger, a red flag) and when the desk asks,
which it does before the green light and whenever a car comes in; the first proposal is adopted (``replan_wall.py``).
With ``--silent`` the desk never asks.

``kept_median`` and ``kept_p10`` are shares of the clairvoyant's worth. ``beats_printed`` is the share of sessions in
which the product's plan is worth more than the printed one, ties counting half. ``beats_greedy`` is the same against
somebody who drops the last run first, and musts only when nothing else is left, whenever the likely times say that the
rest does not fit; ``beats_last_first`` against one who spares no musts either.

No session is begun after ``--budget`` seconds; how many were pressed is told.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import time
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import structlog

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.scenarios import Rehearsal, load_rehearsal
from pitwall.errors import UserError
from pitwall.forecast.advice import advise
from pitwall.model.advice import RunChoice
from simulations.replan_driving import Done
from simulations.replan_plans import LastFirst, Leaving, Listed, clairvoyant_team, drive, leaving, team_worth
from simulations.replan_wall import followed, opened
from simulations.replan_world import Fate, with_own_crews
from simulations.score_radio import orders

FOLDER = Path(__file__).parent / "forecast"
PRESSED = 0.95
SAME = 1e-6
BUDGET_S = 200.0
AHEAD = 8
Order = tuple[str, int]


@dataclass(frozen=True)
class Outcome:
    """What each way of deciding was worth in one session; ``kept`` is the product's share of the clairvoyant's."""

    scenario: str
    seed: int
    best: float
    printed: float
    greedy: float = 0.0
    last_first: float = 0.0
    product: float = 0.0
    asked: int = 0
    adopted: int = 0
    pressed: bool = True

    @property
    def kept(self) -> float:
        """Share of the clairvoyant's worth that the product's plan has."""
        return self.product / self.best


@lru_cache
def _loaded(scenario: str) -> tuple[Rehearsal, dict[str, tuple[RunChoice, ...]]]:
    """The scenario with its files, and what may be changed of its runs: read once in each process."""
    read = load_rehearsal(scenario)
    rehearsal = replace(read, setup=with_own_crews(read.setup))
    return rehearsal, opened(rehearsal.setup)


def session(order: Order, asks: bool = True) -> Outcome:
    """One session in every way; the dear ones only when it is pressed."""
    (rehearsal, choices), seed = _loaded(order[0]), order[1]
    fate = Fate(rehearsal.scenario, rehearsal.setup, seed)
    plans = rehearsal.setup.plans
    printed = team_worth(choices, {car: drive(Listed(fate, car, _printed(fate, car))) for car in plans})
    best = clairvoyant_team(fate, choices)
    if printed > PRESSED * best or best <= 0:
        return Outcome(*order, best, printed, pressed=False)
    done, wall = followed(fate, advise, asks=asks)
    product = team_worth(choices, done)
    # Only a run done in two goes could be worth more than the best list.
    return Outcome(*order, max(best, product), printed, team_worth(choices, _greedy(fate, choices, spares=True)),
                   team_worth(choices, _greedy(fate, choices, spares=False)), product, wall.asked, wall.adopted)


def _printed(fate: Fate, car: str) -> list[Leaving]:
    plan = fate.setup.plans[car]
    return [leaving(plan, [(run.run, run.timed_laps)]) for run in plan.runs if run.laps and run.after_flag is None]


def _greedy(fate: Fate, choices: dict[str, tuple[RunChoice, ...]], *, spares: bool) -> dict[str, dict[str, Done]]:
    return {car: drive(LastFirst(
        fate, car, plan, _printed(fate, car), {one.run for one in choices[car] if spares and one.want == "must"}))
        for car, plan in fate.setup.plans.items()}


# -- all sessions together ---------------------------------------------------------------------------------------------


def summary(outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """The figures over the pressed ones."""
    pressed = [one for one in outcomes if one.pressed]
    return {
        **figures(pressed),
        "sessions_drawn": len(outcomes),
        "by_scenario": {name: figures([one for one in pressed if Path(one.scenario).stem == name])
                        for name in sorted({Path(one.scenario).stem for one in pressed})},
    }


def figures(pressed: Sequence[Outcome]) -> dict[str, Any]:
    """The scores of these sessions; none of an empty list."""
    if not pressed:
        return {"kept_median": None, "kept_p10": None, "beats_printed": None, "beats_greedy": None,
                "beats_last_first": None, "sessions_pressed": 0}
    kept = np.array([one.kept for one in pressed])
    return {
        "kept_median": round(float(np.median(kept)), 4),
        "kept_p10": round(float(np.quantile(kept, 0.1)), 4),
        "beats_printed": beats([(one.product, one.printed) for one in pressed]),
        "beats_greedy": beats([(one.product, one.greedy) for one in pressed]),
        "beats_last_first": beats([(one.product, one.last_first) for one in pressed]),
        "sessions_pressed": len(pressed),
        "kept_mean": round(float(kept.mean()), 4),
        "printed_median": round(float(np.median([one.printed / one.best for one in pressed])), 4),
        "greedy_median": round(float(np.median([one.greedy / one.best for one in pressed])), 4),
        "asked": round(sum(one.asked for one in pressed) / len(pressed), 2),
        "adopted": round(sum(one.adopted for one in pressed) / len(pressed), 2),
    }


def beats(pairs: Sequence[tuple[float, float]]) -> float:
    """Share of the pairs in which the first is more; ties count half."""
    won = sum(1.0 if first > second + SAME else 0.5 if first > second - SAME else 0.0 for first, second in pairs)
    return round(won / len(pairs), 4)


def drawn(folder: Path, first: int) -> Iterator[Order]:
    """The scenarios in turn, again and again, each time with the next seed; sessions in windows are left out.

    Raises:
        UserError: when the folder holds no scenario of a session in one piece.
    """
    files = [file for file, _ in orders(folder, len(list(folder.glob("*.yaml"))), first)]
    files = [file for file in dict.fromkeys(files) if not _loaded(file)[0].setup.windows]
    if not files:
        raise UserError(f"{folder}: no scenario of a session in one piece: sessions in windows are not scored here")
    return ((file, seed) for seed in count(first) for file in files)


def run(wanted: Iterator[Order], pressed: int, jobs: int, budget_s: float, asks: bool = True) -> list[Outcome]:
    """Sessions until so many were pressed, or the budget is over."""
    until, found = time.monotonic() + budget_s, list[Outcome]()
    work, waiting = partial(session, asks=asks), deque[Future[Outcome]]()
    pool = ProcessPoolExecutor(jobs) if jobs > 1 else None
    try:
        while sum(one.pressed for one in found) < pressed and (not found or time.monotonic() < until):
            if pool is None:
                found.append(work(next(wanted)))
                continue
            while len(waiting) < AHEAD * jobs:  # no process waits for another
                waiting.append(pool.submit(work, next(wanted)))
            found.append(waiting.popleft().result())
    finally:
        if pool is not None:
            pool.shutdown(cancel_futures=True)
    return _first_pressed(found, pressed)


def _first_pressed(found: Sequence[Outcome], pressed: int) -> list[Outcome]:
    """No more pressed ones than were asked for: the last handful may hold more."""
    kept, so_far = list[Outcome](), 0
    for one in found:
        if so_far == pressed:
            break
        kept.append(one)
        so_far += one.pressed
    return kept


def text(found: dict[str, Any], took_s: float) -> str:
    """The figures as a page."""
    lines = [f"{found['sessions_pressed']} pressed of {found['sessions_drawn']} sessions in {took_s:.0f} s"]
    for name, one in [("all", found), *found["by_scenario"].items()]:
        lines.append(f"  {name:<14} kept {one['kept_median']} (p10 {one['kept_p10']}), beats printed "
                     f"{one['beats_printed']}, greedy {one['beats_greedy']}, last first {one['beats_last_first']}; "
                     f"{one['sessions_pressed']} sessions, printed keeps {one.get('printed_median')}, greedy "
                     f"{one.get('greedy_median')}; asked {one.get('asked')}, adopted {one.get('adopted')}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; 0 when it ran, 2 when a folder or a file is no good."""
    parser = argparse.ArgumentParser(description="score the advice on pressed sessions against a clairvoyant")
    parser.add_argument("--scenarios", type=Path, default=FOLDER, metavar="FOLDER",
                        help="default: simulations/forecast")
    parser.add_argument("--sessions", type=int, default=200, metavar="N", help="pressed sessions (default 200)")
    parser.add_argument("--first", type=int, default=1, metavar="N", help="the first seed (default 1)")
    parser.add_argument("--jobs", type=int, default=2, metavar="N", help="sessions at a time (default 2)")
    parser.add_argument("--budget", type=float, default=BUDGET_S, metavar="SECONDS",
                        help=f"begin none later (default {BUDGET_S:g})")
    parser.add_argument("--silent", action="store_true", help="the desk never asks for advice by itself")
    parser.add_argument("--json", action="store_true", help="print the figures as one JSON object")
    args = parser.parse_args(arguments)
    began = time.perf_counter()
    try:
        outcomes = run(drawn(args.scenarios, args.first), max(1, args.sessions), max(1, args.jobs), args.budget,
                       asks=not args.silent)
    except UserError as problem:
        print(problem, file=sys.stderr)
        return 2
    found, took = summary(outcomes), time.perf_counter() - began
    print(json.dumps(found | {"took_s": round(took, 1)}, indent=2) if args.json else text(found, took))
    return 0


if __name__ == "__main__":
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
