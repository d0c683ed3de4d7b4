"""The cross-reference checks on plans built by hand: what each finds, and what it leaves alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pitwall.checks.around import Around
from pitwall.checks.codes import CODES, explain, finding
from pitwall.checks.plan import CHECKS, check_plan
from pitwall.cli.main import main
from pitwall.errors import Finding, path_text
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.track.lapmap import lap_map
from tests.unit.engine_stage import shipped

SETUP = shipped()
CAR = SETUP.cars["41"]
AROUND = Around(
    regulations=SETUP.regulations, circuit=SETUP.circuit, car=CAR, lap=lap_map(SETUP.circuit, CAR, SETUP.calls),
    procedures=SETUP.procedures, drivers=("ines", "bryn"), cars=("41", "58"), car_file="car.yaml",
    circuit_file="circuit.yaml",
)


def run(name: str = "a", **keys: Any) -> dict[str, Any]:
    """A run that is sound but for what the test puts in."""
    return {"run": name, "want": "must", "laps": "out, 3 timed, in", "fuel_kg": 30, **keys}


def item(do: str, on: object = "out", **keys: Any) -> dict[str, Any]:
    """An item."""
    return {"do": do, "on": on, **keys}


def findings(*runs: dict[str, Any], around: Around = AROUND, **head: Any) -> list[Finding]:
    """What the checks say of a plan with these runs."""
    plan = {"plan": 1, "car": 41, "driver": "ines", "session": "practice-1", **head, "runs": list(runs)}
    return list(check_plan(Plan.model_validate(plan), around))


def said(*runs: dict[str, Any], around: Around = AROUND, **head: Any) -> list[tuple[str, str]]:
    """The same as (code, path)."""
    return [(found.code, path_text(found.path)) for found in findings(*runs, around=around, **head)]


@pytest.mark.parametrize("session", ["practice-1", "practice-9"])
def test_a_plan_without_runs_is_found_out_and_breaks_no_check(session: str) -> None:
    """A plan that is only begun: every check has to live with it, in a session that there is and one there is not."""
    assert all(found.code.startswith("PW") for found in findings(session=session))


def test_a_sound_plan_has_no_findings() -> None:
    """The base on which every other test puts one fault."""
    assert said(run(items=[item("radio_check")])) == []


HEADS = [
    ({"session": "practice-9"}, "PW107", "session"),
    ({"driver": "nobody"}, "PW105", "driver"),
    ({"car": "77"}, "PW106", "car"),
    ({"starts_with": {"switches": {"flapp": "open"}}}, "PW101", "starts_with.switches.flapp"),
    ({"starts_with": {"switches": {"flap": "ajar"}}}, "PW102", "starts_with.switches.flap"),
    ({"starts_with": {"switches": {"brake_bias": 50.25}}}, "PW102", "starts_with.switches.brake_bias"),
    ({"tyre_sets": {"A1": {"compound": "hard"}}, "starts_with": {"tyres": "A2"}}, "PW108", "starts_with.tyres"),
    ({"tyre_sets": {"A1": {"compound": "hrad"}}}, "PW115", "tyre_sets.A1.compound"),
]


@pytest.mark.parametrize(("head", "code", "path"), HEADS)
def test_the_head_of_a_plan_is_checked(head: dict[str, Any], code: str, path: str) -> None:
    """Session, driver, car and the state the car starts in."""
    assert said(run(), **head) == [(code, path)]


RUNS: list[tuple[dict[str, Any], str, str]] = [
    (run(switches={"brake_bais": 56}), "PW101", "runs[0].switches.brake_bais"),
    (run(switches={"brake_bias": 40}), "PW102", "runs[0].switches.brake_bias"),
    (run(switches={"flap": "opne"}), "PW102", "runs[0].switches.flap"),
    (run(switches={"mark": "pressed"}), "PW102", "runs[0].switches.mark"),
    (run(switches={"brake_bias": 55.13}), "PW102", "runs[0].switches.brake_bias"),
    (run(items=[item("radio_chek")]), "PW103", "runs[0].items[0].do"),
    (run(items=[item("constant_speed_hold", after="turn 4")]), "PW121", "runs[0].items[0]"),
    (run(items=[item("radio_check", **{"with": {"loud": 1}})]), "PW122", "runs[0].items[0].with.loud"),
    (run(items=[item("constant_speed_hold", after="turn 4", **{"with": {"gear": "five"}})]), "PW123",
     "runs[0].items[0].with.gear"),
    (run(items=[item("constant_speed_hold", after="turn 4", **{"with": {"gear": 5.5}})]), "PW123",
     "runs[0].items[0].with.gear"),
    (run(items=[item("constant_speed_hold", after="turn 4", **{"with": {"gear": 12}})]), "PW124",
     "runs[0].items[0].with.gear"),
    (run(items=[item("flap_compare", {"timed": 1}, **{"with": {"flap": "ajar"}})]), "PW124",
     "runs[0].items[0].with.flap"),
    (run(items=[item("driver_comment", "in", **{"with": {"topic": 4}})]), "PW123", "runs[0].items[0].with.topic"),
    (run(items=[item("switch_compare", {"timed": 1}, **{"with": {"switch": "brake_bais", "by": 2}})]), "PW101",
     "runs[0].items[0].with.switch"),
    (run(items=[item("position_compare", {"timed": 1}, **{"with": {"switch": "torque_map", "position": 99}})]), "PW102",
     "runs[0].items[0].with.position"),
    (run(items=[item("position_compare", {"timed": 1}, **{"with": {"switch": "brake_bias", "position": 54.2}})]),
     "PW102", "runs[0].items[0].with.position"),
    (run(items=[item("flap_compare", {"timed": 4}, **{"with": {"flap": "open"}})]), "PW201", "runs[0].items[0].on"),
    (run(items=[item("cool_down_lap", "cool")]), "PW202", "runs[0].items[0].on"),
    (run(items=[item("systems_check", "installation")]), "PW202", "runs[0].items[0].on"),
    (run(items=[item("constant_speed_hold", {"timed": 1}, after="turn 4", **{"with": {"gear": 5}})]), "PW203",
     "runs[0].items[0].on"),
    (run(items=[{"do": "driver_comment"}]), "PW208", "runs[0].items[0]"),
    (run(items=[{"do": "radio_check"}]), "PW209", "runs[0].items[0]"),
    (run(laps=[], items=[item("radio_check"), item("driver_comment", "in")]), "PW012", "runs[0]"),
    (run(items=[item("constant_speed_hold", after="turn 14", **{"with": {"gear": 5}})]), "PW204",
     "runs[0].items[0].after"),
    (run(items=[item("coast_down", at="grid")]), "PW204", "runs[0].items[0].at"),
    (run(items=[item("coast_down")]), "PW205", "runs[0].items[0]"),
    (run(items=[item("radio_check", after="turn 4")]), "PW206", "runs[0].items[0].after"),
    (run(same_as="a"), "PW301", "runs[0].same_as"),
    (run(before=["b"]), "PW109", "runs[0].before[0]"),
    (run(group="a-b-a"), "PW304", "runs[0].group"),
    (run(also_on=["77"]), "PW106", "runs[0].also_on[0]"),
    (run(also_on=[41]), "PW308", "runs[0].also_on[0]"),
    (run(items=[item("position_compare", {"timed": 1}, **{"with": {"switch": "start_map", "position": 2}})]), "PW402",
     "runs[0].items[0]"),
    (run(items=[item("switch_compare", {"timed": 1}, **{"with": {"switch": "brake_bias", "by": 8}})]), "PW404",
     "runs[0].items[0].with.by"),
    (run(items=[item("flap_compare", {"timed": 1}, put_back=False, why="so", **{"with": {"flap": "open"}})]), "PW401",
     "runs[0].items[0].put_back"),
    (run(items=[item("constant_speed_hold", after="turn 1", **{"with": {"gear": 5}})]), "PW501",
     "runs[0].items[0].after"),
    (run(items=[item("switch_compare", {"timed": 1}, **{"with": {"switch": "brake_bias", "by": -1}})]), "PW405",
     "runs[0].items[0].with.by"),
    (run(items=[item("constant_speed_hold", after="turn 4", **{"with": {"gear": 2}})]), "PW508",
     "runs[0].items[0].with.gear"),
    (run(items=[item("switch_compare", {"timed": 1}, **{"with": {"switch": "brake_bias", "by": -2.3}})]), "PW404",
     "runs[0].items[0].with.by"),
    (run(fuel_kg=10), "PW502", "runs[0].fuel_kg"),
    (run(fuel_kg=220), "PW515", "runs[0].fuel_kg"),
    (run(fuel_kg=None), "PW507", "runs[0]"),
    (run(release={"not_before": "+01:10:00"}), "PW504", "runs[0].release.not_before"),
    (run(release={"not_after": "-00:01:00"}), "PW504", "runs[0].release.not_after"),
    (run(laps=[], after_flag="allowed", items=[{"do": "radio_check"}]), "PW505", "runs[0].items[0].do"),
    (run(laps=[], after_flag="allowed", items=[item("practice_start", at="grid")]), "PW207", "runs[0].items[0].on"),
    (run(laps=[], after_flag="allowed", items=[{"do": "practice_start", "at": "grdi"}]), "PW204",
     "runs[0].items[0].at"),
]  # fmt: skip


@pytest.mark.parametrize(("spoilt", "code", "path"), RUNS, ids=[f"{code}-{i}" for i, (_, code, _) in enumerate(RUNS)])
def test_each_fault_of_a_run_is_found_at_its_path(spoilt: dict[str, Any], code: str, path: str) -> None:
    """One fault, one finding (a plan too late for its window also ends after the flag)."""
    got = [entry for entry in said(spoilt) if entry[0] != "PW506"]
    assert got == [(code, path)]


WAITING = [
    ({"when": {"after_item": "radio_chek"}}, "PW215", "after_item", "did you mean 'radio_check'?"),
    ({"when": {"after_item": "driver_comment"}}, "PW215", "after_item", "but itself"),
    ({"when": {"not_before": 3600}}, "PW217", "not_before", "when the session is over"),
    ({"when": {"not_before": "+0:50:00"}}, "PW218", "not_before", "run 'a' is over at"),
    ({"on": "cool", "when": {"after_item": "systems_check"}}, "PW217", "after_item", "no lap after the first"),
]


@pytest.mark.parametrize(("keys", "code", "key", "words"), WAITING)
def test_an_item_whose_turn_never_comes_is_told(keys: dict[str, Any], code: str, key: str, words: str) -> None:
    """What it waits for is not there, is itself, lies after the session, after the run or after its last lap."""
    items = [item("radio_check"), item("systems_check", "in"), item("driver_comment", **{"on": ["cool", "in"]} | keys)]
    (found,) = findings(run(laps="out, 1 timed, cool, 1 timed, in", items=items))
    assert (found.code, path_text(found.path)) == (code, f"runs[0].items[2].when.{key}")
    assert words in f"{found.found} {found.suggestion}"


def test_items_that_wait_for_one_another_are_told() -> None:
    """Each of them: neither can begin. A chain that ends in an item that waits for nothing is fine."""
    ring = [item("radio_check", when={"after_item": "driver_comment"}),
            item("driver_comment", "in", when={"after_item": "radio_check"})]  # fmt: skip
    got = findings(run(items=ring))
    assert [one.code for one in got] == ["PW216"] * 2
    assert got[0].found == "radio_check waits for driver_comment waits for radio_check"
    chain = [item("radio_check", "out"), item("driver_comment", ["cool", "in"], when={"after_item": "radio_check"}),
             item("systems_check", "in", when={"not_before": 60})]  # fmt: skip
    assert findings(run(laps="out, 1 timed, cool, 1 timed, in", items=chain)) == []


def test_every_code_of_a_plan_check_is_produced_by_some_test_here() -> None:
    """No code is in the table that nothing can find: those of plans are met here, or named in another test."""
    met = {code for _, code, _ in RUNS} | {code for _, code, _ in HEADS} | {code for _, code, _, _ in WAITING}
    elsewhere = {"PW216", "PW302", "PW303", "PW305", "PW309", "PW403", "PW410", "PW503", "PW506"}  # tests of their own
    of_files = {code for code in CODES if code < "PW100" or code[:4] in ("PW11", "PW13")}
    others = [path.read_text(encoding="utf-8") for path in Path(__file__).parents[1].rglob("test_*.py")
              if path != Path(__file__)]
    of_others = {code for code in CODES if any(f'"{code}"' in text for text in others)}
    assert met | elsewhere | of_files | of_others == set(CODES)


def test_suggestions_name_the_nearest_thing() -> None:
    """A near miss is named; where nothing is near, what there is."""
    assert findings(run(switches={"brake_bais": 56}))[0].suggestion == "did you mean 'brake_bias'?"
    assert "torque_map" in (findings(run(switches={"zzz": 1}))[0].suggestion or "")
    assert findings(run(items=[item("coast_down", after="Turn44")]))[0].suggestion == "did you mean 'turn 4'?"


def test_a_bias_stands_on_its_steps_from_where_it_is_lowest() -> None:
    """Whatever is written between two of them nobody can set; the two are named. Where it is on one nothing is said."""
    (one,) = findings(run(switches={"brake_bias": 55.13}))
    assert (one.found, one.expected) == ("position 55.13 of 'brake_bias'", "50 to 62 in steps of 0.5")
    assert one.suggestion == "55 or 55.5"
    assert [findings(run(switches={"brake_bias": at})) for at in (50, 55.5, "56", 62.0)] == [[]] * 4


def test_a_switch_that_springs_back_is_at_no_other_position_for_a_run() -> None:
    """Nothing would be called for it; where it stays may be written out."""
    (one,) = findings(run(switches={"mark": "pressed"}))
    assert (one.found, one.expected) == ("position 'pressed' of 'mark', which springs back",
                                         "released, the only position in which it stays")
    assert findings(run(switches={"mark": "released"})) == []


def test_an_unknown_session_is_told_with_the_sessions_that_there_are() -> None:
    """All of them, and the nearest where one is near."""
    (found,) = findings(run(), session="qualifying")
    assert (found.expected, found.suggestion) == (
        "a session of the regulations (practice-1, practice-2, practice-90)", None)
    assert findings(run(), session="practise-2")[0].suggestion == "did you mean 'practice-2'?"


@pytest.mark.parametrize(("compounds", "told"), [
    (["hrad"], ["did you mean 'hard'?"]), (["Hard", "medium ", "WET"], []), (["super soft", "blue"], []),
    (["rainy", "rainy", "rainny"], ["did you mean 'rainy'?"]), (["c1", "c2", "c2"], []), (["c10", "c11", "c11"], []),
])
def test_a_compound_nearly_like_the_usual_ones_is_doubted(compounds: list[str], told: list[str]) -> None:
    """The trade's words and those that several sets share; names that only look alike by their figures are let be."""
    sets = {f"S{number}": {"compound": compound} for number, compound in enumerate(compounds)}
    got = findings(run(), tyre_sets=sets)
    assert [(one.code, one.severity, one.suggestion) for one in got] == [("PW115", "warning", text) for text in told]


