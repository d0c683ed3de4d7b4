"""Delays, deadbands, shelves, chatter and floods of alerts, each by itself.

Sources: OPC 10000-9 (shelving above the most is refused; an alarm clears at its limit less the deadband; an on-delay
needs the condition without a break). EEMUA 191 as quoted elsewhere (secondary): three cycles a minute are chattering;
a flood is above 10 in 10 minutes until below 5 (from memory).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.engine.alerts.policy import FLOOD_ABOVE, FLOOD_BELOW, MOST_SHELVED_S, Flood, Limit, Occurrences, Shelf


def test_a_limit_is_left_only_beyond_its_deadband() -> None:
    """110 degrees with 5 of deadband: held at 106 once crossed, not held at 106 before; the same downwards."""
    high = Limit(110, 5)
    assert [high.holds(value, held) for value, held in ((109, False), (111, False), (106, True), (106, False),
                                                        (105, True))] == [False, True, True, False, False]
    low = Limit(150, 10, rising=False)
    assert [low.holds(value, held) for value, held in ((149, False), (155, True), (155, False), (160, True))] == [
        True, True, False, False]


@given(st.lists(st.floats(100, 120), min_size=1, max_size=60))
def test_noise_smaller_than_the_deadband_raises_once_at_most(values: list[float]) -> None:
    """Whatever a value does between limit and limit less deadband, the condition changes at most once."""
    limit, held, changes = Limit(110, 25), False, 0
    for value in values:
        now = limit.holds(value, held)
        changes, held = changes + (now != held), now
    assert changes <= 1


def test_an_on_delay_counts_only_without_a_break() -> None:
    """Held from 0 to 8, broken, held again from 9: at 12 it has held for three seconds."""
    seen = Occurrences()
    assert [seen.held_for(t) for t in (0.0, 4.0, 8.0)] == [0.0, 4.0, 8.0]
    seen.broke()
    assert [seen.held_for(t) for t in (9.0, 12.0)] == [0.0, 3.0]


def test_three_cycles_within_a_minute_are_chattering() -> None:
    """Cleared at 0, 30 and 59: chattering until the first of them is more than a minute ago; two are not enough."""
    seen = Occurrences()
    seen.cleared(0)
    seen.cleared(30)
    assert not seen.chatters(31)
    seen.cleared(59)
    assert seen.chatters(60)
    assert not seen.chatters(61)


def test_a_flood_begins_above_ten_and_ends_below_five() -> None:
    """Eleven in ten minutes start it; it goes on while five are left in the window."""
    flood = Flood()
    for t in range(FLOOD_ABOVE):
        flood.note(t * 10.0)
    assert not flood.on
    flood.note(110.0)
    assert flood.on
    left = [t for t in range(0, 1200, 5) if flood.look(600.0 + t)]
    assert left == list(range(0, left[-1] + 5, 5)), "it ends once, for good"
    assert len(flood.raised) < FLOOD_BELOW


def test_a_shelf_has_a_most_and_an_end() -> None:
    """Longer than the most is refused, not shortened; when its time is up the alert is back."""
    shelf = Shelf()
    with pytest.raises(ValueError, match="at most 30 min"):
        shelf.put("fuel-short-41", 0, MOST_SHELVED_S + 1)
    with pytest.raises(ValueError, match="at most"):
        shelf.put("fuel-short-41", 0, 0)
    assert shelf.put("fuel-short-41", 100, 60) == 160
    assert shelf.holds("fuel-short-41", 159.9)
    assert not shelf.holds("fuel-short-58", 120)
    assert not shelf.holds("fuel-short-41", 160)
    assert shelf.until_s == {}
