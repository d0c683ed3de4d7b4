"""The rehearsed world on a test day: windows with their own flags, lunch, drivers who change and differ."""

from __future__ import annotations

from typing import Any

from pitwall.model.events import CarPitted, ClockReported, CommandGiven, StatusChanged
from pitwall.model.outputs import Alert
from pitwall.model.plan import Plan
from pitwall.model.rules import Regulations
from pitwall.model.setup import SessionSetup
from tests.unit.rehearsal_stage import CAR, Stage, plan, scenario, setup

FLAG, GREEN, END = 900.0, 1800.0, 2700.0
SECOND: dict[str, Any] = {"run": "second", "want": "must", "driver": "bo", "laps": "out, 3 timed, in", "fuel_kg": 20,
                          "after_garage_s": [30, 40, 50]}  # fmt: skip


def day(red_clock: str = "runs") -> SessionSetup:
    """Two windows of a quarter of an hour with as long between; Ada's run, then Bo's."""
    windows = [{"window": "morning", "from": 0, "to": FLAG}, {"window": "afternoon", "from": GREEN, "to": END}]
    rules = Regulations.model_validate(
        {"regulations": 1, "red_clock": red_clock, "sessions": [{"session": "p1", "windows": windows}]}
    )
    first: Plan = plan()
    runs = [one.model_dump(mode="json", by_alias=True) for one in first.runs]
    return setup(regulations=rules, plans={CAR: plan(runs=[*runs, SECOND])})


def stage(cars: int = 0, **changes: Any) -> Stage:
    """The world of that day."""
    red_clock = changes.pop("red_clock", "runs")
    field = {"cars": cars, "first_out_s": [5, 30, 90], "garage_s": [120, 200, 300]}
    return Stage(scenario(field=field, close_after_s=180, **changes), day(red_clock))


def shown(made: Stage) -> list[tuple[float, str]]:
    """What race control showed, whole seconds."""
    return [(round(fact.t), str(fact.status)) for fact in sorted(made.of(StatusChanged), key=lambda fact: fact.t)]


def test_each_window_has_its_green_its_flag_and_its_end() -> None:
    """Green, flag, waiting; the second green comes at its time or a little late, its flag at its time, then closed."""
    made = stage()
    made.clock.run(until=END + 400)
    words = [status for _, status in shown(made)]
    assert words == ["waiting", "green", "finished", "waiting", "green", "finished", "closed"]
    times = [t for t, _ in shown(made)]
    assert times[1:4] == [0, FLAG, FLAG + 180]
    assert GREEN <= times[4] <= GREEN + 25
    assert times[5] == END
    assert made.world.outcome().flag_s == END


def test_the_official_clock_is_that_of_the_window() -> None:
    """It counts the morning down, stands at zero after the flag, and stands at the afternoon's length at lunch."""
    made = stage()
    made.clock.run(until=GREEN + 300)
    at = {round(fact.t): fact for fact in made.of(ClockReported)}
    assert (at[400].remaining_s, at[400].running) == (500, True)
    assert (at[950].remaining_s, at[950].running) == (0, False)
    assert at[1500].running is False
    assert 875 <= at[1500].remaining_s <= 900
    assert (at[2000].remaining_s, at[2000].running) == (700, True)


def test_a_clock_that_stops_moves_the_flag_of_its_window_alone() -> None:
    """A red flag in the morning moves the morning's flag by its length; the afternoon stays where it was."""
    made = stage(red_clock="stops", flags={"scripted": [{"at": 300, "status": "red", "lasts": 120}]})
    made.clock.run(until=END + 400)
    finished = [t for t, status in shown(made) if status == "finished"]
    assert finished == [FLAG + 120, END]


