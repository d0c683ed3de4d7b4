"""When the calls of a car are laid out anew, and when what happened can move none of them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine import windows
from pitwall.engine.calls import MOVED_S
from pitwall.engine.channel import UNSAID_S
from pitwall.engine.nearness import SOON_S, TALK_S
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.engine.talk_times import KEY_S
from pitwall.engine.team import FELT_S, NEAR_S, STRAYED_S, TeamCar
from tests.unit.channel_stage import Radio, call

LATER = ((110.0, 119.0), (130.0, 140.0))


def test_talk_on_a_channel_that_no_call_waits_for_moves_nothing() -> None:
    """Who talks is noted, and nothing is laid out anew for it."""
    radio = Radio()
    assert not radio.talk(100.0, "driver")
    assert radio.channel.talk.who == "driver"
    assert not radio.talk(101.0, "nobody")


@pytest.mark.parametrize(("begins_s", "moves"), [(SOON_S + 0.5, False), (SOON_S - 0.5, True)])
def test_talk_moves_only_what_comes_soon(begins_s: float, moves: bool) -> None:
    """A call that begins long after a talk has commonly ended stays where it is."""
    radio = Radio().go(100.0, call())
    opens, _ = radio.window()
    assert radio.talk(opens - begins_s, "driver") == moves


def test_the_end_of_talk_gives_the_channel_back() -> None:
    """A call that had to wait for the talk is laid out anew as it ends, however far off it is by then; one that the
    talk was never in the way of is not."""
    radio = Radio(keys=FEW_KEYS).go(108.0, call(stretches=LATER))
    assert radio.talk(109.0, "driver")
    radio.go(114.5)
    assert radio.window()[0] > 115.0 + TALK_S
    assert radio.talk(115.0, "nobody")
    far = Radio(keys=FEW_KEYS).go(100.0, call(stretches=LATER))
    assert not far.talk(101.0, "driver")
    far.go(102.0)
    assert not far.talk(102.5, "nobody")


def test_a_call_that_is_said_at_its_place_moves_nothing_else() -> None:
    """The engineer begins in the window of the call that is due, and ends: its key is awaited. Another call that is
    near is laid out anew for both."""
    wide = ((110.0, 125.0),)
    for other, moves in ((call("later", ((150.0, 160.0),), by=170.0), False), (call("next", wide), True)):
        radio = Radio(keys=FEW_KEYS).go(100.0, call(stretches=wide), other).go(111.5)
        assert radio["hold"].state == "due"
        assert radio.talk(112.0, "engineer") == moves
        radio.tick(114.0)
        assert radio.talk(114.5, "nobody") == moves


def test_what_may_just_have_been_said_keeps_its_window_until_its_key_should_have_come() -> None:
    """Its window is over by then; no key came: now it is looked at anew."""
    radio = Radio(keys=FEW_KEYS).go(100.0, call(stretches=LATER)).go(112.0)
    closes = radio["hold"].spec.say_by_s
    radio.talk(closes - 0.5, "engineer")
    radio.talk(closes + 2.0, "nobody")
    assert not radio.channel.lapsed(radio.book, closes + 2.5)
    assert radio.channel.lapsed(radio.book, closes + 2.1 + KEY_S)


def test_the_time_of_talk_counts_for_nobody_who_was_passed_over() -> None:
    """A call is open for long, and the driver talks through most of it: it was not left unsaid on a free channel,
    though nothing was laid out anew at the beginning and the end of that talk."""
    radio = Radio(keys=FEW_KEYS).go(100.0, call(stretches=((110.0, 150.0),), by=170.0)).go(112.0)
    name = radio["hold"].id
    radio.talk(113.0, "driver")
    radio.talk(113.0 + 2 * UNSAID_S, "nobody")
    radio.go(114.0 + 2 * UNSAID_S)
    assert 1.0 < radio.channel.unsaid_s[name] < 4.0


stretch = st.tuples(st.floats(108.0, 150.0), st.floats(2.0, 12.0)).map(lambda one: (one[0], one[0] + one[1]))
kinds = st.sampled_from(["procedure", "switch", "box", "run"])


@settings(max_examples=150)
@given(st.lists(st.tuples(kinds, st.lists(stretch, min_size=1, max_size=3)), min_size=1, max_size=4),
       st.floats(100.5, 140.0), st.floats(0.5, 5.0))
def test_talk_that_is_taken_to_move_nothing_moves_nothing(
    wanted: list[tuple[str, list[tuple[float, float]]]], t: float, lasts_s: float
) -> None:
    """Wherever a report of the radio desk has nothing laid out anew, doing so leaves every call at its place."""
    specs = [call(f"call-{number}", tuple(sorted(stretches)), kind=kind, by=170.0)
             for number, (kind, stretches) in enumerate(wanted)]
    radio = Radio(keys=FEW_KEYS).go(100.0, *specs).go(t)
    before = dict(radio.channel.laid.begins)
    for moment, who in ((t, "driver"), (t + lasts_s, "nobody")):
        if radio.talk(moment, who):  # type: ignore[arg-type]  # one of the two
            return
        placed = radio.place(moment, *specs)
        moved = {key: placed[key].say_from_s - begin for key, begin in before.items() if begin > moment}
        assert all(abs(by) <= MOVED_S for by in moved.values()), moved


def _car(line_s: float, seen_t: float, begins_s: float = 0.0) -> Any:
    """A car on a lap of 100 s that began at zero, seen at a moment and expected at the line; its next call begins."""
    track = SimpleNamespace(arrival=lambda phase: line_s, sighted=SimpleNamespace(t=seen_t), seen_t=0.0)
    book = SimpleNamespace(begins_s=begins_s)
    return SimpleNamespace(track=track, legs=(SimpleNamespace(start_s=0.0, end_s=100.0),), book=book)


@pytest.mark.parametrize(("seen_t", "late_s", "strayed"), [
    (90.0, 1.1 * STRAYED_S, True), (90.0, 0.9 * STRAYED_S, False), (100.0 - FELT_S, 1.1 * STRAYED_S, True),
    (10.0, 1.1 * STRAYED_S, False), (10.0, 2.0, True), (10.0, -2.0, True),
])  # fmt: skip
def test_what_a_car_is_late_by_counts_as_far_as_the_next_calls_feel_it(
    seen_t: float, late_s: float, strayed: bool
) -> None:
    """A second at the line is a fraction of one at the places just ahead, early on the lap; near the line it is all."""
    assert TeamCar.strayed.fget(_car(100.0 + late_s, seen_t)) == strayed  # type: ignore[attr-defined]  # a property


@pytest.mark.parametrize(("seen_t", "begins_s", "strayed"), [
    (50.0, 50.0 + NEAR_S, True), (50.0, 50.1 + NEAR_S, False), (50.0, 40.0, True), (50.0, float("inf"), False),
    (100.0 - NEAR_S, float("inf"), True),
])  # fmt: skip
def test_what_no_call_feels_soon_waits_for_the_next_look(seen_t: float, begins_s: float, strayed: bool) -> None:
    """Two seconds late: that counts where a call begins within ten seconds, or has begun, and just before the line."""
    assert TeamCar.strayed.fget(_car(102.0, seen_t, begins_s)) == strayed  # type: ignore[attr-defined]  # a property


def test_the_first_of_the_open_calls_is_the_one_that_is_felt() -> None:
    """The earliest beginning of what is still to be said, whatever has been said before it; none where nothing is."""
    radio = Radio(keys=FEW_KEYS)
    assert radio.book.begins_s == float("inf")
    near, far = call("near", ((110.0, 116.0),)), call("far", ((130.0, 140.0),), by=145.0)
    radio.go(100.0, near, far)
    begins = {one.spec.key: one.spec.say_from_s for one in radio.book.live.values()}
    assert radio.book.begins_s == begins["near"] < begins["far"]
    for one in [one for one in radio.book.live.values() if one.spec.key == "near"]:
        radio.book.signal(one, "withdraw", 100.0, "not wanted")
    assert radio.book.begins_s == begins["far"]


def test_without_a_lap_or_an_arrival_no_car_strays() -> None:
    """Nothing was laid out, or nobody knows when it is at the line."""
    car = _car(200.0, 50.0)
    car.legs = ()
    assert not TeamCar.strayed.fget(car)  # type: ignore[attr-defined]  # a property
    car = _car(200.0, 50.0)
    car.track.arrival = lambda phase: None
    assert not TeamCar.strayed.fget(car)  # type: ignore[attr-defined]  # a property


@pytest.mark.parametrize(("since_s", "rests", "stale"), [
    (windows.LOOK_S - 0.1, False, False), (windows.LOOK_S, False, True), (windows.LOOK_S, True, False),
    (windows.REST_LOOK_S, True, True),
])  # fmt: skip
def test_a_car_that_nothing_had_laid_out_for_some_seconds_is_looked_at_for_the_time_alone(
    monkeypatch: pytest.MonkeyPatch, since_s: float, rests: bool, stale: bool
) -> None:
    """Counted from when it was laid out last, for whatever reason; in a long break less often."""
    monkeypatch.setattr(windows, "can_wait", lambda car, clock, now: False)
    monkeypatch.setattr(windows, "resting", lambda clock, now: rests)
    car: Any = SimpleNamespace(refreshed_t=100.0, tyres_told={}, tyres_laid=())
    clock: Any = None
    assert windows.stale(car, clock, 100.0 + since_s) == stale
    car.tyres_told["tyre_hot", "rear"] = 100.1
    assert windows.stale(car, clock, 100.2)
