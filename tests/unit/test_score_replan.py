"""The score of the advice: a world alike for all, what a plan was worth, the clairvoyant, and the figures."""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from typing import Any

import pytest

from pitwall.forecast.advice import advise
from pitwall.model.advice import Advice, AdviceAnswer, AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity
from pitwall.model.plan import Plan
from pitwall.rehearsal.scenario import FlagHabits, ScriptedFlag
from simulations.replan_driving import Done
from simulations.replan_plans import (
    LastFirst,
    Leaving,
    Listed,
    clairvoyant,
    clairvoyant_team,
    drive,
    leaving,
    team_worth,
    worth,
)
from simulations.replan_wall import followed, opened
from simulations.replan_world import EXIT_S, RED_PACE, SLOW_PACE, Fate, laps_with
from simulations.score_forecast_rows import loaded
from simulations.score_replan import Outcome, beats, drawn, figures, main, run, session

FOLDER = Path(__file__).parents[2] / "simulations" / "forecast"
RUNS: list[dict[str, Any]] = [
    {"run": "checks", "want": "must", "laps": "out-in", "after_garage_s": [60, 90, 150]},
    {"run": "holds", "want": "should", "value": 2, "laps": "out, 3 timed, in", "shorten_to": 2,
     "after_garage_s": [120, 200, 400]},
    {"run": "main", "want": "must", "laps": "out, 2 timed, in", "after_garage_s": [120, 200, 400]},
    {"run": "again", "want": "could", "laps": "out, 1 timed, in", "same_as": "main"},
]


def plan(*runs: dict[str, Any]) -> Plan:
    """A plan of car 41."""
    return Plan.model_validate({"plan": 1, "car": "41", "driver": "ines", "session": "forty-minutes",
                                "runs": list(runs or RUNS)})


def fate(seed: int = 1, *flags: ScriptedFlag, duration_s: float = 2400.0, **regulations: Any) -> Fate:
    """A session of one car with that plan and only these flags."""
    made = loaded(str(FOLDER / "calm.yaml"))
    window = made.setup.regulations.sessions[0].model_copy(update={"duration_s": duration_s})
    rules = made.setup.regulations.model_copy(update={"sessions": (window,), **regulations})
    setup = made.setup.model_copy(update={"plans": {"41": plan()}, "regulations": rules})
    scenario = made.scenario.model_copy(update={"flags": FlagHabits(scripted=flags)})
    return Fate(scenario, setup, seed)


def choice(name: str, **more: Any) -> RunChoice:
    """A run of car 41 with two timed laps."""
    activity = Activity(run=name, kind="out", low_s=1, likely_s=1, high_s=1)
    return RunChoice.model_validate({"run": name, "car": "41", "want": "must", "value": 1, "activities": (activity,),
                                     "timed": 2, "fewest": 2} | more)


def printed(world: Fate) -> list[Leaving]:
    """The plan as it stands."""
    return [leaving(world.setup.plans["41"], [(one.run, one.timed_laps)]) for one in world.setup.plans["41"].runs]


def as_planned(asked: AdviceQuestion) -> AdviceAnswer:
    """An adviser who has no advice."""
    kept = Advice(cars=(), musts_chance=1.0, worth=1.0, sentence="nothing")
    return AdviceAnswer(as_planned=kept, best=(), exact=True, bound=1.0)


# -- the world ---------------------------------------------------------------------------------------------------------


def test_a_lap_takes_as_long_whoever_asks_for_it() -> None:
    """Draws go by name and number: their order does not matter, another seed is another day."""
    one, other = fate(), fate()
    there = [one.lap_s("41", "main", "timed", number) for number in range(3)]
    other.work_s("41", "main")
    back = [other.lap_s("41", "main", "timed", number) for number in (2, 1, 0)]
    assert there == back[::-1]
    assert len(set(there)) == 3
    assert fate(2).lap_s("41", "main", "timed", 0) != there[0]


def test_work_takes_no_less_than_is_likely_and_often_more() -> None:
    """Nobody sits in the car before; jobs scatter beyond the plan's pessimistic figure."""
    taken = [fate(seed).work_s("41", "main") for seed in range(200)]
    assert min(taken) == 200.0
    assert 0.4 < sum(one > 200 for one in taken) / 200 < 0.6
    assert 0.03 < sum(one > 400 for one in taken) / 200 < 0.25


def test_a_slow_period_stretches_what_lies_in_it() -> None:
    """Thirty seconds of a lap before it, twenty slow seconds, the rest after it."""
    world = fate(1, ScriptedFlag(at=130, status="slow", lasts=20))
    assert world.lap_end(100.0, 80.0) == pytest.approx(150.0 + 50.0 - 20.0 / SLOW_PACE)
    assert world.lap_end(100.0, 35.0) == pytest.approx(130.0 + 5.0 * SLOW_PACE)
    assert world.lap_end(150.0, 80.0) == 230.0


