"""How a session begins and ends for a car: no feed yet, the flag on a running lap, items after it, stale news."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.items import NO_WORD
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.model.events import ChannelReported
from pitwall.model.outputs import Alert
from pitwall.model.units import clock_text
from tests.unit.engine_stage import CAR, LAST_CHANCE, MAIN, Stage, plan, regulations, setup

STARTS: dict[str, Any] = {
    "run": "starts", "want": "could", "after_flag": "allowed",
    "items": [{"do": "standing_start", "times": 2, "at": "grid"}],
}  # fmt: skip

SECOND: dict[str, Any] = MAIN | {"run": "second"}


def stage(*runs: dict[str, Any], duration_s: float = 300, **rules: Any) -> Stage:
    """A session of five minutes, green, with the run ``main``, more runs, and these regulations."""
    rules = {"after_flag_items": ["standing_start"], "duration_s": duration_s} | rules
    return Stage(setup(plan(MAIN, *runs), regulations=regulations(**rules))).green()


def said_at_the_flag(made: Stage) -> list[str]:
    """Short forms of session calls that came due from the flag on, each once: what is said when two compete."""
    due = (one for one in made.prompts("session", "due") if one.t >= 300)
    return [*{one.call: one.short for one in due}.values()]


def test_a_timed_lap_that_has_begun_may_be_finished() -> None:
    """The flag falls on it: the driver is told to finish the lap, and only after the line that this is the in-lap."""
    made = stage(duration_s=300)
    line = made.drive(100, 120, 100)
    assert line == 320  # the lap from 220 to 320 was running when the time was over
    made.wait(325)
    assert said_at_the_flag(made) == ["Flag out", "Chequered flag"]
    assert made.car.progress.runs[0].expected_kind == "in"


def test_where_no_lap_may_be_finished_the_flag_means_in_now() -> None:
    """The regulations decide: without finish_started_lap the running lap is the in-lap at once."""
    made = stage(finish_started_lap=False)
    made.drive(100, 120)
    made.wait(310)
    assert ["Chequered" in text for text in said_at_the_flag(made)] == [True]
    assert made.car.track.state == "in"


def test_an_out_lap_at_the_flag_gets_no_timed_lap() -> None:
    """A car on its out-lap when the time is over is told to come in on that lap."""
    made = stage()
    made.leave(250)
    made.wait(310)
    assert ["Chequered" in text for text in said_at_the_flag(made)] == [True]
    assert made.car.track.state == "out_in"


def test_the_in_lap_after_the_flag_is_called_like_any_other() -> None:
    """Box at its start and before the last place; done when the car is in."""
    made = stage()
    line = made.drive(100, 120, 100)
    made.home(line)
    boxes = {one.call for one in made.prompts("box", "due") if one.t > line}
    assert len(boxes) == 2
    assert made.call("-again").state == "done"


def test_items_after_the_flag_are_told_on_the_in_lap() -> None:
    """Where the regulations list the procedure; place before action; done as far as anybody can tell."""
    made = stage(STARTS)
    line = made.drive(100, 120, 100)
    made.home(line)
    told = made.prompts("after-flag", "due")
    assert told[0].text == "Grid: two standing starts, where the marshals let you, then pits."
    made.command("said", call=told[0].call)
    made.status(500, "closed")
    block = made.car.progress.find("starts")
    assert block is not None
    assert (block.state, block.items[0].state) == ("done", "probably_done")


def test_a_driver_who_is_sent_to_the_grid_after_the_flag_is_not_told_to_box_before_it() -> None:
    """The grid lies behind the pit entry: on that lap he hears of the starts alone, then he is called in. Nobody says
    that he did not come in."""
    made = stage(STARTS)
    line = made.drive(100, 120, 100)
    for at in range(int(line), int(line) + 60):
        made.wait(at)
        for one in [call for name, call in made.car.book.calls.items() if "after-flag" in name and call.state == "due"]:
            made.command("said", call=one.id)
    made.lap(line, 118)
    assert not [one for one in made.prompts("box") if one.t > line and one.say_from_s < line + 118]
    made.wait(made.now + 30)
    assert next(one.short for one in made.prompts("box", "due")) == "Box this lap"
    assert not [one for one in made.made(Alert) if one.kind == "stayed_out" and one.active]


def test_what_nobody_told_of_the_grid_leaves_the_box_call() -> None:
    """Once it is too late for the one, the others come while there is time to act on them."""
    made = stage(STARTS)
    line = made.drive(100, 120, 100)
    made.car.book.keys = FEW_KEYS
    made.home(line)
    boxes = {one.short: one.t for one in made.prompts("box", "due")}
    assert set(boxes) == {"Box this lap", "Box, box"}
    assert min(boxes.values()) >= made.call("after-flag").spec.say_by_s


def in_lap_at_the_flag(line: float, seconds: float = 118.0) -> tuple[Stage, float]:
    """Out, one timed lap to the line at so many seconds, and the car boxed: the flag falls at 300 on its in-lap. The
    engineer has pressed keys before. With when the pit entry is passed."""
    made = stage(STARTS)
    t = made.leave(line - 220).lap(line - 220, 120, from_exit=True)
    made.car.book.keys = FEW_KEYS
    made.wait(t + 5)
    made.command("shorten", laps=1)
    made.lap(t, 100)
    return made, line + seconds


@pytest.mark.parametrize(("line", "told"), [(260, True), (230, True), (205, False)])
def test_items_after_the_flag_are_not_told_before_it(line: float, told: bool) -> None:
    """The flag falls on the in-lap: from fifteen seconds after it on there is time for it, as long as the car can still
    go there; too near to the pits, nothing is told, and the item was not done."""
    made, _ = in_lap_at_the_flag(line)
    made.home(line)
    made.status(500, "closed")
    calls = [one for one in made.prompts("after-flag") if one.state in ("shown", "due")]
    assert bool(calls) is told
    for one in calls:
        assert 315 <= one.say_from_s < one.say_by_s < line + 118 * LAST_CHANCE
    block = made.car.progress.find("starts")
    assert block is not None
    assert (block.state, block.items[0].state) == ("skipped", "not_done")


@pytest.mark.parametrize(("keys", "became"), [(FEW_KEYS, ("skipped", "not_done")), (0, ("done", "probably_done"))])
def test_what_nobody_said_after_the_flag_was_not_done(keys: int, became: tuple[str, str]) -> None:
    """Its call passed without a key of an engineer who presses them, and nothing shows that it was done: the car drove
    into the pits. Of who presses none it may have been said."""
    made, _ = in_lap_at_the_flag(260)
    made.car.book.keys = keys
    made.home(260)
    made.wait(450)
    assert made.call("after-flag").state == "unconfirmed"
    made.status(500, "closed")
    block = made.car.progress.find("starts")
    assert block is not None
    assert (block.state, block.items[0].state) == became
    assert block.items[0].reason == (NO_WORD if keys else "unconfirmed")


@pytest.mark.parametrize("listed", [[], ["radio_check"]])
def test_what_the_regulations_do_not_list_is_not_told_after_the_flag(listed: list[str]) -> None:
    """No call, and the block is skipped with the session."""
    made = stage(STARTS, after_flag_items=listed)
    made.home(made.drive(100, 120, 100))
    made.status(500, "closed")
    assert not made.has_call("after-flag")
    block = made.car.progress.find("starts")
    assert block is not None
    assert block.state == "skipped"


def test_a_block_that_nobody_told_is_skipped() -> None:
    """No car on track at the flag: nothing after it either."""
    made = stage(STARTS)
    made.wait(310)
    made.status(500, "closed")
    assert not made.has_call("after-flag")


def test_a_yellow_that_is_over_is_not_announced_any_more() -> None:
    """Unsaid, it makes way for the clear, and the clear itself is no news to a driver who never heard of it."""
    made = stage(duration_s=3600)
    made.drive(100, 120)
    made.status(240, "yellow", scope=("5",))
    assert made.prompts("yellow", "due")
    made.status(243, "green", scope=("5",))
    assert made.call("yellow").state == "withdrawn"
    assert not made.has_call("green")


def test_a_yellow_that_was_said_is_followed_by_its_clear() -> None:
    """The driver who was warned is told when it is over."""
    made = stage(duration_s=3600)
    made.drive(100, 120)
    made.status(240, "yellow", scope=("5",))
    made.command("said", t=242)
    made.status(250, "green", scope=("5",))
    assert made.prompts("green", "due")[0].text == "Sector 5 is clear."


def test_a_yellow_that_is_being_said_as_it_ends_is_followed_by_its_clear() -> None:
    """The engineer is in the middle of it, and its key comes after the sentence: the driver has heard of it."""
    made = stage(duration_s=3600)
    made.drive(100, 120)
    made.give(ChannelReported(id="quiet", t=230, car=CAR, talking="nobody"))
    made.status(240, "yellow", scope=("5",))
    made.wait(240.5)
    made.give(ChannelReported(id="talk", t=241, car=CAR, talking="engineer"))
    made.status(243, "green", scope=("5",))
    assert made.call("yellow").state == "due"
    made.wait(244)
    assert made.has_call("green")


def test_nobody_is_called_out_before_the_feed_speaks() -> None:
    """A daemon started early counts no car out by its own clock; the first word of timing starts the garage calls."""
    made = Stage(setup(plan(MAIN)), begin=-300)
    made.wait(-100)
    assert not made.car.book.calls
    made.clock(-90, 3600, running=False)
    made.wait(-30)
    assert made.prompts("brief", "due")


def test_the_call_to_leave_waits_for_the_green() -> None:
    """Session second zero without a green light is a late start: the countdown holds."""
    made = Stage(setup(plan(MAIN)), begin=-300)
    made.clock(-300, 3600, running=False)
    made.wait(20)
    assert not made.prompts("-leave", "due")
    made.status(25, "green", pit_exit="open")
    made.wait(26)
    assert made.prompts("-leave", "due")


def test_quiet_in_the_garage_mutes_no_release() -> None:
    """Quiet is for the driver's ear on track: a car that nobody calls would never leave."""
    made = stage(duration_s=3600)
    made.command("quiet", t=-1)
    made.wait(10)
    assert made.call("-leave").state == "due"


