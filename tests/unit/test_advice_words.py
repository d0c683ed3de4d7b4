"""What is said of a changed plan, the red-flag ladder, and work to pull forward."""

from __future__ import annotations

import pytest

from pitwall.forecast.advice import advise
from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_words import Wording
from pitwall.model.advice import AdviceQuestion
from tests.unit.advice_plans import choice, question

HOLDS = choice("holds", "out 3 in", want="should", value=3, spread=0.1)
BASELINE = choice("baseline", "out 4 in", want="must", spread=0.1, fewest=3)
LONG = choice("long", "out 8 in", want="could", spread=0.1, fewest=5)


def pressed(left_s: float = 980.0, **rest: object) -> AdviceQuestion:
    """A hold, the must, and a long run: not all of it fits."""
    return question([HOLDS, BASELINE, LONG], left_s, futures=500, **rest)  # type: ignore[arg-type]


def test_a_sentence_says_what_changes_what_it_buys_and_what_it_costs() -> None:
    """In the words of the trade, with both chances."""
    answer = advise(question([HOLDS, BASELINE], 700.0, futures=500, confidence=0.9))
    sentences = [one.sentence for one in answer.best]
    assert answer.as_planned.musts_chance < 0.1
    assert any("baseline fits in" in one and "% of futures instead of" in one for one in sentences), sentences
    assert any("lost: holds (a should, " in one for one in sentences), sentences


def test_laps_that_are_given_up_are_counted() -> None:
    """How many of how many, of which run, and that the run still counts; no figure of worth that nobody can read."""
    runs = [choice("baseline", "out 4 in", want="must", fewest=2, before=("compare",)),
            choice("compare", "out 2 in", want="must")]
    assert advise(question(runs, 1000.0)).best[0].sentence == (
        "Shorten baseline to 3 timed laps: compare fits in 100 % of futures instead of 0 %; "
        "lost: 1 of the 4 timed laps of baseline (a must, which still counts).")


def test_the_plan_as_it_stands_is_not_recommended_where_a_better_one_is_known() -> None:
    """It is told for comparison, by its share of the value or by its musts; the proposal alone says what to do."""
    better = advise(question([choice("a", "out 8 in", want="could"), choice("b", "out 2 in", value=5)], 900.0))
    assert better.best[0].worth > 20 * better.as_planned.worth
    assert better.as_planned.sentence == "The plan as it stands: 4 % of its value is kept."
    musts = advise(question([choice("a", "out 6 in", fewest=2), choice("b", "out 3 in", want="must")], 1300.0))
    assert musts.best[0].musts_chance == 1.0
    assert musts.as_planned.sentence == "The plan as it stands: all musts fit in 0 % of futures."


def test_only_the_best_plan_is_worth_most_and_only_when_that_is_proven() -> None:
    """A search that was ended early says that it found nothing better; a second choice says what it keeps."""
    asked = question([choice("a", "out 3 in"), choice("b", "out 2 in", want="could")], 6000.0)
    answer, desk = advise(asked), Desk.of(asked)
    assert (answer.exact, answer.best[0].sentence) == (
        True, "Leave the plan as it is: it is worth most as it stands.")
    base = desk.team(desk.calendar()).judge(desk.as_it_stands)
    said = [Wording(desk.models).sentence(base, base, None, proven) for proven in (False, None)]
    assert said == ["Leave the plan as it is: no better plan was found.",
                    "Leave the plan as it is: 100 % of its value is kept."]


def test_what_would_not_have_fitted_is_no_loss() -> None:
    """A run that nobody could have done is told apart from one that is given up."""
    runs = [choice("a", "out 9 in"), choice("b", "out 2 in", want="must")]
    assert advise(question(runs, 600.0)).best[0].sentence == (
        "Drop a: b fits in 100 % of futures instead of 0 %; a (a should) would not have fitted.")


def test_half_of_a_group_that_is_given_up_says_that_it_is_worth_nothing_alone() -> None:
    """A must that fits goes for a could where the plan itself says that it is nothing without one that does not fit:
    the sentence says so. A must that stands alone is never given."""
    base = choice("base", "out 3 in", want="must", before=("soft", "long"))
    soft = choice("soft", "out 6 in", want="must", before=("long",))
    long = choice("long", "out 4 in", want="could")
    both = [one.model_copy(update={"group": "ab"}) for one in (base, soft)]
    assert advise(question([*both, long], 720.0)).best[0].sentence.startswith(
        "Drop base and drop soft: long fits in 100 % of futures instead of 0 %; all musts fit in 0 % of futures; "
        "lost: base (a must, 100 % as planned, worth nothing without soft: group ab); soft (a must) would not have "
        "fitted")
    alone = advise(question([base, soft, long], 720.0))
    assert all("drop base" not in one.sentence.lower() for one in alone.best)


def test_without_a_run_that_becomes_likelier_the_share_of_the_value_is_told() -> None:
    """More laps of a run that fits anyway: so much of what is still to be done is kept."""
    runs = [choice("a", "out 4 in", fewest=1), choice("b", "out 5 in", fewest=1, value=3)]
    assert advise(question(runs, 1000.0)).best[0].sentence == (
        "Drop a: 75 % of the plan's value is kept instead of 40 %; lost: a (a should, 100 % as planned).")


