"""When a car is where, on dirty timing: each thing that a feed does by name, and sightings between the loops."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine import positions
from pitwall.engine.car import CarTrack
from pitwall.engine.field import Field
from pitwall.engine.session import Session
from pitwall.model import events as ev
from pitwall.model.events import CarPositioned
from pitwall.runtime.following import ClockFollower
from tests.unit.engine_stage import shipped
from tests.unit.pace_stage import Cars, driven_field, rising


def on_a_lap(ratio: float = 1.0) -> tuple[Cars, CarTrack, float]:
    """A seasoned field, its first car past loop 1 of a lap at this ratio; and when that lap began."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    begin = cars.now["car-0"]
    cars.lap("car-0", 30.0 * ratio)
    return cars, cars.tracks["car-0"], begin


# -- what feeds do -----------------------------------------------------------------------------------------------------


def test_a_late_crossing_counts_from_when_it_was() -> None:
    """Loop 1 is heard 20 s late, after the car must have passed: the arrival is the one that it would have been."""
    _, track, _ = on_a_lap()
    in_time = track.arrival(1.0)
    late = driven_field()
    late.laps("car-0", 1.25)
    late.tracks["car-1"].cross("1", late.now["car-0"] + 45.0, False)  # others were heard meanwhile
    late.lap("car-0", 30.0)
    assert late.tracks["car-0"].arrival(1.0) == pytest.approx(in_time)


def test_a_missing_loop_leaves_the_next_one_to_tell() -> None:
    """Loop 1 is lost: after loop 2 the line is expected within half a second of what it would be with both."""
    found = []
    for without in ((), ("1",)):
        cars = driven_field()
        cars.laps("car-0", 1.25)
        cars.lap("car-0", 30.0, 40.0, without=without)
        found.append(cars.tracks["car-0"].arrival(1.0))
    assert found[0] == pytest.approx(found[1], abs=0.5)


