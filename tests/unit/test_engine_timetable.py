"""Moments of the day are told and go by themselves; no prompt is decided differently for them. A sleep is a gap."""

from __future__ import annotations

from datetime import datetime

import pytest

from pitwall.engine.timetable import LIGHT_LATE_S, NO_LIGHT, OPEN
from pitwall.model.events import Resumed, Stamped, TimetableReached
from pitwall.model.outputs import Alert, HeldBack, Prompt
from tests.unit.engine_stage import Stage

DUE = datetime.fromisoformat("2031-05-16T09:45:00+02:00")


def reached(t: float, name: str = "briefing-p1", kind: str = "reminder", late_s: float = 0.0,
            passed: bool = False) -> TimetableReached:
    """A fact of the timetable."""
    return TimetableReached.model_validate({
        "id": f"timetable:{name}:{t}", "t": t, "entry": name, "kind": kind, "text": "p1: briefing", "due": DUE,
        "late_s": late_s, "passed": passed})


def shown(stage: Stage) -> list[tuple[float, str, bool]]:
    """Timetable alerts as published: when, id, active."""
    return [(alert.t, alert.id, alert.active) for alert in stage.made(Alert) if alert.kind in ("timetable", "curfew")]


def test_reminder_is_a_low_alert_with_its_local_time() -> None:
    """A reminder is told at once, low, in the clock of the event."""
    stage = Stage()
    (alert,) = stage.give(reached(-250))
    assert isinstance(alert, Alert)
    assert (alert.kind, alert.priority, alert.active, alert.car) == ("timetable", "low", True, None)
    assert alert.text == "p1: briefing (09:45)"


def test_that_this_session_opens_is_told_by_its_light() -> None:
    """It opens on time: the light says so, nobody has to do anything, and no alert is made of it. The record says why.
    That another session opens is told."""
    stage = Stage()
    stage.give(reached(-250, "opens-p2", "session"))
    stage.now = 0.0
    stage.give(reached(0, "opens-p1", "session"))
    stage.green()
    stage.wait(120)
    assert [(t, key) for t, key, active in shown(stage) if active] == [(-250, "timetable-opens-p2")]
    assert [(one.alert, one.reason) for one in stage.made(HeldBack)] == [("timetable-opens-p1", OPEN)]


def test_that_the_light_does_not_come_is_told_once_and_until_it_comes() -> None:
    """Half a minute after its time: what was to be, what to do; gone with the light, or with a hand."""
    for noted in (False, True):
        stage = Stage()
        stage.give(reached(-250, "opens-p1", "session"))
        stage.wait(-250 + LIGHT_LATE_S - 1)
        assert shown(stage) == []
        stage.wait(-210)
        ((told_t, key, active),) = shown(stage)
        assert (key, active) == ("timetable-opens-p1", True)
        assert -250 + LIGHT_LATE_S <= told_t <= -250 + LIGHT_LATE_S + 1
        (alert,) = stage.made(Alert)
        assert (alert.text, alert.help) == ("p1: briefing (09:45): no green light was seen", NO_LIGHT)
        if noted:
            stage.command("acknowledge", -200, alert=key)
        stage.wait(-100)
        stage.green()
        stage.wait(60)
        assert [active for _, _, active in shown(stage)].count(True) == 1 + noted, "told once, and that it was noted"
        ended = shown(stage)[-1]
        assert ended[2] is False
        assert (ended[0] >= 0) is not noted


def test_curfew_is_medium() -> None:
    """The curfew is told with more weight."""
    (alert,) = Stage().give(reached(-250, "curfew-2031-05-16", "curfew"))
    assert isinstance(alert, Alert)
    assert (alert.kind, alert.priority, alert.id) == ("curfew", "medium", "curfew-2031-05-16")


@pytest.mark.parametrize(
    ("late_s", "passed", "text"),
    [
        (30, False, "p1: briefing (09:45)"),
        (150, False, "p1: briefing (was at 09:45, told 2 min late)"),
        (3600, True, "Passed, not told in time: p1: briefing (was at 09:45, 60 min ago)"),
        (9000, True, "Passed, not told in time: p1: briefing (was at 09:45, 2 h 30 min ago)"),
    ],
)
def test_says_how_late_it_is(late_s: float, passed: bool, text: str) -> None:
    """Told late says how late, passed says so, and a few seconds are not worth a word."""
    (alert,) = Stage().give(reached(-250, late_s=late_s, passed=passed))
    assert isinstance(alert, Alert)
    assert alert.text == text


def test_is_over_by_itself_after_ten_minutes() -> None:
    """Nobody acknowledged: it ends after ten minutes, within a second or so."""
    stage = Stage()
    stage.give(reached(-250))
    stage.green()
    stage.wait(349)
    assert [active for _, _, active in shown(stage)] == [True]
    stage.wait(352)
    (_, (ended, _, active)) = shown(stage)
    assert (350 <= ended <= 352, active) == (True, False)


