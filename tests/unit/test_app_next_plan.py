"""From a journal to a draft of the next plan: what is left, in what state the car is, and what has to be decided."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pitwall.app.debrief_items import NO_COMMENT
from pitwall.app.debriefing import debrief_of
from pitwall.app.loading import read_plan
from pitwall.app.next_plan import Draft, next_plan
from pitwall.app.next_plan_text import draft_text
from pitwall.app.next_rest import laps_for
from pitwall.app.next_runs import _one
from pitwall.app.plan_sheets import read_any, write_any
from pitwall.cli.debrief import in_words
from pitwall.cli.main import main
from pitwall.debrief.contents_summary import summary_sections
from pitwall.engine.run_state import ItemState, RunState, item_states
from pitwall.errors import FileProblem, JournalError, UserError
from pitwall.model.debrief_rows import ItemRow
from pitwall.model.plan import NOTES_MOST, Item, Plan, parse_laps
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import CHECKS, MAIN, PROCEDURES, SPARE, plan, regulations, setup, shipped
from tests.unit.kept_stage import Kept

CONFIG = Path(__file__).parents[2] / "config"
SETS = {"A1": {"compound": "hard", "laps": 14}, "B1": {"compound": "medium", "most_laps": 20},
        "C1": {"compound": "soft"}}  # fmt: skip
HOLD = {"do": "hold", "on": ["out", "in"], "after": "turn 1", "want": "must"}
FIRST = MAIN | {"run": "first", "tyres": "B1", "fuel_kg": 30, "items": [HOLD]}
REPEAT = SPARE | {"run": "repeat", "same_as": "first", "want": "must", "group": "a-b"}
LATER = SPARE | {"run": "later", "release": {"not_before": 1800, "gap_ahead_s": 8}, "window": "1",
                 "items": [{"do": "comment", "on": "in", "when": {"not_before": 2000}}]}  # fmt: skip
BOTH = regulations().model_copy(update={"sessions": tuple(
    regulations().sessions[0].model_copy(update={"session": name}) for name in ("p1", "p2"))})


def driven(*runs: dict[str, Any], dropped: str | None = "hold", **more: Any) -> Kept:
    """The first run is driven, without its hold or without the item of this key: out, two timed laps, in."""
    made = Kept(setup(plan(*(runs or (FIRST, REPEAT, LATER)), tyre_sets=SETS, starts_with={"tyres": "A1"}, **more),
                      regulations=BOTH)).green()  # fmt: skip
    if dropped is not None:
        made.command("drop", run=runs[0]["run"] if runs else "first", item=dropped)
    t = made.leave(200).lap(200, 125, from_exit=True)
    for seconds in (100, 100):
        t = made.lap(t, seconds)
    made.home(t)
    return made


def drafted(made: Kept, folder: Path, **more: Any) -> Draft:
    """The draft after the session was closed."""
    return next_plan(made.close().journal(folder), **more)


def told_of(made: Draft) -> list[str]:
    """What the draft notes of the session that is over."""
    return [line.removeprefix("[from p1] ") for line in made.plan.notes.splitlines() if line.startswith("[from p1] ")]


def test_what_was_not_driven_goes_on_and_says_where_it_comes_from(tmp_path: Path) -> None:
    """Runs that were not driven stand there as they were; of one that was, only the items that are missing."""
    made = drafted(driven(), tmp_path)
    assert [run.run for run in made.plan.runs] == ["first-rest", "repeat", "later"]
    assert made.plan.session == "p2"
    rest = made.plan.runs[0]
    assert [(item.do, [one.kind for one in item.on]) for item in rest.items] == [("hold", ["out", "in"])]
    assert (rest.want, rest.purpose, rest.tyres) == ("must", "what is left of first", "B1")
    assert rest.laps == ("out", "in"), "nothing is left to do on its timed laps"
    assert any("the draft asks for out-in, of out, 2 timed, in" in one for one in made.decide)
    assert "hold on out-lap was not done: dropped by desk" in made.sources["first-rest"]
    assert made.sources["repeat"].startswith("skipped in p1")


UNSEEN = Procedure.model_validate({
    "procedure": 1, "name": "set_one", "purpose": "test", "laps": ["timed"], "switches": {"{switch}": "{position}"},
    "arguments": {"switch": {"type": "switch"}, "position": {"type": "position"}}, "done_when": ["switch", "crossing"],
    "data_window": "lap", "steps": [{"say": "Comparison lap.", "short": "Comparison", "where": "lap_start"}]})


def test_a_comparison_that_nobody_saw_is_asked_about(tmp_path: Path) -> None:
    """Its words were confirmed, its switch was never seen: no proof, and no reason to drive it again without a word.
    The draft says so, and the debrief says what is lacking."""
    compare = {"do": "set_one", "on": {"timed": 2}, "with": {"switch": "brake_bias", "position": 57}, "want": "must"}
    made = Kept(setup(plan(FIRST | {"items": [compare]}, tyre_sets=SETS, starts_with={"tyres": "A1"}),
                      regulations=BOTH, procedures={**PROCEDURES, "set_one": UNSEEN})).green()  # fmt: skip
    t = made.lap(made.leave(200).lap(200, 125, from_exit=True), 100)
    made.wait(t + 2)
    call = made.call("set_one").id
    made.command("said", call=call)
    made.command("confirm", call=call)
    made.home(made.lap(t, 100))
    draft = drafted(made, tmp_path)
    (told,) = [one for one in draft.decide if "only probably done" in one]
    assert told == ("first: set_one on timed lap 2 was only probably done (confirmed, desk; nothing shows its switch); "
                    "the draft does not ask for it again. Is that sure enough")
    (row,) = debrief_of(made.journal(tmp_path)).cars[0].items
    assert (row.outcome, row.reason) == ("probably_done", "confirmed, desk; nothing shows its switch")


def test_a_run_that_somebody_dropped_is_asked_about(tmp_path: Path) -> None:
    """It was taken out on purpose, for want of time or for good: only a person knows which."""
    made = driven()
    made.command("drop", run="repeat", text="never again")
    draft = drafted(made, tmp_path)
    assert "repeat" in [run.run for run in draft.plan.runs]
    (told,) = [one for one in draft.decide if one.startswith("repeat: it was dropped in p1")]
    assert "is it wanted all the same" in told
    assert not [one for one in draft.decide if one.startswith("later: it was dropped")]


def test_a_session_that_the_regulations_do_not_have_is_asked_about(tmp_path: Path) -> None:
    """A slip of the hand makes a plan that no event has; another event's session may be meant."""
    made = driven()
    made.status(3600, "closed")
    path = made.journal(tmp_path)
    (told,) = [one for one in next_plan(path, session="fp9").decide if one.startswith("session: ")]
    assert told.startswith("session: fp9 is none of the regulations of ")
    assert "(p1, p2)" in told
    assert not [one for one in next_plan(path, session="p2").decide if one.startswith("session: ")]


