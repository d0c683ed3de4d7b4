"""The static proof, as an engineer would try it: what can start a timed lap wrong, and how it is told."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.app.loading import load_setup
from pitwall.app.resources import demo_event
from pitwall.checks.around import Around
from pitwall.checks.flow import search
from pitwall.checks.flow.findings import check_flow, may_stand, one_missed_words
from pitwall.checks.flow.search import SwitchProof, Wrong, prove, prove_switch
from pitwall.checks.flow.stakes import stakes
from pitwall.checks.flow.story import Teller
from pitwall.model.car import Car
from pitwall.model.plan import Plan
from tests.unit.engine_stage import MAIN, PROCEDURES, SWITCHES, car_file, plan

FLAP = {"do": "flap_lap", "on": {"timed": 1}}
STEP = {"do": "bias_step", "on": {"timed": 2}, "with": {"switch": "brake_bias", "by": -2.0}}


def position(switch: str, to: Any, **on: Any) -> dict[str, Any]:
    """An item that has a switch at a position on these laps."""
    return {"do": "set_one", "on": on or {"timed": 1}, "with": {"switch": switch, "position": to}}


def with_switch(name: str, **changes: Any) -> Car:
    """The demo car of the tests with one switch changed."""
    return car_file(switches=[one | changes if one["switch"] == name else one for one in SWITCHES])


def proof_of(made: Plan, switch: str, car: Car | None = None, **more: Any) -> SwitchProof:
    """The proof for one switch."""
    car = car or car_file()
    found = car.switch(switch)
    assert found is not None
    return prove_switch(made, car, PROCEDURES, found, **more)


def told(made: Plan, wrong: Wrong, car: Car | None = None) -> str:
    """The story in words."""
    return Teller(made, car or car_file(), PROCEDURES).story(wrong)


def findings(made: Plan, car: Car | None = None, **more: Any) -> list[tuple[str, str]]:
    """Codes and words of what the proof finds while every call is made."""
    around = Around(car=car or car_file(), procedures=PROCEDURES, **more)
    return [(one.code, one.found) for one in check_flow(made, around)]


# -- what is safe while every call is made -----------------------------------------------------------------------------


def test_an_item_that_is_put_back_is_safe_while_every_call_is_made() -> None:
    """Cut short, red-flagged, left out or dropped: with its calls made the flap is never open where it must not be."""
    made = plan(MAIN | {"laps": "out, 3 timed, in", "items": [FLAP]}, MAIN | {"run": "after"})
    proof = proof_of(made, "flap")
    assert proof.wrong == {}
    assert proof.positions[0, 1] == {"open", "closed"}  # the engineer may leave the item out
    assert proof.positions[0, 2] == {"closed"}
    assert proof.positions[1, 1] == {"closed"}


def test_the_out_lap_after_a_red_flag_starts_with_the_put_back_made() -> None:
    """The lap with the flap open is broken off; the put-back is owed, and made in the check before the next leaving."""
    proof = proof_of(plan(MAIN | {"items": [FLAP]}), "flap")
    assert proof.positions[0, 0] == {"closed"}
    assert proof.positions_missed[0, 0] == {"closed", "open"}


def test_defaults_of_driver_weather_and_lap_kind_are_what_a_lap_wants() -> None:
    """Each lap wants its own default, and the calls between them see to it."""
    made = plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}, driver="dana")
    assert [proof_of(made, "torque_map").positions[0, lap] for lap in range(4)] == [{3.0}, {3.0}, {1.0}, {3.0}]
    assert proof_of(made, "torque_map", wet=True).positions[0, 2] == {1.0}
    assert proof_of(plan(MAIN), "torque_map", wet=True).positions[0, 1] == {4.0}


def test_a_run_with_another_driver_is_checked_before_its_release() -> None:
    """Two drivers, two defaults: what differs is read out as they change."""
    made = plan(MAIN, MAIN | {"run": "hers", "driver": "dana"})
    proof = proof_of(made, "torque_map")
    assert (proof.positions[0, 1], proof.positions[1, 1], proof.wrong) == ({2.0}, {3.0}, {})


def test_what_is_left_on_purpose_is_wanted_where_it_is_left() -> None:
    """``put_back: false`` with its reason: the rest of the run has it so, and the next run's check puts it back."""
    left = FLAP | {"put_back": False, "why": "flow paint"}
    made = plan(MAIN | {"items": [left], "shorten_to": 2}, MAIN | {"run": "after"})
    proof = proof_of(made, "flap")
    assert proof.wrong == {}
    assert proof.positions[0, 2] == {"open", "closed"}
    assert proof.positions[1, 1] == {"closed"}


