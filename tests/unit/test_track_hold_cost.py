"""What a hold costs at least on the reference lap."""

from __future__ import annotations

import numpy as np
import pytest

from pitwall.track.hold_cost import hold_cost
from pitwall.track.profile import SpeedProfile


def straight(top: float = 60.0) -> SpeedProfile:
    """Three kilometres at one speed, but for a second kilometre that is half as quick."""
    s_m = np.arange(0.0, 3001.0, 1.0)
    v_mps = np.where((s_m >= 1000) & (s_m < 2000), top / 2, top)
    t_s = np.concatenate(([0.0], np.cumsum(1.0 / v_mps[:-1])))
    none = np.zeros_like(s_m)
    return SpeedProfile(s_m=s_m, v_mps=v_mps, t_s=t_s, ax_mps2=none, ay_mps2=none, lap_s=float(t_s[-1]))


def test_a_hold_at_half_the_speed_costs_half_its_length() -> None:
    """Ten seconds at 30 m/s are 300 m that take five at 60; behind it the car is at 60 at once, as the road allows."""
    found = hold_cost(straight(), 100.0, 10.0, 30.0)
    assert found is not None
    assert found.extra_s == pytest.approx(5.0, abs=0.05)
    assert (found.from_m, found.to_m) == (100.0, pytest.approx(400.0, abs=1.0))


def test_a_hold_at_the_speed_of_the_lap_costs_nothing() -> None:
    """Where the lap is driven as the hold asks, no loop can tell the two apart."""
    found = hold_cost(straight(), 1100.0, 5.0, 30.0)
    assert found is not None
    assert found.extra_s == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(("begin_m", "speed_mps"), [(100.0, 80.0), (1100.0, 50.0), (2900.0, 30.0)])
def test_what_is_not_reached_or_spans_the_line_has_no_cost(begin_m: float, speed_mps: float) -> None:
    """Too quick for the car, too quick until far behind the place, or over the line."""
    assert hold_cost(straight(), begin_m, 5.0, speed_mps) is None