def test_laps_that_were_forgotten_are_asked_for_by_name_and_once() -> None:
    """Items name laps, the run has none and is not for after the flag: the key 'laps' is missing."""
    (found,) = findings(run(laps=[], items=[item("radio_check"), item("driver_comment", "in")]))
    assert (found.severity, found.found) == ("error", "no key 'laps', but items on out and in")
    assert "laps: out, 3 timed, in" in (found.suggestion or "")


def test_an_item_without_a_lap_is_doubted_where_there_is_a_choice() -> None:
    """Not on a run of one lap, nor where everything is said before the car leaves, nor where the lap is refused."""
    (found,) = findings(run(items=[{"do": "radio_check"}]))
    assert (found.severity, found.suggestion) == ("warning", "write 'on: out' if that is meant")
    assert "(out-lap)" in (found.expected or "")
    assert said(run(laps="out-in", items=[{"do": "radio_check"}])) == []
    assert said(run(items=[{"do": "clutch_bite_check"}])) == []
    assert said(run(items=[{"do": "practice_start"}])) == []


def test_positions_are_compared_as_the_car_does() -> None:
    """A number written as text, and text in capitals, are positions all the same."""
    assert said(run(switches={"torque_map": "3", "flap": "OPEN", "brake_bias": 55.5})) == []


