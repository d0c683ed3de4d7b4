"""What laps will take and when a car arrives: learned, robust, and never in the past."""

from __future__ import annotations

from statistics import median

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.model.plan import LapKind
from pitwall.pace.field_pace import FIELD_WINDOW_S, FIRST_RATIO, RATIO_BOUNDS, FieldPace, KindRatios
from pitwall.pace.laptimes import BEST_WINDOW_S, FIELD_ALLOWANCE, QUICK_MEMORY, CarPace
from pitwall.pace.weighing import HIGH, LOW, MIDDLE
from tests.unit.pace_stage import Cars

LOOPS = {"line": 0.0, "1": 0.3, "2": 0.7}
KINDS: tuple[LapKind, ...] = ("out", "timed", "cool", "in", "installation")
SHARES = st.floats(0, 1)


def car(field: FieldPace | None = None) -> CarPace:
    """A car that has not driven yet, on a circuit with a reference lap of 100 s."""
    return CarPace(dict(LOOPS), field if field is not None else FieldPace(100.0))


def drive(pace: CarPace, *laps: float, at: float = 0.0, shares: tuple[float, float] = (0.3, 0.7)) -> float:
    """Timed laps, one after the other; returns when the last one ended."""
    for seconds in laps:
        at += seconds
        loops = {"1": seconds * shares[0], "2": seconds * shares[1]}
        pace.learn_lap("timed", seconds, at, loops)
    return at


# -- quick -----------------------------------------------------------------------------------------------------------


def test_before_anybody_drove_the_reference_lap_is_expected() -> None:
    """Each kind takes its first ratio times the circuit's reference."""
    assert {kind: car().lap_s(kind) for kind in KINDS} == {kind: 100 * FIRST_RATIO[kind] for kind in KINDS}


def test_a_car_without_a_lap_of_its_own_expects_the_fields() -> None:
    """The usual quick lap of the others, until it has one."""
    field = FieldPace(100.0)
    drive(car(field), 92, 94, 93)
    other = car(field)
    assert other.quick_s() == 93
    drive(other, 99)
    assert other.quick_s() == 99


def test_quick_is_the_median_of_the_last_three() -> None:
    """One spoilt lap among three does not move the expectation; older laps are forgotten."""
    pace = car()
    drive(pace, 90, 101, 130, 100)
    assert QUICK_MEMORY == 3
    assert pace.quick_s() == 101
    assert pace.best_s == 90


@given(spoilt=st.floats(100, 500), place=st.integers(0, 2))
def test_one_spoilt_lap_in_three_never_counts(spoilt: float, place: int) -> None:
    """Whatever it took, the expectation stays between the two good ones."""
    laps = [99.0, 100.0]
    laps.insert(place, spoilt)
    pace = car()
    drive(pace, *laps)
    assert 99 <= pace.quick_s() <= 100


@given(st.lists(st.floats(20, 500), min_size=1, max_size=6))
def test_the_usual_lap_is_the_median_of_the_books(laps: list[float]) -> None:
    """Worked out by hand, as it is asked for so often: the same to the last digit."""
    pace = car()
    drive(pace, *laps)
    assert pace.quick_s() == median(laps[-QUICK_MEMORY:])


# -- ratios ----------------------------------------------------------------------------------------------------------


def test_a_ratio_is_the_median_of_what_was_seen() -> None:
    """With two laps of a kind their median; with one it is averaged with the first guess; with none the first guess."""
    ratios = KindRatios()
    assert ratios.ratio("out") == 1.25
    ratios.learn("out", 1.35)
    assert ratios.ratio("out") == pytest.approx(1.30)
    ratios.learn("out", 1.45)
    assert ratios.ratio("out") == pytest.approx(1.40)
    ratios.learn("out", 1.40)
    assert ratios.ratio("out") == pytest.approx(1.40)


def test_one_lap_of_ones_own_does_not_outvote_the_field() -> None:
    """With fewer than two laps of a kind the field's median counts."""
    field, mine = KindRatios(), KindRatios()
    for ratio in (1.5, 1.6, 1.7):
        field.learn("cool", ratio)
    mine.learn("cool", 1.2)
    assert mine.ratio("cool", field) == 1.6
    mine.learn("cool", 1.2)
    assert mine.ratio("cool", field) == 1.2


