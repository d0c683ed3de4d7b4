"""The plan against what happens: which run, which lap of it, and what becomes of runs that go another way."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.progress import RESUME_SHARE, PlanProgress, RunState, legs_of, run_progress
from pitwall.model.plan import Item
from tests.unit.engine_stage import CHECKS, MAIN, SPARE, plan


def progress(*runs: dict[str, Any]) -> PlanProgress:
    """Progress of a plan of these runs; ``main`` and ``spare`` without any."""
    return PlanProgress(plan(*runs))


def running(laps: str = "out, 2 timed, cool, 1 timed, in", **more: Any) -> tuple[PlanProgress, RunState]:
    """A plan whose first run has begun and whose out-lap is done."""
    made = progress(MAIN | {"laps": laps} | more, SPARE)
    state = made.leave(100)
    assert state is not None
    made.lap_done("out")
    return made, state


# -- which run ------------------------------------------------------------------------------------------------


def test_the_first_run_is_next_and_starts_when_the_car_leaves() -> None:
    """Chosen in the garage, running from pit exit, done at pit entry; then the following one is next."""
    made = progress()
    assert (made.current, made.next) == (None, made.runs[0])
    assert made.leave(100) is made.runs[0]
    assert (made.current, made.next) == (made.runs[0], None)
    for kind in ("out", "timed", "timed"):
        made.lap_done(kind)
    assert made.come_in(500, red=False) is made.runs[0]
    assert (made.runs[0].state, made.runs[0].start_t, made.runs[0].end_t) == ("done", 100, 500)
    assert made.next is made.runs[1]


def test_a_block_without_laps_is_never_driven() -> None:
    """Items after the flag have no laps: the car does not leave for them."""
    block = {"run": "starts", "want": "could", "items": [{"do": "standing_start", "at": "grid"}]}
    made = progress(block, MAIN)
    assert made.next is made.find("main")
    assert made.find("starts") in made.rest()
    assert made.find("nobody") is None


def test_a_leaving_beyond_the_plan_is_known_as_such() -> None:
    """The plan is used up and the car goes out again: no run, and nothing moves."""
    made = progress(CHECKS)
    made.leave(0)
    made.come_in(100, red=False)
    assert made.leave(400) is None
    made.lap_done("timed")
    assert made.come_in(600, red=False) is None
    assert made.runs[0].state == "done"


def test_with_nothing_left_the_last_run_goes_on() -> None:
    """The last run was ended early, still counts, and the car goes out again: it is on the laps that are left of it."""
    made = progress(MAIN | {"laps": "out, 5 timed, in", "shorten_to": 3})
    state = made.leave(0)
    assert state is not None
    for kind in ("out", "timed", "timed", "timed"):
        made.lap_done(kind)  # type: ignore[arg-type]  # words of the tuple above
    made.come_in(400, red=False)
    assert (state.state, state.timed_done, made.next) == ("done", 3, None)
    assert made.leave(900) is state
    made.lap_done("out")
    assert (state.state, state.start_t, state.pointer, state.expected_kind) == ("running", 0, 4, "timed")


def test_a_cut_run_is_not_given_up_for_a_run_that_there_is_not() -> None:
    """The car stood as long as the work before the next run takes, but no run is left to begin: the cut one goes on."""
    made = progress(MAIN | {"laps": "out, 5 timed, in"})
    state = made.leave(0)
    assert state is not None
    for kind in ("out", "timed"):
        made.lap_done(kind)  # type: ignore[arg-type]  # words of the tuple above
    made.come_in(200, red=False)
    assert made.leave(200 + 300) is state
    assert (state.state, state.leavings) == ("running", 2)


# -- which run, by the tyres ----------------------------------------------------------------------------------


def on_two_compounds(**first: Any) -> PlanProgress:
    """Two runs on mediums, then one on softs."""
    made = plan(
        MAIN | {"run": "a", "tyres": "M1"} | first, MAIN | {"run": "b", "tyres": "M2"},
        MAIN | {"run": "c", "tyres": "S1"}, starts_with={"tyres": "M1"},
        tyre_sets={"M1": {"compound": "medium"}, "M2": {"compound": "Medium"}, "S1": {"compound": "soft"}},
    )  # fmt: skip
    return PlanProgress(made)


def test_another_compound_shows_another_run() -> None:
    """The car leaves on softs where the plan has mediums: it is on the first run on softs; the other stays planned."""
    made = on_two_compounds()
    made.leave(100)
    found = made.see_tyres(" Soft", 130)
    assert found is made.find("c")
    assert found.start_t == 100
    assert (found.state, found.leavings) == ("running", 1)
    assert found.reason is not None
    assert "not on the tyres of a" in found.reason
    assert (made.runs[0].state, made.runs[0].start_t) == ("planned", None)
    made.come_in(400, red=False)
    assert made.next is made.runs[0]


def test_tyres_that_fit_or_that_no_run_explains_move_nothing() -> None:
    """The planned compound, in whatever letters; one that stands in no plan; and any compound after the out-lap."""
    made = on_two_compounds()
    state = made.leave(100)
    assert made.see_tyres("MEDIUM", 130) is None
    assert made.see_tyres("unknown", 130) is None
    made.lap_done("out")
    assert made.see_tyres("soft", 230) is None
    assert made.current is state
    bare = progress()
    bare.leave(0)
    assert bare.see_tyres("soft", 30) is None


def test_an_unplanned_stop_is_seen_by_the_tyres() -> None:
    """A run was ended early and counts; the car leaves on its tyres and not on the next run's: that run goes on."""
    made = on_two_compounds(laps="out, 4 timed, in", shorten_to=2)
    first = made.leave(0)
    assert first is not None
    for kind in ("out", "timed", "timed"):
        made.lap_done(kind)  # type: ignore[arg-type]  # words of the tuple above
    made.come_in(300, red=False)
    made.drop_run(made.runs[1], 310, "no time")
    assert made.leave(700) is made.find("c")
    assert made.see_tyres("medium", 730) is first
    made.lap_done("out")
    assert (first.state, first.expected_kind, first.timed_done) == ("running", "timed", 2)
    assert made.runs[2].state == "planned"