def test_a_place_is_known_whatever_its_case() -> None:
    """``Turn 4`` is turn 4."""
    assert said(run(items=[item("coast_down", after="Turn  4")])) == []


def test_halves_of_an_installation_lap_serve_procedures_for_installation_laps() -> None:
    """Out and straight in: an item sits on either half, or on ``installation``, and all three are the same lap."""
    for on in ("out", "in", "installation"):
        assert said(run(laps="out-in", items=[item("systems_check", on)])) == []


@pytest.mark.parametrize(("key", "names"), [("before", (["b"], ["c"], ["a"])), ("same_as", ("b", "c", "a"))])
def test_a_circle_of_runs_is_told_once_with_its_way(key: str, names: tuple[Any, Any, Any]) -> None:
    """a, b, c and back: one finding that shows the way round, however the plan stands in the file."""
    runs = [run(name, **{key: target}) for name, target in zip("abc", names, strict=True)]
    circles = [found for found in findings(*runs) if found.code == "PW302"]
    assert [found.found for found in circles] == ["a circle: a -> b -> c -> a"]


def test_two_circles_are_two_findings() -> None:
    """Each circle is told at its first run."""
    runs = [run("a", before=["b"]), run("b", before=["a"]), run("c", before=["d"]), run("d", before=["c"])]
    assert [found.path for found in findings(*runs) if found.code == "PW302"] == [
        ("runs", 0, "before"), ("runs", 2, "before")]


