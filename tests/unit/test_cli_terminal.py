"""The terminal view: what it keeps, what it says in words, what it draws at 80 by 24."""

from __future__ import annotations

import asyncio
import io
import json
from typing import Any, cast

import pytest
from rich.console import Console

from pitwall.app.clients import Onlooker
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.cli.terminal.board import ENDED_SHOWN_FOR_S, Board
from pitwall.cli.terminal.desk import Desk
from pitwall.cli.terminal.detail import HELP
from pitwall.cli.terminal.keys import split_keys
from pitwall.cli.terminal.lines import LineLog
from pitwall.cli.terminal.live import LinePrinter, Picture, SessionTime
from pitwall.cli.terminal.paint import paint
from pitwall.cli.terminal.words import alert_line, by_words, clock_line, lap_text, state_word, time_left
from pitwall.model.outputs import (
    Alert,
    Answered,
    CallPart,
    CarOutlook,
    ClockState,
    Corrected,
    DeskState,
    ForecastState,
    Health,
    OpenQuestion,
    Prompt,
    Refused,
    RunOutlook,
)


def _prompt(call: str = "41-box-1", **more: Any) -> Prompt:
    values: dict[str, Any] = {
        "revision": 1, "t": 100.0, "car": "41", "kind": "box", "text": "Box, box, come in this lap", "short": "Box",
        "say_from_s": 110.0, "say_by_s": 125.0, "act_at_s": 130.0, "spoken_s": 2.0, "priority": 80, "state": "shown",
    } | more
    return Prompt(id=f"{call}-{values['revision']}", call=call, **values)


def _clock(**more: Any) -> ClockState:
    values: dict[str, Any] = {
        "id": "clock-1", "t": 100.0, "remaining_s": 3500.0, "running": True, "rate": 1.0, "status": "green",
        "pit_exit": "open",
    } | more
    return ClockState(**values)


def _alert(**more: Any) -> Alert:
    values: dict[str, Any] = {
        "id": "overrun-41", "t": 100.0, "car": "41", "kind": "overrun", "priority": "high", "active": True,
        "text": "starts may not fit", "help": "drop compare", "since_s": 90.0,
    } | more
    return Alert(**values)


def _desk(**more: Any) -> DeskState:
    values: dict[str, Any] = {
        "id": "desk-1", "t": 100.0, "car": "41", "state": "timed", "run": "baseline", "lap_number": 7,
        "lap_kind": "timed", "lap_of_run": "3/5", "prompts": (), "switches": (), "arrivals": (),
        "flag_margin_s": -12.0, "last_lap_s": 89.345, "best_lap_s": 88.0,
    } | more
    return DeskState(**values)


def _forecast(chance: float, t: float = 100.0, lost: tuple[str, ...] = (), left: tuple[str, ...] = ()) -> ForecastState:
    runs = tuple(RunOutlook(run=run, want="must", chance=chance, end_q10_s=1, end_q50_s=2, end_q90_s=3) for run in left)
    return ForecastState(
        id=f"forecast-{t}", t=t, car="41", plan_revision=1,
        musts_lost=lost, outlook=CarOutlook(car="41", musts_chance=chance, runs=runs, spare_q50_s=60.0),
    )


def _drawn(board: Board, car: str | None = "41", width: int = 80, height: int = 24, silent_s: float = 0.0,
           chosen: int = 0, helping: bool = False) -> str:
    out = io.StringIO()
    console = Console(file=out, width=width, height=height, color_system=None)
    console.print(paint(board, 100.0, car, chosen, (width, height), silent_s, helping=helping))
    return out.getvalue()


def test_of_a_car_that_is_kept_quiet_the_list_tells_what_comes_all_the_same() -> None:
    """The garage's calls and the box call; not what is muted on the track."""
    board = Board()
    calls = (_prompt("leave", kind="release", place="garage", state="planned"), _prompt("box", state="planned"),
             _prompt("coast", kind="procedure", place="turn 4", state="planned"))
    for quiet, expected in ((True, ["box", "leave"]), (False, ["box", "coast", "leave"])):
        board.take(_desk(prompts=calls, quiet=quiet))
        assert sorted(prompt.call for prompt in board.to_come("41", 100.0)) == expected


def test_an_answer_names_calls_to_come_by_their_words() -> None:
    """Also those of which nothing was printed yet."""
    log = LineLog()
    assert log.lines(_desk(prompts=(_prompt("41-main-1-6-switch", state="planned", short="deploy harvest"),))) == ()
    refused = Refused(id="r", t=100.0, because="ann-1", car="41",
                      reason="no call 'x' for car 41 (there are: 41-main-1-6-switch)")
    assert log.lines(refused) == ("    1:40  refused: no call 'x' for car 41 (there are: 'deploy harvest')",)


def test_a_line_of_the_forecast_has_what_it_said_before() -> None:
    """Who shortened a run a second ago sees what that did to the musts."""
    log = LineLog()
    assert log.lines(_forecast(0.8, left=("maps",)))[0].endswith("chance that every must-run fits: 80%")
    assert log.lines(_forecast(0.82, left=("maps",))) == ()
    assert log.lines(_forecast(0.0, left=("maps",)))[0].endswith("chance that every must-run fits: 0%, 80% before")
    assert log.lines(_forecast(0.0, lost=("maps",), left=("last",)))[0].endswith("every other one fits: 0%")


