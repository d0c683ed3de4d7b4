"""Which kind a running lap is and when the car reaches each place: learned from the laps that were driven."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.car import CarTrack
from pitwall.pace.outlook import Outlook
from pitwall.pace.weighing import HIGH, LOW, MIDDLE
from tests.unit.pace_stage import Cars, driven_field, rising


def outlook(track: CarTrack) -> Outlook:
    """The outlook of a car on track."""
    made = track.outlook()
    assert made is not None
    return made


def test_a_lap_at_the_pace_is_timed_and_arrives_as_usual() -> None:
    """After a first sector as ever: timed almost for sure, at the line within two tenths of the usual time."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    begin = cars.now["car-0"]
    cars.lap("car-0", 30.05)
    made = outlook(cars.tracks["car-0"])
    assert made.kinds[0] > 0.8
    assert float(made.line[MIDDLE]) == pytest.approx(begin + 100.2, abs=0.3)


def test_a_slow_first_sector_is_a_cool_down_lap_of_the_usual_shape() -> None:
    """45 % slower so far: not timed; the rest is expected as slow as the cool-down laps before, and less surely."""
    cars = driven_field()
    cars.laps("car-0", 1.25, 1.0)
    begin = cars.now["car-0"]
    cars.lap("car-0", 43.5)
    made = outlook(cars.tracks["car-0"])
    assert made.kinds[0] < 0.05
    assert float(made.line[MIDDLE]) == pytest.approx(begin + 145, abs=4)
    assert made.line[HIGH] - made.line[LOW] > 0.5


def test_the_shape_of_slow_laps_is_learned() -> None:
    """Cars that crawl at first and push later on their cool-down laps: the crawl is not held against the rest."""
    cars = Cars("a", "b")
    for _ in range(5):
        for name in cars.tracks:
            cars.laps(name, 1.25, 1.0)
            cars.lap(name, 55.0, 44.0, 31.0)
            cars.laps(name, 1.0)
            cars.in_lap(name)
    cars.laps("a", 1.25, 1.0)
    begin = cars.now["a"]
    cars.lap("a", 55.0)
    stretched = begin + 100 * 55 / 30
    assert float(outlook(cars.tracks["a"]).line[MIDDLE]) == pytest.approx(begin + 130, abs=5) != stretched


def test_a_lap_out_of_the_pits_has_its_own_shape() -> None:
    """A very slow first sector after the pit exit does not stretch the whole lap: it ended as ever, each time."""
    cars = Cars("a", "b")
    for _ in range(6):
        for name in cars.tracks:
            cars.lap(name, 60.0, 42.0, 31.0)
            cars.laps(name, 1.0)
            cars.in_lap(name)
    begin = cars.now["a"]
    cars.lap("a", 60.0)
    assert float(outlook(cars.tracks["a"]).line[MIDDLE]) == pytest.approx(begin + 133, abs=3)


def test_a_slow_period_makes_a_timed_lap_unlikely() -> None:
    """At the pace, but a slow period holds at the loop: the lap cannot count."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    cars.lap("car-0", 30.0, slow=True)
    assert outlook(cars.tracks["car-0"]).kinds[0] < 0.3


def test_after_the_flag_a_slow_lap_comes_in() -> None:
    """A cool-down lap that would end after the flag leads to nothing: the car comes in. Under red all do."""
    cars = driven_field()
    cars.laps("car-0", 1.25, 1.0)
    cars.lap("car-0", 38.0)
    track = cars.tracks["car-0"]
    usual = outlook(track).kinds[2]
    track.flag_s = cars.now["car-0"] + 60
    late = outlook(track).kinds[2]
    track.flag_s, track.red = float("inf"), True
    assert usual < late
    assert usual < outlook(track).kinds[2]


def test_the_plan_speaks_for_an_in_lap() -> None:
    """The same slow lap is likelier an in-lap when the plan says so; for a car without a plan nobody says so."""
    cars = driven_field()
    cars.laps("car-0", 1.25, 1.0)
    cars.lap("car-0", 36.0)
    track = cars.tracks["car-0"]
    usual = outlook(track).kinds
    track.word = "in"
    assert outlook(track).kinds[2] > usual[2]
    assert sum(outlook(track).kinds) == pytest.approx(1.0)


def test_what_has_not_been_seen_yet_comes_later() -> None:
    """The car was not at the line by the median of its arrival: what is left of the distribution lies after now."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    cars.lap("car-0", 30.0)
    made = outlook(cars.tracks["car-0"])
    now = float(made.line[MIDDLE])
    later = made.no_earlier_than(now, made.line)
    assert later[0] >= now
    assert rising(list(later))
    assert made.no_earlier_than(float(made.line[-1]) + 5, made.line)[MIDDLE] == made.line[-1] + 5
    assert np.array_equal(made.no_earlier_than(0.0, made.line), made.line)


