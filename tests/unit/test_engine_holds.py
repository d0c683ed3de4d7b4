"""Holds: counted down and called where positions come at 5 Hz, counted by the driver where they do not, broken off."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.holds import RATE_OVER_S, HoldWatch
from pitwall.model import events as ev
from tests.unit.engine_stage import Stage, plan, setup, shipped

HOLD = {"do": "constant_speed_hold", "on": "out", "after": "turn 4", "with": {"gear": 5, "seconds": 5}}
SPEED, SETTLE, SECONDS = 55.0, 1.5, 5.0
RUN: dict[str, Any] = {"run": "main", "want": "must", "laps": "out, 2 timed, in", "fuel_kg": 30}
BEGINS_M = 150.0  # beyond turn 4, where the driver has the speed


def stage(item: dict[str, Any] = HOLD) -> Stage:
    """The shipped circuit and library; the car left at 200."""
    base = shipped()
    made = Stage(setup(plan({**RUN, "items": [item]}), circuit=base.circuit, cars={"41": base.cars["41"]},
                       procedures=base.procedures, calls=base.calls)).green()  # fmt: skip
    return made.leave(200)


def place_m(made: Stage) -> float:
    """Where turn 4 ends."""
    return made.car.lap_map.distance_at_phase(made.car.lap_map.phase_of("turn 4")) or 0.0


def send(made: Stage, t: float, distance: float, speed: float | None) -> None:
    """One position."""
    made.give(ev.CarPositioned(id=f"p{t:.2f}", t=t, car="41", distance_m=distance, speed_mps=speed))


def approach(made: Stage, every: float = 0.2, seconds: float = 4.0) -> float:
    """Positions up to the moment at which the speed is reached; returns that moment."""
    act = made.call("constant_speed_hold-0-1-0-0").spec.act_at_s
    assert act is not None
    reached, at = act + 3.0, place_m(made) + BEGINS_M
    steps = round(seconds / every)
    for number in range(steps, 0, -1):
        send(made, reached - number * every, at - 50.0 * number * every, 50.0)
    return reached


def told(made: Stage) -> Stage:
    """The call was made."""
    call = made.call("constant_speed_hold-0-1-0-0")
    made.wait(call.spec.say_by_s - 0.5)
    made.command("said", call=call.id)
    return made


def hold(made: Stage, begin: float, seconds: float, speed: float = SPEED, every: float = 0.2) -> float:
    """The driver holds the speed; returns the time of the last position."""
    t, at = begin, place_m(made) + BEGINS_M
    while t <= begin + seconds + 1e-9:
        send(made, t, at + speed * (t - begin), speed)
        t = round(t + every, 3)
    return t - every


def item(made: Stage) -> Any:
    """The item."""
    return made.car.progress.runs[0].items[0]


def test_at_5_hz_the_end_is_counted_down_and_called() -> None:
    """From the beginning of the hold a prompt stands there whose moment is its end; then it is due."""
    made = told(stage())
    begin = approach(made)
    hold(made, begin, 1.0)
    prompt = made.prompts("-end")[-1]
    assert (prompt.text, prompt.state) == ("Time. Carry on.", "shown")
    assert prompt.say_from_s == pytest.approx(begin + SETTLE + SECONDS)
    hold(made, begin + 1.2, SETTLE + SECONDS - 1.2)
    made.wait(begin + SETTLE + SECONDS + 0.1)
    assert made.prompts("-end")[-1].state == "due"


def test_a_hold_that_positions_show_is_done() -> None:
    """Nobody needs to confirm it; the speeds held are the reason."""
    made = told(stage())
    hold(made, approach(made), SETTLE + SECONDS + 0.4, speed=55.4)
    assert (item(made).state, item(made).reason) == ("done", "positions: 55.4 to 55.4 m/s for 5 s")


def test_with_positions_the_driver_need_not_count() -> None:
    """Positions come at 5 Hz while the call is made: it says that the end will be called."""
    made = stage()
    for number in range(50):
        send(made, 200.5 + 0.2 * number, 200.0 + 10 * number, 50.0)
    assert made.call("constant_speed_hold-0-1-0-0").spec.text == "After turn 4: hold gear five until I call."


@pytest.mark.parametrize("every", [0.5, 1.0])
def test_with_fewer_positions_the_driver_counts_and_nothing_is_counted_down(every: float) -> None:
    """At 2 Hz or 1 Hz nobody knows the moment: the call says the count, in full and in short, no end is called, and it
    is probably done."""
    made = stage()
    call = made.call("constant_speed_hold-0-1-0-0").spec
    assert call.short == "Turn 4: gear five, five seconds"
    assert call.text in ("After turn 4: hold gear five, count five.", call.short)
    told(made)
    assert made.call("constant_speed_hold-0-1-0-0").spec.text in (call.text, call.short), "what was begun stays"
    begin = approach(made, every)
    hold(made, begin, SETTLE + SECONDS + 1, every=every)
    assert not made.has_call("-end")
    made.cross(begin + 60, "line")
    assert item(made).state == "probably_done"


def test_said_and_unheard_of_it_is_probably_done_until_the_driver_confirms() -> None:
    """A minute after the call, with no word against it, a hold is still not done; the driver's word settles it."""
    made = told(stage())
    made.wait(made.now + 100)
    call = made.call("constant_speed_hold-0-1-0-0")
    made.cross(made.now, "line")
    assert (call.state, item(made).state) == ("done", "probably_done")
    answer = made.command("confirm", call=call.id)
    assert (answer.type, item(made).state) == ("answered", "done")


