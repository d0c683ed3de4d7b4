"""The channel of one car: rules give a call its room, the plan gives it its place, and talk moves it on."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from pitwall.engine.call import CallSpec
from pitwall.engine.chances_to_say import SLOW_SPEECH
from pitwall.engine.channel import ANSWER_S, LAST_RESORT_S
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.engine.rules.box import BOX, BOX_AGAIN, BOX_AGAIN_SHORT
from pitwall.engine.talk_times import KEY_S
from pitwall.model.plan import CallClass
from pitwall.radio.pending import GAP_S
from tests.unit.channel_stage import AFTER_S, FULL, FULL_S, SHORT, SHORT_S, Radio, call

SLOWLY_S = SLOW_SPEECH * FULL_S


# -- its place -------------------------------------------------------------------------------------------------------


def test_a_call_goes_to_the_first_sure_stretch_in_its_room() -> None:
    """The stretch of 3.5 s could be hit by luck; the one after it has 2.5 s and more to begin in, edges left out. As
    long as the last of them lasts, in short at the end, it may still be said."""
    spec = Radio().place(100, call(stretches=((104.0, 107.5), (110.0, 120.0), (130.0, 150.0))))["hold"]
    assert (spec.way, spec.text, spec.way_reason) == ("full", FULL, None)
    assert 110.2 < spec.say_from_s < 111.5
    assert 116.0 < spec.say_by_s < 120.0 - SLOWLY_S
    assert spec.until_s is not None
    assert 146.0 < spec.until_s < 150.0 - SLOW_SPEECH * SHORT_S


def test_a_stretch_before_its_room_or_after_it_is_none() -> None:
    """Said earlier it would be forgotten, said later nobody could act on it."""
    spec = Radio().place(100, call(stretches=((101.0, 111.0), (118.0, 130.0), (140.0, 150.0)), from_s=115, by=135))
    assert 118.2 < spec["hold"].say_from_s < 119.5
    assert spec["hold"].until_s is not None
    assert spec["hold"].until_s < 130


def test_the_window_of_a_rule_does_not_open_before_the_room_does() -> None:
    """Several switches before one line have windows one before the other, the first where it would be forgotten.
    As long as the plan does not place it yet it waits for its room; one that is open already is not taken back."""
    spec = call(stretches=((101.0, 111.0), (140.0, 150.0)), from_s=138, by=170, say_from_s=99.0, say_by_s=110.0)
    radio = Radio()
    placed = radio.place(100, spec)["hold"]
    assert placed.say_from_s == 138
    assert 138 < placed.say_by_s < 170 - FULL_S
    radio.go(100, spec).until(120)
    assert radio["hold"].state == "planned"
    radio = Radio()
    near = call(stretches=((101.0, 111.0), (140.0, 150.0)), from_s=100, by=170, say_from_s=99.0, say_by_s=110.0)
    radio.go(100, near).until(103)
    assert radio["hold"].state == "due"
    assert radio.place(103, spec)["hold"].say_from_s == 99.0


def test_a_call_that_does_not_fit_in_full_is_shortened() -> None:
    """Three seconds of straight are too few for the sentence and enough for the word; the reason is told."""
    spec = Radio().place(100, call(stretches=((110.0, 113.0),)))["hold"]
    assert (spec.way, spec.text, spec.spoken_s) == ("short", SHORT, SHORT_S)
    assert spec.way_reason == "Shortened: no stretch on which the driver can listen is long enough for it in time."
    assert spec.say_by_s + SLOW_SPEECH * SHORT_S < 113.0


def test_what_is_soon_overtaken_is_said_in_short_at_once() -> None:
    """What the lap is that has just begun: in full on the next long straight it comes when the driver has pushed on."""
    stretches = ((110.0, 113.0), (121.0, 140.0))
    at_leisure, at_once = Radio().go(100, call(stretches=stretches)), Radio().go(
        100, call(stretches=stretches, soon_over=True))
    assert (at_leisure["hold"].spec.way, at_leisure.window()[0] > 120) == ("full", True)
    assert (at_once["hold"].spec.way, at_once.window()[0] < 112) == ("short", True)


def test_what_is_soon_overtaken_is_not_said_in_parts() -> None:
    """The rest of it would come too late, and the driver waits for the rest."""
    text = "Hold gear five after turn four, and count to five from there."
    for soon_over, way in ((False, "parts"), (True, "short")):
        radio = Radio(keys=9)
        radio.go(100, call(text=text, short="Hold", spoken_s=5.0, stretches=((110.0, 115.5), (121.0, 126.5)),
                           soon_over=soon_over))
        assert radio["hold"].spec.way == way


def test_a_call_without_any_place_is_advised_against() -> None:
    """Nobody needs to hear it in a corner: it is held back, and told why."""
    spec = call(stretches=((110.0, 110.5),))
    radio = Radio()
    placed = radio.place(100, spec)["hold"]
    reason = "No room for it: no stretch on which the driver can listen is long enough for it in time."
    assert (placed.against, placed.way, placed.say_from_s) == (reason, "full", 100)
    radio.go(100, spec).until(175)
    assert (radio["hold"].state, radio["hold"].reason) == ("withdrawn", f"held back: {reason}")


@pytest.mark.parametrize("by", [160.0, 102.0])
def test_a_must_say_call_without_a_place_is_said_outside(by: float) -> None:
    """A switch that must go back is called in a corner rather than not at all, in short, for the less is said there the
    more of it is heard, and not before time is short: until then a stretch may still turn up."""
    spec = Radio().place(100, call(stretches=((110.0, 110.2),), by=by, kind="switch"))["hold"]
    assert (spec.way, spec.text, spec.against) == ("outside_short", SHORT, None)
    assert spec.way_reason is not None
    assert spec.say_by_s == pytest.approx(by - SLOW_SPEECH * spec.spoken_s)
    assert spec.say_from_s == pytest.approx(max(100, spec.say_by_s - LAST_RESORT_S))


@pytest.mark.parametrize(("kind", "by"), [("session", 104.0), ("switch", 98.0)])
def test_news_is_news_beyond_its_room(kind: CallClass, by: float) -> None:
    """A red flag whose room is over is said at once all the same; a switch call in time no more is left alone."""
    spec = call(stretches=((90.0, 90.2),), from_s=80, by=100.2, kind=kind)
    placed = Radio().place(100, spec)["hold"]
    assert placed.say_by_s == pytest.approx(by, abs=1.0)
    assert (placed.way == "outside_short") == (kind == "session")


def test_where_the_circuit_gives_no_stretches_the_deadline_decides() -> None:
    """Timing only: a lone call keeps the window that its rule gave it, and is said in full."""
    spec = call(stretches=None, say_from_s=110.0, say_by_s=122.0)
    placed = Radio().place(100, spec)["hold"]
    assert (placed.say_from_s, placed.say_by_s) == (110, 122)
    assert (placed.way, placed.way_reason) == ("full", None)


def test_where_the_circuit_gives_no_stretches_two_calls_still_share_the_channel() -> None:
    """The weightier one first, the other when it is over and read back."""
    box = call("box", None, kind="box", say_from_s=110.0, say_by_s=122.0)
    ask = call("ask", None, kind="question", say_from_s=110.0, say_by_s=122.0)
    placed = Radio().place(100, ask, box)
    assert placed["box"].say_from_s == 110
    assert placed["ask"].say_from_s >= 110 + FULL_S + GAP_S


def test_two_calls_of_one_stretch_follow_one_another() -> None:
    """The put-back first, then the pace; each window leaves room for the other."""
    stretch = ((110.0, 125.0),)
    placed = Radio().place(100, call("pace", stretch, kind="pace"), call("back", stretch, kind="switch"))
    assert placed["back"].say_from_s < placed["pace"].say_from_s
    assert placed["back"].say_by_s + FULL_S + GAP_S <= placed["pace"].say_by_s


def test_steps_of_one_item_keep_their_order() -> None:
    """What is acted on first is called first, whatever its kind weighs."""
    stretch = ((110.0, 130.0),)
    first = call("first", stretch, kind="question", item="rig", act_at_s=140.0)
    second = call("second", stretch, kind="procedure", item="rig", act_at_s=150.0)
    placed = Radio().place(100, second, first)
    assert placed["first"].say_from_s + FULL_S + GAP_S <= placed["second"].say_from_s


def test_a_box_call_goes_before_what_waits() -> None:
    """It takes the first moment of the stretch although the put-back came first and has less time left."""
    stretch = ((110.0, 125.0),)
    box, back = call("box", stretch, kind="box"), call("back", stretch, kind="switch", by=124)
    placed = Radio().place(100, back, box)
    assert placed["box"].say_from_s < 111.5
    assert placed["back"].say_from_s >= placed["box"].say_from_s + placed["box"].spoken_s + GAP_S


def test_news_goes_before_a_window_that_is_open() -> None:
    """A red flag comes while a put-back is due: the flag is due at once, the put-back waits for it."""
    radio = Radio()
    back = call("back", ((100.0, 130.0),), kind="switch")
    radio.go(100, back).go(101)
    assert radio["back"].state == "due"
    flag = call("flag", ((100.0, 130.0),), kind="session", from_s=102, by=112, lead_s=0.0)
    radio.go(102, back, flag)
    assert radio["flag"].state == "due"
    assert radio.window("back")[0] >= 102 + FULL_S + GAP_S


# -- what is open stays open -----------------------------------------------------------------------------------------


def test_an_open_window_is_not_pushed_ahead_at_every_report() -> None:
    """The laps ahead are laid out twice a second; the engineer sees one window, due once."""
    radio = Radio(keys=FEW_KEYS).go(100, call()).until(116)
    opens, closes = radio.window()
    assert 110 < opens < 111.5
    assert 116 < closes < 117
    assert radio.states() == ["shown", "due"]
    assert radio["hold"].revision == 2


def test_an_open_window_holds_though_the_car_comes_later_than_thought() -> None:
    """The stretch moves by half a second while the call is due: that is no reason to read it anew."""
    radio = Radio(keys=FEW_KEYS).go(100, call()).until(112)
    for now in (112.5, 113.0, 113.5):
        radio.go(now, call(stretches=((110.5, 120.5),)))
    assert radio.states() == ["shown", "due"]


def test_a_window_that_nobody_used_goes_to_the_next_stretch() -> None:
    """Nobody spoke in it, and keys are pressed here: the call stays open, waits, and is due again."""
    radio = Radio(keys=FEW_KEYS).go(100, call(stretches=((110.0, 119.0), (130.0, 140.0))))
    radio.until(129, begin=100)
    assert 130 < radio.window()[0] < 131.5
    assert radio["hold"].state == "shown"
    radio.until(131.5, begin=129.5)
    assert radio["hold"].state == "due"
    assert "unconfirmed" not in radio.states()
    assert radio["hold"].shown_t == 100


@pytest.mark.parametrize(("reported", "wakes"), [(True, 1), (False, 2)])
def test_the_book_asks_for_another_plan_when_a_window_has_passed(reported: bool, wakes: int) -> None:
    """A due call with a later stretch left wakes the engine as its window closes; where nobody reports who talks, once
    more when its key should have come. Then it has its next window."""
    radio = Radio(keys=FEW_KEYS)
    if reported:
        radio.talk(99.0, "nobody")
    radio.go(100, call(stretches=((110.0, 119.0), (130.0, 140.0)))).go(112)
    now = radio["hold"].spec.say_by_s
    assert not radio.book.lapsed(now)
    for _ in range(wakes):
        assert radio.window()[0] < 130
        wake = radio.book.next_moment(now)
        assert wake is not None
        assert now < wake < now + FULL_S + KEY_S + 1.0
        assert radio.book.lapsed(wake)
        now = wake
        radio.go(now)
    assert radio.window()[0] > 130
    assert not radio.book.lapsed(now)


def test_a_call_over_which_the_driver_talked_moves_on() -> None:
    """The driver talks from before the window until it is over: the call never opens into that, and waits."""
    radio = Radio(keys=FEW_KEYS).go(100, call(stretches=((110.0, 119.0), (130.0, 140.0))))
    radio.talk(109.8, "driver")
    for tick in range(1098, 1200, 5):
        now = tick / 10
        radio.go(now)
        assert radio["hold"].state == "shown", now
    radio.talk(120.0, "nobody")
    radio.go(120.0).until(131.5, begin=120.5)
    assert radio["hold"].state == "due"
    assert 130 < radio.window()[0] < 131.5


def test_a_call_into_which_the_driver_talks_for_long_is_shortened() -> None:
    """What is left of its last stretch is too little for the sentence, and enough for the word."""
    radio = Radio(keys=FEW_KEYS).go(100, call(stretches=((110.0, 118.0),), by=119)).until(110.5)
    radio.talk(110.6, "driver")
    radio.until(115.0, begin=111.0)
    radio.talk(115.4, "nobody")
    radio.go(115.5).go(116.2)
    assert (radio["hold"].spec.text, radio["hold"].spec.way, radio["hold"].state) == (SHORT, "short", "due")
    assert radio["hold"].spec.way_reason is not None


# -- what is being said ----------------------------------------------------------------------------------------------


def test_what_is_being_said_keeps_its_words_and_its_window() -> None:
    """The engineer began it in its window; the stretch shrinks meanwhile, and the words stay until the key may come."""
    radio = Radio(keys=FEW_KEYS).go(100, call()).until(111)
    radio.talk(111.0, "engineer")
    told = radio["hold"].spec
    shrunk = call(stretches=((105.0, 112.0),))
    for now in (111.5, 112.5, 113.5):
        placed = radio.place(now, shrunk)["hold"]
        assert (placed.text, placed.say_from_s, placed.say_by_s) == (told.text, told.say_from_s, told.say_by_s)
    radio.talk(113.8, "nobody")
    radio.go(113.8, shrunk).go(113.8 + KEY_S - 0.1)
    assert radio["hold"].state == "due"
    assert radio.window() == (round(told.say_from_s, 1), round(told.say_by_s, 1))
    radio.said(116.0)
    assert radio.states() == ["shown", "due"]


def test_without_its_key_what_was_said_is_free_to_move_again() -> None:
    """The key did not come in its time: whoever presses keys has said something else, and the call is offered again."""
    radio = Radio(keys=FEW_KEYS).go(100, call(stretches=((110.0, 119.0), (130.0, 140.0)))).until(111)
    radio.talk(111.0, "engineer")
    radio.talk(113.0, "nobody")
    radio.until(120, begin=113.0)
    assert 130 < radio.window()[0] < 131.5


def test_whoever_presses_no_keys_is_offered_nothing_twice() -> None:
    """No key was ever pressed here: a call that may have been said ends unconfirmed in its own time, and only once."""
    for reports in (False, True):
        radio = Radio().go(100, call(stretches=((110.0, 119.0), (130.0, 150.0)), by=155)).until(111)
        if reports:
            radio.talk(111.0, "engineer")
            radio.talk(113.7, "nobody")
        radio.until(160, begin=111.5)
        assert radio.states() == ["shown", "due", "unconfirmed"], reports
        ended = radio["hold"].ended_t
        assert ended is not None
        assert ended < 130


def test_who_talks_decides_what_a_report_says() -> None:
    """A report that repeats the last one, or is older, says nothing new."""
    radio = Radio().go(100, call())
    assert radio.talk(106, "driver")
    assert not radio.talk(107, "driver")
    assert not radio.talk(105.5, "nobody")
    assert radio.channel.talk.who == "driver"
    assert radio.talk(109, "nobody")


def test_nothing_begins_while_somebody_talks() -> None:
    """The driver talks into an open stretch: the call comes when that commonly ends, and later as the talk goes on."""
    radio = Radio(keys=FEW_KEYS)
    radio.talk(111.0, "driver")
    assert radio.place(112.0, call())["hold"].say_from_s >= 114.0
    assert radio.place(115.0, call())["hold"].say_from_s >= 115.5
    radio.talk(115.2, "nobody")
    assert radio.place(115.3, call())["hold"].say_from_s < 115.5


@pytest.mark.parametrize(("medium", "waits"), [("two_way", ANSWER_S), ("one_way", 0.0)])
def test_the_readback_is_waited_for_where_there_is_one(medium: str, waits: float) -> None:
    """After the engineer's sentence the driver reads back; on a one-way radio nobody does."""
    radio = Radio(medium, keys=FEW_KEYS)
    radio.talk(109.0, "engineer")
    radio.talk(112.0, "nobody")
    assert radio.place(112.0, call())["hold"].say_from_s == pytest.approx(112.0 + waits, abs=0.11)


