"""The same questions on recorded sessions, with plans as they could have stood the night before.

Plans come from ``plan_from_session.py`` and are wrong as such plans are; the session is followed by the real host and
engine (``score_follow_rows.py``), and what it published is judged by the answer key, which nothing that follows ever
opens. A planned run was done when the driven runs that it was made from have the fewest timed laps that count, each
begun before the flag. Left out are runs for which that says nothing of time: those that nobody drove, or drove with
fewer laps, though the session went on. So nearly everything that is asked here did happen, and the score shows how
often the product doubts without need.
"""

from __future__ import annotations

import asyncio
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from pitwall.app.loading import load_setup
from pitwall.app.report import Recorder
from pitwall.forecast.futures import forecast
from pitwall.model.outputs import ForecastAnswer, ForecastSnapshot, ForecastWanted
from pitwall.model.plan import Plan, Run
from pitwall.model.setup import SessionSetup
from simulations.plan_from_session import write_event
from simulations.score_follow import busiest
from simulations.score_follow_rows import follow
from simulations.score_follow_truth import Stint, Truth, read_truth
from simulations.score_forecast_rows import Day, Took, judged, pert_mean, revision_of


@dataclass
class _Noting:
    """The forecast, which notes what it was asked."""

    asked: dict[int, ForecastSnapshot] = field(default_factory=dict)

    def __call__(self, wanted: ForecastWanted) -> ForecastAnswer:
        self.asked[wanted.revision] = wanted.snapshot
        return forecast(wanted)


def recorded(folder: Path, cars: int, seed: int) -> Day:
    """One recording, its chances, and what came of them.

    Raises:
        FileProblem: when it cannot be read, or has no answer key.
    """
    with tempfile.TemporaryDirectory() as out:
        event = write_event(folder, busiest(folder, cars), seed, Path(out))
        setup, heard, noting = load_setup(event), Recorder(), _Noting()
        asyncio.run(follow(folder, setup, heard, work=noting))
        truth = read_truth(folder, setup, event)
    flag_s = _flag_s(truth, setup)
    done = {car: outcomes(plan, truth.stints[car], flag_s) for car, plan in setup.plans.items()}
    order = (str(folder), seed)
    rows = [row for state in heard.forecasts
            for row in judged(order, state, noting.asked[revision_of(state)], setup.plans[state.car], done[state.car])]
    return Day(*order, tuple(rows), tuple(_took(setup, truth)), truth.lap_s)


def _flag_s(truth: Truth, setup: SessionSetup) -> float:
    """The chequered flag: the last one that was shown, else the end by the regulations."""
    shown = [t for t, status, _ in truth.changes if status == "finished"]
    return max(shown, default=setup.duration_s)


def outcomes(plan: Plan, stints: list[Stint], flag_s: float) -> dict[str, bool]:
    """By planned run whether it was done in time, as far as the answer key can tell."""
    found: dict[str, bool] = {}
    for run in plan.runs:
        mine = [stint for stint in stints if stint.made_into == run.run]
        laps = [lap for stint in mine for lap in stint.laps]
        begun = [lap for lap in laps if lap.start_s is not None and lap.start_s < flag_s]
        timed = sum(lap.label == "timed" for lap in begun)
        if mine and timed >= _fewest(run):
            found[run.run] = bool(begun)
        elif mine and len(begun) < len(laps):
            found[run.run] = False
    return found


def _fewest(run: Run) -> int:
    return run.shorten_to or run.timed_laps


def _took(setup: SessionSetup, truth: Truth) -> list[Took]:
    """Laps as multiples of a good lap, and stops as multiples of the plan's mean, where both are known."""
    found: list[Took] = []
    for car, stints in truth.stints.items():
        for stint, following in zip(stints, [*stints[1:], None], strict=True):
            for lap in stint.laps:
                if lap.label in ("out", "timed", "cool", "in") and lap.start_s is not None and lap.end_s is not None:
                    found.append(Took(lap.label, (lap.end_s - lap.start_s) / truth.lap_s))
            run = setup.plans[car].find(stint.made_into or "")
            left = following.laps[0].out_s if following is not None and following.laps else None
            came = stint.laps[-1].in_s if stint.laps else None
            if run is not None and left is not None and came is not None and following is not None:
                work = run.after_garage_s
                if following.made_into != stint.made_into:
                    mean = pert_mean(work.low_s, work.likely_s, work.high_s)
                    found.append(Took("garage", (left - came) / mean))
    return found