def test_what_is_left_of_a_must_is_wanted_as_it_is_itself(tmp_path: Path) -> None:
    """A must was driven, and a could of it was not done: nobody has to leave the garage for that."""
    could = FIRST | {"items": [{**item, "want": "could"} for item in FIRST["items"]]}
    (rest, *_) = drafted(driven(could), tmp_path).plan.runs
    assert (rest.run, rest.want) == ("first-rest", "could")


def test_what_is_left_of_a_run_gets_a_name_that_no_other_run_has(tmp_path: Path) -> None:
    """The plan in use has a run ``first-rest`` of its own: both go on, and a third name follows where two are there."""
    other = SPARE | {"run": "first-rest"}
    names = []
    for folder, runs in (("two", (FIRST, other)), ("three", (FIRST, other, SPARE | {"run": "first-rest-2"}))):
        (tmp_path / folder).mkdir()
        made = drafted(driven(*runs), tmp_path / folder)
        names.append([run.run for run in made.plan.runs])
        assert made.plan.runs[0].purpose == "what is left of first"
        assert "first was driven in p1" in made.sources[names[-1][0]]
    assert names == [["first-rest-2", "first-rest"], ["first-rest-3", "first-rest", "first-rest-2"]]


def test_a_name_that_is_cut_stays_a_name_of_its_own(tmp_path: Path) -> None:
    """A name of 32 characters has no room for more: its end makes way, also where that meets another run."""
    long = "a" * 32
    made = drafted(driven(FIRST | {"run": long}, SPARE | {"run": f"{long[:27]}-rest"}), tmp_path)
    assert [run.run for run in made.plan.runs] == [f"{long[:25]}-rest-2", f"{long[:27]}-rest"]