def test_a_box_call_cuts_into_the_engineers_own_sentence() -> None:
    """The last place for it comes near: it waits for the end of what the driver says, not for that of small talk."""
    radio = Radio(keys=FEW_KEYS)
    radio.talk(111.0, "engineer")
    assert radio.place(112.0, call(kind="box"))["hold"].say_from_s == 112.0
    assert radio.place(112.0, call())["hold"].say_from_s >= 114.0
    radio.talk(112.5, "driver")
    assert radio.place(113.0, call(kind="box"))["hold"].say_from_s >= 115.0


# -- what does not compete -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("spec", [
    call(room=None, breaks_off="a car is too close"),
    call(medium="board", board=("HOLD",)),
    call(lap="garage"),
    call(from_s=250.0, by=300.0, stretches=((260.0, 270.0),)),
], ids=["break off or end of a hold", "board", "garage", "far ahead"])  # fmt: skip
def test_what_does_not_compete_stays_as_it_is(spec: CallSpec) -> None:
    """It belongs where its rule has put it, whatever else waits and whoever talks."""
    radio = Radio()
    radio.talk(99.0, "driver")
    box = call("box", kind="box")
    assert radio.place(100, spec, box)["hold"] is spec


def test_a_deferred_call_is_left_where_the_desk_put_it() -> None:
    """The engineer put it off by hand: the plan does not pull it back."""
    radio = Radio(keys=FEW_KEYS).go(100, call(latest_s=180.0)).until(111)
    shift = radio.book.defer(radio["hold"], 111, "deferred by desk", "c1")
    assert shift > 0
    spec = call(latest_s=180.0)
    assert radio.place(112, spec)["hold"] is spec


