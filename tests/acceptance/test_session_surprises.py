"""What really happens is not what was planned, and the feed is not perfect: calls and plan follow the car."""

from __future__ import annotations

from pitwall.model.outputs import Alert
from tests.acceptance.script import between
from tests.acceptance.script_patterns import (
    about,
    after,
    alert_cleared,
    any_alert,
    before,
    command,
    crossing,
    desk,
    has,
    lap,
    one_of,
    prompt,
    refused,
    run,
)
from tests.acceptance.script_plans import CHECKS, MORE, WORK, session

LONG = {"run": "long", "want": "must", "laps": "out, 4 timed, in", "shorten_to": 3, "after_garage_s": [200, 300, 400]}


def test_out_and_in_is_one_lap_with_its_own_box_calls() -> None:
    """An installation lap: box is called on the out-lap itself, twice, and the lap is judged an installation lap."""
    play = session(CHECKS, MORE)
    car = play.car().leaves(20)
    last = car.at("last chance", 125)
    car.comes_in(125)
    play.want(prompt(kind="box", run="checks", state="due"), between(20, 60))
    play.want(prompt(kind="box", state="due", short="Box, box", say_by_s=before(last)), between(60, last - 3))
    play.want(lap(kind="installation", at="pit"), times=1)
    play.want(run("checks", state="done"), between(car.t, car.t + 2))
    play.want(prompt(kind="brief", run="more", state="due"), between(car.t, car.t + 100))
    play.run(until=car.t + 120)


def test_car_that_boxes_early_cuts_its_run_which_is_then_called_again() -> None:
    """In after one of four timed laps: the run is cut, calls for the laps that fell out are withdrawn and not missed,
    and after a short stop the same run is briefed and left for again, with the laps that are left."""
    play = session(LONG, MORE)
    car = play.car().leaves(60).lap(112).lap(91)
    car.comes_in(106)
    play.want(run("long", state="next", timed_done=1, reason=has("1 of 4")), between(car.t, car.t + 2))
    play.want(prompt(kind="brief", run="long", state="due", text=has("three timed laps")), between(car.t, car.t + 60))
    again = play.car().leaves(car.t + 90).lap(110).lap(91).lap(91).lap(91).comes_in(106)
    play.want(run("long", state="running"), between(again.starts[0], again.t))
    play.want(prompt(kind="box", run="long", state="due"), between(again.starts[4], again.t))
    play.never(
        prompt(kind="box", run="long", state=one_of("shown", "due")), between(again.starts[0], again.starts[4] - 25)
    )
    play.want(run("long", state="done", timed_done=4), between(again.t, again.t + 2))
    play.never(prompt(state="missed"))
    play.run(until=again.t + 5)


def test_a_long_stop_after_a_cut_run_means_the_next_run() -> None:
    """In early and then as long in the garage as the work before the next run: the leaving begins the next run."""
    play = session(LONG, MORE)
    car = play.car().leaves(60).lap(112).lap(91).comes_in(106)
    next_left = car.t + 320
    play.car().leaves(next_left).lap(112)
    play.want(run("more", state="running"), between(next_left, next_left + 2))
    play.want(run("long", state="done", reason=has("not resumed")), between(next_left, next_left + 2))
    play.run(until=next_left + 60)


def test_run_that_still_counts_is_done_when_the_car_comes_in_early() -> None:
    """In with as many timed laps as still count: the run is done, says that it ended early, and the next one
    follows."""
    play = session(LONG, MORE)
    car = play.car().leaves(60).lap(112).lap(91).lap(91).lap(91).comes_in(106)
    play.want(run("long", state="done", timed_done=3, reason=has("ended early")), between(car.t, car.t + 2))
    play.want(prompt(kind="brief", run="more", state="due"), between(car.t, car.t + 320))
    play.never(prompt(state="missed"))
    play.run(until=car.t + 320)


