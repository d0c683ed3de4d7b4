"""What ``check`` says about a procedure file: each fault by its code, in words that say what to do."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from pitwall.checks.around import Around
from pitwall.checks.boards import board_words
from pitwall.checks.codes import CODES, explain
from pitwall.checks.library import check_procedure
from pitwall.checks.plan import check_plan
from pitwall.errors import Finding
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.track.lapmap import lap_map
from tests.unit.engine_stage import CIRCUIT, round_map, shipped

SETUP = shipped()
CARS = [("car.yaml", SETUP.cars["41"])]
LAP = lap_map(SETUP.circuit, SETUP.cars["41"], SETUP.calls)
STEP: dict[str, Any] = {"say": "After {after}: hold gear {gear}, count {seconds}.", "short": "{after}: gear {gear}",
                        "where": "place"}  # fmt: skip
HOLD: dict[str, Any] = {
    "procedure": 1, "name": "x", "purpose": "test", "laps": ["out", "in"], "place": "needed",
    "arguments": {"gear": {"type": "whole", "low": 1, "high": 8}, "seconds": {"type": "number", "default": 5}},
    "steps": [STEP], "hold": {"seconds": "seconds", "speed_mps": 55, "gear": "gear"}, "caution": "slow car",
    "clear_behind_s": 8,
}  # fmt: skip
SWITCH: dict[str, Any] = {
    "procedure": 1, "name": "x", "purpose": "test", "laps": ["timed"], "switches": {"torque_map": 5},
    "steps": [{"say": "Next lap is the comparison.", "short": "Comparison", "where": "lap_start"}],
}  # fmt: skip


def findings(base: dict[str, Any], **changes: Any) -> tuple[Finding, ...]:
    """The findings of a procedure with these changes."""
    return check_procedure(Procedure.model_validate(base | changes), CARS, LAP, SETUP.calls)


def step(**changes: Any) -> list[dict[str, Any]]:
    """The hold's step with changes."""
    return [STEP | changes]


def test_sound_procedures_have_no_finding() -> None:
    """The two that the other tests spoil, and every one that is shipped, on the shipped circuit and cars."""
    assert findings(HOLD) == findings(SWITCH) == ()
    for procedure in SETUP.procedures.values():
        assert check_procedure(procedure, CARS, LAP, SETUP.calls) == (), procedure.name