def test_a_momentary_button_is_nobodys_business() -> None:
    """It springs back by itself."""
    proof = proof_of(plan(MAIN | {"items": [position("mark", "down")]}), "mark", car_file(forbidden_on_timed=[]))
    assert (proof.guarded, proof.wrong) == (False, {})


# -- what is not -------------------------------------------------------------------------------------------------------


def test_a_preset_that_sets_what_the_run_wants_elsewhere_is_an_error_of_the_plan() -> None:
    """The same call that asks for the preset cannot undo what it sets: the lap starts wrong as planned. The next one
    does not: on the lap itself what is off is called back."""
    made = plan(MAIN | {"items": [position("push", "on")]})
    car = with_switch("torque_map", measured=False)
    (code, words), = findings(made, car)
    assert code == "PW406"
    assert words == (
        "set_one has push on, which puts torque at 4 on timed lap 1 of main; timed lap 1 of main starts with torque at "
        "4, not 2")


def test_a_preset_that_is_on_as_the_session_opens_is_read_out_at_the_first_check() -> None:
    """Its button has no position to be read, save where it is on: then it is told to go."""
    made = plan(MAIN, starts_with={"switches": {"push": "on"}})
    assert findings(made, car_file(forbidden_on_timed=["push"])) == []


def test_a_paged_setting_goes_home_by_itself() -> None:
    """Wanted away from home for a whole run it may be home again by any lap, and nobody is told."""
    made = plan(MAIN | {"switches": {"display": "tyres"}})
    (code, words), = findings(made, car_file(forbidden_on_timed=["display"]))
    assert code == "PW407"
    assert words == ("display goes home to drive by itself on out-lap of main; timed lap 1 of main starts with display "
                     "at drive, not tyres (and 1 more timed lap of the run)")


def test_a_stationary_switch_cannot_follow_the_kind_of_lap() -> None:
    """Set in the garage for the out-lap, it cannot be changed before the timed lap; told where the car file guards
    it."""
    car = with_switch("start_map", defaults=[{"position": 2, "lap": "timed"}])
    assert findings(plan(MAIN), car) == []
    guarded = car.model_copy(update={"forbidden_on_timed": ("start_map",)})
    assert [code for code, _ in findings(plan(MAIN), guarded)] == ["PW406"]


