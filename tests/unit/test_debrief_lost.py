"""Why a must was lost: what was driven although it was wanted less, and whose word that was."""

from __future__ import annotations

import pytest

from pitwall.app.debrief_cars import stints
from pitwall.app.debriefing import debrief
from pitwall.debrief import contents_lost
from pitwall.debrief.contents import document_of
from pitwall.debrief.contents_lost import items_lost_to, lost_to, sentence
from pitwall.debrief.contents_summary import summary_sections
from pitwall.debrief.document import Points
from pitwall.debrief.model import CarDebrief, ChangeRow
from pitwall.engine.calls import HELD_BACK
from pitwall.engine.laps_taken import TAKEN_OUT
from pitwall.model.debrief_rows import Stint
from tests.unit import debrief_stage as stage
from tests.unit.engine_stage import MAIN, plan, setup
from tests.unit.kept_stage import Kept

DRIVEN = (Stint(from_s=600.0, to_s=1260.0),)


def a_car(*changes: ChangeRow, first: str = "could") -> CarDebrief:
    """A car that drove ``coast`` and not ``long``, which the plan had behind it."""
    runs = (stage.run("coast", first, "done", stints=DRIVEN),
            stage.run("long", "must", "skipped", reason="the session ended", stints=()))
    return stage.car().model_copy(update={"runs": runs, "changes": changes, "items": ()})


def test_a_lost_must_names_what_was_driven_in_its_stead() -> None:
    """The lesser run with its time, and that nobody changed the plan where nobody did; other runs need no why."""
    car = a_car()
    assert lost_to(car.runs[1], car) == (" Wanted less and driven: could coast, 0:10:00 to 0:21:00."
                                         " No change of the plan names them.")
    assert lost_to(car.runs[0], car) == ""
    must = a_car(first="must")
    assert lost_to(must.runs[1], must) == ""


def test_a_changed_plan_says_who_changed_it_and_why() -> None:
    """Changes that name one of the runs stand there; others, and corrections of what was believed, do not."""
    car = a_car(ChangeRow(t=540.0, what="coast moved before long", by="ann", why="the track is empty"),
                ChangeRow(t=550.0, what="coastline is nothing of ours", by="ann"),
                ChangeRow(t=560.0, what="long began at 0:09:20", about="correction"))
    assert lost_to(car.runs[1], car).endswith(
        " Plan changed at 0:09:00: coast moved before long, by ann (the track is empty).")
    turned = car.model_copy(update={"runs": car.runs[::-1]})
    assert "could coast, 0:10:00 to 0:21:00, planned after it." in lost_to(turned.runs[0], turned)


def test_a_run_whose_end_nobody_saw_ends_when_the_next_begins() -> None:
    """Its last lap is a timed one, and the car left again on another run: it was not out to the end of the session. The
    last run of all may be out still."""
    (lap, *_) = stage.laps("coast", 1, 1)
    laps = [lap.model_copy(update={"run": run, "kind": kind, "start_s": start, "end_s": start + 100.0})
            for run, kind, start in (("coast", "out", 600.0), ("coast", "timed", 700.0), ("long", "out", 1133.0),
                                     ("long", "timed", 1233.0))]  # fmt: skip
    assert stints(laps, "coast") == (Stint(from_s=600.0, to_s=1133.0),)
    assert stints(laps, "long") == (Stint(from_s=1133.0, to_s=None),)


@pytest.mark.parametrize("state", ["skipped", "cut"])
def test_it_stands_on_the_first_page(state: str) -> None:
    """Among what is to be done next, before any figure, whether the must was not begun or not finished."""
    car = a_car()
    lost = car.runs[1].model_copy(update={"state": state, "timed_wanted": 3, "timed_done": 1,
                                          "stints": () if state == "skipped" else DRIVEN})
    debrief = stage.full().model_copy(update={"cars": (car.model_copy(update={"runs": (car.runs[0], lost)}),)})
    section = next(one for one in document_of(debrief).sections if one.heading == "To do next")
    points = [point.text for block in section.blocks if isinstance(block, Points) for point in block.points]
    assert any("Wanted less and driven: could coast" in point for point in points)