def test_an_overdue_release_is_said_once() -> None:
    """Three minutes after its first moment nobody has left: one alert of medium priority, for a run may be lost; it is
    over when the car goes."""
    made = stage(duration_s=3600)
    made.wait(170)
    assert not made.made(Alert)
    made.wait(400)
    assert [(one.kind, one.priority, one.active) for one in made.made(Alert)] == [("release_overdue", "medium", True)]
    made.leave(410)
    made.wait(420)
    assert made.made(Alert)[-1].active is False


def test_a_car_that_stands_after_slow_work_is_told_a_minute_later() -> None:
    """Between two runs time is short: the alert names the run and what hangs on it, when it was to leave, and when it
    would have left after work as slow as the plan foresees."""
    slowly = MAIN | {"after_garage_s": [200, 300, 400]}
    made = Stage(setup(plan(slowly, SECOND), regulations=regulations(duration_s=3600))).green()
    line = made.drive(100, 120, 100, 100)
    made.pit(line + 80, "entry")
    made.wait(line + 160)
    standing = made.car.progress
    assert standing.next is not None
    due, work = made.car.first_release_s, standing.runs[0].run.after_garage_s
    assert due is not None
    slow = due + work.high_s - work.likely_s
    made.wait(slow + 55)
    assert not [one for one in made.made(Alert) if one.kind == "release_overdue"]
    made.wait(slow + 80)
    (alert,) = [one for one in made.made(Alert) if one.kind == "release_overdue"]
    assert alert.text == (f"Car 41 stands here still: second (must) was to leave at {clock_text(due)}, "
                          f"after slow work at {clock_text(slow)}")


