"""What the planned laps can tell apart, in words, and where they can tell nothing."""

from __future__ import annotations

import pytest

from pitwall.checks.around import Around
from pitwall.checks.comparisons import comparison_words
from pitwall.engine import ahead
from pitwall.forecast.resolution import outlook_of_comparison, resolves_s
from pitwall.model.outlook import Comparison
from pitwall.model.outputs import ForecastWanted
from tests.unit.engine_stage import MAIN, SPARE, Stage, plan, setup, shipped
from tests.unit.test_checks_summary import AROUND, SETUP


def pair(laps: int, against: int, **more: float) -> Comparison:
    """Two runs of so many laps, 0.3 s of scatter."""
    return Comparison.model_validate({"run": "b", "against": "a", "laps": laps, "against_laps": against,
                                      "scatter_s": 0.3, **more})  # fmt: skip


def test_the_sentence() -> None:
    """Three against three laps, and two more of each."""
    found = outlook_of_comparison(pair(3, 3))
    assert found.text == ("b against a: 3 against 3 laps resolve 0.92 s; two more each 0.61 s "
                          "(scatter 0.30 s a lap, by experience)")  # fmt: skip
    assert found.resolves_s == pytest.approx(0.921, abs=0.002)
    assert "seen on 7 pairs" in outlook_of_comparison(pair(3, 3, seen=7)).text


@pytest.mark.parametrize(("laps", "against"), [(1, 1), (0, 5), (4, 0), (0, 0)])
def test_too_few_laps_resolve_nothing(laps: int, against: int) -> None:
    """One of each shows no scatter, and none of one shows nothing: no figure."""
    found = outlook_of_comparison(pair(laps, against))
    assert found.resolves_s is None
    assert "resolve nothing" in found.text


def test_more_laps_and_less_scatter_resolve_more() -> None:
    """The difference falls with laps on either side, and is proportional to the scatter."""
    found = [resolves_s(laps, 4, 0.3) or 0.0 for laps in range(1, 12)]
    assert found == sorted(found, reverse=True)
    assert resolves_s(4, 4, 0.6) == pytest.approx(2 * (resolves_s(4, 4, 0.3) or 0.0))


def test_a_check_tells_it_with_the_scatter_of_the_circuit_file() -> None:
    """The demo plan compares one run with the baseline: 0.35 per cent of a lap."""
    (line,) = comparison_words(SETUP.plans["41"], AROUND)
    assert line.startswith("compare against baseline: 2 against 4 laps resolve ")
    assert comparison_words(SETUP.plans["41"], Around()) == []
    alone = plan(MAIN, SPARE)
    assert comparison_words(alone, AROUND) == []


def test_a_group_is_compared_with_its_first_run() -> None:
    """Where no run of the group repeats another."""
    made = plan(MAIN | {"group": "a-b"}, SPARE | {"group": "a-b"})
    (line,) = comparison_words(made, AROUND)
    assert line.startswith("spare against main:")


def test_live_the_scatter_is_that_of_the_cars_own_laps() -> None:
    """Before a lap: 0.35 per cent of the usual lap, on no pairs. After laps of 100 and 101 s: more of it, on one."""
    repeat = SPARE | {"same_as": "main", "laps": "out, 2 timed, in"}
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in"}, repeat))).green()
    first = stage.made(ForecastWanted)[-1].snapshot.cars[0].comparisons[0]
    assert (first.run, first.against, first.laps, first.against_laps, first.seen) == ("spare", "main", 2, 3, 0)
    assert first.scatter_s == pytest.approx(0.35, abs=0.001)
    stage.drive(200, 125, 100, 101)
    scatter_s, seen = ahead.scatter(stage.car)
    assert (scatter_s, seen) == (pytest.approx(((6 * 0.351**2 + 0.5) / 7) ** 0.5, abs=0.01), 1)
    stage.drive(526, 108)
    assert ahead.scatter(stage.car)[1] == 1  # 7 s slower is a mistake, not scatter


def test_the_shipped_event_is_sound() -> None:
    """The setup that the lines above rest on holds a circuit with lap times."""
    assert shipped().circuit.lap_times.noise_pct == 0.35