def test_a_lost_must_item_names_what_was_done_on_its_lap() -> None:
    """The lesser item of the same lap, and who changed the plan; of another lap or run, or a must, nothing. What was
    done badly, or wanted less, needs no such why."""
    lost = stage.item("hold", "coast", "not_done", "no room")
    lesser = stage.item("photo_pass", "coast", "done", "").model_copy(update={"want": "could"})
    others = (stage.item("comment", "coast", "done", ""), lesser.model_copy(update={"lap": "in-lap", "do": "burn"}),
              lesser.model_copy(update={"do": "later", "outcome": "not_done"}))
    changed = (ChangeRow(t=540.0, what="coast-hold dropped", by="ann"),
               ChangeRow(t=550.0, what="coast-holdall dropped"))
    car = a_car(*changed).model_copy(update={"items": (lost, lesser, *others)})
    assert items_lost_to([lost], car) == (" Wanted less and done: could photo pass on timed lap 2."
                                          " Plan changed at 0:09:00: coast-hold dropped, by ann.")
    assert items_lost_to([lost], car.model_copy(update={"items": (lost, *others), "changes": ()})) == ""
    for other in ({"want": "should"}, {"outcome": "done_badly"}):
        assert items_lost_to([lost.model_copy(update=other)], car) == ""
    section = next(one for one in document_of(stage.full().model_copy(update={"cars": (car,)})).sections
                   if one.heading == "To do next")
    points = [point.text for block in section.blocks if isinstance(block, Points) for point in block.points]
    assert any("No room. Wanted less and done: could photo pass" in point for point in points)


def test_a_change_of_something_else_is_no_why() -> None:
    """Of a change with several parts, those that name what was lost; a new run beside it, where the car was believed to
    be, and any change where the track held the item back, explain nothing."""
    lost = stage.item("hold", "coast", "not_done", "no room")
    changes = (ChangeRow(t=500.0, what="coast: 2 timed laps become 1; fuel of long: 16 kg instead of 18 kg", by="ann"),
               ChangeRow(t=540.0, what="run softs is dropped; new run extra after coast: out, 2 timed, in", by="ann"),
               ChangeRow(t=550.0, what="taken back: car set; car 41 on out-lap of coast", by="ann"))
    car = a_car(*changes).model_copy(update={"items": (lost,)})
    assert items_lost_to([lost], car) == " Plan changed at 0:08:20: coast: 2 timed laps become 1, by ann."
    held = lost.model_copy(update={"reason": "held back: car 30 is about 5 s behind there, 8 s are needed"})
    assert items_lost_to([held], car) == ""
    assert contents_lost.HELD_BACK == HELD_BACK


def test_sentences_begin_and_end() -> None:
    """A reason becomes a sentence, once."""
    assert [sentence(one) for one in ("red flag", "Why?", "")] == ["Red flag.", "Why?", "."]


def test_what_fell_away_with_a_shortened_run_stands_on_the_first_page() -> None:
    """A should with its lap, the reason and whose word it was; a could by its name. The words are the engine's."""
    assert contents_lost.TAKEN_OUT == TAKEN_OUT
    items = [{"do": "flap_lap", "on": {"timed": 3}, "want": "should"},
             {"do": "set_one", "on": {"timed": 3}, "want": "could", "with": {"switch": "torque_map", "position": 3}}]
    made = Kept(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": items}))).green()
    t = made.leave(200).lap(200, 125, from_exit=True)
    made.wait(t + 5)
    made.command("shorten", laps=1, text="tyres are gone")
    for seconds in (100, 100):
        t = made.lap(t, seconds)
    made.home(t)
    made.status(3600, "closed")
    first = summary_sections((found := debrief(made.facts, "x")).cars[0], found)
    points = [one for section in first for block in section.blocks if isinstance(block, Points) for one in block.points]
    assert [(one.lead, one.text) for one in points] == [
        ("Should: flap lap of main:",
         "timed lap 3. Dropped: its lap was taken out of the run. Plan changed at 0:05:30: run main: now 2 timed laps; "
         "not done, for its lap falls away: flap_lap on timed lap 3, set_one on timed lap 3, by desk (tyres are "
         "gone)."),
        ("Could, when there is time:", "set one of main."),
    ]