def test_a_run_that_must_come_before_one_above_it_is_an_error() -> None:
    """The plan runs in file order; the remedy is named."""
    found = findings(run("a"), run("b", before=["a"]))
    assert [(entry.code, entry.suggestion) for entry in found] == [("PW303", "move 'b' above 'a'")]
    assert said(run("a", before=["b"]), run("b")) == []


def test_a_repeat_with_other_figures_is_doubtful() -> None:
    """same_as with another load or other switches contradicts itself; without them it inherits."""
    base = run("a", switches={"torque_map": 3})
    assert said(base, run("b", same_as="a", fuel_kg=20, switches={"torque_map": 2})) == [
        ("PW305", "runs[1].fuel_kg"), ("PW305", "runs[1].switches")]
    assert said(base, run("b", same_as="a", fuel_kg=None)) == []


def test_a_repeat_needs_the_fuel_of_its_model() -> None:
    """The inherited load is what is checked."""
    base = run("a", laps="out, 1 timed, in", fuel_kg=8)
    assert said(base, run("b", same_as="a", fuel_kg=None, laps="out, 8 timed, in")) == [("PW502", "runs[1]")]


def test_a_run_without_a_load_goes_on_with_what_is_left() -> None:
    """Burn is taken off run by run; the run that would come under the reserve is told."""
    short = run("a", laps="out-in", fuel_kg=12)
    assert said(short, run("b", laps="out, 2 timed, in", fuel_kg=None)) == []
    assert said(short, run("b", laps="out, 3 timed, in", fuel_kg=None)) == [("PW502", "runs[1]")]


