"""How long calls wait for their first word, and that who begins later gets windows that leave more time for it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitwall.engine.aiming import WAITS
from pitwall.engine.call import CallSpec
from pitwall.engine.car import CarTrack
from pitwall.engine.chances_to_say import QUICK_S, SLOWEST, STANDARDS, least_start_s
from pitwall.engine.channel import ChannelBook
from pitwall.engine.waits import KEYED_S, BeginsOf, Waits
from pitwall.pace.arrivals import Sighting
from pitwall.radio.begins import Begins
from pitwall.radio.ways import HIT_S
from tests.unit.channel_stage import FULL, FULL_S, Radio, call, on_track

BOX = call(kind="box", stretches=((105.0, 130.0),))
TWO = ((105.0, 109.0), (120.0, 140.0))
"""A stretch that leaves 0.9 s to begin a sentence of 2.7 s, spoken slowly, and a long one after it."""


class Heard(Begins):
    """A state that keeps what it is taught."""

    lessons: tuple[tuple[float, bool], ...] = ()

    def after(self, waited_s: float, *, begun: bool) -> Heard:
        """One wait, to a tenth of a second."""
        found = Heard()
        object.__setattr__(found, "lessons", (*self.lessons, (round(waited_s, 1), begun)))
        return found


def on_air(begins: BeginsOf | None = None, engineer: str = "ann") -> Radio:
    """Ann's channel, which the radio desk reports, free since 100 s."""
    radio, begins = Radio(), begins or BeginsOf()
    begins.of.setdefault(engineer, Heard())
    radio.channel = ChannelBook(waits=Waits(begins, engineer))
    radio.talk(100.0, "nobody")
    return radio


def waits_of(radio: Radio, engineer: str = "ann") -> list[tuple[float, bool]]:
    """What was learned of this engineer."""
    known = radio.channel.waits.begins.of[engineer]
    assert isinstance(known, Heard)
    return list(known.lessons)


def opened(radio: Radio, *specs: CallSpec) -> float:
    """These calls come due; when the first of them may be begun."""
    radio.go(100, *(specs or (BOX,)))
    opens = radio.window()[0]
    radio.go(opens)
    return opens


def test_a_wait_is_from_the_window_to_the_first_word() -> None:
    """The call is begun 1.4 s after it could be."""
    radio = on_air()
    radio.talk(opened(radio) + 1.4, "engineer")
    assert waits_of(radio) == [(1.4, True)]


def test_a_wait_counts_on_a_free_channel_only() -> None:
    """The driver talks until 108 s: the call begun at 108.6 s waited for 0.6 s, not since 105 s."""
    radio = on_air()
    opened(radio)
    radio.talk(106.0, "driver")
    radio.talk(108.0, "nobody")
    radio.go(108.0).talk(108.6, "engineer")
    assert waits_of(radio) == [(0.6, True)]


def test_a_window_that_closes_unsaid_tells_that_the_wait_is_longer() -> None:
    """It is open for some time on a free channel, and nobody begins: the call moves to the next stretch."""
    radio = on_air()
    opens = opened(radio, replace(BOX, room=replace(BOX.room, stretches=TWO)))  # type: ignore[type-var]
    end = radio.window()[1]
    radio.go(end + 0.2).go(end + 0.3)
    ((waited_s, begun),) = waits_of(radio)
    assert (waited_s, begun) == (pytest.approx(end - opens, abs=0.11), False)


def test_a_call_that_was_said_is_none_that_nobody_began() -> None:
    """The desk's reports fail while it is said; the key comes when its window has closed."""
    radio = on_air()
    opened(radio, replace(BOX, room=replace(BOX.room, stretches=TWO)))  # type: ignore[type-var]
    end = radio.window()[1]
    radio["hold"].said_t = end + 1.0
    radio.said(end + 1.0)
    radio.go(end + 3.0).go(end + 20.0)
    assert waits_of(radio) == []


def test_a_talk_that_could_be_of_two_calls_teaches_nothing() -> None:
    """Two may be begun: nobody knows which of them waited."""
    radio = on_air()
    opened(radio, BOX, replace(BOX, key="other", room=None, say_from_s=104.0, say_by_s=120.0))
    radio.go(106.0).talk(107.0, "engineer")
    assert waits_of(radio) == []


@pytest.mark.parametrize("changes", [{"kind": "pace"}, {"lap": "garage"}, {"medium": "board"}], ids=str)
def test_what_may_wait_for_a_better_moment_teaches_nothing(changes: dict[str, str]) -> None:
    """A lap time that nobody reads out, a check list in the garage and a board are no slow engineer."""
    radio = on_air().go(100, replace(BOX, **changes))  # type: ignore[arg-type]
    radio.go(106.0).go(120.0)
    radio.talk(121.0, "engineer")
    radio.talk(123.0, "nobody")
    radio.go(140.0)
    assert waits_of(radio) == []


def test_off_the_track_no_call_waits() -> None:
    """The car came in before the window closed: nobody is slow for that."""
    radio = on_air()
    opened(radio)
    radio.channel.waits.forget()
    radio.channel.waits.look((), 140.0, 100.0, radio.book.find)
    assert waits_of(radio) == []


def test_where_nobody_reports_talk_nor_presses_keys_nothing_is_learned() -> None:
    """A call that nobody keyed may have been said all the same."""
    radio = on_air()
    radio.channel.talk.known = False
    opened(radio)
    radio.go(106.0).go(140.0)
    assert waits_of(radio) == []


