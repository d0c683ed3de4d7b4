"""The switch card: what a lap wants, what is believed and measured, and what is still owed."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.progress import PlanProgress, RunState
from pitwall.engine.switches import SwitchBoard
from pitwall.model.car import Position
from tests.unit.engine_stage import MAIN, PROCEDURES, SWITCHES, Stage, car_file, plan, setup

ALL = sorted(one["switch"] for one in SWITCHES)


def board(*runs: dict[str, Any], driver: str = "ines", wet: bool = False, **more: Any) -> tuple[SwitchBoard, RunState]:
    """The board of a car whose plan has these runs, and the first run's state."""
    made = plan(*runs, driver=driver, **more)
    return SwitchBoard(car_file(), made, PROCEDURES, wet), PlanProgress(made).runs[0]


def with_items(*items: dict[str, Any], laps: str = "out, 3 timed, in", **more: Any) -> dict[str, Any]:
    """The main run with these laps and items."""
    return MAIN | {"laps": laps, "items": list(items)} | more


FLAP = {"do": "flap_lap", "on": {"timed": 2}}
STEP = {"do": "bias_step", "on": {"timed": 2}, "with": {"switch": "brake_bias", "by": -2.0}}


# -- wanted ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("driver", "wet", "leg", "torque"), [
    ("ines", False, 1, 2), ("ines", False, 2, 1), ("dana", False, 1, 3), ("ines", True, 1, 4), ("dana", True, 1, 3),
])  # fmt: skip
def test_defaults_follow_the_kind_of_lap_the_driver_and_the_weather(
    driver: str, wet: bool, leg: int, torque: int
) -> None:
    """The most particular default applies: leg 1 is timed, leg 2 is a cool-down lap."""
    made, run = board(with_items(laps="out, 1 timed, cool, 1 timed, in"), driver=driver, wet=wet)
    assert made.wanted(run, leg)["torque_map"] == torque


def test_the_run_goes_over_the_defaults_and_items_over_the_run() -> None:
    """The run's own position holds on every lap, save where an item asks for another."""
    item = {"do": "set_one", "on": {"timed": 2}, "with": {"switch": "torque_map", "position": 1}}
    made, run = board(with_items(item, switches={"torque_map": 4}))
    assert [made.wanted(run, leg)["torque_map"] for leg in range(5)] == [4, 4, 1, 4, 4]
    assert made.wanted(None, 0)["torque_map"] == 2


def test_a_run_that_repeats_another_takes_its_switches() -> None:
    """``same_as`` means the same switches, through a chain of runs too; the run's own words win."""
    runs = [
        MAIN | {"run": "last", "same_as": "middle"}, MAIN | {"run": "middle", "same_as": "first"},
        MAIN | {"run": "first", "switches": {"torque_map": 4, "flap": "open"}},
    ]  # fmt: skip
    made, run = board(*runs)
    assert (made.wanted(run, 1)["torque_map"], made.wanted(run, 1)["flap"]) == (4, "open")
    runs[0] = runs[0] | {"switches": {"torque_map": 1}}
    made, run = board(*runs)
    assert (made.wanted(run, 1)["torque_map"], made.wanted(run, 1)["flap"]) == (1, "open")
    made, run = board(MAIN | {"same_as": "main"})
    assert made.wanted(run, 1)["torque_map"] == 2


def test_a_step_is_taken_from_where_the_run_has_the_switch() -> None:
    """``by: -2`` from 57 is 55 on that lap only."""
    made, run = board(with_items(STEP, switches={"brake_bias": 57}))
    assert [made.wanted(run, leg)["brake_bias"] for leg in range(5)] == [57, 57, 55.0, 57, 57]


def test_a_text_position_has_no_steps() -> None:
    """A step asked of a switch with words for positions leaves it where it is, and nothing breaks."""
    item = STEP | {"with": {"switch": "flap", "by": 1}}
    made, run = board(with_items(item))
    assert made.wanted(run, 2)["flap"] == "closed"
    assert "clutch" not in made.wanted(*board(with_items(STEP | {"with": {"switch": "clutch", "by": 1}}))[1:], 2)


@pytest.mark.parametrize("signal", ["drop", "fail"])
def test_an_item_that_will_not_be_done_wants_nothing(signal: str) -> None:
    """Dropped or not done: the lap wants what the run wants."""
    made, run = board(with_items(FLAP))
    run.items[0].signal(signal, 0)
    assert made.wanted(run, 2)["flap"] == "closed"


