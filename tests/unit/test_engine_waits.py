"""How long calls wait for their first word, and that who begins later gets windows that leave more time for it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitwall.engine.chances_to_say import QUICK_S, SLOWEST, STANDARDS, least_start_s
from pitwall.engine.channel import ChannelBook
from pitwall.engine.talk_times import Rates, TalkTimes
from tests.unit.channel_stage import FULL, Radio, call, on_track

BOX = call(kind="box", stretches=((105.0, 130.0),))
TWO = ((105.0, 109.0), (120.0, 140.0))
"""A stretch that leaves 0.9 s to begin a sentence of 2.7 s, spoken slowly, and a long one after it."""


class Heard(Rates):
    """Rates that keep what they are taught of waits."""

    def __init__(self) -> None:
        super().__init__(150.0)
        self.waits: list[tuple[str | None, float, bool]] = []

    def waited(self, engineer: str | None, waited_s: float, *, begun: bool) -> None:
        """One wait, to a tenth of a second."""
        self.waits.append((engineer, round(waited_s, 1), begun))


def on_air(rates: Rates | None = None) -> Radio:
    """A channel that the radio desk reports, free since 100 s."""
    radio = Radio()
    radio.channel = ChannelBook(times=TalkTimes(rates if rates is not None else Heard()))
    radio.talk(100.0, "nobody")
    return radio


def waits_of(radio: Radio) -> list[tuple[str | None, float, bool]]:
    """What was learned."""
    rates = radio.channel.times.rates
    assert isinstance(rates, Heard)
    return rates.waits


def test_a_wait_is_from_the_window_to_the_first_word() -> None:
    """The call may be begun from 105 s on, and is begun at 106.4 s: it waited for 1.4 s."""
    radio = on_air().go(100, BOX)
    opens = radio.window()[0]
    radio.tick(opens).talk(opens + 1.4, "engineer")
    assert waits_of(radio) == [(None, 1.4, True)]


def test_a_wait_counts_on_a_free_channel_only() -> None:
    """The driver talks until 108 s: the call begun at 108.6 s waited for 0.6 s, not since 105 s."""
    radio = on_air().go(100, BOX).go(105.0)
    radio.talk(106.0, "driver")
    radio.talk(108.0, "nobody")
    radio.go(108.0).talk(108.6, "engineer")
    assert waits_of(radio) == [(None, 0.6, True)]


def test_a_window_that_closes_unsaid_tells_that_the_wait_is_longer() -> None:
    """It is open for some time on a free channel, and nobody begins."""
    radio = on_air().go(100, replace(BOX, room=replace(BOX.room, stretches=TWO)))  # type: ignore[type-var]
    begin, end = radio.window()
    radio.tick(begin).go(end + 0.2).go(end + 0.3)
    ((_, waited_s, begun),) = waits_of(radio)
    assert (waited_s, begun) == (pytest.approx(end - begin, abs=0.11), False)


def test_a_talk_that_could_be_of_two_calls_teaches_nothing() -> None:
    """Two may be begun: nobody knows which of them waited."""
    radio = on_air().go(100, BOX, replace(BOX, key="other", room=None, say_from_s=104.0, say_by_s=120.0)).go(106.0)
    radio.talk(107.0, "engineer")
    assert waits_of(radio) == []


def test_what_may_be_left_unsaid_teaches_nothing() -> None:
    """A lap time that nobody reads out is no slow engineer."""
    radio = on_air().go(100, replace(BOX, kind="pace")).go(106.0).go(130.0)
    assert waits_of(radio) == []


def test_where_nobody_reports_talk_nothing_is_learned() -> None:
    """A call that nobody keyed may have been said all the same."""
    radio = on_air()
    radio.channel.talk.known = False
    radio.go(100, BOX).go(106.0).go(140.0)
    assert waits_of(radio) == []


@pytest.mark.parametrize("standard", range(len(STANDARDS)))
def test_who_needs_twice_as_long_gets_twice_as_long(standard: int) -> None:
    """In proportion, and no more than stretches commonly have; a quick one gets what everybody gets."""
    least = STANDARDS[standard][1]
    of = {within: least_start_s(replace(on_track(), begins_within_s=within), standard)
          for within in (0.0, 0.5, QUICK_S, 2 * QUICK_S, 60.0)}  # fmt: skip
    assert of == {0.0: least, 0.5: least, QUICK_S: least, 2 * QUICK_S: pytest.approx(2 * least),
                  60.0: SLOWEST * least}  # fmt: skip


def test_a_slow_engineer_is_given_the_long_stretch() -> None:
    """Who begins within a second is told to say it in the first stretch; who needs three gets the second."""
    spec = call(stretches=((105.0, 110.5), (120.0, 140.0)), key="box", kind="box", short=FULL)

    def begins(within_s: float) -> float:
        radio = Radio()
        radio.at = replace(radio.at, begins_within_s=within_s)
        return radio.place(104.0, spec)["box"].say_from_s

    assert begins(1.0) < 106
    assert begins(3.0) > 119


def test_until_a_key_tells_whose_they_were_the_waits_are_of_whoever_presses_it() -> None:
    """The engineer is not known by name before the first key; what was heard until then is not lost."""
    rates = Rates(150.0)
    for _ in range(8):
        rates.waited(None, 3.0, begun=True)
    assert rates.begins_within_s("ann") == rates.begins_within_s(None) > 2 * QUICK_S
    for _ in range(40):
        rates.waited("ann", 0.4, begun=True)
    assert rates.begins_within_s("ann") < QUICK_S