def test_a_repeated_call_is_left_where_the_desk_put_it() -> None:
    """Asked for once more it is due now, until its own end; the plan does not place it anew."""
    radio = Radio(keys=FEW_KEYS).go(100, call()).until(111)
    radio.said(113)
    assert radio.book.repeat(radio["hold"], 114, "once more", "c2")
    spec = call()
    assert radio.place(115, spec)["hold"] is spec
    radio.go(115).go(116)
    assert radio.window()[0] == 114


def test_what_was_said_is_planned_no_more() -> None:
    """A call that is done with takes no place from the others."""
    stretch = ((110.0, 125.0),)
    box, ask = call("box", stretch, kind="box"), call("ask", stretch, kind="question")
    radio = Radio(keys=FEW_KEYS).go(100, box, ask).until(110.5)
    radio.said(110.5, "box")
    assert radio.place(111.0, box, ask)["ask"].say_from_s == 111.0


def test_a_car_that_stands_in_the_garage_has_no_channel_plan() -> None:
    """Face to face nothing competes: what the rules say stays as it is."""
    radio = Radio()
    radio.at = replace(radio.at, legs=())
    spec = call()
    assert radio.place(100, spec)["hold"] is spec


# -- several at once -------------------------------------------------------------------------------------------------


def test_must_say_calls_never_open_into_one_another() -> None:
    """Box, put-back and news with one long stretch: begun at any moment of its window, each is over before the next
    one's last moment, and they open one after the other."""
    stretch = ((100.0, 130.0),)
    specs = [call("box", stretch, kind="box", by=130), call("back", stretch, kind="switch", by=130),
             call("flag", stretch, kind="session", by=130)]
    placed = sorted(Radio().place(100, *specs).values(), key=lambda spec: spec.say_from_s)
    assert [spec.key for spec in placed] == ["flag", "box", "back"]
    for one, other in pairwise(placed):
        assert one.say_from_s + one.spoken_s + GAP_S <= other.say_from_s
        assert one.say_by_s + one.spoken_s + GAP_S <= other.say_by_s