def test_fuel_counts_an_installation_lap_as_one() -> None:
    """Out and straight in is one lap of burn: 1.75 kg and 2 kg reserve."""
    assert said(run(laps="out-in", fuel_kg=3.75)) == []
    assert said(run(laps="out-in", fuel_kg=3.7)) == [("PW502", "runs[0].fuel_kg")]


def test_fuel_is_the_laps_times_the_burn_plus_the_reserve() -> None:
    """Five laps of 1.75 kg and 2 kg reserve are 10.75 kg, to the gram."""
    assert said(run(fuel_kg=10.75)) == []
    assert "10.75 kg or more" in (findings(run(fuel_kg=10.74))[0].expected or "")


def test_two_items_cannot_have_one_switch_in_two_positions() -> None:
    """On one lap; on two laps they may, and agreeing items may share a lap."""
    def compare(lap: int, position: int) -> dict[str, Any]:
        return item("position_compare", {"timed": lap}, **{"with": {"switch": "torque_map", "position": position}})

    assert said(run(items=[compare(1, 3), compare(1, 5)])) == [("PW403", "runs[0].items[1]")]
    assert said(run(items=[compare(1, 3), compare(2, 5)])) == []
    agreeing = item("torque_map_compare", {"timed": 1}, **{"with": {"map": 3}})
    assert said(run(items=[compare(1, 3), agreeing])) == []
    assert said(run(items=[compare(1, 3), compare(1, 3)])) == [("PW224", "runs[0].items[1]")]


def test_a_switch_left_changed_matters_only_before_another_timed_lap() -> None:
    """On the last timed lap, on a switch that nobody guards, or where the run wants it anyway: no finding."""
    def left(lap: int, **keys: Any) -> dict[str, Any]:
        opened = item("flap_compare", {"timed": lap}, put_back=False, why="so", **{"with": {"flap": "open"}})
        return run(items=[opened], **keys)

    assert said(left(2)) == [("PW401", "runs[0].items[0].put_back")]
    assert said(left(3)) == []
    assert said(left(1, switches={"flap": "open"})) == [("PW410", "runs[0].items[0]")]  # and compares nothing
    unguarded = replace(AROUND, car=CAR.model_copy(update={"forbidden_on_timed": ("torque_map",)}))
    assert said(left(1), around=unguarded) == []


def test_a_step_is_judged_from_where_the_run_has_the_switch() -> None:
    """Six up from 56 reaches the end of the range; from 57 it leaves it."""
    step = item("switch_compare", {"timed": 1}, **{"with": {"switch": "brake_bias", "by": 6}})
    assert said(run(items=[step])) == []
    assert said(run(items=[step], switches={"brake_bias": 57})) == [("PW404", "runs[0].items[0].with.by")]
    assert said(run(items=[step]), driver="bryn") == []


def compared(switch: str, by: float) -> dict[str, Any]:
    """A comparison by a step on the first timed lap."""
    return item("switch_compare", {"timed": 1}, **{"with": {"switch": switch, "by": by}})


