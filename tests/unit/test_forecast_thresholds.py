"""The formulas for the latest release, against releases that are walked."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.forecast.chain import Chain
from pitwall.forecast.draws import draw_chain, stream
from pitwall.forecast.interruptions import draw_calendar
from pitwall.forecast.release import Decisive
from pitwall.forecast.thresholds import has_formula, known_releases
from pitwall.forecast.walk import walk
from pitwall.model.rules import Interruptions
from tests.unit.test_forecast_futures import ask, lap, situations

NEAR_S, ROUNDING_S = 0.01, 1e-6


def chain_of(timed: int, spread: float, seed: int, count: int) -> Chain:
    """An out-lap and some timed laps."""
    acts = [lap("a", "out", 110, spread), *[lap("a", "timed", 90, spread)] * timed]
    return draw_chain(ask(*acts, seed=seed).snapshot.cars[0], count, seed)


@settings(max_examples=80, deadline=None)
@given(st.integers(1, 5), st.floats(0, 30), st.floats(200, 5000), situations, st.booleans())
def test_a_run_fits_up_to_that_moment_and_not_after_it(
    timed: int, spread: float, remaining: float, world: dict[str, Any], by_start: bool
) -> None:
    """In every future: a hair before it the walk is in time, a hair after it not."""
    snapshot = ask(remaining=remaining, **world).snapshot
    calendar = draw_calendar(stream(world["seed"], 0), snapshot)
    chain = chain_of(timed, spread, world["seed"], snapshot.futures)
    decisive = Decisive(timed, "start" if by_start else "end")
    upto = timed if by_start else timed + 1
    upper = calendar.session_end - chain.durations[:upto].sum(axis=0)
    latest = known_releases(chain, by_start, calendar, upper)
    for shift, side in ((-NEAR_S, 1.0), (NEAR_S, -1.0)):
        path = walk(chain, latest + shift, calendar)
        in_hand = calendar.session_end - decisive.moment(path.starts, path.ends)
        # A run that a flag holds may be done exactly at the end: there rounding has the last word.
        assert (in_hand * side > -ROUNDING_S).all()


def test_a_run_that_waits_leaves_by_its_latest_or_never() -> None:
    """With an out-lap not before second 500: the same moment where that is later, none at all where it is earlier."""
    snapshot = ask(interruptions=Interruptions(), remaining=700.0).snapshot
    calendar = draw_calendar(stream(1, 0), snapshot)
    free = chain_of(1, 5.0, 1, snapshot.futures)
    outs = (lap("a", "out", 110, not_before_s=at) for at in (500.0, 5000.0))
    late, never = (replace(free, activities=(out, *free.activities[1:])) for out in outs)
    upper = calendar.session_end - free.durations[:1].sum(axis=0)
    found = known_releases(free, True, calendar, upper)
    assert (found >= 500.0).any()
    assert (found < 500.0).any()
    assert np.array_equal(known_releases(late, True, calendar, upper), np.where(found < 500.0, -np.inf, found))
    assert np.isneginf(known_releases(never, True, calendar, upper)).all()


def test_where_there_is_no_formula() -> None:
    """A lap under way, a lap that waits for a moment, an item, an in-lap before the end."""
    def found(*acts: Any, **more: Any) -> bool:
        return has_formula(draw_chain(ask(*acts, **more).snapshot.cars[0], 3, 1))

    out, timed = lap("a", "out", 110), lap("a", "timed", 90)
    assert found(out, timed)
    assert not found(timed, timed, on_track=True)
    assert found(lap("a", "out", 110, not_before_s=5.0), timed)
    assert not found(out, lap("a", "timed", 90, not_before_s=5.0))
    assert not found(lap("a", "item", 60))
    assert not found(out, lap("a", "in", 100))