def test_acknowledged_is_over() -> None:
    """A hand took note: it goes."""
    stage = Stage()
    stage.give(reached(-250))
    stage.command("acknowledge", -240, alert="timetable-briefing-p1")
    stage.wait(-238)
    assert shown(stage)[-1][2] is False


def test_told_and_ended_after_the_session_closed() -> None:
    """The curfew comes hours after the flag: told, kept over a restart, acknowledged or over by itself."""
    stage = Stage()
    stage.green()
    stage.status(3600, "finished")
    stage.status(3700, "closed")
    stage.wait(9000)
    stage.give(reached(9000, "curfew-day", "curfew"))
    stage.give(reached(9100, "export-day", "export"))
    assert [alert.id for alert in stage.session.standing() if isinstance(alert, Alert)] \
        == ["curfew-day", "timetable-export-day"]
    assert stage.session.open_wishes()
    stage.command("acknowledge", 9200, alert="curfew-day")
    stage.wait(9800)
    assert [(round(t), key) for t, key, active in shown(stage) if not active] \
        == [(9200, "curfew-day"), (9700, "timetable-export-day")]


def test_closing_the_session_does_not_take_the_curfew_warning_away() -> None:
    """What is told of the day outlives the session; its other alerts end with it."""
    stage = Stage()
    stage.green()
    stage.give(reached(3500, "curfew-warning", "curfew"))
    stage.status(3600, "finished")
    stage.status(3650, "closed")
    assert "curfew-warning" in stage.session.alerts.active
    stage.wait(4200)
    assert "curfew-warning" not in stage.session.alerts.active


def test_no_prompt_is_decided_differently() -> None:
    """An hour with a reminder every seven seconds gives the very prompts of an hour without, to the last digit."""

    def hour(reminded: bool) -> list[Prompt]:
        stage = Stage()
        moments = iter(range(-290, 3600, 7)) if reminded else iter(())
        for t in moments:
            if t < 0:
                stage.give(reached(t, f"r{t}"))
        stage.green()
        for begin in (300.0, 1300.0):
            if reminded:
                for t in range(int(stage.now) + 3, int(begin), 7):
                    stage.give(reached(t, f"r{t}"))
            out_of_here = stage.drive(begin, 130, 100, 100)
            stage.home(out_of_here)
        stage.wait(2000)
        return stage.made(Prompt)

    without = hour(False)
    assert len(without) > 10
    assert hour(True) == without


def test_call_whose_time_passed_in_a_sleep_is_late_or_missed_never_due() -> None:
    """Asleep over the saying of a box call: afterwards it is late or missed, with that reason, and not due now."""
    stage = Stage()
    stage.green()
    line = stage.drive(300, 130, 100)
    box = stage.call("box")
    assert line < box.spec.say_by_s
    stage.wait(box.spec.say_from_s - box.spec.lead_s - 5)
    slept_from = stage.now
    stage.now = box.spec.say_by_s + 1.0
    stage.handle(Resumed(id="resumed:1", t=stage.now, gap_s=stage.now - slept_from))
    assert box.state in ("late", "missed")
    assert box.reason is not None
    assert box.reason.startswith("pitwall stood still from ")
    later = [prompt.state for prompt in stage.prompts(box.id) if prompt.t >= stage.now]
    assert later
    assert "due" not in later


def test_sleep_between_calls_changes_no_call() -> None:
    """A call that comes after the resume is shown and opened as ever."""
    stage = Stage()
    stage.green()
    line = stage.drive(300, 130, 100, 100)
    box = stage.call("box")
    stage.cross(line + 30, "1")
    stage.now += 3.0
    stage.handle(Resumed(id="resumed:1", t=stage.now, gap_s=3.0))
    stage.wait(box.spec.say_by_s)
    assert [prompt.state for prompt in stage.prompts(box.id) if prompt.state != "shown"] == ["due"]


def test_first_fact_must_still_prepare() -> None:
    """A moment of the day before the session was prepared is a damaged journal."""
    from pitwall.engine.session import Session
    from pitwall.errors import InternalError

    with pytest.raises(InternalError, match="before session_prepared"):
        Session().handle(Stamped(seq=0, received_t=0, event=reached(0)))


@pytest.mark.parametrize("status", ["red", "finished", "closed"])
def test_a_light_that_never_came_has_told_nothing(status: str) -> None:
    """Race control spoke before the opening, but of no green light: the record does not say that one was seen."""
    stage = Stage()
    stage.status(-290, status)
    stage.now = 0.0
    stage.give(reached(0, "opens-p1", "session"))
    (held,) = stage.made(HeldBack)
    assert (held.alert, held.reason) == ("timetable-opens-p1", f"race control has spoken: {status}, no green light yet")


def test_a_light_that_came_and_went_has_told_the_opening() -> None:
    """Green before its time, and red since."""
    stage = Stage()
    stage.green(-280)
    stage.status(-20, "red")
    stage.now = 0.0
    stage.give(reached(0, "opens-p1", "session"))
    assert [one.reason for one in stage.made(HeldBack)] == [OPEN]
