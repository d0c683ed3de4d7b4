"""News on the channel: awaited windows, what is soon overtaken, the moment of the flag."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pytest

from pitwall.engine.call import CallSpec
from pitwall.engine.chances_to_say import AFTER_FLAG_S, BEFORE_FLAG_S
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.engine.rules.lap_kind import calls as lap_calls
from pitwall.engine.rules.session import OPENS_WITHIN_S, ROOM_S, WAITS_S
from pitwall.engine.rules.session import calls as session_calls
from pitwall.engine.situation import Leg, Situation, StatusNews
from pitwall.engine.view import situation
from pitwall.model.outputs import Ask
from pitwall.model.plan import CallClass
from pitwall.radio.pending import GAP_S, Spans
from pitwall.radio.ways import Room
from tests.unit.channel_stage import FULL, FULL_S, SHORT, SHORT_S, Radio, call, on_track
from tests.unit.engine_stage import MAIN, Stage, plan, regulations, setup


def test_news_that_is_awaited_needs_less_time_to_begin_in() -> None:
    """A window of a good second serves when it opens seconds after the news was shown; one that opens at once does not
    while a longer one follows."""
    for opens, begins in ((101.0, 111.0), (104.5, 104.8)):
        news = call("news", ((opens, opens + 2.4), (111.0, 119.0)), kind="session", from_s=100, say_from_s=100.0,
                    by=119, text=SHORT, spoken_s=0.7)
        placed = Radio().place(100, news)["news"]
        assert abs(placed.say_from_s - begins) < 0.6


def test_what_is_soon_overtaken_takes_the_first_window_that_can_be_hit() -> None:
    """The end of a slow period is told at once in a short window; other news waits for the longer one after it."""
    for soon, begins in ((True, 101.0), (False, 111.0)):
        news = call("news", ((101.0, 103.0), (111.0, 119.0)), kind="session", from_s=100, say_from_s=100.0, by=119,
                    text=SHORT, spoken_s=0.7, soon_over=soon)
        assert abs(Radio().place(100, news)["news"].say_from_s - begins) < 0.6


def test_nothing_that_can_wait_is_on_the_channel_as_the_flag_falls() -> None:
    """A lap time would be read back over the flag, which everybody knows to come: it is said after it. A put-back
    before a line that the car reaches before the flag cannot wait."""
    radio = Radio()
    flag = radio.at.clock.end_s(100)
    stretch = ((flag - 4.0, flag + 20.0),)
    for kind, act, waits in (("pace", None, True), ("switch", flag - 0.5, False)):
        spec = call("one", stretch, kind=kind, from_s=flag - 6, by=flag + 18, act_at_s=act)
        placed = radio.place(flag - 5, spec)["one"]
        begin, end = placed.say_from_s, placed.say_from_s + FULL_S
        assert (begin >= flag + AFTER_FLAG_S or end <= flag - BEFORE_FLAG_S) is waits


def test_nobody_is_told_to_push_on_a_lap_that_the_flag_takes() -> None:
    """The flag falls before the line at which the next timed lap would begin: it will not be one."""
    for duration_s, told in ((3600.0, True), (380.0, False)):
        made = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}),
                           regulations=regulations(duration_s=duration_s))).green()
        made.drive(100, 120, 90)
        made.wait(345)
        at = situation(made.car, made.session.clock, 345.0)
        keys = [spec.key for spec in lap_calls(at) if spec.ask.lap_kind == "timed"]
        assert bool(keys) is told


def test_news_without_a_sure_stretch_is_said_where_most_drivers_listen() -> None:
    """Where even that is missing it is said at once, anywhere."""
    for hopeful, begins, ways in ((((106.0, 109.0),), 106.1, ("short",)), ((), 100.0, ("outside", "outside_short"))):
        news = call("news", (), kind="session", from_s=100, say_from_s=100.0, by=112, ask=Ask(action="slow"),
                    room=Room((), 100, 112, hopeful=hopeful))
        placed = Radio().place(100, news)["news"]
        assert placed.say_from_s == pytest.approx(begins, abs=0.3)
        assert placed.way in ways


@pytest.mark.parametrize(("kind", "placed"), [("switch", True), ("procedure", True), ("pace", False)])
def test_what_nothing_depends_on_takes_no_window_that_is_hardly_one(kind: str, placed: bool) -> None:
    """Heard by half it would be said again; a put-back and a step of an item have no choice."""
    found = Radio().place(100, call("one", ((110.0, 111.0 + SHORT_S),), kind=kind, act_at_s=163.0))["one"]
    assert (found.way == "short" and found.against is None) is placed


class Heard(Situation):
    """The driver can listen on one stretch, wherever the car is."""

    spans: Spans = ()

    def stretches(self, legs: tuple[Leg, ...]) -> Spans | None:
        """That one."""
        return self.spans

    def hopeful(self, legs: tuple[Leg, ...]) -> Spans | None:
        """The same."""
        return self.spans


@pytest.mark.parametrize("status", ["red", "yellow", "ending"])
def test_a_stretch_that_opens_in_time_is_awaited_though_it_opens_a_little_later(status: str) -> None:
    """Each kind of news waits so long for a stretch to open, not for it to be over; it is never told too late."""
    within = OPENS_WITHIN_S[status]
    for opens, awaited in ((within - 0.5, True), (within + 0.5, False)):
        at = Heard(**{one.name: getattr(on_track(), one.name) for one in fields(Situation)})
        at.spans, at.news = ((100.0 + opens, 130.0),), (StatusNews(1, 100.0, status),)
        at.now = 100.0
        spec = next(iter(session_calls(at)))
        assert spec.room is not None
        length = at.spoken(spec.short)
        ends = spec.room.end_by_s - 100.0 + 1e-6
        assert (ends >= min(opens + ROOM_S + length, WAITS_S)) is awaited
        assert ends <= WAITS_S + length


def test_on_an_in_lap_news_is_over_by_the_pit_entry_where_it_can_be() -> None:
    """The lane behind the entry is one long stretch, and told there it is too late; what can no longer be over by the
    entry keeps the lane."""
    for entry, over_by_entry in ((108.0, True), (100.5, False)):
        at = Heard(**{one.name: getattr(on_track(), one.name) for one in fields(Situation)})
        last = at.lap_map.pit_entry
        at.legs = (Leg(0, "in", 40.0, 130.0, 0.0, lambda phase, at=entry, last=last: at + 60.0 * (phase - last)),)
        at.spans, at.news, at.now = ((entry - 4.0, 130.0),), (StatusNews(1, 100.0, "finished"),), 100.0
        spec = next(iter(session_calls(at)))
        assert spec.room is not None
        assert (spec.room.end_by_s <= entry + 1e-6) is over_by_entry


def test_under_red_a_driver_listens_where_a_quick_lap_leaves_no_time() -> None:
    """A car that has just been told to slow down is slow at once: its corners are reckoned at that pace."""
    asked: dict[str, list[float]] = {}
    for status in ("green", "slow", "red"):
        made = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in"}))).green()
        made.drive(100, 120)
        if status != "green":
            made.status(225, status)
        at = situation(made.car, made.session.clock, 226.0)
        asked[status] = [at._slower(leg) for leg in at.legs[:1]]
    assert asked["green"][0] < asked["slow"][0] < asked["red"][0]


@pytest.mark.parametrize("status", ["red", "yellow"])
def test_a_red_flag_does_not_wait_long_for_a_stretch_that_is_only_hoped_for(status: str) -> None:
    """In a corner now, or in eight seconds where perhaps this driver listens: red is said now."""
    at = Hoped(**{one.name: getattr(on_track(), one.name) for one in fields(Situation)})
    at.spans, at.news, at.now = ((108.0, 112.0),), (StatusNews(1, 100.0, status),), 100.0
    spec = next(iter(session_calls(at)))
    assert spec.room is not None
    assert spec.room.hopeful == (() if status == "red" else at.spans)


def test_a_word_about_the_lap_takes_no_window_that_is_hardly_one() -> None:
    """Other session calls have no hoped-for stretches, and wait for no window without margin."""
    word = call("word", ((118.0, 118.6 + SHORT_S),), kind="session", from_s=100, say_from_s=100.0, by=160)
    assert Radio().place(100, word)["word"].say_from_s == 100.0


class Hoped(Heard):
    """No driver listens for sure anywhere; on one stretch most do."""

    def stretches(self, legs: tuple[Leg, ...]) -> Spans | None:
        """None."""
        return ()


# -- news first ------------------------------------------------------------------------------------------------------


def _yellow(**changes: Any) -> CallSpec:
    """News that only the long stretch from 112 s on is sure for; known at 100 s."""
    values = {"kind": "session", "short": FULL, "say_from_s": 100.0, "lead_s": 0.0}
    return call("yellow", ((101.0, 106.0), (112.0, 125.0)), from_s=100, by=124, **values | changes)


SHORT_CALL = {"text": "Torque four.", "short": "Torque four", "spoken_s": 1.0}


@pytest.mark.parametrize("kind", ["pace", "procedure", "switch"])
def test_what_can_wait_does_not_go_in_front_of_news(kind: CallClass) -> None:
    """A word fits into the stretch that is too short for the news: the news goes first all the same, as everything
    waits for race control (common practice, no source). Without news that word is said there."""
    lesser = call("lesser", ((101.0, 106.0), (112.0, 150.0)), kind=kind, by=148, **SHORT_CALL)
    assert Radio().place(100, lesser)["lesser"].say_from_s < 106
    placed = Radio().place(100, lesser, _yellow())
    assert placed["yellow"].say_from_s > 111
    assert placed["lesser"].say_from_s >= placed["yellow"].say_from_s + placed["yellow"].spoken_s + GAP_S


def test_a_put_back_that_cannot_wait_goes_in_front_of_news_that_has_no_stretch_yet() -> None:
    """The line comes before the stretch that is long enough for the news: a switch left behind helps nobody."""
    back = call("back", ((101.0, 106.0), (112.0, 150.0)), kind="switch", by=110, **SHORT_CALL)
    placed = Radio().place(100, back, _yellow())
    assert placed["back"].say_from_s < 106
    assert placed["yellow"].say_from_s > 111


@pytest.mark.parametrize(("stretches", "first"), [
    (((101.0, 106.0),), True), (((101.0, 106.0), (108.0, 110.5)), True), (((101.0, 106.0), (130.0, 134.0)), False),
])  # fmt: skip
def test_a_put_back_with_no_stretch_behind_the_news_does_not_wait_for_it(stretches: Spans, first: bool) -> None:
    """Half a lap is left, and in all of it the driver listens once more: behind the news the put-back would be said in
    a corner, and the news gains nothing."""
    back = call("back", stretches, kind="switch", by=140, **SHORT_CALL)
    placed = Radio().place(100, back, _yellow())
    assert (placed["back"].say_from_s < 106) is first
    assert placed["back"].way == "full"
    assert placed["yellow"].say_from_s > 111


def test_what_is_open_and_unsaid_closes_again_for_news() -> None:
    """A lap time is due, nobody says it, and a yellow comes: the desk shows the yellow alone as the next to be said."""
    radio = Radio(keys=FEW_KEYS)
    radio.talk(90.0, "nobody")
    lap_time = call("time", None, kind="pace", say_from_s=100.0, say_by_s=140.0, room=None)
    radio.go(100, lap_time).go(101)
    assert radio["time"].state == "due"
    radio.go(102, lap_time, _yellow()).go(103)
    assert radio["time"].state in ("planned", "shown")
    assert radio.window("time")[0] > radio.window("yellow")[0] + FULL_S + GAP_S - 0.1


@pytest.mark.parametrize("reported", [True, False])
def test_what_is_being_said_is_not_taken_back_for_news(reported: bool) -> None:
    """The engineer talks, and only the lap time was due; where nobody reports talk, it may have been said."""
    radio = Radio(keys=FEW_KEYS)
    lap_time = call("time", None, kind="pace", say_from_s=100.0, say_by_s=140.0, room=None)
    if reported:
        radio.talk(90.0, "nobody")
    radio.go(100, lap_time).go(101)
    if reported:
        radio.talk(101.5, "engineer")
    radio.go(102, lap_time, _yellow())
    assert radio["time"].state == "due"


def test_what_belongs_to_its_place_stays_there() -> None:
    """The end of a hold has its moment; behind the news it would be a word about a place behind the car."""
    ends = call("ends", None, kind="procedure", say_from_s=105.0, say_by_s=106.0, room=None)
    placed = Radio().place(100, ends, _yellow())
    assert (placed["ends"].say_from_s, placed["ends"].say_by_s) == (105.0, 106.0)
