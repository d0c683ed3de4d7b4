"""An hour without a timing feed: eyes, a thumb and keys. The plan is followed, calls come, the journal tells it."""

from __future__ import annotations

import asyncio
import functools

from pitwall.app.loading import load_setup
from pitwall.app.resources import demo_event
from pitwall.engine.session import Session
from pitwall.journal.replay import decisions
from pitwall.model.events import CarCrossed, CarPitted, ClockReported, CommandGiven, StatusChanged, SwitchReported
from pitwall.model.outputs import Answered, Corrected, DeskState, LapJudged, PlanState, Prompt
from tests.acceptance.script import Script, between, saltmarsh
from tests.acceptance.script_keyboard import Keyboard, SeenCar
from tests.acceptance.script_patterns import about, answered, desk, has, one_of, prompt, refused, run
from tests.replay.harness import restart_equals

FEED = CarCrossed | CarPitted | ClockReported | StatusChanged | SwitchReported
CHECKS_IN, HOLDS_OUT = 125.0, 480.0


@functools.cache
def hour() -> tuple[Script, SeenCar, dict[str, float]]:
    """The demo plan of car 41, played from the keyboard alone: green, an installation run, a run with a line press
    forgotten and put in a lap later, a red flag in the third run, which is resumed, and a fourth run.

    Returns:
        The script as played, the car with the moments at which it passed, and moments of interest by name.
    """
    setup = load_setup(demo_event())
    play = Script(saltmarsh({"runs": []}, plans={"41": setup.plans["41"]}), feed=False)
    keys = Keyboard(play, "ann").says_every_call()
    car, at = SeenCar(keys, play.car().map), dict[str, float]()
    keys.press(0.0, "g")
    car.leaves(45).comes_in(CHECKS_IN)
    car.leaves(HOLDS_OUT).lap(112).lap(91.5).lap(90.8, forgotten=True)
    at["forgotten"] = car.t
    car.lap(138).lap(91.2)
    at["put in"] = car.t + 5
    keys.press(at["put in"], "f")
    at["holds box"] = car.last_chance(107)
    car.comes_in(107)
    car.leaves(car.t + 370).lap(113).lap(90.5).lap(90.9)
    at["red"] = car.t + 40
    keys.press(at["red"], "e")
    car.comes_in(150)
    at["green"] = at["red"] + 400
    keys.press(at["green"], "g")
    car.leaves(at["green"] + 60).lap(112).lap(90.4).lap(90.7)
    at["baseline box"] = car.last_chance(106)
    car.comes_in(106)
    car.leaves(car.t + 250).lap(111).lap(89.9).lap(137).lap(89.8)
    at["compare box"] = car.last_chance(108)
    car.comes_in(108)
    return play.run(until=3650.0), car, at


def test_the_plan_is_followed_through_the_hour() -> None:
    """Every run that was driven is done with all its laps, the interrupted one after it was resumed; the last waits."""
    play, _, _ = hour()
    plan = next(line.what for line in reversed(play.lines) if isinstance(line.what, PlanState))
    assert [(one.run, one.state, one.timed_done) for one in plan.runs] == [
        ("checks", "done", 0), ("holds", "done", 3), ("baseline", "done", 4), ("compare", "done", 2),
        ("long", "next", 0),
    ]  # fmt: skip
    items = {item.item: item.state for one in plan.runs[:4] for item in one.items}
    lost = {name for name, state in items.items() if state not in ("done", "probably_done")}
    assert {name.split("-")[2] for name in lost} <= {"cool_down_lap", "driver_comment", "flap_compare"}, (
        "what was to be said on the laps that were one, for want of a press"
    )


def test_the_forgotten_press_is_noticed_and_put_in() -> None:
    """The double lap asks for it; one key puts the line in where the plan's two laps must have met; laps and plan
    follow, and nothing that was said is unsaid."""
    play, _, at = hour()
    play_at = between(at["forgotten"], at["put in"])
    assert play.heard(answered(effect=has("was a line press forgotten?")), play_at)
    (put_in,) = play.heard(answered(effect=has("forgotten line put in")), between(at["put in"], at["put in"] + 1))
    shown = str(put_in.what.effect).split("about ")[1].split(":")  # type: ignore[union-attr]  # an answer
    assert abs(int(shown[0]) * 60 + float(shown[1]) - at["forgotten"]) < 6.0, "within seconds of the truth"
    assert play.heard(run("holds", timed_done=3), between(at["put in"], at["put in"] + 1))
    assert not play.heard(prompt(state="withdrawn", reason=has("said")), between(at["put in"], at["put in"] + 2))


