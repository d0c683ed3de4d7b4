"""Which role of the crew has seen a changed plan."""

from __future__ import annotations

from pitwall.model.outputs import PlanState
from tests.acceptance.script_patterns import answered, command, has, refused, run
from tests.acceptance.script_plans import MORE, WORK, session

CREWED = WORK | {"crew": ["tyres", "floor"]}


def test_a_role_tells_that_it_has_seen_the_plan() -> None:
    """Each role that the runs name is published with what it has seen; a change makes it behind until it says so."""
    play = session(CREWED, MORE)
    play.at(20).push(command("drop", id="change", by="ann", run=MORE["run"]))
    play.at(30).push(command("seen", id="told", by="tom", role="tyres"))
    play.at(40).push(command("seen", id="old", by="flo", role="floor", revision=0))
    play.want(answered("told", effect=has("tyres has seen the plan")), times=1)
    play.want(answered("old", effect=has("but for")), times=1)
    play.run(until=60)
    states = [line.what for line in play.heard(run("work")) if isinstance(line.what, PlanState)]
    assert [(one.role, one.by) for one in states[0].seen] == [("floor", None), ("tyres", None)]
    assert [(one.role, one.by) for one in states[-1].seen] == [("floor", "flo"), ("tyres", "tom")]


def test_a_role_that_the_plan_does_not_know_is_refused() -> None:
    """Without a role, or with one that no run names: the refusal names those there are."""
    play = session(CREWED, MORE)
    play.at(20).push(command("seen", id="none", by="tom"))
    play.at(21).push(command("seen", id="wrong", by="tom", role="tyre"))
    play.want(refused("none", reason=has("name the role")), times=1)
    play.want(refused("wrong", reason=has("tyre")), times=1)
    play.run(until=30)
