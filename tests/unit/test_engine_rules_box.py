"""Box calls: at the start of the in-lap, again in time for the pit entry, and never when it is too late."""

from __future__ import annotations

import pytest

from pitwall.engine.rules.box import BOX, FROM_LINE_S, TOO_LATE
from pitwall.model.outputs import Alert, DeskState
from tests.unit.engine_stage import CHECKS, LAST_CHANCE, MAIN, Stage, effect, plan, setup, shipped

IN_LAP_S = 118.0


def on_the_in_lap(laps: str = "out, 2 timed, in", *driven: float) -> tuple[Stage, float]:
    """A car that has just begun its in-lap; returns the stage and when."""
    stage = Stage(setup(plan(MAIN | {"laps": laps}))).green()
    return stage, stage.drive(200, *(driven or (125, 100, 100)))


def last_place(begin: float, seconds: float = IN_LAP_S) -> float:
    """When a car on an in-lap is at the last place from which the pit entry can be taken."""
    return begin + seconds * LAST_CHANCE


def test_box_is_called_at_the_start_of_the_in_lap_and_again_before_the_entry() -> None:
    """Two calls: one as the car crosses the line, one that ends in time for the last place; done when the car is in."""
    stage, begin = on_the_in_lap()
    stage.home(begin)
    first, again = stage.call("main-box-1-0"), stage.call("-again")
    assert [p.t for p in stage.prompts("box-1-0", "due") if p.call == first.id] == [begin + FROM_LINE_S]
    timing = stage.car.setup.calls
    # It counts on a car that may come as fast as on a quick lap, not on the usual pace of an in-lap.
    must_be_over = again.spec.say_by_s + again.spec.spoken_s + timing.box_reaction_s
    assert last_place(begin) - 10.0 < must_be_over <= last_place(begin)
    assert again.spec.ask.action == first.spec.ask.action == "box"
    assert (stage.call("main-box-1-0").state, again.state) == ("done", "done")
    assert again.reason == "the car came in"


def test_the_second_call_is_on_the_screen_long_enough() -> None:
    """Shown the set time before the last place, 25 s unless changed, and so at least 10 s."""
    stage, begin = on_the_in_lap()
    stage.home(begin)
    shown = stage.prompts("-again", "shown")[0].t
    assert last_place(begin) - shown >= stage.car.setup.calls.box_shown_before_s - 1.0
    assert last_place(begin) - shown >= 10


def test_nothing_is_said_before_the_in_lap_has_begun() -> None:
    """On the last timed lap the car is not called in: "box this lap" would mean that lap."""
    stage, begin = on_the_in_lap()
    assert all(prompt.t >= begin for prompt in stage.prompts("box", "due"))


def test_too_late_is_said_only_when_it_is_and_the_box_moves_a_lap() -> None:
    """Nobody said box: the prompt turns into silence once the entry cannot be made, and the next lap is called anew."""
    stage, begin = on_the_in_lap()
    stage.wait(last_place(begin, 100) - 30)
    stage.lap(begin, 100)
    late = [prompt for prompt in stage.prompts("box-1-0-again") if prompt.text == TOO_LATE]
    assert late
    assert late[0].state == "unconfirmed"
    again = stage.call("box-1-0-again")
    assert again.spec.act_at_s is not None
    reaction = stage.car.setup.calls.box_reaction_s
    assert late[0].t > again.spec.act_at_s - again.spec.spoken_s - reaction
    following = stage.call("main-box-1-1")
    assert stage.car.progress.current is not None
    assert stage.car.progress.current.stayed_out == 1
    stage.wait(begin + 101)
    assert (following.state, following.spec.text) == ("due", "Box now, box this lap.")
    assert stage.prompts("box-1-1", "due")[0].t == begin + 100 + FROM_LINE_S


def test_a_car_on_the_pace_is_expected_at_its_pace() -> None:
    """A driver who does not lift on the in-lap is at the entry sooner: the call comes earlier with every loop."""
    stage, begin = on_the_in_lap()
    before = stage.call("-again") if stage.has_call("-again") else None
    stage.cross(begin + 30, "1")
    stage.cross(begin + 70, "2")
    assert before is not None
    assert stage.call("-again").spec.act_at_s == pytest.approx(last_place(begin, 100), abs=1.0)


def test_out_and_straight_in_is_boxed_on_the_out_lap() -> None:
    """An installation lap: the box is called some seconds after the pit exit, and again before the entry."""
    stage = Stage(setup(plan(CHECKS, MAIN))).green().leave(200)
    stage.home(200, 140, from_exit=True)
    assert stage.prompts("checks-box-1-0", "due")[0].t == pytest.approx(210)
    assert stage.call("checks-box-1-0-again").state == "done"
    assert stage.call("checks-box-1-0-again").spec.lap == "installation lap"
    assert stage.car.progress.next is stage.car.progress.find("main")


def test_who_drives_on_from_an_installation_lap_is_called_in_on_the_next_at_once() -> None:
    """The box calls of the lap that he did not come in from are over: those of this one come, and not a lap later."""
    stage = Stage(setup(plan(CHECKS, MAIN))).green().leave(200)
    begin = stage.lap(200, 125, from_exit=True)
    stage.wait(begin + 2)
    call = stage.call("checks-box-1-1")
    assert (call.state, call.spec.text) == ("due", BOX)
    assert stage.prompts("checks-box-1-1", "due")[0].t == begin + FROM_LINE_S
    stage.home(begin)
    assert stage.call("checks-box-1-1-again").state == "done"
    assert stage.car.progress.next is stage.car.progress.find("main")