@pytest.mark.parametrize("kind", KINDS)
def test_a_lap_that_cannot_be_of_its_kind_teaches_nothing(kind: LapKind) -> None:
    """A stop on track is no out-lap, a cut lap no in-lap: outside the bounds nothing is learned; on them it is."""
    low, high = RATIO_BOUNDS[kind]
    ratios = KindRatios()
    for outside in (low - 0.01, high + 0.01):
        ratios.learn(kind, outside)
    assert ratios.ratio(kind) == FIRST_RATIO[kind]
    ratios.learn(kind, low)
    ratios.learn(kind, high)
    assert ratios.ratio(kind) == pytest.approx((low + high) / 2)


def test_slow_laps_teach_the_car_and_the_field() -> None:
    """Two out-laps of 130 s against a quick lap of 100 s: 1.3 for this car, and for one that has none."""
    field = FieldPace(100.0)
    pace = car(field)
    pace.learn_lap("out", 130, 10, {})
    assert pace.lap_s("out") == 125, "without a quick lap to compare with nothing is learned"
    t = drive(pace, 100)
    for _ in range(2):
        pace.learn_lap("out", 130, t, {})
    assert pace.lap_s("out") == pytest.approx(130)
    assert car(field).lap_s("out") == pytest.approx(130)


# -- what counts as quick ----------------------------------------------------------------------------------------------


def test_the_reference_is_the_better_of_mine_and_the_fields_with_allowance() -> None:
    """Nobody drove: unknown. The field's best counts with four per cent on it; my own best without."""
    field = FieldPace(100.0)
    pace = car(field)
    assert pace.reference(0) is None
    drive(car(field), 90)
    assert pace.reference(95) == pytest.approx(90 * FIELD_ALLOWANCE)
    t = drive(pace, 92, at=100)
    assert pace.reference(t) == 92


def test_what_was_quick_long_ago_does_not_count() -> None:
    """A drying or greening track: my best of twenty minutes, the field's of ten."""
    field = FieldPace(100.0)
    pace = car(field)
    t = drive(pace, 90)
    assert pace.reference(t + FIELD_WINDOW_S + 1) == 90
    assert pace.reference(t + BEST_WINDOW_S + 1) is None
    assert field.best(t + FIELD_WINDOW_S + 1) is None
    assert field.best(t - 1) is None, "a lap that has not ended yet is not known"


# -- within the lap --------------------------------------------------------------------------------------------------


def test_shares_are_learned_from_timed_laps() -> None:
    """Two laps that reach loop 1 at 0.32: from then on it lies there for this car."""
    pace = car()
    drive(pace, 100, shares=(0.32, 0.7))
    assert pace.share("1") == 0.3
    drive(pace, 100, shares=(0.32, 0.7))
    assert pace.share("1") == pytest.approx(0.32)
    assert pace.bend(0.3) == pytest.approx(0.32)
    assert pace.bend(0.15) == pytest.approx(0.16)
    assert (pace.bend(0.0), pace.bend(1.0)) == (0.0, 1.0)


def test_times_that_cannot_be_on_the_lap_teach_no_share() -> None:
    """A loop after the end of the lap, at no time, or unknown on this circuit."""
    pace = car()
    for _ in range(3):
        pace.learn_lap("timed", 100, 100, {"1": 120, "2": 0, "9": 50})
    assert (pace.share("1"), pace.share("2")) == (0.3, 0.7)
    assert "9" not in pace.shares


@settings(max_examples=100)
@given(shares=st.lists(st.tuples(SHARES, SHARES), max_size=6), phases=st.lists(SHARES, min_size=2, max_size=6))
def test_the_map_of_the_lap_always_rises(shares: list[tuple[float, float]], phases: list[float]) -> None:
    """Whatever crossings taught, further on the lap is never earlier in it, and the whole lap stays the whole lap."""
    pace = car()
    for first, second in shares:
        drive(pace, 100, shares=(first, second))
    bent = [pace.bend(phase) for phase in sorted(phases)]
    assert bent == sorted(bent)
    assert all(-1e-9 <= value <= 1 + 1e-9 for value in bent)