def test_a_passage_beyond_the_last_loop_is_between_loop_and_line() -> None:
    """Places lie in time as they lie on the lap, in-laps too."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    cars.lap("car-0", 30.0, 40.0)
    made = outlook(cars.tracks["car-0"])
    for coming_in in (False, True):
        times = [float(made.at(share, coming_in)[MIDDLE]) for share in (0.7, 0.8, 0.9, 0.95, 1.0)]
        assert times[0] == pytest.approx(cars.now["car-0"], abs=0.5)
        assert rising(times)


def test_the_spread_of_an_arrival_is_half_of_its_80_per_cent_interval() -> None:
    """At the line after a loop: as the outlook says. It grows along the lap, and shrinks once a loop is passed."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    cars.lap("car-0", 30.05)
    track = cars.tracks["car-0"]
    made = outlook(track)
    line = track.spread(1.0)
    assert line == pytest.approx(0.5 * float(made.line[HIGH] - made.line[LOW]))
    along = [track.spread(phase) or 0.0 for phase in (0.35, 0.5, 0.65, 0.8, 1.0)]
    assert rising(along)
    assert along[0] < along[-1]
    cars.now["car-0"] += 40.0
    track.cross("2", cars.now["car-0"], False)
    cars.judge("car-0")
    assert (track.spread(1.0) or 99.0) < line


def test_a_slow_lap_is_known_less_well_than_a_quick_one() -> None:
    """The spread of a cool-down lap is wider than that of a lap at the pace, from the same loop."""
    found = []
    for ratio in (1.0, 1.45):
        cars = driven_field()
        cars.laps("car-0", 1.25, 1.0)
        cars.lap("car-0", 30.0 * ratio)
        found.append(cars.tracks["car-0"].spread(1.0) or 0.0)
    assert 0.0 < found[0] < found[1]


def test_no_spread_is_told_where_nothing_is_known() -> None:
    """In the pits, and at a place that lies behind, there is no arrival to be off from."""
    cars = driven_field()
    track = cars.tracks["car-0"]
    cars.laps("car-0", 1.25)
    cars.lap("car-0", 30.0)
    assert track.spread(0.2) is None
    cars.now["car-0"] += 70.0
    track.come_in(cars.now["car-0"])
    assert track.spread(1.0) is None


# -- properties ------------------------------------------------------------------------------------------------------

PARTS = st.tuples(st.floats(20, 90), st.floats(25, 120), st.floats(20, 90))


@settings(max_examples=40, deadline=None)
@given(laps=st.lists(PARTS, min_size=1, max_size=6), seen=st.integers(0, 2), last=PARTS)
def test_arrivals_lie_ahead_and_in_order(
    laps: list[tuple[float, float, float]], seen: int, last: tuple[float, float, float]
) -> None:
    """Whatever was driven: no quantile of an arrival lies before the last crossing, later places come no earlier, and
    quantiles rise; probabilities add up to one."""
    cars = driven_field(cars=2, runs=2)
    for lap in laps:
        cars.lap("car-0", *lap)
    cars.lap("car-0", *last[:seen])
    track = cars.tracks["car-0"]
    made = outlook(track)
    assert made.line[0] >= made.seen_t - 1e-9
    assert rising(list(made.line))
    assert rising(list(made.timed_line))
    assert sum(made.kinds) == pytest.approx(1.0)
    places = np.linspace(made.places[0], 1.0, 9)
    for level in (LOW, MIDDLE, HIGH):
        assert rising([made.seen_t, *(float(made.at(float(place))[level]) for place in places)])
    phases = np.linspace(track.seen_phase + 1e-6, 1.0, 9)
    assert rising([track.seen_t, *(track.arrival(float(phase)) or 0.0 for phase in phases)])


@settings(max_examples=25, deadline=None)
@given(lap=st.integers(0, 3), loop=st.sampled_from(["1", "2"]), ratio=st.sampled_from([1.0, 1.02, 1.4]))
def test_one_missing_crossing_moves_later_arrivals_little(lap: int, loop: str, ratio: float) -> None:
    """A feed that loses any one crossing of the last laps: the next lap's arrival at the line moves by under 3 s."""
    found = []
    for lost in (False, True):
        cars = driven_field(cars=3, runs=2)
        for number, own in enumerate((1.25, 1.0, 1.4, 1.003)):
            without = (loop,) if lost and number == lap else ()
            cars.lap("car-1", 30 * own, 40 * own, 30 * own, without=without)
        cars.lap("car-1", 30 * ratio)
        found.append(float(outlook(cars.tracks["car-1"]).line[MIDDLE]))
    assert found[0] == pytest.approx(found[1], abs=3.0)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_messages_shuffled_within_their_delay_end_in_the_same_belief(seed: int) -> None:
    """Messages of several cars change places on their way by some seconds: once all are in, what was remembered of the
    laps and each car's last quick laps are the same."""
    rng = np.random.default_rng(seed)
    names = ("a", "b", "c")
    messages = []
    for at, name in enumerate(names):
        t = 10.0 + 7.0 * at
        messages.append((t, name, "exit"))
        for ratio in (1.25, 1.0, 1.4, 1.0 + 0.01 * at):
            for loop, part in (("1", 30.0), ("2", 40.0), ("line", 30.0)):
                t += part * ratio
                messages.append((t, name, loop))
    ends = []
    for delay in (0.0, 6.0):
        cars = Cars(*names)
        cars.tracks = {name: cars._track(name) for name in names}
        order = sorted(messages, key=lambda one: one[0] + delay * rng.random())
        for t, name, loop in order:
            track = cars.tracks[name]
            _ = track.leave(t) if loop == "exit" else track.cross(loop, t, False)
        belief = cars.field.belief
        assert belief is not None
        ends.append(([cars.tracks[name].pace.belief.quick for name in names], belief.from_line.shapes.count,
                     [cars.tracks[name].pace.belief.laps for name in names]))  # fmt: skip
    assert ends[0] == ends[1]
