"""Procedures and the traffic behind them: told with the call, advised against when too close, never in silence."""

from __future__ import annotations

import re
from typing import Any

import pytest
from pydantic import ValidationError

from pitwall.engine.gaps import Neighbour
from pitwall.engine.rules.procedure import from_to
from pitwall.engine.talk_times import PUSH_TO_TALK
from pitwall.model.events import ChannelReported
from pitwall.model.outputs import Prompt
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import LOOPS, MAIN, PIT_EXIT, PROCEDURES, Stage, effect, plan, setup

ROOM = Procedure.model_validate(
    {
        "procedure": 1, "name": "room", "purpose": "test", "laps": ["out", "in"], "place": "needed",
        "steps": [{"say": "After {after}: coast.", "short": "{after}: coast", "reaction_s": 3}], "clear_behind_s": 8,
        "caution": "Slow on a straight",
    }
)  # fmt: skip
OUT_S = 125.0


def stage(behind_s: float | None = None, on: Any = "out", room: Procedure = ROOM, laps: Any = MAIN) -> Stage:
    """Our car leaves at 200 with an item at the bridge; car 7 leaves so much later and is as quick."""
    item = {"do": "room", "on": on, "after": "bridge"}
    made = Stage(setup(plan({**laps, "items": [item]}), procedures={**PROCEDURES, "room": room})).green()
    made.leave(200)
    if behind_s is not None:
        made.leave(200 + behind_s, car="7")
    return made


def at_loop(begin: float, loop: str = "1", lap_s: float = OUT_S) -> float:
    """When a car that left at ``begin`` passes the loop on its out-lap."""
    return begin + lap_s * (LOOPS[loop] - PIT_EXIT) / (1 - PIT_EXIT)


def due(made: Stage) -> Stage:
    """Until the call may be made."""
    while made.call("room-0-1-0-0").state in ("planned", "shown"):
        made.wait(made.now + 0.25)
    return made


def first(made: Stage, state: str) -> Prompt:
    """The first prompt of the item in this state."""
    return made.prompts("room-", state)[0]


def both_at_loop(made: Stage, behind_s: float) -> Stage:
    """Both cars pass the first loop."""
    for t, car in sorted([(at_loop(200), "41"), (at_loop(200 + behind_s), "7")]):
        made.cross(t, "1", car)
    return made


def test_a_car_close_behind_is_told_and_the_call_advised_against() -> None:
    """Six seconds behind where eight are needed: the prompt says who, how far, and that it is better left."""
    made = due(both_at_loop(stage(6), 6))
    prompt = made.prompts("room-0")[-1]
    assert prompt.state == "due"
    assert prompt.against == "car 7 is about 6 s behind there, 8 s are needed"
    assert prompt.caution == "Traffic: car 7 is about 6 s behind. Slow on a straight"


def test_unsaid_it_is_held_back_and_tried_on_the_next_lap_that_allows_it() -> None:
    """The prompt is taken back with its reason, and the item stands on the second cool-down lap for the same reason."""
    laps = {**MAIN, "laps": "out, cool, 1 timed, cool, in"}
    made = stage(6, {"cool": 1}, ROOM.model_copy(update={"laps": ("cool",)}), laps)
    for begin, car in ((200, "41"), (206, "7")):
        made.cross(begin + OUT_S, "line", car)
    for t, car in ((325 + 45, "41"), (331 + 45, "7")):
        made.cross(t, "1", car)
    made.wait(402)
    assert first(made, "withdrawn").reason == "held back: car 7 is about 6 s behind there, 8 s are needed"
    (item,) = made.car.progress.runs[0].items
    assert (item.state, item.leg) == ("planned", 3)
    assert item.reason == "moved to cool-down lap 2: held back: car 7 is about 6 s behind there, 8 s are needed"


def test_on_the_only_lap_it_is_not_done_and_the_reason_is_kept() -> None:
    """No other lap allows the item: once its lap is over it was not done, because of that car."""
    made = both_at_loop(stage(6), 6)
    for loop in ("2", "line"):
        made.cross(at_loop(200, loop) if loop != "line" else 200 + OUT_S, loop)
    (item,) = made.car.progress.runs[0].items
    assert (item.state, item.leg) == ("not_done", 0)
    assert "held back: car 7 is about 6 s behind" in (item.reason or "")


def test_held_back_on_the_first_out_lap_it_is_told_on_the_second() -> None:
    """A red flag falls on the first timed lap: the run begins anew, the brief names the item, and on the out-lap with
    nobody behind it is called."""
    made = both_at_loop(stage(6), 6)
    made.cross(at_loop(200, "2"), "2")
    made.cross(200 + OUT_S, "line")
    made.status(340, "red")
    made.home(325, 160)
    made.status(900, "green", pit_exit="open")
    made.wait(990)
    assert made.call("main-2-brief").spec.text.endswith("Items: room.")
    made.leave(1000)
    made.cross(at_loop(1000), "1")
    made.wait(at_loop(1000) + 20)
    again = made.prompts("room-0-2-", "due")
    assert [prompt.against for prompt in again] == [None]
    made.command("said", call=again[0].call)
    (item,) = made.car.progress.runs[0].items
    assert item.state == "called"