def test_items_called_on_the_wrong_run_are_still_to_be_done() -> None:
    """A call was made for an item of the run that the car is not on: the item is planned as before."""
    made = on_two_compounds(items=[{"do": "radio_check", "on": "out"}])
    state = made.leave(0)
    assert state is not None
    state.items[0].signal("call", 10)
    made.see_tyres("soft", 30)
    assert state.items[0].state == "planned"


# -- the pointer, line by line of the theory ------------------------------------------------------------------


def test_the_planned_kind_moves_one_on() -> None:
    """Lap by lap as planned, the pointer walks to the in-lap."""
    made, state = running()
    for expected, kind in ((1, "timed"), (2, "timed"), (3, "cool"), (4, "timed")):
        assert (state.pointer, state.expected_kind) == (expected, kind)
        made.lap_done(kind)  # type: ignore[arg-type]  # words of the tuple above
    assert (state.expected_kind, state.timed_done, state.timed_wanted) == ("in", 3, 3)


def test_an_unmarked_cool_lap_is_put_in() -> None:
    """A cool-down lap where a timed one was planned: the pointer stays, nothing is lost."""
    made, state = running()
    made.lap_done("cool")
    assert (state.pointer, state.timed_done) == (1, 0)
    made.lap_done("timed")
    assert (state.pointer, state.timed_done) == (2, 1)


def test_a_skipped_cool_lap_counts_the_timed_one() -> None:
    """A timed lap where a cool-down lap was planned is the timed lap after it."""
    made, state = running()
    for _ in range(3):
        made.lap_done("timed")
    assert (state.expected_kind, state.timed_done) == ("in", 3)
    made, state = running("out, 1 timed, cool, 2 timed, in")
    made.lap_done("timed")
    made.lap_done("timed")
    assert (state.pointer, state.expected_kind) == (4, "timed")


def test_two_cool_laps_in_a_row_are_not_skipped_at_once() -> None:
    """After one skipped cool-down lap another is still planned: only the first is passed over."""
    made, state = running("out, 1 timed, 2 cool, 1 timed, in")
    made.lap_done("timed")
    made.lap_done("timed")
    assert (state.pointer, state.expected_kind) == (3, "cool")