@pytest.mark.parametrize(("switch", "by", "found"), [
    ("diff_exit", 9, "+9 from 4, which is 13"),
    ("diff_exit", -4, "-4 from 4, which is 0"),
    ("diff_exit", 0.5, "+0.5 from 4, which is 4.5"),
    ("flap", 1, "+1 from 'closed', which is no number"),
    ("display_page", 1, "+1 from 'drive', which is no number"),
])
def test_a_step_on_a_dial_leads_to_one_of_its_positions(switch: str, by: float, found: str) -> None:
    """Beyond the dial, between two positions, or on a switch without numbers: whatever the kind, an error."""
    got = findings(run(items=[compared(switch, by)]))
    assert [(one.code, one.severity, one.found) for one in got] == [("PW404", "error", found)]
    known = CAR.switch(switch)
    assert known is not None
    assert known.positions_text() in f"{got[0].expected} {got[0].suggestion}"


def test_a_step_on_a_dial_that_leads_to_a_position_is_sound() -> None:
    """Also to the ends, from where the run has it; the remedy of a bad one names the steps that there are."""
    for by in (-3, 1, 3.0):
        assert said(run(items=[compared("diff_exit", by)])) == []
    assert said(run(items=[compared("diff_exit", -4)], switches={"diff_exit": 6})) == []
    bad = findings(run(items=[compared("diff_exit", 2)], switches={"diff_exit": 6}))
    assert [(one.code, one.suggestion) for one in bad] == [
        ("PW404", "from 6 the steps are -5, -4, -3, -2, -1, +1")]


def test_a_step_of_nothing_compares_nothing() -> None:
    """Also on a dial, which has no free range."""
    assert said(run(items=[compared("diff_exit", 0)])) == [("PW405", "runs[0].items[0].with.by")]


@pytest.mark.parametrize(("wet", "keys", "told"), [
    (False, {}, []), (True, {}, ["PW410"]), (True, {"switches": {"torque_map": 4}}, []),
    (False, {"switches": {"torque_map": 6}}, ["PW410"]),
])
def test_a_comparison_with_where_the_switch_stands_anyhow_compares_nothing(
    wet: bool, keys: dict[str, Any], told: list[str]
) -> None:
    """By the run or by the default for the weather, which is the plan of a dry day driven in the wet."""
    position = item("position_compare", {"timed": 2}, **{"with": {"switch": "torque_map", "position": 6}})
    assert [code for code, _ in said(run(items=[position], **keys), around=replace(AROUND, wet=wet))] == told


def test_a_comparison_within_the_free_range_is_said_to_be_one() -> None:
    """The run has the bias at 56: 56.5 is another figure, which the driver may take unasked. The finding does not
    say that the switch stands at 56.5 without the item."""
    def told(position: float) -> list[str]:
        compared = item("position_compare", {"timed": 2}, **{"with": {"switch": "brake_bias", "position": position}})
        return [one.found for one in findings(run(items=[compared])) if one.code == "PW410"]

    assert told(56.5) == ["brake_bias at 56.5, within the free range (1) of 56, where this run has it in the dry "
                          "without the item"]
    assert told(56) == ["brake_bias at 56, where this run has it in the dry without the item"]
    assert told(58) == []


def test_a_comparison_with_where_an_item_before_it_left_the_switch_shows_something() -> None:
    """Torque 3 stays after the first lap, by the plan: 4, as the run has it, is another position then. Before that lap,
    and with the switch put back after it, it is none."""
    def compared(lap: int, position: int, **more: Any) -> dict[str, Any]:
        given = {"with": {"switch": "torque_map", "position": position}}
        return item("position_compare", {"timed": lap}, **given, **more)

    stays = {"put_back": False, "why": "all the laps after it"}
    for items, told in (([compared(1, 3, **stays), compared(3, 4)], 0), ([compared(2, 3, **stays), compared(1, 4)], 1),
                        ([compared(1, 3), compared(3, 4)], 1)):
        assert [code for code, _ in said(run(items=items))].count("PW410") == told


def test_a_step_is_judged_on_the_laps_of_the_item() -> None:
    """On a cool-down lap the default is another than on a timed one."""
    made = SETUP.procedures["switch_compare"].model_copy(update={"laps": ("timed", "cool")})
    wide = replace(AROUND, procedures={**SETUP.procedures, "switch_compare": made})
    down = item("switch_compare", "cool", **{"with": {"switch": "torque_map", "by": -2}})
    got = findings(run(laps="out, 1 timed, cool, 1 timed, in", items=[down]), around=wide)
    assert [one.found for one in got] == ["-2 from 2, which is 0"]