def test_whoever_says_it_all_the_same_decides() -> None:
    """The advice is advice: a call that was said counts as said."""
    made = due(both_at_loop(stage(6), 6))
    call = made.call("room-0-1-0-0")
    made.command("said", call=call.id)
    made.wait(at_loop(200, "2"))
    assert call.state == "said"
    assert made.car.progress.runs[0].items[0].state == "called"


def test_a_car_far_behind_is_told_without_advice() -> None:
    """Twenty seconds: who it is stands with the caution, and unsaid the call is unconfirmed as any other."""
    made = due(both_at_loop(stage(20), 20))
    call = made.call("room-0-1-0-0")
    assert made.prompts("room-0")[-1].against is None
    assert (call.spec.caution or "").startswith("Car 7 is about 20 s behind. ")
    made.wait(at_loop(200, "2"))
    assert call.state == "unconfirmed"


def test_a_car_that_is_likely_far_enough_behind_and_may_not_be_is_told_as_such() -> None:
    """Nine seconds, give or take eight, where eight are needed: nothing is advised, and the figure is not made surer
    than it is."""
    spec = both_at_loop(stage(9), 9).call("room-0-1-0-0").spec
    assert spec.against is None
    told = re.match(r"Car 7 is (\d+) to (\d+) s behind, 8 s are needed\. ", spec.caution or "")
    assert told is not None, spec.caution
    assert int(told[1]) < 8 < 9 <= int(told[2])


def test_both_ends_of_a_small_doubt_are_told_apart() -> None:
    """Not '8 to 8 s, 8 s are needed': the near end is rounded down, and the far one up."""
    assert from_to(Neighbour("7", 8.05, 0.3, "out")) == "7 to 9 s"
    assert from_to(Neighbour("7", 0.5, 0.6, "out")) == "0 to 2 s"


def test_with_nobody_there_that_is_told_too() -> None:
    """The engineer need not look for what is not there."""
    made = stage()
    made.cross(at_loop(200), "1")
    assert made.call("room-0-1-0-0").spec.caution == "Nobody within 45 s behind. Slow on a straight"


def test_when_the_car_behind_goes_away_the_advice_is_taken_back() -> None:
    """It comes in at once after the first loop: the prompt is published anew, without the advice."""
    made = both_at_loop(stage(4), 4)
    made.wait(at_loop(204) + 0.5)
    assert made.prompts("room-0")[-1].against is not None
    made.pit(at_loop(204) + 1.0, "entry", car="7")
    made.wait(made.now + 5)
    last = made.prompts("room-0")[-1]
    assert last.state in ("shown", "due")
    assert last.against is None


def test_a_lap_that_is_driven_anyway_is_not_left_for_traffic() -> None:
    """A cool-down lap is announced whoever is behind: the car is told of, and nothing is advised."""
    made = both_at_loop(stage(2, room=ROOM.model_copy(update={"steps": (ROOM.steps[0].model_copy(update={
        "kind": "run"}),)})), 2)  # fmt: skip
    spec = made.call("room-0-1-0-0").spec
    assert ((spec.caution or "")[:33], spec.against) == ("Traffic: car 7 is about 2 s behin", None)


@pytest.mark.parametrize(("where", "offset_s"), [("lap_end", -25.0), ("lap_start", 60.0), ("lap_end", 0.0)])
def test_who_is_behind_is_asked_of_the_place_where_the_driver_acts(where: str, offset_s: float) -> None:
    """Six seconds are six seconds 25 s before the line and 60 s behind the pit exit too: the line, at the moment when
    the driver acts before it, would show a car that is 31 s behind, the pit exit one that is long past it."""
    step = ROOM.steps[0].model_copy(update={"where": where, "offset_s": offset_s, "say": "Brake hard.",
                                            "short": "Brake hard"})  # fmt: skip
    made = due(both_at_loop(stage(6, room=ROOM.model_copy(update={"steps": (step,), "place": "none"})), 6))
    spec = made.call("room-0-1-0-0").spec
    assert spec.against == "car 7 is about 6 s behind there, 8 s are needed"


def test_procedures_that_need_no_room_say_nothing_of_traffic() -> None:
    """Without clear_behind_s the caution is the file's own, as a sentence."""
    made = Stage(setup(plan({**MAIN, "items": [{"do": "hold", "on": "out", "after": "bridge"}]})))
    made.green().leave(200)
    made.leave(204, car="7")
    made.cross(at_loop(200), "1")
    call = made.call("hold-0-1-0-0")
    assert (call.spec.caution, call.spec.against) == ("Slow on a straight", None)


COMPARED = Procedure.model_validate(
    {
        "procedure": 1, "name": "compared", "purpose": "test", "laps": ["timed"],
        "steps": [{"say": "Next lap is the comparison.", "say_begun": "This lap is the comparison.",
                   "short": "Comparison", "where": "lap_start"}],
    }
)  # fmt: skip


