"""What fits and what does not: places on the lap, sentences in the windows, laps on tyres, runs in the weather and the
time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pitwall.checks.around import Around
from pitwall.checks.flow.stakes import calls_of
from pitwall.checks.plan import check_plan
from pitwall.checks.talk import check_talk
from pitwall.checks.tyres import ages
from pitwall.errors import Finding, path_text
from pitwall.model.plan import Plan
from pitwall.track.lapmap import LapMap, lap_map
from tests.unit.engine_stage import shipped

SETUP = shipped()
CAR = SETUP.cars["41"]
LAP = lap_map(SETUP.circuit, CAR, SETUP.calls)
AROUND = Around(regulations=SETUP.regulations, circuit=SETUP.circuit, car=CAR, lap=LAP, procedures=SETUP.procedures)
HOLD = {"do": "constant_speed_hold", "after": "turn 4", "with": {"gear": 5}}


def run(name: str = "a", **keys: Any) -> dict[str, Any]:
    """A run that is sound but for what the test puts in."""
    return {"run": name, "want": "must", "laps": "out, 3 timed, in", "fuel_kg": 30, "after_garage_s": 300, **keys}


def plan(*runs: dict[str, Any], **head: Any) -> Plan:
    """A plan of these runs."""
    return Plan.model_validate(
        {"plan": 1, "car": 41, "driver": "ines", "session": "practice-1", "runs": list(runs), **head})


def found(code: str, *runs: dict[str, Any], around: Around = AROUND, **head: Any) -> list[Finding]:
    """The findings of this code; no other is there."""
    all_found = check_plan(plan(*runs, **head), around)
    assert {one.code for one in all_found} <= {code}
    return list(all_found)


# -- places ------------------------------------------------------------------------------------------------------------


def test_a_place_before_the_pit_exit_is_not_passed_on_an_out_lap() -> None:
    """The car joins the lap after it; on any other lap it is passed."""
    late = replace(AROUND, lap=replace(LAP, pit_exit=0.5))
    (one,) = found("PW211", run(items=[HOLD | {"on": "out"}]), around=late)
    assert (one.severity, path_text(one.path)) == ("error", "runs[0].items[0].after")
    assert "before the pit exit on the out-lap" in one.found
    assert found("PW211", run(items=[HOLD | {"on": "in"}]), around=late) == []


def test_a_place_after_the_pit_entry_is_not_passed_on_an_in_lap() -> None:
    """The car is in the pit lane by then; out and straight in has both ends."""
    early = replace(AROUND, lap=replace(LAP, pit_entry=0.28))
    (one,) = found("PW211", run(items=[HOLD | {"on": "in"}]), around=early)
    assert "after the pit entry on the in-lap" in one.found
    assert found("PW211", run(items=[HOLD | {"on": "out"}]), around=early) == []
    (one,) = found("PW211", run(laps="out-in", items=[HOLD | {"on": "out"}]), around=early)
    assert "after the pit entry on the installation-lap" in one.found


def test_a_hold_must_end_before_the_pit_entry() -> None:
    """It fits on the straight, but on the in-lap the car leaves the lap before its end."""
    begin = LAP.distance_at_phase(LAP.phase_of("turn 4")) or 0.0
    near = LAP.phase_at_distance(begin + 300)
    assert near is not None
    cut = replace(AROUND, lap=replace(LAP, pit_entry=near))
    (one,) = found("PW211", run(items=[HOLD | {"on": "in"}]), around=cut)
    assert "with the pit entry after 300 m" in one.found
    assert found("PW211", run(items=[HOLD | {"on": "out"}]), around=cut) == []


# -- two at one place --------------------------------------------------------------------------------------------------

COOLS = "out, 1 timed, cool, 1 timed, cool, 1 timed, in"
COAST = {"do": "coast_down", "after": "turn 4"}


@pytest.mark.parametrize("second", [HOLD, HOLD | {"with": {"gear": 6, "seconds": 4}}, COAST,
                                    {"do": "steering_symmetry", "at": "Turn 4"}])  # fmt: skip
def test_two_holds_cannot_be_driven_at_one_place_of_one_lap(second: dict[str, Any]) -> None:
    """Of the same or of another procedure: the place of the second is where it is told, and the lap with it."""
    (one,) = found("PW223", run(laps=COOLS, items=[HOLD | {"on": "cool"}, second | {"on": {"cool": 2}}]))
    assert (one.severity, path_text(one.path)) == ("error", f"runs[0].items[1].{'at' if 'at' in second else 'after'}")
    assert "on the cool-down lap 2 of 'a', where 'constant_speed_hold' is done" in one.found


def test_what_is_done_at_a_standstill_twice_at_one_place_is_one_item_with_times() -> None:
    """Two starts have no second lap to go to: the remedy names the key that says how often. A hold has one."""
    start = {"do": "practice_start", "on": "out", "at": "turn 4"}
    (one,) = found("PW223", run(items=[start, start | {"times": 2}]))
    assert one.suggestion == "for 'practice_start' more than once there, one item with 'times: 3'"
    (one,) = found("PW223", run(laps=COOLS, items=[HOLD | {"on": "cool"}, HOLD | {"on": {"cool": 2}}]))
    assert one.suggestion is None


@pytest.mark.parametrize("items", [
    [HOLD | {"on": {"cool": 1}}, HOLD | {"on": {"cool": 2}}],
    [HOLD | {"on": ["out", "in"]}, COAST | {"on": "cool"}],
    [HOLD | {"on": {"cool": 1}}, COAST | {"on": {"cool": 1}, "after": "turn 9"}],
    [HOLD | {"on": {"cool": 1}}, {"do": "photo_pass", "on": {"cool": 1}, "after": "turn 4"}],
    [HOLD | {"on": {"cool": 1}}, COAST | {"on": "cool", "when": {"after_item": "constant_speed_hold"}}],
])  # fmt: skip
def test_holds_on_laps_or_at_places_of_their_own_are_sound(items: list[dict[str, Any]]) -> None:
    """What waits for the other takes the next lap that it may be on; what takes no data over a stretch shares it."""
    assert found("PW223", run(laps=COOLS, items=items)) == []


def test_a_hold_that_waits_for_another_needs_a_lap_on_which_that_is_not() -> None:
    """At one place of its only lap its turn never comes; nor where the other is on every lap of its own."""
    waiting = COAST | {"on": {"cool": 1}, "when": {"after_item": "constant_speed_hold"}}
    (one,) = found("PW223", run(laps=COOLS, items=[HOLD | {"on": {"cool": 1}}, waiting]))
    assert path_text(one.path) == "runs[0].items[1].after"
    later = waiting | {"on": "cool", "when": {"not_before": 60}}
    (one,) = found("PW223", run(laps=COOLS, items=[later, HOLD | {"on": "cool"}]))
    assert "cool-down lap 1" in one.found


def test_the_runs_of_a_plan_have_laps_of_their_own() -> None:
    """The same hold in two runs is a comparison."""
    assert found("PW223", run(items=[HOLD | {"on": "out"}]), run("b", items=[HOLD | {"on": "out"}])) == []


def test_out_and_straight_in_is_one_lap_for_a_hold() -> None:
    """Whether its two halves are named by one item or by two."""
    (one,) = found("PW223", run(laps="out-in", items=[HOLD | {"on": ["out", "in"]}]))
    assert "twice: out and straight in is one lap" in one.found
    (one,) = found("PW223", run(laps="out-in", items=[HOLD | {"on": "out"}, COAST | {"on": "in"}]))
    assert path_text(one.path) == "runs[0].items[1].after"


def test_a_hold_must_be_over_where_the_next_begins() -> None:
    """How far it goes is known with geometry: 3 s and 1.5 s of settling at 55 m/s, from where that is reached."""
    begin = LAP.distance_at_phase(LAP.phase_of("turn 4")) or 0.0
    needed = LAP.hold_fits("turn 4", 3, 55, 1.5).needed_m
    assert needed is not None
    first = HOLD | {"on": "out", "with": {"gear": 5, "seconds": 3}}
    second = first | {"after": "board"}
    for beyond_m, faults in ((needed - 60, 1), (needed + 5, 0)):
        values = SETUP.circuit.model_dump(mode="json", by_alias=True, exclude_none=True)
        values["places"].append({"place": "board", "at_m": begin + beyond_m})
        circuit = type(SETUP.circuit).model_validate(values)
        lap = lap_map(circuit, CAR, SETUP.calls)
        assert lap.hold_fits("board", 3, 55, 1.5).fits
        for items in ([first, second], [second, first]):
            told = found("PW223", run(items=items), around=replace(AROUND, circuit=circuit, lap=lap))
            assert len(told) == faults
            assert all("goes on for 60 m beyond board" in one.found for one in told)


COMMENT = {"do": "driver_comment", "on": "in", "with": {"topic": "balance"}}
FLAP = {"do": "flap_compare", "on": {"timed": [1, 2]}, "with": {"flap": "open"}}


@pytest.mark.parametrize("items", [
    [COMMENT, COMMENT | {"on": ["cool", "in"]}], [FLAP, FLAP | {"on": {"timed": [2, 3]}}],
])  # fmt: skip
def test_an_item_that_is_twice_on_one_lap_is_doubted(items: list[dict[str, Any]]) -> None:
    """The engine makes two calls of it, and counts both."""
    (one,) = found("PW224", run(laps=COOLS, items=items))
    assert (one.severity, path_text(one.path)) == ("warning", "runs[0].items[1]")
    assert one.found.endswith("of 'a' twice")


@pytest.mark.parametrize("items", [
    [COMMENT, COMMENT | {"with": {"topic": "braking"}}], [COMMENT, COMMENT | {"on": "cool"}],
    [COMMENT, COMMENT | {"on": ["cool", "in"], "when": {"not_before": 60}}],
])  # fmt: skip
def test_an_item_with_other_figures_or_on_other_laps_is_another(items: list[dict[str, Any]]) -> None:
    """So is one that may wait for a lap of its own."""
    assert found("PW224", run(laps=COOLS, items=items)) == []


# -- talk --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("medium", "lap", "most"), [("two_way", LAP, 1), ("two_way", None, 2), ("board", LAP, 2)])
def test_a_call_on_the_road_tells_one_switch_where_the_stretches_are_known(
    medium: str, lap: LapMap | None, most: int
) -> None:
    """As the daemon makes them: two at most on a board and on a circuit without stretches; in the garage more."""
    calls = list(calls_of(plan(run(), medium=medium), CAR, SETUP.procedures, lap=lap))
    assert max(len(call.names) for call in calls if call.lap is not None) == most
    assert max(len(call.names) for call in calls if call.lap is None) > 2


def test_more_to_say_than_the_windows_of_a_lap_hold() -> None:
    """Comments and checks without end on one in-lap; on three laps there is room for as many."""
    comments = [{"do": "driver_comment", "on": "in", "with": {"topic": f"corner {number}"}} for number in range(15)]
    (one,) = found("PW212", run(items=comments))
    assert (one.severity, path_text(one.path)) == ("warning", "runs[0]")
    assert one.found.startswith("17 calls of")  # with the two switches that an in-lap wants, each a call of its own
    assert "in-lap of 'a'" in one.found
    assert found("PW212", run(items=comments[:4])) == []
    assert list(check_talk(plan(run(items=comments), medium="board"), AROUND)) == []  # a board is read, not heard


def test_switch_changes_count_as_talk_where_they_are_said() -> None:
    """At a very slow rate the changes before the first timed lap alone fill the out-lap."""
    slow = replace(AROUND, calls=SETUP.calls.model_copy(update={"words_per_minute": 60}))
    items = [{"do": "position_compare", "on": {"timed": 1}, "with": {"switch": name, "position": to}}
             for name, to in (("torque_map", 8), ("engine_braking", 5), ("traction_level", 6), ("diff_exit", 7))]
    whole = run(items=[*items[:2], {"do": "tyre_warm_up", "on": "out"}, {"do": "radio_check", "on": "out"}])
    assert [one.code for one in found("PW212", whole, around=slow)] == ["PW212"]
    assert found("PW212", whole) == []


def test_without_windows_nobody_knows() -> None:
    """A timing-only circuit gives no listening windows, so nothing is said about them."""
    comments = [{"do": "driver_comment", "on": "in", "with": {"topic": f"point {at}"}} for at in range(30)]
    blind = replace(AROUND, lap=replace(LAP, listening=None))
    assert found("PW212", run(items=comments), around=blind) == []


# -- tyres, weather, time ------------------------------------------------------------------------------------------


def test_the_age_of_a_set_is_what_it_had_and_what_was_driven_on_it() -> None:
    """Out and straight in is one lap; a run that names no set goes on with the one before."""
    made = plan(run("a", laps="out-in", tyres="A"), run("b"), run("c", tyres="B"), run("d", tyres="A"),
                tyre_sets={"A": {"compound": "hard", "laps": 10}, "B": {"compound": "soft"}})
    assert ages(made) == [("A", 10), ("A", 11), ("B", 0), ("A", 16)]


@pytest.mark.parametrize(("most", "told"), [
    (21, []), (20, ["runs[1].tyres"]), (15, ["runs[0].tyres"]), (14, ["runs[0].tyres"]),
])  # fmt: skip
def test_a_set_is_not_driven_beyond_its_limit(most: int, told: list[str]) -> None:
    """Two runs of five laps on a set with eleven; the first run that goes beyond is told."""
    sets = {"A": {"compound": "hard", "laps": 11, "most_laps": most}}
    made = found("PW513", run("a", tyres="A"), run("b", tyres="A"), tyre_sets=sets)
    assert [path_text(one.path) for one in made] == told


def test_a_repeat_wants_tyres_of_the_same_age() -> None:
    """New against new compares; five laps against none does not."""
    sets = {"A": {"compound": "soft"}, "B": {"compound": "soft"}}
    first, repeat = run("a", tyres="A"), {"run": "b", "want": "must", "laps": "out, 3 timed, in", "same_as": "a"}
    assert found("PW307", first, repeat | {"tyres": "B"}, tyre_sets=sets) == []
    (one,) = found("PW307", first, repeat | {"tyres": "A"}, tyre_sets=sets)
    assert one.found == "A with 5 laps on it as 'b' begins"
    (one,) = found("PW307", first, repeat, tyre_sets=sets)
    assert path_text(one.path) == "runs[1].same_as"


def test_a_comparison_across_compounds_tells_of_nothing_else() -> None:
    """Soft against medium compares the compounds; with another map, or a flap that is shut all through, it compares
    neither. What is tried on some of a run's laps is compared with the rest of them."""
    sets = {"A": {"compound": "medium"}, "B": {"compound": "soft"}, "C": {"compound": "medium"}}
    first = run("a", tyres="A", group="a-b")
    soft = run("b", tyres="B", group="a-b")
    assert found("PW310", first, soft, tyre_sets=sets) == []
    (one,) = found("PW310", first, soft | {"switches": {"torque_map": 4}}, tyre_sets=sets)
    assert (one.severity, path_text(one.path)) == ("warning", "runs[1].tyres")
    assert one.found == "soft against medium, and another position of torque_map"
    assert found("PW310", first, run("b", tyres="C", group="a-b", switches={"torque_map": 4}), tyre_sets=sets) == []
    step = {"do": "switch_compare", "with": {"switch": "brake_bias", "by": -2.0}}
    some, all_ = ([step | {"on": {"timed": laps}}] for laps in ([2], [1, 2, 3]))
    assert found("PW310", first, soft | {"items": some}, tyre_sets=sets) == []
    (one,) = found("PW310", first, soft | {"items": all_}, tyre_sets=sets)
    assert one.found == "soft against medium, and switch_compare on all timed laps of one of them"
    assert found("PW310", first | {"items": all_}, soft | {"items": all_}, tyre_sets=sets) == []
    repeat = {"run": "b", "want": "must", "laps": "out, 3 timed, in", "same_as": "a", "tyres": "B"}
    assert found("PW310", first | {"switches": {"torque_map": 4}, "group": None}, repeat, tyre_sets=sets) == []


def test_a_must_for_the_dry_does_not_belong_in_the_wet() -> None:
    """What may be dropped is left alone: it may dry up."""
    wet = replace(AROUND, wet=True)
    (one,) = found("PW306", run(dry_only=True), around=wet)
    assert path_text(one.path) == "runs[0].dry_only"
    assert found("PW306", run(dry_only=True, want="could"), around=wet) == []
    assert found("PW306", run(dry_only=True)) == []


def test_a_release_window_must_last_until_the_runs_before_are_over() -> None:
    """Fifteen minutes of running and work before it, and a window that closes after five."""
    (one,) = found("PW514", run("a"), run("b", release={"not_after": 300}))
    assert path_text(one.path) == "runs[1].release.not_after"
    assert "move 'b' up" in (one.suggestion or "")
    assert found("PW514", run("a"), run("b", release={"not_after": 3000})) == []
    assert found("PW514", run("b", release={"not_after": 300}), run("a")) == []
