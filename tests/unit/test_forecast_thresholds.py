"""The formulas for the latest release, against releases that are walked."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.forecast.draws import draw_chain, stream
from pitwall.forecast.interruptions import draw_calendar
from pitwall.forecast.release import Decisive
from pitwall.forecast.thresholds import has_formula, known_releases
from pitwall.forecast.walk import Chain, walk
from pitwall.model.rules import Interruptions
from tests.unit.test_forecast_futures import ask, lap, situations

NEAR_S = 0.01


def chain_of(timed: int, spread: float, seed: int, count: int) -> Chain:
    """An out-lap and some timed laps."""
    acts = [lap("a", "out", 110, spread), *[lap("a", "timed", 90, spread)] * timed]
    return draw_chain(ask(*acts, seed=seed).snapshot.cars[0], count, seed)


@settings(max_examples=80, deadline=None)
@given(st.integers(1, 5), st.floats(0, 30), st.floats(200, 5000), situations, st.booleans())
def test_a_run_fits_up_to_that_moment_and_not_after_it(
    timed: int, spread: float, remaining: float, world: dict[str, Any], by_start: bool
) -> None:
    """In every future where the formula is said to hold: a hair before it the walk fits, a hair after it not."""
    snapshot = ask(remaining=remaining, **world).snapshot
    calendar = draw_calendar(stream(world["seed"], 0), snapshot)
    chain = chain_of(timed, spread, world["seed"], snapshot.futures)
    decisive = Decisive(timed, "start" if by_start else "end")
    upto = timed if by_start else timed + 1
    upper = calendar.session_end - chain.durations[:upto].sum(axis=0)
    latest, known = known_releases(chain, by_start, calendar, upper)
    for shift, fits in ((-NEAR_S, True), (NEAR_S, False)):
        path = walk(chain, latest + shift, calendar)
        found = decisive.before(decisive.moment(path.starts, path.ends), calendar.session_end)
        assert (found[known] == fits).all()


def test_most_futures_have_a_formula() -> None:
    """With the usual rates of red flags and slow periods, more than nine in ten."""
    snapshot = ask(interruptions=Interruptions(), futures=5000).snapshot
    calendar = draw_calendar(stream(1, 0), snapshot)
    chain = chain_of(5, 5.0, 1, 5000)
    upper = calendar.session_end - chain.durations[:5].sum(axis=0)
    assert known_releases(chain, True, calendar, upper)[1].mean() > 0.9


def test_where_there_is_no_formula() -> None:
    """A lap under way, a lap that waits for a moment, an item, an in-lap before the end."""
    def found(*acts: Any, **more: Any) -> bool:
        return has_formula(draw_chain(ask(*acts, **more).snapshot.cars[0], 3, 1))

    out, timed = lap("a", "out", 110), lap("a", "timed", 90)
    assert found(out, timed)
    assert not found(timed, timed, on_track=True)
    assert not found(lap("a", "out", 110, not_before_s=5.0), timed)
    assert not found(lap("a", "item", 60))
    assert not found(out, lap("a", "in", 100))
