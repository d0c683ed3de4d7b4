"""Listening windows: calm, long enough, outside the quiet places, and whole over the line."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.track.listening import BRAKING_MPS2, listening_windows, named_windows, start_windows
from pitwall.track.places import Stretch
from pitwall.track.profile import SpeedProfile, speed_profile

CAR = Car(car=1, name="test car", mass_kg=780, power_w=560_000, drag_area_m2=1.3, downforce_area_m2=3.4, grip=1.55,
          brake_mps2=35, traction_mps2=13, top_speed_mps=92, fuel_per_lap_kg=1.8)


def _lap(*pieces: tuple[float, float | None]) -> SpeedProfile:
    segments = [{"length_m": length, "radius_m": radius} for length, radius in pieces]
    return speed_profile(Circuit.model_validate({
        "circuit": 1, "name": "ring", "segments": segments, "loops": [{"loop": "line"}],
        "pit": {"entry_m": 20, "exit_m": 30, "last_chance_m": 10},
    }), CAR)


OVAL = _lap((300, None), (120, 40), (600, None), (120, 40), (300, None))


def _length_s(windows: tuple[tuple[float, float], ...], lap: SpeedProfile) -> float:
    return sum(end - start for start, end in windows) * lap.lap_s


def test_straights_are_windows_and_braking_and_corners_are_not() -> None:
    """On an oval a window opens at the corner's end and closes where braking begins."""
    windows = listening_windows(OVAL, lateral_limit_mps2=10, least_s=2)
    assert len(windows) == 3  # the one over the line is cut there
    start, end = (OVAL.distance_at(phase * OVAL.lap_s) for phase in windows[1])
    assert start == pytest.approx(420, abs=3)
    hardest = OVAL.s_m[int(np.argmin(np.where((OVAL.s_m > 420) & (OVAL.s_m < 1020), OVAL.ax_mps2, 0)))]
    assert 700 < end < 1020
    assert end < hardest


@settings(max_examples=40, deadline=None)
@given(limit=st.floats(2, 30), least=st.floats(0, 6))
def test_every_window_is_calm_and_in_order(limit: float, least: float) -> None:
    """No window holds braking or more load than the limit; windows rise, stay in 0..1 and do not touch."""
    windows = listening_windows(OVAL, lateral_limit_mps2=limit, least_s=least)
    edges = [edge for window in windows for edge in window]
    assert edges == sorted(edges)
    assert all(0 <= edge <= 1 for edge in edges)
    middle = 0.5 * (OVAL.t_s[:-1] + OVAL.t_s[1:]) / OVAL.lap_s
    for start, end in windows:
        inside = (middle > start) & (middle < end)
        assert np.all(OVAL.ax_mps2[:-1][inside] >= -BRAKING_MPS2)
        assert np.all(np.abs(OVAL.ay_mps2[:-1][inside]) <= limit)


@settings(max_examples=25, deadline=None)
@given(low=st.floats(1, 20), more=st.floats(0, 20), least=st.floats(0, 5), longer=st.floats(0, 5))
def test_stricter_limits_never_give_more(low: float, more: float, least: float, longer: float) -> None:
    """A higher lateral limit never shortens the windows, a longer least length never lengthens them."""
    loose = listening_windows(OVAL, lateral_limit_mps2=low + more, least_s=least)
    tight = listening_windows(OVAL, lateral_limit_mps2=low, least_s=least + longer)
    assert _length_s(tight, OVAL) <= _length_s(loose, OVAL) + 1e-9


def test_a_window_over_the_line_is_judged_by_its_whole_length() -> None:
    """Two halves that are too short alone stay when together they are long enough."""
    windows = listening_windows(OVAL, lateral_limit_mps2=10, least_s=0)
    first, last = ((end - start) * OVAL.lap_s for start, end in (windows[0], windows[-1]))
    least = max(first, last) + 0.5
    assert least < first + last
    kept = listening_windows(OVAL, lateral_limit_mps2=10, least_s=least)
    assert kept[0] == windows[0]
    assert kept[-1] == windows[-1]
    assert windows[0][0] == 0
    assert windows[-1][1] == 1


def test_short_windows_are_dropped() -> None:
    """Nothing shorter than the least length remains, and a least length beyond the lap leaves nothing."""
    short = _lap((400, None), (120, 40), (60, None), (120, 40), (400, None))
    assert len(listening_windows(short, lateral_limit_mps2=10, least_s=0.2)) == 3
    assert len(listening_windows(short, lateral_limit_mps2=10, least_s=2.5)) == 2
    assert listening_windows(short, lateral_limit_mps2=10, least_s=60) == ()


def test_a_lap_without_load_is_one_window() -> None:
    """Where the car is calm all round, the whole lap is a window, unless even that is too short."""
    ring = _lap((4500, 2000), (4500, 2000))
    assert listening_windows(ring, lateral_limit_mps2=10, least_s=2) == ((0.0, 1.0),)
    assert listening_windows(ring, lateral_limit_mps2=10, least_s=ring.lap_s + 1) == ()