def test_an_item_read_back_before_its_lap_still_wants_its_switch() -> None:
    """The driver confirms the call, the item counts as done, and the lap it is for has yet to begin."""
    made, run = board(with_items(FLAP))
    run.items[0].signal("confirm", 0)
    assert run.items[0].state == "done"
    assert made.wanted(run, 2)["flap"] == "open"
    assert made.wanted(run, 3)["flap"] == "closed"


def test_a_change_that_is_not_put_back_stays_for_the_run() -> None:
    """``put_back: false``: the laps after it want the new position; not when the item was dropped."""
    made, run = board(with_items(FLAP | {"put_back": False, "why": "stays open"}))
    assert [made.wanted(run, leg)["flap"] for leg in range(5)] == ["closed", "closed", "open", "open", "open"]
    run.items[0].signal("call", 0)
    run.items[0].signal("confirm", 1)
    assert made.wanted(run, 3)["flap"] == "open"
    made, run = board(with_items(FLAP | {"put_back": False, "why": "stays open"}))
    run.items[0].signal("drop", 0)
    assert made.wanted(run, 3)["flap"] == "closed"


def test_arguments_go_over_the_defaults_of_the_procedure() -> None:
    """An item's arguments and its place, under the names that texts use."""
    _, run = board(with_items({"do": "hold", "on": "out", "after": "bridge", "with": {"seconds": 7}},
                              {"do": "hold", "on": "in", "at": "turn 1"}))  # fmt: skip
    first, second = (item_arguments(PROCEDURES["hold"], item) for item in run.items)
    assert first == {"seconds": 7, "place": "bridge", "after": "bridge", "at": "bridge"}
    assert second == {"seconds": 5, "place": "turn 1", "after": "turn 1", "at": "turn 1"}


# -- differences -----------------------------------------------------------------------------------------------------


def test_a_put_back_is_the_difference_between_two_laps() -> None:
    """Into the lap the flap opens, out of it it closes: nothing else is needed to remember a put-back."""
    made, run = board(with_items(FLAP))
    wanted = [made.wanted(run, leg) for leg in range(5)]
    assert [made.changes(wanted[leg], wanted[leg + 1]) for leg in range(4)] == [
        {}, {"flap": "open"}, {"flap": "closed"}, {},
    ]  # fmt: skip


def test_a_step_inside_the_free_range_is_meant_between_laps() -> None:
    """An item that asks for half a per cent gets its call; a driver half a per cent off is left in peace."""
    made, run = board(with_items(STEP | {"with": {"switch": "brake_bias", "by": -0.5}}))
    assert made.changes(made.wanted(run, 1), made.wanted(run, 2)) == {"brake_bias": 54.5}
    made.measure("brake_bias", 55.5, 0)
    assert made.differs({"brake_bias": 55}) == {}
    made.measure("brake_bias", 56.0, 1)
    assert made.differs({"brake_bias": 55}) == {"brake_bias": 55}


def test_nobody_is_told_to_press_a_momentary_or_to_move_a_stationary_switch_on_a_lap() -> None:
    """They differ, and no change on a lap names them; parked, the stationary one is named."""
    made, _ = board()
    before: dict[str, Position] = {"mark": "up", "start_map": 1}
    after: dict[str, Position] = {"mark": "down", "start_map": 2}
    assert made.changes(before, after) == {}
    assert made.changes(before, after, parked=True) == {"start_map": 2}
    assert made.changes({}, {"clutch": 1}) == {}


def test_positions_are_compared_by_meaning() -> None:
    """Telemetry's ``"2"`` and the plan's 2 are one position."""
    made, _ = board()
    made.measure("torque_map", "2", 0)
    made.measure("flap", "CLOSED", 0)
    assert made.differs({"torque_map": 2, "flap": "closed"}) == {}


# -- evidence --------------------------------------------------------------------------------------------------------


def test_the_plan_says_where_the_switches_start() -> None:
    """``starts_with`` over the defaults, before anything is said."""
    made, _ = board(starts_with={"switches": {"flap": "open"}})
    assert made.stands("flap") == "open"
    assert made.stands("torque_map") == 2
    assert made.verified == set()


def test_said_is_believed_and_confirmed_is_verified() -> None:
    """The driver was told: believed. Read back: verified. Told again: believed, no more."""
    made, _ = board()
    made.said("flap", "open", sure=False)
    assert (made.stands("flap"), "flap" in made.verified) == ("open", False)
    made.said("flap", "open", sure=True)
    assert "flap" in made.verified
    made.said("flap", "closed", sure=False)
    assert "flap" not in made.verified


def test_telemetry_is_believed_over_words() -> None:
    """Measured wins, and is verified."""
    made, _ = board()
    made.measure("flap", "closed", 5)
    made.said("flap", "open", sure=False)
    assert made.stands("flap") == "closed"
    assert made.measured_t == {"flap": 5}