def test_a_long_name_of_a_run_never_hides_the_lap() -> None:
    """At 80 columns the name gives way, and all of it stands where the terminal is wider."""
    board = Board()
    board.take(_desk(run="performance-on-low-fuel", lap_of_run="cool-down lap 1"))
    assert "> car 41  timed    perfor~ cool-down lap 1" in _drawn(board)
    assert "performance-on-low-fuel cool-down lap 1 " in _drawn(board, width=120, height=30)
    assert all(len(line) <= 80 for line in _drawn(board).splitlines())


def test_alerts_stand_whole_where_nobody_else_wants_the_lines() -> None:
    """A long one goes on in the next line; with many calls to say each has its one line again, and none is lost."""
    board = Board()
    text = "diff entry: nothing shows that it is at 40; engine braking: nothing shows that it is at 3"
    board.take(_desk())
    board.take(_alert(text=text))
    shown = " ".join(_drawn(board).split())
    assert text in shown
    assert len(_drawn(board).splitlines()) == 24
    for number in range(14):
        board.take(_prompt(f"call-{number}", short=f"words {number}", text=f"words {number}"))
    crowded = _drawn(board)
    assert text not in " ".join(crowded.split())
    assert "! HIGH   car 41: diff entry" in crowded
    assert len(crowded.splitlines()) == 24


def test_the_keys_stand_whole_and_how_to_leave_where_there_is_room() -> None:
    """At 80 columns the key for help is the last word; wider, the key to leave comes after it."""
    board = Board()
    assert _drawn(board).splitlines()[-1].rstrip().endswith("a alert  ? help")
    assert _drawn(board, width=100).splitlines()[-1].rstrip().endswith("? help  q leave")
    assert any("q " in line and "leave" in line for line in HELP)


def test_board_keeps_the_newest_revision() -> None:
    """An older revision that arrives late does not bring a prompt back."""
    board = Board()
    board.take(_prompt(revision=3, state="said"))
    board.take(_prompt(revision=2, state="due"))
    (prompt,) = board.prompts("41", 100.0)
    assert (prompt.revision, prompt.state) == (3, "said")


def test_board_orders_by_the_moment_to_say() -> None:
    """What must be said first stands first; what was said stands below; what ended stays for a while and goes."""
    board = Board()
    board.take(_prompt("a", say_by_s=200.0))
    board.take(_prompt("b", say_by_s=150.0))
    board.take(_prompt("c", say_by_s=120.0, state="said"))
    board.take(_prompt("d", say_by_s=110.0, state="missed"))
    board.take(_prompt("e", state="planned"))
    assert [prompt.call for prompt in board.prompts("41", 100.0)] == ["b", "a", "c", "d"]
    assert [prompt.call for prompt in board.prompts("41", 101.0 + ENDED_SHOWN_FOR_S)] == ["b", "a", "c"]


def test_board_takes_prompts_from_the_desk_state() -> None:
    """A viewer that comes late finds the prompts in the retained desk state."""
    board = Board()
    board.take(_desk(prompts=(_prompt(),)))
    assert board.cars() == ("41",)
    assert [prompt.call for prompt in board.prompts("41", 100.0)] == ["41-box-1"]


@pytest.mark.parametrize("end", ["cleared", "inactive"])
def test_alert_goes_when_it_is_over(end: str) -> None:
    """An alert disappears when its retained message is cleared, or when it says that it is over."""
    board = Board()
    board.take(_alert())
    assert list(board.alerts) == ["overrun-41"]
    if end == "cleared":
        board.clear_alert("overrun-41")
    else:
        board.take(_alert(active=False))
    assert board.alerts == {}


def test_time_left_is_in_words() -> None:
    """Before its window a call says when; within it, how long; once said, when the driver acts."""
    assert time_left(_prompt(), 100.0) == "in 0:10"
    assert time_left(_prompt(state="due"), 112.0) == "0:13 left"
    assert time_left(_prompt(state="due"), 125.5) == "0:00 left"
    assert time_left(_prompt(state="due"), 132.0) == "0:04 too late"
    assert time_left(_prompt(state="due", act_at_s=160.0), 132.0) == "of use 0:26"
    assert time_left(_prompt(act_at_s=None), 432.0) == "5:07 too late"
    assert time_left(_prompt(state="said"), 120.0) == "act in 0:10"
    assert time_left(_prompt(state="missed"), 120.0) == ""


def test_a_call_past_its_moment_is_overdue_and_what_is_on_a_board_is_shown() -> None:
    """It is not coming and not to be said by then; a pit board is shown, nobody says it."""
    assert (state_word(_prompt(), 112.0), state_word(_prompt(state="due"), 112.0)) == ("coming", "SAY NOW")
    assert (state_word(_prompt(), 132.0), state_word(_prompt(state="due"), 132.0)) == ("overdue", "overdue")
    assert state_word(_prompt(state="said"), 132.0) == "said"
    assert [state_word(_prompt(state=state, medium="board"), 112.0) for state in ("shown", "due", "said")] == [
        "coming", "SHOW NOW", "shown"]


