"""Who is behind and ahead at a place, from the crossings of all cars: by hand, and on made-up fields."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pitwall.engine.car import CarTrack
from pitwall.engine.gaps import HORIZON_S, Gaps, gaps_at, passed, passes
from tests.unit.engine_stage import LOOPS, PIT_ENTRY, PIT_EXIT, pace, round_map

BRIDGE = 0.5


def on_lap(car: str, begin: float, now: float, lap_s: float = 100.0) -> CarTrack:
    """A car whose timed lap began at ``begin``, seen up to ``now``; it has driven such a lap before."""
    track = CarTrack(car, round_map(), pace(), True)
    track.leave(begin - 2 * lap_s)
    track.cross("line", begin - lap_s, False)
    for t, loop in sorted((begin + lap_s * (share - back), loop) for loop, share in LOOPS.items() for back in (1, 0)):
        if t <= now and t > begin - lap_s:
            if t > begin and track.lap is not None and track.lap.start_t < begin:
                track.cross("line", begin, False)
            track.cross(loop, t, False)
    if track.lap is not None and track.lap.start_t < begin <= now:
        track.cross("line", begin, False)
    track.judge("timed")
    return track


def test_the_closest_cars_are_found_by_when_they_pass_the_place() -> None:
    """Ours is at the bridge at 1050; others on laps of 100 s that began 4 s later, 20 s later and 6 s earlier."""
    others = [on_lap("4", 1004, 1035), on_lap("20", 1020, 1035), on_lap("6", 994, 1035)]
    found = gaps_at(BRIDGE, 1050, others)
    assert found.behind is not None
    assert found.ahead is not None
    assert (found.behind.car, found.behind.gap_s) == ("4", pytest.approx(4))
    assert (found.ahead.car, found.ahead.gap_s) == ("6", pytest.approx(6))


def test_a_quick_car_gains_until_the_place() -> None:
    """12 s behind at the line on a lap of 80 s, it is 12 - 10 = 2 s behind half a lap of ours further on."""
    found = gaps_at(BRIDGE, 1050, [on_lap("q", 1012, 1020, lap_s=80)]).behind
    assert found is not None
    assert found.gap_s == pytest.approx(2, abs=0.3)


def test_a_car_that_passed_already_is_ahead_and_comes_round_again() -> None:
    """It was at the bridge a moment ago: ahead now, and behind by a lap for a place as far ahead as that."""
    track = on_lap("7", 1000, 1075)
    assert passed(track, BRIDGE) == pytest.approx(1050)
    assert [one.t for one in passes(track, BRIDGE, 1300)] == pytest.approx([1050, 1150, 1250])
    assert gaps_at(BRIDGE, 1052, [track]).ahead is not None
    assert gaps_at(BRIDGE, 1145, [track]).behind is not None


def test_who_cannot_come_is_not_met() -> None:
    """In the garage; stopped on track; on an in-lap for a place beyond the pit entry, or a lap later."""
    garage = CarTrack("g", round_map(), pace(), True)
    stopped = on_lap("s", 1000, 1035)
    stopped.fall_silent(1300)
    coming_in = on_lap("i", 1000, 1035)
    coming_in.move("called_in")
    assert gaps_at(BRIDGE, 1049, [garage, stopped]) == Gaps(None, None)
    assert [one.t for one in passes(coming_in, BRIDGE, 2000)] == pytest.approx([1050], abs=6)
    assert list(passes(coming_in, (1 + PIT_ENTRY) / 2, 2000)) == []


def test_a_car_that_has_just_left_is_met_beyond_the_pit_exit_only() -> None:
    """On its out-lap it never passes what lies before the pit exit."""
    track = CarTrack("o", round_map(), pace(), True)
    track.leave(1000)
    assert next(passes(track, PIT_EXIT / 2, 1090), None) is None
    assert next(passes(track, BRIDGE, 1090)).kind == "out"


def test_beside_us_counts_as_close() -> None:
    """So little ahead that it may as well be behind: too close for a procedure that needs room, not for any other."""
    found = gaps_at(BRIDGE, 1050, [on_lap("7", 999.8, 1035)])
    assert found.behind is None
    assert found.close_behind(8) is found.ahead
    assert found.close_behind(0) is None


def test_the_doubt_grows_with_the_time_since_the_crossings() -> None:
    """Seen a moment ago, or last at the line; and with our own doubt it is larger than either."""
    near, far = (gaps_at(BRIDGE, 1045, [on_lap("7", 1000, now)]).behind for now in (1031, 1001))
    assert near is not None
    assert far is not None
    assert near.doubt_s < far.doubt_s
    ours = gaps_at(BRIDGE, 1045, [on_lap("7", 1000, 1031)], own_doubt_s=3.0).behind
    assert ours is not None
    assert ours.doubt_s > max(3.0, near.doubt_s)


@given(
    st.lists(st.floats(0, 99), min_size=1, max_size=8, unique_by=lambda begin: round(begin, 1)),
    st.floats(0.32, 0.68), st.floats(0, 99),
)  # fmt: skip
def test_on_a_field_at_one_pace_the_gaps_are_exact(begins: list[float], phase: float, ours: float) -> None:
    """Every car laps in 100 s: who is closest behind and ahead at a place follows from when their laps began."""
    assume(all(0.01 < abs(begin - ours) < 99.99 for begin in begins))  # side by side: either order is right
    now = 1000 + ours + 31
    at = 1000 + ours + 100 * phase
    began = [1000 + begin - 100 * (1000 + begin > now) for begin in begins]
    others = [on_lap(str(number), begin, now) for number, begin in enumerate(began)]
    found = gaps_at(phase, at, others)
    behind = min((begin - ours) % 100 for begin in begins)
    ahead = min((ours - begin) % 100 for begin in begins)
    if 0.01 < behind < HORIZON_S - 0.01:
        assert found.behind is not None
        assert found.behind.gap_s == pytest.approx(behind, abs=1e-3)
    if 0.01 < ahead < HORIZON_S - 0.01:
        assert found.ahead is not None
        assert found.ahead.gap_s == pytest.approx(ahead, abs=1e-3)


@given(st.lists(st.floats(0, 99), min_size=2, max_size=6), st.randoms(use_true_random=False), st.floats(0.1, 0.9))
def test_the_order_of_the_cars_does_not_matter_and_more_cars_are_never_further(
    begins: list[float], rng: object, phase: float
) -> None:
    """Shuffled, the answer is the same; with one car taken out, no gap becomes smaller."""
    others = [on_lap(str(number), 900 + begin, 1000) for number, begin in enumerate(begins)]
    found = gaps_at(phase, 1020, others)
    rng.shuffle(others)  # type: ignore[attr-defined]  # hypothesis gives a random.Random
    assert gaps_at(phase, 1020, others) == found
    fewer = gaps_at(phase, 1020, others[1:])
    for all_of_them, without in ((found.behind, fewer.behind), (found.ahead, fewer.ahead)):
        assert without is None or (all_of_them is not None and all_of_them.gap_s <= without.gap_s)