def test_a_preset_takes_others_along() -> None:
    """Pressed or told, it moves what it sets, unless telemetry speaks for itself; at its default it moves nothing."""
    made, _ = board()
    made.said("push", "on", sure=True)
    assert made.believed["torque_map"] == 4
    assert "torque_map" not in made.verified
    made, _ = board()
    made.measure("torque_map", 2, 0)
    made.measure("push", "on", 0)
    assert made.stands("torque_map") == 2
    made, _ = board()
    made.measure("push", "none", 0)
    assert made.believed["torque_map"] == 2


def test_what_a_preset_may_have_moved_is_doubted() -> None:
    """Nobody knows whether it was pressed, or it was let go and may have left what it set: until the driver's word."""
    made, _ = board()
    made.said("push", "on", sure=False)
    assert made.in_doubt() == ["push", "torque_map"]
    made.said("push", "on", sure=True)
    made.said("torque_map", 4, sure=True)
    assert made.in_doubt() == []
    made.said("push", "none", sure=True)
    assert made.in_doubt() == ["torque_map"], "its default is 2, it may stand at 4 or 2"
    made.measure("torque_map", 4, 9)
    assert made.in_doubt() == []


def test_a_change_without_an_answer_is_doubted_until_the_position_is_confirmed() -> None:
    """Back where it was by the last call, which nobody answered either: doubted still. What was not to move is not."""
    made, run = board()
    wanted = made.wanted(run, 1)
    made.told({"flap": "open"}, False, 100)
    made.told({"flap": "closed"}, False, 200)
    made.told({"brake_bias": 55}, False, 200)
    assert made.wrong(wanted) == ([], ["flap"])
    made.told({"flap": "closed"}, True, 200)
    assert made.wrong(wanted) == ([], [])


def test_an_older_call_does_not_undo_what_was_told_since() -> None:
    """A late answer to the call that opened it says nothing about the one that closed it."""
    made, _ = board()
    made.told({"flap": "open"}, False, 100)
    made.told({"flap": "closed"}, True, 200)
    made.told({"flap": "open"}, True, 100)
    assert (made.stands("flap"), made.in_doubt()) == ("closed", [])


def test_a_readback_that_telemetry_belies_clears_nothing() -> None:
    """Read back and not done: what is measured off stays wrong, and what is owed stays owed."""
    made, run = board()
    made.measure("torque_map", 4, 50)
    made.owe("torque_map", 2)
    made.told({"torque_map": 2}, True, 60)
    assert made.owed == {"torque_map": 2}
    assert made.wrong(made.wanted(run, 1)) == (["torque_map"], [])


def test_wrong_and_unverified_before_a_timed_lap() -> None:
    """Measured off is wrong; believed off or owed is unverified; others of the car's list are nobody's business."""
    made, run = board()
    wanted = made.wanted(run, 1)
    assert made.wrong(wanted) == ([], [])
    made.measure("torque_map", 3, 0)
    made.said("flap", "open", sure=False)
    made.said("display", "tyres", sure=False)
    made.owe("brake_bias", 55)
    assert made.wrong(wanted) == (["torque_map"], ["brake_bias", "flap"])
    made.measure("torque_map", 2, 1)
    assert made.wrong(wanted) == ([], ["brake_bias", "flap"])


# -- owed, and the release check --------------------------------------------------------------------------------------


def test_a_put_back_stays_owed_until_something_shows_it() -> None:
    """The word of the driver or a measurement of that position ends it; another position or a call alone do not."""
    for name, how in (("said", True), ("told", False), ("measured", True), ("elsewhere", False)):
        made, _ = board()
        made.said("flap", "open", sure=True)
        made.owe("flap", "closed")
        assert made.owed == {"flap": "closed"}
        if name in ("said", "told"):
            made.said("flap", "closed", sure=name == "said")
        else:
            made.measure("flap", "closed" if name == "measured" else "open", 1)
        assert (not made.owed) == how, name


def test_what_is_known_to_be_back_is_not_owed() -> None:
    """Verified in place: nothing to owe. Believed in place, unseen: owed."""
    made, _ = board()
    made.measure("flap", "closed", 0)
    made.owe("flap", "closed")
    assert made.owed == {}
    made.owe("brake_bias", 55)
    assert made.owed == {"brake_bias": 55}