def test_laps_fall_away_from_the_end() -> None:
    """A cool-down lap that leads to no timed lap goes with them."""
    made = plan({"run": "a", "want": "must", "laps": "out, 2 timed, cool, 1 timed, in"}).runs[0]
    assert laps_with(made, 2) == ("out", "timed", "timed", "in")
    assert laps_with(made, 3) == made.laps


def test_a_red_flag_cuts_a_run_which_then_goes_on() -> None:
    """The lap under way does not count and is driven again behind another out-lap, no sooner than the red is over."""
    calm = fate()
    before = drive(Listed(calm, "41", printed(calm)))
    cut = before["holds"].left_s or 0.0
    world = fate(1, ScriptedFlag(at=cut + 200, status="red", lasts=300))
    after = drive(Listed(world, "41", printed(world)))
    assert after["holds"] == before["holds"] == Done(3, cut)
    again = (after["main"].left_s or 0.0) - (before["main"].left_s or 0.0)
    assert again > 300 - 200 * (RED_PACE - 1)


def test_what_begins_before_the_end_counts_where_it_may_be_finished() -> None:
    """The same lap under the other rule does not count; no car leaves once the time is up."""
    open_end = fate()
    first = [leaving(open_end.setup.plans["41"], [("main", 2)])]
    at = EXIT_S + sum(open_end.lap_s("41", "main", kind, 0) for kind in ("out", "timed"))
    begun = at + open_end.lane_s("41") + 0.5
    assert drive(Listed(fate(duration_s=begun), "41", first))["main"].timed == 2
    assert drive(Listed(fate(duration_s=begun, finish_started_lap=False), "41", first))["main"].timed == 1
    assert drive(Listed(fate(duration_s=1.0), "41", first)) == {}


# -- worth -------------------------------------------------------------------------------------------------------------


def test_worth_is_class_value_and_share_from_the_fewest_on() -> None:
    """25 for a must, 5 for a should, 1 for a could, times value; below the fewest laps nothing."""
    choices = [choice("a", value=2), choice("b", want="should", timed=4, fewest=2), choice("c", want="could")]
    done = {"a": Done(2, 10.0), "b": Done(3, 10.0), "c": Done(1, 10.0)}
    assert worth(choices, done) == 50 + 5 * 3 / 4
    assert worth(choices, done | {"b": Done(1, 10.0)}) == 50
    assert worth(choices, {"a": Done(5, 10.0)}) == 50


def test_worth_hangs_on_originals_groups_and_times() -> None:
    """Nothing without the run it repeats, nothing of half a group, nothing that left too late or not at all."""
    pair = [choice("a", group="g"), choice("b", group="g")]
    assert worth(pair, {"a": Done(2, 1.0)}) == 0
    assert worth(pair, {"a": Done(2, 1.0), "b": Done(2, 1.0)}) == 50
    repeat = [choice("a"), choice("b", same_as="a")]
    assert worth(repeat, {"b": Done(2, 1.0)}) == 0
    assert worth([choice("a", not_after_s=100)], {"a": Done(2, 101.0)}) == 0
    assert worth([choice("a")], {"a": Done(2, None)}) == 0
    assert worth([choice("a", after_flag=True)], {"a": Done(2, 1.0)}) == 0


# -- who decides -------------------------------------------------------------------------------------------------------


def brute_force(world: Fate, choices: tuple[RunChoice, ...]) -> float:
    """Every order of every choice of runs in every length, each driven from the beginning."""
    most, own = 0.0, world.setup.plans["41"]
    for count in range(1, len(choices) + 1):
        for order in itertools.permutations(choices, count):
            lengths = [range(one.fewest, one.timed + 1) for one in order]
            for timed in itertools.product(*lengths):
                lists = [leaving(own, [(one.run, laps)]) for one, laps in zip(order, timed, strict=True)]
                most = max(most, worth(choices, drive(Listed(world, "41", lists))))
    return most


@pytest.mark.parametrize("seed", range(6))
def test_the_clairvoyant_equals_brute_force(seed: int) -> None:
    """On small sessions with and without red flags: the best of everything that can be listed."""
    flags = (ScriptedFlag(at=300 + 90 * seed, status="red", lasts=200 + 60 * seed),) if seed % 2 else ()
    world = fate(seed, *flags, duration_s=1300.0)
    choices = opened(world.setup)["41"]
    best = clairvoyant(world, "41", world.setup.plans["41"], choices)
    assert best.worth == pytest.approx(brute_force(world, choices))
    assert worth(choices, drive(Listed(world, "41", best.leavings))) == pytest.approx(best.worth)


