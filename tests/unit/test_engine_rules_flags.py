"""What flags do to calls: news at once, silence otherwise, and the lap that the flag will end."""

from __future__ import annotations

import pytest

from pitwall.engine.calls import YELLOW
from pitwall.model.events import ChannelReported
from pitwall.model.outputs import PlanState
from tests.unit.engine_stage import CAR, MAIN, SPARE, Stage, plan, regulations, setup

HOLD = {"do": "hold", "on": ["out", "in"], "after": "bridge"}
RUN = MAIN | {"laps": "out, 3 timed, in", "items": [HOLD, {"do": "comment", "on": "in"}]}


def on_track(t: float = 200, **more: object) -> Stage:
    """The car on its out-lap since 200 s."""
    return Stage(setup(plan(RUN, SPARE), **more)).green().leave(t)


@pytest.mark.parametrize(("status", "action", "words"), [
    ("red", "return_to_pits", "Red flag"), ("slow", "slow", "Full-course slow"), ("yellow", "slow", "Yellow"),
    ("finished", "return_to_pits", "Chequered flag"),
])  # fmt: skip
def test_a_change_of_status_is_called_at_once(status: str, action: str, words: str) -> None:
    """Due in the moment it is known, before everything else, for a car on track."""
    stage = on_track()
    stage.status(240, status)
    call = stage.call(f"-{status}")
    assert (call.state, call.due_t, call.spec.kind) == ("due", 240, "session")
    assert (call.spec.ask.action, call.spec.text.startswith(words)) == (action, True)
    assert stage.car.book.due_first() is call


def test_green_again_is_called_and_the_first_green_is_not() -> None:
    """The session that opens is no news on the radio; a track that clears is."""
    stage = on_track()
    assert not stage.has_call("session-")
    stage.status(240, "yellow")
    stage.status(260, "green")
    assert stage.call("-green").spec.text == "Track is green."


def test_a_car_in_its_garage_hears_nothing() -> None:
    """News is for the driver on track; in the garage people see it."""
    stage = Stage(setup(plan(RUN))).green()
    stage.status(50, "red")
    assert not stage.has_call("session-")


def test_each_piece_of_news_is_a_call_of_its_own() -> None:
    """The same flag three times is three calls, whatever else was called between."""
    stage = on_track()
    for t in range(230, 330, 20):
        stage.status(t, "yellow")
        stage.status(t + 10, "green")
    calls = [call for name, call in stage.car.book.calls.items() if "-yellow" in name]
    assert [call.due_t for call in calls] == [230, 250, 270, 290, 310]


def test_yellow_sectors_are_named_and_cleared_by_name() -> None:
    """Only what is new is said: the sector that went yellow, and the one that is clear again."""
    stage = on_track()
    stage.status(230, "yellow", scope=["2"])
    stage.status(240, "yellow", scope=["2", "3"])
    stage.status(250, "green", scope=["2"])
    news = {prompt.call: prompt.short for prompt in stage.prompts("session-", "due")}
    assert [*news.values()] == ["Sector 2 yellow", "Sector 3 yellow", "Sector 2 clear"]


def test_a_slow_period_that_ends_is_announced() -> None:
    """Drivers are told before it ends."""
    stage = on_track()
    stage.status(230, "slow")
    stage.status(260, "slow", ending=True)
    assert stage.call("-ending").spec.text == "Slow period is ending, be ready."


def test_news_that_nobody_confirmed_is_not_missed() -> None:
    """A flag call that lapses unsaid is unconfirmed: nobody presses keys in such a moment."""
    stage = on_track()
    stage.status(230, "yellow")
    stage.wait(300)
    assert stage.call("-yellow").state == "unconfirmed"