def test_the_first_release_check_reads_everything_and_later_ones_what_differs() -> None:
    """All but momentary switches and presets that are off at first; then differences, stationary ones and what is
    owed."""
    made, run = board()
    wanted = made.wanted(run, 0)
    assert list(made.release_list(wanted)) == [name for name in ALL if name not in ("mark", "push")]
    made.checked_before = True
    assert made.release_list(wanted) == {}
    made.said("flap", "open", sure=True)
    made.said("start_map", 2, sure=True)
    made.owe("brake_bias", 55)
    assert made.release_list(wanted) == {"brake_bias": 55, "flap": "closed", "start_map": 1}


def test_a_preset_that_is_on_or_is_to_be_is_read_out_at_first() -> None:
    """Off and to stay off its button has no position to be read."""
    for start, wanted, read in (("on", "none", True), ("none", "on", True), ("on", "on", True),
                                ("none", "none", False)):  # fmt: skip
        made, run = board(MAIN | {"switches": {"push": wanted}}, starts_with={"switches": {"push": start}})
        assert ("push" in made.release_list(made.wanted(run, 0))) == read, (start, wanted)


def test_what_was_read_stays_on_the_list_that_is_being_read() -> None:
    """So its groups stay; on another list, and after the car has left, it is not."""
    made, run = board(MAIN | {"switches": {"flap": "open"}})
    wanted = made.wanted(run, 0)
    made.left()
    assert list(made.release_list(wanted, check="main-2-check")) == ["flap"]
    made.told({"flap": "open"}, True, 500, "main-2-check")
    assert list(made.release_list(wanted, check="main-2-check")) == ["flap"]
    assert list(made.release_list(wanted, check="main-2-check-anew-1")) == []
    made.left()
    assert list(made.release_list(wanted, check="main-2-check")) == []


def test_what_was_read_twice_to_no_answer_is_doubted() -> None:
    """Nothing was to move, and yet the driver may have heard anything; once is no more than a driver of few words."""
    made, _ = board()
    for told_t, doubted in ((-40.0, []), (-40.0, []), (-15.0, ["brake_bias"])):
        made.told({"brake_bias": 55}, False, told_t, "main-1-check")
        assert made.in_doubt() == doubted
    made.told({"brake_bias": 55}, True, -15, "main-1-check")
    made.told({"brake_bias": 55}, False, 900, "more-1-check")
    assert made.in_doubt() == []


@pytest.mark.parametrize("answers", [True, False])
def test_what_two_lists_read_to_no_answer_is_doubted(answers: bool) -> None:
    """Read before the first leaving and before the second, each time to silence: nobody ever said where it stands.
    Where no answers are entered silence says nothing."""
    made, _ = board()
    made.told({"flap": "closed"}, answers, -60, "main-1-check")
    made.told({"brake_bias": 55}, False, -40, "main-1-check")
    made.left()
    made.told({"brake_bias": 55}, False, 600, "more-1-check")
    assert made.in_doubt() == (["brake_bias"] if answers else [])
    made.left()
    made.told({"brake_bias": 55}, True, 900)
    assert made.in_doubt() == []


@pytest.mark.parametrize("answers", [True, False])
def test_a_car_that_leaves_with_a_group_unanswered_has_it_in_doubt(answers: bool) -> None:
    """Answers are entered here, and the last group had none before the car left: there was no time to read it again,
    and nobody knows what the driver heard. What telemetry shows needs no answer."""
    made, _ = board()
    made.told({"flap": "closed"}, answers, -60, "main-1-check")
    made.told({"brake_bias": 55, "torque_map": 2}, False, -40, "main-1-check")
    made.measure("torque_map", 2, -30)
    made.left()
    assert made.in_doubt() == (["brake_bias"] if answers else [])


@pytest.mark.parametrize("known", ["said", "measured"])
def test_what_was_said_or_measured_since_is_unsaid_no_more(known: str) -> None:
    """A call ended and nobody said that it was made; then a hand or a preset, or telemetry, tells where it stands."""
    made, _ = board()
    made.told({"flap": "open"}, False, None)
    assert made.unsaid == {"flap"}
    if known == "said":
        made.said("flap", "closed", False)
    else:
        made.measure("flap", "open", 50.0)
    assert made.unsaid == set()


def test_the_card_shows_all_of_it() -> None:
    """One line a switch in the car file's order: wanted, believed, measured, verified, owed."""
    made, run = board(with_items(FLAP))
    made.measure("torque_map", 3, 0)
    made.owe("flap", "closed")
    cards = {card.switch: card for card in made.cards(made.wanted(run, 2))}
    assert list(cards) == [one["switch"] for one in SWITCHES]
    assert (cards["torque_map"].wanted, cards["torque_map"].measured, cards["torque_map"].verified) == (2, 3, True)
    assert (cards["flap"].wanted, cards["flap"].believed, cards["flap"].owed) == ("open", "closed", True)
    assert cards["flap"].measured is None


