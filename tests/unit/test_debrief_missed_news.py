"""News that nobody told is counted as missed, also where the driver saw the flags and came in."""

from __future__ import annotations

import pytest

from pitwall.app.debriefing import debrief
from pitwall.debrief.contents_radio import every_call
from pitwall.debrief.model import CarDebrief
from pitwall.engine.calls import NO_WORD
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.model.events import ChannelReported
from tests.unit.engine_stage import CAR, MAIN, SPARE, plan, setup
from tests.unit.kept_stage import Kept


def red_and_home(*, keys: int = 0, talk: tuple[tuple[float, str], ...] = ()) -> tuple[Kept, CarDebrief]:
    """A red flag 30 s into the second timed lap; the car comes in a minute and a half later, and nobody presses a key
    for it. ``talk``: who talks from when on, seconds after the flag, as the radio desk reports it."""
    made = Kept(setup(plan(MAIN | {"laps": "out, 4 timed, in"}, SPARE)))
    made.green()
    begin = made.drive(200, 125, 100)
    made.car.book.keys = keys
    reports = [ChannelReported.model_validate(
        {"id": f"talk{after}", "t": begin + 30 + after, "car": CAR, "talking": who}) for after, who in talk]
    for report in reports[:1]:
        made.give(report)
    made.status(begin + 30, "red")
    for report in reports[1:]:
        made.give(report)
    made.cross(begin + 90, "2")
    made.pit(begin + 120, "entry")
    made.wait(begin + 200)
    return made, debrief(made.close().facts, "test").cars[0]


@pytest.mark.parametrize(("keys", "talk"), [(0, ()), (FEW_KEYS, ()), (FEW_KEYS, ((-10.0, "nobody"),))])
def test_a_red_flag_that_lapsed_is_no_call_that_was_not_needed(keys: int, talk: tuple[tuple[float, str], ...]) -> None:
    """Its window went by without a word: that is why it ended, and not the red flag itself, whoever presses keys or
    reports talk. Then the car came in."""
    made, car = red_and_home(keys=keys, talk=talk)
    lapsed = [one for one in made.prompts("session-1-red") if one.state not in ("planned", "shown", "due")]
    assert (lapsed[0].state, lapsed[0].reason) == ("unconfirmed", NO_WORD)
    assert car.radio.withdrawn == sum(one.state == "withdrawn" for one in car.calls if one.kind != "session")


def test_a_red_flag_over_which_nobody_was_heard_was_missed() -> None:
    """The radio desk reports, and heard no engineer all the while: each time that it was to be told counts as missed,
    in the figures and in the list of calls. That the car came in does not show that anybody told it."""
    _, car = red_and_home(talk=((-10.0, "nobody"),))
    news = [one for one in car.calls if one.kind == "session"]
    assert len(news) > 1, "news is told anew until somebody is heard to tell it"
    assert {(one.state, one.counted_as) for one in news} == {("unconfirmed", "missed")}
    assert car.radio.missed == len(news)
    table = every_call(car).blocks[0]
    assert "unconfirmed, counted as missed" in str(table)


@pytest.mark.parametrize("talk", [(), ((-10.0, "nobody"), (4.0, "engineer"), (6.0, "nobody"))])
def test_a_red_flag_that_may_have_been_told_was_not_missed(talk: tuple[tuple[float, str], ...]) -> None:
    """Nobody reports talk; or the engineer was heard while it was to be told."""
    _, car = red_and_home(talk=talk)
    first = next(one for one in car.calls if one.kind == "session")
    assert first.counted_as != "missed"
    assert first.state in ("unconfirmed", "done", "said")