def test_where_nobody_reports_talk_the_key_tells_when_a_call_was_begun() -> None:
    """Four seconds after it opened the key is pressed: the call takes 2.7 s of them, and the hand commonly 0.8 s."""
    radio = on_air()
    radio.channel.talk.known = False
    opens = opened(radio)
    radio.channel.waits.keyed(radio["hold"], opens + 4.0)
    assert waits_of(radio) == [(pytest.approx(4.0 - radio["hold"].spec.spoken_s - KEYED_S, abs=0.06), True)]


def test_who_talks_to_another_car_is_not_slow_on_this_one() -> None:
    """Ann has two cars: while she talks to the other one a window of this one closes."""
    begins = BeginsOf()
    radio, other = on_air(begins), on_air(begins)
    opened(radio, replace(BOX, room=replace(BOX.room, stretches=TWO)))  # type: ignore[type-var]
    end = radio.window()[1]
    other.talk(end - 0.4, "engineer")
    radio.go(end + 0.2).go(end + 0.3)
    assert waits_of(radio) == []


def test_each_engineer_has_waits_of_their_own() -> None:
    """Bob takes over: what he needs is learned of him, and Ann is as she was; of a relief nothing is known."""
    radio = on_air()
    radio.talk(opened(radio) + 1.4, "engineer")
    radio.channel.waits.is_with("bob")
    assert radio.channel.waits.within_s == round(Begins().within_s, 1)
    for _ in range(8):
        radio.channel.waits.begun(radio["hold"], radio["hold"].spec.say_from_s + 3.0, 100.0)
        radio.channel.waits.ended(103.0)
    assert radio.channel.waits.within_s > 2 * QUICK_S
    assert waits_of(radio) == [(1.4, True)]


def test_until_a_key_tells_who_it_is_the_waits_are_of_whoever_presses_it() -> None:
    """What was heard until then is not lost, is of this car alone, and is not believed of anybody else."""
    begins = BeginsOf()
    here, there = Waits(begins), Waits(begins)
    here.unknown = Begins().after(3.0, begun=True).after(3.0, begun=True).after(3.0, begun=True)
    slow = here.within_s
    here.is_with("ann")
    there.is_with("bob")
    assert slow == here.within_s > there.within_s == round(Begins().within_s, 1)


def test_a_call_behind_another_waits_for_a_slow_engineer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two calls on one long stretch, where positions come: the second is planned for a start of the first as much later
    as this engineer takes."""
    monkeypatch.setattr(CarTrack, "sighted", property(lambda track: Sighting(track.seen_phase, track.seen_t)))

    def second(within_s: float) -> float:
        radio = Radio()
        radio.at = replace(radio.at, begins_within_s=within_s)
        placed = radio.place(104.0, replace(BOX, key="box"), call(key="next", stretches=((105.0, 130.0),)))
        return placed["next"].say_from_s - placed["box"].say_from_s

    assert second(2 * QUICK_S) == pytest.approx(second(QUICK_S) + HIT_S, abs=0.11)


@pytest.mark.parametrize("standard", range(len(STANDARDS)))
def test_who_needs_twice_as_long_gets_twice_as_long(standard: int) -> None:
    """In proportion, and no more than stretches commonly have; a quick one gets what everybody gets."""
    least = STANDARDS[standard][1]
    of = {within: least_start_s(replace(on_track(), begins_within_s=within), standard)
          for within in (0.0, 0.5, QUICK_S, 2 * QUICK_S, 60.0)}  # fmt: skip
    assert of == {0.0: least, 0.5: least, QUICK_S: least, 2 * QUICK_S: pytest.approx(2 * least),
                  60.0: SLOWEST * least}  # fmt: skip


@pytest.mark.parametrize("within_s", [0.5, 3.0])
def test_a_box_call_goes_where_it_is_heard_whoever_has_the_radio(within_s: float) -> None:
    """One stretch that leaves a second to begin: a quick engineer is given that window, a slow one is shown the call
    so long before it that the first word most likely falls on the stretch, and it stays open when that is over."""
    begin, end = 110.0, 110.0 + 1.18 * FULL_S + 1.0
    spec = call(stretches=((begin, end),), key="box", kind="box", short=FULL, by=120.0)
    radio = Radio()
    radio.at = replace(radio.at, begins_within_s=within_s)
    placed = radio.place(104.0, spec)["box"]
    if within_s < QUICK_S:
        assert placed.way in ("full", "short")
        assert begin <= placed.say_from_s <= placed.say_by_s <= end
    else:
        assert placed.way in ("outside", "outside_short")
        usual = within_s * WAITS[len(WAITS) // 2]
        assert begin <= placed.say_from_s + usual <= end - FULL_S
        assert placed.say_by_s > end


def test_a_slow_engineer_is_given_the_long_stretch() -> None:
    """Who begins within a second is told to say it in the first stretch; who needs three gets the second."""
    spec = call(stretches=((105.0, 110.5), (120.0, 140.0)), key="box", kind="box", short=FULL)

    def begins(within_s: float) -> float:
        radio = Radio()
        radio.at = replace(radio.at, begins_within_s=within_s)
        return radio.place(104.0, spec)["box"].say_from_s

    assert begins(1.0) < 106
    assert begins(3.0) > 119
