"""The debrief of a run, live: there when the car is in the pit lane, and the same as the one from the journal."""

from __future__ import annotations

from functools import cache

from pitwall.app.debrief_live import noted_session
from pitwall.app.debriefing import debrief
from pitwall.debrief.contents import document_of
from pitwall.journal.replay import decisions
from pitwall.model.outputs import DeskState, RunDebrief
from tests.acceptance.script import Script
from tests.acceptance.script_patterns import Pattern, command, desk
from tests.acceptance.script_plans import MORE, WORK, press_every_key, session

COMMENT_AFTER_S = 100.0


def told() -> Pattern:
    """The debrief of car 41's last run, as a client of the bus hears it."""
    return Pattern("run_debrief", {"car": "41"})


@cache
def played() -> tuple[Script, float]:
    """A run of three timed laps and the stop after it, with a comment noted in the garage; when it came in."""
    play = session(WORK, MORE)
    press_every_key(play)
    car = play.car().leaves(300).lap(112).lap(92).lap(92).lap(130).lap(93).comes_in(110)
    play.at(car.t + COMMENT_AFTER_S).push(command("comment", text="understeer in turn 4", by="ann", run="work"))
    return play.run(until=car.t + 150), car.t


def debriefs(play: Script) -> list[tuple[float, RunDebrief]]:
    """Those that were heard, in order, with the moment."""
    return [(line.t, line.what) for line in play.heard(told()) if isinstance(line.what, RunDebrief)]


def test_it_is_there_before_the_car_stands_in_the_garage() -> None:
    """Told as the car passes the pit entry, with the run's laps and items; only later is the car parked."""
    play, came_in_s = played()
    (first_s, first), *_ = debriefs(play)
    parked_s = min(line.t for line in play.heard(desk(state="garage"))
                   if isinstance(line.what, DeskState) and line.t > came_in_s)
    assert came_in_s <= first_s <= came_in_s + 1.0 < parked_s
    assert first.run is not None
    assert (first.run.run, first.run.timed_done) == ("work", 3)
    assert [lap.kind for lap in first.laps] == ["out", "timed", "timed", "cool", "timed", "in"]
    assert {item.do for item in first.items} == {"constant_speed_hold", "driver_comment", "switch_compare"}
    assert all(window.run == "work" for window in first.data_windows)


def test_it_is_what_the_journal_says() -> None:
    """The rows that were told live are those of the debrief that is made from the journal afterwards; so they are after
    a restart, which tells them again."""
    play, _ = played()
    (_, last), (whole,) = debriefs(play)[-1], debrief(play.events, "journal").cars
    assert last.run == next(run for run in whole.runs if run.run == "work")
    assert last.laps == tuple(lap for lap in whole.laps if lap.run == "work")
    assert last.items == tuple(item for item in whole.items if item.run == "work")
    assert last.data_windows == tuple(window for window in whole.data_windows if window.run == "work")
    again = noted_session()
    for _ in decisions(play.events, again):
        pass
    assert [one for one in again.standing() if isinstance(one, RunDebrief)] == [last]


def test_what_is_known_later_is_told_again() -> None:
    """A comment that is noted while the car stands there is in a newer debrief of the same run."""
    play, came_in_s = played()
    (_, first), *_, (last_s, last) = debriefs(play)
    assert first.comments == ()
    assert [one.text for one in last.comments] == ["understeer in turn 4"]
    assert last_s >= came_in_s + COMMENT_AFTER_S


def test_what_the_driver_has_not_said_yet_is_told() -> None:
    """A run that is for comments tells as its car comes in on what there is none; a comment takes its subject away."""
    play = session(WORK | {"feedback": ["tyres", "balance"]}, MORE)
    press_every_key(play)
    car = play.car().leaves(300).lap(112).lap(92).lap(92).lap(130).lap(93).comes_in(110)
    play.at(car.t + COMMENT_AFTER_S).push(command("comment", text="understeer in turn 4", by="ann", run="work"))
    play.run(until=car.t + 150)
    told = [one.run.unsaid for _, one in debriefs(play) if one.run is not None]
    assert (told[0], told[-1]) == (("tyres", "balance"), ("tyres",))
    (whole,) = debrief(play.events, "journal").cars
    assert next(run.unsaid for run in whole.runs if run.run == "work") == ("tyres",)
    assert "the driver has not commented on tyres" in str(document_of(debrief(play.events, "journal")))
