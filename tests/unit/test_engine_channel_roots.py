"""News in a crowd, and what nobody can have heard or answered: the roots of calls that were missed."""

from __future__ import annotations

from pitwall.engine.call import Call
from pitwall.engine.situation import StatusNews
from pitwall.engine.switches import ANSWERS_ENTERED
from pitwall.model.outputs import Ask
from tests.unit.channel_stage import FULL, Radio, call
from tests.unit.engine_stage import MAIN, Stage, plan, setup
from tests.unit.test_engine_channel_laps import MANY, stage


def test_no_two_changes_are_worth_a_piece_of_news() -> None:
    """There is room for the news or for the two changes before it is over, and news is said."""
    changes = [call(f"change {number}", ((110.0, 115.0),), kind="switch", by=116) for number in range(2)]
    news = call("news", ((110.0, 115.0),), by=116, kind="session", short=FULL)
    placed = Radio().place(100, news, *changes)
    assert placed["news"].way == "full"
    assert placed["news"].say_from_s < 111


def test_a_call_over_which_nobody_spoke_was_not_made() -> None:
    """The radio desk reports, and no engineer was heard while the put-back was open: the switch is taken to stand where
    it stood, and is asked for again before the next timed lap. Where somebody spoke, it may have been said."""
    for spoken, stands in ((False, "on"), (True, "off")):
        made = stage(MANY[:1])
        made.car.switches.believed["s0"] = "on"
        made.car.channel.talk.known = True
        wanted = call("main-1-2-switch-s0", kind="switch", ask=Ask(action="set_switch", switch="s0", position="off"))
        missed = Call("call", made.car.car, wanted, state="unconfirmed")
        if spoken:
            made.car.channel.spoken.add("call")
        made.car.follow_calls([missed], 400.0)
        assert made.car.switches.believed["s0"] == stands


def test_what_was_told_without_an_answer_is_told_again_before_a_timed_lap() -> None:
    """In the garage the switch was read out and the driver said nothing; nothing measures it. Where answers are
    entered as a rule, it is asked for once more on the out-lap, so that somebody knows before the timed lap."""
    for answers, told in ((0, False), (ANSWERS_ENTERED, True)):
        made = stage([])
        made.home(made.drive(325, 100, 100, 100))
        made.car.switches.confirms = answers
        made.car.switches.doubted.add("s0")
        made.drive(900, 125)
        assert made.has_call("switch-s0") is told


def test_word_for_the_whole_track_takes_the_place_of_what_was_said_of_a_sector() -> None:
    """A sector that is clear again is no news beside the chequered flag, and its yellow none beside a full green; a
    yellow that still stands is told beside the flag."""
    for sector, whole, left in (("green", "finished", ["finished"]), ("yellow", "green", ["green"]),
                                ("yellow", "finished", ["yellow", "finished"])):
        made = Stage(setup(plan(MAIN | {"laps": "out, 2 timed, in"}))).green()
        made.drive(200, 125)
        made.car.news = [StatusNews(1, 330.0, sector, ("5",))]
        made.status(330.5, whole if whole != "green" else "slow")
        if whole == "green":
            made.car.news = [StatusNews(9, 331.0, sector, ("5",)), *made.car.news]
            made.status(331.5, "green")
        told = [news.status for news in made.car.news]
        assert [status.replace("flag_out", "finished") for status in told] == left