def test_the_driver_is_asked_once_about_a_hold_that_nobody_saw() -> None:
    """On the in-lap, where there is time for it; the answer confirmed at the desk makes the item done."""
    made = told(stage())
    quick = made.car.track.pace.quick_s()
    line = 200 + 1.25 * quick
    for number in range(3):
        made.cross(line + number * quick, "line")
        assert made.has_call("-asked") is (number == 2)
    call = made.call("-asked")
    while call.state in ("planned", "shown"):
        made.wait(made.now + 0.5)
    assert call.state == "due"
    assert call.spec.text in ("The hold after turn 4: was it steady?", "Was the hold steady?")
    made.command("said", call=call.id)
    assert item(made).state == "probably_done"
    made.command("confirm", call=call.id)
    assert item(made).state == "done"


def test_a_speed_at_a_loop_within_the_hold_is_told_as_the_reason() -> None:
    """Loop 1 lies after turn 4: about the right speed there says probably; another speed says nothing."""
    for speed, reason in ((56.0, "56 m/s at loop 1"), (75.0, None)):
        made = told(stage())
        act = made.call("constant_speed_hold-0-1-0-0").spec.act_at_s
        assert act is not None
        made.cross(act + 2.0, "1", speed_mps=speed)
        made.cross(act + 70, "line")
        assert item(made).state == "probably_done"
        assert (item(made).reason == reason) is (reason is not None)


def test_a_hold_that_is_left_early_is_not_shown_as_done() -> None:
    """Three seconds held, then off: the countdown is taken back, and it stays with the driver's word."""
    made = told(stage())
    begin = approach(made)
    last = hold(made, begin, 3.0)
    assert made.prompts("-end")
    for number in range(1, 6):
        send(made, last + 0.2 * number, place_m(made) + BEGINS_M + 170 + 8 * number, 40.0)
    made.wait(last + 6)
    assert made.prompts("-end")[-1].state == "withdrawn"
    assert item(made).state == "called"


def test_a_yellow_at_its_place_breaks_it_off() -> None:
    """While the driver holds: a safety call, due at once; once said, the item is not done and says why."""
    made = told(stage())
    act = made.call("constant_speed_hold-0-1-0-0").spec.act_at_s
    assert act is not None
    made.status(act + 1.0, "yellow")
    call = made.call("-break")
    assert (call.state, call.spec.kind, call.spec.text) == ("due", "safety", "Break off, break off.")
    made.command("said", call=call.id)
    assert (item(made).state, item(made).reason) == ("not_done", "broken off: yellow flag")


def test_a_car_that_comes_close_breaks_it_off() -> None:
    """It leaves the pits three seconds after ours: half of what is needed, so the driver is told."""
    made = told(stage())
    act = made.call("constant_speed_hold-0-1-0-0").spec.act_at_s
    assert act is not None
    made.give(ev.CarPitted(id="other", t=made.now, car="7", where="exit"))
    made.session.field.tracks["7"].lap.start_t = 203.0  # type: ignore[union-attr]  # as if its exit had come in time
    made.session.field.tracks["7"].seen_t = 203.0
    made.wait(act + 5.0)
    assert made.call("-break").spec.breaks_off == "car 7 is about 3 s behind"


def test_what_was_on_the_air_as_it_was_held_back_is_broken_off_all_the_same() -> None:
    """The key comes after the sentence, and a car came close meanwhile: the driver does what he was told, and must be
    told to stop, though the call was taken off the list and its item had gone over to another lap."""
    made = stage(HOLD | {"on": ["out", "cool"]})
    call = made.call("constant_speed_hold-0-1-0-0")
    made.wait(call.spec.say_by_s - 0.5)
    act = call.spec.act_at_s
    assert act is not None
    made.give(ev.CarPitted(id="other", t=made.now, car="7", where="exit"))
    made.session.field.tracks["7"].lap.start_t = 203.0  # type: ignore[union-attr]  # as if its exit had come in time
    made.session.field.tracks["7"].seen_t = 203.0
    made.wait(call.spec.say_by_s + 6.0)
    assert (call.state, (call.reason or "").split(":")[0]) == ("withdrawn", "held back")
    made.command("said", call=call.id)
    assert item(made).state == "called"
    made.wait(act + 2.0)
    broken = made.call("-break")
    assert (broken.state, broken.spec.text) == ("due", "Break off, break off.")
    made.command("said", call=broken.id)
    assert item(made).state == "not_done"


def test_before_it_begins_and_after_it_is_over_nothing_is_broken_off() -> None:
    """A yellow long after the hold is the session call's business alone."""
    made = told(stage())
    act = made.call("constant_speed_hold-0-1-0-0").spec.act_at_s
    assert act is not None
    made.status(act + 15.0, "yellow")
    assert not made.has_call("-break")


def test_the_rate_is_that_of_the_last_seconds() -> None:
    """5 Hz with jitter and one missing is enough; 4 Hz is not; 5 Hz that stopped a second ago is not."""
    for times, sharp in (
        ([0.2 * n + (0.03 if n % 2 else 0.0) for n in range(20) if n != 15], True),
        ([0.25 * n for n in range(17)], False),
        ([0.2 * n - 1.0 for n in range(20)], False),
    ):
        watch = HoldWatch()
        watch.seen.extend((t, 0.0, 50.0) for t in times)
        assert watch.sharp(2 * RATE_OVER_S - 0.1) is sharp