@pytest.mark.parametrize(("kind", "at"), [("timed", 150), ("out", 162.5), ("cool", 175), ("in", 159)])
def test_a_lap_just_begun_is_expected_at_its_kinds_pace(kind: LapKind, at: float) -> None:
    """Half of a lap that began at 100 s, of each kind."""
    assert car().arrival(0.5, kind, 100, 0.0, 100, 0.0) == pytest.approx(at)


def test_an_out_lap_is_counted_from_the_pit_exit() -> None:
    """What is left of the lap after the exit takes the whole of an out-lap's time."""
    assert car().arrival(1.0, "out", 100, 0.05, 100, 0.05) == pytest.approx(225)


def test_the_rest_of_the_lap_follows_the_lap_so_far() -> None:
    """Ten per cent slow at loop 1: the rest is expected ten per cent slow; a standstill is not extrapolated."""
    assert car().arrival(1.0, "timed", 100, 0.0, 133, 0.3) == pytest.approx(133 + 77)
    assert car().arrival(1.0, "timed", 100, 0.0, 400, 0.3) == pytest.approx(400 + 70 * 2.5)
    assert car().arrival(1.0, "timed", 100, 0.0, 101, 0.3) == pytest.approx(101 + 70 * 0.85)


@settings(max_examples=200)
@given(
    kind=st.sampled_from(KINDS), start=st.sampled_from([0.0, 0.05, 0.2]), seen=SHARES, took=st.floats(0, 400),
    ahead=st.lists(SHARES, min_size=1, max_size=5), laps=st.lists(st.floats(60, 200), max_size=4),
    shares=st.tuples(SHARES, SHARES),
)  # fmt: skip
def test_arrivals_rise_along_the_lap_and_never_lie_before_the_last_sight(
    kind: LapKind, start: float, seen: float, took: float, ahead: list[float], laps: list[float],
    shares: tuple[float, float],
) -> None:  # fmt: skip
    """For every kind, whatever was learned: a place further on is reached later, and none before the car was seen."""
    pace = car()
    drive(pace, *laps, shares=shares)
    seen_phase = max(start, seen)
    places = [seen_phase + share * (1 - seen_phase) for share in sorted(ahead)]
    arrivals = [pace.arrival(phase, kind, 100, start, 100 + took, seen_phase) for phase in places]
    assert arrivals == sorted(arrivals)
    assert all(at >= 100 + took - 1e-6 for at in arrivals)


def test_what_is_ahead_can_be_asked_of_a_car() -> None:
    """The next laps and a whole run while it is on a run with a timed lap, the first lap of the next run in the pits;
    nothing before it has driven."""
    cars = Cars("41", "58")
    pace = cars.tracks["41"].pace
    assert (pace.lap_ahead(1), pace.run_ahead(5), pace.first_of_run()) == (None, None, None)
    cars.laps("41", 1.25, 1.0, 1.001)
    following, five = pace.lap_ahead(1), pace.run_ahead(5)
    assert following is not None
    assert five is not None
    assert following[MIDDLE] == pytest.approx(100.0, abs=0.6)
    assert five[MIDDLE] == pytest.approx(500.0, abs=4.0)
    cars.in_lap("41")
    first = pace.first_of_run()
    assert (pace.lap_ahead(1), pace.run_ahead(5)) == (None, None)
    assert first is not None
    assert first[LOW] <= 100.0 <= first[HIGH]


@settings(max_examples=50)
@given(st.lists(SHARES, min_size=1), st.tuples(st.floats(0.05, 0.45), st.floats(0.5, 0.95)))
def test_the_bend_of_a_lap_follows_what_is_learned_after_it_was_asked(
    phases: list[float], shares: tuple[float, float]
) -> None:
    """A car that was asked for places before it learned says afterwards what one says that was never asked."""
    asked, fresh = car(), car()
    for phase in phases:
        assert asked.bend(phase) == asked.bend(phase) == car().bend(phase)
    for pace in (asked, fresh):
        drive(pace, 100.0, 101.0, shares=shares)
    assert [asked.bend(phase) for phase in phases] == [fresh.bend(phase) for phase in phases]