def test_car_that_stays_out_gets_the_box_call_a_lap_later() -> None:
    """The driver drives past the pit entry: the prompt turns to "too late, say nothing", the run goes on, and the box
    is called on the lap after. Nothing is missed. At the line it is an alert that he did not come in, until he has. The
    switches stand as the in-lap has them, and a timed lap begins as far as anybody knows: that alarms until he slows
    down, and nothing else does."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112).lap(91).lap(90)
    in_lap, last = car.t, car.at("last chance", 92)
    car.lap(92)
    next_lap, next_last = car.t, car.at("last chance", 106)
    car.comes_in(106)
    too_late = prompt(kind="box", text=has("too late"), state="unconfirmed")
    play.want(prompt(kind="box", state="due", short="Box, box", say_by_s=before(last)), between(in_lap, last))
    play.want(too_late, between(last - 20, next_lap))
    play.never(prompt(kind="box", state="due"), between(last, next_lap - 0.1))
    play.want(prompt(kind="box", state="due", say_by_s=after(next_lap)), between(next_lap, next_lap + 20))
    play.want(
        prompt(kind="box", state="due", short="Box, box", say_by_s=before(next_last)), between(next_lap, next_last)
    )
    play.want(run("more", state="running"), between(next_lap, car.t - 1))
    play.want(run("more", state="done"), between(car.t, car.t + 2))
    play.never(prompt(state="missed"))
    play.want(any_alert(), between(next_lap, next_lap + 0.5))
    play.want(alert_cleared("switch_wrong"), between(next_lap, car.t), times=1)
    play.want(alert_cleared("stayed_out"), between(car.t, car.t + 5), times=1)
    play.never(any_alert("switch_wrong", "stayed_out"))
    play.run(until=car.t + 5)
    alarms = [line.what for line in play.lines if isinstance(line.what, Alert)]
    assert {alarm.kind for alarm in alarms} == {"switch_wrong", "stayed_out"}


def test_a_dropped_run_is_passed_over() -> None:
    """The engineer drops the run that is next: its garage calls go, the run after it is briefed and then left for."""
    play = session(CHECKS, WORK, MORE)
    car = play.car().leaves(20).comes_in(125)
    dropped = car.t + 20
    play.at(dropped).push(command("drop", run="work", id="drop-work"))
    later = play.car().leaves(car.t + 200).lap(112)
    play.want(run("work", state="dropped"), between(dropped, dropped + 2))
    play.want(prompt(kind="brief", run="more", state="due"), between(dropped, later.starts[0]))
    play.never(prompt(run="work", state=one_of("shown", "due")), between(dropped + 0.1, later.t))
    play.want(run("more", state="running"), between(later.starts[0], later.t))
    play.run(until=later.t)


def test_a_leaving_that_the_plan_knows_not_is_followed_without_a_run() -> None:
    """Every run is done and the car goes out once more: it is followed, no run is claimed, no box is called, and a box
    command says in words that there is no run to end."""
    play = session(CHECKS)
    done = play.car().leaves(20).comes_in(125)
    car = play.car().leaves(done.t + 300).lap(112).lap(91)
    play.at(car.starts[1] + 10).push(command("box", id="box-it"))
    car.comes_in(106)
    play.want(desk(run=None, state="out"), between(done.t + 300, car.starts[1]))
    play.want(lap(kind="timed", at="line", run=None), between(car.starts[2], car.starts[2] + 0.01), times=1)
    play.want(refused("box-it", reason=has("no run of the plan")), times=1)
    play.never(prompt(kind=one_of("box", "procedure", "switch")), between(done.t + 300, car.t))
    play.run(until=car.t + 5)


def test_a_missing_line_is_inferred_at_the_next_loop() -> None:
    """The line's message is lost: at the next loop the lap is taken as ended, the plan goes on, and box is called on
    the right lap."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112).lap(91, missing=("line",)).lap(90)
    first_loop = car.starts[2] + 90 * car.map.loops["1"]
    in_lap = car.t
    car.comes_in(106)
    play.want(lap(at="line", kind="timed", lap_time_s=about(91.0, 4.0)), between(first_loop, first_loop + 0.01))
    play.never(prompt(kind="box", state=one_of("shown", "due")), between(60, in_lap - 25))
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.want(run("more", state="done", timed_done=2), between(car.t, car.t + 2))
    play.run(until=car.t + 5)


