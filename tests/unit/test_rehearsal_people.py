"""The engineer and the driver: one voice at a time, keys or none, mistakes, readbacks, switches and procedures."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from pitwall.model.events import ChannelReported, CommandGiven, SwitchReported
from pitwall.model.outputs import Answered, Refused
from tests.unit.rehearsal_stage import CAR, Stage, plan, scenario, setup


def running(**changes: Any) -> Stage:
    """Car 41 on track from 75 s on; times of day in the tests lie on its out-lap or its first timed laps."""
    stage = Stage(scenario(**changes))
    stage.release(60)
    return stage


def spans(stage: Stage) -> list[tuple[float, float]]:
    """Every call as spoken, in order of time."""
    return sorted((call.start_s, call.end_s) for call in stage.truth.calls)


# -- the engineer ------------------------------------------------------------------------------------------------


def test_a_call_is_spoken_in_its_window_after_a_reaction() -> None:
    """Half a second after the window opens, for as long as this engineer needs for four words, whatever is expected."""
    stage = running()
    stage.say_at(100, "hello", "none", wait=10)
    call = stage.run(until=200).truth.calls[-1]
    assert (call.start_s, call.end_s, call.in_window) == (110.5, 112.5, True)


def test_a_call_in_parts_is_spoken_part_by_part_and_read_back_once() -> None:
    """After the first part and its key the engineer waits for what remains; the driver answers when all is said."""
    stage = running()
    two = [{"text": "Hold gear five,", "say_from_s": 110.0, "spoken_s": 1.5},
           {"text": "count five.", "say_from_s": 119.0, "spoken_s": 1.1}]
    stage.say_at(109, "hold", "none", wait=1, text="Hold gear five,", way="parts", parts=two)
    stage.say_at(113, "hold", "none", wait=6, text="count five.", parts=two[1:], parts_said=1)
    stage.run(until=200)
    assert [call.text for call in stage.truth.calls if call.call == "hold"] == ["Hold gear five,", "count five."]
    assert [key.command for key in stage.pressed() if key.call == "hold"] == ["said", "said", "confirm"]


@pytest.mark.parametrize(("by", "heard"), [("key-of-ann", True), (None, False)])
def test_what_a_person_at_the_desk_has_said_the_driver_has_heard(by: str | None, heard: bool) -> None:
    """Somebody practises at the desk and presses "said" before the rehearsed engineer speaks: the car leaves on it.
    What merely counts as said, by the length of some talk, is nobody's word."""
    stage = Stage(scenario())
    stage.say_at(20, "fire", "fire_up")
    stage.say_at(60, "leave", "leave", run="first", act_at_s=60, wait=20)
    stage.say_at(62, "leave", "leave", run="first", act_at_s=60, state="said", because=by)
    stage.run(until=150)
    assert [call.end_s for call in stage.truth.calls if call.call == "leave"] == ([62] if heard else [])
    assert bool(stage.pits("exit")) == heard


def test_one_voice_at_a_time_and_the_more_important_first() -> None:
    """Three calls at once are spoken one after the other, by priority, with the readbacks between them."""
    stage = running()
    for name, priority in (("pace", 10), ("box-soon", 90), ("switch", 70)):
        stage.say_at(110, name, "none", priority=priority, window=40)
    stage.run(until=200)
    assert [call.call for call in stage.truth.calls[2:]] == ["box-soon", "switch", "pace"]
    times = spans(stage)
    assert all(end <= start for (_, end), (start, _) in itertools.pairwise(times))


def test_a_long_unimportant_call_waits_for_a_short_important_one() -> None:
    """A talk that would run over the window of a box call is not begun."""
    stage = running()
    stage.say_at(110, "talk", "none", priority=10, window=60, spoken_s=12.0)
    stage.say_at(110, "box", "none", priority=90, wait=5, window=3)
    order = [call.call for call in stage.run(until=200).truth.calls[2:]]
    assert order == ["box", "talk"]


def test_the_newest_revision_counts() -> None:
    """Re-timed before it is spoken, a call is spoken at its new time; an older revision that comes late is ignored."""
    stage = running()
    stage.say_at(100, "moved", "none", wait=5)
    stage.say_at(102, "moved", "none", wait=30)
    stage.say_at(103, "moved", "none", revision=1, state="withdrawn", id="moved.0")
    calls = stage.run(until=200).truth.calls
    assert [call.start_s for call in calls if call.call == "moved"] == [132.5]


