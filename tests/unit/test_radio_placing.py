"""Where a call is spoken: windows that end in time, in the last stretch that serves."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.radio.placing import COMFORT_S, NEAR_S, late_from_s, latest_start, place_call

SECONDS = st.floats(0, 30)
MOMENTS = st.floats(-50, 400)
STRETCHES = st.one_of(
    st.none(),
    st.lists(st.tuples(MOMENTS, st.floats(0.1, 40)), max_size=8).map(
        lambda pairs: sorted((start, start + length) for start, length in pairs)
    ),
)


def test_without_geometry_the_deadline_alone_decides() -> None:
    """Where no stretch is known the window ends when the driver can just still act, and is as long as asked."""
    window = place_call(100.0, 3.0, 2.0, None, 50.0, 12.0)
    assert (window.from_s, window.by_s, window.in_listening) == (83.0, 95.0, None)


def test_the_window_does_not_begin_before_the_lap() -> None:
    """A call that makes sense from 90 s on is not begun before."""
    assert place_call(100.0, 3.0, 2.0, None, 90.0, 12.0).from_s == 90.0


def test_a_call_that_can_no_longer_be_in_time_says_when_it_had_to_be() -> None:
    """Earliest after the deadline: the window shrinks onto the deadline instead of promising a late one."""
    window = place_call(100.0, 3.0, 2.0, None, 99.0, 12.0)
    assert window.from_s == window.by_s == 95.0


def test_the_call_ends_inside_the_last_stretch() -> None:
    """Two straights: the later one serves, and the call is finished before it ends."""
    window = place_call(100.0, 3.0, 2.0, [(40.0, 50.0), (80.0, 92.0)], 0.0, 8.0)
    assert window.in_listening is True
    assert (window.from_s, window.by_s) == (81.0, 89.0)


def test_a_stretch_too_short_for_the_sentence_does_not_serve() -> None:
    """Three seconds of speech do not go onto a straight of two: the one before it is taken."""
    window = place_call(100.0, 3.0, 2.0, [(60.0, 70.0), (90.0, 92.0)], 0.0, 8.0)
    assert (window.from_s, window.by_s) == (60.0, 67.0)


def test_a_moment_nobody_can_hit_reaches_back() -> None:
    """A last straight that leaves half a second to begin in is joined with the one before it."""
    window = place_call(100.0, 3.0, 2.0, [(80.0, 86.0), (91.5, 95.0)], 0.0, 12.0)
    assert window.by_s - window.from_s >= COMFORT_S
    assert window.by_s <= 92.0


def test_comfort_is_not_bought_with_a_call_long_before_its_place() -> None:
    """A comfortable straight more than the near time earlier is not used: it would be forgotten."""
    window = place_call(200.0, 3.0, 2.0, [(100.0, 130.0), (190.0, 193.5)], 0.0, 10.0)
    assert NEAR_S < 190.5 - 127.0
    assert window.by_s == pytest.approx(190.5)


def test_no_stretch_serves_so_the_deadline_decides_and_says_so() -> None:
    """Where nothing fits, the call is made outside a stretch, and marked so."""
    window = place_call(100.0, 3.0, 2.0, [(97.0, 120.0)], 0.0, 12.0)
    assert (window.from_s, window.by_s, window.in_listening) == (83.0, 95.0, False)


def test_a_call_that_another_follows_begins_before_it() -> None:
    """Two calls share a channel: the first is begun no later than the second leaves room for."""
    assert place_call(100.0, 3.0, 2.0, None, 0.0, 12.0, begin_by_s=80.0).by_s == 80.0
    assert place_call(100.0, 3.0, 2.0, [(60.0, 99.0)], 0.0, 12.0, begin_by_s=80.0).by_s == 80.0


def test_what_is_to_come_late_keeps_a_stretch_for_each_call_and_one_to_spare() -> None:
    """Calls of 2 s, over by 88: the last stretch leaves half a second to begin in, which serves if another was missed.
    One call waits for the second last; two begin one sooner; four have too few, and do not wait."""
    stretches = [(10.0, 20.0), (40.0, 50.0), (60.0, 70.0), (85.5, 99.0)]
    assert [late_from_s(stretches, 2.0, 88.0, calls) for calls in (1, 2, 3, 4)] == [60.0, 40.0, 10.0, float("-inf")]


@given(act=MOMENTS, spoken=SECONDS, reaction=st.floats(0, 10), stretches=STRETCHES, earliest=MOMENTS,
       window=st.floats(0, 40), begin_by=st.none() | MOMENTS)  # fmt: skip
def test_every_window_ends_in_time_for_the_driver(
    act: float, spoken: float, reaction: float, stretches: list[tuple[float, float]] | None, earliest: float,
    window: float, begin_by: float | None,
) -> None:  # fmt: skip
    """Begun at the last moment of its window, said and reacted to, a call is acted on by its time; always."""
    found = place_call(act, spoken, reaction, stretches, earliest, window, begin_by)
    assert found.from_s <= found.by_s
    assert found.by_s + spoken + reaction <= act + 1e-6
    assert begin_by is None or found.by_s <= begin_by
    assert found.by_s - found.from_s <= window + 1e-6
    if found.in_listening:
        assert stretches is not None
        assert found.from_s >= earliest - 1e-6
        assert any(start <= found.by_s + 1e-6 and found.by_s + spoken <= end + 1e-6 for start, end in stretches)


def test_the_latest_start_counts_back_from_the_act() -> None:
    """Act at 100, two seconds to react, three to speak: begin by 95."""
    assert latest_start(100.0, 3.0, 2.0) == 95.0