def test_a_template_that_has_what_is_left_is_not_given_it_twice(tmp_path: Path) -> None:
    """A draft taken as template for the same journal stays as it is; a run of another purpose that happens to have the
    name takes nothing away."""
    journal = driven().close().journal(tmp_path)
    first = next_plan(journal).plan
    assert [run.run for run in next_plan(journal, template=first).plan.runs] == [run.run for run in first.runs]
    chance = next_plan(journal, template=plan(SPARE | {"run": "first-rest"}, tyre_sets=SETS)).plan
    assert [run.run for run in chance.runs] == ["first-rest", "first-rest-2", "repeat", "later"]


def test_a_draft_that_makes_no_plan_says_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A name of a session that is none, or a template with a run twice: the place and what is found there, no
    traceback, and nothing is written."""
    stage = driven()
    stage.status(3600, "closed")
    journal, target = stage.journal(tmp_path), tmp_path / "next.yaml"
    assert main(["plan", "next", str(journal), "--out", str(target), "--session", "the next one!"]) == 1
    said = capsys.readouterr().err
    for words in (f"draft from {journal.name}: session: found 'the next one!'", "nothing was written"):
        assert words in said
    assert "Traceback" not in said
    assert not target.exists()
    twice = plan(SPARE).model_copy(update={"runs": plan(SPARE).runs * 2})
    with pytest.raises(FileProblem, match=r"runs\[1\]\.run: found run named twice: spare"):
        next_plan(journal, template=twice)


@pytest.mark.parametrize(
    ("laps", "legs", "needed"),
    [("out, 3 timed, in", (2,), (0, 2, 4)), ("out, 2 timed, cool, timed, cool, in", (3,), (0, 2, 3, 6)),
     ("out, cool, in", (1,), (0, 1, 2)), ("out, timed, in", (0,), (0, 2)), ("installation", (0,), (0, 1))],
)  # fmt: skip
def test_what_is_left_needs_its_own_laps(laps: str, legs: tuple[int, ...], needed: tuple[int, ...]) -> None:
    """Out and in, those of the items, and a timed one before a cool-down lap; all, where an item may be on several."""
    item, kinds = Item(do="hold"), parse_laps(laps)
    left = [ItemState("one", item, leg) for leg in legs]
    assert laps_for(kinds, left, left, PROCEDURES) == needed
    waits = [ItemState("one", item, legs[0], may_be_on=(0, 1))]
    assert laps_for(kinds, waits, waits, PROCEDURES) == tuple(range(len(kinds)))


def test_what_is_left_of_a_run_is_wanted_as_the_run_was(tmp_path: Path) -> None:
    """A could run with a must item stays a could run; the item keeps its own want inside it."""
    made = drafted(driven(FIRST | {"want": "could"}, REPEAT), tmp_path)
    rest = made.plan.runs[0]
    assert (rest.run, rest.want, rest.items[0].want) == ("first-rest", "could", "must")


def test_an_item_goes_on_for_the_laps_that_are_missing(tmp_path: Path) -> None:
    """Done on the out-lap, it is left for the in-lap alone."""
    made = drafted(driven(dropped="first-1-hold-3"), tmp_path)
    assert [(one.do, [choice.kind for choice in one.on]) for one in made.plan.runs[0].items] == [("hold", ["in"])]


def test_what_bound_a_run_to_the_old_session_is_cut_and_told(tmp_path: Path) -> None:
    """Times, windows, groups and runs that it repeated: copied or left out, and each is to be decided."""
    made = drafted(driven(), tmp_path)
    repeat, later = made.plan.find("repeat"), made.plan.find("later")
    assert repeat is not None
    assert later is not None
    assert (repeat.same_as, repeat.fuel_kg, repeat.tyres) == (None, 30, "B1")
    assert (later.release.not_before, later.release.gap_ahead_s, later.window) == (None, 8, None)
    assert later.items[0].when is None
    told = " ".join(made.decide)
    for words in ("session: p2 is the next", "later: when it may leave", "later: its window",
                  "later: when comment may be done", "repeat: it repeated first"):  # fmt: skip
        assert words in told


def test_tyres_and_fuel_are_as_the_car_came_back(tmp_path: Path) -> None:
    """Each set with the laps that are on it now, the one on the car, and the fuel that is left."""
    made = drafted(driven(), tmp_path)
    assert {name: one.laps for name, one in made.plan.tyre_sets.items()} == {"A1": 14, "B1": 4, "C1": 0}
    assert made.plan.starts_with.tyres == "B1"
    assert made.plan.starts_with.fuel_kg is not None
    assert 20 < made.plan.starts_with.fuel_kg < 23, "30 kg less almost four laps of 2 kg"
    assert "tyre set B1 (medium): 4 laps, at most 20, 4 of them in this session" in told_of(made)


WET = {"W1": {"compound": "wet", "laps": 4}, "I1": {"compound": "intermediate"}}
RAIN = SPARE | {"run": "rain", "tyres": "W1"}


def turned_wet(*dry: dict[str, Any], sets: dict[str, Any]) -> Kept:
    """A session with a run on B1 in the dry and one of four laps on W1 in the rain, by the wet plan."""
    wet = plan(RAIN, RAIN | {"run": "drying", "tyres": "I1"}, tyre_sets=WET, starts_with={"tyres": "W1"})
    made = Kept(setup(plan(FIRST | {"items": []}, *dry, tyre_sets=sets), regulations=BOTH,
                      alternates={"41": {"wet": wet}})).green()  # fmt: skip
    t = made.leave(200).lap(200, 125, from_exit=True)
    for seconds in (100, 100):
        t = made.lap(t, seconds)
    t = made.home(t)
    made.wait(t + 60).command("switch_plan", alternate="wet", text="rain")
    t = made.wait(t + 600).leave(t + 600).lap(t + 600, 125, from_exit=True)
    made.home(made.lap(t, 100))
    return made.close()


def gone_wet(folder: Path, *dry: dict[str, Any], sets: dict[str, Any], **more: Any) -> Draft:
    """The draft after that session."""
    return next_plan(turned_wet(*dry, sets=sets).journal(folder), **more)


def test_back_on_the_dry_plan_nobody_is_owed_the_runs_of_the_wet_one(tmp_path: Path) -> None:
    """It dried before a wet run was driven: neither the draft nor the first page asks for one, and both say so."""
    wet = plan(RAIN | {"items": [{"do": "comment", "on": "in"}]}, tyre_sets=WET, starts_with={"tyres": "W1"})
    made = Kept(setup(plan(FIRST | {"items": []}, LATER, tyre_sets=SETS), regulations=BOTH,
                      alternates={"41": {"wet": wet}})).green()  # fmt: skip
    made.command("switch_plan", alternate="wet", text="rain")
    made.wait(400)
    made.command("switch_plan", alternate="dry", text="it dries")
    draft = drafted(made, tmp_path)
    assert [run.run for run in draft.plan.runs] == ["first", "later"]
    assert any(line.startswith("rain: of the wet plan alone, which was left again") for line in draft.decide)
    whole = debrief_of(made.journal(tmp_path))
    first, next_up = (section.blocks for section in summary_sections(whole.cars[0], whole)[:2])
    assert first[0].text.startswith("0 of 2 runs done. Of 1 item 0 done")
    assert "rain" not in str(next_up)
    assert not [line for line in in_words(whole) if "of rain" in line]


def test_laps_in_the_dry_keep_their_compound_once_the_wet_plan_is_in_use(tmp_path: Path) -> None:
    """The lap table asks every plan of the day what a set is, not only the plan that was in use last."""
    (car,) = debrief_of(turned_wet(sets=SETS).journal(tmp_path)).cars
    assert {(lap.tyres, lap.compound) for lap in car.laps} == {("B1", "medium"), ("W1", "wet")}


def test_sets_of_every_plan_of_the_day_are_in_the_draft(tmp_path: Path) -> None:
    """The session went over to its wet plan: the sets of the dry one keep their laps, and runs of both find theirs."""
    made = gone_wet(tmp_path, LATER | {"tyres": "C1", "window": None}, sets=SETS)
    laps = {name: one.laps for name, one in made.plan.tyre_sets.items()}
    assert (laps["A1"], laps["B1"], laps["C1"], laps["I1"]) == (14, 4, 0, 0)
    assert laps["W1"] > 4
    assert made.plan.starts_with.tyres == "W1"
    assert {"later", "drying"} <= {run.run for run in made.plan.runs}
    assert {run.tyres for run in made.plan.runs} <= set(laps)
    assert "tyre set B1 (medium): 4 laps, at most 20, 4 of them in this session" in told_of(made)
    assert f"tyre set W1 (wet): {laps['W1']} laps, {laps['W1'] - 4} of them in this session" in told_of(made)
    assert "tyre set I1 (intermediate): unused" in told_of(made)


def test_a_set_that_two_plans_name_has_the_laps_with_which_the_day_began(tmp_path: Path) -> None:
    """The wet plan counts I1 otherwise than the dry one: nobody drove on it, and no lap of it is of this session."""
    made = gone_wet(tmp_path, sets=SETS | {"I1": {"compound": "intermediate", "laps": 3}})
    assert "tyre set I1 (intermediate): 3 laps, none of them in this session" in told_of(made)


def test_a_set_of_which_no_plan_says_what_it_is_is_to_be_filled_in(tmp_path: Path) -> None:
    """The dry plan has no allocation, the wet one has: a carried run of the dry finds its set, and its compound is
    asked for."""
    made = gone_wet(tmp_path, LATER | {"tyres": "C1"}, LATER | {"run": "last", "tyres": "B1"}, sets={})
    sets = made.plan.tyre_sets
    assert (sets["C1"].compound, sets["C1"].laps, sets["B1"].laps) == ("unknown", 0, 4)
    assert [line for line in made.decide if line.startswith("tyre_sets")] == [
        f"tyre_sets: what compound {label} is; no plan of the day says so" for label in ("C1", "B1")]


def broken_off(folder: Path, laps: str, items: list[dict[str, Any]], *timed: float, **more: Any) -> Draft:
    """The draft after a red flag cut the first run behind its out-lap and so many timed laps."""
    stage = Kept(setup(plan(FIRST | {"laps": laps, "items": items} | more, SPARE), regulations=BOTH)).green().leave(200)
    t = stage.lap(200, 125, from_exit=True)
    for seconds in timed:
        t = stage.lap(t, seconds)
    stage.status(t + 10, "red")
    stage.home(t)
    return drafted(stage, folder)


def test_of_a_run_that_was_broken_off_what_is_left_goes_on(tmp_path: Path) -> None:
    """Cut by a red flag after one of six timed laps: five are left; whether they are worth it is to be decided, and
    how the whole run would be written stands beside it."""
    made = broken_off(tmp_path, "out, 6 timed, in", [HOLD], 100, shorten_to=4)
    run = made.plan.find("first")
    assert run is not None
    assert (run.laps, run.shorten_to, run.fuel_kg) == (("out", *["timed"] * 5, "in"), 3, 30)
    assert any(line.startswith("first: 1 of 6 timed laps were driven in p1") and line.endswith("laps: out, 6 timed, in")
               for line in made.decide)
    assert made.sources["first"].startswith("broken off in p1 after 1 timed lap:")


def test_items_of_a_run_that_was_broken_off_go_on_where_they_are_left(tmp_path: Path) -> None:
    """On laps that are still to be driven they stay; of laps that were driven without them they go to the next of that
    kind; what was done is done."""
    items = [{"do": "flap_lap", "on": {"timed": [1, 3]}},
             {"do": "comment", "on": "in"}]
    made = broken_off(tmp_path, "out, timed, cool, 2 timed, in", items, 100)
    run = made.plan.find("first")
    assert run is not None
    assert run.laps == ("out", "timed", "timed", "in")
    on = {item.do: [(choice.kind, choice.numbers) for choice in item.on] for item in run.items}
    assert on["comment"] == [("in", ())]
    assert on["flap_lap"][-1] == ("timed", (2,))


def test_a_question_about_laps_that_were_not_driven_is_asked_again() -> None:
    """The run was broken off, and no comment came of what was asked on the way in: the rest of the run asks for it. A
    comment that was noted is not asked for again."""
    written = plan(FIRST | {"laps": "out, 2 timed, in", "items": [{"do": "comment", "on": "in"}]}).runs[0]
    state = RunState(written, written.laps, state="cut", timed_done=1, items=item_states(written, written.laps))
    (key,) = [one.key for one in state.items]
    row = ItemRow(item=key, do="comment", run="first", lap="in-lap", want="must", outcome="probably_done",
                  reason=NO_COMMENT)  # fmt: skip
    for outcome, reason, kept in (("probably_done", NO_COMMENT, ["comment"]), ("done", "comment 1 was noted", [])):
        found = _one(state, [row.model_copy(update={"outcome": outcome, "reason": reason})], "p1", (), PROCEDURES)
        assert found is not None
        assert (found.run.laps, [one.do for one in found.run.items]) == (("out", "timed", "in"), kept)


def test_what_fell_away_as_a_run_was_shortened_is_told_and_goes_on(tmp_path: Path) -> None:
    """The desk took the lap of the comparison out of the run: its laps were driven, its point was not. The run is done
    in part, and the draft has the lap again."""
    compared = {"do": "comment", "on": {"timed": 2}, "want": "must"}
    stage = Kept(setup(plan(FIRST | {"items": [HOLD, compared]}, SPARE), regulations=BOTH)).green()
    stage.command("shorten", run="first")
    stage.command("drop", run="first", item="hold")
    t = stage.leave(200).lap(200, 125, from_exit=True)
    stage.home(stage.lap(t, 100))
    draft = drafted(stage, tmp_path)
    lost = "comment on timed lap 2 was not done: dropped: its lap was taken out of the run"
    assert lost in draft.sources["first-rest"]
    rest = draft.plan.runs[0]
    assert rest.laps == ("out", "timed", "in")
    assert {item.do: [(one.kind, one.numbers) for one in item.on] for item in rest.items} == {
        "hold": [("out", ()), ("in", ())], "comment": [("timed", ())]}
    (car,) = debrief_of(stage.journal(tmp_path)).cars
    assert car.runs[0].in_part
    (row,) = [one for one in car.items if one.do == "comment"]
    assert (row.outcome, row.lap, row.reason) == (
        "not_done", "timed lap 2", "dropped: its lap was taken out of the run")


def test_open_complaints_are_told_and_asked_again(tmp_path: Path) -> None:
    """The worst first; the first run with timed laps asks for them, not the out and in that is left of another. What
    was praised later is not told."""
    stage = driven(FIRST, REPEAT)
    stage.command("comment", shorthand="t1 mid us 2; rears hot 4; front lock 3; t1 exit os 2")
    stage.command("comment", shorthand="t1 exit good")
    made = drafted(stage, tmp_path)
    told = "still complained of: "
    assert [line.removeprefix(told) for line in told_of(made) if line.startswith(told)] == [
        "rear hot, severity 4 (ines, first)", "front locking, severity 3 (ines, first)",
        "turn 1 mid: understeer, severity 2 (ines, first)",
    ]
    assert [run.feedback for run in made.plan.runs] == [(), ("tyres", "braking", "balance")]
    assert any("'feedback' asks for what the driver complained of" in line for line in made.decide)


def test_what_the_session_left_stands_in_every_form_of_the_next_plan(tmp_path: Path) -> None:
    """A spreadsheet has no comments: what the car and its driver came back with is part of the plan. Notes that a
    person wrote go on; those that the last draft made were of the session before."""
    stage = driven(FIRST, REPEAT, notes="Crane at turn 4.\n[from p0] fuel: about 3 kg\nFrom 10:00 no fuelling.")
    stage.command("comment", shorthand="rears hot 4")
    made = drafted(stage, tmp_path)
    first, second, *left = made.plan.notes.splitlines()
    assert (first, second) == ("Crane at turn 4.", "From 10:00 no fuelling.")
    assert left
    assert all(line.startswith("[from p1] ") for line in left), left
    for name in ("next.xlsx", "next"):
        write_any(tmp_path / name, made.plan)
        assert read_any(tmp_path / name).notes == made.plan.notes
    written = tmp_path / "next.yaml"
    written.write_text(draft_text(made), encoding="utf-8")
    assert read_any(written) == made.plan
    again = drafted(driven(), tmp_path, template=made.plan.model_copy(update={"runs": made.plan.runs[-1:]}))
    assert again.plan.notes.startswith(made.plan.notes), "what a template says is the person's own"


def test_more_than_a_plan_may_note_is_cut_at_a_line(tmp_path: Path) -> None:
    """It says that there was more."""
    made = drafted(driven(notes="\n".join([f"Line {number}: {'x' * 90}" for number in range(99)])), tmp_path)
    assert len(made.plan.notes) <= NOTES_MOST
    *kept, last = made.plan.notes.splitlines()
    assert last == "..."
    assert kept[98].endswith("xxx")


def test_switches_and_what_came_of_them(tmp_path: Path) -> None:
    """Where they stand at the end, and what the driver said before and after they were moved."""
    stage = driven(FIRST, SPARE)
    stage.command("comment", shorthand="t1 mid us 3")
    bias = {"do": "set_run_switch", "run": "spare", "switch": "brake_bias", "position": 54}
    stage.command("amend", changes=[bias], text="understeer")
    stage.wait(1000).leave(1000)
    t = stage.lap(stage.lap(1000, 125, from_exit=True), 100)
    stage.wait(t + 20)
    stage.command("comment", shorthand="t1 mid us 1")
    stage.home(t)
    made = drafted(stage, tmp_path)
    left = "bias was left at 54; as the session began it stood at "
    assert any(line.startswith(left) for line in told_of(made)), told_of(made)
    (found,) = [line for line in told_of(made) if "then turn 1 mid: understeer, severity 1" in line]
    assert "to 54" in found
    assert "(better, first to spare)" in found


def test_a_template_keeps_its_runs_and_gets_what_is_left(tmp_path: Path) -> None:
    """The next session's own plan comes first; a run that it has already is not carried, sets get their laps."""
    template = plan(CHECKS, REPEAT | {"same_as": None, "group": None},
                    tyre_sets={"B1": {"compound": "medium"}, "D1": {"compound": "soft"}})  # fmt: skip
    template = template.model_copy(update={"session": "p2", "alternates": {"wet": "wet.yaml"}})
    made = drafted(driven(), tmp_path, template=template)
    assert [run.run for run in made.plan.runs] == ["checks", "repeat", "first-rest", "later"]
    assert set(made.sources) == {"first-rest", "later"}
    assert {name: one.laps for name, one in made.plan.tyre_sets.items()} == {"A1": 14, "B1": 4, "C1": 0, "D1": 0}
    assert made.plan.alternates == {"wet": "wet.yaml"}