@pytest.mark.parametrize(("told_t", "act_at_s", "words"), [
    (112.0, 130.0, "by 2:05"),
    (124.5, 130.0, "at once, its moment ends at 2:05; of use until 2:08"),
    (124.5, None, "at once, its moment ends at 2:05"),
    (125.5, 125.0, "at once, its moment ends at 2:05"),
    (127.0, 140.0, "2 s late, it was due by 2:05; of use until 2:18"),
    (132.0, 130.0, "7 s late, it was due by 2:05: skip it, or say that it comes late"),
    (325.0, None, "3:20 late, it was due by 2:05: skip it, or say that it comes late"),
])  # fmt: skip
def test_a_call_that_comes_due_says_what_is_still_possible(told_t: float, act_at_s: float | None, words: str) -> None:
    """Until when it may be said; where that is now or past, until when it is of use, else how late it is."""
    due = _prompt(state="due", t=told_t, say_by_s=125.0, act_at_s=act_at_s, spoken_s=1.5)
    assert by_words(due) == words
    assert LineLog().lines(due)[0].endswith(f"  {words}")


def test_clock_line_says_everything_in_words() -> None:
    """Status, time left, a stopped clock, yellow sectors and a closed pit exit are words, not colours."""
    assert clock_line(None, 0.0) == "no clock yet"
    assert clock_line(_clock(), 110.0) == "GREEN  58:10 left"
    assert clock_line(_clock(window="morning"), 110.0) == "GREEN  morning  58:10 left"
    stopped = _clock(status="red", running=False, pit_exit="closed", yellow_sectors=("3",))
    assert clock_line(stopped, 110.0) == "RED  58:20 left  clock stopped  yellow in 3  pit exit closed"
    assert clock_line(_clock(remaining_s=5.0, status="finished"), 190.0) == "CHEQUERED  0:00 left"
    waits = _clock(t=-30.0, status="waiting", running=False, remaining_s=3600.0)
    assert clock_line(waits, -26.0) == "WAITING  green due in 0:26  1:00:00 left  clock stopped"
    assert clock_line(waits, 4.0) == "WAITING  1:00:00 left  clock stopped", "it is late: nobody knows when"


def test_lap_and_alert_texts() -> None:
    """A lap time has three decimals and carries its rounding; an alert names priority, car and who took note."""
    assert [lap_text(value) for value in (None, 89.345, 59.9996, 3723.0)] == ["-", "1:29.345", "1:00.000", "62:03.000"]
    assert alert_line(_alert()) == "HIGH   car 41: starts may not fit"
    assert alert_line(_alert(text="Car 41: late")) == "HIGH   Car 41: late", "no car is named twice"
    assert alert_line(_alert(acknowledged=True, car=None)) == "HIGH   starts may not fit (acknowledged)"


def test_line_log_says_each_thing_once() -> None:
    """The same prompt, alert, status or forecast again adds no line."""
    log = LineLog()
    for message in (_prompt(state="due"), _alert(), _clock(), _forecast(0.91)):
        assert len(log.lines(message)) == 1
        assert log.lines(message) == ()
    assert log.lines(_forecast(0.92)) == (), "a percent is no news"
    assert len(log.lines(_forecast(0.4))) == 1
    assert log.lines(_forecast(0.4, lost=("compare",), left=("long",)))[-1].endswith(
        "must-run lost: compare; chance that every other one fits: 40%")
    assert log.lines(_forecast(1.0, lost=("compare",)))[-1].endswith("must-run lost: compare")


def test_line_log_of_a_prompt() -> None:
    """A due prompt shows its text and by when; a missed one shows the short text and why."""
    log = LineLog()
    (due,) = log.lines(_prompt(revision=2, state="due", caution="look behind"))
    words = " ".join(due.split())
    assert words == "1:40 car 41 SAY NOW box Box, box, come in this lap by 2:05 caution: look behind"
    (missed,) = log.lines(_prompt(revision=3, state="missed", reason="past the pit entry"))
    assert " ".join(missed.split()) == "1:40 car 41 missed box Box (past the pit entry)"
    assert log.lines(_prompt(revision=4, state="done")) == ()


def test_line_log_tells_the_end_of_an_alert_and_a_second_start() -> None:
    """Over, and raised again: three lines."""
    log = LineLog()
    assert len(log.lines(_alert())) == 1
    (over,) = log.lines(_alert(active=False))
    assert "over" in over
    log.alert_over("overrun-41")
    assert len(log.lines(_alert())) == 1


def test_line_log_of_answers_refusals_and_health() -> None:
    """What the desk is told and the daemon's own state are lines too."""
    log = LineLog()
    assert "no such call" in log.lines(Refused(id="r", t=1.0, because="c", reason="no such call"))[0]
    assert "car 41" in log.lines(Answered(id="a", t=1.0, because="c", car="41", effect="quiet until pressed again"))[0]
    log.lines(_prompt(state="due"))
    assert log.lines(Answered(id="b", t=1.0, because="c", car="41", effect="41-box-1 said")) == ()
    online = Health(id="h", t=1.0, state="online", version="1.2")
    assert "online" in log.lines(online)[0]
    assert log.lines(online) == ()
    assert "offline" in log.lines(Health(id="h2", t=2.0, state="offline", version="1.2"))[0]