def test_positions_are_those_of_the_car_whoever_names_them() -> None:
    """Given, by default or in the procedure itself, and also where the procedure lists its own choices."""
    def with_switches(switches: dict[str, Any], **argument: Any) -> Around:
        arguments = {"p": {"type": "position", **argument}} if argument else {}
        made = Procedure.model_validate({"procedure": 1, "name": "x", "purpose": "p", "arguments": arguments,
                                         "switches": switches,
                                         "steps": [{"say": "do it", "short": "do", "where": "lap_start"}]})
        return replace(AROUND, procedures={"x": made})

    choices = with_switches({"diff_exit": "{p}"}, one_of=[4, 5, 9], default=9)
    assert said(run(items=[item("x", {"timed": 1}, **{"with": {"p": 5}})]), around=choices) == []
    assert said(run(items=[item("x", {"timed": 1}, **{"with": {"p": 9}})]), around=choices) == [
        ("PW102", "runs[0].items[0].with.p")]
    assert said(run(items=[item("x", {"timed": 1}, **{"with": {"p": 8}})]), around=choices) == [
        ("PW124", "runs[0].items[0].with.p")]
    assert said(run(items=[item("x", {"timed": 1})]), around=choices) == [("PW102", "runs[0].items[0]")]
    assert said(run(items=[item("x", {"timed": 1})]), around=with_switches({"diff_exit": 9})) == [
        ("PW102", "runs[0].items[0]")]


def test_what_ends_after_the_flag_is_told_by_its_class() -> None:
    """A must and a should are told, a could is normal: plans are over-full on purpose."""
    full = run("a", laps="out, 30 timed, in", fuel_kg=100)
    late = run("b", laps="out, 8 timed, in", fuel_kg=40)
    assert said(full, late) == [("PW506", "runs[1]")]
    assert said(full, {**late, "want": "should"}) == [("PW503", "runs[1]")]
    assert said(full, {**late, "want": "could"}) == []


def test_a_lap_begun_in_time_counts_where_the_regulations_say_so() -> None:
    """The same run fits or not by whether a started timed lap may be finished."""
    edge = run("a", laps="out, 1 timed, in", release={"not_before": "+00:57:00"})
    strict = replace(AROUND, regulations=SETUP.regulations.model_copy(update={"finish_started_lap": False}))
    assert said(edge) == []
    assert said(edge, around=strict) == [("PW506", "runs[0]")]


def test_a_hold_that_fits_is_silent_and_one_that_does_not_says_why() -> None:
    """After turn 4 the straight is long enough; a longer or faster hold there is not."""
    hold = item("constant_speed_hold", after="turn 4", **{"with": {"gear": 5, "seconds": 5}})
    assert said(run(items=[hold])) == []
    long = item("constant_speed_hold", after="turn 4", **{"with": {"gear": 5, "seconds": 10}})
    found = findings(run(items=[long]))
    assert [entry.code for entry in found] == ["PW501"]
    assert "m" in (found[0].suggestion or "")


def test_a_hold_is_judged_by_the_top_speed_of_its_gear() -> None:
    """Gear 5 goes to 63 m/s: 55 and 63 are held in it, 64 is not; the remedy names the gear that serves."""
    def hold(**arguments: Any) -> list[Finding]:
        # The straight is another check's business.
        return findings(run(items=[item("constant_speed_hold", after="turn 4", **{"with": arguments})]),
                        around=replace(AROUND, lap=None))

    assert hold(gear=5) == hold(gear=5, speed_mps=63) == []
    (found,) = hold(gear=5, speed_mps=64)
    assert (found.code, found.severity, found.suggestion) == ("PW508", "error", "gear 6 reaches 72 m/s")
    assert "64 m/s in gear 5, whose top speed is 63 m/s" in found.found
    assert hold(gear=2)[0].found == "a hold at 55 m/s in gear 2, whose top speed is 36 m/s"


def test_a_hold_asks_for_a_gear_that_the_car_has() -> None:
    """A car of six gears has no seventh; one whose gears are not known is not judged."""
    seventh = run(items=[item("constant_speed_hold", after="turn 4", **{"with": {"gear": 7}})])
    six = {gear: top for gear, top in CAR.gears.items() if gear <= 6}
    small = findings(seventh, around=replace(AROUND, car=CAR.model_copy(update={"gears": six})))
    assert [(one.code, one.expected) for one in small] == [("PW508", "a gear of car.yaml: 1, 2, 3, 4, 5, 6")]
    assert said(seventh, around=replace(AROUND, car=CAR.model_copy(update={"gears": {}}))) == []
    assert said(seventh, around=replace(AROUND, car=CAR.model_copy(update={"gears": six}), car_figures=False)) == []