ENDLESS = ((110.0, 150.0),)


def test_a_call_that_nobody_makes_no_longer_goes_before_the_others() -> None:
    """A procedure call stands open on a long straight and is left unsaid: for a while the lighter question waits
    behind it; then the question comes first."""
    hold, ask = call("hold", ENDLESS), call("ask", ENDLESS, kind="question")
    radio = Radio(keys=FEW_KEYS).go(100, hold, ask).until(119.5)
    assert (radio["hold"].state, radio["ask"].state) == ("due", "shown")
    radio.until(122, begin=120)
    assert radio["ask"].state == "due"
    assert radio["hold"].open


def test_windows_that_passed_count_together() -> None:
    """Left unsaid in one short window after the other, it lets the lighter call go first in a later one."""
    stretches = tuple((begin, begin + 8.0) for begin in (110.0, 125.0, 140.0, 155.0, 170.0))
    hold, ask = call("hold", stretches, by=180), call("ask", stretches, kind="question", by=180)
    radio = Radio(keys=FEW_KEYS).go(100, hold, ask)
    firsts = []
    for begin, _ in stretches:
        radio.until(begin - 1, begin=max(100.0, begin - 14.5))
        firsts.append(min(("hold", "ask"), key=lambda key: radio[key].spec.say_from_s))
    assert firsts[:2] == ["hold", "hold"]
    assert "ask" in firsts