def test_a_proof_that_has_too_many_ways_to_follow_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Broken off, nothing is shown: that is a finding, not silence."""
    monkeypatch.setattr(search, "MOST_STATES", 5)
    made = plan(MAIN | {"items": [FLAP | {"put_back": False, "why": "so"}]})
    assert {code for code, _ in findings(made)} == {"PW409"}


def test_a_bias_told_within_the_free_range_of_the_next_run_may_be_out_of_it() -> None:
    """Told 55 and free by 0.5 the driver may have 54.5; a run that wants 55.5 and does not say so may start 1.0 off."""
    made = plan(MAIN, MAIN | {"run": "after", "switches": {"brake_bias": 55.5}})
    (code, words), = findings(made)
    assert code == "PW407"
    assert words.startswith("the driver moves bias to 54.5 on")
    assert "of after starts with bias at 54.5, not 55.5" in words
    assert findings(made, with_switch("brake_bias", measured=True)) == []


def test_an_item_taken_out_after_its_call_is_put_back_before_the_line() -> None:
    """The flap was opened for it already, or the lap is being driven: it is told to go back, so nothing is wrong."""
    made = plan(MAIN | {"laps": "out, 3 timed, in", "items": [FLAP]})
    assert proof_of(made, "flap").wrong == {}


def test_a_small_step_whose_item_is_taken_out_on_its_lap_may_grow() -> None:
    """A step within the free range counts as in place, so nobody asks for it back; from there the driver may go as far
    again, out of the range."""
    made = plan(MAIN | {"items": [STEP | {"on": {"timed": 1}, "with": {"switch": "brake_bias", "by": -0.5}}]})
    (code, words), = findings(made)
    assert code == "PW407"
    assert "bias_step on timed lap 1 of main is taken out after the call for its switch" in words
    assert words.endswith("timed lap 2 of main starts with bias at 54, not 55")


# -- one missed call ---------------------------------------------------------------------------------------------------


def test_the_story_of_a_missed_put_back_reads_as_it_would_be_told() -> None:
    """Item, lap, put-back, and the lap that starts wrong."""
    made = plan(MAIN | {"items": [FLAP]})
    wrong = proof_of(made, "flap").wrong_missed[0, 2]
    assert told(made, wrong) == (
        "flap_lap has flap at open on timed lap 1 of main; the put-back 'flap closed' at the end of timed lap 1 is "
        "read back and not done; timed lap 2 of main starts with flap at open, not closed")


def test_an_unmeasured_switch_may_stay_wrong_into_the_next_run() -> None:
    """A put-back read back and not done is looked at by nobody; where telemetry shows it, the next lap's call mends
    it."""
    made = plan(MAIN | {"laps": "out, 3 timed, in", "items": [FLAP]}, MAIN | {"run": "after"})
    unseen = stakes(made, car_file(), PROCEDURES)
    worst = max(len(one.spoilt) for one in unseen if "flap" in one.call.names)
    assert worst == 4  # timed laps 2 and 3, and both of the next run
    seen = stakes(made, with_switch("flap", measured=True), PROCEDURES)
    assert max(len(one.spoilt) for one in seen if "flap" in one.call.names) == 1


def test_calls_are_listed_with_the_most_at_stake_first_and_only_a_few() -> None:
    """A handful of lines; all of them on request, then with the stories that need something else as well."""
    made = plan(MAIN | {"laps": "out, 4 timed, in", "items": [FLAP, STEP, position("torque_map", 4, timed=3)]},
                MAIN | {"run": "after", "laps": "out, 1 timed, cool, 1 timed, in"})
    around = Around(car=car_file(), procedures=PROCEDURES)
    few, every = one_missed_words(made, around), one_missed_words(made, around, every=True)
    counts = [len(one.spoilt) for one in stakes(made, car_file(), PROCEDURES)]
    assert counts == sorted(counts, reverse=True)
    assert len(few) == 5
    assert few[-1] == f"  and {len(counts) - 3} more calls: --every-call"
    assert few[1:4] == every[1:4]
    assert len(every) >= 1 + len(counts)


def test_positions_of_each_timed_lap_are_told_with_what_one_missed_call_adds() -> None:
    """The lap after the item: closed, or open with one call missed."""
    made = plan(MAIN | {"items": [FLAP]})
    assert may_stand(made, Around(car=car_file(), procedures=PROCEDURES))["timed lap 2 of main"]["flap"] == [
        "closed", "or: open"]


def test_a_plan_without_timed_laps_has_nothing_at_stake() -> None:
    """An installation lap alone: no line at all."""
    around = Around(car=car_file(), procedures=PROCEDURES)
    assert one_missed_words(plan(MAIN | {"laps": "out-in"}), around) == []
    assert one_missed_words(plan(MAIN), Around()) == []


# -- the demo event, and time --------------------------------------------------------------------------------------


def test_the_demo_event_is_safe_while_every_call_is_made() -> None:
    """No finding on its plans, and the proof of both is complete."""
    made = load_setup(demo_event())
    for car, one in made.plans.items():
        proofs = prove(one, made.cars[car], made.procedures, misses=0)
        assert all(proof.complete and not proof.wrong for proof in proofs)


@pytest.mark.parametrize("laps", [20, 150])
def test_long_runs_are_proved_too(laps: int) -> None:
    """The work grows with the laps, not with the ways to drive them."""
    long = MAIN | {"laps": f"out, {laps} timed, in", "items": [FLAP, STEP], "shorten_to": laps // 2}
    made = plan(*(long | {"run": f"r{number}"} for number in range(3)))
    proofs = prove(made, car_file(), PROCEDURES, misses=0)
    assert all(proof.complete and not proof.wrong for proof in proofs)
