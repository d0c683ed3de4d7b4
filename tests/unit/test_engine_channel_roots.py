"""News in a crowd, and what nobody can have heard or answered: the roots of calls that were missed."""

from __future__ import annotations

from typing import Literal

from pitwall.engine.call import Call
from pitwall.engine.situation import StatusNews
from pitwall.engine.switches import ANSWERS_ENTERED
from pitwall.model.events import ChannelReported
from pitwall.model.outputs import Alert, Ask
from tests.unit.channel_stage import FULL, Radio, call
from tests.unit.engine_stage import CAR, MAIN, Stage, car_file, plan, setup
from tests.unit.test_engine_channel_laps import MANY, SWITCHES, heard_circuit, stage
from tests.unit.test_engine_switches import board


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


def test_a_call_was_perhaps_spoken_if_the_engineer_talked_at_any_moment_while_it_was_open() -> None:
    """One transmission that begins before the window and runs through it, and one that begins late while the call is
    still due, may have been the call, and so may one that still goes on as the call ends. A transmission that was over
    before the window was not."""
    stories = {
        "in the window": ((111.0, 114.0), True),
        "from before it": ((107.0, 114.0), True),
        "late": ((116.5, 117.5), True),
        "goes on": ((117.0, 130.0), True),
        "over before": ((103.0, 106.0), False),
        "none": ((), False),
    }
    for name, (times, spoken) in stories.items():
        radio = Radio(keys=5)
        radio.talk(90, "engineer")
        radio.talk(91, "nobody")
        spec = call("hold", ((110.0, 115.0),), from_s=109, by=116.0, kind="switch",
                    ask=Ask(action="set_switch", switch="s0", position="on"))
        radio.go(100, spec)
        left = [*zip(times, ("engineer", "nobody"), strict=False)]
        for step in range(100):
            now = 100 + 0.25 * step
            while left and left[0][0] <= now:
                radio.talk(*left.pop(0))
            radio.go(now)
        assert radio["hold"].state == "unconfirmed", name
        assert radio.channel.never_spoken(radio["hold"]) is not spoken, name


def test_a_setting_over_which_nobody_was_heard_is_in_doubt_before_the_line() -> None:
    """The engineer began to talk before the call's window, nothing was keyed, and nothing measures the switch: it is
    taken to stand where it stood, but nobody knows, so the timed lap after it begins with an alert."""
    made = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": MANY[:1]}), circuit=heard_circuit(),
                       cars={CAR: car_file(switches=SWITCHES, forbidden_on_timed=[])})).green()
    made.leave(200)
    talk = iter(range(100))

    def talks(t: float, who: Literal["engineer", "nobody"]) -> None:
        made.wait(t)
        made.give(ChannelReported(id=f"talk-{next(talk)}", t=t, car=CAR, talking=who))

    talks(201, "engineer")
    talks(202, "nobody")
    made.cross(225, "1")
    talks(227, "engineer")
    talks(229, "nobody")
    made.cross(265, "2")
    made.wait(300)
    made.cross(325, "line")
    assert made.call("main-1-1-switch-s0").state == "unconfirmed"
    assert (made.car.switches.believed["s0"], made.car.switches.in_doubt()) == ("off", ["s0"])
    made.cross(355, "1")
    made.cross(395, "2")
    made.wait(423)
    made.cross(425, "line")
    assert [alert.active for alert in made.made(Alert) if alert.id == "switch-unverified-41-s0"][-1]


def test_a_preset_over_which_nobody_was_heard_leaves_what_it_sets_in_doubt() -> None:
    """It may have been pressed: what it takes along may stand elsewhere. What telemetry shows is not in doubt, nor is
    what was asked to stand where it stood."""
    made, _ = board()
    made.verified |= {"flap", "brake_bias"}
    made.unheard({"flap": made.believed["flap"], "brake_bias": 58})
    assert (made.in_doubt(), made.verified) == (["brake_bias"], {"flap"})
    made.measure("brake_bias", 57, 10)
    made.unheard({"brake_bias": 58})
    assert made.in_doubt() == []
    (preset,) = [known for known in made.car.switches if known.kind == "preset"]
    made.unheard({preset.switch: next(one for one in preset.positions if one != preset.default)})
    assert {preset.switch, *preset.sets} - set(made.measured) == set(made.in_doubt())


def test_an_answer_from_before_the_switch_was_told_elsewhere_says_nothing() -> None:
    """Open, closed, and open again, all without an answer: the answer to the first call is not one to the last; the
    answer to the last, or to one after it, is."""
    for answered_t, sure in ((10, False), (30, True), (40, True)):
        made, _ = board()
        for t, position in ((10, "open"), (20, "closed"), (30, "open"), (40, "open")):
            made.told({"flap": position}, False, t)
        made.told({"flap": "open"}, True, answered_t)
        assert ("flap" in made.verified, made.in_doubt()) == (sure, [] if sure else ["flap"])


def test_only_an_answer_about_a_position_shows_that_answers_are_entered() -> None:
    """A confirmed call to fire up the engine says nothing of how the driver's answers about switches are entered."""
    made, _ = board()
    made.told({}, True, 10)
    assert not made.answers_entered
    made.told({"flap": "closed"}, True, 20)
    assert made.answers_entered


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