@pytest.mark.parametrize(
    ("base", "changes", "code", "path", "words"),
    [
        (SWITCH, {"put_back": False}, "PW133", ("put_back",), "for every item"),
        (HOLD, {"steps": [STEP, {"say": "Torque four.", "short": "Torque four", "kind": "switch",
                               "where": "lap_end"}]}, "PW133",
         ("steps", 1, "kind"), "'switches' does not name"),
        (HOLD, {"steps": step(say="After {after}: take gear {gear}, hold it, keep the wheel straight, look far ahead, "
                                  "count {seconds} slowly, and then carry on to the next corner as usual.")},
         "PW134", ("steps", 0, "say"), "s to say it at 150 words a minute"),
        (HOLD, {"steps": step(short="After {after} hold gear {gear} and count {seconds} and carry on")}, "PW134",
         ("steps", 0, "short"), "short form"),
        (HOLD, {"steps": step(say="After {after}: don't push, count {seconds}.")}, "PW135", ("steps", 0, "say"),
         "don't push"),
        (HOLD, {"steps": step(say="After {after}: gear to {gear}, count {seconds}.")}, "PW135", ("steps", 0, "say"),
         "sounds like 'two'"),
        (HOLD, {"steps": step(say="After {after}: push, then cool down.")}, "PW135", ("steps", 0, "say"),
         "opposite orders"),
        (HOLD, {"steps": step(say="Hold gear {gear} after {after}.")}, "PW136", ("steps", 0, "say"),
         "comes after the action"),
        (HOLD, {"caution": None}, "PW137", (), "no 'caution'"),
        (HOLD, {"clear_behind_s": 0}, "PW137", ("hold",), "without 'clear_behind_s'"),
        (HOLD, {"hold": {"seconds": 30, "speed_mps": 55}}, "PW138", ("hold",), "30 s at 55 m/s"),
        (HOLD, {"hold": {"seconds": 5, "speed_kph": 360}}, "PW138", ("hold",), "5 s at 360 km/h"),
        (HOLD, {"laps": ["out", "timed"]}, "PW139", ("laps",), "timed laps"),
        (HOLD, {"laps": []}, "PW139", (), "any lap"),
        (HOLD, {"hold": {"seconds": 5, "speed_kph": "kph"}}, "PW132", ("hold", "speed_kph"), "'kph'"),
        (HOLD, {"steps": [STEP, STEP | {"say": STEP["say"].upper().replace("{AFTER}", "{after}").replace(
            "{GEAR}", "{gear}").replace("{SECONDS}", "{seconds}"), "short": "{after}: now"}]},
         "PW145", ("steps", 1), "says what step 1 says"),
        (HOLD, {"done_when": ["speed", "comment"]}, "PW146", ("done_when", 1), "no step asks"),
        (HOLD, {"done_when": ["switch"]}, "PW146", ("done_when", 0), "no switch is changed"),
        (SWITCH, {"steps": [SWITCH["steps"][0] | {"where": "pit_entry"}]}, "PW148", ("steps", 0, "where"),
         "'where: pit_entry' of a procedure for laps timed"),
        (SWITCH, {"laps": ["in"], "steps": [SWITCH["steps"][0] | {"where": "lap_end"}]}, "PW148",
         ("steps", 0, "where"), "for laps in"),
        (HOLD, {"arguments": HOLD["arguments"] | {"seconds": {"type": "text", "default": "five"}}}, "PW149",
         ("arguments", "seconds", "type"), "a figure of the hold"),
        (SWITCH, {"arguments": {"which": {"type": "text"}}, "switches": {"{which}": 3}}, "PW149",
         ("arguments", "which", "type"), "the name of a switch"),
        (SWITCH, {"switches": {}, "by": "by", "arguments": {"switch": {"type": "switch"}, "by": {"type": "text"}}},
         "PW149", ("arguments", "by", "type"), "the step of a switch"),
        (HOLD, {"arguments": HOLD["arguments"] | {"gear": {"type": "text", "one_of": ["three", 4]}}},
         "PW149", ("arguments", "gear", "type"), "a figure of the hold"),
        (SWITCH, {"switches": {"{which}": 2}, "arguments": {"which": {"type": "text", "one_of": ["torque"]}}},
         "PW149", ("arguments", "which", "type"), "the name of a switch"),
        (SWITCH, {"stationary": True}, "PW139", ("laps",), "stops the car"),
        (HOLD, {"clear_behind_s": 9999}, "PW147", ("clear_behind_s",), "9999 s"),
    ],
)  # fmt: skip
def test_each_fault_is_found_alone_where_it_is_and_says_what_to_do(
    base: dict[str, Any], changes: dict[str, Any], code: str, path: tuple[str | int, ...], words: str
) -> None:
    """One code, the place in the file, what was found, what is expected, and a reason and a remedy of the code."""
    (found,) = findings(base, **changes)
    assert (found.code, found.path) == (code, path)
    assert words in found.found
    assert found.expected
    assert CODES[code].why
    assert CODES[code].mend


@pytest.mark.parametrize(("say", "words"), [
    ("Flap open, then flap closed.", "both 'flap open' and 'flap closed'"),
    ("Flap to open and then closed.", "both 'flap open' and 'flap closed'"),
    ("Torque 3, later torque 5.", "both 'torque 3' and 'torque 5'"),
    ("Brake bias 55, then 55.5.", "both 'brake bias 55' and 'brake bias 55.5'"),
])  # fmt: skip
def test_one_text_orders_one_position_of_a_switch(say: str, words: str) -> None:
    """Half of it heard is the wrong half."""
    (found,) = findings(SWITCH, steps=[SWITCH["steps"][0] | {"say": say, "short": "Now"}])
    assert (found.code, found.path) == ("PW135", ("steps", 0, "say"))
    assert words in found.found


@pytest.mark.parametrize("say", ["Flap open, torque 3.", "Torque 5, torque 5.", "Flap open, the pit exit is closed.",
                                 "Torque 3, then 5 laps.", "Brake bias 55.5.", "Torque 1 of 2 laps."])  # fmt: skip