def test_box_from_the_desk_comes_at_once_in_the_middle_of_a_lap() -> None:
    """The engineer calls the car in on a timed lap: a box call right away, and one before the entry."""
    stage, begin = on_the_in_lap("out, 4 timed, in", 125, 100)
    stage.cross(begin + 30, "1")
    stage.command("box", begin + 40)
    stage.wait(begin + 42)
    assert stage.call("main-box-1-0").state == "due"
    assert stage.car.track.lap_kind == "in"
    stage.cross(begin + 75, "2")
    stage.pit(begin + 102, "entry")
    assert {call.state for name, call in stage.car.book.calls.items() if "box" in name} == {"done"}


def test_under_red_box_calls_give_way_to_the_flag() -> None:
    """The red flag itself sends the car in; box calls of the plan are withdrawn with it."""
    stage, begin = on_the_in_lap()
    stage.status(begin + 20, "red")
    assert {call.state for name, call in stage.car.book.calls.items() if "box" in name} <= {"withdrawn", "unconfirmed"}
    assert stage.call("red").state == "due"


def test_the_margin_to_the_entry_holds_on_the_shipped_circuit() -> None:
    """The demo car on Saltmarsh Park's lap: shown in time, said on a stretch where the driver can hear it."""
    stage = Stage(shipped()).green()
    lap = stage.car.lap_map
    stage.leave(60)
    seconds = lap.lap_s * 1.4
    for loop in ("1", "2"):
        stage.cross(60 + seconds * (lap.loops[loop] - lap.pit_exit) / (1 - lap.pit_exit), loop)
    entry = 60 + seconds * (lap.pit_entry - lap.pit_exit) / (1 - lap.pit_exit)
    at_last = 60 + seconds * (lap.last_chance - lap.pit_exit) / (1 - lap.pit_exit)
    stage.pit(entry, "entry")
    shown = stage.prompts("checks-box-1-0-again")[0].t
    assert at_last - shown >= 10
    again = stage.call("checks-box-1-0-again")
    assert again.state == "done"
    assert again.spec.say_by_s + again.spec.spoken_s <= at_last


def test_the_stack_on_the_desk_shows_the_box_first() -> None:
    """The desk's stack holds the calls ahead in order of time."""
    stage, begin = on_the_in_lap()
    stage.wait(begin + 6)
    desk = stage.made(DeskState)[-1]
    assert next(prompt.call for prompt in desk.prompts if prompt.kind == "box") == "41-main-box-1-0"
    assert [prompt.say_by_s for prompt in desk.prompts] == sorted(prompt.say_by_s for prompt in desk.prompts)


def boxed_about_the_line(laps: str, after_s: float) -> tuple[Stage, float, str]:
    """The command comes so long after the car was over the line that ends its first timed lap; that it was is heard a
    second late. Then the car comes in on the next lap, and nobody presses a key."""
    stage = Stage(setup(plan(MAIN | {"laps": laps})), late_s=1.0).green()
    stage.leave(200)
    line = stage.lap(200, 125, from_exit=True)
    stage.cross(line + 30, "1")
    stage.cross(line + 70, "2")
    line += 100.0
    stage.wait(line + after_s)
    told = effect(stage.command("box", line + after_s))
    stage.cross(line)
    stage.home(line)
    stage.wait(line + 150)
    return stage, line, told


@pytest.mark.parametrize("after_s", [-1.0, 0.4])
@pytest.mark.parametrize(("laps", "told"), [
    ("out, 1 timed, in", "the next lap is the in-lap already, and nothing moves"),
    ("out, 3 timed, in", "the box moves one lap"),
])
def test_a_box_command_about_the_line_is_for_the_lap_that_begins(laps: str, told: str, after_s: float) -> None:
    """Past the pit entry, or over the line with word of it on its way: the driver is called in on the next lap, as on
    any in-lap, and comes in. Nobody tells that he stayed out, or drives a timed lap instead. Where that lap was the
    in-lap already nothing of the plan is moved."""
    stage, line, answer = boxed_about_the_line(laps, after_s)
    assert answer.endswith(told)
    boxes = {one.text: one.t for one in stage.prompts("box", "due")}
    assert set(boxes) == {BOX, "Box, box. Pit entry this lap."}
    assert min(boxes.values()) >= line
    silence = [one for one in stage.prompts("box") if one.text == TOO_LATE and one.t < line + 1]
    assert bool(silence) is (after_s < 0 and "moves one lap" in told), "over the line nothing is too late any more"
    run = stage.car.progress.runs[0]
    assert (run.timed_done, run.stayed_out, run.leavings) == (1, 0, 1)
    assert not [one.text for one in stage.made(Alert) if one.since_s >= line]


def test_who_is_called_in_past_the_entry_and_drives_on_did_not_come_in() -> None:
    """The lap after the command is the in-lap: not in at its end, the car stayed out."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in"}))).green()
    begin = stage.drive(200, 125)
    stage.cross(begin + 30, "1")
    stage.cross(begin + 70, "2")
    stage.command("box", begin + 98)
    stage.cross(begin + 100)
    line = stage.lap(begin + 100, 100)
    stage.cross(line + 30, "1")
    stage.wait(line + 45)
    assert stage.car.progress.runs[0].stayed_out == 1
    assert "Car 41 did not come in at the end of main" in [one.text for one in stage.made(Alert) if one.active]