def test_the_wanted_confidence_is_kept_or_said_to_be_out_of_reach() -> None:
    """With time for it the must is as sure as demanded; without, the sentence tells the most that can be had."""
    assert advise(pressed()).best[0].musts_chance >= 0.9
    short = advise(question([BASELINE], 290.0, futures=500))
    assert short.best[0].musts_chance < 0.9
    assert short.reachable == pytest.approx(short.best[0].musts_chance)
    assert "no plan does all musts" in short.best[0].sentence


def test_proposals_do_other_runs() -> None:
    """Three variations of one lap are one proposal."""
    best = advise(pressed(1500.0)).best
    done = [frozenset(run.run for car in plan.cars for run in car.runs) for plan in best]
    assert len(done) == len(set(done))
    assert len(done) <= 3


def test_a_proposal_that_hangs_on_a_value_says_so() -> None:
    """Two runs of nearly the same worth, time for one: a fifth more for the other would put it first."""
    near = [choice("a", "out 3 in", value=1.0), choice("b", "out 3 in", value=1.1)]
    flips = advise(question(near, 700.0)).best[0].flips
    assert flips is not None
    assert "20 %" in flips
    far = [choice("a", "out 3 in", value=1.0), choice("b", "out 3 in", value=3.0)]
    assert advise(question(far, 700.0)).best[0].flips is None


def test_runs_that_follow_without_a_stop_are_told_together() -> None:
    """The in-lap, the work and the out-lap fall away, and with them the time that they take."""
    second = choice("b", "out 3 in", merges_with=("a",))
    plan = advise(question([choice("a", "out 3 in"), second], 800.0)).best[0]
    assert plan.cars[0].runs[1].with_run == "a"
    assert "Go on from a to b without a stop" in plan.sentence


def test_a_run_that_another_car_does_says_whose_it_is() -> None:
    """The car that has time does it."""
    busy = [choice("a", "out 6 in", want="must"), choice("b", "out 3 in", want="must", also_on=("58",))]
    plan = advise(question([*busy, choice("c", "out 1 in", car="58")], 1150.0)).best[0]
    moved = [run for car in plan.cars if car.car == "58" for run in car.runs if run.from_car == "41"]
    assert [run.run for run in moved] == ["b"]
    assert "Let car 58 do b" in plan.sentence


def test_ladder_has_a_step_for_each_restart() -> None:
    """The later it goes on, the less is to be had; each step is the best plan for that moment."""
    asked = pressed(2400.0, status="red", restart_s=(240.0, 480.0, 720.0))
    answer = advise(asked)
    assert [step.restart_s for step in answer.ladder] == [240.0, 480.0, 720.0]
    worths = [step.best.worth for step in answer.ladder]
    assert worths == sorted(worths, reverse=True)
    assert all(step.best.musts_chance >= 0.9 for step in answer.ladder)


def test_a_ladder_step_is_what_a_session_would_bring_that_goes_on_then() -> None:
    """Without interruptions a restart in so many seconds is a session so much shorter."""
    step = advise(pressed(2400.0, status="red", restart_s=(500.0,))).ladder[0]
    later = question([HOLDS, BASELINE, LONG], 1900.0, t=1100.0, futures=500)
    assert step.best.worth == pytest.approx(advise(later).best[0].worth, abs=0.2)


def test_no_ladder_without_a_red_flag() -> None:
    """Nothing is stopped, so nothing goes on."""
    assert advise(pressed(2400.0, restart_s=(240.0,))).ladder == ()


def test_work_pulled_forward_may_save_the_plan_as_it_stands() -> None:
    """Without it one of two musts has to go; with it both fit, and the sentence says to keep to the plan."""
    runs = [choice("a", "out 2 in", want="must", work_s=500.0), choice("b", "out 3 in", want="must")]
    step = advise(question(runs, 1500.0, status="red", restart_s=(600.0,))).ladder[0]
    assert step.best.musts_chance == 0.0
    assert step.pull_forward is not None
    assert "all musts fit in 100 % of futures" in step.pull_forward


def test_work_of_a_later_stop_is_pulled_forward_when_that_pays() -> None:
    """Ten minutes of work that fit into the stoppage: worth doing now when time is short, and silent when it is not."""
    runs = [choice("a", "out 2 in", want="must", work_s=500.0, crew=("floor",)), choice("b", "out 3 in", value=3)]
    short = advise(question(runs, 1400.0, status="red", restart_s=(600.0,))).ladder[0]
    assert short.pull_forward is not None
    assert "the work after a (floor)" in short.pull_forward
    assert "8 min" in short.pull_forward
    assert advise(question(runs, 9000.0, status="red", restart_s=(600.0,))).ladder[0].pull_forward is None
    assert advise(question(runs, 1400.0, status="red", restart_s=(100.0,))).ladder[0].pull_forward is None
