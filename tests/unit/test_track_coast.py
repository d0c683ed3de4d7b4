"""Coasting: the closed forms agree with each other, with small steps, and with common sense."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.track.coast import coast_distance_m, coast_time_s

SPEEDS = st.tuples(st.floats(2, 90), st.floats(2, 90)).map(lambda pair: (max(pair), min(pair)))


@given(speeds=SPEEDS, rolling=st.floats(0.01, 2), drag=st.floats(1e-5, 0.01), share=st.floats(0, 1))
def test_parts_add_up(speeds: tuple[float, float], rolling: float, drag: float, share: float) -> None:
    """Rolling from a to c takes as long, and as far, as from a to b and from b to c."""
    fast, slow = speeds
    middle = slow + share * (fast - slow)
    for measure in (coast_time_s, coast_distance_m):
        whole = measure(fast, slow, rolling_mps2=rolling, drag_per_m=drag)
        parts = (measure(fast, middle, rolling_mps2=rolling, drag_per_m=drag)
                 + measure(middle, slow, rolling_mps2=rolling, drag_per_m=drag))
        assert parts == pytest.approx(whole, rel=1e-6, abs=1e-6)


@given(speeds=SPEEDS, rolling=st.floats(0.05, 2), drag=st.floats(1e-4, 0.01))
def test_mean_speed_lies_between(speeds: tuple[float, float], rolling: float, drag: float) -> None:
    """Distance over time is a speed between the first and the last."""
    fast, slow = speeds
    seconds = coast_time_s(fast, slow, rolling_mps2=rolling, drag_per_m=drag)
    metres = coast_distance_m(fast, slow, rolling_mps2=rolling, drag_per_m=drag)
    assert slow * seconds - 1e-6 <= metres <= fast * seconds + 1e-6


@pytest.mark.parametrize(("rolling", "drag"), [(0.2, 0.001), (0.2, 0.0), (0.0, 0.001)])
def test_closed_forms_agree_with_small_steps(rolling: float, drag: float) -> None:
    """Stepping the equation of motion by a millisecond (midpoint rule) gives the same time and distance."""
    speed, metres, seconds, step = 70.0, 0.0, 0.0, 0.001
    while speed > 40:
        middle = speed - 0.5 * step * (rolling + drag * speed**2)
        slower = speed - step * (rolling + drag * middle**2)
        metres, seconds, speed = metres + 0.5 * step * (speed + slower), seconds + step, slower
    assert coast_time_s(70, 40, rolling_mps2=rolling, drag_per_m=drag) == pytest.approx(seconds, abs=0.002)
    assert coast_distance_m(70, 40, rolling_mps2=rolling, drag_per_m=drag) == pytest.approx(metres, abs=0.1)


@pytest.mark.parametrize(("start", "end", "rolling", "drag", "complaint"), [
    (40, 70, 0.2, 0.001, "only slows down"),
    (70, -1, 0.2, 0.001, "only slows down"),
    (70, 40, -0.2, 0.001, "must not be negative"),
    (70, 40, 0, 0, "not zero altogether"),
    (70, 0, 0, 0.001, "never stops a car"),
])
def test_nonsense_is_refused(start: float, end: float, rolling: float, drag: float, complaint: str) -> None:
    """Speeding up, negative resistance and a stop by drag alone are errors that say why."""
    for measure in (coast_time_s, coast_distance_m):
        with pytest.raises(ValueError, match=complaint):
            measure(start, end, rolling_mps2=rolling, drag_per_m=drag)