def test_box_prompts_come_in_time_from_line_presses_alone() -> None:
    """Each run's in-lap is called at its beginning and again before the last place for the pit entry, early enough for
    the words and a reaction, and not minutes too early."""
    play, _, at = hour()
    for name in ("holds", "baseline", "compare"):
        last = at[f"{name} box"]
        open_ = play.prompts(prompt(kind="box", state=one_of("shown", "due"), run=name))
        due = [one for one in open_ if not one.call.endswith("again")]
        assert due, name
        again = [one for one in play.prompts(prompt(kind="box", state="due", run=name)) if "-again" in one.call]
        assert again, name
        assert 5.0 < last - again[-1].say_by_s < 50.0, name
        assert again[-1].say_by_s + again[-1].spoken_s < last, name


def test_red_and_green_by_one_key() -> None:
    """Red is shown at once and told within six seconds at most, silences everything else, and ends the run as cut;
    green calls the car out again, and the laps that were missing are driven."""
    play, _, at = hour()
    assert play.heard(prompt(kind="session", state="shown", text=has("red flag")), between(at["red"], at["red"] + 0.1))
    assert play.heard(prompt(kind="session", state="due", text=has("red flag")), between(at["red"], at["red"] + 6))
    assert not play.heard(prompt(kind="run", state="due"), between(at["red"] + 1, at["green"]))
    assert play.heard(run("baseline", state="next", reason="red flag"), between(at["red"], at["green"]))
    assert play.heard(prompt(text=has("leave"), state="due"), between(at["green"], at["green"] + 60))


def test_nothing_was_refused_and_the_car_is_followed_by_hand() -> None:
    """No key of the hour was in vain, and the desk's state says that the car is followed by hand."""
    play, _, _ = hour()
    assert play.heard(refused()) == []
    on_track = [line.what for line in play.lines if isinstance(line.what, DeskState) and line.what.lap_number > 0]
    assert on_track
    assert all(one.by_hand for one in on_track)  # type: ignore[union-attr]  # desk states
    assert play.heard(desk(tyres="B2", fuel_kg=about(22.0, 1.5)))
    assert not any(isinstance(line.what, Corrected) for line in play.lines)


def test_the_journal_tells_who_did_what_and_replays_the_same() -> None:
    """Every press is in the journal with its hand and moment, there is no fact of a feed, and a replay of the journal
    decides the same."""
    play, car, at = hour()
    events = [stamped.event for stamped in play.events]
    assert not any(isinstance(event, FEED) for event in events)
    pressed = [event for event in events if isinstance(event, CommandGiven)]
    assert {event.by for event in pressed} == {"ann"}
    kinds = [event.command for event in pressed]
    assert (kinds.count("cross"), kinds.count("pit"), kinds.count("status")) == (15, 10, 3)
    passed = [event.t for event in pressed if event.command in ("cross", "pit") and not event.forgotten]
    seen = [t for t in car.passed if t != at["forgotten"]]
    assert all(0.0 < entered - t < 1.0 for entered, t in zip(passed, seen, strict=True))
    said = [one for decided in decisions(play.events, Session()) for one in decided.outputs if isinstance(one, Prompt)]
    assert [one.id for one in said] == [one.id for one in (line.what for line in play.lines) if isinstance(one, Prompt)]


def test_a_restart_at_any_time_decides_the_same() -> None:
    """Killed and started again, around the press that was put in and under the red flag: the journal makes the
    same histories, so what follows is the same."""
    play, _, at = hour()
    moments = (at["forgotten"] + 20, at["put in"] - 1, at["put in"] + 1, at["red"] + 30, at["green"] + 1)
    numbers = [next(one.seq for one in play.events if one.received_t > t) for t in moments]
    told = Prompt | Answered | LapJudged
    differs = restart_equals(play.events, Session, numbers, lambda one: one if isinstance(one, told) else None)
    assert asyncio.run(differs) is None