def test_staying_out_moves_the_box_one_lap() -> None:
    """Any complete lap where the in-lap was planned: the pointer stays on the in-lap and the laps are counted."""
    made, state = running("out, 1 timed, in")
    made.lap_done("timed")
    for number, kind in enumerate(("timed", "cool"), start=1):
        made.lap_done(kind)  # type: ignore[arg-type]  # words of the tuple above
        assert (state.expected_kind, state.stayed_out) == ("in", number)


def test_out_and_straight_in() -> None:
    """An installation lap is one run of one lap; a car that misses the entry is on its in-lap."""
    made = progress(CHECKS, MAIN)
    state = made.leave(0)
    assert state is not None
    assert state.out_in
    made.come_in(120, red=False)
    assert (state.state, made.next) == ("done", made.find("main"))
    made = progress(CHECKS, MAIN)
    state = made.leave(0)
    assert state is not None
    made.lap_done("out")
    assert (state.expected_kind, state.stayed_out) == ("in", 1)
    made.lap_done("timed")
    assert state.stayed_out == 2


def test_a_car_that_stays_out_is_on_a_later_run() -> None:
    """Taken to be on the next run of the plan that is long enough; what was done counts there."""
    made = progress(MAIN | {"laps": "out, 1 timed, in"}, SPARE, MAIN | {"run": "long", "laps": "out, 5 timed, in"})
    made.leave(100)
    for kind in ("out", "timed", "timed", "timed"):
        made.lap_done(kind)
    found = made.realign(500)
    assert found is not None
    assert found is made.find("long")
    assert found is made.current
    assert (found.timed_done, found.expected_kind, found.start_t) == (3, "timed", 100)
    assert found.pointer == 4
    assert made.runs[0].state == "done"
    assert made.runs[1].state == "planned"


def test_a_car_that_stays_out_on_the_longest_run_stays_on_it() -> None:
    """No later run explains it: the run goes on, and so does the box."""
    made, state = running("out, 1 timed, in")
    for _ in range(3):
        made.lap_done("timed")
    assert made.realign(500) is None
    assert made.current is state
    assert progress().realign(0) is None


# -- cut, resumed, given up -----------------------------------------------------------------------------------


def test_a_run_cut_short_is_resumed_where_it_was() -> None:
    """In after one of three timed laps: cut, next again, and after its out-lap the second timed lap follows."""
    made, state = running(shorten_to=3)
    made.lap_done("timed")
    made.come_in(300, red=False)
    assert (state.state, state.reason, made.next) == ("next", "1 of 3 timed laps done", state)
    assert made.leave(400) is state
    made.lap_done("out")
    assert (state.pointer, state.leavings, state.start_t) == (2, 2, 100)


def test_a_run_that_was_driven_after_all_says_so() -> None:
    """Why it was broken off is no word on how it ended: ``done, 3 of 3 timed (0 of 3 timed laps done)`` was two truths
    on one line."""
    made, state = running(shorten_to=3)
    made.come_in(300, red=False)
    assert state.reason == "0 of 3 timed laps done"
    for at in (400, 800):
        made.leave(at)
        for kind in ("out", "timed", "timed", "timed") if at == 800 else ("out", "timed"):
            made.lap_done(kind)
        made.come_in(at + 300, red=False)
    assert (state.state, state.reason) == ("done", "broken off first: 1 of 3 timed laps done; then driven on")


def test_a_run_broken_off_on_its_cool_down_lap_goes_on_with_the_timed_one() -> None:
    """Nobody drives a cool-down lap straight after an out-lap; where no timed lap follows there is the in-lap."""
    for laps, follows in (("out, 1 timed, cool, 1 timed, in", "timed"), ("out, 2 timed, cool, in", "in"),
                          ("out, 1 timed, cool, cool, 1 timed, in", "timed")):  # fmt: skip
        made, state = running(laps, shorten_to=laps.count("timed"))
        while state.expected_kind == "timed":
            made.lap_done("timed")
        state.timed_done = 0 if follows == "in" else state.timed_done
        made.come_in(300, red=True)
        assert made.leave(400) is state
        made.lap_done("out")
        assert state.expected_kind == follows, laps


