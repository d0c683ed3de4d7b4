"""A call in parts: cut between clauses where no stretch takes all of it, one call with one read-back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitwall.engine.call import CallSpec
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.engine.parts import part_said
from pitwall.engine.talk_times import KEY_S, PUSH_TO_TALK
from tests.unit.channel_stage import Radio, call

FIRST, REST = "After turn four hold gear five,", "count to five for the aero rakes."
STRETCHES = ((110.0, 115.0), (119.0, 124.0), (140.0, 145.0))
LONG = call(stretches=STRETCHES, text=f"{FIRST} {REST}", short=FIRST, spoken_s=5.8, by=150.0)


def cut(keys: int = FEW_KEYS, spec: CallSpec = LONG) -> Radio:
    """The call is shown, in two parts, and the first is due."""
    radio = Radio(keys=keys)
    radio.go(100, spec)
    return radio.until(111.5)


def test_a_call_that_fits_no_stretch_is_cut_between_clauses() -> None:
    """Shown is the part to be said now, and all that remains, each with its moment in a stretch of its own."""
    spec = cut()["hold"].spec
    assert (spec.way, spec.text, spec.spoken_s) == ("parts", FIRST, spec.parts[0].spoken_s)
    assert [part.text for part in spec.parts] == [FIRST, REST]
    assert 110 < spec.parts[0].say_from_s < 113
    assert 119 < spec.parts[1].say_from_s < 122
    assert spec.way_reason is not None


def test_an_open_part_keeps_its_window() -> None:
    """The laps ahead are laid out twice a second: the engineer sees one window, due once."""
    radio = cut()
    assert radio.states() == ["shown", "due"]


def test_the_key_arms_what_remains_for_the_next_stretch() -> None:
    """Said once: the rest stands there with its own window; said twice: the call is said, one call, one read-back."""
    radio = cut()
    assert part_said(radio.book, radio["hold"], 113.0, "said by ann")
    radio.tick(113.0).go(113.2)
    assert (radio["hold"].spec.text, radio["hold"].spec.way, radio["hold"].parts_said) == (REST, "full", 1)
    assert 119 < radio["hold"].spec.say_from_s < 121
    radio.tick(radio["hold"].spec.say_from_s)
    assert radio["hold"].state == "due"
    assert not part_said(radio.book, radio["hold"], 122.0, "said by ann")
    radio.said(122.0)
    radio.tick(122.0)
    assert radio["hold"].state == "said"
    assert len(radio.book.calls) == 1
    assert radio.states()[-3:] == ["shown", "due", "said"]


def test_talk_of_its_length_arms_what_remains_too() -> None:
    """Nobody presses a key; the radio desk reports two transmissions, each as long as its part."""
    radio = Radio()
    radio.talk(99.0, "nobody")
    radio.go(100, LONG).until(111.5)
    for begin in (111.6, 119.6):
        radio.tick(begin)
        seconds = radio["hold"].spec.spoken_s
        radio.talk(begin, "engineer")
        radio.talk(begin + seconds, "nobody")
        radio.channel.tick(radio.book, begin + seconds + KEY_S)
        radio.go(begin + seconds + KEY_S)
        if begin < 115:
            assert (radio["hold"].parts_said, radio["hold"].spec.text) == (1, REST)
    assert (radio["hold"].state, radio["hold"].said_by) == ("said", PUSH_TO_TALK)


def test_where_nothing_tells_that_a_part_was_said_no_call_is_cut() -> None:
    """No key was ever pressed and no desk reports: it is said in short."""
    assert cut(keys=0)["hold"].spec.way == "short"


def test_what_must_be_said_is_not_cut() -> None:
    """A put-back is one thought: in short rather than in two halves."""
    assert cut(spec=replace(LONG, kind="switch"))["hold"].spec.way == "short"


def test_what_was_begun_is_finished() -> None:
    """The driver talks through the next stretch, and there is no other: half a sentence helps nobody, so the rest is
    said outside."""
    short_road = replace(LONG, room=replace(LONG.room, stretches=STRETCHES[:2], end_by_s=128.0))  # type: ignore[type-var]
    radio = cut(spec=short_road)
    assert part_said(radio.book, radio["hold"], 113.0, "said by ann")
    radio.go(113.2)
    radio.talk(118.0, "driver")
    radio.until(120.0, begin=118.0)
    hold = radio["hold"]
    assert (hold.state, hold.spec.way, hold.spec.text, hold.spec.against) == ("due", "outside", REST, None)


def test_the_key_and_the_talk_of_one_part_are_one_part() -> None:
    """The key comes with the talk, or even during it: the talk is not taken for the next part as well."""
    for early in (True, False):
        radio = Radio(keys=FEW_KEYS)
        radio.talk(99.0, "nobody")
        radio.go(100, LONG).until(111.5)
        hold, times = radio["hold"], radio.channel.times
        seconds = hold.spec.spoken_s
        radio.talk(111.6, "engineer")
        for keyed in (early, not early):
            if keyed:
                times.key(hold, "ann", radio.channel.talk.since_s + 0.5)
                assert part_said(radio.book, hold, 112.0, "said by ann")
            elif radio.channel.talk.who == "engineer":
                radio.talk(111.6 + seconds, "nobody")
        radio.talk(111.7 + seconds, "nobody")
        radio.channel.tick(radio.book, 112.0 + seconds + KEY_S)
        assert (hold.parts_said, hold.state == "said") == (1, False)


@pytest.mark.parametrize("text", ["Another text, with other clauses in it, now."])
def test_other_words_begin_anew(text: str) -> None:
    """The rule wants something else said by now: all of it is said."""
    radio = cut()
    part_said(radio.book, radio["hold"], 113.0, "said by ann")
    radio.go(113.2, replace(LONG, text=text))
    assert radio["hold"].spec.parts == () or radio["hold"].spec.parts[0].text != REST
    assert REST not in radio["hold"].spec.text
