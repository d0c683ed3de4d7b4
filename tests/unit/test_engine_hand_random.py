"""Hands and a feed, mixed at random and in any order of time: no crash, one answer each, and undo undoes."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.belief import take
from pitwall.model import events as ev
from pitwall.model.outputs import Answered, Prompt, Refused
from pitwall.model.setup import SessionSetup
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, Stage, plan, regulations, setup

ITEMS: list[dict[str, Any]] = [
    {"do": "flap_lap", "on": {"timed": 2}}, {"do": "comment", "on": "cool"}, {"do": "limiter_pass", "on": "in"},
]  # fmt: skip


@lru_cache
def prepared() -> SessionSetup:
    """Twenty minutes of one car."""
    long = MAIN | {"laps": "out, 2 timed, cool, 1 timed, in", "items": ITEMS, "fuel_kg": 12, "tyres": "B1"}
    runs = plan(CHECKS, long, SPARE, tyre_sets={"B1": {"compound": "medium"}})
    return setup(runs, regulations=regulations(duration_s=1200))


PLACES = st.one_of(
    st.tuples(st.just("cross"), st.sampled_from(["line", "line", "line", "1", "2"])),
    st.tuples(st.just("pit"), st.sampled_from(["exit", "entry"])),
)
HAND: list[dict[str, Any]] = [
    {"command": "status", "status": "green"}, {"command": "status", "status": "red"},
    {"command": "status", "status": "yellow", "sectors": ["2"]}, {"command": "clock", "remaining_s": 700.0},
    {"command": "pit_exit", "pit_exit": "closed"}, {"command": "set_car", "in_garage": True},
    {"command": "set_car", "run": "main", "lap": 3, "lap_kind": "timed"}, {"command": "set_car", "lap_kind": "cool"},
    {"command": "set_car", "run": "spare"}, {"command": "set_car", "lap_kind": "in"},
    {"command": "set_switch", "switch": "flap", "position": "open"}, {"command": "set_tyres", "tyres": "B1"},
    {"command": "set_fuel", "fuel_kg": 5.0}, {"command": "cross", "forgotten": True}, {"command": "keep_in"},
    {"command": "let_go"}, {"command": "quiet"}, {"command": "extend"}, {"command": "shorten"}, {"command": "box"},
    {"command": "drop", "run": "spare"}, {"command": "skip"}, {"command": "said"}, {"command": "undo"},
]  # fmt: skip
STEP = st.tuples(
    st.one_of(st.floats(0, 8), st.floats(20, 60), st.floats(90, 150)),
    st.one_of(st.just(0.0), st.floats(0, 30), st.floats(60, 250)),
    st.one_of(
        st.tuples(st.just("feed"), PLACES), st.tuples(st.just("hand"), PLACES), st.tuples(st.just("hand"), PLACES),
        st.tuples(st.just("desk"), st.sampled_from(HAND)),
    ),
    st.sampled_from(["ann", "bo"]),
)  # fmt: skip
STEPS = st.lists(STEP, max_size=25)


def fact(name: str, t: float, what: Any, by: str) -> ev.Event:
    """One drawn fact of the feed, or a command of a hand."""
    who, more = what
    if who == "feed":
        word, place = more
        if word == "cross":
            return ev.CarCrossed(id=name, t=t, car=CAR, loop=place)
        return ev.CarPitted(id=name, t=t, car=CAR, where=place)
    given = more if who == "desk" else {"command": more[0], ("loop" if more[0] == "cross" else "where"): more[1]}
    return ev.CommandGiven.model_validate({"id": name, "t": t, "car": CAR, "by": by} | given)


def believed(stage: Stage) -> tuple[object, ...]:
    """Where the car is, on which lap of which run, and what is in the plan."""
    car = stage.car
    track, current = car.track, car.progress.current
    runs = [(run.run.run, run.state, run.pointer, run.timed_done, run.laps) for run in car.progress.runs]
    laps = [(lap.number, lap.kind, lap.start_t, lap.end_t, lap.lap_time_s) for lap in track.laps]
    lap = None if track.lap is None else (track.lap.number, track.lap.start_t, track.lap.kind)
    carried = (car.carried.tyres, car.carried.tyre_laps(track), car.carried.fuel(track, 2.0))
    flags = (car.kept_in, car.quiet, stage.session.clock.status, stage.session.clock.pit_exit)
    return (track.state, track.lap_number, lap, laps, runs, current and current.run.run, carried, flags)


@settings(max_examples=40, deadline=None)
@given(STEPS)
def test_any_mixture_of_hands_and_feed(steps: list[Any]) -> None:
    """Whatever hands and feed say, early or late: each command has one answer, and no prompt's revision goes back."""
    stage, revisions = Stage(prepared()), dict[str, int]()
    for number, (gap, ago, what, by) in enumerate(steps):
        stage.wait(stage.now + gap if number else 0.0)
        event = fact(f"random-{number}", stage.now - ago, what, by)
        outputs = stage.handle(event)
        answers = [one for one in outputs if isinstance(one, Answered | Refused)]
        assert len(answers) == (1 if isinstance(event, ev.CommandGiven) else 0)
        track = stage.car.track
        assert (track.lap is None) == (not track.on_track)
        assert [lap.number for lap in track.laps] == sorted(lap.number for lap in track.laps)
        for output in stage.outputs:
            if isinstance(output, Prompt):
                assert output.revision >= revisions.get(output.call, 0)
                revisions[output.call] = output.revision
        stage.outputs.clear()


UNDONE = [one for one in HAND if one["command"] not in ("undo", "said", "skip")]


@settings(max_examples=40, deadline=None)
@given(STEPS, st.one_of(PLACES.map(lambda one: ("hand", one)), st.sampled_from(UNDONE).map(lambda one: ("desk", one))),
       st.one_of(st.just(0.0), st.floats(0, 30), st.floats(60, 250)))
def test_undo_right_after_gives_the_belief_from_before(steps: list[Any], what: Any, ago: float) -> None:
    """After anything at all: an entry that is taken back at once leaves the belief as if it had never been made."""
    stage = Stage(prepared())
    for number, (gap, earlier, said, by) in enumerate(steps):
        stage.wait(stage.now + gap if number else 0.0)
        stage.handle(fact(f"random-{number}", stage.now - earlier, said, by))
    stage.wait(stage.now + 0.25)
    before = believed(stage)
    entered = stage.handle(fact("entered", stage.now - ago, what, "cy"))
    changed = [one for one in entered if isinstance(one, Answered)]
    undone = stage.handle(ev.CommandGiven(id="undone", t=stage.now, car=CAR, command="undo", by="cy"))
    if changed and "taken back" in "".join(one.effect for one in undone if isinstance(one, Answered)):
        assert believed(stage) == before
    else:
        assert believed(stage) == before or not any(isinstance(one, Refused) for one in entered)


@settings(max_examples=30, deadline=None)
@given(STEPS)
def test_going_over_the_inputs_again_changes_nothing(steps: list[Any]) -> None:
    """Every input that moves a belief is in the history: gone over once more, all is believed as it was."""
    stage = Stage(prepared())
    for number, (gap, ago, said, by) in enumerate(steps):
        stage.wait(stage.now + gap if number else 0.0)
        stage.handle(fact(f"random-{number}", stage.now - ago, said, by))
    before, history = (believed(stage), take(stage.car).scalars), stage.session.hands.histories[CAR]
    if history.entries:
        history.without((), history.entries[0].now)
    assert (believed(stage), take(stage.car).scalars) == before