@pytest.mark.parametrize(("switch", "position", "reason"), [
    ("clutch", 1, "has no switch 'clutch'"), ("brake_bias", "fast", "cannot stand at 'fast', only at 50 to 60"),
    ("brake_bias", "nan", "cannot stand at"), ("flap", 7, "only at closed, open"), ("torque_map", True, "cannot stand"),
])  # fmt: skip
def test_telemetry_that_makes_no_sense_is_refused(switch: str, position: Any, reason: str) -> None:
    """An unknown switch or position is refused in words, and the card stays as it was."""
    stage = Stage(setup())
    before = dict(stage.car.switches.believed)
    outputs = stage.switch(-100, switch, position)
    assert reason in next(one.reason for one in outputs if one.type == "refused")
    assert (stage.car.switches.believed, stage.car.switches.measured) == (before, {})


def test_what_was_answered_is_not_in_doubt_because_others_of_its_group_are_read_again() -> None:
    """The group was answered; a switch of it stood wrong, so all of it is read once more. Without another answer the
    first one still stands. A group that had none is in doubt when the second time brings none either."""
    for answered in (True, False):
        made, _ = board()
        made.told({"flap": "closed"}, answered, 10, "main-1-check")
        made.told({"flap": "closed"}, False, 60, "main-1-check")
        assert (made.in_doubt(), "flap" in made.verified) == ([] if answered else ["flap"], answered)


def test_a_late_answer_to_the_first_time_counts_when_nothing_else_was_told_since() -> None:
    """Read twice, and the answer is entered for the first of the two calls: the driver has answered all the same. Told
    to go elsewhere meanwhile, an answer about before says nothing."""
    made, _ = board()
    made.told({"flap": "closed"}, False, 10, "main-1-check")
    made.told({"flap": "closed"}, False, 60, "main-1-check")
    made.told({"flap": "closed"}, True, 10, "main-1-check")
    assert (made.in_doubt(), "flap" in made.verified) == ([], True)
    made.told({"flap": "open"}, False, 70)
    made.told({"flap": "closed"}, True, 60)
    assert (made.in_doubt(), made.stands("flap")) == (["flap"], "open")


def test_what_is_in_doubt_is_read_out_before_the_next_release() -> None:
    """Nobody knows where it stands though it is believed in place: the driver is asked while the car stands."""
    made, _ = board()
    made.left()
    made.told({"flap": "open"}, False, 100)
    made.told({"flap": "closed"}, False, 200)
    wanted = made.defaults(None, "ines", False)
    assert made.release_list(wanted) == {"flap": "closed"}
    made.told({"flap": "closed"}, True, 300, "main-2-check")
    made.left()
    assert made.release_list(wanted) == {}


def test_what_was_read_out_and_never_answered_is_read_again_before_the_next_leaving() -> None:
    """By an engineer who enters answers. Nobody knows what the driver heard; an answer, or telemetry, settles it."""
    for shows in ("answer", "telemetry"):
        made, run = board()
        wanted = made.wanted(run, 0)
        made.told({"brake_bias": 55}, True, -60, "main-1-check")
        made.told({"flap": "closed", "start_map": 1}, False, -40, "main-1-check")
        made.left()
        assert list(made.release_list(wanted, check="main-2-check")) == ["flap", "start_map"]
        if shows == "answer":
            made.told({"flap": "closed", "start_map": 1}, True, 500, "main-2-check")
        else:
            made.measure("flap", "closed", 500)
            made.measure("start_map", 1, 500)
        made.left()
        assert list(made.release_list(wanted, check="main-3-check")) == []


def test_without_answers_entered_nothing_is_read_again_for_the_lack_of_one() -> None:
    """An engineer who presses no keys would have the whole list read before every run."""
    made, run = board()
    made.told({"flap": "closed"}, False, -40, "main-1-check")
    made.left()
    assert list(made.release_list(made.wanted(run, 0), check="main-2-check")) == []


def test_what_was_answered_once_is_not_read_again_for_an_older_silence() -> None:
    """Told and answered on a lap since; told once more without an answer, it is no longer the check's silence."""
    made, run = board()
    made.told({"brake_bias": 55}, True, -60, "main-1-check")
    made.told({"flap": "closed"}, False, -40, "main-1-check")
    made.left()
    made.told({"flap": "closed"}, True, 300)
    made.told({"flap": "closed"}, False, 400)
    assert list(made.release_list(made.wanted(run, 0), check="main-2-check")) == []
