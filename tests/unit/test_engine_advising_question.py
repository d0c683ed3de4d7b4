"""The question for advice: what may be changed of each run that is left, and what may not."""

from __future__ import annotations

from typing import Any

from pitwall.model.advice import RunChoice
from tests.unit.advice_stage import LONG, AdviceStage
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, car_file, plan, setup

SETS = {"A1": {"compound": "hard", "laps": 4, "most_laps": 12}, "B1": {"compound": "soft"}}


def asked(*runs: dict[str, Any], **head: Any) -> dict[str, RunChoice]:
    """What is asked about these runs of car 41 before any of them left."""
    return choices(AdviceStage(setup(plan(*runs, **head))).green())


def choices(made: Any) -> dict[str, RunChoice]:
    """Somebody asks: the choices by run."""
    made.command("advise")
    return {one.run: one for one in made.asked()[-1].question.choices}


def test_each_run_that_is_left_with_its_laps_its_work_and_its_class() -> None:
    """In plan order; what is done is not asked about."""
    made = AdviceStage(setup(plan(CHECKS, MAIN | {"value": 3, "crew": ["floor"]}, LONG))).green()
    made.leave(100)
    made.pit(220, "entry")
    found = choices(made)
    assert list(found) == ["main", "long"]
    main = found["main"]
    assert [one.kind for one in main.activities] == ["out", "timed", "timed", "in"]
    assert (main.want, main.value, main.timed, main.done, main.crew) == ("must", 3, 2, 0, ("floor",))
    assert main.work is not None
    assert (main.work.kind, main.work.likely_s) == ("garage", 300)
    assert (main.under_way, main.possible, main.after_flag) == (False, True, False)


def test_a_run_is_shortened_to_what_counts_and_not_below_what_must_be_done() -> None:
    """Without shorten_to never; with it, no lap goes on which a must sits, nor the timed lap that a must leads to."""
    bias = {"do": "bias_step", "with": {"switch": "brake_bias", "by": -1.0}}
    late = MAIN | {"run": "late", "laps": "out, 4 timed, in", "shorten_to": 1,
                   "items": [bias | {"on": {"timed": 3}, "want": "must"}, bias | {"on": {"timed": 4}}]}  # fmt: skip
    asks = MAIN | {"run": "asks", "laps": "out, 1 timed, cool, 1 timed, in", "shorten_to": 1,
                   "items": [{"do": "comment", "on": "cool", "want": "must"}]}  # fmt: skip
    found = asked(MAIN, LONG, late, asks)
    assert {name: one.fewest for name, one in found.items()} == {"main": 2, "long": 3, "late": 3, "asks": 2}


def test_what_the_car_has_begun_stays() -> None:
    """On its fourth timed lap a run cannot be cut to three; broken off, it is not resumed for nothing."""
    made = AdviceStage(setup(plan(LONG, MAIN))).green()
    made.drive(100, 125, 100, 100, 100)
    long = choices(made)["long"]
    assert (long.under_way, long.done, long.fewest) == (True, 3, 4)
    other = AdviceStage(setup(plan(LONG | {"shorten_to": 5}, MAIN))).green()
    t = other.drive(100, 125, 100)
    other.status(t + 10, "red")
    other.home(t)
    long = choices(other)["long"]
    assert (long.under_way, long.done, long.fewest) == (False, 1, 5)


def test_what_runs_promise_each_other() -> None:
    """Before, same_as with tyres of equal age, group; a partner that is done binds nobody any more."""
    base = MAIN | {"run": "base", "before": ["again"], "group": "a-b", "tyres": "A1"}
    again = MAIN | {"run": "again", "same_as": "base", "group": "a-b", "tyres": "B1"}
    found = asked(base, again, tyre_sets=SETS)
    assert (found["base"].before, found["base"].group) == (("again",), "a-b")
    assert (found["again"].same_as, found["again"].equal_age_with) == ("base", "base")
    made = AdviceStage(setup(plan(base, again, tyre_sets=SETS))).green()
    t = made.drive(100, 125, 100, 100)
    made.home(t)
    left = choices(made)
    assert list(left) == ["again"]
    assert (left["again"].same_as, left["again"].equal_age_with) == (None, None)


