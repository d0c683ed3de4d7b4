"""A red flag on a run that counts already ends it in the futures, as it does in the session: times worked by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pitwall.forecast.answers import CarFutures, Futures, outlook_of
from pitwall.forecast.calendar import Calendar
from pitwall.forecast.chain import Path
from pitwall.forecast.draws import draw_chain, with_stops
from pitwall.forecast.runs import groups_of
from pitwall.forecast.walk import NO_SLOTS, walk
from pitwall.model.outlook import Activity, CarOutlook, CarSnapshot
from tests.unit.test_forecast_futures import ask, lap
from tests.unit.test_forecast_interruptions import spans

STOP = {"run": None, "kind": "garage", "low_s": 300, "likely_s": 300, "high_s": 300}
CUT = {name: Activity.model_validate({**STOP, "low_s": 312, "likely_s": 312, "high_s": 312, "not_under_s": 300})
       for name in ("a", "b")}
"""The garage works 300 s on the car, which it reaches 12 s after the line in the lane."""
WORK = Activity.model_validate({**STOP, "not_under_s": 288})
NEXT = (lap("b", "out", 110), lap("b", "timed", 90), lap("b", "in", 105))
FIRST = (lap("a", "out", 100), lap("a", "timed", 90), lap("a", "timed", 90))
WINDOWS = ((0.0, 5000.0), (6000.0, 9000.0))


def driven(*activities: Activity, red: tuple[float, float], windows: bool = False, **more: Any) -> tuple[Path, Any]:
    """One car from second 0 through one future with this red flag, and what is told of it."""
    stops = more.pop("stops", True)
    asked = ask(*activities, remaining=5000.0, **({"cut_work": CUT} if stops else {}), **more).snapshot
    car: CarSnapshot = asked.cars[0]
    chain = with_stops(draw_chain(car, 1, 1), car, 1)
    ends = np.array([9000.0 if windows else 5000.0])
    calendar = Calendar(spans(red), spans(), ends, WINDOWS if windows else ())
    path = walk(chain, np.array([0.0]), calendar, slots=NO_SLOTS)
    return path, outlook_of(CarFutures(car, chain, groups_of(car, asked), path), Futures(asked, calendar, ()))


@pytest.mark.parametrize("windows", [False, True], ids=["one piece", "windows"])
def test_a_red_on_the_cool_down_lap_ends_the_run(windows: bool) -> None:
    """All timed laps done at 280; red from 300 to 600 with 100 s of the lap to go: at half the pace the car is at the
    line at 500, in the garage at 512, worked on once until 812, and the next run leaves then."""
    path, _ = driven(*FIRST, lap("a", "cool", 120), lap("a", "in", 105), WORK, *NEXT, red=(300, 600), windows=windows)
    assert path.ends[2:6, 0].tolist() == [280, 512, 512, 812]
    assert path.starts[5:8, 0].tolist() == [512, 812, 922]


def test_a_red_on_a_lap_beyond_the_fewest_ends_the_run() -> None:
    """Three timed laps, two of them enough and done at 280; red from 300 to 900 on the third with 70 s to go: in the
    garage at 452, ready at 752, and the next run leaves when the red is over."""
    path, outlook = driven(*FIRST, lap("a", "timed", 90), lap("a", "in", 105), WORK, *NEXT, red=(300, 900),
                           minimum_laps={"a": 2})
    assert path.ends[5, 0] == 752
    assert path.starts[6, 0] == 900
    first: Any = outlook.runs[0]
    assert (first.chance, first.timed_q50, first.end_q50_s) == (1.0, 2, 452)


def test_without_the_fewest_laps_done_the_lap_is_driven_again() -> None:
    """One of two done: back at the line at 220 + 2 * 60, ready 312 s later, out-lap and the lap that was cut again."""
    path, outlook = driven(*FIRST, lap("a", "in", 105), WORK, *NEXT, red=(220, 300), minimum_laps={"a": 2})
    assert (path.starts[2, 0], path.ends[2, 0]) == (220 + 120 + 312 + 100, 220 + 120 + 312 + 190)
    assert outlook.runs[0].timed_q50 == 2


def test_without_known_stops_the_run_ends_as_well() -> None:
    """The way between the line and the garage is not known then: in at 500, worked on until 800."""
    path, _ = driven(*FIRST, lap("a", "cool", 120), lap("a", "in", 105), WORK, *NEXT, red=(300, 600), stops=False)
    assert path.ends[3:6, 0].tolist() == [500, 500, 800]


def test_a_second_red_while_the_car_comes_back_holds_the_next_run() -> None:
    """A run that is over is not cut again, and the flag that comes then is not forgotten."""
    acts = (*FIRST, lap("a", "cool", 120), lap("a", "in", 105), WORK, *NEXT)
    asked = ask(*acts, cut_work=CUT).snapshot.cars[0]
    chain = with_stops(draw_chain(asked, 1, 1), asked, 1)
    path = walk(chain, np.array([0.0]), Calendar(spans((300, 320), (400, 1000)), spans(), np.array([5000.0])))
    assert path.ends[3:6, 0].tolist() == [512, 512, 812]
    assert path.starts[6, 0] == 1000


def test_items_on_laps_that_are_not_driven_any_more_are_not_done() -> None:
    """An item of the in-lap and one of the lap that was cut have no chance; one of a lap before it is done."""
    acts = (lap("a", "out", 100), lap("a", "timed", 90, items=("early",)), lap("a", "timed", 90),
            lap("a", "timed", 90, items=("cut",)), lap("a", "in", 105, items=("home",)), WORK, *NEXT)
    for finish in (True, False):
        _, outlook = driven(*acts, red=(300, 600), minimum_laps={"a": 2}, finish_started_lap=finish)
        assert {one.item: one.chance for one in outlook.runs[0].items} == {"early": 1.0, "cut": 0.0, "home": 0.0}
        _, calm = driven(*acts, red=(3000, 3001), minimum_laps={"a": 2}, finish_started_lap=finish)
        assert {one.item: one.chance for one in calm.runs[0].items} == {"early": 1.0, "cut": 1.0, "home": 1.0}


def test_a_car_on_its_last_laps_has_finite_figures() -> None:
    """On the cool-down lap already, which the flag cuts: every figure that is told is a number, the in-lap too."""
    _, outlook = driven(lap("a", "cool", 120), lap("a", "in", 105, items=("home",)), WORK, *NEXT, red=(20, 320),
                        on_track=True, lap_began_s=0.0, slowest_in_lap_s=200.0, minimum_laps={"a": 0})
    found: CarOutlook = outlook
    assert found.runs[0].end_q50_s == 20 + 200 + 12
    assert found.runs[0].items[0].chance == 0.0
    assert "Infinity" not in found.model_dump_json()
    assert "NaN" not in found.model_dump_json()


def test_an_installation_lap_counts_once_it_has_begun() -> None:
    """Cut at 40 with 70 s to go it is over: in the garage at 192, and the next run follows at 492. It may leave until
    the flag falls, or until the red flag that flies then."""
    acts = (lap("a", "out", 110), WORK, *NEXT)
    path, outlook = driven(*acts, red=(40, 100))
    assert path.ends[:2, 0].tolist() == [192, 492]
    assert outlook.runs[0].last_release_s == pytest.approx(5000, abs=0.1)
    assert driven(*acts, red=(4800, 5200))[1].runs[0].last_release_s == pytest.approx(4800, abs=0.1)
