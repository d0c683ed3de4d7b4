"""Truth by hand: each command does what the feed's fact would, has one answer, and can be taken back."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.answers import Refusal
from pitwall.engine.switch_names import switch_named
from pitwall.model.car import Switch
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import Alert, Answered, Corrected, DeskState, LapJudged, Refused
from tests.unit.engine_stage import CHECKS, MAIN, PIT_ENTRY, PIT_EXIT, SPARE, Stage, plan, setup

LONG: dict[str, Any] = MAIN | {"run": "long", "laps": "out, 6 timed, in", "fuel_kg": 20, "tyres": "B1"}


def told(answer: Answered | Refused) -> str:
    """The words of an effect; a refusal fails the test with its reason."""
    assert isinstance(answer, Answered), answer.reason
    return answer.effect


def refused(answer: Answered | Refused) -> str:
    """The reason of a refusal."""
    assert isinstance(answer, Refused), answer.effect
    return answer.reason


def by_hand(*runs: dict[str, Any]) -> Stage:
    """A session begun by hand, no feed anywhere."""
    stage = Stage(setup(plan(*(runs or (LONG, SPARE)), tyre_sets={"B1": {"compound": "medium", "laps": 3}})))
    told(stage.command("status", 0.0, status="green"))
    return stage


def on_lap(stage: Stage, *presses: float) -> Stage:
    """The car leaves at 100 s; the line is pressed at these moments."""
    told(stage.command("pit", 100.0, where="exit"))
    for t in presses:
        told(stage.command("cross", t))
    return stage


# -- each command ------------------------------------------------------------------------------------------------------


def test_green_by_hand_begins_the_session_and_calls_the_car_out() -> None:
    """A status green by hand starts the clock, opens the pit exit and begins the garage calls, with no feed at all."""
    stage = by_hand()
    assert stage.session.clock.status == "green"
    assert stage.session.clock.pit_exit == "open"
    stage.wait(60)
    assert stage.session.clock.remaining(60) == pytest.approx(3540)
    assert stage.prompts("leave", "due")


def test_a_run_by_hand_follows_the_plan() -> None:
    """Pit exit, three lines and the pit entry by hand are a run: laps, their times and kinds, the plan's progress."""
    stage = on_lap(by_hand(MAIN, SPARE), 220.0, 320.0)
    answer = told(stage.command("cross", 421.0))
    assert answer == "line at 7:01.0: timed lap of 1:41.0; car 41 on in-lap of main"
    assert "car 41 in the pit lane, next: spare" in told(stage.command("pit", 530.0, where="entry"))
    assert stage.car.progress.find("main").state == "done"  # type: ignore[union-attr]  # the run is in the plan
    kinds = [lap.kind for lap in stage.car.track.laps]
    assert kinds == ["out", "timed", "timed", "in"]


def test_box_call_comes_from_line_presses_alone() -> None:
    """With line presses only, the box call of the in-lap is due at the line and again before the last place for the pit
    entry, counted at the pace of a quick lap."""
    stage = on_lap(by_hand(MAIN, SPARE), 220.0, 320.0, 420.0)
    stage.wait(520)
    first, again = stage.call("main-box-1-0").spec, stage.call("box-1-0-again").spec
    assert 420 <= first.say_from_s <= 423
    assert again.act_at_s == pytest.approx(420 + 93, abs=0.5)
    assert 500 < again.say_by_s < 513
    assert stage.prompts("box-1-0-again", "due")