def test_positions_of_two_switches_and_other_figures_are_no_opposite_orders(say: str) -> None:
    """Nor is the same order twice."""
    assert findings(SWITCH, steps=[SWITCH["steps"][0] | {"say": say, "short": "Now"}]) == ()


@pytest.mark.parametrize(
    ("base", "changes"),
    [
        (HOLD, {"steps": [STEP, STEP | {"offset_s": 12}]}),
        (SWITCH, {"done_when": ["switch", "driver"]}),
        (SWITCH, {"switches": {}, "by": "by", "done_when": ["switch"], "arguments": {
            "switch": {"type": "switch"}, "by": {"type": "number"}}}),
        (HOLD, {"done_when": ["comment"], "feedback": ["balance"]}),
        (HOLD, {"done_when": ["comment"], "steps": [STEP, {"say": "How was it?", "short": "How was it?",
                                                           "where": "lap_end"}]}),
        (HOLD, {"clear_behind_s": 60}),
        (SWITCH, {"laps": ["in", "cool"], "steps": [SWITCH["steps"][0] | {"where": "pit_entry"}]}),
        (SWITCH, {"laps": [], "steps": [SWITCH["steps"][0] | {"where": "pit_exit"}]}),
        (SWITCH, {"steps": [SWITCH["steps"][0], {"say": "Which was better, torque 3 or torque 5?", "short": "Better?",
                                                 "kind": "question", "where": "lap_end"}]}),
        (HOLD, {"arguments": HOLD["arguments"] | {"gear": {"type": "position", "one_of": [3, 4, 5]}}}),
        (SWITCH, {"switches": {"{which}": 2}, "arguments": {
            "which": {"type": "text", "one_of": ["torque_map", "engine_mode"]}}}),
    ],
)  # fmt: skip
def test_what_may_be_meant_is_not_told(base: dict[str, Any], changes: dict[str, Any]) -> None:
    """The same words at two moments, a switch that a step moves, a comment that is asked for otherwise, a question that
    names two positions and orders none, an argument that can only be what its use takes."""
    assert findings(base, **changes) == ()


def around(*procedures: Procedure) -> Around:
    """What a plan for the shipped car is checked against, with these procedures besides."""
    return Around(
        regulations=SETUP.regulations, car=SETUP.cars["41"], lap=LAP, circuit=SETUP.circuit,
        procedures={**SETUP.procedures, **{one.name: one for one in procedures}}, drivers=("ines",), cars=("41",),
    )  # fmt: skip


def on_medium(medium: str, *items: dict[str, Any], laps: str = "out, 1 timed, cool, 1 timed, in") -> list[Finding]:
    """What is found about the medium of a plan with one run and these items."""
    run = {"run": "one", "want": "must", "laps": laps, "fuel_kg": 30, "items": list(items)}
    long = Procedure.model_validate(SWITCH | {"name": "long", "steps": [SWITCH["steps"][0] | {
        "short": "Comparison lap with the same braking points"}]})  # fmt: skip
    made = Plan.model_validate({"plan": 1, "car": "41", "driver": "ines", "session": "practice-1", "medium": medium,
                                "runs": [run]})  # fmt: skip
    return [one for one in check_plan(made, around(long)) if one.code in ("PW213", "PW214")]


def on_boards(*items: dict[str, Any], laps: str = "out, 1 timed, cool, 1 timed, in") -> Plan:
    """A plan for a pit board with one run."""
    run = {"run": "one", "want": "must", "laps": laps, "fuel_kg": 30, "items": list(items)}
    return Plan.model_validate({"plan": 1, "car": "41", "driver": "ines", "session": "practice-1", "medium": "board",
                                "runs": [run]})  # fmt: skip


def too_much(plan: Plan) -> list[tuple[str, str]]:
    """Code and words of what is found about its boards."""
    return [(one.code, one.found) for one in check_plan(plan, around()) if one.code in ("PW213", "PW219", "PW221")]


