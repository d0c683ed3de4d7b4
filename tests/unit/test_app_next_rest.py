"""What is left of a run of which half was driven: nothing of its items goes amiss without a word."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pitwall.app.debrief_left import was_for
from pitwall.app.debrief_run import cut_to_run
from pitwall.app.debriefing import debrief_of
from pitwall.app.next_plan import Draft
from pitwall.cli.debrief import in_words
from pitwall.debrief.contents_summary import summary_sections
from pitwall.engine.run_state import RunState
from pitwall.model.debrief_rows import ItemRow
from pitwall.model.plan import parse_laps
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import PROCEDURES, SPARE, plan, run, setup
from tests.unit.kept_stage import Kept
from tests.unit.test_app_next_plan import BOTH, FIRST, RAIN, SETS, WET, drafted

HOLD_ON_COOL = {"do": "hold", "on": "cool", "after": "turn 1", "want": "must"}
STEP = {"do": "bias_step", "with": {"switch": "brake_bias", "by": -1}, "want": "should"}
WARM = {"do": "warm_up", "on": "out", "want": "must"}
WARM_UP = Procedure.model_validate({"procedure": 1, "name": "warm_up", "purpose": "test", "needs_lap": "next",
                                    "laps": ["out", "cool"], "steps": [{"say": "Two hard stops.", "short": "Stops",
                                                                        "where": "lap_end", "offset_s": -25}]})
DROPPED = {"do": "comment", "on": {"timed": [1, 2]}, "want": "must"}


def ended_early(
    folder: Path, laps: str, item: dict[str, Any], *seconds: float, red: bool = False, more: tuple[Any, ...] = (),
    taken_out: bool = True, **changes: Any,
) -> Draft:  # fmt: skip
    """The draft after a run of which these laps were driven behind the out-lap, none of its items on any of them: taken
    out by the desk, or its call skipped."""
    procedures = {**PROCEDURES, "warm_up": WARM_UP}
    planned = plan(FIRST | {"laps": laps, "items": [item, *more]} | changes)
    stage = Kept(setup(planned, regulations=BOTH, procedures=procedures)).green()
    for one in (item, *more) if taken_out else ():
        stage.command("drop", run="first", item=one["do"])
    t = stage.leave(200).lap(200, 125, from_exit=True)
    for one in seconds:
        if not taken_out and stage.wait(t + 2).has_call(item["do"]):
            stage.command("skip", call=stage.call(item["do"]).id)
        t = stage.lap(t, one)
    if red:
        stage.status(t + 10, "red")
    stage.home(t)
    return drafted(stage, folder)


def on(draft: Draft) -> list[tuple[str, tuple[int, ...]]]:
    """On which laps of the first run its only item is."""
    (item,) = draft.plan.runs[0].items
    return [(one.kind, one.numbers) for one in item.on]


def test_an_item_left_on_two_laps_goes_on_for_two(tmp_path: Path) -> None:
    """Two of four timed laps were driven, both without it: the two that are left have it, each once."""
    draft = ended_early(tmp_path, "out, 4 timed, in", DROPPED, 100, 100)
    assert (draft.plan.runs[0].run, draft.plan.runs[0].laps) == ("first", ("out", "timed", "timed", "in"))
    assert on(draft) == [("timed", (1, 2))]


@pytest.mark.parametrize(
    ("laps", "item", "driven", "rest", "where"),
    [("out, 4 timed, in", DROPPED, (100, 100, 100), ("out", "timed", "timed", "in"), [("timed", (1, 2))]),
     ("out, timed, cool, timed, in", HOLD_ON_COOL, (100, 150), ("out", "timed", "cool", "in"), [("cool", ())]),
     ("out, timed, cool, 5 timed, in", HOLD_ON_COOL, (100, 150, 100, 100),
      ("out", "timed", "cool", "timed", "timed", "in"), [("cool", ())])],
)  # fmt: skip
def test_where_the_laps_left_are_too_few_for_an_item_the_draft_has_those_that_it_needs(
    laps: str, item: dict[str, Any], driven: tuple[float, ...], rest: tuple[str, ...],
    where: list[tuple[str, tuple[int, ...]]], tmp_path: Path,
) -> None:  # fmt: skip
    """One timed lap is left and the item lacks two, or none of its kind is: the run counts, so what is left of it are
    its items and their laps, and no fewer timed ones than are left. That laps were not driven is told with it."""
    draft = ended_early(tmp_path, laps, item, *driven)
    run = draft.plan.runs[0]
    assert (run.run, run.want, run.laps, run.items[0].want) == ("first-rest", "must", rest, "must")
    assert on(draft) == where
    (told,) = [line for line in draft.decide if line.startswith("first-rest: ")]
    assert "timed laps of first were driven in p1, and no 'shorten_to' says that so few are enough; the draft" in told


def test_of_a_run_that_was_broken_off_it_is_told_where_an_item_has_too_few_laps(tmp_path: Path) -> None:
    """A red flag after three of four: an item that lacks two laps has the one that is left, and a sentence."""
    draft = ended_early(tmp_path, "out, 4 timed, in", DROPPED, 100, 100, 100, red=True)
    assert draft.plan.runs[0].laps == ("out", "timed", "in")
    assert on(draft) == [("timed", ())]
    assert "first: comment was not done on 2 laps, and 1 of them is left" in draft.decide


@pytest.mark.parametrize("whole", [True, False])
def test_what_a_wet_run_did_not_bring_is_told_once_the_dry_plan_is_back(whole: bool, tmp_path: Path) -> None:
    """It was driven, and nobody is owed what is left of it: the draft does not carry it, but says so, and the terminal
    says what was not done."""
    laps = "out, timed, cool, in" if whole else "out, timed, cool, timed, in"
    wet = plan(RAIN | {"want": "must", "laps": laps, "items": [HOLD_ON_COOL]}, tyre_sets=WET,
               starts_with={"tyres": "W1"})  # fmt: skip
    stage = Kept(setup(plan(FIRST | {"items": []}, SPARE, tyre_sets=SETS), regulations=BOTH,
                       alternates={"41": {"wet": wet}})).green()  # fmt: skip
    stage.command("switch_plan", alternate="wet", text="rain")
    stage.command("drop", run="rain", item="hold")
    stage.wait(400).leave(400)
    stage.home(stage.lap(stage.lap(stage.lap(400, 125, from_exit=True), 100), 150))
    stage.wait(stage.now + 60).command("switch_plan", alternate="dry", text="it dries")
    draft = drafted(stage, tmp_path)
    assert "rain" not in [run.run for run in draft.plan.runs]
    (told,) = [line for line in draft.decide if line.startswith("rain: ")]
    assert "of the wet plan alone, which was left again; " in told
    assert "hold on cool-down lap 1 was not done: dropped by desk" in told
    assert ("1 of 2 timed laps were driven" in told) is not whole
    said = in_words(debrief_of(stage.journal(tmp_path)))
    assert [line for line in said if "hold on cool-down lap 1 of rain" in line]


@pytest.mark.parametrize(
    ("laps", "at", "rest", "where"),
    [("out, 4 timed, in", 3, ("out", "timed", "timed", "in"), (2,)),
     ("out, 4 timed, in", 1, ("out", "timed", "timed", "in"), (1,)),
     ("out, 4 timed, in", [2, 4], ("out", "timed", "timed", "timed", "timed", "in"), (2, 4)),
     ("out, 4 timed, in", [2, 3], ("out", "timed", "timed", "timed", "in"), (2, 3)),
     ("out, timed, cool, 2 timed, in", 2, ("out", "timed", "timed", "in"), (2,)),
     ("out, timed, in", 1, ("out", "timed", "in"), (1,))],
)  # fmt: skip
def test_a_comparison_goes_on_with_the_lap_that_it_is_compared_with(
    laps: str, at: Any, rest: tuple[str, ...], where: tuple[int, ...], tmp_path: Path,
) -> None:  # fmt: skip
    """One step of a switch is worth something only beside a lap without it: the lap before it, or the one after where
    none is before, goes on too. A run that had none has none in the draft either."""
    driven = [150 if kind == "cool" else 100 for kind in parse_laps(laps) if kind in ("timed", "cool")]
    draft = ended_early(tmp_path, laps, STEP | {"on": {"timed": at}}, *driven)
    assert (draft.plan.runs[0].run, draft.plan.runs[0].laps) == ("first-rest", rest)
    assert on(draft) == [("timed", where)]


def test_what_is_left_of_a_comparison_that_was_broken_off_has_a_lap_to_compare_it_with(tmp_path: Path) -> None:
    """A red flag before its lap: the laps it was to be compared with were of another session, on other tyres. One is
    put before it, the draft says so, and fewer laps than those two are not enough."""
    step = STEP | {"on": {"timed": 3}}
    draft = ended_early(tmp_path, "out, 3 timed, in", step, 100, 100, red=True)
    assert draft.plan.runs[0].laps == ("out", "timed", "timed", "in")
    assert on(draft) == [("timed", (2,))]
    assert any("first: a timed lap more than were left, for bias_step is compared with it" in one
               for one in draft.decide)  # fmt: skip


@pytest.mark.parametrize(("laps", "driven", "red", "rest"), [
    ("out, 3 timed, cool, in", (100, 100), True, ("out", "timed", "cool", "in")),
    ("out, 2 timed, cool, in", (100, 100, 150), False, ("out", "timed", "cool", "in")),
])
def test_what_readies_a_car_for_no_timed_lap_of_the_plan_is_wanted_for_itself(
    laps: str, driven: tuple[float, ...], red: bool, rest: tuple[str, ...], tmp_path: Path
) -> None:  # fmt: skip
    """On a cool-down lap before the in-lap, where no timed lap follows: the draft has it on that lap, and does not say
    that the lap it makes the car ready for was driven."""
    draft = ended_early(tmp_path, laps, WARM | {"on": "cool"}, *driven, red=red)
    assert draft.plan.runs[0].laps == rest
    assert on(draft) == [("cool", ())]
    assert not [line for line in draft.decide if "no such lap is left" in line or "makes the car ready" in line]


def test_a_lap_behind_a_step_that_is_not_put_back_is_none_to_compare_with(tmp_path: Path) -> None:
    """The laps that are left all have the step: the draft has one more before it, without."""
    draft = ended_early(tmp_path, "out, 4 timed, in", STEP | {"on": {"timed": 2}, "put_back": False, "why": "stays"},
                        100, 100, red=True)
    assert draft.plan.runs[0].laps == ("out", "timed", "timed", "timed", "in")
    assert on(draft) == [("timed", (2,))]


def test_nobody_leaves_the_garage_to_warm_the_tyres_alone(tmp_path: Path) -> None:
    """The laps it was to make the car ready for were driven: a warm-up that was not done is told, and no run is drafted
    for it. Beside something else that is left it goes on, and makes that no more wanted than it is."""
    draft = ended_early(tmp_path, "out, 2 timed, in", WARM, 100, 100)
    assert draft.plan.runs == ()
    assert ("first: warm_up on out-lap was not done (dropped by desk); the laps that it makes the car ready for were "
            "driven, so it is carried nowhere. Are they worth what they were for?") in draft.decide
    beside = {"do": "hold", "on": "in", "after": "turn 1", "want": "could"}
    rest = ended_early(tmp_path, "out, 2 timed, in", WARM, 100, 100, more=(beside,)).plan.runs[0]
    assert (rest.run, rest.want, rest.laps, [one.do for one in rest.items]) == (
        "first-rest", "could", ("out", "in"), ["hold"])
    step = STEP | {"on": {"timed": 2}}
    rest = ended_early(tmp_path, "out, 2 timed, in", WARM, 100, 100, more=(step,)).plan.runs[0]
    assert (rest.want, rest.laps, [one.do for one in rest.items]) == (
        "should", ("out", "timed", "timed", "in"), ["warm_up", "bias_step"])


def to_do(draft: Draft, folder: Path) -> str:
    """What the first page of the debrief of that session says is to be done next."""
    whole = debrief_of(folder / draft.journal)
    return str(summary_sections(whole.cars[0], whole)[1].blocks)


def test_the_debrief_asks_for_no_warm_up_that_the_next_plan_carries_nowhere(tmp_path: Path) -> None:
    """Its laps were driven: it stands beside what is to be done, as in the draft. Where its lap goes on it is to be
    done."""
    draft = ended_early(tmp_path, "out, 2 timed, in", WARM, 100, 100)
    said = to_do(draft, tmp_path)
    assert "Nothing is left of the plan." in said
    assert "warm up of first on out-lap." in said
    assert "left out above, for the laps that it makes the car ready for were driven" in said
    of_one = cut_to_run(debrief_of(tmp_path / draft.journal), "first", "41")
    said = str(summary_sections(of_one.cars[0], of_one)[1].blocks)
    assert "Nothing is left of first; other runs are not here." in said
    said = to_do(ended_early(tmp_path, "out, 4 timed, in", WARM, 100, red=True), tmp_path)
    assert "Must: warm up of first:" in said
    assert "left out above" not in said
    cool = WARM | {"on": "cool"}
    said = to_do(ended_early(tmp_path, "out, 1 timed, cool, 3 timed, in", cool, 100, 150, 100, red=True), tmp_path)
    assert "Must: warm up of first:" not in said
    assert "warm up of first on cool-down lap 1." in said


@pytest.mark.parametrize(("want", "item", "more", "taken_out", "wanted"), [
    ("must", STEP, (), False, "must"),       # a must run, and its comparison was not made
    ("must", STEP, ({"do": "hold", "on": "in", "after": "turn 1"},), False, "must"),  # whatever else it has
    ("must", STEP, (), True, "should"),      # somebody took it out: it is wanted as it is written
    ("must", STEP | {"want": "could"}, (), False, "could"),
    ("should", STEP | {"want": "must"}, (), False, "should"), ("should", STEP, (), False, "should"),
])  # fmt: skip
def test_a_must_that_brought_nothing_of_what_it_was_for_stays_a_must(
    want: str, item: dict[str, Any], more: tuple[Any, ...], taken_out: bool, wanted: str, tmp_path: Path
) -> None:  # fmt: skip
    """Its laps were driven, its comparison failed: the car has to go out for it again. Draft and debrief say so."""
    item = item | {"on": {"timed": 2}}
    draft = ended_early(tmp_path, "out, 2 timed, in", item, 100, 100, more=more, taken_out=taken_out, want=want)
    assert (draft.plan.runs[0].run, draft.plan.runs[0].want) == ("first-rest", wanted)
    (car,) = debrief_of(tmp_path / draft.journal).cars
    assert car.items[0].wanted == (item["want"] if want == "should" else wanted)
    assert car.runs[0].in_part == (car.items[0].wanted == "must")
    assert (f"{car.items[0].wanted.capitalize()}: bias step of first:" in to_do(draft, tmp_path)) == (wanted != "could")


def test_a_must_of_which_one_comparison_was_made_brought_something() -> None:
    """The other is wanted as it is written. A run with timed laps brought those; one without is for its data, and a
    question yields none."""
    laps, holds = (RunState(run(run="first"), parse_laps(one)) for one in ("out, 2 timed, in", "out, cool, in"))
    rows = [ItemRow(item=f"first-{number}", do=do, run="first", lap="timed lap 1", want="should", outcome=outcome)
            for number, (do, outcome) in enumerate((("bias_step", "done"), ("bias_step", "not_done"),
                                                    ("comment", "not_done"), ("hold", "not_done")))]
    told = PROCEDURES | {"comment": PROCEDURES["comment"].model_copy(update={"data_window": "none"})}
    assert was_for(laps, rows, told) == frozenset()
    assert was_for(laps, rows[1:], told) == {"first-1"}
    assert was_for(laps, rows[2:], told) == frozenset()
    assert was_for(holds, rows[2:], told) == {"first-3"}
    assert was_for(holds, rows[2:3], told) == frozenset()