@pytest.mark.parametrize("state", ["withdrawn", "skipped", "missed", "late", "unconfirmed"])
def test_a_call_that_is_over_is_not_spoken(state: str) -> None:
    """Whatever ended it before its time, the engineer stops caring, and the truth says why."""
    stage = running()
    stage.say_at(100, "gone", "none", wait=10)
    stage.say_at(105, "gone", "none", wait=5, state=state)
    truth = stage.run(until=200).truth
    assert "gone" not in {call.call for call in truth.calls}
    assert [(never.call, never.reason) for never in truth.never_spoken] == [("gone", f"{state} before it was spoken")]


def test_a_box_call_is_never_said_too_late() -> None:
    """Neither past its own window nor when its words say too late."""
    stage = running()
    stage.say_at(100, "first", "none", spoken_s=9.0, priority=99)
    stage.say_at(100, "late-box", "box", window=3)
    stage.say_at(130, "told-box", "box", text="Too late for the pit entry: say nothing")
    truth = stage.run(until=200).truth
    assert not truth.boxes
    assert {never.call: never.reason for never in truth.never_spoken} == {
        "late-box": "its window had passed before the channel was free", "told-box": "the prompt says too late"}


def test_a_box_call_that_is_shown_anew_after_its_window_is_said() -> None:
    """The channel was taken until its window was over; as soon as it has another one it is said there."""
    stage = running()
    stage.say_at(100, "first", "none", spoken_s=9.0, priority=99)
    stage.say_at(100, "late-box", "box", window=3)
    stage.say_at(125, "late-box", "box", window=9)
    truth = stage.run(until=200).truth
    assert [call.start_s > 125 for call in truth.calls if call.call == "late-box"] == [True]
    assert "late-box" not in {never.call for never in truth.never_spoken}


def test_keys_follow_the_mouth() -> None:
    """``said`` after the call, ``confirm`` after the readback, each with its delay and the call's id."""
    stage = running()
    stage.say_at(100, "hello", "none")
    stage.run(until=200)
    call = stage.truth.calls[-1]
    keys = [(key.command, key.t) for key in stage.pressed() if key.call == "hello"]
    assert [word for word, _ in keys] == ["said", "confirm"]
    assert keys[0][1] == pytest.approx(call.end_s + 0.5)
    assert keys[1][1] == pytest.approx(call.end_s + 1.9)


def test_no_key_pressed_means_no_command() -> None:
    """The engineer speaks all the same."""
    stage = running(engineer={"keys": "none"})
    stage.say_at(100, "hello", "none")
    stage.run()
    assert stage.of(CommandGiven) == []
    assert len(stage.truth.calls) == 3
    assert stage.truth.keys_pressed == 0


def test_some_keys_are_some() -> None:
    """A share of the keys is pressed."""
    stage = running(engineer={"keys": "some", "key_share": 0.5})
    for number in range(60):
        stage.say_at(100 + 8 * number, f"n{number}", "none")
    stage.run()
    assert 30 < stage.truth.keys_pressed < 95


def test_forgotten_calls_are_never_spoken_but_a_release_always_is() -> None:
    """An engineer who forgets everything still lets the car go."""
    stage = running(engineer={"forgets": 1})
    stage.say_at(100, "hello", "none")
    truth = stage.run(until=200).truth
    assert [call.action for call in truth.calls] == ["fire_up", "leave"]
    assert [(never.call, never.reason) for never in truth.never_spoken] == [("hello", "forgotten")]


def test_refused_keys_are_counted() -> None:
    """A refusal of the engineer's own key is told apart from anything else that was refused."""
    stage = running()
    stage.run(until=70)
    key = stage.pressed()[0]
    stage.world.hear(Refused(id="r1", t=70, because=key.id, car=CAR, reason="no such call"))
    stage.world.hear(Refused(id="r2", t=70, because="somebody-else", reason="bad payload"))
    stage.world.hear(Answered(id="a1", t=70, because=key.id, car=CAR, effect="said"))
    assert stage.truth.refusals == ("no such call",)


