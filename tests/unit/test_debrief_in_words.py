"""The debrief in a few lines, as the terminal shows it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

from pitwall.cli.debrief import _of_car
from pitwall.debrief.model import CarDebrief

RADIO = SimpleNamespace(calls=0, in_time=0, in_window=0, unconfirmed=0, late=0, missed=0, settled=0, withdrawn=0,
                        skipped=0, open=0, mean_load_s=0.0, medium="two_way")


def test_how_calls_ended_comes_to_all_of_them() -> None:
    """What is rare is named where there is any."""
    radio = SimpleNamespace(**{**vars(RADIO), "calls": 76, "in_time": 68, "in_window": 54, "unconfirmed": 1,
                               "settled": 4, "withdrawn": 3})
    car = SimpleNamespace(car="7", laps=(), best_lap_s=None, runs=(), items=(), radio=radio)
    line = _of_car(cast(CarDebrief, car))[-1]
    assert "76 calls, 68 in time (54 begun in their window), 1 unconfirmed, 0 late, 0 missed, 4 settled later by " \
        "what happened, 3 withdrawn; " in line
    calm = SimpleNamespace(car="7", laps=(), best_lap_s=None, runs=(), items=(), radio=RADIO)
    assert "0 missed; " in _of_car(cast(CarDebrief, calm))[-1]


def test_the_longest_name_of_a_run_does_not_touch_its_state() -> None:
    """A name may have 32 letters; the states of all runs of a car stand below one another."""
    runs = [SimpleNamespace(run=name, reason=None, state="done", counts=True, in_part=False, told=True, items=0,
                            items_done=0, timed_done=1, timed_wanted=1) for name in ("a", "w" * 32)]
    car = SimpleNamespace(car="7", laps=(), best_lap_s=None, runs=runs, items=(), radio=RADIO)
    _, short, long, _ = _of_car(cast(CarDebrief, car))
    assert long.split()[:2] == ["w" * 32, "done"]
    assert short.index("done") == long.index("done")


def test_timed_laps_that_began_with_a_switch_out_of_place_stand_below_the_runs() -> None:
    """As on paper: beside how many laps the run has, which they are, and beside the best lap."""
    off = ("engine stands at 4, this timed lap needs 2",)
    laps = [SimpleNamespace(number=number, kind="timed", run="coast", lap_time_s=time_s, switches_wrong=wrong,
                            switches_unverified=())
            for number, time_s, wrong in ((9, 90.8, off), (10, 90.5, off), (12, 90.9, ()))]
    runs = [SimpleNamespace(run=name, reason=None, state="done", counts=True, in_part=False, told=True, items=0,
                            items_done=0, timed_done=done, timed_wanted=done)
            for name, done in (("coast", 3), ("a", 0))]
    car = SimpleNamespace(car="7", laps=laps, best_lap_s=90.5, runs=runs, items=(), radio=RADIO)
    first, coast, other, wrong, _ = _of_car(cast(CarDebrief, car))
    assert first.endswith("best 90.500 s (switch wrong)")
    assert coast.endswith("3 of 3 timed, 2 with switch wrong")
    assert "switch" not in other
    assert wrong.strip() == "switch wrong: laps 9, 10 (engine stands at 4, this timed lap needs 2)"