def test_a_run_with_enough_laps_is_done() -> None:
    """What still counts is enough: ``shorten_to``, or half of the timed laps."""
    for more, laps, ended in (({"shorten_to": 2}, 2, "done"), ({"shorten_to": 3}, 2, "next"), ({}, 2, "done"),
                              ({}, 1, "next")):  # fmt: skip
        made, state = running("out, 3 timed, in", **more)
        for _ in range(laps):
            made.lap_done("timed")
        made.come_in(500, red=False)
        assert state.state == ended, (more, laps)


def test_a_long_stop_means_that_the_next_run_has_begun() -> None:
    """The car stood about as long as the work before the next run takes: the cut run is given up."""
    for stood, which in ((300 * RESUME_SHARE - 1, "main"), (300 * RESUME_SHARE, "spare")):
        made, _ = running()
        made.come_in(200, red=False)
        left = made.leave(200 + stood)
        assert left is not None
        assert left.run.run == which
    assert made.runs[0].state == "done"
    assert "not resumed" in (made.runs[0].reason or "")


def test_a_car_that_was_told_which_run_it_leaves_for_is_on_that_run() -> None:
    """Somebody's word goes over what the length of the stop suggests."""
    made, state = running()
    made.come_in(200, red=False)
    assert made.leave(200 + 300 * RESUME_SHARE, told="main") is state


def test_half_of_a_run_is_taken_for_a_shorter_one_only_when_no_flag_ended_it() -> None:
    """In by itself after two of three timed laps: it was meant to be shorter. Cut by red it goes on, for the plan says
    nothing of fewer laps."""
    for red, state_after in ((False, "done"), (True, "next")):
        made, state = running()
        made.lap_done("timed")
        made.lap_done("timed")
        made.come_in(400, red=red)
        assert state.state == state_after
    made, state = running(shorten_to=2)
    made.lap_done("timed")
    made.lap_done("timed")
    made.come_in(400, red=True)
    assert state.state == "done"


def test_a_red_flag_breaks_a_run_that_is_resumed_however_long_it_takes() -> None:
    """After a red flag the length of the stop says nothing."""
    made, state = running()
    made.come_in(200, red=True)
    assert state.reason == "red flag"
    assert made.leave(5000) is state


# -- changes from the desk ------------------------------------------------------------------------------------


def test_box_makes_this_lap_the_in_lap() -> None:
    """On a timed lap the pointer jumps to the in-lap; on the out-lap it waits there for the pit entry."""
    made, state = running()
    made.box_now()
    assert state.expected_kind == "in"
    made = progress()
    made.leave(0)
    early = made.box_now()
    assert early is not None
    assert (early.expected_kind, early.pointer) == ("in", 0)
    made.lap_done("out")
    assert (early.expected_kind, early.stayed_out) == ("in", 1)
    assert progress().box_now() is None


def test_a_run_boxed_before_it_counts_is_resumed_where_it_was() -> None:
    """Called in on the second of four timed laps, one done: the resumed run has the three laps left, not none."""
    made, state = running("out, 4 timed, in")
    made.lap_done("timed")
    made.box_now()
    made.come_in(300, red=False)
    assert state.state == "next"
    made.leave(320)
    made.lap_done("out")
    assert (state.pointer, state.expected_kind) == (2, "timed")


def test_a_lap_driven_instead_of_the_box_counts() -> None:
    """Called in on timed lap 2, stayed out and drove it, then came in: the resumed run goes on with timed lap 3."""
    made, state = running("out, 6 timed, in")
    made.lap_done("timed")
    made.box_now()
    made.lap_done("timed")
    assert (state.expected_kind, state.stayed_out) == ("in", 1)
    made.come_in(400, red=False)
    assert (state.state, state.resume_at) == ("next", 3)


def test_extend_adds_timed_laps_before_the_in_lap() -> None:
    """Two more laps; on the in-lap the car goes on with the first of them."""
    made, state = running("out, 1 timed, in")
    revision = made.revision
    assert made.change_laps(state, 2, 150)
    assert state.laps == ("out", "timed", "timed", "timed", "in")
    assert made.revision == revision + 1
    made, state = running("out, 1 timed, in")
    made.lap_done("timed")
    assert made.change_laps(state, 2, 250)
    assert (state.expected_kind, state.pointer) == ("timed", 2)