def test_nobody_is_overdue_behind_a_closed_pit_exit() -> None:
    """Race control keeps the cars in: nothing is told meanwhile, and what stands on after the opening is."""
    made = stage(SECOND, duration_s=3600)
    line = made.drive(100, 120, 100, 100)
    made.pit(line + 80, "entry")
    made.wait(line + 160)
    due = made.car.first_release_s
    assert due is not None
    made.status(due - 20, None, pit_exit="closed")
    made.wait(due + 900)
    assert not [one for one in made.made(Alert) if one.kind == "release_overdue"]
    made.status(due + 900, None, pit_exit="open")
    made.wait(due + 1200)
    assert [one.active for one in made.made(Alert) if one.kind == "release_overdue"][:1] == [True]


def test_work_that_ends_before_a_run_may_begin_does_not_excuse_it() -> None:
    """A run that is not to leave before a time is overdue a minute after that, however slow the work was till then."""
    made = stage({**SECOND, "release": {"not_before": 2000}}, duration_s=3600)
    line = made.drive(100, 120, 100, 100)
    made.pit(line + 80, "entry")
    made.wait(2050)
    assert not [one for one in made.made(Alert) if one.kind == "release_overdue"]
    made.wait(2080)
    (alert,) = [one for one in made.made(Alert) if one.kind == "release_overdue"]
    assert alert.text == f"Car 41 stands here still: second (must) was to leave at {clock_text(2000)}"


def test_a_session_in_parts_calls_the_next_part_from_its_waiting() -> None:
    """After the flag of one part the garage calls of the next are made when race control waits again, none missed."""
    made = stage(SECOND)
    made.home(made.drive(100, 120, 100))
    made.status(900, "waiting")
    made.wait(960)
    assert made.call("second-1-brief").state == "unconfirmed"
    assert not [one for one in made.prompts() if one.state == "missed"]