def test_a_put_back_that_nobody_makes_keeps_its_last_place() -> None:
    """It yields where there is room for both; where only one of the two fits, the put-back has the place."""
    back, ask = call("back", ENDLESS, kind="switch"), call("ask", ENDLESS, kind="question")
    radio = Radio(keys=FEW_KEYS).go(100, back, ask).until(122)
    assert radio["ask"].state == "due"
    radio.until(157, begin=122.5)
    only = ((150.0, 162.0),)
    new = call("new", only, kind="question", by=162)
    placed = radio.place(157, call("back", only, kind="switch", by=162), new)
    assert placed["back"].say_from_s < 159
    assert placed["back"].against is None
    assert placed["new"].against is not None or placed["new"].way == "short"


def test_a_box_call_that_nobody_makes_still_goes_first() -> None:
    """It keeps its right of way however long it stands open."""
    box, ask = call("box", ENDLESS, kind="box"), call("ask", ENDLESS, kind="question")
    radio = Radio(keys=FEW_KEYS).go(100, box, ask).until(135)
    assert (radio["box"].state, radio["ask"].state) == ("due", "shown")


def test_time_in_which_the_driver_talks_is_not_time_in_which_it_was_left_unsaid() -> None:
    """Nobody could have said it: it keeps its right of way."""
    hold, ask = call("hold", ENDLESS), call("ask", ENDLESS, kind="question")
    radio = Radio(keys=FEW_KEYS).go(100, hold, ask).until(112)
    radio.talk(112.0, "driver")
    radio.until(124, begin=112)
    radio.talk(124.0, "nobody")
    radio.until(126, begin=124)
    assert (radio["hold"].state, radio["ask"].state) == ("due", "shown")