@pytest.mark.parametrize(("reports", "ends", "again"), [
    (True, "lapses", True), (False, "lapses", False), (True, "is said", False), (True, "is skipped", False),
])  # fmt: skip
def test_news_that_still_holds_and_nobody_said_is_told_anew(reports: bool, ends: str, again: bool) -> None:
    """Where the radio desk hears that nobody spoke, the track that is green again is told until it is said; not where
    nobody can know, nor what the desk took off the list."""
    stage = on_track()
    if reports:
        stage.handle(ChannelReported(id="talk-1", t=205, car=CAR, talking="nobody"))
    stage.status(230, "slow")
    stage.command("said", 232, call=stage.call("-slow").id)
    stage.status(245, "green")
    first = stage.call("-green").id
    if ends != "lapses":
        stage.command("said" if ends == "is said" else "skip", 247, call=first)
    stage.wait(276)
    made = [call for call in stage.car.book.calls.values() if call.spec.key.endswith("-green")]
    assert [call.id == first for call in made] == [True, *([False] if again else [])]
    if again:
        assert made[-1].open
        assert made[-1].spec.short == made[0].spec.short
        stage.status(277, "yellow")
        stage.wait(310)
        assert not made[-1].open
        assert [call for call in stage.car.book.calls.values() if "-green" in call.spec.key] == made


# -- silence ---------------------------------------------------------------------------------------------------------


def test_red_withdraws_everything_but_session_calls() -> None:
    """Whatever was open goes with the flag as its reason; nothing else is made while it lasts."""
    stage = on_track()
    stage.wait(215)
    assert any(call.open and call.spec.kind == "procedure" for call in stage.car.book.calls.values())
    stage.status(220, "red")
    open_kinds = {call.spec.kind for call in stage.car.book.calls.values() if call.open}
    assert open_kinds == {"session"}
    gone = [call for call in stage.car.book.calls.values() if call.state == "withdrawn"]
    assert gone
    assert {call.reason for call in gone} == {"red flag"}
    stage.wait(300)
    assert {call.spec.kind for call in stage.car.book.calls.values() if call.shown_t and call.shown_t > 220} <= {
        "session"
    }


def test_what_red_broke_off_is_still_in_the_plan() -> None:
    """The run is cut, its items planned, and the plan says so; at green the car is called for the rest of it."""
    stage = on_track()
    stage.status(260, "red")
    stage.pit(330, "entry")
    run = stage.car.progress.runs[0]
    assert (run.state, run.reason) == ("next", "red flag")
    assert [item.state for item in run.items if item.item.do == "comment"] == ["planned"]
    assert stage.call("-red").state == "unconfirmed"
    stage.status(700, "green")
    stage.wait(765)
    assert stage.call("main-2-leave").state == "due"
    assert stage.made(PlanState)[-1].runs[0].state == "next"


def test_a_car_that_came_in_does_not_show_that_the_driver_was_told() -> None:
    """Under red every driver comes in by the lights: only a call that somebody says he made is done by it."""
    for said, state, reason in ((True, "done", "the car came in"),
                                (False, "unconfirmed", "not confirmed; the car came in")):
        stage = on_track()
        stage.status(260, "red")
        if said:
            stage.command("said", 263, call=stage.call("-red").id)
        stage.pit(310, "entry")
        red = stage.call("-red")
        assert (red.state, red.reason, red.ended_t) == (state, reason, 310)
        stage.status(400, "green")
        stage.leave(800)
        stage.pit(900, "entry")
        assert red.ended_t == 310


def test_a_yellow_withdraws_only_procedures_in_its_sector() -> None:
    """The hold after the bridge (sector 2) goes, with the reason; under a yellow elsewhere it stays."""
    for sector, state in (("2", "withdrawn"), ("3", "shown")):
        stage = on_track()
        stage.wait(232)
        hold = stage.call("hold-0-1-0-0")
        assert hold.state == "shown"
        stage.status(233, "yellow", scope=[sector])
        assert hold.state == state
        assert sector != "2" or hold.reason == YELLOW
        assert any(call.open and call.spec.kind == "run" for call in stage.car.book.calls.values())


