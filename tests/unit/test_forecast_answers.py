"""What the futures say beside chances and ends: items, laps, time in hand, next lap, in-lap, limits, problems."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.model.outlook import Activity, Limit
from pitwall.model.outputs import ForecastWanted
from pitwall.model.rules import Interruptions
from tests.unit.test_forecast_futures import activities, ask, car, lap, plans, run_of, situations

OUT, TIMED, IN = 110, 90, 105


def laps_of(run: str, *kinds: str, **items: tuple[str, ...]) -> list[Activity]:
    """Laps without spread; items by the kind of lap."""
    seconds = {"out": OUT, "timed": TIMED, "cool": 130, "in": IN}
    return [lap(run, kind, seconds[kind], items=items.get(kind, ())) for kind in kinds]


# -- laps and items ----------------------------------------------------------------------------------------------------


def test_laps_that_a_run_still_gets() -> None:
    """Out 110, four laps of 90: with 300 s left three of them begin before the flag, with 250 s two."""
    run = laps_of("a", "out", "timed", "timed", "timed", "timed", "in")
    found = {left: car(ask(*run, remaining=left)).runs[0] for left in (300, 250, 100)}
    assert [found[left].timed_q50 for left in (300, 250, 100)] == [3, 2, 0]
    assert found[300].timed_q10 == found[300].timed_q90 == 3


def test_laps_have_their_quantiles() -> None:
    """A release somewhere between 0 and 200 s: more laps in the quick futures than in the slow ones."""
    wait = Activity(run=None, kind="wait", low_s=0, likely_s=100, high_s=200)
    found = car(ask(wait, *laps_of("a", "out", *["timed"] * 9, "in"), remaining=700, futures=2000)).runs[0]
    assert found.timed_q10 is not None
    assert found.timed_q90 is not None
    assert found.timed_q10 < found.timed_q90 <= 9


def test_chance_of_each_item() -> None:
    """With time for two timed laps: what is on the out-lap, the in-lap and those laps is done, on the third not."""
    run = [*laps_of("a", "out", out=("check",)), lap("a", "timed", TIMED, items=("one",)), lap("a", "timed", TIMED),
           lap("a", "timed", TIMED, items=("three",)), *laps_of("a", "in", **{"in": ("comment",)})]  # fmt: skip
    found = {one.item: one.chance for one in car(ask(*run, remaining=250)).runs[0].items}
    assert found == {"check": 1.0, "one": 1.0, "three": 0.0, "comment": 1.0}
    none = {one.item: one.chance for one in car(ask(*run, remaining=250, from_s=300.0)).runs[0].items}
    assert set(none.values()) == {0.0}


def test_items_after_the_flag() -> None:
    """A block that is allowed after the flag is done, unless the session is closed."""
    block = lap("starts", "item", 60, items=("start",))
    done = car(ask(block, remaining=0, status="finished", after_flag=("starts",), t=3600)).runs[0]
    closed = car(ask(block, remaining=0, status="closed", after_flag=("starts",), t=3600)).runs[0]
    assert (done.items[0].chance, closed.items[0].chance) == (1.0, 0.0)


def test_what_comes_after_the_flag_says_until_when_the_car_may_leave_for_it() -> None:
    """It has to be on track as the flag falls: 14 s to the exit before an hour is over; where the clock of a red flag
    that is out stands, later; once the flag has fallen there is none. The in-lap before it need not be quick for it."""
    run, block = laps_of("a", "out", "timed", "in"), lap("starts", "item", 60)
    more: dict[str, Any] = {"after_flag": ("starts",), "to_track_s": 14.0}
    found = car(ask(*run, block, **more))
    assert [one.run for one in found.runs] == ["a", "starts"]
    assert found.runs[1].last_release_s == pytest.approx(3600 - 14, abs=0.2)
    reds = Interruptions(red_per_hour=0, slow_per_hour=0, red_length_s=(399, 400, 401))
    stands = car(ask(block, status="red", red_clock="stops", interruptions=reds, **more)).runs[0].last_release_s
    assert stands is not None
    assert stands > 3600 - 14
    assert car(ask(block, remaining=10, **more)).runs[0].last_release_s is None
    assert car(ask(block, remaining=0, status="finished", t=3600, **more)).runs[0].last_release_s is None
    assert car(ask(lap("a", "in", 60), block, remaining=70, on_track=True, **more)).in_lap is None


def test_spare_time_of_a_run() -> None:
    """Seconds from its decisive lap to the flag, negative when it comes too late; none where nothing can stop it."""
    run = laps_of("a", "out", "timed", "timed", "in")
    assert car(ask(*run, remaining=300)).runs[0].spare_q50_s == 300 - OUT - TIMED
    assert car(ask(*run, remaining=150)).runs[0].spare_q50_s == 150 - OUT - TIMED
    assert car(ask(*run, remaining=150, after_flag=("a",))).runs[0].spare_q50_s is None


def test_a_run_that_must_leave_by_a_moment() -> None:
    """Not after 400 s: behind a stop of 500 s it does not fit, however much time is left; nor may it leave later."""
    stop = Activity(run=None, kind="garage", low_s=500, likely_s=500, high_s=500)
    run = [lap("a", "out", OUT, not_after_s=400.0), *laps_of("a", "timed", "in")]
    late = car(ask(stop, *run, remaining=3000))
    assert (late.runs[0].chance, late.runs[0].spare_q50_s) == (0.0, -100.0)
    assert car(ask(*run, remaining=3000)).runs[0].last_release_s == 400.0


# -- the next lap ------------------------------------------------------------------------------------------------------


def running(left: float = 40.0, **more: Any) -> ForecastWanted:
    """On a timed lap with 40 s to go, another planned behind it."""
    return ask(lap("a", "timed", left), lap("a", "timed", TIMED), lap("a", "in", IN), on_track=True, **more)


@pytest.mark.parametrize(("left", "one", "two"), [(30, 0.0, 0.0), (50, 1.0, 0.0), (129, 1.0, 0.0), (131, 1.0, 1.0)])
def test_one_more_lap_or_not(left: float, one: float, two: float) -> None:
    """The line in 40 s: a lap can be started there before the flag, and another one 90 s later."""
    found = car(running(remaining=left)).next_lap
    assert found is not None
    assert (found.chance, found.one_more_chance) == (one, two)
    assert found.margin_q50_s == left - 40
    assert found.one_more_margin_q50_s == left - 130


def test_where_a_lap_must_end_before_the_flag() -> None:
    """Then a lap started in 40 s needs 130 s."""
    found = [car(running(remaining=left, finish_started_lap=False)).next_lap for left in (129, 131)]
    assert [one.chance for one in found if one is not None] == [0.0, 1.0]


def test_the_clock_is_known_to_a_second_or_two() -> None:
    """At the line in 40 s with 40.75 s left, give or take 1.5 s: three times in four."""
    found = car(running(remaining=40.75, clock_uncertainty_s=1.5, futures=20_000)).next_lap
    assert found is not None
    assert found.chance == pytest.approx(0.75, abs=0.01)
    assert (found.margin_q10_s, found.margin_q90_s) == (pytest.approx(-0.45, abs=0.05), pytest.approx(1.95, abs=0.05))


def test_from_the_garage_it_is_the_lap_after_the_out_lap() -> None:
    """Ready in 60 s, an out-lap of 110: a timed lap can be started with 171 s left, not with 169."""
    wait = Activity(run=None, kind="wait", low_s=60, likely_s=60, high_s=60)
    found = [car(ask(wait, *laps_of("a", "out", "timed", "in"), remaining=left)).next_lap for left in (169, 171)]
    assert [one.chance for one in found if one is not None] == [0.0, 1.0]


def test_no_next_lap_where_there_is_none() -> None:
    """On an in-lap, with nothing left, and after the flag."""
    assert car(ask(*laps_of("a", "in"), on_track=True)).next_lap is None
    assert car(ask()).next_lap is None
    assert car(running(remaining=0, status="finished", t=3600)).next_lap is None


# -- the in-lap --------------------------------------------------------------------------------------------------------


def coming_in(remaining: float, **more: Any) -> ForecastWanted:
    """On the last timed lap, 40 s to the line; in, a stop of 300 s, and another run."""
    stop = Activity(run=None, kind="garage", low_s=300, likely_s=300, high_s=300)
    return ask(lap("a", "timed", 40), lap("a", "in", IN), stop, *laps_of("b", "out", "timed", "in"), on_track=True,
               remaining=remaining, **more)


def test_the_slowest_in_lap_of_the_regulations() -> None:
    """125 s are asked for: the in-lap of 105 is no slower; with time to spare that is the limit."""
    found = car(coming_in(3000, slowest_in_lap_s=125)).in_lap
    assert found is not None
    assert (found.slowest_s, found.reason, found.chance) == (125, "regulations", 1.0)


def test_the_slowest_in_lap_to_make_the_next_release() -> None:
    """Run b must leave by 640 - 110 = 530; 300 s of work before that, and the in-lap begins at 40: 190 s at most."""
    found = car(coming_in(640)).in_lap
    assert found is not None
    assert (found.reason, found.chance) == ("next release", 1.0)
    assert found.slowest_s == pytest.approx(190, abs=2.1)
    assert car(coming_in(3000)).in_lap is not None
    late = car(coming_in(500)).in_lap
    assert late is not None
    assert (late.slowest_s, late.chance) == (pytest.approx(50, abs=2.1), 0.0)


def test_no_in_lap_in_the_garage() -> None:
    """Nothing is said of an in-lap of a run that has not left."""
    assert car(ask(*run_of("a", 2), *run_of("b", 1), slowest_in_lap_s=125)).in_lap is None


# -- limits ------------------------------------------------------------------------------------------------------------


def test_when_a_set_has_done_its_laps() -> None:
    """Three laps are left on it, of six: after the out-lap and two timed ones, 290 s from now."""
    limit = Limit(kind="tyres", what="B2 has done 12 laps", run="a", laps=3)
    (found,) = car(ask(*laps_of("a", "out", *["timed"] * 4, "in"), limits=(limit,))).limits
    assert (found.laps, found.chance, found.at_q50_s) == (3, 1.0, OUT + 2 * TIMED)
    assert found.text == "a: B2 has done 12 laps at about 4:50, after 3 of the 6 laps still to do (100%)"


def test_a_limit_that_comes_after_the_flag_is_not_hit() -> None:
    """The same with 200 s left."""
    limit = Limit(kind="tyres", what="B2 has done 12 laps", run="a", laps=3)
    (found,) = car(ask(*laps_of("a", "out", *["timed"] * 4, "in"), limits=(limit,), remaining=200)).limits
    assert (found.chance, found.at_q50_s) == (0.0, None)


def test_fuel_is_not_known_to_the_gram() -> None:
    """Fuel for six laps of six, give or take 5 per cent: as likely as not the last one is one too many."""
    limit = Limit(kind="fuel", what="the reserve of 2 kg", run="a", laps=6.0, spread=0.05)
    (found,) = car(ask(*laps_of("a", "out", *["timed"] * 4, "in"), limits=(limit,), futures=1000)).limits
    assert found.chance == pytest.approx(0.5, abs=0.01)
    assert found.at_q50_s == OUT + 4 * TIMED


# -- problems ----------------------------------------------------------------------------------------------------------


def test_problems_are_told_in_a_sentence() -> None:
    """An empty plan, a session that is over, a run that can never leave, no lap time, no clock."""
    run = laps_of("a", "out", "timed", "in")
    assert car(ask()).problem == "Nothing of the plan is left to do."
    assert car(ask(*run, remaining=0, status="closed")).problem == "The session is over: nothing can be done any more."
    assert "flag has fallen" in str(car(ask(*run, remaining=0, status="finished", t=3600)).problem)
    late = [lap("a", "out", OUT, not_before_s=4200.0), *laps_of("a", "timed", "in")]
    found = car(ask(*late))
    assert found.problem == "a cannot be done: it may not leave before 1:10:00, and the flag falls at 1:00:00."
    assert found.runs[0].chance == 0.0
    assert car(ask(lap("a", "out", 0), lap("a", "timed", 0), lap("a", "in", 0))).problem == (
        "No lap time is known for a: its end and its chance say nothing.")
    assert "had to leave by" in str(car(ask(lap("a", "out", OUT, not_after_s=10.0), from_s=50.0)).problem)
    assert car(ask(*run)).problem is None


def test_figures_that_are_no_numbers_never_get_so_far() -> None:
    """A question with a time that is not a number is refused where it is made."""
    for wrong in ({"remaining": float("nan")}, {"t": float("inf")}):
        with pytest.raises(ValueError, match="finite"):
            ask(*laps_of("a", "out", "timed", "in"), **wrong)


# -- interruptions under way ------------------------------------------------------------------------------------------


def test_a_red_flag_that_has_lasted_long_lasts_on() -> None:
    """Of lengths 220, 370 and 610 s: at once 370 s in the middle; after 370 s those of the longer half, about 110 more;
    after an hour it is as good as over."""
    rates = Interruptions(red_per_hour=0, slow_per_hour=0)
    run = laps_of("a", "out", "timed", "in")

    def waits(lasted: float) -> float:
        found = car(ask(*run, status="red", interruptions=rates, futures=8000, t=1000.0,
                        status_since_s=1000.0 - lasted))  # fmt: skip
        return found.runs[0].end_q50_s - 1000.0 - OUT - TIMED - IN

    assert waits(0.0) == pytest.approx(370, rel=0.03)
    # The median of what is above the median lies at the 75th percentile: 370 * (610/370) ** (0.674 / 1.282).
    assert waits(370.0) == pytest.approx(370 * (610 / 370) ** (0.6745 / 1.2816) - 370, rel=0.06)
    assert waits(7200.0) == pytest.approx(0.0, abs=1.0)


@settings(max_examples=40, deadline=None)
@given(plans, situations, st.floats(0, 4000), st.floats(0, 900), st.booleans())
def test_all_figures_hang_together(
    plan: list[tuple[int, float, float]], situation: dict[str, Any], remaining: float, lasted: float, on_track: bool
) -> None:
    """Quantiles rise, laps are no more than planned, no item of a lap is likelier than the laps before it, and a second
    lap more is no likelier than the first."""
    acts = [one.model_copy(update={"items": (f"{index}",)}) for index, one in enumerate(activities(plan))]
    since = {"status_since_s": -lasted, "clock_uncertainty_s": 1.5}
    found = car(ask(*acts, remaining=remaining, on_track=on_track, **since, **situation))
    for number, run in enumerate(found.runs):
        assert (run.timed_q10 or 0) <= (run.timed_q50 or 0) <= (run.timed_q90 or 0) <= plan[number][0]
        assert run.spare_q10_s is None or run.spare_q10_s <= (run.spare_q50_s or 0.0) <= (run.spare_q90_s or 0.0)
        driven = [item.chance for item in run.items if acts[int(item.item)].kind == "timed"]
        assert driven == sorted(driven, reverse=True)
    if found.next_lap is not None and found.next_lap.one_more_chance is not None:
        assert found.next_lap.one_more_chance <= found.next_lap.chance