@pytest.mark.parametrize("part", ["regulations", "circuit", "car", "lap", "drivers", "cars"])
def test_a_part_that_could_not_be_read_silences_only_its_own_checks(part: str) -> None:
    """Without one of the files a sound plan stays sound, and a misspelt procedure is still found."""
    blind = replace(AROUND, **{part: None})
    assert said(run(items=[item("constant_speed_hold", after="turn 4", **{"with": {"gear": 5}})]), around=blind) == []
    assert ("PW103", "runs[0].items[0].do") in said(run(items=[item("nothing")]), around=blind)


def test_nothing_is_said_of_procedures_and_runs_that_could_not_be_read() -> None:
    """Their own files or places tell already."""
    blind = replace(AROUND, unread_procedures=frozenset({"brake_burn"}), unread_runs=frozenset({"a", "b"}))
    assert said(run(items=[item("brake_burn")], before=["b"], group="x"), around=blind) == []


def test_figures_of_a_broken_car_file_are_not_used() -> None:
    """The switches may be known while the burn is not."""
    assert said(run(fuel_kg=1), around=replace(AROUND, car_figures=False)) == []


def test_arguments_take_bounds_from_one_side() -> None:
    """A procedure may bound an argument below, above, or not at all; the message says what it says."""
    def with_argument(**keys: Any) -> Around:
        made = Procedure.model_validate({"procedure": 1, "name": "x", "purpose": "p", "arguments": {"n": keys},
                                         "steps": [{"say": "do it", "short": "do", "where": "lap_end"}]})
        return replace(AROUND, procedures={"x": made})

    def expected(value: object, **keys: Any) -> list[str | None]:
        return [found.expected for found in findings(run(items=[item("x", **{"with": {"n": value}})]),
                                                     around=with_argument(**keys))]

    assert expected(1, type="number", low=2) == ["a number, 2 or more"]
    assert expected(3, type="number", high=2) == ["a number, 2 or less"]
    assert expected(3, type="whole", low=1, high=2) == ["a whole number from 1 to 2"]
    assert expected(True, type="whole") == ["a whole number"]
    assert expected("x", type="text") == []
    assert expected(2.5, type="number", low=2) == []


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_every_check_bears_an_empty_plan_and_no_files(check: Callable[..., Any]) -> None:
    """A plan without runs and without anything around it is nobody's crash."""
    plan = Plan.model_validate({"plan": 1, "car": 41, "driver": "ines", "session": "p", "runs": []})
    assert [one.code for one in check(plan, Around())] in ([], ["PW309"])


def test_a_plan_without_a_run_is_told() -> None:
    """One warning, at the runs. Runs that are there and could not be read are told as such, and not as missing."""
    (found,) = findings()
    assert (found.code, found.severity, path_text(found.path)) == ("PW309", "warning", "runs")
    assert found.found == "a plan without a run"
    assert findings(around=replace(AROUND, unread_runs=frozenset({"a"}))) == []


def test_every_code_has_a_reason_and_a_remedy() -> None:
    """Whole sentences, and the explanation shows both."""
    for code, entry in CODES.items():
        assert (entry.why[-1], entry.mend[-1]) == (".", "."), code
        assert entry.why in explain(code)
        assert entry.mend in explain(code)
    with pytest.raises(KeyError):
        explain("PW999")


def test_an_unknown_code_is_answered_with_near_ones_and_how_to_see_all(capsys: pytest.CaptureFixture[str]) -> None:
    """Three lines that may be meant, not a hundred codes; a code of the same family comes first."""
    assert main(["check", "--explain", "PW398"]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 5
    assert told[1].startswith("  PW4")
    assert told[-1] == f"every one of the {len(CODES)}: pitwall check --explain all"
    assert main(["check", "--explain", "nonsense"]) == 2
    assert "PW001" in capsys.readouterr().err
    assert main(["check", "--explain", "all"]) == 0
    listed = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in listed] == list(CODES)


def test_a_finding_takes_severity_and_reason_from_its_code() -> None:
    """Nobody writes them by hand at the place of use."""
    assert finding("PW503", found="x").severity == "warning"
    assert finding("PW101", found="x").why == CODES["PW101"].why
