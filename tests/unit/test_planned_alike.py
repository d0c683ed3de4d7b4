"""The check and the run sheet, the plan's lanes and the debrief tell the same times of one plan."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitwall.app.loading import read_event
from pitwall.checks.spans import spans_of
from pitwall.engine.planned import planned_spans
from tests.unit.engine_stage import Stage

CONFIG = Path(__file__).parents[2] / "config"


@pytest.mark.parametrize("event", ["event.yaml", "test_day.yaml"])
def test_a_plan_has_one_set_of_times(event: str) -> None:
    """What items take beside their laps, changes of drivers and the windows of a test day count everywhere: who
    compares the check of last night with the debrief finds the same times as planned."""
    loaded = read_event(CONFIG / event)
    assert loaded.setup is not None
    team = Stage(loaded.setup).session.team
    for name, plan in loaded.setup.plans.items():
        lap = loaded.around[name].lap
        assert lap is not None
        checked = {one.run.run: (one.start_s, one.end_s) for one in spans_of(plan, lap.lap_s, loaded.around[name])
                   if one.run.laps}  # fmt: skip
        assert {run: pytest.approx(span, abs=0.06) for run, span in planned_spans(team[name], plan).items()} == checked
