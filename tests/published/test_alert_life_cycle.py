"""The life cycle of alerts against OPC 10000-9 (OPC UA Part 9), the open text written to IEC 62682 / ISA-18.2.

Table B.1 is replayed step by step. Its columns are Active, Acked, Confirmed and Retain. pitwall has no *confirm*: an
engineer takes note of an alert once, and nobody signs afterwards that the cause was mended, so Confirmed (optional in
the standard) is not compared and the confirm steps change nothing here. Active and Acked are compared in every row.
Retain says that a client must go on showing the condition. pitwall shows an alert as long as it is active and takes it
off when its condition is over, noted or not, for there is nothing left to do about it on track and the journal keeps
it; so Retain equals Active here. It agrees with the table in the first rows and wherever a cycle is complete, and
differs in the rows 3, 6 and 7, which wait for an acknowledgement or a confirmation after the end; that is stated below.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.alerts.policy import CHATTER_WINDOW_S, FLOOD_ABOVE, FLOOD_BELOW, MOST_SHELVED_S, Limit
from pitwall.model.outputs import Alert, HeldBack, Output

KEY = "fuel-short-41"


class Row(NamedTuple):
    """A row of the table: what happens, and the state after it."""

    step: int
    event: str
    active: bool
    acked: bool
    confirmed: bool
    retain: bool


TABLE_B1 = (  # OPC 10000-9, Table B.1
    Row(0, "initial", False, True, True, False),
    Row(1, "active", True, False, True, True),
    Row(2, "acknowledge", True, True, False, True),
    Row(3, "inactive", False, True, False, True),
    Row(4, "confirm", False, True, True, False),
    Row(5, "active", True, False, True, True),
    Row(6, "inactive", False, False, True, True),
    Row(7, "acknowledge", False, True, False, True),
    Row(8, "confirm", False, True, True, False),
)
AWAITED_AFTER_THE_END = {3, 6, 7}
EVERY_S = 100.0  # far enough apart not to be chattering


class Screen:
    """What a client of the bus knows: the last alert of each id, as it was told."""

    def __init__(self) -> None:
        self.book, self.last = AlertBook(), dict[str, Alert]()

    def hear(self, outputs: list[Output]) -> None:
        """Take what was told."""
        self.last.update({one.id: one for one in outputs if isinstance(one, Alert)})

    def happens(self, event: str, t: float) -> None:
        """One step of the table."""
        if event == "active":
            self.hear(self.book.hold("fuel_short", "41", "short of fuel", t, "green"))
        elif event == "inactive":
            self.hear(self.book.over("fuel_short", "41", t))
        elif event == "acknowledge":
            self.hear(self.book.acknowledge(KEY, t, f"key at {t:g}"))

    @property
    def state(self) -> tuple[bool, bool, bool]:
        """Active, Acked, Retain. Never heard of is neither active nor owed a note: the initial row."""
        alert = self.last.get(KEY)
        return (False, True, False) if alert is None else (alert.active, alert.acknowledged, alert.active)


def test_table_b1_replayed() -> None:
    """Active and Acked follow the table in all nine rows; Retain wherever nothing is awaited after the end."""
    screen = Screen()
    for row in TABLE_B1:
        screen.happens(row.event, row.step * EVERY_S)
        active, acked, retain = screen.state
        assert (active, acked) == (row.active, row.acked), f"row {row.step}, {row.event}"
        assert retain == (row.retain and row.step not in AWAITED_AFTER_THE_END), f"row {row.step}, {row.event}"


def test_the_clients_of_the_bus_and_the_book_agree_on_what_stands() -> None:
    """After each row the book holds exactly what a client shows."""
    screen = Screen()
    for row in TABLE_B1:
        screen.happens(row.event, row.step * EVERY_S)
        assert set(screen.book.active) == {name for name, alert in screen.last.items() if alert.active}


def test_a_timed_shelve_longer_than_the_most_is_refused() -> None:
    """OPC 10000-9, 5.8.17 (TimedShelve, MaxTimeShelved): refused whole, not shortened; the alert stands as before."""
    screen = Screen()
    screen.happens("active", 0)
    with pytest.raises(ValueError, match="at most"):
        screen.book.shelve(KEY, 1, MOST_SHELVED_S + 1, "c1")
    assert screen.book.active[KEY].active
    assert not screen.book.shelf.holds(KEY, 2)
    screen.hear(screen.book.shelve(KEY, 3, MOST_SHELVED_S, "c2"))
    assert screen.state[0] is False


def test_a_shelved_alert_works_on_underneath() -> None:
    """OPC 10000-9, 5.8.17: its condition ends and comes again while it lies on the shelf; what counts when the time is
    up is the condition at that moment."""
    for condition_then, shown in ((True, True), (False, False)):
        screen = Screen()
        screen.happens("active", 0)
        screen.hear(screen.book.shelve(KEY, 10, 100, "c1"))
        screen.happens("inactive", 40)
        screen.happens("active", 50)
        assert screen.state[0] is False
        if not condition_then:
            screen.happens("inactive", 90)
        for t in (109.0, 110.0, 115.0):
            screen.happens("active" if condition_then else "inactive", t)
        assert screen.state[0] is shown


def test_a_suppressed_alert_works_on_underneath() -> None:
    """OPC 10000-9, 5.8.2 (SuppressedState): suppressed by the session's status it is off the screens with its reason
    on record, and back, not acknowledged, as soon as it is needed again and holds."""
    screen = Screen()
    told = screen.book.hold("overrun", "41", "does not fit", 0, "green")
    screen.hear([*told, *screen.book.acknowledge("overrun-41", 1, "c1")])
    off = screen.book.hold("overrun", "41", "does not fit", 10, "red")
    assert [type(one) for one in off] == [Alert, HeldBack]
    screen.hear(off)
    assert not screen.last["overrun-41"].active
    screen.hear(screen.book.hold("overrun", "41", "does not fit", 70, "green"))
    back = screen.last["overrun-41"]
    assert (back.active, back.acknowledged) == (True, False)


def test_an_on_delay_needs_the_condition_without_a_break() -> None:
    """OPC 10000-9, 5.8.2 (OnDelay): nine seconds of ten, a moment without it, nine more: never raised; ten are."""
    book = AlertBook()

    def raised(t: float) -> bool:
        return any(isinstance(one, Alert) for one in book.hold("release_overdue", "41", "stands here", t, "green"))

    assert not any(raised(t) for t in (0.0, 4.5, 9.0))
    book.over("release_overdue", "41", 9.5)
    assert [t for t in (10.0, 14.0, 19.0, 20.0, 21.0) if raised(t)] == [20.0]


@pytest.mark.parametrize(("rising", "limit", "deadband", "walk", "raised_at", "over_at"), [
    (True, 110.0, 4.0, (109, 110, 111, 108, 106.1, 106, 105), 111, 106),
    (False, 140.0, 5.0, (141, 140, 139, 143, 144.9, 145, 146), 139, 145),
])  # fmt: skip
def test_an_alarm_clears_at_its_limit_less_the_deadband(
    rising: bool, limit: float, deadband: float, walk: tuple[float, ...], raised_at: float, over_at: float
) -> None:
    """OPC 10000-9, 5.8.18 and B.1.5 (deadband): raised beyond the limit, over at limit minus deadband, in either
    direction."""
    held, changes = False, []
    for value in walk:
        now = Limit(limit, deadband, rising).holds(value, held)
        changes += [value] if now != held else []
        held = now
    assert changes == [raised_at, over_at]


def test_a_re_alarm_returns_it_to_unacknowledged() -> None:
    """OPC 10000-9, 5.8.2 (ReAlarmTime): noted, and still there after its time: unacknowledged and active as before."""
    screen = Screen()
    for event, t in (("active", 0.0), ("acknowledge", 10.0), ("active", 100.0)):
        screen.happens(event, t)
    assert screen.state == (True, True, True)
    screen.happens("active", 10.0 + 180.0)
    assert screen.state == (True, False, True)
    assert screen.last[KEY].since_s == 0.0, "the same occurrence"


def test_a_flood_begins_above_ten_in_ten_minutes_and_ends_below_five() -> None:
    """EEMUA 191 (from memory): eleven alerts within ten minutes are a flood in which only the urgent get through."""
    book = AlertBook()
    for number in range(FLOOD_ABOVE + 1):
        book.hold("car_silent", "41", "unseen", 10.0 * number, "green", f"s{number}")
    assert (FLOOD_ABOVE, FLOOD_BELOW) == (10, 5)
    calm = [t for t in range(200, 900) if any(isinstance(one, Alert) and one.kind == "car_silent"
            for one in book.hold("car_silent", "41", "unseen", float(t), "green"))]  # fmt: skip
    # Raised at 0, 10 ... 100: fewer than five lie within ten minutes as soon as that of 60 does not.
    assert calm == [661]


def test_three_cycles_a_minute_are_chattering() -> None:
    """EEMUA 191 (secondary): the third end within a minute is not told before a minute of quiet."""
    screen = Screen()
    for t in (0.0, 15.0, 30.0):
        screen.happens("active", t)
        screen.happens("inactive", t + 10)
    assert screen.state[0] is True
    for t in range(45, int(40 + CHATTER_WINDOW_S) + 1, 5):
        screen.happens("inactive", float(t))
    assert screen.state[0] is False