def test_a_procedure_withdrawn_by_yellow_moves_to_the_next_lap_that_allows_it() -> None:
    """Planned for the cool-down lap, yellow there: the item is tried on the next lap of such a kind."""
    run = MAIN | {"laps": "out, 1 timed, cool, 1 timed, cool, in",
                  "items": [{"do": "hold", "on": {"cool": 1}, "after": "bridge"}]}  # fmt: skip
    stage = Stage(setup(plan(run))).green()
    t = stage.drive(200, 125, 100)
    stage.wait(t + 55)
    item = stage.car.progress.runs[0].items[0]
    assert stage.call("hold-2-1-0-0").state == "shown"
    stage.status(t + 56, "yellow", scope=["2"])
    assert (item.leg, item.attempt) == (4, 1)
    assert item.reason == f"moved to cool-down lap 2: {YELLOW}"


def test_after_the_flag_nothing_but_session_calls_is_said() -> None:
    """The chequered flag ends the talk; closing the session ends the calls."""
    stage = on_track()
    stage.status(3600, "finished")
    stage.status(3700, "closed")
    assert all(call.at_rest for call in stage.car.book.calls.values())
    assert [run.state for run in stage.car.progress.runs] == ["running", "skipped"]
    stage.pit(3720, "entry")
    assert [run.state for run in stage.car.progress.runs] == ["done", "skipped"]


# -- the last lap -----------------------------------------------------------------------------------------------------


def short_session(duration_s: float) -> Stage:
    """A session of this length, and a car that leaves at 100 s."""
    made = setup(plan(MAIN | {"laps": "out, 5 timed, in"}), regulations=regulations(duration_s=duration_s))
    return Stage(made).green()


def test_the_lap_that_the_flag_will_end_is_announced_at_its_start() -> None:
    """Flag at 400 s, the lap from 325 s lasts until 425 s: said early on it; not on the lap before."""
    stage = short_session(400)
    stage.drive(100, 125, 100)
    stage.wait(330)
    call = stage.call("last-lap-3")
    assert (call.spec.kind, call.state, call.due_t) == ("session", "due", 326)
    assert not stage.has_call("last-lap-2")


def test_a_lap_that_turns_into_the_last_one_is_announced_when_that_shows() -> None:
    """The car slows in mid-lap and will now meet the flag: said then, not counted as missed."""
    stage = short_session(430)
    t = stage.drive(100, 125, 100)
    stage.cross(t + 30, "1")
    assert not stage.has_call("last-lap")
    stage.cross(t + 85, "2")
    call = stage.call("last-lap-3")
    assert call.state == "due"
    stage.wait(445)
    assert call.state in ("unconfirmed", "withdrawn"), "never missed"


def test_an_in_lap_is_not_announced_as_the_last() -> None:
    """A car that comes in anyway needs no word about the flag."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, in"}), regulations=regulations(duration_s=400))).green()
    stage.drive(100, 125, 100)
    stage.wait(340)
    assert not stage.has_call("last-lap")


def test_the_flag_falls_by_itself_when_nobody_waves_it() -> None:
    """Without a word from race control the session finishes when time and uncertainty are used up, and closes later."""
    stage = short_session(400)
    found = []
    for t in (402, 405, 405 + 1205):
        stage.wait(t)
        found.append(stage.session.clock.status)
    assert found == ["green", "finished", "closed"]
    stage.wait(405 + 1300)
    assert stage.session.at_rest
    assert stage.session.alerts.active == {}


def test_a_yellow_that_a_mistaken_slow_period_had_replaced_is_told_when_that_is_taken_back() -> None:
    """Nobody had said it yet: the driver must hear of it all the same, for it still stands."""
    stage = on_track()
    stage.status(230, "yellow", scope=("2",))
    stage.command("status", 230.4, status="slow")
    assert [news.status for news in stage.car.news] == ["slow"]
    stage.command("undo", 231)
    stage.wait(231.5)
    assert stage.session.clock.yellow_sectors == ("2",)
    assert [(news.status, news.sectors) for news in stage.car.news] == [("yellow", ("2",))]
    assert "Sector 2" in stage.call("session-3-yellow").spec.text
