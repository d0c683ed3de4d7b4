"""From advice to whole plans: shortened, joined, moved and left out, with everything that hangs on it."""

from __future__ import annotations

from typing import Any

from pitwall.engine.advising_plans import advised_plans, given_away, joined, joins_of, shortened, what_it_costs
from pitwall.engine.replan import in_use
from pitwall.model.advice import CarPlan, RunDone
from pitwall.model.plan import Plan, write_laps
from tests.unit.advice_stage import LONG
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, Stage, plan, run, setup

BIAS = {"do": "bias_step", "with": {"switch": "brake_bias", "by": -1.0}}


def laps_of(**changes: Any) -> str:
    """The laps after the run ``main`` was shortened to one timed lap."""
    return write_laps(shortened(run(**changes), 1).laps)


def made(stage: Stage, *runs: RunDone) -> Plan:
    """Car 41's plan as advised."""
    return advised_plans(stage.session.team, (CarPlan(car=CAR, runs=runs),))[CAR]


def test_the_last_timed_laps_go_and_cool_down_laps_that_lead_to_none() -> None:
    """A cool-down lap before a timed lap that stays is kept."""
    assert laps_of(laps="out, 3 timed, in") == "out, 1 timed, in"
    assert laps_of(laps="out, 1 timed, cool, 1 timed, in") == "out, 1 timed, in"
    assert laps_of(laps="out, cool, 1 timed, cool, 1 timed, cool, in") == "out, cool, 1 timed, in"
    assert shortened(run(), 5) == run()


def test_items_follow_the_laps() -> None:
    """Off the laps that are gone, kept on the others; the fewest that count is never more than there are."""
    short = shortened(run(laps="out, 3 timed, in", shorten_to=2, items=[
        BIAS | {"on": {"timed": [1, 3]}}, BIAS | {"on": {"timed": 2}}, {"do": "comment", "on": "in"},
        {"do": "flap_lap", "on": "timed"},
    ]), 1)  # fmt: skip
    assert [(one.do, [choice.numbers for choice in one.on]) for one in short.items] == [
        ("bias_step", [(1,)]), ("comment", [()]), ("flap_lap", [()]),
    ]  # fmt: skip
    assert short.shorten_to == 1


def test_joined_runs_are_one_run() -> None:
    """Laps one after the other, items on the same laps as before, the stronger class, the work after the second."""
    first = run(laps="out, 2 timed, in", items=[{"do": "flap_lap", "on": "timed"}, {"do": "comment", "on": "in"}],
                value=2, purpose="reference")  # fmt: skip
    second = run(run="second", want="could", laps="out, 1 timed, cool, 2 timed, in", after_garage_s=700, shorten_to=1,
                 items=[BIAS | {"on": {"timed": 2}}, {"do": "comment", "on": "in"}], purpose="bias")  # fmt: skip
    both = joined(first, second)
    assert (both.run, both.want, both.value, both.purpose) == ("main", "must", 3, "reference; bias")
    assert write_laps(both.laps) == "out, 3 timed, cool, 2 timed, in"
    assert (both.shorten_to, both.after_garage_s.likely_s) == (3, 700)
    assert [(one.do, [(choice.kind, choice.numbers) for choice in one.on]) for one in both.items] == [
        ("flap_lap", [("timed", (1, 2))]), ("comment", [("in", ())]), ("bias_step", [("timed", (4,))]),
    ]  # fmt: skip


def test_what_is_over_stays_where_it_stands() -> None:
    """Done and skipped runs keep their places; only what is left is moved, dropped or joined."""
    stage = Stage(setup(plan(CHECKS, MAIN, LONG, SPARE))).green()
    stage.leave(100)
    stage.pit(220, "entry")
    new = made(stage, RunDone(run="spare", timed=1), RunDone(run="long", timed=4),
               RunDone(run="main", timed=2, with_run="long"))  # fmt: skip
    assert [(one.run, one.timed_laps) for one in new.runs] == [("checks", 0), ("spare", 1), ("long", 6)]
    assert [one.run for one in in_use(stage.car).runs] == ["checks", "main", "long", "spare"], "nothing was touched"


def test_a_run_that_is_gone_meanwhile_is_no_trouble() -> None:
    """Dropped at the desk between question and answer: the rest of the advice still makes a plan."""
    stage = Stage(setup(plan(CHECKS, MAIN, SPARE))).green()
    stage.command("drop", run="main")
    new = made(stage, RunDone(run="main", timed=2), RunDone(run="checks", timed=0))
    assert [one.run for one in new.runs] == ["checks"]


def test_a_run_goes_to_another_car_without_its_driver() -> None:
    """The other car's own driver does it, and it does not come back by itself."""
    wear = SPARE | {"run": "wear", "driver": "dana", "also_on": ["58"]}
    stage = Stage(setup(plan(MAIN, wear), plan(SPARE, car="58", driver="bryn"))).green()
    parts = (CarPlan(car=CAR, runs=(RunDone(run="main", timed=2),)),
             CarPlan(car="58", runs=(RunDone(run="wear", timed=1, from_car=CAR), RunDone(run="spare", timed=1))))
    plans = advised_plans(stage.session.team, parts)
    assert [one.run for one in plans[CAR].runs] == ["main"]
    moved = plans["58"].runs[0]
    assert (moved.run, moved.driver, moved.also_on) == ("wear", None, ())
    assert given_away(parts, CAR) == {"wear": "58"}
    assert joins_of(parts, CAR) == {}


def test_costs_name_what_is_not_done_or_only_in_part() -> None:
    """A run that is joined, or done by another car, costs nothing."""
    used = plan(MAIN, LONG, SPARE)
    after = plan(LONG | {"laps": "out, 4 timed, in"})
    assert what_it_costs(used, after, {"spare": "long"}) == (
        "main (must) is not done", "long (should): 4 of 6 timed laps",
    )  # fmt: skip