@pytest.mark.parametrize("quiet", [Stretch(500, 650), Stretch(1300, 150)])
def test_quiet_stretches_are_cut_out(quiet: Stretch) -> None:
    """A quiet stretch, over the line or not, lies in no window, and the rest stays."""
    free = listening_windows(OVAL, lateral_limit_mps2=10, least_s=0)
    cut = listening_windows(OVAL, lateral_limit_mps2=10, least_s=0, quiet=[quiet])
    for phase in np.linspace(0, 1, 400, endpoint=False):
        was, remains = (any(a <= phase < b for a, b in windows) for windows in (free, cut))
        inside = quiet.holds(OVAL.distance_at(phase * OVAL.lap_s))
        near = min(abs(OVAL.distance_at(phase * OVAL.lap_s) - edge) for edge in (quiet.start, quiet.end)) < 2
        assert near or remains == (was and not inside)


def test_a_quiet_point_takes_the_least_length_around_it() -> None:
    """A point has no extent of its own: half the least length is kept quiet on either side."""
    free = listening_windows(OVAL, lateral_limit_mps2=10, least_s=1)
    cut = listening_windows(OVAL, lateral_limit_mps2=10, least_s=1, quiet=[Stretch(600, 600)])
    assert _length_s(free, OVAL) - _length_s(cut, OVAL) == pytest.approx(1.0, abs=0.1)
    assert not any(start < OVAL.time_at(600) / OVAL.lap_s < end for start, end in cut)


def test_a_stretch_of_the_circuit_file_counts_as_calm() -> None:
    """The engineer knows that drivers listen in the long corner: it is a window there, whatever the load."""
    corner = Stretch(300.0, 420.0)
    least = 2.0
    before = listening_windows(OVAL, lateral_limit_mps2=10, least_s=least)
    windows = listening_windows(OVAL, lateral_limit_mps2=10, least_s=least, always=[corner])
    middle = OVAL.time_at(360.0) / OVAL.lap_s
    assert not any(start <= middle <= end for start, end in before)
    assert any(start <= middle <= end for start, end in windows)
    quiet = listening_windows(OVAL, lateral_limit_mps2=10, least_s=least, always=[corner], quiet=[corner])
    assert not any(start <= middle <= end for start, end in quiet)


def test_named_windows_stand_in_for_geometry() -> None:
    """Shares of the lap from the file: joined where they meet, cut at the line, long enough in seconds."""
    named = [Stretch(0.9, 0.05), Stretch(0.3, 0.4), Stretch(0.38, 0.5), Stretch(0.6, 0.61)]
    assert named_windows(named, 80.0, 2.0) == ((0.0, 0.05), (0.3, 0.5), (0.9, 1.0))
    assert named_windows([Stretch(0.99, 0.02)], 80.0, 2.0) == ((0.0, 0.02), (0.99, 1.0))
    assert named_windows([Stretch(0.99, 0.02)], 80.0, 3.0) == ()


def test_quiet_places_cut_named_windows() -> None:
    """A quiet point takes its surroundings out of a named stretch."""
    before, after = named_windows([Stretch(0.2, 0.6)], 100.0, 4.0, [Stretch(0.4, 0.4)])
    assert before == pytest.approx((0.2, 0.38))
    assert after == pytest.approx((0.42, 0.6))


def test_the_whole_lap_may_be_named() -> None:
    """From the line to the line is the whole lap."""
    assert named_windows([Stretch(0.0, 1.0)], 80.0, 2.0) == ((0.0, 1.0),)
    assert named_windows([Stretch(0.25, 0.25)], 80.0, 2.0) == ((0.0, 1.0),)


@pytest.mark.parametrize(("stretches", "starts"), [
    ([(10, 20), (30, 34)], ((12, 17), (30, 31))),
    ([(10, 14.9)], ()),
    ([(10, 20), (18, 40)], ((12, 37),)),
    (None, ((12, 47),)),
    ([], ()),
])  # fmt: skip
def test_a_call_may_begin_where_it_ends_inside_its_stretch(
    stretches: list[tuple[float, float]] | None, starts: tuple[tuple[float, float], ...]
) -> None:
    """Three seconds of speech from 12 to 50 s: the last start lies three seconds before the end of the stretch."""
    assert start_windows(stretches, 3.0, 12.0, 50.0) == starts


def test_a_start_window_that_is_too_short_is_left_out() -> None:
    """Only windows with at least so much room to begin in."""
    assert start_windows([(10, 14), (30, 40)], 3.0, 0.0, 50.0, least_s=2.0) == ((30, 37),)


SPANS = st.lists(st.builds(lambda begin, length: (begin, begin + length), st.integers(0, 40), st.integers(1, 12)),
                 max_size=6)


@given(SPANS, st.integers(1, 6), st.integers(0, 30), st.integers(0, 60))
def test_the_order_in_which_stretches_are_given_does_not_matter(
    spans: list[tuple[int, int]], length: int, begin: int, end: int
) -> None:
    """As they come, sorted, or joined where they touch: something may be begun at the same moments."""
    joined: list[tuple[int, int]] = []
    for first, last in sorted(spans):
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    wanted = start_windows(tuple(joined), length, begin, end)
    assert start_windows(spans, length, begin, end) == wanted
    assert start_windows(tuple(sorted(spans)), length, begin, end) == wanted
    assert start_windows(iter(spans), length, begin, end) == wanted
