"""Any advice at any moment of any driving, adopted or not: nothing driven is touched or lost, and a replay agrees."""

from __future__ import annotations

from functools import lru_cache
from random import Random
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.advising_offers import holds_still
from pitwall.engine.replan import in_use
from pitwall.engine.session import Session
from pitwall.model import events as ev
from pitwall.model.advice import AdviceQuestion, CarPlan, RunChoice, RunDone
from pitwall.model.outputs import AdviceState, AdviceWanted, Answered, Output
from pitwall.model.setup import SessionSetup
from tests.unit.advice_stage import AdviceStage, answer_of
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, plan, setup
from tests.unit.test_engine_replan_random import _check

FLAP = {"do": "flap_lap", "on": {"timed": [1, 3]}}
LONG = MAIN | {"run": "long", "want": "should", "laps": "out, 4 timed, cool, 1 timed, in", "shorten_to": 1,
               "items": [FLAP, {"do": "comment", "on": "cool"}]}  # fmt: skip
WEAR = SPARE | {"run": "wear", "laps": "out, 3 timed, in", "shorten_to": 1, "also_on": ["58"]}
TAIL = SPARE | {"run": "tail"}


@lru_cache
def prepared() -> SessionSetup:
    """Two cars; runs that can be shortened, joined and swapped."""
    return setup(plan(CHECKS, LONG, MAIN, WEAR, TAIL), plan(MAIN, SPARE | {"run": "other"}, car="58"))


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("exit"), st.sampled_from([CAR, "58"]), st.just(10.0)),
        st.tuples(st.just("line"), st.sampled_from([CAR, "58"]), st.just(90.0)),
        st.tuples(st.just("entry"), st.sampled_from([CAR, "58"]), st.just(60.0)),
        st.tuples(st.just("wait"), st.just(CAR), st.sampled_from([5.0, 200.0])),
        st.tuples(st.just("status"), st.sampled_from(["red", "green", "yellow"]), st.just(5.0)),
        st.tuples(st.sampled_from(["advise", "extend", "box", "shorten"]), st.sampled_from([CAR, "58"]), st.just(1.0)),
        st.tuples(st.just("answer"), st.integers(0, 10_000), st.just(2.0)),
        st.tuples(st.just("answer"), st.integers(0, 10_000), st.just(2.0)),
        st.tuples(st.sampled_from(["adopt", "decline"]), st.integers(0, 1), st.just(3.0)),
        st.tuples(st.just("follow"), st.integers(0, 10_000), st.just(3.0)),
        st.tuples(st.just("follow"), st.integers(0, 10_000), st.just(3.0)),
    ),
    max_size=25,
)


def drawn(question: AdviceQuestion, dice: Random) -> dict[str, list[RunDone]]:
    """Any plan that the question allows: what is under way first, the rest in any order, shortened, joined, swapped,
    dropped."""
    left: dict[str, list[RunDone]] = {one.car: [] for one in question.choices}
    first = [one for one in question.choices if one.under_way]
    others = [one for one in question.choices if not one.under_way]
    dice.shuffle(others)
    for one in [*first, *others]:
        if not one.under_way and dice.random() < 0.3:
            continue
        goes_to = dice.choice([one.car, *one.also_on])
        if goes_to not in left:
            continue
        left[goes_to].append(_done(one, goes_to, left[goes_to], dice))
    return left


def _done(one: RunChoice, car: str, there: list[RunDone], dice: Random) -> RunDone:
    last = there[-1].run if there else None
    joins = car == one.car and last in one.merges_with and dice.random() < 0.7
    return RunDone(
        run=one.run, timed=dice.randint(one.fewest, one.timed), with_run=last if joins else None,
        from_car=None if car == one.car else one.car,
    )


def play(made: AdviceStage, what: str, who: Any, gap: float) -> None:
    """One step."""
    t = made.now + gap
    match what:
        case "line":
            made.cross(t, car=who)
        case "exit" | "entry":
            made.pit(t, what, who)
        case "status":
            made.status(t, who)
        case "wait":
            made.wait(t)
        case "follow":
            made.command("advise")
            play(made, "answer", who, gap)
            play(made, "adopt", 0, gap)
        case "answer":
            if made.asked():
                dice = Random(who)
                question = made.asked()[-1].question
                made.advised(*(drawn(question, dice) for _ in range(2)))
        case "adopt" | "decline":
            proposals = (made.state() or NOTHING).proposals
            if who < len(proposals):
                answer = made.command(what, car=proposals[who].car, proposal=proposals[who].id)
                assert isinstance(answer, Answered), answer
        case _:
            made.command(what, car=who)