def test_an_unconfirmed_call_ends_after_the_last_window_it_had() -> None:
    """Keys are pressed here and this one came never: the call ends once its last stretch and the sentence are over."""
    radio = Radio(keys=FEW_KEYS).go(100, call(stretches=((110.0, 119.0), (130.0, 140.0)), by=145)).until(150)
    assert radio["hold"].state in ("unconfirmed", "withdrawn")
    assert radio["hold"].ended_t is not None
    assert 136.0 < radio["hold"].ended_t < 140.0 + FULL_S + AFTER_S + 1.0


def test_a_call_does_not_move_as_its_window_opens() -> None:
    """A second before, the engineer looks at it: what would now be a little sooner or surer does not move it; what
    makes the window worthless does."""
    radio = Radio().go(100, call(stretches=((110.0, 119.0), (130.0, 140.0)), kind="run"))
    before = radio.window()
    soon = before[0] - 1.0
    radio.go(soon, call(stretches=((109.0, 118.8), (130.0, 140.0)), kind="run"))
    assert (radio.window()[0], radio["hold"].state) == (before[0], "shown")
    radio.go(soon, call(stretches=((109.0, 111.5), (130.0, 140.0)), kind="run"))
    assert radio.window()[0] != before[0]


# -- the two box calls of an in-lap ----------------------------------------------------------------------------------