def test_a_late_line_message_counts_for_when_the_car_was_there() -> None:
    """The line is reported 12 s late: the lap time is that of the crossing, and the laps are counted right."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112).lap(91, late={"line": 12.0}).lap(90.5)
    in_lap = car.t
    car.comes_in(106)
    play.want(lap(at="line", lap_time_s=about(91.0, 0.01)), between(car.starts[2] + 11, car.starts[2] + 13), 1)
    play.want(lap(at="line", lap_time_s=about(90.5, 0.01)), between(in_lap, in_lap + 0.01), times=1)
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.want(run("more", state="done", timed_done=2), between(car.t, car.t + 2))
    play.run(until=car.t + 5)


def test_a_line_message_that_overtakes_a_loop_message_changes_nothing() -> None:
    """A loop is reported after the line that followed it: the lap stays one lap, with its own time."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112).lap(91, late={"2": 31.0}).lap(90.5)
    in_lap = car.t
    car.comes_in(106)
    play.want(lap(at="line", lap_time_s=about(91.0, 0.01)), times=1)
    play.want(lap(at="line", lap_time_s=about(90.5, 0.01)), times=1)
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.want(run("more", state="done", timed_done=2), between(car.t, car.t + 2))
    play.run(until=car.t + 5)


def test_doubled_messages_are_one_crossing() -> None:
    """Line and loops come twice, under the same id or another: each lap ends once and counts once."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112, doubled=("1", "line")).lap(91, doubled=("2", "line")).lap(90)
    play.at(car.starts[1] + 3).push(crossing("line", happened=car.starts[1], id="same"))
    play.at(car.starts[1] + 4).push(crossing("line", happened=car.starts[1], id="same"))
    in_lap = car.t
    car.comes_in(106)
    for ended in (car.starts[1], car.starts[2], in_lap):
        play.want(lap(at="line"), between(ended, ended + 10), times=1)
    play.want(run("more", state="done", timed_done=2), between(car.t, car.t + 2))
    play.run(until=car.t + 5)


def test_a_missed_pit_exit_is_seen_at_the_first_loop() -> None:
    """The pit exit message is lost: at the first loop the car is taken as out, its run begins, and box comes in
    time."""
    play = session(MORE)
    car = play.car()
    car.starts.append(60.0)
    car.t, car.phase = 60.0, car.map.pit_exit
    car.lap(112).lap(91).lap(90)
    in_lap = car.t
    car.comes_in(106)
    play.want(run("more", state="running"), between(60, 60 + 112))
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.want(run("more", state="done", timed_done=2), between(car.t, car.t + 2))
    play.run(until=car.t + 5)


def test_an_unmarked_cool_down_lap_is_put_in_and_nothing_is_lost() -> None:
    """A slow lap where a timed one was planned: it is judged a cool-down lap, and the run still gets its timed laps."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112).lap(91).lap(132).lap(90)
    in_lap = car.t
    car.comes_in(106)
    play.want(lap(at="line", kind="cool"), between(car.starts[3], car.starts[3] + 0.01), times=1)
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.want(run("more", state="done", timed_done=2), between(car.t, car.t + 2))
    play.run(until=car.t + 5)


def test_calls_that_ended_while_the_link_was_down_are_told_when_it_is_back() -> None:
    """The daemon's link to the broker breaks for half a minute: what stands is stated again under its own ids, and a
    call that lapsed meanwhile is told as unconfirmed, so that no screen keeps it."""
    play = session(WORK)
    car = play.car().leaves(60).lap(112)
    down, up = 80.0, 115.0
    play.at(down).do(play.daemon.bus.cut)  # type: ignore[attr-defined]  # the in-memory bus of a script
    play.at(up).do(play.daemon.bus.restore)  # type: ignore[attr-defined]
    play.want(prompt(place="turn 4", state="shown"), between(60, down))
    play.never(prompt(), between(down, up - 0.01))
    play.want(prompt(place="turn 4", state="unconfirmed"), between(up, up + 0.01), times=1)
    play.want(desk(state="out"), between(up, up + 0.01))
    play.run(until=car.t)
    ids: dict[str, object] = {}
    for one in play.prompts(prompt()):
        kept = ids.setdefault(one.id, one.model_copy(update={"t": 0.0}))
        assert kept == one.model_copy(update={"t": 0.0})
