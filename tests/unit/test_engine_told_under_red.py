"""A driver who does not slow down under a red flag: told on until he does, and an alert that he goes on at pace."""

from __future__ import annotations

from itertools import pairwise

import pytest

from pitwall.engine.untold_news import MOST_AGAIN
from pitwall.model.events import ChannelReported
from pitwall.model.outputs import Alert
from tests.unit.engine_stage import MAIN, SPARE, Stage, plan, setup

RUN = MAIN | {"laps": "out, 6 timed, in"}


def on_a_timed_lap() -> tuple[Stage, float]:
    """A car that has just begun its second timed lap, of a hundred seconds; its desk reports no talk and presses no
    key."""
    stage = Stage(setup(plan(RUN, SPARE))).green()
    return stage, stage.drive(200, 125, 100)


def at_pace(stage: Stage, begin: float, until: float, slower: float = 1.0) -> list[float]:
    """Drive on in laps of a hundred seconds, or slower; the seconds, one in two, at which no red flag is to be said."""
    silent, second = [], begin
    loops = [(begin + slower * (lap * 100 + at), loop) for lap in range(9) for at, loop in
             ((30.0, "1"), (70.0, "2"), (100.0, "line"))]
    while second < until:
        second += 2.0
        while loops and loops[0][0] <= second:
            stage.cross(*loops.pop(0))
        stage.wait(max(second, stage.now))
        if not any(call.open for call in stage.car.book.calls.values() if call.spec.key.endswith("-red")):
            silent.append(second)
    return silent


def alerts(stage: Stage) -> list[bool]:
    """Every change of the alert."""
    return [one.active for one in stage.made(Alert) if one.kind == "pace_under_red"]


@pytest.mark.parametrize("status", ["red", "slow"])
def test_who_goes_on_at_pace_is_told_until_he_does_not(status: str) -> None:
    """Nobody presses a key, nobody reports talk: what lapsed may have been said, but the car does not look like it."""
    stage, begin = on_a_timed_lap()
    stage.status(begin + 5, status)
    at_pace(stage, begin, begin + 150)
    told = [call for call in stage.car.book.calls.values() if call.spec.key.endswith(f"-{status}")]
    assert len(told) > 5
    gaps = [after.due_t - (before.ended_t or 0) for before, after in pairwise(told) if after.due_t is not None]
    assert max(gaps) < 5.5
    assert alerts(stage) == ([True] if status == "red" else [])


def test_who_slows_down_is_not_told_any_more_and_raises_no_alert() -> None:
    """The first loop tells it, or that the car does not come to it in time: 37 s for a section of 30."""
    stage, begin = on_a_timed_lap()
    stage.status(begin + 5, "red")
    at_pace(stage, begin, begin + 150, slower=1.4)
    told = [call for call in stage.car.book.calls.values() if call.spec.key.endswith("-red")]
    assert told
    assert [call.due_t for call in told if (call.due_t or 0) > begin + 40] == []
    assert alerts(stage) == []


def test_the_alert_is_over_once_the_car_is_slow_or_the_flag_is_in() -> None:
    """At pace for a lap and a half, then slow; another, until the track is green again."""
    for slow in (True, False):
        stage, begin = on_a_timed_lap()
        stage.status(begin + 5, "red")
        at_pace(stage, begin, begin + 151)
        assert alerts(stage) == [True]
        (alert,) = [one for one in stage.session.alerts.active.values() if one.kind == "pace_under_red"]
        assert (alert.priority, alert.text) == ("high", "Car 41 goes on at full pace under the red flag")
        if slow:
            stage.wait(begin + 190)
        else:
            stage.status(begin + 152, "green")
            stage.wait(begin + 160)
        assert alerts(stage) == [True, False]


def test_who_presses_said_for_it_is_believed() -> None:
    """The key tells that the driver knows: he is not told anew, though the car is at pace. The alert says so."""
    stage, begin = on_a_timed_lap()
    stage.status(begin + 5, "red")
    stage.command("said", begin + 7, call=stage.call("-red").id)
    at_pace(stage, begin, begin + 150)
    assert len([call for call in stage.car.book.calls.values() if call.spec.key.endswith("-red")]) == 1
    assert alerts(stage) == [True]


def test_a_radio_desk_that_fell_silent_does_not_have_news_told_for_ever() -> None:
    """It reported once, and nothing since: what is said is heard by nobody here."""
    stage, begin = on_a_timed_lap()
    stage.handle(ChannelReported(id="talk-1", t=begin + 1, car="41", talking="nobody"))
    stage.status(begin + 5, "slow")
    stage.status(begin + 15, "green")
    at_pace(stage, begin + 15, begin + 600)
    told = [call for call in stage.car.book.calls.values() if call.spec.key.endswith("-green")]
    assert len(told) == 1 + MOST_AGAIN


def test_where_keys_are_pressed_other_news_without_one_comes_once_more() -> None:
    """Few press a key in such a moment: once more, and not without end."""
    stage, begin = on_a_timed_lap()
    stage.status(begin + 5, "slow")
    for second in (7, 9, 11, 13):
        stage.command("said", begin + second, call=stage.call("-slow").id)
    stage.car.book.keys = 9
    stage.status(begin + 15, "green")
    at_pace(stage, begin + 15, begin + 95)
    assert len([call for call in stage.car.book.calls.values() if call.spec.key.endswith("-green")]) == 2
