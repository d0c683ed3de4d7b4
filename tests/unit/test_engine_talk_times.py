"""What the radio desk's reports tell beside who talks: how fast an engineer speaks, and that a call was said."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitwall.engine.channel import ChannelBook
from pitwall.engine.session import Session
from pitwall.engine.talk_times import HABIT_FROM, HABIT_OF, KEY_S, PUSH_TO_TALK, SETTLED_S, Rates, TalkTimes
from pitwall.engine.view import situation
from pitwall.model import events as ev
from pitwall.model.outputs import Output
from pitwall.radio.rate import LATE_S
from tests.unit.channel_stage import FULL_S, Radio, call
from tests.unit.engine_stage import CAR, Stage, effect, plan, setup

HOLD = call(stretches=((105.0, 130.0),))


# -- said by push-to-talk alone ----------------------------------------------------------------------------------------


def talked(radio: Radio, begin: float, seconds: float = FULL_S) -> Radio:
    """The engineer talks for so long, and then nobody does."""
    radio.talk(begin, "engineer")
    radio.talk(begin + seconds, "nobody")
    return radio


def due(*specs: object, at: float = 110.0) -> Radio:
    """These calls (one hold by default) are due at 110 s, on a channel that is reported."""
    radio = Radio()
    radio.talk(100.0, "nobody")
    return radio.go(100, *(specs or (HOLD,))).go(at)  # type: ignore[arg-type]


def ticked(radio: Radio, now: float) -> Radio:
    """Time passes as it does in a session."""
    radio.channel.tick(radio.book, now)
    return radio


def test_talk_of_its_length_in_its_window_counts_as_said() -> None:
    """Nobody presses a key: three seconds after the sentence the call is said, and the evidence is named."""
    radio = talked(due(), 111.0)
    assert ticked(radio, 111.0 + FULL_S + KEY_S - 0.1)["hold"].state == "due"
    assert radio.channel.times.next_moment(radio.book) == pytest.approx(111.0 + FULL_S + KEY_S)
    hold = ticked(radio, 111.0 + FULL_S + KEY_S)["hold"]
    assert (hold.state, hold.said_by, hold.said_t) == ("said", PUSH_TO_TALK, 111.0 + FULL_S)
    assert hold.reason == "push-to-talk: the engineer talked for 2.7 s in its window"


@pytest.mark.parametrize("kind", ["box", "stop"])
def test_a_car_is_never_believed_called_in_by_talk_alone(kind: str) -> None:
    """The same talk at a box call may have been about anything: that one asks for a key."""
    radio = talked(due(replace(HOLD, kind=kind)), 111.0)
    assert ticked(radio, 111.0 + FULL_S + KEY_S + 1)["hold"].state != "said"


def corrected(confirmed: bool, answers: tuple[float, ...] = (115.0, 117.0), again: float = 117.5) -> str:
    """A call is said and answered, and soon the engineer talks once more, as the window of the next one opens."""
    other = call("next", stretches=((115.0, 140.0),), from_s=115.0)
    radio = talked(due(), 111.0)
    radio.said(114.0)
    radio.channel.times.key(radio["hold"], "ann", 114.0)
    radio["hold"].confirmed = confirmed
    radio.go(114.0, HOLD, other)
    for begin, end in zip(answers[::2], answers[1::2], strict=True):
        radio.talk(begin, "driver")
        radio.talk(end, "nobody")
    radio.go(again)
    talked(radio, again)
    return ticked(radio, again + FULL_S + KEY_S)["next"].state


def test_a_call_that_is_said_once_more_is_no_evidence_of_the_next() -> None:
    """It was read back wrong, and the driver may go on talking before it can be corrected; once the read-back was
    right, or long after it, the talk is about the next call."""
    assert corrected(confirmed=False) == "due"
    assert corrected(confirmed=False, answers=(115.0, 117.0, 118.0, 126.0), again=126.5) == "due"
    assert corrected(confirmed=True) == "said"
    assert corrected(confirmed=False, again=125.0) == "said"


def test_who_always_presses_the_key_has_said_something_else_without_it() -> None:
    """Six of the last eight transmissions had their key: this one, without it, was about something else."""
    for keyed, state in ((HABIT_FROM, "due"), (HABIT_FROM - 2, "said")):
        radio = due()
        radio.channel.times.pressed = (True,) * keyed + (False,) * (HABIT_OF - keyed - 1)
        talked(radio, 111.0)
        assert ticked(radio, 111.0 + FULL_S + KEY_S)["hold"].state == state


def test_one_talk_is_one_call() -> None:
    """However often time passes, the talk is counted once; the next call needs a talk of its own."""
    radio = talked(due(), 111.0)
    ticked(radio, 118.0)
    radio.go(119, HOLD, replace(HOLD, key="next"))
    assert ticked(radio.go(121), 124.0)["next"].state in ("shown", "due")
    assert radio["hold"].state == "said"


@pytest.mark.parametrize(("seconds", "why"), [(0.4, "a word"), (9.0, "a talk about something else")])
def test_talk_of_another_length_is_no_evidence(seconds: float, why: str) -> None:
    """Too short or too long for this call: it stays due."""
    radio = talked(due(), 111.0, seconds)
    assert ticked(radio, 111.0 + seconds + KEY_S + 1)["hold"].state == "due", why


def test_talk_before_its_window_is_no_evidence() -> None:
    """The engineer spoke of something else before it was due."""
    radio = Radio()
    radio.talk(99.0, "nobody")
    radio.go(100, HOLD)
    assert ticked(talked(radio, 101.0), 109.0)["hold"].state != "said"


def test_talk_with_two_calls_open_is_no_evidence() -> None:
    """Nobody knows which of two it was: both stay, and the keys decide."""
    other = call("other", None, say_from_s=105.0, say_by_s=128.0)
    radio = talked(due(call("hold", None, say_from_s=105.0, say_by_s=128.0), other, at=126.0), 126.0)
    states = {key: ticked(radio, 132.0)[key].state for key in ("hold", "other")}
    assert states["hold"] != "said" or states["other"] != "said"


def test_nothing_is_counted_in_the_garage() -> None:
    """There everybody talks about everything, and a brief has its own key."""
    radio = talked(due(call("hold", None, lap="garage", say_from_s=105.0, say_by_s=128.0)), 111.0)
    assert ticked(radio, 120.0)["hold"].state == "due"


# -- the key that comes late -------------------------------------------------------------------------------------------


def stage() -> tuple[Stage, str]:
    """A car on its out-lap with one call due; the id of that call."""
    made = Stage(setup(plan({"run": "main", "want": "must", "laps": "out, 2 timed, in",
                             "items": [{"do": "radio_check", "on": "out"}]}))).green()
    made.give(ev.ChannelReported(id="free", t=1.0, car=CAR, talking="nobody"))
    made.leave(50.0)
    made.wait(52.0)
    check = made.call("radio_check-0-1-0-0")
    made.wait(check.spec.say_from_s + 0.2)
    assert check.state == "due"
    return made, check.id


def says(made: Stage, seconds: float) -> float:
    """The engineer talks from now on for so long; returns when it is over."""
    begin = made.now
    made.give(ev.ChannelReported(id=f"talk-{begin:g}", t=begin, car=CAR, talking="engineer"))
    made.give(ev.ChannelReported(id=f"over-{begin:g}", t=begin + seconds, car=CAR, talking="nobody"))
    return begin + seconds


def test_a_later_key_is_no_double() -> None:
    """The talk was counted; the key that follows, with or without a name, is the same call's and no other's."""
    made, name = stage()
    over = says(made, made.car.book.calls[name].spec.spoken_s)
    made.wait(over + KEY_S + 0.5)
    assert made.car.book.calls[name].said_by == PUSH_TO_TALK
    assert effect(made.command("said")) == f"{name} said"
    assert (made.car.book.calls[name].said_by, made.car.book.keys) == ("desk", 1)
    assert effect(made.command("said", call=name)) == f"{name} is said already, by desk"


def test_a_key_without_a_name_means_the_next_call_once_the_talk_is_long_over() -> None:
    """So long after the counted talk the key is for what is due now; nothing is, and it is told."""
    made, name = stage()
    over = says(made, made.car.book.calls[name].spec.spoken_s)
    made.wait(over + LATE_S + 1.0)
    assert made.car.channel.times.meant(made.car.book, made.now) is None


def test_a_key_in_time_is_the_evidence() -> None:
    """The key comes as usual, a second after the sentence: the talk adds nothing."""
    made, name = stage()
    over = says(made, made.car.book.calls[name].spec.spoken_s)
    made.wait(over + 1.0)
    made.command("said")
    made.wait(over + KEY_S + 2.0)
    assert (made.car.book.calls[name].said_by, made.car.book.keys) == ("desk", 1)


# -- how fast this engineer speaks -------------------------------------------------------------------------------------


def taught(share: float, calls: int = 12, by: str = "ann", rates: Rates | None = None) -> TalkTimes:
    """An engineer said so many calls of 2.7 s, each in this share of that time, and pressed the key for each."""
    book = Radio(keys=3)
    times = TalkTimes(rates or Rates(150.0))
    for number in range(calls):
        begin = 100.0 + 40.0 * number
        said = book.go(100, HOLD)["hold"]
        times.begins(begin, book.book)
        times.ends(begin + share * FULL_S)
        times.key(said, by, begin + share * FULL_S + 0.8)
        times.settle(begin + 30.0)
    return times


@pytest.mark.parametrize("share", [0.8, 1.25])
def test_the_rate_of_an_engineer_is_learned_from_talk_and_keys(share: float) -> None:
    """Who takes a quarter longer for every sentence is reckoned with so; after a dozen calls most of it is known."""
    believed, spoken = 150.0, 60 * 6 / (share * FULL_S - 0.3)
    learned = taught(share).words_per_minute(None, believed)
    assert abs(learned - spoken) < 0.45 * abs(believed - spoken)
    assert learned == round(learned)


def test_until_anything_is_heard_the_settings_count() -> None:
    """No key, no rate: the one of the settings, exactly."""
    assert TalkTimes(Rates(147.3)).words_per_minute("ann", 147.3) == 147.3
    assert taught(1.25, calls=0).words_per_minute("ann", 150.0) == 150.0


def test_every_engineer_has_a_rate_of_their_own_on_all_cars() -> None:
    """Ann is slow, on whichever car; Bea, who takes over, is believed to be as usual."""
    rates = Rates(150.0)
    taught(1.25, by="ann", rates=rates)
    other_car = TalkTimes(rates)
    assert other_car.words_per_minute("ann", 150.0) < 140
    assert other_car.words_per_minute("bea", 150.0) == 150


def test_a_talk_that_could_be_two_calls_teaches_nothing() -> None:
    """Two keys for one transmission: which words took how long is not known."""
    radio, times = Radio().go(100, HOLD), TalkTimes(Rates(150.0))
    times.begins(110.0, radio.book)
    times.ends(116.0)
    times.key(radio["hold"], "ann", 113.0)
    times.key(replace(radio["hold"], id="other"), "ann", 117.0)
    times.settle(116.0 + SETTLED_S + 5)
    assert not times.rates.of  # type: ignore[union-attr]


class Logged(Stage):
    """A stage that keeps its facts, as the journal does."""

    facts: tuple[ev.Stamped, ...] = ()

    def handle(self, event: ev.Event) -> tuple[Output, ...]:
        """Keep it, then give it."""
        self.facts = (*self.facts, ev.Stamped(seq=len(self.facts), received_t=self.now, event=event))
        return super().handle(event)


def test_what_was_learned_moves_the_windows() -> None:
    """A slow engineer's calls are reckoned longer in all that the rules see, and the same after a restart."""
    made = Logged(setup()).green()
    usual = situation(made.car, made.session.clock, made.now).spoken("Hold gear five after turn four.")
    for number in range(14):
        made.wait(5.0 + 25.0 * number)
        name = made.car.book.due_first()
        if name is None:
            continue
        says(made, 1.4 * name.spec.spoken_s)
        made.command("said", t=made.now + 0.5, call=name.id, by="ann")
    made.wait(400.0)
    again = Session()
    for fact in made.facts:
        again.handle(fact)
    times, replayed = made.car.channel.times, again.team[CAR].channel.times
    assert situation(made.car, made.session.clock, made.now).spoken("Hold gear five after turn four.") > usual
    assert (times.engineer, times.rates) == ("ann", replayed.rates)


def test_a_book_of_its_own_has_no_rates() -> None:
    """Used alone, as in tools, the channel keeps to what the settings say."""
    assert ChannelBook().times.words_per_minute("ann", 161.0) == 161.0
