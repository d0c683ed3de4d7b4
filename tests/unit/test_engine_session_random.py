"""Any facts and commands, in any order: the engine answers, keeps its word, and ends."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.call import PRIORITY
from pitwall.engine.transitions import RUN, states
from pitwall.model import events as ev
from pitwall.model.outputs import Answered, ForecastWanted, LapJudged, Output, Prompt, Refused, RunProgress, WakeAt
from pitwall.model.setup import SessionSetup
from tests.unit.engine_stage import CHECKS, MAIN, SPARE, Stage, plan, regulations, setup

ITEMS: list[dict[str, Any]] = [
    {"do": "hold", "on": ["out", "in"], "after": "bridge"}, {"do": "flap_lap", "on": {"timed": 2}},
    {"do": "bias_step", "on": {"timed": 1}, "with": {"switch": "brake_bias", "by": -1.0}},
    {"do": "comment", "on": "cool"}, {"do": "limiter_pass", "on": "in"},
]  # fmt: skip


@lru_cache
def prepared() -> SessionSetup:
    """Twenty minutes, two cars, runs with items of every kind."""
    runs = (CHECKS, MAIN | {"laps": "out, 2 timed, cool, 1 timed, in", "items": ITEMS, "fuel_kg": 9}, SPARE)
    return setup(plan(*runs), plan(*runs, car="58"), regulations=regulations(duration_s=1200))


CARS = st.sampled_from(["41", "41", "41", "58", "7"])
FACTS = st.one_of(
    st.tuples(st.just("cross"), st.sampled_from(["line", "1", "2", "9"]), CARS),
    st.tuples(st.just("pit"), st.sampled_from(["exit", "entry"]), CARS),
    st.tuples(st.just("status"), st.sampled_from(["green", "yellow", "slow", "red", "finished", "waiting"]),
              st.sampled_from(["all", ("2",), ("9",)])),
    st.tuples(st.just("clock"), st.floats(0, 1500), st.booleans()),
    st.tuples(st.just("switch"), st.sampled_from(["torque_map", "flap", "brake_bias", "push", "none"]),
              st.sampled_from([1, 4, "open", "closed", 55, 53.5, "on", True])),
    st.tuples(st.just("command"), st.sampled_from(
        ["said", "skip", "defer", "repeat", "confirm", "quiet", "box", "extend", "shorten", "drop", "keep_in", "let_go",
         "comment", "acknowledge"]), st.integers(0, 30)),
    st.tuples(st.just("restart"), st.floats(0, 60), st.none()),
)  # fmt: skip
GAPS = st.one_of(st.floats(0, 8), st.floats(20, 60), st.floats(90, 150))
SCRIPT = st.lists(st.tuples(GAPS, st.floats(0, 20), FACTS), max_size=30)


def fact(stage: Stage, t: float, what: Any) -> ev.Event:
    """One drawn fact; commands name a call, a run or an item that may or may not be there."""
    kind, word, more = what
    name = f"random-{len(stage.outputs)}-{t}"
    if kind == "cross":
        return ev.CarCrossed(id=name, t=t, car=more, loop=word)
    if kind == "pit":
        return ev.CarPitted(id=name, t=t, car=more, where=word)
    if kind == "status":
        return ev.StatusChanged(id=name, t=t, status=word, scope=more)
    if kind == "clock":
        return ev.ClockReported(id=name, t=t, remaining_s=word, running=more)
    if kind == "switch":
        return ev.SwitchReported(id=name, t=t, car="41", switch=word, position=more)
    if kind == "restart":
        return ev.Restarted(id=name, t=t, gap_s=word)
    calls = list(stage.car.book.calls)
    arguments = {
        "call": calls[more % len(calls)] if calls and more % 3 else None, "run": [None, "main", "spare"][more % 3],
        "item": "hold" if more % 5 == 0 else None, "laps": more % 4 or None, "text": "words",
        "alert": min(stage.session.alerts.active, default=None),
    }  # fmt: skip
    return ev.CommandGiven(id=name, t=t, car="41", command=word, by="desk", **arguments)


def sound(stage: Stage, event: ev.Event, outputs: tuple[Output, ...], ids: dict[str, Any]) -> None:
    """What holds after every fact."""
    answers = [one for one in outputs if isinstance(one, Answered | Refused)]
    if isinstance(event, ev.CommandGiven):
        assert [one.because for one in answers] == [event.id]
    for output in outputs:
        if isinstance(output, Prompt):
            content = output.model_dump(exclude={"t"})
            assert ids.setdefault(output.id, content) == content, "one id, one content"
            assert output.say_from_s <= output.say_by_s + 1e-3
            assert output.priority == PRIORITY[output.kind]
        if isinstance(output, WakeAt):
            assert output.t > stage.session.now
        if isinstance(output, ForecastWanted):
            for activity in (one for car in output.snapshot.cars for one in car.activities):
                assert 0 <= activity.low_s <= activity.likely_s <= activity.high_s
        if isinstance(output, LapJudged):
            assert output.lap_time_s is None or output.lap_time_s > 0
    for car in stage.session.team.values():
        assert all(run.state in states(RUN) for run in car.progress.runs)
        assert all(call.open == (name in car.book.live) for name, call in car.book.calls.items())


@settings(max_examples=60, deadline=None)
@given(script=SCRIPT)
def test_any_session_is_followed_to_its_end(script: list[tuple[float, float, Any]]) -> None:
    """Nothing raises; every command has one answer; no prompt id ever carries two contents; and a minute after the
    session closed every call of every car is at rest and every run that is not on track is over."""
    stage, t, ids = Stage(prepared(), begin=-60), 0.0, dict[str, Any]()
    stage.green()
    for gap, late, what in script:
        t += gap
        event = fact(stage, max(t - late, 0.0), what)
        stage.wait(t)
        seen = len(stage.outputs)
        stage.handle(event)
        sound(stage, event, tuple(stage.outputs[seen:]), ids)
    stage.status(max(t, stage.now) + 5, "closed")
    stage.wait(stage.now + 60)
    assert stage.session.at_rest
    for car in stage.session.team.values():
        assert all(call.at_rest for call in car.book.calls.values())
        for run in car.progress.runs:
            assert run.state in ("done", "skipped", "dropped") or (run.state == "running" and car.track.on_track)
    seen_ids: dict[str, Any] = {}
    for prompt in stage.made(Prompt):
        content = prompt.model_dump(exclude={"t"})
        assert seen_ids.setdefault(prompt.id, content) == content


@settings(max_examples=15, deadline=None)
@given(script=SCRIPT)
def test_the_same_facts_give_the_same_outputs(script: list[tuple[float, float, Any]]) -> None:
    """Fed its own journal again, a fresh engine decides the same, output for output."""
    stage, t = Stage(prepared(), begin=-60), 0.0
    journal: list[ev.Stamped] = []
    handle = stage.session.handle

    def noted(stamped: ev.Stamped) -> tuple[Output, ...]:
        journal.append(stamped)
        return handle(stamped)

    stage.session.handle = noted  # type: ignore[method-assign]  # the stage's own session, watched
    stage.green()
    for gap, late, what in script:
        t += gap
        event = fact(stage, max(t - late, 0.0), what)
        stage.wait(t)
        stage.handle(event)
    again = Stage(prepared(), begin=-60)
    made = list(again.outputs)
    for stamped in journal:
        made += again.session.handle(stamped)
    assert made == stage.outputs
    assert again.session.standing() == stage.session.standing()
    assert again.session.open_wishes() == stage.session.open_wishes()
    assert all(isinstance(run, RunProgress) for one in again.session.standing() if one.type == "plan_state"
               for run in one.runs)  # fmt: skip