def test_picture_fits_80_by_24_and_names_every_state() -> None:
    """A full board stays within 80 by 24, and everything that colour says stands there in words."""
    board = Board()
    for number in range(30):
        board.take(_prompt(f"call-{number}", say_by_s=130.0 + number, state="due" if number == 0 else "shown",
                           text="Constant speed hold after turn four, fifth gear, count five, then go on"))
    for number in range(9):
        board.take(_alert(id=f"a{number}"))
    board.take(_clock())
    board.take(_desk())
    board.take(_desk(car="58", state="garage", id="desk-2"))
    board.take(_forecast(1.0, lost=("compare",)))
    assert " lost" in _drawn(board)
    board.take(_forecast(0.42, t=101.0))
    board.take(Health(id="h", t=100.0, state="online", version="1"))
    for number in range(5):
        board.take(Answered(id=f"n{number}", t=1.0, because="c", car="41", effect=f"noted {number}"))
    lines = _drawn(board).splitlines()
    assert len(lines) <= 24
    assert max(len(line) for line in lines) <= 80
    text = "\n".join(lines)
    words = ("GREEN", "58:20 left", "online", "> car 41", "car 58", "SAY NOW", "coming", "HIGH", "and 5 more", "s said")
    for word in words:
        assert word in text, word


CAUTION = ("Look at the traffic behind before the hold begins, follow the instructions of the circuit, keep off the "
           "racing line, and leave it out when in doubt or when a faster car comes up within five seconds.")


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40)])
def test_chosen_call_stands_in_full_below_the_list(width: int, height: int) -> None:
    """Text, caution and reason of the chosen call are whole, also beside full lists, alerts and a failing store."""
    board = Board()
    text = "Constant speed hold after turn four, fifth gear, count five, then go on and come in at the end of the lap"
    for number in range(30):
        board.take(_prompt(f"call-{number}", say_by_s=130.0 + number))
    board.take(_prompt("chosen", say_by_s=132.5, text=text, short="Hold", caution=CAUTION, reason="once more"))
    for number in range(9):
        board.take(_alert(id=f"a{number}"))
    board.take(_failing(37.2))
    board.take(_desk())
    board.take(_desk(car="58", id="desk-2"))
    for number in range(5):
        board.take(Answered(id=f"n{number}", t=1.0, because="c", car="41", effect=f"noted {number}"))
    lines = _drawn(board, width=width, height=height, chosen=3).splitlines()
    assert len(lines) <= height
    assert max(len(line) for line in lines) <= width
    shown = " ".join(" ".join(lines).split())
    assert f"say {text} caution {CAUTION} why once more" in shown
    assert any(line.startswith("> BOX       Hold") for line in lines), "the chosen one is in sight, with its mark"


def test_cars_have_titles_and_words_for_what_is_in_hand() -> None:
    """Each column has a title; time in hand at the line is a time, and a lap that cannot be started is too late."""
    board = Board()
    board.take(_desk(flag_margin_s=2527.0))
    board.take(_desk(car="58", id="desk-2", flag_margin_s=-12.0))
    board.take(_desk(car="77", id="desk-3", flag_margin_s=None))
    lines = _drawn(board).splitlines()
    at = next(at for at, line in enumerate(lines) if "in hand at line" in line)
    assert " ".join(lines[at].split()) == "car now run and lap last lap in hand at line musts fit"
    assert lines[at + 1].split()[-2:] == ["42:07", "-"]
    assert "0:12 too late" in lines[at + 2]
    assert lines[at + 3].split()[-2:] == ["-", "-"]
    assert lines[at + 1].index("42:07") + 5 == lines[at].index("in hand at line") + 15, "under its title"
    assert "best lap" in _drawn(board, width=120)


def test_help_takes_the_place_of_the_calls() -> None:
    """The help explains keys and columns within 80 by 24, and clock and cars stay."""
    board = Board()
    board.take(_desk())
    board.take(_clock())
    text = _drawn(board, helping=True)
    assert len(text.splitlines()) <= 24
    for words in ("GREEN", "> car 41", "any key closes this", "time left to start one more timed lap", "q  leave"):
        assert words in text


def test_messages_use_the_words_of_the_call() -> None:
    """Answers and refusals name a call as the engineer knows it, in the picture and in the lines."""
    board, log = Board(), LineLog()
    refused = Refused(id="r", t=1.0, because="c", reason="41-box-1 is missed: it cannot be said any more")
    answered = Answered(id="a", t=1.0, because="c", car="41", effect="dropped; 41-box-1 and 41-box-12 are withdrawn")
    for call, short in (("41-box-1", "Box"), ("41-box-12", "Box now")):
        board.take(_prompt(call, short=short))
        log.lines(_prompt(call, short=short))
    for message in (refused, answered):
        board.take(message)
    assert board.notes == ["refused: 'Box' is missed: it cannot be said any more",
                           "car 41: dropped; 'Box' and 'Box now' are withdrawn"]
    assert "refused: 'Box' is missed" in log.lines(refused)[0]
    assert "'Box' and 'Box now' are withdrawn" in log.lines(answered)[0]