def test_nobody_leaves_at_lunch_and_the_field_comes_back() -> None:
    """Between the flag and the next green no car passes the pit exit; in the afternoon the others run again, and no
    interruption falls into lunch."""
    made = stage(cars=10, flags={"red_per_hour": 6, "yellow_per_hour": 20})
    made.clock.run(until=END)
    exits = [fact.t for fact in made.of(CarPitted) if fact.where == "exit"]
    assert not [t for t in exits if FLAG < t < GREEN]
    assert len([t for t in exits if t > GREEN]) >= 5
    flags = made.world.outcome().flags
    assert flags
    assert not [flag for flag in flags if FLAG <= flag.start_s < GREEN or FLAG < flag.end_s < GREEN]


def test_a_car_that_stopped_on_track_is_back_in_the_afternoon() -> None:
    """Brought back at lunch through the pit lane, it can be released again."""
    made = stage(incidents=[{"at": 200, "car": CAR, "what": "stops"}])
    made.release(60)
    made.say_at(GREEN + 60, "again", "leave", run="second")
    made.clock.run(until=GREEN + 400)
    entries = [fact.t for fact in made.of(CarPitted) if fact.where == "entry" and fact.car == CAR]
    assert [round(t) for t in entries] == [round(t) for t, status in shown(made) if status == "waiting"][1:]
    assert made.world.outcome().cars[CAR].releases[-1].exit_s is not None


def test_a_change_of_drivers_takes_its_time_and_the_laps_are_the_new_drivers() -> None:
    """Told as the brief of the other driver's run is read, the change is made; without a word, at the release, and
    the car leaves as much later."""
    told = _left(brief=True)
    untold = _left(brief=False)
    assert [change.driver for change in told.world.outcome().cars[CAR].driver_changes] == ["bo"]
    assert 100 <= told.world.outcome().cars[CAR].driver_changes[0].took_s <= 220
    laps = told.world.outcome().cars[CAR].laps
    assert {lap.driver for lap in laps if lap.run == "first"} == {"ada"}
    assert {lap.driver for lap in laps if lap.run == "second"} == {"bo"}
    early, late = (made.world.outcome().cars[CAR].releases[-1] for made in (told, untold))
    assert early.left_s is not None
    assert late.left_s is not None
    assert early.left_s - early.said_s < 30
    assert late.left_s - late.said_s > 100
    assert late.reason == "the work was not finished"


def _left(*, brief: bool) -> Stage:
    made = stage()
    made.release(60)
    if brief:
        made.clock.call_at(1300, lambda: made.prompt("brief", "none", 1300, kind="brief", run="second", text="Bo in."))
    made.say_at(GREEN + 60, "second", "leave", run="second")
    made.clock.run(until=END)
    return made


def test_drivers_of_one_car_differ() -> None:
    """Another driver has another pace and habits of his own; without habits of his own, those of all."""
    made = _left(brief=True)
    laps = [lap for lap in made.world.outcome().cars[CAR].laps if lap.kind == "timed"]
    ada, bo = (sorted(lap.time_s for lap in laps if lap.driver == name) for name in ("ada", "bo"))
    assert ada
    assert bo
    assert ada[0] != bo[0]


def test_engineers_hand_over_at_lunch() -> None:
    """Where that is the custom, the second one takes the desk over as race control waits."""
    made = stage(engineer={"hands_over": True})
    made.clock.run(until=GREEN)
    taken = [(round(fact.t), fact.by) for fact in made.of(CommandGiven) if fact.command == "take_over"]
    assert taken == [(FLAG + 180, "second engineer")]


def test_a_car_that_came_in_unseen_is_entered_by_hand() -> None:
    """Told that the car is silent while it stands in the garage, the engineer enters when it came in."""
    made = stage()
    made.release(60)
    made.clock.run(until=1200)
    entered = next(fact.t for fact in made.of(CarPitted) if fact.where == "entry")
    made.world.hear(Alert(id="car-silent-41", t=1200, car=CAR, kind="car_silent", priority="medium", active=True,
                          text="unseen", help="look", since_s=1000))  # fmt: skip
    made.clock.run(until=1230)
    given = [fact for fact in made.of(CommandGiven) if fact.command == "pit"]
    assert [(fact.where, fact.t) for fact in given] == [("entry", entered)]