def test_on_the_lap_itself_nobody_says_next_lap() -> None:
    """Nothing of it may be said on a timed lap, so before the second one it is said on that: a driver who heard "next
    lap" there would drive it a lap late. On the out-lap it is said before the line."""
    items = [{"do": "compared", "on": {"timed": [1, 2]}}]
    made = Stage(setup(plan({**MAIN, "laps": "out, 3 timed, in", "items": items}),
                       procedures={**PROCEDURES, "compared": COMPARED})).green()
    made.leave(200)
    before = made.call("compared-1-1")
    assert (before.spec.text, before.spec.short) == ("Next lap is the comparison.", "Comparison")
    t = made.lap(made.lap(200, OUT_S, from_exit=True), 100)
    made.wait(t + 2)
    on_it = made.call("compared-2-1")
    assert (on_it.spec.text, on_it.spec.say_from_s >= t) == ("This lap is the comparison.", True)


def test_words_for_a_lap_that_has_begun_belong_to_its_beginning() -> None:
    """A step at a place of the lap has no use for them, and the file says so."""
    step = {"say": "After {after}: coast.", "short": "coast", "say_begun": "This lap: coast."}
    with pytest.raises(ValidationError, match=r"say_begun.*place"):
        Procedure.model_validate({"procedure": 1, "name": "c", "purpose": "t", "laps": ["out"], "steps": [step]})


COOL = Procedure.model_validate(
    {
        "procedure": 1, "name": "cooling", "purpose": "test", "laps": ["cool"], "data_window": "lap",
        "steps": [{"say": "Cool-down lap: no kerbs, no sliding, let the others by.", "short": "Cool down",
                   "kind": "run", "where": "lap_start", "offset_s": 5}],
    }
)  # fmt: skip


def cooling(talks: float | None = None) -> tuple[Stage, str]:
    """The cool-down lap begins at 425 and is being announced when a full-course slow period begins; the call's id.
    ``talks``: since when the radio desk reports the engineer to talk."""
    laps = MAIN | {"laps": "out, 1 timed, cool, 1 timed, in", "items": [{"do": "cooling", "on": "cool"}]}
    made = Stage(setup(plan(laps), procedures={**PROCEDURES, "cooling": COOL})).green()
    made.drive(200, OUT_S, 100)
    made.wait(427)
    call = made.prompts("cooling-", "due")[-1].call
    if talks is not None:
        made.give(ChannelReported(id="talks", t=talks, car="41", talking="engineer"))
    made.status(430, "slow")
    return made, call


def test_a_call_that_a_slow_period_takes_back_says_so() -> None:
    """It was for the whole lap, and every place of it is yellow: not that nobody needs it any more."""
    made, call = cooling()
    assert made.call(call).state == "withdrawn"
    assert made.call(call).reason == "yellow flag at its place"


def test_what_was_being_said_as_a_slow_period_began_was_said() -> None:
    """The engineer's keys come a second later: the item was told, and the lap was not driven without a call for it."""
    made, call = cooling()
    for key, t in (("said", 431), ("confirm", 434)):
        answer = made.command(key, t, call=call)
        assert effect(answer) == f"noted; {call} was withdrawn: yellow flag at its place"
    (item,) = made.car.progress.runs[0].items
    assert item.state == "called"
    made.lap(425, 150)
    assert (item.state, item.reason) == ("probably_done", "said")


@pytest.mark.parametrize(("over_s", "told"), [(431.8, True), (429.4, False), (442.0, False)])
def test_what_the_radio_desk_alone_heard_being_said_as_a_slow_period_began_was_said(over_s: float, told: bool) -> None:
    """No key is pressed; the engineer began in the window of the call, and went on to its end though it was withdrawn.
    A word, or much more than the call takes, says nothing."""
    made, call = cooling(talks=427.1)
    made.give(ChannelReported(id="over", t=over_s, car="41", talking="nobody"))
    made.wait(460)
    assert made.call(call).reason == "yellow flag at its place"
    assert made.call(call).said_by == (PUSH_TO_TALK if told else None)
    (item,) = made.car.progress.runs[0].items
    assert (item.state == "called") is told
    made.lap(425, 150)
    assert (item.state == "probably_done") is told


@pytest.mark.parametrize("keyed", [True, False])
def test_what_was_said_is_not_said_once_more_when_the_track_is_green_again(keyed: bool) -> None:
    """The slow period lasts two seconds: the words are still of use, and are offered anew only where nobody heard them.
    """
    made, call = cooling()
    if keyed:
        made.command("said", 431, call=call)
    made.status(432, "green")
    made.wait(436)
    assert made.has_call(f"{call}~2") is not keyed


def test_who_says_nothing_as_a_slow_period_begins_has_driven_the_lap_without_a_call() -> None:
    """Without a word of anybody the lap went by without a call."""
    made, _ = cooling()
    made.lap(425, 150)
    (item,) = made.car.progress.runs[0].items
    assert (item.state, item.reason) == ("not_done", "its lap was driven without a call for it")
