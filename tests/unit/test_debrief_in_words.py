"""The debrief in a few lines, as the terminal shows it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

from pitwall.cli.debrief import _of_car
from pitwall.debrief.model import CarDebrief

RADIO = SimpleNamespace(calls=0, in_time=0, in_window=0, unconfirmed=0, late=0, missed=0, mean_load_s=0.0,
                        medium="two_way")


def test_the_longest_name_of_a_run_does_not_touch_its_state() -> None:
    """A name may have 32 letters; the states of all runs of a car stand below one another."""
    runs = [SimpleNamespace(run=name, reason=None, state="done", counts=True, in_part=False, told=True, items=0,
                            items_done=0, timed_done=1, timed_wanted=1) for name in ("a", "w" * 32)]
    car = SimpleNamespace(car="7", laps=(), best_lap_s=None, runs=runs, items=(), radio=RADIO)
    _, short, long, _ = _of_car(cast(CarDebrief, car))
    assert long.split()[:2] == ["w" * 32, "done"]
    assert short.index("done") == long.index("done")