def test_nobody_beats_the_clairvoyant() -> None:
    """Neither the printed plan nor who drops the last run first nor the product, on any of these days."""
    for seed in range(12):
        world = fate(seed, ScriptedFlag(at=400, status="red", lasts=60 + 100 * seed), duration_s=1500.0)
        choices = opened(world.setup)
        best = clairvoyant_team(world, choices)
        for pilot in (Listed(world, "41", printed(world)),
                      LastFirst(world, "41", world.setup.plans["41"], printed(world), {"checks", "main"})):
            assert team_worth(choices, {"41": drive(pilot)}) <= best + 1e-9
        if seed < 4:
            assert team_worth(choices, followed(world, advise)[0]) <= best + 1e-9


def test_who_drops_the_last_run_first_spares_musts() -> None:
    """With room for two runs the could goes first, then the should; without musts to spare simply the last."""
    world = fate(duration_s=800.0)
    spared = LastFirst(world, "41", world.setup.plans["41"], printed(world), {"checks", "main"})
    spared.leaves_for(0.0)
    assert [one.run for one in spared.ahead] == ["checks", "main"]
    literal = LastFirst(world, "41", world.setup.plans["41"], printed(world), ())
    literal.leaves_for(0.0)
    assert [one.run for one in literal.ahead] == ["checks", "holds"]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_engine_follows_the_printed_plan_where_nothing_is_advised(seed: int) -> None:
    """Told what happens, red flag included, it has the very runs and laps that the list has."""
    world = fate(seed, ScriptedFlag(at=700, status="red", lasts=240))
    done, wall = followed(world, as_planned)
    assert done["41"] == drive(Listed(world, "41", printed(world)))
    assert not wall.refused
    assert wall.adopted == 0


def test_advice_is_adopted_and_driven() -> None:
    """A session too short for all: the must that would be lost is moved forward, and kept."""
    world = fate(4, duration_s=1000.0)
    choices = opened(world.setup)
    done, wall = followed(world, advise)
    assert wall.adopted >= 1
    assert not wall.refused
    assert team_worth(choices, done) > team_worth(choices, {"41": drive(Listed(world, "41", printed(world)))})


# -- the figures -------------------------------------------------------------------------------------------------------


def test_ties_count_half() -> None:
    """One won, one lost, two ties: a half."""
    assert beats([(2, 1), (1, 2), (3, 3), (0, 0)]) == 0.5


def test_figures_of_known_outcomes() -> None:
    """Median and tenth percentile of the shares that were kept; nothing of no session."""
    made = [Outcome("a.yaml", seed, best=100.0, printed=80.0, greedy=90.0, last_first=80.0, product=kept)
            for seed, kept in enumerate((80.0, 90.0, 100.0))]
    found = figures(made)
    assert (found["kept_median"], found["kept_p10"]) == (0.9, 0.82)
    assert (found["beats_printed"], found["beats_greedy"]) == (pytest.approx(2.5 / 3, abs=1e-4), 0.5)
    assert figures([])["sessions_pressed"] == 0


def test_sessions_are_drawn_until_enough_are_pressed() -> None:
    """No more pressed ones than asked for; with no time left what the first handful gave."""
    wanted = drawn(FOLDER, 1)
    found = run(wanted, pressed=1, jobs=1, budget_s=60.0)
    assert sum(one.pressed for one in found) == 1
    assert found[-1].pressed
    assert found[-1].printed <= 0.95 * found[-1].best
    first = found[-1]
    assert session((first.scenario, first.seed)) == first


def test_a_small_run_prints_every_figure(capsys: pytest.CaptureFixture[str]) -> None:
    """Two pressed sessions of the shipped folder: one JSON object with the figures."""
    assert main(["--sessions", "2", "--jobs", "1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {"kept_median", "kept_p10", "beats_printed", "beats_greedy", "sessions_pressed"} <= set(found)
    assert found["sessions_pressed"] == 2
    assert 0 < found["kept_p10"] <= found["kept_median"] <= 1


def test_a_folder_of_sessions_in_windows_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says what is left out."""
    event = FOLDER.parents[1] / "config" / "test_day.yaml"
    (tmp_path / "day.yaml").write_text(f"scenario: 1\nname: day\nevent: {event}\nsession: test-day\n", encoding="utf-8")
    assert main(["--scenarios", str(tmp_path)]) == 2
    assert "in one piece" in capsys.readouterr().err