def test_prompts_for_other_cars_are_nobodys_business() -> None:
    """A prompt for a car that is not in this world is ignored."""
    stage = running()
    stage.say_at(100, "hello", "none", car="99")
    assert len(stage.run(until=200).truth.calls) == 2


# -- the driver --------------------------------------------------------------------------------------------------


def test_the_engineer_listens_before_speaking() -> None:
    """With a driver who talks a lot no call starts during the driver's words, and the channel says who talks."""
    stage = running(talks={"timed": 0.4, "out": 0.4, "other": 0.4, "length_s": [3, 5, 8]}, feed={"channel": True})
    for number in range(40):
        stage.say_at(100 + 10 * number, f"n{number}", "none", window=30)
    stage.run()
    talking: list[tuple[float, str]] = sorted(
        ((fact.t, fact.talking) for fact in stage.of(ChannelReported)), key=lambda item: item[0])
    voices = [who for _, who in talking]
    assert "driver" in voices
    assert "engineer" in voices
    for before, after in itertools.pairwise(voices):
        assert after == "nobody" or before == "nobody"
    assert stage.truth.driver_spoke_s > 60


def test_a_forgetful_driver_reads_back_and_does_nothing() -> None:
    """Heard, read back, confirmed, forgotten."""
    stage = running(driver={"forgets": 1})
    stage.say_at(100, "box", "box")
    truth = stage.run(until=300).truth
    assert truth.boxes == ()
    assert truth.calls[-1].forgotten
    assert truth.calls[-1].read_back
    assert truth.calls[-1].outcome == "heard and forgotten"
    assert [key.command for key in stage.pressed() if key.call == "box"] == ["said", "confirm"]


def test_a_wrong_readback_is_corrected() -> None:
    """Heard wrongly and read back: no confirm, and the call is said once more."""
    stage = running(driver={"mishears": 1})
    stage.say_at(100, "torque", "set_switch", switch="torque_map", position=4, window=30)
    stage.run(until=200)
    calls = [call for call in stage.truth.calls if call.call == "torque"]
    assert [(call.repeat, call.misheard) for call in calls] == [(False, True), (True, True)]
    assert [key.command for key in stage.pressed() if key.call == "torque"] == ["said", "said"]
    assert not [move for move in stage.truth.switches if move.why == "asked"]


def test_what_is_said_once_more_waits_for_what_is_more_important() -> None:
    """Read back wrongly just before the window of a flag: the flag is said first, then the call once more."""
    stage = running(driver={"mishears": 1})
    stage.say_at(100, "torque", "set_switch", switch="torque_map", position=4, window=60)
    stage.say_at(102, "flag", "slow", kind="session", priority=95, wait=3, window=1.5)
    stage.run(until=200)
    said = [call.call for call in stage.truth.calls if call.call in ("torque", "flag")]
    assert said == ["torque", "flag", "torque"]


def test_heard_wrongly_without_a_readback_something_else_is_done() -> None:
    """The switch named goes to another position than the one asked for."""
    stage = running(driver={"mishears": 1, "readback": 0})
    stage.say_at(100, "bias", "set_switch", switch="brake_bias", position=57)
    moved = [move for move in stage.run(until=200).truth.switches if move.why == "misheard"]
    assert [(move.switch, move.position) for move in moved] in ([("brake_bias", 55.5)], [("brake_bias", 54.5)])


def test_a_switch_is_moved_after_the_reaction_and_reported() -> None:
    """One second after the end of the call; telemetry follows."""
    stage = running()
    stage.say_at(100, "torque", "set_switch", switch="torque_map", position=4)
    stage.run(until=200)
    moved = next(move for move in stage.truth.switches if move.why == "asked")
    assert (moved.t, moved.position) == (pytest.approx(103.5), 4)
    assert [fact.position for fact in stage.of(SwitchReported) if fact.switch == "torque_map"] == [2, 4]


def test_a_change_for_the_next_lap_does_not_spoil_this_one() -> None:
    """``before the line`` on a timed lap: made 4 s before the line; on an out-lap, at once."""
    stage = running()
    stage.say_at(100, "out", "set_switch", switch="torque_map", position=4, place="line", act_at_s=183)
    stage.on_line(1, lambda now: stage.prompt("timed", "set_switch", now, wait=20, switch="torque_map", position=3,
                                              place="line", act_at_s=now + 95))
    truth = stage.run(until=400).truth
    moved = [move.t for move in truth.switches if move.why == "asked"]
    assert moved[0] == pytest.approx(103.5)
    assert moved[1] == pytest.approx(truth.laps[1].end_s - 4, abs=0.5)