def test_a_pass_of_the_pit_wall_holds_three_lines_and_what_is_left_out_is_told() -> None:
    """The box and what else the in-lap wants: four lines; the one left out is named, and that no timed lap needs it. A
    cool-down lap shows what it is and what the timed lap after it needs; words of that lap's item find no room."""
    over = [("PW219", "4 lines on the in-lap of 'one': BOX / DEPLOY / HARVEST / ENG 5; not shown: ENG 5 (no timed lap "
                      "needs it)")]  # fmt: skip
    assert too_much(on_boards(laps="out, 3 timed, in")) == over
    flap = {"do": "flap_compare", "on": {"timed": 2}, "with": {"flap": "open"}}
    for cool, items in (("COOL LAP", [flap]), ("COOL DOWN", [flap, {"do": "cool_down_lap", "on": "cool"}])):
        assert [found for _, found in too_much(on_boards(*items)) if "cool-down lap" in found] == [
            f"4 lines on the cool-down lap of 'one': {cool} / FLAP OPEN / LAP FLAP / OPEN; not shown: LAP FLAP / OPEN"]


def test_a_cool_down_lap_between_timed_ones_has_no_settings_of_its_own_and_check_says_so() -> None:
    """One pass cannot ask for engine 5 and for engine 2: the summary names what is not asked for. Two cool-down laps
    have a pass for each."""
    (told,) = board_words(on_boards(), around())
    assert told.startswith("cool-down lap of one: torque 2, engine 5, deploy harvest not asked for")
    assert [words.partition(":")[0] for words in board_words(on_boards(laps="out, 1 timed, 2 cool, 1 timed, in"),
                                                             around())] == ["cool-down lap 2 of one"]
    assert board_words(on_boards(laps="out, 1 timed, cool, in"), around()) == []


def test_a_timed_lap_whose_switches_find_no_room_is_named() -> None:
    """After a timed lap with three switches elsewhere, and a display line of the item, not all of them go back in time:
    the lap that starts wrong is told, and nobody says that none does."""
    items = [{"do": "position_compare", "on": {"timed": 2}, "with": {"switch": name, "position": to}}
             for name, to in (("engine_braking", 1), ("traction_level", 5), ("energy_deploy", "harvest"),
                              ("engine_mode", 1))]
    found = too_much(on_boards(*items, laps="out, 3 timed, in"))
    assert [code for code, words in found if "timed lap" in words].count("PW221") == 2
    assert any(words.startswith("timed lap 2 of 'one' starts without") for _, words in found)
    assert any(words.startswith("timed lap 3 of 'one' starts without") for _, words in found)


def test_an_item_cannot_ask_for_a_switch_on_a_cool_down_lap_that_cannot_put_it_back() -> None:
    """An error, with the remedy; on the first of two cool-down laps it can."""
    item = {"do": "position_compare", "on": {"cool": 1}, "with": {"switch": "torque_map", "position": 6}}
    assert ("PW213", "torque for 'position_compare' on the cool-down lap, with its put-back at the same pass") in \
        too_much(on_boards(item))
    assert "PW213" not in dict(too_much(on_boards(item, laps="out, 1 timed, 2 cool, 1 timed, in")))


def test_a_board_asks_nothing_and_holds_three_short_lines() -> None:
    """What asks and is no question by its kind, and a long text, are errors, told once for each procedure; what is
    short is shown. A question is asked in the garage once the car is back."""
    found = on_medium("board", {"do": "radio_check", "on": "in"}, {"do": "long", "on": "timed"},
                      {"do": "flap_compare", "on": {"timed": 2}, "with": {"flap": "open"}},
                      {"do": "driver_comment", "on": ["cool", "in"]})  # fmt: skip
    assert [(one.code, one.severity) for one in found] == [("PW213", "error")] * 2
    assert "kind: question" in (found[0].expected or "")
    assert "asks the driver something" in found[0].found
    assert "too long for a board" in found[1].found
    assert "3 lines of 10" in (found[1].expected or "")


def test_what_asks_something_and_is_no_question_is_never_asked_of_a_car_with_a_board() -> None:
    """Before the lap there is no answer, on it no radio: a warning, once for the item, where it is told as another
    call. A question is asked in the garage once the car is back, and what is no question is told there before."""
    for laps, on in (("out-in", "out"), ("out, 1 timed, in", "out")):
        found = {name: [(one.code, one.severity) for one in check_plan(on_boards({"do": name, "on": on}, laps=laps),
                                                                       around())
                        if one.code.startswith("PW2") and one.code != "PW219"]
                 for name in ("radio_check", "systems_check")}
        assert found == {"radio_check": [("PW222", "warning")], "systems_check": []}
    bedding = check_plan(on_boards({"do": "brake_bedding", "on": "out"}), around())
    assert "PW222" not in {one.code for one in bedding}