def test_line_log_leaves_out_a_call_that_is_only_timed_anew() -> None:
    """Another time is no news; another state or other words are, and so is a call that comes again after it was due."""
    log = LineLog()
    assert len(log.lines(_prompt(revision=1))) == 1
    assert log.lines(_prompt(revision=2, say_from_s=140.0)) == ()
    assert log.lines(_prompt(revision=3, state="planned")) == ()
    assert log.lines(_prompt(revision=4, say_from_s=150.0)) == ()
    assert len(log.lines(_prompt(revision=5, text="Box, box, next lap"))) == 1
    assert len(log.lines(_prompt(revision=6, state="due", text="Box, box, next lap"))) == 1
    assert len(log.lines(_prompt(revision=7, text="Box, box, next lap"))) == 1


def test_picture_without_anything_is_calm() -> None:
    """Before the first message the picture says what it waits for."""
    text = _drawn(Board(), car=None)
    assert "waiting for the daemon" in text
    assert "no clock yet" in text
    assert "nothing to say" in text


def test_stale_and_offline_look_stale() -> None:
    """Silence, an offline daemon and an old feed each have their words."""
    board = Board()
    board.take(Health(id="h", t=100.0, state="online", version="1", feed_age_s=75.0))
    assert "feed silent 1:15" in _drawn(board)
    assert "STALE" in _drawn(board, silent_s=8.0)
    board.take(Health(id="h2", t=100.0, state="offline", version="1"))
    assert "DAEMON OFFLINE" in _drawn(board)


def _failing(lag_s: float, **more: Any) -> Health:
    return Health(id="h", t=100.0, state="online", version="1", lag_s=lag_s, store_fails=True, queued=900,
                  store="cannot write: /home/wall/.local/state/pitwall/demo/practice-1.sqlite: could not be written "
                        "(database or disk is full). Free disk space.", **more)


def test_picture_says_that_the_store_fails_and_for_how_long() -> None:
    """The head says so in words with the lag, the reason stands whole under it, and the picture still fits."""
    board = Board()
    for number in range(30):
        board.take(_prompt(f"call-{number}", say_by_s=130.0 + number))
    board.take(_clock())
    board.take(_failing(37.2, feed_age_s=20.0))
    lines = _drawn(board).splitlines()
    assert "STORE FAILS, LAG 37 s, feed silent 0:20" in lines[0]
    assert "online" not in lines[0]
    assert lines[1].startswith("STORE FAILS: nothing is decided. cannot write:")
    assert "(database or disk is full)" in " ".join(" ".join(lines[1:4]).split())
    assert len(lines) <= 24
    assert max(len(line) for line in lines) <= 80
    board.take(Health(id="h2", t=140.0, state="online", version="1", lag_s=0.01, store="j.sqlite"))
    text = _drawn(board)
    assert "online" in text
    assert "STORE" not in text
    assert "LAG" not in text


def test_lag_is_told_in_real_seconds() -> None:
    """Five session seconds are a stall in life and a blink at sixty times life."""
    board, late = Board(), Health(id="h", t=100.0, state="online", version="1", lag_s=5.0)
    board.take(late)
    board.take(_clock())
    assert "online, LAG 5 s" in _drawn(board)
    board.take(_clock(id="clock-2", rate=60.0))
    assert "LAG" not in _drawn(board)


def test_line_log_tells_a_failing_store_once_and_its_end_once() -> None:
    """Reason and lag are lines when they begin and when they end, not on every beat."""
    log = LineLog()
    log.lines(Health(id="h0", t=90.0, state="online", version="1", lag_s=0.0))
    first = log.lines(_failing(0.5))
    assert len(first) == 1
    assert "STORE FAILS: nothing is decided. cannot write: " in first[0]
    assert log.lines(_failing(1.5)) == ()
    (lag,) = log.lines(_failing(4.0))
    assert "LAG 4 s: events wait that long to be decided (900 queued)" in lag
    assert log.lines(_failing(5.0)) == ()
    over = log.lines(Health(id="h9", t=120.0, state="online", version="1", lag_s=0.0))
    assert ["store takes" in over[0], "lag is over" in over[1]] == [True, True]


def _desk_with(*prompts: Prompt, alerts: tuple[Alert, ...] = (), car: str | None = None) -> tuple[Board, Desk]:
    board = Board()
    board.take(_desk())
    board.take(_desk(car="58", id="desk-2"))
    for message in (*prompts, *alerts):
        board.take(message)
    return board, Desk(board, "me", "me-1", car)


@pytest.mark.parametrize(("key", "command"), [("s", "said"), ("x", "skip"), ("d", "defer")])
def test_key_acts_on_the_chosen_prompt(key: str, command: str) -> None:
    """The first prompt is chosen, down chooses the next; the command names the call that was seen."""
    _, desk = _desk_with(_prompt("first", say_by_s=120.0), _prompt("second", say_by_s=130.0))
    given = desk.press(key, 100.0)
    assert given is not None
    assert (given.command, given.call, given.car, given.by, given.t) == (command, "first", "41", "me", 100.0)
    assert desk.press("down", 100.0) is None
    again = desk.press(key, 100.0)
    assert again is not None
    assert again.call == "second"
    assert again.id != given.id