def box_pair(first: tuple[float, float], reminder: tuple[float, float]) -> tuple[CallSpec, CallSpec]:
    """The call home with room on the one stretch, its reminder with room on the other."""
    return (
        call("main-box-1-0", (first,), kind="box", text=BOX, short="Box this lap"),
        call("main-box-1-0-again", (reminder,), kind="box", text=BOX_AGAIN, short=BOX_AGAIN_SHORT),
    )


def test_a_box_call_that_comes_behind_its_reminder_has_the_reminders_words() -> None:
    """"Box this lap" ten seconds behind "Box, box" sounds like news (common practice, no source): where the first call
    finds no stretch before the reminder's, both say the same; where it does, each has its own words."""
    placed = Radio().place(100, *box_pair((130.0, 140.0), (110.0, 120.0)))
    first, reminder = placed["main-box-1-0"], placed["main-box-1-0-again"]
    assert reminder.say_from_s < first.say_from_s
    assert (first.short, reminder.short) == (BOX_AGAIN_SHORT, BOX_AGAIN_SHORT)
    assert {first.text, reminder.text} <= {BOX_AGAIN, BOX_AGAIN_SHORT}
    placed = Radio().place(100, *box_pair((110.0, 120.0), (130.0, 140.0)))
    assert (placed["main-box-1-0"].short, placed["main-box-1-0-again"].short) == ("Box this lap", BOX_AGAIN_SHORT)
    assert "this lap" in placed["main-box-1-0"].text


def test_behind_a_reminder_that_was_said_no_news_follows() -> None:
    """The reminder was said while the first call waited for its stretch: what still comes says no more than it did."""
    first, reminder = box_pair((130.0, 140.0), (110.0, 120.0))
    radio = Radio(keys=FEW_KEYS).go(100, first, reminder).until(112)
    radio.book.signal(radio["main-box-1-0-again"], "said", 112.0, "said by ann")
    radio.go(124)
    assert (radio["main-box-1-0"].state, radio["main-box-1-0"].spec.short) == ("shown", BOX_AGAIN_SHORT)
    assert radio["main-box-1-0"].spec.text in (BOX_AGAIN, BOX_AGAIN_SHORT)