def test_a_put_back_may_be_left() -> None:
    """A driver who leaves switches wrong still reads back; the lap that follows has it in the truth."""
    stage = running(driver={"leaves_wrong": 1})
    stage.say_at(100, "torque", "set_switch", switch="torque_map", position=4)
    stage.run(until=400)
    left = [move for move in stage.truth.switches if move.why == "left_wrong"]
    assert [(move.switch, move.position) for move in left] == [("torque_map", 2)]


def test_a_check_list_sets_every_switch_that_may_be_set() -> None:
    """Before release all of them, also the stationary one; on track that one stays."""
    stage = Stage()
    wanted = {"torque_map": 3, "brake_bias": 56, "start_map": 2}
    stage.say_at(10, "check", "check_switches", positions=wanted)
    stage.release(60)
    stage.say_at(120, "moving", "check_switches", positions={"start_map": 1, "flap": "open", "no_such": 1})
    stage.run(until=200)
    assert {move.switch: move.position for move in stage.truth.switches if move.why == "asked"} == {
        **wanted, "flap": "open"}
    assert stage.truth.calls[-1].outcome == "could not move no_such, start_map"


def test_presets_and_momentary_switches_do_what_they_do() -> None:
    """A preset moves the switches it sets and back; a momentary one springs back."""
    stage = running()
    stage.say_at(100, "push", "set_switch", switch="push", position="on")
    stage.say_at(110, "mark", "set_switch", switch="mark", position="pressed")
    stage.say_at(120, "unpush", "set_switch", switch="push", position="none")
    moves = [(move.switch, move.position, move.why) for move in stage.run(until=200).truth.switches
             if move.why != "start"]
    assert moves == [
        ("push", "on", "asked"), ("torque_map", 4, "preset"), ("mark", "pressed", "asked"),
        ("mark", "released", "springs_back"), ("push", "none", "asked"), ("torque_map", 2, "preset")]


def test_switches_are_knocked_by_accident() -> None:
    """Only on track, and written down as such."""
    stage = running(driver={"knocks_per_hour": 60})
    knocked = [move for move in stage.run().truth.switches if move.why == "knocked"]
    first = stage.pits("exit")[0]
    assert 5 < len(knocked) < 40
    assert all(move.t > first for move in knocked)


def test_a_hold_is_done_after_its_turn_and_costs_time() -> None:
    """Told ahead of the place: done there on this lap, with its length; the lap is slower than without."""
    stage, plain = running(), running()
    stage.on_line(1, lambda now: stage.prompt("hold", "procedure", now, wait=1, procedure="hold", item="i1",
                                              place="turn 4", act_at_s=now + 35, arguments={"seconds": 6}))
    truth = stage.run(until=400).truth
    done = truth.procedures[0]
    phase = stage.world._field_ground.places["after turn 4"]
    assert done.done
    assert done.lap == 2
    assert done.phase == pytest.approx(phase, abs=0.01)
    assert done.until_s - done.t == pytest.approx(6)
    slower = truth.laps[1].time_s - plain.run(until=400).truth.laps[1].time_s
    assert slower == pytest.approx(2 + 0.4 * 6, abs=0.05)


def test_told_past_the_place_it_is_not_done() -> None:
    """The place lies behind the car: nothing happens, and the truth says why."""
    stage = running()
    stage.on_line(1, lambda now: stage.prompt("hold", "procedure", now, wait=60, procedure="hold", item="i1",
                                              place="turn 4", act_at_s=now + 35))
    done = stage.run(until=400).truth.procedures
    assert [(item.done, item.reason) for item in done] == [(False, "the place was already behind the car")]


def test_a_procedure_for_the_next_lap_waits_for_the_line() -> None:
    """``lap start`` with its moment at the line is done as the next lap begins."""
    stage = running()
    stage.on_line(1, lambda now: stage.prompt("flap", "procedure", now, wait=50, procedure="flap_open", item="i2",
                                              place="lap start", act_at_s=now + 95))
    truth = stage.run(until=400).truth
    assert truth.procedures[0].lap == 3
    assert truth.procedures[0].t == pytest.approx(truth.laps[1].end_s, abs=0.1)