NOTHING = AdviceState(id="none", t=0, active=False, asked="", musts_chance=0)


def begun(made: AdviceStage) -> dict[tuple[str, str], Any]:
    """What was driven, by car and run."""
    found: dict[tuple[str, str], Any] = {}
    for name, car in made.session.team.items():
        for state in car.progress.runs:
            if state.start_t is not None:
                laps = state.laps[: state.pointer + 1] if state.state == "running" else state.laps[: state.resume_at]
                settled = tuple((i.key, i.state) for i in state.items if i.state not in ("planned", "dropped"))
                found[name, state.run.run] = (laps, state.timed_done, state.start_t, settled)
    return found


@settings(max_examples=60, deadline=None)
@given(STEPS)
def test_adopted_advice_touches_nothing_driven_and_loses_nothing(steps: list[tuple[str, Any, float]]) -> None:
    """Laps, timed laps and items of what has begun stay; no run or item vanishes; a proposal does what it showed; only
    ``adopt`` changes a plan."""
    made = AdviceStage(prepared())
    made.green()
    for what, who, gap in steps:
        driven, plans = begun(made), {name: in_use(car) for name, car in made.session.team.items()}
        names = {(name, s.run.run) for name, car in made.session.team.items() for s in car.progress.runs}
        play(made, what, who, gap)
        for car in made.session.team.values():
            _check(car.progress.runs)
        assert all(holds_still(made.session.team, offer) for offer in made.session.advising.offers)
        now = begun(made)
        assert names <= {(name, s.run.run) for name, car in made.session.team.items() for s in car.progress.runs}
        if what in ("adopt", "decline", "follow"):
            for key, (laps, timed, start, settled) in driven.items():
                assert now[key][0][: len(laps)] == laps
                assert now[key][1:3] == (timed, start)
                assert set(settled) <= set(now[key][3])
        if what in ("answer", "decline", "advise"):
            assert plans == {name: in_use(car) for name, car in made.session.team.items()}


@settings(max_examples=15, deadline=None)
@given(STEPS)
def test_the_journal_of_advice_replays(steps: list[tuple[str, Any, float]]) -> None:
    """Fed its own journal again, a fresh engine decides the same: the advice comes from the journal, not anew."""
    made, journal, told = AdviceStage(prepared()), list[ev.Stamped](), list[Output]()
    first = ev.Stamped(seq=0, received_t=-300.0, event=ev.SessionPrepared(id="prepared", t=-300, setup=prepared()))
    told += made.outputs
    handle = made.session.handle

    def noted(stamped: ev.Stamped) -> tuple[Output, ...]:
        journal.append(stamped)
        found = handle(stamped)
        told.extend(found)
        return found

    made.session.handle = noted  # type: ignore[method-assign]  # the stage's own session, watched
    made.green()
    for what, who, gap in steps:
        play(made, what, who, gap)
    again = Session()
    assert [output for stamped in [first, *journal] for output in again.handle(stamped)] == told


def test_the_random_plans_hold_every_kind_of_change() -> None:
    """The draw is worth its time: it drops, shortens, moves, joins and swaps."""
    made = AdviceStage(prepared())
    made.green()
    made.command("advise")
    question = made.asked()[-1].question
    found = [drawn(question, Random(seed)) for seed in range(200)]
    runs = [one for left in found for done in left.values() for one in done]
    assert any(one.with_run for one in runs)
    assert any(one.from_car for one in runs)
    assert any(one.run == "long" and one.timed < 5 for one in runs)
    assert any(done and done[0].run == "main" for left in found for done in left.values())
    assert any(len(left[CAR]) < 3 for left in found)
    assert answer_of(question, found[0]).best
    assert isinstance(made.asked()[-1], AdviceWanted)
    assert all(isinstance(one, CarPlan) for one in answer_of(question, found[0]).best[0].cars)