def test_a_missing_line_is_put_in_where_it_must_have_been() -> None:
    """No line is heard: at loop 1 of the next lap the car is on that lap, and its line within a second of the truth."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    begin = cars.now["car-0"]
    cars.lap("car-0", 30.0, 40.0, 30.0, without=("line",))
    cars.lap("car-0", 30.0)
    assert cars.tracks["car-0"].arrival(1.0) == pytest.approx(begin + 200.0, abs=1.0)


def test_a_doubled_crossing_changes_nothing() -> None:
    """The same loop again, at once or half a minute later with a time of its own: the arrival stays."""
    cars, track, _ = on_a_lap()
    before = track.arrival(1.0), track.spread(1.0)
    for again in (0.0, 0.4, 25.0):
        track.cross("1", cars.now["car-0"] + again, False)
        cars.judge("car-0")
        assert (track.arrival(1.0), track.spread(1.0)) == before


def test_crossings_out_of_order_end_in_the_same_arrival() -> None:
    """Loop 2 is heard before loop 1: once both are in, all is as if they had come in order."""
    found = []
    for order in (("1", "2"), ("2", "1")):
        cars = driven_field()
        cars.laps("car-0", 1.25)
        begin, track = cars.now["car-0"], cars.tracks["car-0"]
        for loop in order:
            track.cross(loop, begin + {"1": 30.2, "2": 70.3}[loop], False)
            cars.judge("car-0")
        found.append((track.arrival(1.0), track.spread(1.0)))
    assert found[0] == pytest.approx(found[1])


def test_a_lap_that_spans_a_stop_teaches_nothing() -> None:
    """The pit entry, the stop and the exit are lost, and the next line comes ten minutes later with a lap time over it
    all: the lap is no timed one, and the lap after it is expected as ever."""
    cars, track, _ = on_a_lap()
    quick = track.pace.quick_s()
    cars.now["car-0"] += 600.0
    track.cross("line", cars.now["car-0"], False, lap_time_s=630.0)
    cars.judge("car-0")
    assert track.laps[-1].kind != "timed"
    assert track.pace.quick_s() == quick
    begin = cars.now["car-0"]
    cars.lap("car-0", 30.0)
    assert track.arrival(1.0) == pytest.approx(begin + 100.2, abs=0.5)


def test_an_in_lap_that_never_reaches_the_line_ends_at_the_entry() -> None:
    """After the pit entry no arrival is told and no spread; the field's experience of whole laps has not lost its
    pace; out again, the car is on an out-lap that begins at the exit."""
    cars, track, _ = on_a_lap(1.2)
    cars.now["car-0"] += 78.0
    track.come_in(cars.now["car-0"])
    assert track.arrival(1.0) is None
    assert track.spread(1.0) is None
    cars.now["car-0"] += 400.0
    track.leave(cars.now["car-0"])
    cars.judge("car-0")
    line = track.arrival(1.0)
    assert line is not None
    assert 105.0 < line - cars.now["car-0"] < 140.0


def test_a_car_that_is_silent_under_red_is_not_moved() -> None:
    """Nothing is heard of a car from the red flag to its pit entry: what was expected stays on the books, nothing is
    learned as a timed lap, and the lap ends as one that came in."""
    _, track, begin = on_a_lap()
    track.red = True
    expected = track.arrival(1.0)
    assert expected is not None
    track.lap.disturbed = True  # type: ignore[union-attr]  # on a lap: see on_a_lap
    quick = len(track.pace.quick)
    assert track.arrival(1.0) == expected
    track.come_in(begin + 190.0)
    assert track.laps[-1].kind == "in"
    assert len(track.pace.quick) == quick


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0.0, 1.5), min_size=9, max_size=20), st.floats(0.0, 3.0))
def test_a_delay_that_all_messages_share_cannot_be_seen(delays: list[float], shared: float) -> None:
    """From stamps and receipts alone the delays are known against one another: with a constant added to all, whatever
    the clock does is the same, that constant later."""
    ended = []
    for constant in (0.0, shared):
        follower, ours = ClockFollower(), 0.0  # how far our clock is behind the receipts
        for at, delay in enumerate(delays):
            received = 10.0 + at + delay + constant
            anchor = follower.judge(10.0 + at, 1.0, received - ours)
            if anchor is not None:
                ours = received - anchor
        ended.append(ours)
    assert ended[1] - ended[0] == pytest.approx(shared, abs=1e-6)


def test_a_lap_that_comes_in_is_expected_as_the_laps_that_came_in() -> None:
    """In-laps are driven at the pace to loop 1, then slowly: believed to come in, a lap is expected so at the places
    before the pit entry; believed to stay out, it is not."""
    cars = Cars("a", "b")
    for _ in range(8):
        for name in cars.tracks:
            cars.laps(name, 1.25, 1.0, 1.002)
            cars.lap(name, 30.0, 64.0)
            cars.now[name] += 40.0
            cars.tracks[name].come_in(cars.now[name])
            cars.now[name] += 300.0
            cars.tracks[name].leave(cars.now[name])
    cars.laps("a", 1.25)
    begin, track = cars.now["a"], cars.tracks["a"]
    cars.lap("a", 30.0)
    staying = track.arrival(0.7), track.arrival(track.lap_map.pit_entry)
    track.judge("in")
    track.move("called_in")
    coming = track.arrival(0.7), track.arrival(track.lap_map.pit_entry)
    assert staying == (pytest.approx(begin + 70.0, abs=2.0), pytest.approx(begin + 95.0, abs=3.0))
    assert coming == (pytest.approx(begin + 94.0, abs=2.0), pytest.approx(begin + 134.0, abs=4.0))


# -- sightings ---------------------------------------------------------------------------------------------------------


def test_a_sighting_moves_the_arrival_by_what_the_car_lost() -> None:
    """Half-way from loop 1 to loop 2, four seconds later than expected: the line comes later by four to six seconds."""
    _, track, begin = on_a_lap()
    before = track.arrival(1.0)
    assert before is not None
    assert track.sight(begin + 54.0, 0.5)
    after = track.arrival(1.0)
    assert after is not None
    assert 4.0 <= after - before + 0.2 <= 9.0
    assert track.arrival(0.5) == pytest.approx(begin + 54.0)
    assert track.spread(0.5) == pytest.approx(0.0, abs=1e-6)


def test_a_sighting_where_the_car_was_expected_changes_little_and_narrows_the_arrival() -> None:
    """On its mark half-way: the same line, known better than before."""
    _, track, begin = on_a_lap()
    before, wide = track.arrival(1.0), track.spread(1.0)
    assert track.sight(begin + 60.1, 0.6)
    assert track.arrival(1.0) == pytest.approx(before, abs=0.3)
    assert (track.spread(1.0) or 99.0) < (wide or 0.0)


def test_a_crossing_counts_more_than_a_sighting() -> None:
    """Once a loop further on is crossed, the arrival is what it is without the sighting."""
    found = []
    for seen in (False, True):
        cars, track, begin = on_a_lap()
        if seen:
            track.sight(begin + 58.0, 0.5)
        track.cross("2", begin + 70.0, False)
        cars.judge("car-0")
        found.append(track.arrival(1.0))
    assert found[0] == found[1]


@pytest.mark.parametrize(("after_s", "phase"), [(50.0, 0.2), (29.0, 0.5), (33.0, 0.95), (150.0, 1.0)])
def test_a_sighting_that_cannot_be_true_is_not_taken(after_s: float, phase: float) -> None:
    """Behind the last loop, older than it, two thirds of a lap in three seconds, or beyond the line."""
    _, track, begin = on_a_lap()
    before = track.arrival(1.0)
    assert not track.sight(begin + after_s, phase)
    assert track.arrival(1.0) == before


def test_a_car_in_the_pits_is_not_sighted() -> None:
    """A position of a car that stands in its garage moves nothing."""
    cars, track, _ = on_a_lap()
    cars.now["car-0"] += 70.0
    track.come_in(cars.now["car-0"])
    assert not track.sight(cars.now["car-0"] + 5.0, 0.97)


def test_a_position_on_the_bus_reaches_the_track() -> None:
    """The session takes a position for every car that is followed, ours or another."""
    session = Session()
    setup = shipped()
    ours, other = min(setup.plans), min(setup.field_cars)
    session.handle(ev.Stamped(seq=1, received_t=0.0, event=ev.SessionPrepared(id="s", t=0.0, setup=setup)))
    for at, name in enumerate((ours, other)):
        left = ev.CarPitted(id=f"out-{name}", t=100.0 + at, car=name, where="exit")
        session.handle(ev.Stamped(seq=2 + at, received_t=102.0, event=left))
    for at, name in enumerate((ours, other)):
        track = session.field.track(name)
        metres = track.lap_map.distance_at_phase(0.4)
        assert metres is not None
        seen = CarPositioned(id=f"at-{name}", t=160.0, car=name, distance_m=metres)
        session.handle(ev.Stamped(seq=4 + at, received_t=160.2, event=seen))
        assert track.sighted is not None
        assert track.arrival(0.4) == pytest.approx(160.0, abs=0.05)


def test_positions_of_a_feed_are_sightings() -> None:
    """Metres from the line become a phase of the car's lap; a car that is not followed stays so; earliest arrivals
    count from there."""
    setup = shipped()
    field = Field(setup)
    name = min(setup.plans)
    track = field.track(name)
    track.leave(100.0)
    where = track.lap_map.distance_at_phase(0.6)
    assert where is not None
    now = 100.0 + 0.8 * track.lap_map.lap_s
    before = track.arrival(1.0)
    assert positions.sighted(field, CarPositioned(id="p1", t=now, car=name, distance_m=where))
    assert track.arrival(0.6) == pytest.approx(now, abs=0.05)
    assert track.arrival(1.0) != before
    assert (track.earliest(1.0) or 0.0) > now
    assert not positions.sighted(field, CarPositioned(id="p2", t=now, car="unknown", distance_m=where))
    assert "unknown" not in field.tracks


@settings(max_examples=40, deadline=None)
@given(
    ratio=st.floats(0.95, 1.7),
    steps=st.lists(st.tuples(st.floats(0.5, 60.0), st.floats(0.0, 0.3)), max_size=6),
)
def test_arrivals_after_sightings_lie_ahead_and_in_order(ratio: float, steps: list[tuple[float, float]]) -> None:
    """Wherever a car is seen: places ahead come after that sighting, later places no earlier."""
    _, track, _ = on_a_lap(ratio)
    t, phase = track.seen_t, track.seen_phase
    for seconds, way in steps:
        if track.sight(t + seconds, phase + way):
            t, phase = t + seconds, phase + way
    times = [track.arrival(phase + (1.0 - phase) * part / 6) or 0.0 for part in range(1, 7)]
    assert rising([t, *times])
    assert all((track.spread(phase + (1.0 - phase) * part / 6) or 0.0) >= 0.0 for part in range(1, 7))


@settings(max_examples=40, deadline=None)
@given(lost=st.integers(0, 11), ratio=st.sampled_from([1.0, 1.01, 1.4]))
def test_any_one_lost_crossing_changes_later_arrivals_by_a_bounded_amount(lost: int, ratio: float) -> None:
    """Of four laps any one crossing is lost, a line too: the arrival of the lap after moves by under 4 s. Only the line
    that begins it says how slow it is so far: put in from the loops around, it is off by up to half of what the first
    sector lost, and so is the pace of the rest (70 s of this lap)."""
    found = []
    for loses in (False, True):
        cars = driven_field(cars=3, runs=2)
        for number, own in enumerate((1.25, 1.0, 1.4, 1.003)):
            at = lost - 3 * number
            without = (("1", "2", "line")[at],) if loses and 0 <= at < 3 else ()
            cars.lap("car-1", 30 * own, 40 * own, 30 * own, without=without)
        cars.lap("car-1", 30 * ratio)
        found.append(cars.tracks["car-1"].arrival(1.0) or 0.0)
    bound = 4.0 + (0.5 * 70.0 * (ratio - 1.0) if lost == 11 else 0.0)
    assert found[0] == pytest.approx(found[1], abs=bound)


@settings(max_examples=20)
@given(st.lists(st.floats(0.35, 1.0), min_size=1, max_size=5), st.lists(st.floats(0.35, 0.9), max_size=3))
def test_what_is_read_off_an_outlook_does_not_hang_on_what_was_asked_before(
    places: list[float], before: list[float]
) -> None:
    """Places asked for again, and after others, are reached when they are reached for one who asks for the first time;
    the same by the outlook itself, on any kind of lap."""
    _, asked, _ = on_a_lap()
    for phase in (*before, *places):
        asked.arrival(phase)
    for phase in places:
        _, fresh, _ = on_a_lap()
        assert asked.arrival(phase) == fresh.arrival(phase)
        mine, other = asked.outlook(), fresh.outlook()
        assert mine is not None
        assert other is not None
        for coming_in in (False, True):
            assert mine.at(phase, coming_in).tolist() == other.at(phase, coming_in).tolist()