def test_a_procedure_early_in_the_lap_waits_for_its_moment() -> None:
    """``lap start`` with a moment 20 s into this lap is done then."""
    stage = running()
    stage.on_line(1, lambda now: stage.prompt("ask", "procedure", now, wait=3, procedure="flap_open", item="i3",
                                              place="lap start", act_at_s=now + 20))
    truth = stage.run(until=400).truth
    assert truth.procedures[0].lap == 2
    assert truth.procedures[0].t - truth.laps[0].end_s == pytest.approx(20, abs=1)


def test_a_pit_stop_is_practised_on_the_way_in() -> None:
    """Told with the box call: 15 s standing in the lane, then the garage."""
    stage, plain = running(), running()
    for each in (stage, plain):
        each.say_at(100, "box", "box")
    stage.say_at(110, "stop", "procedure", procedure="pit_stop", item="i4", place="pit entry", act_at_s=170)
    truth = stage.run(until=400).truth
    assert [(item.procedure, item.done) for item in truth.procedures] == [("pit_stop", True)]
    assert [lap.kind for lap in truth.laps] == ["out_in"]
    ready = [each.world._teams[CAR]._ready_s for each in (stage.run(until=900), plain.run(until=900))]
    assert ready[0] - ready[1] == pytest.approx(15, abs=0.1)


def test_without_a_box_call_the_car_drives_through_the_lane() -> None:
    """A pit-lane item told on a lap that is not the in-lap: in, through, and out again."""
    stage = running()
    stage.say_at(110, "stop", "procedure", procedure="pit_stop", item="i4", place="pit entry", act_at_s=170)
    stage.run(until=600)
    assert len(stage.pits("entry")) == 1
    assert len(stage.pits("exit")) == 2
    assert 15 + 15 < stage.pits("exit")[1] - stage.pits("entry")[0] < 60


def test_an_unknown_procedure_or_action_is_harmless() -> None:
    """The driver has no such card, or nothing to do; nothing is written as done."""
    stage = running()
    stage.say_at(100, "odd", "procedure", procedure="no_such", item="i9", place="turn 4")
    stage.say_at(120, "slow", "slow")
    truth = stage.run(until=200).truth
    assert truth.procedures == ()
    assert [call.outcome for call in truth.calls[2:]] == ["no such procedure on the driver's card", "understood"]


def test_a_pit_board_is_read_at_the_line() -> None:
    """A call shown on the board is taken when the car next passes the line, and never read back."""
    stage = Stage(session=setup(plans={CAR: plan(medium="board")}))
    stage.release(60)
    stage.say_at(110, "torque", "set_switch", switch="torque_map", position=4)
    truth = stage.run(until=400).truth
    moved = next(move for move in truth.switches if move.why == "asked")
    assert moved.t == pytest.approx(truth.laps[0].end_s + 1.0, abs=0.1)
    assert not any(call.read_back for call in truth.calls)


def test_a_driver_told_in_the_garage_comes_straight_back_in() -> None:
    """Out and in on one lap, without another word; the run after it is as any."""
    stage = Stage(session=setup(plans={CAR: plan(medium="board")}))
    stage.say_at(30, "straight in", "box")
    stage.release(60)
    stage.release(600)
    stage.run(until=800)
    assert len(stage.pits("entry")) == 1
    assert stage.pits("entry")[0] < 300


def test_a_call_that_belongs_after_the_line_waits_for_it() -> None:
    """Shown with its moment but still before the line it is kept in mind; it is spoken when its prompt says due. A call
    that does not wait is spoken at its moment though it still stands there as shown."""
    stage = running()
    stage.say_at(100, "cool", "lap_kind", lap_kind="cool", wait=5, window=60, state="shown", after_line=True)
    stage.say_at(102, "time", "none", wait=5, window=60, state="shown")
    stage.say_at(130, "cool", "lap_kind", lap_kind="cool", window=30)
    spoken = {call.call: call.start_s for call in stage.run(until=200).truth.calls}
    assert 107 <= spoken["time"] < 110
    assert 130 < spoken["cool"] < 132