def test_choice_stays_on_its_call_when_the_list_moves() -> None:
    """A more pressing call that comes in above does not move the mark to another call; once said, the top is next."""
    board, desk = _desk_with(_prompt("first", say_by_s=120.0), _prompt("second", say_by_s=130.0))
    desk.press("down", 100.0)
    board.take(_prompt("new", say_by_s=105.0))
    assert desk.chosen(100.0) == 2
    given = desk.press("s", 100.0)
    assert given is not None
    assert given.call == "second"
    assert desk.chosen(100.0) == 0
    desk.press("down", 100.0)
    board.take(_prompt("first", revision=2, state="withdrawn", t=50.0))
    assert desk.chosen(100.0) == 0, "what is gone gives the mark back to the top"


@pytest.mark.parametrize(("key", "hint"), [
    ("z", "the key 'z' does nothing"), ("enter", "the key 'enter' does nothing"), ("a", "no alert waits"),
    ("s", "no call to act on"), ("c", "nothing was said"), ("up", "no call to choose"), ("9", "no car 9"),
    ("1", "car 41 is shown already"),
])  # fmt: skip
def test_key_that_does_nothing_says_why(key: str, hint: str) -> None:
    """The reason stands at the foot of the picture until the next key."""
    board, desk = _desk_with()
    assert desk.press(key, 100.0) is None
    assert hint in board.hint
    assert hint in _drawn(board)
    assert desk.press("m", 100.0) is not None
    assert board.hint == ""


def test_ends_of_the_list_and_an_unknown_car_are_told() -> None:
    """Beyond the first or last call there is nothing, and before any car is known no key can act."""
    board, desk = _desk_with(_prompt("only"))
    desk.press("down", 100.0)
    assert board.hint == "this is the last call"
    desk.press("up", 100.0)
    assert board.hint == "this is the first call"
    empty = Board()
    assert Desk(empty, "me", "me-1").press("s", 0.0) is None
    assert "waiting for the daemon" in empty.hint


def test_help_opens_with_its_key_and_any_key_closes_it() -> None:
    """A key pressed while the help is open closes it and does nothing else."""
    _, desk = _desk_with(_prompt("first"))
    assert desk.press("?", 100.0) is None
    assert desk.helping
    assert desk.press("s", 100.0) is None
    assert not desk.helping
    assert desk.press("s", 100.0) is not None


@pytest.mark.parametrize(("key", "command"), [("c", "confirm"), ("r", "repeat")])
def test_confirm_and_repeat_mean_what_was_said_last(key: str, command: str) -> None:
    """With an open prompt chosen they go to the call said last; with nothing said there is nothing to do."""
    _, desk = _desk_with(_prompt("open"))
    assert desk.press(key, 100.0) is None
    said = (_prompt("older", state="said", t=90.0), _prompt("newer", state="said", t=95.0))
    _, desk = _desk_with(_prompt("open"), *said)
    given = desk.press(key, 100.0)
    assert given is not None
    assert (given.command, given.call) == (command, "newer")
    desk.press("down", 100.0)
    desk.press("down", 100.0)
    chosen = desk.press(key, 100.0)
    assert chosen is not None
    assert chosen.call == "older", "the one that was chosen wins over the one said last"


def test_quiet_and_acknowledge_need_no_prompt() -> None:
    """m mutes the car; a takes note of the alert that asks most, of those the oldest, that nobody has noted."""
    _, desk = _desk_with(alerts=(_alert(id="old", since_s=10.0), _alert(id="new", since_s=20.0)))
    quiet = desk.press("m", 100.0)
    assert quiet is not None
    assert (quiet.command, quiet.call) == ("quiet", None)
    noted = desk.press("a", 100.0)
    assert noted is not None
    assert (noted.command, noted.alert) == ("acknowledge", "old")
    _, desk = _desk_with(_prompt("there", car="58"), alerts=(
        _alert(id="mine", since_s=20.0), _alert(id="other", car="58", since_s=10.0)
    ))
    noted = desk.press("a", 100.0)
    assert noted is not None
    assert (noted.car, noted.alert) == ("58", "other"), "the oldest, as the picture has it, whichever car is shown"
    _, desk = _desk_with(alerts=(_alert(id="old", priority="low", since_s=10.0), _alert(id="new", since_s=20.0)))
    noted = desk.press("a", 100.0)
    assert noted is not None
    assert noted.alert == "new", "as on the page"
    _, desk = _desk_with(alerts=(_alert(acknowledged=True),))
    assert desk.press("a", 100.0) is None


def test_tab_and_numbers_choose_the_car() -> None:
    """tab goes round the cars, a number picks one; another key does nothing, nor does any key before a car is known."""
    _, desk = _desk_with(_prompt("there", car="58"))
    assert desk.car == "41"
    desk.press("tab", 100.0)
    assert desk.car == "58"
    desk.press("tab", 100.0)
    assert desk.car == "41"
    desk.press("2", 100.0)
    assert desk.car == "58"
    desk.press("9", 100.0)
    assert desk.car == "58"
    assert desk.press("z", 100.0) is None
    assert Desk(Board(), "me", "me-1").press("s", 0.0) is None