def test_extend_takes_back_a_box_on_the_out_lap() -> None:
    """Boxed on the out-lap, then extended: the car is on its out-lap again, the run ahead of it."""
    made = progress()
    made.leave(0)
    made.box_now()
    state = made.runs[0]
    assert made.change_laps(state, 1, 50)
    assert (state.expected_kind, state.pointer) == ("out", 0)
    made.lap_done("out")
    assert (state.expected_kind, state.pointer) == ("timed", 1)


def test_extend_after_a_missed_box_goes_on_where_the_car_is() -> None:
    """Boxed on the out-lap, passed the entry all the same, then extended: the car is on its first timed lap."""
    made = progress()
    made.leave(0)
    made.box_now()
    made.lap_done("out")
    assert made.change_laps(made.runs[0], 1, 150)
    assert (made.runs[0].expected_kind, made.runs[0].pointer) == ("timed", 1)


def test_shorten_takes_the_last_timed_laps_that_have_not_begun() -> None:
    """Laps done or going on stay; a run keeps one timed lap at least; out-in cannot change."""
    made, state = running("out, 3 timed, in")
    assert made.change_laps(state, -1, 150)
    assert state.laps == ("out", "timed", "timed", "in")
    assert made.change_laps(state, -1, 150)
    assert not made.change_laps(state, -1, 150)
    made.lap_done("timed")
    assert state.expected_kind == "in"
    made = progress(CHECKS)
    assert not made.change_laps(made.runs[0], 1, 0)


def test_a_refused_change_changes_nothing() -> None:
    """Three laps off a run of three: refused whole."""
    made, state = running("out, 3 timed, in")
    revision = made.revision
    assert not made.change_laps(state, -3, 150)
    assert (state.timed_wanted, made.revision) == (3, revision)


def test_dropping_a_run_drops_its_items_and_chooses_the_next() -> None:
    """The dropped run gives its reason; what is over cannot be dropped."""
    made = progress(MAIN | {"items": [{"do": "hold", "on": "out", "after": "bridge"}]}, SPARE)
    state = made.runs[0]
    assert made.drop_run(state, 10, "no time")
    assert (state.state, state.reason, state.items[0].state) == ("dropped", "no time", "dropped")
    assert made.next is made.runs[1]
    assert not made.drop_run(state, 11, "again")


# -- items on their laps --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("on", "legs"), [
    (None, (0,)), ("out", (0,)), (["out", "in"], (0, 5)), ("timed", (1, 2, 4)), ({"timed": 3}, (4,)),
    ({"timed": [1, 9]}, (1,)), ("cool", (3,)), ("installation", ()),
])  # fmt: skip
def test_items_sit_on_the_laps_that_they_name(on: Any, legs: tuple[int, ...]) -> None:
    """Each lap of the kind, or those numbered; numbers beyond the run are none."""
    laps = ("out", "timed", "timed", "cool", "timed", "in")
    item = Item.model_validate({"do": "hold", **({"on": on} if on else {})})
    assert legs_of(item, laps) == legs  # type: ignore[arg-type]  # lap kinds, as a plain tuple
    assert legs_of(Item.model_validate({"do": "hold", "on": "installation"}), ("out", "in")) == (0,)


def test_items_follow_their_laps_when_the_run_changes() -> None:
    """An item on each timed lap gets the new lap too; one on the in-lap moves with it; what was done stays."""
    items = [{"do": "flap_lap", "on": "timed"}, {"do": "comment", "on": "in"}]
    made, state = running("out, 1 timed, in", items=items)
    state.items[0].signal("call", 120)
    made.change_laps(state, 1, 130)
    assert [(item.item.do, item.leg, item.state) for item in state.items] == [
        ("flap_lap", 1, "called"), ("flap_lap", 2, "planned"), ("comment", 3, "planned"),
    ]  # fmt: skip
    made.change_laps(state, -1, 140)
    assert [(item.item.do, item.leg) for item in state.items] == [("flap_lap", 1), ("comment", 2)]