def test_what_is_told_in_the_garage_needs_no_board() -> None:
    """On an out-lap, and on a lap out and straight in, the driver was told before leaving, face to face."""
    item = {"do": "systems_check", "on": "out"}
    assert on_medium("board", item) == on_medium("board", item, laps="out-in") == []


def test_a_question_on_a_one_way_radio_is_doubtful() -> None:
    """It may be asked, and is answered after the run; on a two-way radio nothing is said of it."""
    item = {"do": "driver_comment", "on": "cool"}
    (found,) = on_medium("one_way", item)
    assert (found.code, found.severity) == ("PW214", "warning")
    assert on_medium("two_way", item) == []


@pytest.mark.parametrize(("laps", "on"), [("out, 1 timed, cool, in", "out"), ("out-in", "out")])
def test_on_a_one_way_radio_the_questions_of_the_out_lap_are_doubtful_too(laps: str, on: str) -> None:
    """A radio carries them on track, where a board has them told in the garage: nobody hears an answer there."""
    for name in ("systems_check", "radio_check"):
        (found,) = on_medium("one_way", {"do": name, "on": on}, laps=laps)
        assert (found.code, found.severity) == ("PW214", "warning")
        assert name in found.found


@pytest.mark.parametrize("medium", ["one_way", "board"])
def test_comments_that_are_wanted_are_never_asked_for_where_nobody_can_answer(medium: str) -> None:
    """Told at the run's own line, and at an item whose procedure wants a comment; once for an item on two laps."""
    asked = Procedure.model_validate(SWITCH | {"feedback": ["balance"]})
    runs = [{"run": "one", "want": "must", "laps": "out, 2 timed, in", "fuel_kg": 30, "feedback": ["tyres", "balance"]},
            {"run": "two", "want": "must", "laps": "out, 2 timed, in", "items": [{"do": "x", "on": "timed"}]}]

    def found(medium: str, **more: Any) -> list[Finding]:
        made = Plan.model_validate({"plan": 1, "car": "41", "driver": "ines", "session": "practice-1",
                                    "medium": medium, "runs": runs} | more)  # fmt: skip
        return [one for one in check_plan(made, around(asked)) if one.code == "PW220"]

    assert [one.path for one in found(medium)] == [("runs", 0, "feedback"), ("runs", 1, "items", 0, "do")]
    assert {one.severity for one in found(medium)} == {"warning"}
    assert found(medium)[0].found == "feedback of 'one': tyres, balance"
    assert found("two_way") == []
    quiet = found("two_way", quiet={"in": ["box"]})
    assert [one.path for one in quiet] == [("runs", 0, "feedback"), ("runs", 1, "items", 0, "do")]
    assert "on which questions may be spoken" in (quiet[0].expected or "")
    assert "PW220" in explain("PW220")


def test_where_there_is_no_geometry_nobody_says_that_a_hold_does_not_fit() -> None:
    """A timing-only circuit, or none that could be read: the hold is taken as it is."""
    long = Procedure.model_validate(HOLD | {"hold": {"seconds": 60, "speed_mps": 80}})
    assert CIRCUIT.timing_only
    assert check_procedure(long, CARS, round_map()) == check_procedure(long, CARS) == ()


def test_standing_in_the_garage_there_is_time_for_a_longer_sentence() -> None:
    """What is too long on the lap may be said where nothing moves."""
    say = ("Wheel check, please: display on the home page, limiter on, volume right, drink connected, visor strips on, "
           "and tell me when you are ready.")  # fmt: skip
    steps = [{"say": say, "short": "Wheel check", "where": "lap_start", "offset_s": 20}]
    assert [one.code for one in findings(SWITCH, steps=steps)] == ["PW134"]
    assert findings(SWITCH, laps=["out"], steps=[steps[0] | {"where": "garage"}]) == ()


def test_a_hold_has_one_speed() -> None:
    """In m/s or in km/h, never both, never none."""
    for hold in ({"seconds": 5}, {"seconds": 5, "speed_mps": 55, "speed_kph": 200}):
        with pytest.raises(ValidationError, match="one of the two"):
            Procedure.model_validate(HOLD | {"hold": hold})
