"""Which laps are clean, and why the others are not."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.app.loading import load_setup
from pitwall.engine.clean_laps import clean_lap
from pitwall.engine.field import Field
from pitwall.engine.session_clock import SessionClock
from pitwall.model import events as ev
from pitwall.model.plan import LapKind
from pitwall.pace.cleanliness import Cleanliness, LapOver, Passings, Why, YellowTimes, judge_clean

EVENT = Path(__file__).parents[2] / "config" / "event.yaml"
USUAL = (30.0, 70.0, 100.0)


def lap(*times: float, kind: LapKind = "timed", **more: object) -> LapOver:
    """A lap with these times at places 1, 2 and the line, nobody ahead."""
    places = ("1", "2", "line")[: len(times)]
    made = LapOver(kind, True, False, places, times, USUAL[: len(times)], (None,) * len(times),
                   (False,) * len(times))  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("over", "why"),
    [
        (lap(30.1, 70.1, 100.3), "clean"),
        (lap(31.8, 74.2, 106.0), "clean"),
        (lap(30.1, 75.1, 105.3), "mistake"),
        (lap(30.1, 75.1, 105.3, behind=(40.0, 1.2, 3.0)), "traffic"),
        (lap(30.1, 75.1, 105.3, behind=(40.0, 9.0, 1.0)), "mistake"),
        (lap(30.1, 75.1, 105.3, slow=True), "yellow"),
        (lap(30.1, 75.1, 105.3, yellow=(False, True, False), behind=(40.0, 1.2, 3.0)), "yellow"),
        (lap(30.1, 75.1, 105.3, yellow=(True, False, False)), "mistake"),
        (lap(30.1, 70.1, 100.3, yellow=(True, True, True)), "clean"),
        (lap(45.0, 105.0, 150.0, kind="cool"), "cool_down"),
        (lap(30.1, 82.0, 125.0, kind="cool"), "aborted"),
        (lap(30.1, 70.4, 125.0, kind="cool"), "aborted"),
        (lap(45.0, 105.0, 150.0, kind="cool", slow=True), "yellow"),
        (lap(30.1, 82.0, kind="in"), "aborted"),
        (lap(36.0, 85.0, kind="in"), "not_complete"),
        (lap(30.1, 70.1, kind="in"), "not_complete"),
        (lap(40.0, 90.0, 125.0, kind="out"), "not_complete"),
        (lap(40.0, 90.0, kind="installation"), "not_complete"),
        (lap(30.1, 70.1, 100.3, sure=False), "unknown"),
        (lap(math.nan, math.nan, kind="in"), "unknown"),
    ],
)
def test_each_reason_by_name(over: LapOver, why: Why) -> None:
    """A long run is as clean as a quick one; what cost time, where, and whether somebody was ahead make the rest."""
    assert judge_clean(over).why == why


def test_the_place_and_the_loss_are_told() -> None:
    """Five seconds lost between the loops, 1.2 s behind another car at the second one."""
    found = judge_clean(lap(30.0, 75.0, 105.0, behind=(8.0, 1.2, 0.9)))
    assert found == Cleanliness("traffic", "2", pytest.approx(5.0), 1.2)
    assert not found.clean


def test_a_place_that_was_not_seen_is_bridged() -> None:
    """Without the first loop the stretch to the second is one: the loss is still found."""
    assert judge_clean(lap(math.nan, 70.2, 100.2)).clean
    lost_s = 106.0 - 70.2 - 30.0 * 70.2 / 70.0
    assert judge_clean(lap(math.nan, 70.2, 106.0)) == Cleanliness("mistake", "line", pytest.approx(lost_s))


@given(
    st.lists(st.floats(0.1, 300.0), min_size=3, max_size=3),
    st.sampled_from(["timed", "cool", "in", "out", "installation"]),
    st.booleans(), st.booleans(), st.floats(0.0, 60.0),
)  # fmt: skip
def test_every_lap_is_judged(parts: list[float], kind: LapKind, sure: bool, slow: bool, gap: float) -> None:
    """Whatever was driven there is one answer; only a timed lap, seen whole and undisturbed, can be clean."""
    times = (parts[0], parts[0] + parts[1], sum(parts))
    found = judge_clean(lap(*times, kind=kind, sure=sure, slow=slow, behind=(gap, gap, gap)))
    if found.clean:
        assert (kind, sure, slow) == ("timed", True, False)
    if found.why in ("traffic", "mistake"):
        assert found.lost_s > 0.0
        assert (found.why == "traffic") == (gap <= 2.0)


@given(st.floats(0.85, 1.15))
def test_a_lap_that_is_slower_all_round_is_clean(ratio: float) -> None:
    """Fuel, tyres and engine modes make all stretches slower alike."""
    assert judge_clean(lap(*(ratio * at for at in USUAL))).clean


def test_passings_may_be_told_in_any_order() -> None:
    """The gap is to the last other car before, whenever that was heard of; the own passings do not count."""
    known = Passings()
    for t, car in ((50.0, "a"), (44.0, "b"), (49.0, "c"), (51.5, "d")):
        known.note("1", t, car)
    assert known.behind_s("1", 50.0, "a") == pytest.approx(1.0)
    assert known.behind_s("1", 51.5, "d") == pytest.approx(1.5)
    assert known.behind_s("1", 44.0, "b") is None
    assert known.behind_s("2", 50.0, "a") is None


def test_yellows_are_remembered_from_first_to_last_sight() -> None:
    """Out from 10 to 18 and at 40: stretches that overlap these are touched, those between are not."""
    known = YellowTimes()
    for t, out in ((5.0, False), (10.0, True), (18.0, True), (21.0, False), (40.0, True), (41.0, False)):
        known.note(t, out)
    assert known.touched(0.0, 12.0)
    assert known.touched(12.0, 13.0)
    assert known.touched(39.0, 45.0)
    assert not known.touched(19.0, 39.0)
    assert not known.touched(41.0, 90.0)


def test_what_the_engine_followed_is_judged() -> None:
    """Two cars on the demo circuit: one loses three seconds at the end, the other goes by a second ahead."""
    setup = load_setup(EVENT)
    field, clock = Field(setup), SessionClock(setup.regulations, 5400.0)
    track = field.track("a")
    loops = [(label, track.lap_map.loops[label]) for label in track.pace.labels] + [("line", 1.0)]
    seconds = track.lap_map.lap_s

    def cross(car: str, begin: float, lost_s: float = 0.0) -> float:
        for label, share in loops:
            t = begin + share * seconds + (lost_s if label == "line" else 0.0)
            field.crossed(ev.CarCrossed(id=f"{car}-{label}-{t}", t=t, car=car, loop=label), clock, t)
        return t

    at = {"a": 100.0, "b": 102.0}
    for car, begin in at.items():
        field.pitted(ev.CarPitted(id=f"out-{car}", t=begin, car=car, where="exit"), begin)
    for _ in range(3):
        at = {car: cross(car, begin) for car, begin in at.items()}
    assert clean_lap(field, "a", field.tracks["a"].laps[-1]).clean
    ahead = cross("b", at["b"])
    assert cross("a", at["a"], 3.0) - ahead == pytest.approx(1.0)
    found = clean_lap(field, "a", field.tracks["a"].laps[-1])
    assert (found.why, found.at) == ("traffic", "line")
    assert found.lost_s == pytest.approx(3.0, abs=0.3)
    running = field.tracks["a"].lap
    assert running is not None
    assert clean_lap(field, "a", running).why == "unknown"