@pytest.mark.parametrize(
    ("command", "more", "words"),
    [
        ("cross", {"loop": "9"}, "there are"), ("pit", {}, "'where'"),
        ("pit", {"where": "entry"}, "in the pits already"),
        ("status", {}, "'status'"), ("status", {"status": "yellow", "sectors": ["9"]}, "marshal sector '9'"),
        ("clock", {}, "'remaining_s'"), ("pit_exit", {}, "'pit_exit'"), ("set_car", {}, "say what is so"),
        ("set_car", {"run": "lnog"}, "did you mean 'long'"), ("set_car", {"run": "long", "lap": 20}, "8 laps"),
        ("set_car", {"in_garage": True, "lap": 3}, "on no lap"),
        ("set_switch", {"switch": "torqe"}, "did you mean 'torque_map'"),
        ("set_switch", {"switch": "clutch"}, "there are: "),
        ("set_switch", {"switch": "torque_map", "position": 9}, "only at"), ("set_tyres", {}, "the plan has B1"),
        ("set_tyres", {"tyres": "B2"}, "which has B1"), ("set_fuel", {}, "'fuel_kg'"), ("undo", {}, "is left"),
        ("set_switch", {"switch": "brake_bias", "position": 55.3}, "in steps of"),
        ("set_switch", {"switch": "mark", "position": "down"}, "mark springs back to up: it stays nowhere else"),
        ("set_fuel", {"fuel_kg": 300}, "300 kg are more than laps"), ("cross", {"forgotten": True}, "twice"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_its_remedy(command: str, more: dict[str, Any], words: str) -> None:
    """Each command that lacks something, or cannot be true, is refused with what to do instead; nothing changes."""
    stage = by_hand()
    stage.command("undo")
    before = (stage.car.track.state, stage.car.track.lap_number, stage.session.clock.status)
    assert words in refused(stage.command(command, by="other", **more))
    assert (stage.car.track.state, stage.car.track.lap_number, stage.session.clock.status) == before


def test_a_moment_ahead_is_refused() -> None:
    """What has not happened yet cannot be entered."""
    stage = by_hand()
    fact = CommandGiven(id="early", t=500.0, car="41", command="cross", by="desk")
    assert [one.reason for one in stage.handle(fact) if isinstance(one, Refused)] == [
        "8:20.0 lies ahead: it is 0:00.0; say what has happened"
    ]


def test_clock_by_hand_sets_the_time_left() -> None:
    """A clock read off by hand sets the time left; the status starts and stops it from there."""
    stage = by_hand()
    assert "41:20 left" in told(stage.command("clock", 10.0, remaining_s=2480))
    assert stage.session.clock.remaining(70) == pytest.approx(2420)
    stage.command("status", 70.0, status="finished")
    assert not stage.session.clock.running


def test_sectors_and_a_slow_period_by_hand() -> None:
    """A yellow sector and the end of a slow period are told to the driver as the feed's would be."""
    stage = on_lap(by_hand(), 220.0)
    told(stage.command("status", 230.0, status="yellow", sectors=["2"]))
    assert stage.session.clock.yellow_sectors == ("2",)
    told(stage.command("status", 240.0, status="slow"))
    told(stage.command("status", 250.0, status="slow", ending=True))
    stage.wait(252)
    assert {"yellow", "slow", "ending"} & {one.call.split("-")[-1] for one in stage.prompts("session")}


def test_pit_exit_by_hand() -> None:
    """The pit exit closes and opens at a word of the desk, with when it opens."""
    stage = by_hand()
    assert told(stage.command("pit_exit", 5.0, pit_exit="closed", opens_at_s=300)) == "pit exit closed, opens at 5:00.0"
    assert stage.session.clock.pit_exit == "closed"
    assert stage.session.clock.pit_exit_opens_s == 300
    assert told(stage.command("pit_exit", 6.0, pit_exit="closed")) == "the pit exit is closed already"


def test_set_switch_is_believed_where_telemetry_is_silent() -> None:
    """A position seen by hand verifies the switch and settles calls that asked for it."""
    stage = by_hand()
    stage.wait(60)
    assert told(stage.command("set_switch", switch="brake_bias", position=55)) == "bias stands at 55"
    assert "brake_bias" in stage.car.switches.verified


@pytest.mark.parametrize("name", ["bias", "Bias", "brake_bias", "brake bias", "Brake-Bias"])
def test_set_switch_takes_the_word_that_stands_on_the_screen(name: str) -> None:
    """People see a switch's word, not its name in the car file: either means it, large or small."""
    stage = by_hand()
    stage.wait(60)
    assert told(stage.command("set_switch", switch=name, position=55)) == "bias stands at 55"
    assert stage.car.switches.believed["brake_bias"] == 55


def test_a_word_of_two_switches_is_not_guessed() -> None:
    """The answer gives the names of both; a switch's own name always means it."""
    fore, aft, named = (Switch(switch=name, kind="rotary", word=word, positions=(1, 2), default=1)
                        for name, word in (("fore", "diff"), ("aft", "diff"), ("diff", "main")))
    with pytest.raises(Refusal, match="'diff' may be each of fore, aft: give one of these names"):
        switch_named("diff", [fore, aft])
    assert switch_named("diff", [fore, aft, named]) is named


def test_tyres_and_fuel_are_kept_and_corrected() -> None:
    """The set and its age, and the fuel that is left, follow the laps; the desk corrects either."""
    stage = on_lap(by_hand(), 220.0, 320.0)
    stage.wait(330)
    state = list(stage.made(DeskState))[-1]
    burned = 2.0 * (1 - PIT_EXIT) + 2.0
    assert (state.tyres, state.tyre_laps, state.by_hand) == ("B1", 5, True)
    assert state.fuel_kg == pytest.approx(20 - burned, abs=0.06)
    assert told(stage.command("set_tyres", tyres="B1", tyre_laps=9)) == "car 41 on B1, 9 laps old"
    assert "4 kg, about 1.0 laps" in told(stage.command("set_fuel", fuel_kg=4))
    stage.command("cross", 420.0)
    stage.wait(440)
    state = stage.made(DeskState)[-1]
    assert (state.tyre_laps, state.fuel_kg) == (10, 2.0)
    assert [one.kind for one in stage.made(Alert) if one.active] == ["fuel_short"]


def test_a_screen_whose_time_ran_on_before_the_green_light_is_taken() -> None:
    """Session time stands at zero until the green light; a key of a screen that counted on begins the session all the
    same, now."""
    stage = Stage(setup(plan(LONG, SPARE)), begin=0.0)
    fact = CommandGiven(id="early", t=90.0, car="41", command="status", status="green", by="desk")
    assert any(isinstance(one, Answered) for one in stage.handle(fact))
    assert stage.session.clock.remaining(10.0) == pytest.approx(3590)


# -- mixed with a feed -------------------------------------------------------------------------------------------------


def test_the_feeds_time_takes_the_place_of_the_hands() -> None:
    """A crossing that a hand and the feed saw is one; the lap times follow the feed, and that is said."""
    stage = on_lap(by_hand(), 221.2)
    stage.cross(219.9)
    assert stage.car.track.lap_number == 2
    assert stage.car.track.lap is not None
    assert stage.car.track.lap.start_t == 219.9
    assert stage.made(Corrected)[-1].text == "Car 41: line at 3:39.9 by the feed, not at 3:41.2 as desk had it"
    assert [one.start_s for one in stage.made(LapJudged) if one.at == "line"] == [100.0, 100.0]
    stage.cross(320.0)
    assert stage.car.track.laps[-1].lap_time_s == pytest.approx(100.1)


def test_a_hand_after_the_feed_is_told_so() -> None:
    """The feed has it already: the hand's press changes nothing."""
    stage = by_hand()
    stage.leave(100)
    stage.cross(220.0)
    assert told(stage.command("cross", 221.0)) == "the feed has the line already at 3:40.0"
    assert stage.car.track.lap_number == 2


def test_two_hands_see_one_crossing() -> None:
    """A second seat that presses for the same crossing hears who has it; a double press of one hand counts once."""
    stage = on_lap(by_hand(), 220.0)
    assert told(stage.command("cross", 221.0, by="bo")) == "desk has the line already at 3:40.0"
    assert told(stage.command("cross", 222.0)) == "you have the line already at 3:40.0"
    assert stage.car.track.lap_number == 2


def test_status_by_hand_stands_until_the_feed_says_something_newer() -> None:
    """The feed's late word on an earlier moment changes nothing; a newer one replaces the hand's; both are said."""
    stage = by_hand()
    stage.command("status", 100.0, status="red")
    stage.late_s = 30
    stage.status(90.0, "yellow")
    assert stage.session.clock.status == "red"
    assert "came late" in stage.made(Corrected)[-1].text
    stage.late_s = 0
    stage.status(160.0, "green")
    assert stage.session.clock.status == "green"
    assert "replaces red" in stage.made(Corrected)[-1].text


def test_the_feeds_green_gives_the_hands_green_its_true_time() -> None:
    """A green pressed three seconds late: the feed's word of it moves the clock by three seconds."""
    stage = Stage(setup(plan(LONG, SPARE)))
    stage.command("status", 3.0, status="green")
    assert stage.session.clock.remaining(10) == pytest.approx(3593)
    stage.late_s = 10
    stage.status(0.0, "green")
    assert stage.session.clock.remaining(10) == pytest.approx(3590)
    assert "not at 0:03.0" in stage.made(Corrected)[-1].text


def test_clock_by_hand_against_the_official_one() -> None:
    """A fresh official clock counts and the hand's is refused; a silent one is replaced, and takes over again later."""
    stage = by_hand()
    stage.clock(10.0, 3590)
    assert "official clock" in refused(stage.command("clock", 15.0, remaining_s=3000))
    told(stage.command("clock", 60.0, remaining_s=3000))
    assert stage.session.clock.remaining(60) == 3000
    stage.clock(70.0, 3530)
    assert stage.session.clock.remaining(70) == 3530
    assert "official clock says" in stage.made(Corrected)[-1].text


def test_telemetry_wins_where_it_measured() -> None:
    """A fresh measurement beats a hand; the next one replaces what a hand entered, and says so when it differs."""
    stage = by_hand()
    stage.switch(10.0, "torque_map", 2)
    assert "telemetry shows torque at 2" in refused(stage.command("set_switch", 20.0, switch="torque_map", position=3))
    told(stage.command("set_switch", 90.0, switch="torque_map", position=3))
    assert stage.car.switches.stands("torque_map") == 3
    stage.switch(95.0, "torque_map", 2)
    assert stage.car.switches.stands("torque_map") == 2
    assert "telemetry shows torque_map at 2, not at 3" in stage.made(Corrected)[-1].text


def test_a_kind_set_by_hand_stands_until_a_loop_contradicts_it() -> None:
    """A lap that a hand called a cool-down lap is timed again when a loop shows the pace of one."""
    stage = by_hand()
    stage.drive(100.0, 120.0, 100.0)
    told(stage.command("set_car", 325.0, lap_kind="cool"))
    assert stage.car.track.lap_kind == "cool"
    stage.cross(350.0, "1")
    assert stage.car.track.lap_kind == "timed"


# -- forgotten, wrong, taken back --------------------------------------------------------------------------------------


def test_a_forgotten_press_is_noticed_and_put_in_where_it_belongs() -> None:
    """A lap of about two laps' time asks whether a press was forgotten; the line with its time mends laps and plan."""
    stage = on_lap(by_hand(), 220.0, 320.0)
    assert "was a line press forgotten" in told(stage.command("cross", 520.0))
    stage.command("cross", 620.0)
    assert stage.car.progress.current is not None
    assert stage.car.progress.current.timed_done == 2
    answer = told(stage.command("cross", 420.5))
    assert answer.endswith("car 41 on timed lap 5 of long")
    assert [lap.kind for lap in stage.car.track.laps] == ["out", "timed", "timed", "timed", "timed"]
    assert stage.car.track.lap_number == 6
    assert stage.car.progress.current.timed_done == 4


def test_a_forgotten_press_without_its_time_is_put_in_by_the_usual_lap() -> None:
    """Nobody knows when: it is placed by what such laps take, two laps later, and teaches nothing about pace."""
    stage = on_lap(by_hand(), 220.0, 320.0, 520.0, 620.0)
    stage.wait(650)
    answer = told(stage.command("cross", forgotten=True))
    assert answer == "forgotten line put in at about 7:00.0: car 41 on timed lap 5 of long"
    assert sorted(lap for _, lap in stage.car.track.pace.quick) == [100.0, 100.0]
    assert "taken back: forgotten line" in told(stage.command("undo"))
    assert stage.car.track.lap_number == 5


def test_undo_takes_back_the_last_of_the_same_hand() -> None:
    """Each hand takes back its own, the latest first; a session-wide entry belongs to every car."""
    stage = on_lap(by_hand(), 220.0)
    stage.command("status", 230.0, status="red", by="bo")
    assert told(stage.command("undo")) == "taken back: line at 3:40.0; car 41 on out-lap of long"
    assert told(stage.command("undo", by="bo")).startswith("taken back: status red; green")
    assert told(stage.command("undo")) == (
        "taken back: pit exit at 1:40.0 (given 2:10 ago); car 41 in its garage, next: long")
    assert told(stage.command("undo")).startswith("taken back: status green")
    assert stage.session.clock.status == "waiting"
    assert "is left to take back" in refused(stage.command("undo"))


@pytest.mark.parametrize(("name", "fields"), [
    ("cross", {}), ("status", {"status": "red"}), ("set_tyres", {"tyre_laps": 9}), ("set_fuel", {"fuel_kg": 15}),
    ("set_switch", {"switch": "flap", "position": "open"}), ("set_car", {"lap": 3}), ("comment", {"text": "us"}),
    ("asked", {"text": "gap?"}), ("quiet", {}),
])
def test_what_was_entered_and_taken_back_is_no_change_of_the_plan(name: str, fields: dict[str, Any]) -> None:
    """Nobody changed the plan, so neither the entry nor its undo stands among its changes."""
    stage = on_lap(by_hand(), 220.0)
    told(stage.command(name, 321.0, **fields))
    told(stage.command("undo", 325.0))
    assert stage.car.desk.changes == []


@pytest.mark.parametrize(("name", "fields"), [
    ("extend", {"laps": 1}), ("box", {}), ("drop", {"run": "spare"}), ("set_car", {"run": "spare", "lap": 2}),
])
def test_a_change_of_the_plan_that_is_taken_back_is_one_more_change(name: str, fields: dict[str, Any]) -> None:
    """The plan is another one again, and who looks at it must know by whom: an order, and a car that was set onto a
    later run, for the runs before it are skipped."""
    stage = on_lap(by_hand(), 220.0)
    told(stage.command(name, 321.0, by="ann", **fields))
    back = told(stage.command("undo", 325.0, by="ann"))
    assert [one.t for one in stage.car.desk.changes] == [321.0, 325.0]
    assert (stage.car.desk.changes[-1].what, stage.car.desk.changes[-1].by) == (back, "ann")


def test_what_the_feed_confirmed_cannot_be_taken_back() -> None:
    """The feed saw the same crossing: it stands."""
    stage = on_lap(by_hand(), 220.5)
    stage.cross(220.0)
    assert "the feed says so, too" in refused(stage.command("undo"))
    assert stage.car.track.lap_number == 2


def test_a_wrong_pit_exit_taken_back_calls_the_car_out_again() -> None:
    """The call to leave was taken as done for the press; taken back, it comes again, and revisions go on."""
    stage = by_hand()
    stage.wait(40)
    told(stage.command("pit", 40.0, where="exit"))
    assert stage.call("long-1-leave").state == "done"
    told(stage.command("undo"))
    stage.wait(60)
    assert stage.call("long-1-leave").id.endswith("~2")
    assert stage.call("long-1-leave").state == "due"
    assert stage.car.track.state == "garage"
    assert stage.car.progress.next.run.run == "long"


def test_a_red_flag_pressed_wrongly_is_taken_back_for_the_driver_too() -> None:
    """The driver heard of a red flag that was none: he is told that all is clear; the lap counts."""
    stage = on_lap(by_hand(), 220.0)
    stage.command("status", 250.0, status="red")
    stage.wait(256)
    stage.command("said")
    told(stage.command("undo", 260.0))
    stage.wait(262)
    assert stage.session.clock.status == "green"
    assert [one.call for one in stage.prompts("session", "due")][-1].endswith("green")
    stage.command("cross", 320.0)
    assert stage.car.track.laps[-1].kind == "timed"


def test_a_red_flag_that_nobody_heard_of_is_taken_back_in_silence() -> None:
    """Taken back before it was said, it is withdrawn, and nothing is said in its place."""
    stage = on_lap(by_hand(), 220.0)
    stage.command("status", 250.0, status="red")
    told(stage.command("undo"))
    stage.wait(258)
    assert stage.prompts("session")[-1].state == "withdrawn"
    assert not stage.prompts("-green")


@pytest.mark.parametrize(
    ("command", "more", "state"),
    [
        ("keep_in", {}, lambda car: car.kept_in), ("quiet", {}, lambda car: car.quiet),
        ("extend", {"laps": 2}, lambda car: car.progress.find("long").timed_wanted),
        ("shorten", {"laps": 2}, lambda car: car.progress.find("long").timed_wanted),
        ("drop", {"run": "spare"}, lambda car: car.progress.find("spare").state),
        ("set_fuel", {"fuel_kg": 3}, lambda car: car.carried.fuel_kg),
        ("set_tyres", {"tyres": "B1"}, lambda car: car.carried.tyres),
        ("set_switch", {"switch": "flap", "position": "open"}, lambda car: car.switches.stands("flap")),
        ("set_car", {"run": "spare"}, lambda car: car.progress.next.run.run),
    ],
)  # fmt: skip
def test_commands_that_change_belief_or_plan_can_be_taken_back(command: str, more: dict[str, Any], state: Any) -> None:
    """Taken back right after, everything is as it was."""
    stage = by_hand()
    before = state(stage.car)
    told(stage.command(command, 10.0, **more))
    assert state(stage.car) != before
    told(stage.command("undo", 11.0))
    assert state(stage.car) == before


def test_a_skip_taken_back_offers_the_call_again() -> None:
    """A call skipped by mistake comes again while there is time, and its item is to be done again."""
    items = [{"do": "flap_lap", "on": {"timed": 3}}]
    stage = on_lap(by_hand(LONG | {"items": items}, SPARE), 220.0, 320.0)
    while not stage.prompts("flap", "due") and stage.now < 420:
        stage.wait(stage.now + 1)
    call = next(one for one in stage.car.book.outstanding() if one.spec.item is not None and one.state != "planned")
    told(stage.command("skip", call=call.id))
    assert stage.car.progress.current.items[0].state == "not_done"  # type: ignore[union-attr]  # on track
    assert "comes again" in told(stage.command("undo"))
    stage.wait(stage.now + 1)
    assert stage.car.progress.current.items[0].state == "planned"  # type: ignore[union-attr]  # on track
    assert stage.has_call(f"{call.id}~2")


def test_said_is_not_taken_back() -> None:
    """What was said was said: undo goes past it to the last thing that was entered."""
    stage = by_hand()
    stage.wait(30)
    told(stage.command("said"))
    assert told(stage.command("undo")).startswith("taken back: status green")


# -- joining in the middle ---------------------------------------------------------------------------------------------


def test_a_session_joined_in_the_middle_by_hand() -> None:
    """Green, the clock, and where the car is: the runs before are skipped in words, and calls come for the rest."""
    stage = Stage(setup(plan(CHECKS, MAIN, LONG, SPARE, tyre_sets={"B1": {"compound": "medium"}})), begin=-5)
    told(stage.command("clock", 0.0, remaining_s=2480))
    told(stage.command("status", 1.0, status="green"))
    told(stage.command("set_car", 2.0, run="long", lap=7, lap_kind="timed"))
    told(stage.command("set_fuel", 3.0, fuel_kg=9))
    told(stage.command("set_tyres", 4.0, tyres="B1", tyre_laps=11))
    states = {run.run.run: (run.state, run.reason) for run in stage.car.progress.runs}
    assert states["checks"] == ("skipped", "not followed: pitwall joined later")
    assert states["long"][0] == "running"
    assert (stage.car.track.lap_number, stage.car.track.lap_kind) == (7, "timed")
    assert stage.session.clock.remaining(10) == pytest.approx(2471, abs=1.1)
    stage.command("cross", 60.0)
    stage.wait(155)
    assert stage.prompts("long-box", "due")
    assert stage.car.progress.current.timed_done == 6
    stage.command("pit", 160.0, where="entry")
    assert stage.car.progress.next.run.run == "spare"  # type: ignore[union-attr]  # chosen


def test_lap_numbers_go_on_after_a_car_is_set_to_an_earlier_lap() -> None:
    """A press too many, mended with the lap of the run: the plan steps back, numbers of laps on record do not."""
    stage = on_lap(by_hand(), 220.0, 320.0, 420.0)
    told(stage.command("set_car", 421.0, lap=3))
    assert stage.car.progress.current.pointer == 2  # type: ignore[union-attr]  # on track
    assert [lap.number for lap in stage.car.track.laps] == [1, 2, 3]
    assert stage.car.track.lap_number == 4


def test_a_feed_that_begins_in_the_middle() -> None:
    """Timing is first heard 18 minutes into the session with the car out: it is taken to be on the run that the plan
    has for then, the runs before are skipped in words, and the calls of the rest of the run come."""
    stage = Stage(setup(plan(CHECKS, MAIN, LONG, SPARE)), begin=1080.0)
    stage.clock(1085.0, 2515)
    stage.status(1085.0, "green", pit_exit="open")
    stage.cross(1110.0, "2")
    (told_,) = stage.made(Corrected)
    assert told_.text == (
        "Car 41 first seen 18:30 into the session: taken to be on long; checks, main skipped, as nobody saw them; "
        "if not so, 'set_car'"
    )
    t = 1140.0
    stage.cross(t)
    for _ in range(6):
        t = stage.lap(t, 100.0)
    stage.wait(t + 20)
    assert stage.prompts("long-box", "due")
    assert {run.run.run: run.state for run in stage.car.progress.runs} == {
        "checks": "skipped", "main": "skipped", "long": "running", "spare": "planned",
    }  # fmt: skip


def test_a_missed_pit_exit_is_no_joining() -> None:
    """Timing was heard from the beginning: a car that is first seen on a loop has left for its first run."""
    stage = Stage(setup(plan(CHECKS, MAIN, SPARE))).green()
    stage.clock(700.0, 2900)
    stage.cross(720.0, "1")
    assert stage.car.progress.current is not None
    assert stage.car.progress.current.run.run == "checks"
    assert not stage.made(Corrected)


# -- entries that contradict what was seen -----------------------------------------------------------------------------


@pytest.mark.parametrize("lap", [3, 7])
def test_a_car_that_is_in_the_pit_lane_is_put_on_the_lap_that_is_said(lap: int) -> None:
    """The hand says that the car is out: the line beside the lane, passed a moment ago, does not swallow the word; runs
    that nobody saw are skipped, and the answer says so."""
    stage = by_hand(CHECKS, LONG, SPARE)
    told(stage.command("set_car", 100.0, in_garage=True))
    stage.command("pit", 110.0, where="exit")
    stage.command("undo", 111.0)
    stage.pit(112.0, "entry")
    assert stage.car.track.state == "pit_lane"
    answer = told(stage.command("set_car", 120.0, run="long", lap=lap, lap_kind="timed"))
    assert answer == f"car 41 on timed lap {lap - 1} of long; checks skipped, as nobody saw them"
    assert (stage.car.track.lap_kind, stage.car.track.lap_number) == ("timed", lap)
    assert "line at 3:40.0: timed lap" in told(stage.command("cross", 220.0))


@pytest.mark.parametrize("after", [5.0, 110.0])
def test_a_kind_that_is_said_after_the_pit_exit_is_taken(after: float) -> None:
    """Just after the exit, or long after it with the line forgotten: the car is on the lap and of the kind that was
    said, and the answer does not contradict itself."""
    stage = on_lap(by_hand(LONG, SPARE))
    answer = told(stage.command("set_car", 100.0 + after, lap=3, lap_kind="timed"))
    assert answer == "car 41 on timed lap 2 of long"
    assert stage.car.track.lap_kind == "timed"
    assert not stage.car.track.pace.quick
    told(stage.command("undo"))
    assert stage.car.track.lap_kind == "out"


def test_an_out_lap_where_a_timed_one_is_planned_is_called_an_out_lap() -> None:
    """A run that was chosen on an out-lap says what lap it is, with its article."""
    stage = on_lap(by_hand(LONG, SPARE))
    assert told(stage.command("set_car", 105.0, lap=8, lap_kind="in")) == "car 41 on in-lap of long"
    stage = on_lap(by_hand(LONG, SPARE))
    assert told(stage.command("set_car", 105.0, lap_kind="in")) == "car 41 on out-lap of long, an installation lap"


def test_a_line_pressed_for_a_car_in_the_pits_names_the_pit_exit() -> None:
    """What is refused says what to enter first."""
    stage = on_lap(by_hand(LONG, SPARE), 220.0)
    stage.command("pit", 300.0, where="entry")
    reason = refused(stage.command("cross", 310.0))
    assert reason == (
        "line at 5:10.0 cannot be: car 41 is in the pit lane; enter the pit exit first ('pit' with where=exit)"
    )


def test_a_line_too_soon_after_the_pit_exit_is_refused() -> None:
    """Fifteen seconds after the exit no car is at the line: nothing changes, and the answer says what to look at."""
    stage = on_lap(by_hand(LONG, SPARE))
    reason = refused(stage.command("cross", 115.0))
    assert reason == (
        "line at 1:55.0 cannot be: car 41 left the pits 15 s before, at 1:40.0; was that exit wrong, take it back with "
        "'undo'"
    )
    assert (stage.car.track.lap_kind, stage.car.track.laps) == ("out", [])
    told(stage.command("cross", 220.0))


def test_a_line_from_before_the_car_left_is_refused() -> None:
    """Put in afterwards, before the pit exit: the car stood in its garage then."""
    stage = on_lap(by_hand(LONG, SPARE), 220.0)
    stage.wait(250)
    fact = CommandGiven(id="early", t=50.0, car="41", command="cross", by="desk")
    (reason,) = [one.reason for one in stage.handle(fact) if isinstance(one, Refused)]
    assert reason.startswith("line at 0:50.0 cannot be: car 41 was in the pits and left at 1:40.0")
    assert [lap.start_t for lap in stage.car.track.laps] == [100.0]


def test_a_line_of_a_car_that_nobody_saw_leave_is_refused() -> None:
    """Nothing is followed of a car in its garage whose line is pressed: the pit exit comes first, also where the line
    is entered late. Entered with its time, the exit makes the line count."""
    stage = by_hand(LONG, SPARE)
    assert refused(stage.command("cross", 120.0)) == (
        "line at 2:00.0 cannot be: car 41 is in its garage and nobody saw it leave; enter the pit exit first ('pit' "
        "with where=exit), or 'set_car'"
    )
    assert (stage.car.track.state, stage.car.track.laps) == ("garage", [])
    told(stage.command("set_car", 150.0, run="long"))
    stage.wait(220.0)
    early = CommandGiven(id="early", t=140.0, car="41", command="cross", by="desk")
    assert [one.reason[:25] for one in stage.handle(early) if isinstance(one, Refused)] == ["line at 2:20.0 cannot be:"]
    left = CommandGiven(id="left", t=100.0, car="41", command="pit", where="exit", by="desk")
    assert [told(one) for one in stage.handle(left) if isinstance(one, Answered | Refused)]
    assert told(stage.command("cross", 221.0)).startswith("line at 3:41.0: out-lap of 2:01.0; car 41 on timed lap 1")


def test_a_line_of_the_feed_counts_where_the_pit_exit_was_missed() -> None:
    """The feed's line of a car in its garage says that it left: the hand is then told that the feed has it."""
    stage = by_hand(LONG, SPARE)
    stage.cross(220.0)
    assert stage.car.track.on_track
    assert told(stage.command("cross", 222.0)) == "the feed has the line already at 3:40.0"
    assert "timed lap" in told(stage.command("cross", 321.0))


@pytest.mark.parametrize(
    ("command", "more", "words"),
    [
        ("status", {"status": "green"}, "no status follows"), ("clock", {"remaining_s": 60.0}, "no time is left"),
        ("pit_exit", {"pit_exit": "open"}, "opens for nobody"), ("pit", {"where": "exit"}, "no car leaves"),
        ("cross", {}, "in its garage"), ("extend", {}, "no run is left to plan"), ("box", {}, "no car is to be called"),
        ("defer", {}, "nothing is left to say"),
    ],
)  # fmt: skip
def test_what_means_nothing_after_the_close_is_refused(command: str, more: dict[str, Any], words: str) -> None:
    """A closed session is neither restarted nor planned on: the reason is told, and how a slip is taken back."""
    stage = by_hand(LONG, SPARE)
    told(stage.command("status", 50.0, status="closed", text="all in"))
    reason = refused(stage.command(command, 60.0, **more))
    assert words in reason
    assert command == "cross" or reason.startswith("the session is closed since 0:50.0: ")
    assert stage.session.clock.status == "closed"
    if command == "cross":  # its reason names no undo, so the first one says what the next takes back
        assert "status closed, 0:11 ago" in refused(stage.command("undo", 61.0))
    assert told(stage.command("undo", 61.0)).startswith("taken back: status closed")
    told(stage.command("pit", 62.0, where="exit"))


def test_a_clock_longer_than_the_session_wants_a_reason() -> None:
    """More time left than the session is long is a slip of the finger; a session that was made longer says why."""
    stage = by_hand()
    reason = refused(stage.command("clock", 10.0, remaining_s=99_999))
    assert reason == (
        "27:46:39 left is more than the whole session of 1:00:00 (a plain number is seconds); if that is so, enter it "
        "again and say why in 'text'"
    )
    assert stage.session.clock.remaining(10.0) == pytest.approx(3590)
    told(stage.command("clock", 11.0, remaining_s=4500, text="made longer after the red flag"))
    assert stage.session.clock.remaining(11.0) == pytest.approx(4500)
    assert "1:00:00 left" in told(stage.command("clock", 12.0, remaining_s=3600))


def test_a_session_is_not_closed_by_one_wrong_word() -> None:
    """Closed with time left ends the session for every car: only with a reason. After the flag no reason is asked."""
    stage = by_hand()
    assert refused(stage.command("status", 300.0, status="closed")) == (
        "55:00 are left, and a closed session is over for every car; if that is so, enter it again and say why in "
        "'text'"
    )
    assert stage.session.clock.status == "green"
    told(stage.command("status", 310.0, status="finished"))
    told(stage.command("status", 320.0, status="closed"))
    stage = by_hand()
    told(stage.command("status", 300.0, status="closed", text="abandoned"))
    assert stage.session.clock.status == "closed"


def test_the_remedy_for_a_forgotten_line_stands_in_front() -> None:
    """On a terminal of 120 columns the question, the key and the command are read whole; that the lap is taken as a
    cool-down lap is told with what made it one."""
    stage = on_lap(by_hand(LONG, SPARE), 220.0, 320.0)
    answer = told(stage.command("cross", 520.0))
    question = "line at 8:40.0: was a line press forgotten? press f, or 'cross' with forgotten=true"
    assert answer.startswith(question)
    assert len(f"  car 41: {question}") <= 120
    assert "lap of 3:20.0, by its length a cool-down lap; car 41 on" in answer


def test_refusals_say_what_there_is() -> None:
    """A line too soon says by how much and how to give its time; an unknown run says which there are."""
    stage = on_lap(by_hand(LONG, SPARE), 220.0)
    assert refused(stage.command("cross", 246.0)) == (
        "line at 4:06.0 cannot be: lap 2 began at 3:40.0, and 26 s are too short for a lap; give its time (--at), or "
        "'undo' that one"
    )
    assert refused(stage.command("set_car", run="foo")) == "no run 'foo' in the plan of car 41 (there are: long, spare)"


def test_a_car_overdue_on_its_in_lap_is_a_hint_without_a_feed() -> None:
    """The pit entry was not pressed: half a minute after the in-lap usually ends a quiet alert says what to enter, and
    goes with the entry; with a feed nobody has to press anything."""
    stage = on_lap(by_hand(MAIN, SPARE), 220.0, 320.0, 420.0)
    due = stage.car.track.arrival(PIT_ENTRY)
    assert due is not None
    stage.wait(due + 28)
    assert not [one for one in stage.made(Alert) if one.kind == "in_overdue"]
    stage.wait(due + 38)
    (alert,) = [one for one in stage.made(Alert) if one.kind == "in_overdue"]
    assert (alert.priority, alert.active) == ("low", True)
    assert "key i" in alert.help
    assert alert.text.startswith("Car 41 was due at the pit entry at ")
    told(stage.command("pit", where="entry"))
    stage.wait(stage.now + 8)
    assert "in-overdue-41" not in stage.session.alerts.active
    fed = Stage(setup(plan(MAIN, SPARE))).green()
    fed.drive(100.0, 120.0, 100.0, 100.0)
    fed.wait(420 + 170)
    assert "in_overdue" not in {one.kind for one in fed.made(Alert)}


def test_the_taking_back_of_a_changed_plan_names_the_change() -> None:
    """The crew reads both: what was never to be done needs nobody to look at it."""
    stage = Stage(setup(plan(MAIN, SPARE))).green()
    stage.wait(100)
    stage.command("extend", 100, run="main", by="ann")
    stage.command("undo", 108, by="ann")
    made, back = stage.car.desk.changes
    assert (made.takes_back_t, back.takes_back_t) == (None, made.t)


def test_an_undo_that_leaves_a_car_quiet_says_so_first_and_how_old_the_entry_is() -> None:
    """Nobody is to find out by silence. What was given just now has no age."""
    stage = by_hand()
    told(stage.command("quiet", 100))
    told(stage.command("quiet", 110))
    back = told(stage.command("undo", 175))
    assert back.startswith("QUIET IS ON, session, safety and box calls only; taken back: quiet (given 1:05 ago); car")
    assert told(stage.command("undo", 176)).startswith("taken back: quiet (given 1:16 ago); car 41 is as before")
    told(stage.command("quiet", 200))
    assert told(stage.command("undo", 205)).startswith("taken back: quiet; car 41 is as before")


def test_an_old_entry_is_taken_back_only_by_its_name() -> None:
    """A hand that takes back means what it has just done: what it entered minutes ago is told, and stands."""
    stage = by_hand()
    told(stage.command("quiet", 100))
    told(stage.command("set_switch", 110, switch="brake_bias", position=54))
    assert refused(stage.command("undo", 900)) == (
        "the last entry of desk for car 41 that is left is bias 54, given at 1:50, 13:10 ago: 'undo' with "
        "of=set_switch takes it back")
    assert stage.car.quiet
    assert "desk entered no 'box' for car 41" in refused(stage.command("undo", 901, of="box"))
    assert told(stage.command("undo", 902, of="quiet")).startswith("taken back: quiet (given 13:22 ago); car 41")
    assert not stage.car.quiet
    assert told(stage.command("undo", 903, of="set_switch")).startswith("taken back: bias 54 (given 13:13 ago)")