def test_car_asked_for_is_shown_once_it_is_known() -> None:
    """--car 58 begins with that car; an unknown one falls back to the first."""
    assert _desk_with(car="58")[1].car == "58"
    assert _desk_with(car="7")[1].car == "41"


def test_session_time_runs_on_between_messages() -> None:
    """Between two clock messages time goes on at the session's rate, and silence is counted in real seconds."""
    real = [0.0]
    time = SessionTime(lambda: real[0])
    time.heard(_clock(t=100.0, rate=30.0))
    real[0] = 2.0
    assert time.now() == 160.0
    assert time.silent_s() == 2.0


@pytest.mark.parametrize("as_json", [False, True])
def test_line_printer_writes_lines_or_json(as_json: bool) -> None:
    """One car's lines alone when asked; as JSON each message whole, and a cleared alert too."""
    out = io.StringIO()
    printer = LinePrinter(out, car="41", as_json=as_json)
    printer.hear(_prompt(state="due"))
    printer.hear(_prompt("other", car="58", state="due"))
    printer.alert_over("overrun-41")
    lines = out.getvalue().splitlines()
    if as_json:
        assert [json.loads(line)["type"] for line in lines] == ["prompt", "alert_over"]
    else:
        assert len(lines) == 1
        assert "SAY NOW" in lines[0]


class _Closed(io.StringIO):
    def write(self, text: str) -> int:
        raise BrokenPipeError(32, "nobody reads")


async def test_line_printer_ends_when_its_reader_went_away() -> None:
    """A closed pipe is the end of the lines and no error: nothing more is written, and whoever waits is told."""
    printer = LinePrinter(_Closed())
    waiting = asyncio.ensure_future(printer.until_gone(cast(Any, None), asyncio.Event()))
    printer.hear(_prompt(state="due"))
    printer.hear(_prompt("other", state="due"))
    await asyncio.wait_for(waiting, 20)


def test_keys_are_split_from_what_the_terminal_sends() -> None:
    """Letters, arrows, tab and a lone escape come out as keys; unknown sequences vanish."""
    assert split_keys("sx\x1b[A\x1b[B\t\x1b[Zq\x1b") == ["s", "x", "up", "down", "tab", "q", "escape"]


@pytest.mark.parametrize(
    ("key", "wanted"),
    [
        ("l", {"command": "cross", "loop": None, "forgotten": False}), ("i", {"command": "pit", "where": "entry"}),
        ("o", {"command": "pit", "where": "exit"}), ("f", {"command": "cross", "forgotten": True}),
        ("e", {"command": "status", "status": "red"}), ("g", {"command": "status", "status": "green"}),
        ("u", {"command": "undo"}),
    ],
)  # fmt: skip
def test_one_key_each_for_what_happened(key: str, wanted: dict[str, Any]) -> None:
    """Line, pit in, pit out, a forgotten line, red, green, undo: of the car that is shown, at the moment of the key;
    the foot and the help of the picture name each."""
    board, desk = _desk_with(car="41")
    command = desk.press(key, 123.4)
    assert command is not None
    assert command.model_dump(include=set(wanted)) == wanted
    assert (command.car, command.t, command.by) == ("41", 123.4, "me")
    assert f"{key} " in _drawn(board).splitlines()[-2]
    assert any(line.split()[:1] == [key] or f"   {key}  " in line for line in _drawn(board, helping=True).splitlines())


def test_one_key_notes_a_question_of_the_driver_and_one_its_answer() -> None:
    """The key k: the driver asked. The key w: answered, the question that has waited longest, by its number; without
    one that is open the key says so. How many are open stands with the car, and the help names both keys."""
    board, desk = _desk_with(car="41")
    asked = desk.press("k", 123.4)
    assert asked is not None
    assert (asked.command, asked.car, asked.t, asked.by) == ("asked", "41", 123.4, "me")
    assert desk.press("w", 124.0) is None
    assert board.hint == "car 41: no answer is owed to the driver"
    waiting = tuple(OpenQuestion(question=number, asked_s=90.0, by="me") for number in (3, 4))
    board.take(_desk(questions=waiting))
    answered = desk.press("w", 125.0)
    assert answered is not None
    assert (answered.command, answered.question) == ("answered", 3)
    assert "2 ASKED" in _drawn(board)
    assert "k asked  w answered" in _drawn(board)
    assert "k  the driver asked something     w  it was answered" in _drawn(board, helping=True)


def test_the_help_stands_whole_with_two_cars() -> None:
    """Every line of the help is seen on a terminal of 80 by 24 with two cars on it."""
    board = Board()
    for car in ("41", "58"):
        board.take(_desk(car=car, id=f"desk-{car}"))
    drawn = _drawn(board, helping=True)
    assert [line for line in HELP if line.strip() not in drawn] == []


def test_what_was_corrected_is_told_in_both_views() -> None:
    """Better evidence that replaced an entry is a note in the picture and a line in the log."""
    corrected = Corrected(id="c", t=60.0, car="41", because="x", text="Car 41: line at 0:59.0 by the feed")
    board = Board()
    board.take(corrected)
    assert board.notes == ["Car 41: line at 0:59.0 by the feed"]
    assert LineLog().lines(corrected) == ("    1:00  corrected: Car 41: line at 0:59.0 by the feed",)