def test_with_nothing_left_the_draft_says_that_runs_are_missing(tmp_path: Path) -> None:
    """All was done: car and tyres are told all the same."""
    made = drafted(driven(FIRST | {"items": []}), tmp_path)
    assert made.plan.runs == ()
    assert any(line.startswith("runs: nothing was left") for line in made.decide)


def test_the_file_reads_back_to_the_draft(tmp_path: Path) -> None:
    """Its comments are comments, whatever was written in them, and stand above the runs they are of."""
    stage = driven()
    stage.command("drop", run="later", text="rain:\n- run: evil # \x0b\u2028x")
    made = drafted(stage, tmp_path)
    path = tmp_path / "next.yaml"
    path.write_text(draft_text(made), encoding="utf-8")
    assert read_any(path) == made.plan
    lines = path.read_text("utf-8").split("\n")
    at = lines.index("- run: later")
    assert lines[at - 1].startswith("# ")
    assert "dropped in p1" in " ".join(lines[at - 3 : at])
    assert all(len(line) <= 120 for line in lines)


def test_the_draft_of_the_demo_event_passes_the_check(tmp_path: Path) -> None:
    """Nothing was driven and everything is left: the draft has no error once the event names its session; without a
    template and with the session's own plan as one."""
    stage = Kept(shipped())
    stage.command("comment", shorthand="t4 mid us 3; fronts cold 2")
    stage.status(3700, "closed")
    for folder in ("plans", "procedures"):
        (tmp_path / folder).mkdir()
        for file in (CONFIG / folder).iterdir():
            (tmp_path / folder / file.name).write_bytes(file.read_bytes())
    for file in CONFIG.glob("*.yaml"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    event = tmp_path / "event.yaml"
    event.write_text(event.read_text("utf-8").replace("session: practice-1 ", "session: practice-2 "), "utf-8")
    journal = stage.journal(tmp_path)
    template = read_any(CONFIG / "plans" / "plan_41.yaml")
    template = template.model_copy(update={"session": "practice-2", "alternates": {}})
    for given in (None, template.model_copy(update={"runs": template.runs[:1]})):
        made = next_plan(journal, "41", given)
        path = tmp_path / "plans" / "next_41.yaml"
        path.write_text(draft_text(made), encoding="utf-8")
        errors = [one.text() for one in read_plan(path, event).findings if one.severity == "error"]
        assert errors == []
        assert [run.run for run in made.plan.runs] == [run.run for run in shipped().plans["41"].runs]


def test_the_command_writes_the_draft(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says what has to be decided, writes over nothing, and tells machines the same."""
    stage = driven()
    stage.status(3600, "closed")
    journal, target = stage.journal(tmp_path), tmp_path / "next.yaml"
    assert main(["plan", "next", str(journal), "--out", str(target)]) == 0
    shown = capsys.readouterr().out.splitlines()
    assert shown[0].endswith("next.yaml: 3 runs of car 41 for p2")
    assert all(line.startswith("  decide  ") for line in shown[1:])
    assert isinstance(read_any(target), Plan)
    assert main(["plan", "next", str(journal), "--out", str(target)]) == 2
    assert "--force" in capsys.readouterr().err
    assert main(["plan", "next", str(journal), "--out", str(target), "--force", "--session", "p9", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["runs"] == ["first-rest", "repeat", "later"]
    assert read_any(target).session == "p9"
    assert main(["plan", "next", str(journal), "--out", str(tmp_path / "next.xlsx")]) == 2


def test_which_car_is_asked_where_there_are_several(tmp_path: Path) -> None:
    """A journal of two cars, a car that is not in it, a template of another car, no journal: each says what to do."""
    stage = Kept(setup(plan(), plan(car="58"), regulations=BOTH))
    journal = stage.journal(tmp_path)
    assert next_plan(journal, "58").plan.car == "58"
    assert next_plan(journal, template=plan(car="58")).plan.car == "58"
    for more, words in (({}, "41, 58: say which with --car"), ({"car": "7"}, "no car 7: there are 41, 58"),
                        ({"car": "41", "template": plan(car="58")}, "of car 58, not of car 41")):  # fmt: skip
        with pytest.raises(UserError, match=words):
            next_plan(journal, **more)  # type: ignore[arg-type]  # a row of arguments
    with pytest.raises(JournalError):
        next_plan(tmp_path / "none.sqlite")


def test_a_must_that_counts_with_half_of_its_laps_keeps_its_importance_and_the_laps_that_are_left(
    tmp_path: Path,
) -> None:
    """The driver came in after one of two timed laps, and nobody wrote that one is enough: what is left goes on as the
    must that it is, with its timed lap and its items; with ``shorten_to`` only the items would."""
    items = [{"do": "comment", "on": "in"}]
    for fewest, laps in ((None, ("out", "timed", "in")), (1, ("out", "in"))):
        stage = Kept(setup(plan(FIRST | {"laps": "out, timed, cool, timed, in", "items": items, "shorten_to": fewest}),
                           regulations=BOTH)).green().leave(200)  # fmt: skip
        stage.home(stage.lap(stage.lap(200, 125, from_exit=True), 100))
        folder = tmp_path / str(fewest)
        folder.mkdir()
        made = drafted(stage, folder)
        (run,) = made.plan.runs
        assert (run.want, run.laps, [item.do for item in run.items]) == (
            "must" if fewest is None else "should", laps, ["comment"])
        if fewest is None:
            assert made.sources["first"] == "ended in p1 after 1 timed lap: ended early, still counts"
            assert any("1 of 2 timed laps were driven in p1, and no 'shorten_to' says" in one for one in made.decide)
            (car,) = debrief_of(stage.journal(folder)).cars
            assert (car.runs[0].laps_left, car.runs[0].in_part) == (1, True)