def test_an_item_that_was_dropped_stays_dropped_when_the_run_changes() -> None:
    """The in-lap moves back and its dropped item with it: nobody asked for it again."""
    made, state = running("out, 1 timed, in", items=[{"do": "comment", "on": "in"}])
    state.items[0].signal("drop", 110, "dropped by desk")
    made.change_laps(state, 1, 120)
    assert [item.state for item in state.items] == ["dropped"]
    run_progress(state, None)


def test_an_item_moved_to_a_lap_that_goes_has_no_place_left() -> None:
    """Moved to timed lap 4 and the run shortened to two: not done, with the reason, and the plan can be published."""
    made, state = running("out, 4 timed, in", items=[{"do": "flap_lap", "on": {"timed": 1}}])
    state.items[0].leg, state.items[0].attempt = 4, 1
    assert made.change_laps(state, -2, 150)
    found = run_progress(state, None)
    assert found.items[0].state == "not_done"
    assert found.items[0].reason == "its lap was taken out of the run"
    assert found.items[0].t == 150


# -- the end --------------------------------------------------------------------------------------------------


def test_the_end_of_the_session_ends_every_run() -> None:
    """Never begun: skipped. Cut: done with what it has. Their items are not done; blocks too."""
    items = [{"do": "hold", "on": "in", "after": "bridge"}]
    block = {"run": "starts", "want": "could", "items": [{"do": "standing_start"}]}
    made = progress(MAIN | {"items": items}, SPARE | {"items": items}, block)
    made.leave(100)
    made.lap_done("out")
    made.come_in(300, red=False)
    made.skip_what_cannot_be(4000)
    assert [state.state for state in made.runs] == ["done", "skipped", "skipped"]
    assert {state.reason for state in made.runs} == {"the session ended"}
    assert {item.state for state in made.runs for item in state.items} == {"not_done"}
    assert made.next is None


def test_a_car_that_comes_in_after_the_session_ended_starts_nothing_new() -> None:
    """Closed while the car was on its run: at the pit entry the run is over, and no other is chosen."""
    made, state = running("out, 3 timed, in")
    made.skip_what_cannot_be(4000)
    assert state.state == "running"
    made.come_in(4050, red=False)
    assert (state.state, state.reason) == ("done", "the session ended")
    assert made.next is None
    assert made.leave(4100) is None


def test_the_published_form_names_laps_and_spans() -> None:
    """Labels count laps of a kind; the actual span has an end only when the car is in."""
    made, state = running("out, 1 timed, cool, 1 timed, in", items=[
        {"do": "flap_lap", "on": {"timed": 2}}, {"do": "comment", "on": "cool"}, {"do": "comment", "on": "in"},
        {"do": "hold", "on": "out", "after": "bridge"},
    ])  # fmt: skip
    found = run_progress(state, (1.0, 2.0))
    assert [item.lap for item in found.items] == ["timed lap 2", "cool-down lap 1", "in-lap", "out-lap"]
    assert (found.actual_span_s, found.expected_span_s) == ((100, None), (1.0, 2.0))
    assert run_progress(made.runs[1], None).actual_span_s is None


@pytest.mark.parametrize(("laps", "more", "counts"), [
    (0, {}, False), (1, {}, False), (2, {}, False), (1, {"shorten_to": 1}, True), (2, {"shorten_to": 3}, False),
    (4, {}, True),
])  # fmt: skip
def test_a_run_given_up_counts_only_with_the_laps_that_count(laps: int, more: dict[str, Any], counts: bool) -> None:
    """Cut by a red flag and never gone on with, it is over: it counts with ``shorten_to`` laps, without with all: that
    is what the forecast asks for. Half are enough only where somebody ended it."""
    made, state = running("out, 4 timed, in", **more)
    for _ in range(laps):
        made.lap_done("timed")
    assert run_progress(state, None).counts
    made.come_in(500, red=True)
    made.skip_what_cannot_be(900)
    found = run_progress(state, None)
    assert (found.state, found.counts, found.ended_as) == ("done", counts, "done" if counts else "cut")