def test_a_car_followed_by_hand_says_so() -> None:
    """Where the car is rests on somebody's keys: the head of the picture says it."""
    board = Board()
    board.take(Health(id="h", t=1.0, state="online", version="0"))
    board.take(_desk())
    assert "by hand" not in _drawn(board).splitlines()[0]
    board.take(_desk(by_hand=True))
    assert _drawn(board).splitlines()[0].endswith("online, by hand")


def test_the_head_says_no_link_as_soon_as_the_link_drops() -> None:
    """Not after seconds of silence: the picture says "online" no longer than a command can be sent."""

    async def heads() -> list[str]:
        picture, bus = Picture("41", "me"), MemoryBus(MemoryBroker())
        onlooker = Onlooker(bus, "p1", picture.hear, picture.board.clear_alert)
        await bus.start()
        picture.hear(Health(id="h", t=1.0, state="online", version="0"))
        found = [_head_of(picture, onlooker)]
        await bus.stop()
        return [*found, _head_of(picture, onlooker)]

    linked, dropped = asyncio.run(heads())
    assert linked.endswith("online")
    assert dropped.endswith("NO LINK for 0 s")


def _head_of(picture: Picture, onlooker: Onlooker) -> str:
    out = io.StringIO()
    console = Console(file=out, width=80, height=24, color_system=None)
    console.print(picture.drawn((80, 24), linked=onlooker.linked))
    return out.getvalue().splitlines()[0].rstrip()


def test_alerts_take_the_room_that_the_calls_leave() -> None:
    """On a large screen every alert is shown; where the calls need the lines, four at most and a count."""
    board = Board()
    for number in range(9):
        board.take(_alert(id=f"a-{number}", text=f"alert number {number}"))
    large = _drawn(board, width=120, height=40)
    assert all(f"alert number {number}" in large for number in range(9))
    assert "more" not in large
    assert len(large.splitlines()) == 40
    for number in range(30):
        board.take(_prompt(f"call-{number}", say_by_s=130.0 + number))
    crowded = _drawn(board, width=120, height=40)
    assert "and 5 more" in crowded
    assert len(crowded.splitlines()) == 40


REASON = "Shortened: no stretch on which the driver can listen is long enough for it in time."


def test_how_a_call_is_made_stands_with_it_while_it_is_to_be_said() -> None:
    """A shortened call carries one word in the list, and its reason whole where it is chosen; once said, not."""
    board = Board()
    board.take(_prompt(state="due", way="short", text="Box", way_reason=REASON))
    shown = " ".join(_drawn(board).split())
    assert "Box (short)" in shown
    assert f"how {REASON}" in shown
    board.take(_prompt(revision=2, state="said", way="short", text="Box", way_reason=REASON))
    assert "how" not in _drawn(board).split()


def test_a_call_in_parts_shows_its_part_and_what_remains() -> None:
    """The words are those to be said now; which part it is stands beside them, what remains below."""
    parts = (CallPart(text="Hold gear five,", say_from_s=110.0, spoken_s=1.5),
             CallPart(text="count five.", say_from_s=119.0, spoken_s=1.1))
    board = Board()
    board.take(_prompt(state="due", way="parts", text="Hold gear five,", parts=parts, way_reason="No room."))
    shown = " ".join(_drawn(board).split())
    assert "Hold gear five, (part 1 of 2)" in shown
    assert "how Part 1 of 2. Then: count five. No room." in shown
    board.take(_prompt(revision=2, state="shown", text="count five.", parts_said=1))
    assert "count five. (part 2 of 2)" in " ".join(_drawn(board).split())


def test_the_list_says_outside_in_short_in_two_words() -> None:
    """A must-say call that has no place where the driver can listen says so where it is read."""
    board = Board()
    board.take(_prompt(state="due", way="outside_short", text="Box", way_reason="No stretch is long enough."))
    assert "Box (outside, short)" in " ".join(_drawn(board).split())


def test_the_line_log_tells_why_a_due_call_is_shortened() -> None:
    """The reason stands with the line that says that it is due."""
    (due,) = LineLog().lines(_prompt(state="due", way="short", text="Box", way_reason=REASON))
    assert due.endswith(f"by 2:05  {REASON}")


def test_a_call_that_the_desk_lists_no_more_is_over_although_its_end_was_not_heard() -> None:
    """A word may be lost on the way. What was said waits for the driver and is listed nowhere; news later than the list
    stands; another car's list says nothing; and a list that is full says nothing of what is not on it."""
    board = Board()
    for call, state, t in (("gone", "due", 100.0), ("said", "said", 99.0), ("news", "due", 105.0)):
        board.take(_prompt(call, state=state, t=t))
    board.take(_desk(t=104.0, car="58", prompts=()))
    board.take(_desk(t=101.0, prompts=tuple(_prompt(f"p{n}", t=101.0, state="planned") for n in range(16))))
    assert {one.call for one in board.prompts("41", 104.0)} == {"gone", "said", "news"}
    board.take(_desk(t=104.0, prompts=()))
    assert {one.call for one in board.prompts("41", 104.0)} == {"said", "news"}
    board.take(_desk(t=699.5, prompts=()))
    assert not board.prompts("41", 699.5)