def test_tyres_that_may_not_do_many_more_laps() -> None:
    """By the set's limit, less what is on it: at the start, and as driven."""
    run = MAIN | {"tyres": "A1"}
    assert asked(run, tyre_sets=SETS)["main"].tyre_laps_left == 8
    assert asked(MAIN | {"tyres": "B1"}, tyre_sets=SETS)["main"].tyre_laps_left is None
    made = AdviceStage(setup(plan(run, run | {"run": "more"}, tyre_sets=SETS))).green()
    made.home(made.drive(100, 125, 100, 100))
    assert choices(made)["more"].tyre_laps_left == 4


def test_what_the_crew_must_know_before() -> None:
    """The run that they prepare needs no notice; another one first cannot be ready at once."""
    made = AdviceStage(setup(plan(MAIN, LONG))).green()
    found = choices(made)
    assert (found["main"].ready_s, found["long"].ready_s) == (None, made.now + 240)


def test_times_of_leaving_weather_and_the_flag() -> None:
    """The release window; dry only in the wet is not possible; what may be done after the flag always fits."""
    starts = {"run": "starts", "want": "could", "after_flag": "allowed",
              "items": [{"do": "standing_start", "at": "grid"}]}  # fmt: skip
    window = MAIN | {"release": {"not_before": 600, "not_after": 900}}
    found = asked(window, SPARE | {"dry_only": True}, starts)
    assert (found["main"].not_before_s, found["main"].not_after_s) == (600, 900)
    assert found["spare"].possible
    assert (found["starts"].after_flag, found["starts"].timed) == (True, 0)
    wet = AdviceStage(setup(plan(MAIN, SPARE | {"dry_only": True}), wet=True)).green()
    assert not choices(wet)["spare"].possible


def test_runs_that_may_follow_without_a_stop() -> None:
    """Same tyres, fuel for both, same switches and driver, nothing new on its first and last lap, tied to no other."""
    first = MAIN | {"tyres": "B1", "fuel_kg": 30}
    second = LONG | {"tyres": "B1"}
    burns = car_file(fuel_per_lap_kg=2.0, fuel_reserve_kg=2.0)

    def may(changed: dict[str, Any], **more: Any) -> tuple[str, ...]:
        made = AdviceStage(setup(plan(first | more, second | changed, tyre_sets=SETS), cars={CAR: burns}))
        return choices(made.green())["long"].merges_with

    assert may({}) == ("main",)
    assert may({}, fuel_kg=20) == (), "it would run dry: ten laps and the reserve"
    for changed in (
        {"tyres": "A1"}, {"fuel_kg": 40}, {"switches": {"torque_map": 3}}, {"driver": "dana"}, {"group": "g"},
        {"release": {"not_before": 900}}, {"items": [{"do": "comment", "on": "in"}]}, {"before": ["main"]},
    ):  # fmt: skip
        assert may(changed) == (), changed
    assert may({"items": [{"do": "comment", "on": "in"}]}, items=[{"do": "comment", "on": "in"}]) == ("main",)


def test_cars_that_could_do_a_run_as_well() -> None:
    """Named in the plan, with the tyres it wants and no run of that name; tied to its own car, it stays there."""
    wear = SPARE | {"run": "wear", "also_on": ["58", "77"], "tyres": "B1"}

    def may(run: dict[str, Any], *others: dict[str, Any], **head: Any) -> tuple[str, ...]:
        ours = plan(MAIN, run, tyre_sets=SETS)
        made = AdviceStage(setup(ours, plan(*(others or (SPARE,)), car="58", **({"tyre_sets": SETS} | head))))
        return choices(made.green())["wear"].also_on

    assert may(wear) == ("58",)
    assert may(wear, tyre_sets={"C9": {"compound": "soft"}}) == ()
    assert may(wear, SPARE | {"run": "wear"}) == ()
    assert may(wear | {"same_as": "main"}) == ()
    assert may(wear | {"items": [{"do": "hold", "on": "out", "after": "nowhere"}]}) == ()


def test_other_futures_for_each_question_and_the_same_for_the_same() -> None:
    """The seed follows from the settings and the number of the question."""
    first, again = (AdviceStage(setup(plan(MAIN))).green() for _ in range(2))
    for made in (first, again):
        choices(made)
        choices(made)
    seeds = [[one.question.seed for one in made.asked()] for made in (first, again)]  # type: ignore[attr-defined]
    assert seeds[0] == seeds[1]
    assert len(set(seeds[0])) == 2
