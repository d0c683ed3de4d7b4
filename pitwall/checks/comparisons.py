"""What the planned laps of runs that are to be compared can tell apart, before anybody has driven."""

from __future__ import annotations

from pitwall.checks.around import Around
from pitwall.checks.order import original
from pitwall.forecast.resolution import outlook_of_comparison
from pitwall.model.outlook import Comparison
from pitwall.model.plan import Plan, Run


def comparison_words(plan: Plan, around: Around) -> list[str]:
    """A sentence for each run that is compared with another: the one it repeats, else the first of its group.

    The scatter is the one that the circuit file believes in; none is told without circuit and car files.
    """
    if around.lap is None or around.circuit is None:
        return []
    scatter_s = around.circuit.lap_times.noise_pct / 100.0 * around.lap.lap_s
    pairs = [(run, compared_with(plan, run)) for run in plan.runs]
    return [
        outlook_of_comparison(Comparison(run=run.run, against=other.run, laps=run.timed_laps,
                                         against_laps=other.timed_laps, scatter_s=scatter_s)).text
        for run, other in pairs if other is not None
    ]  # fmt: skip


def compared_with(plan: Plan, run: Run) -> Run | None:
    """The run that this one is compared with: the one it repeats, else the first of its group; None for no other."""
    if not run.timed_laps:
        return None
    model = original(plan, run)
    if model is not run:
        return model
    group = [one for one in plan.runs if run.group is not None and one.group == run.group and one.timed_laps]
    repeats = any(one.same_as is not None for one in group)
    return None if repeats or not group or group[0] is run else group[0]
