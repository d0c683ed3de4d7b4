"""A lap on which the car was slow because it was told to be: no mistake of the driver, and no pace of the car."""

from __future__ import annotations

import pytest

from pitwall.app.debrief_cars import of_the_car_as_wanted
from pitwall.debrief.notes import CarNotes
from pitwall.debrief.told_slow import ToldSlow, as_told
from pitwall.debrief.windows import CarFacts, ItemDone, window_of
from pitwall.debrief.wording import clean_words
from pitwall.model.debrief_rows import DataWindow, ItemRow, LapRow, Sector, Uncertain
from pitwall.model.procedure import Procedure
from tests.unit.test_debrief_windows import the_map

LOOPS = {"s1": 0.3, "s2": 0.7, "line": 0.0}


def lap(lost: str, clean: str = "mistake", s1: float | None = 1030.0) -> LapRow:
    """A timed lap from 1000 to 1100 that lost most before this loop."""
    sectors = (Sector(loop="s1", t=s1), Sector(loop="s2", t=1070), Sector(loop="line", t=1100))
    return LapRow(car="41", number=9, kind="timed", start_s=1000, end_s=1100, sectors=sectors, clean=clean,
                  clean_at=lost, lost_s=5.3)


def hold(place: float, from_s: float | None = None, to_s: float = 0.0, on: int = 9) -> ToldSlow:
    """A hold that was to begin at this place, and was driven between these seconds."""
    if from_s is None:
        return ToldSlow("constant_speed_hold", on, place)
    ends = [Uncertain(value=at, low=at - 1, high=at + 1) for at in (from_s, to_s)]
    window = DataWindow(item="i", do="hold", run="aero", lap_number=on, lap="timed lap 3", what="hold", from_s=ends[0],
                        to_s=ends[1], from_evidence="reckoned", to_evidence="reckoned", lap_evidence="crossings",
                        evidence="crossings", evidence_text="loops", outcome="done")
    return ToldSlow("constant_speed_hold", on, place, window)


def judged(one: LapRow, *done: ToldSlow) -> tuple[str, str]:
    """What the lap is called, and for what."""
    found = as_told([one], done, LOOPS)[0]
    return found.clean, found.clean_for


@pytest.mark.parametrize(("lost", "told"), [
    ("s2", hold(0.32, 1035, 1042)), ("s1", hold(0.28, 1031, 1038)), ("s2", hold(0.28, 1031, 1038)),
    ("line", hold(0.9)),
])  # fmt: skip
def test_what_was_lost_where_the_car_was_held_is_no_mistake(lost: str, told: ToldSlow) -> None:
    """Nor where it began to slow for it, at the place, if the hold itself lies behind the loop."""
    assert judged(lap(lost), told) == ("told", "constant_speed_hold")


@pytest.mark.parametrize(("lost", "told"), [
    ("s1", hold(0.32, 1035, 1042)), ("line", hold(0.32, 1035, 1042)), ("s2", hold(0.4, 1035, 1042, on=8)),
    ("m4", hold(0.28)),
])  # fmt: skip
def test_a_mistake_elsewhere_stays_one(lost: str, told: ToldSlow) -> None:
    """On another stretch, or on another lap."""
    assert judged(lap(lost), told) == ("mistake", "")


def test_a_loop_that_was_not_seen_ends_no_stretch() -> None:
    """The stretch goes on from the loop before it, or from the line."""
    assert judged(lap("s2", s1=None), hold(0.1))[0] == "told"


@pytest.mark.parametrize(("clean", "then"), [
    ("traffic", "told"), ("aborted", "told"), ("yellow", "yellow"), ("clean", "clean"), ("cool_down", "cool_down"),
])  # fmt: skip
def test_it_explains_what_a_driver_or_a_car_ahead_might_have_cost(clean: str, then: str) -> None:
    """A flag stays a flag, and where nothing was lost there is nothing to explain."""
    assert judged(lap("s2", clean), hold(0.4))[0] == then


def test_such_a_lap_says_for_what_and_counts_for_no_median() -> None:
    """In the table of laps; it says nothing of what the car can do."""
    (found,) = as_told([lap("s1")], [hold(0.28)], LOOPS)
    assert clean_words(found) == "as told: constant speed hold before s1, 5.3 s"
    assert not of_the_car_as_wanted(found)


@pytest.mark.parametrize(("do", "outcome", "spoilt"), [
    ("switch_compare", "done_badly", "the lap was spoilt: photo pass, 5.3 s lost before s1"),
    ("photo_pass", "done", ""),
])  # fmt: skip
def test_it_spoils_what_was_to_be_compared_on_the_lap_and_not_itself(do: str, outcome: str, spoilt: str) -> None:
    """Pictures of the car at a camera are not spoilt by the time that they cost."""
    (slow,) = as_told([lap("s1")], [ToldSlow("photo_pass", 9, 0.2)], LOOPS)
    procedure = Procedure.model_validate({"procedure": 1, "name": do, "purpose": "p", "data_window": "lap",
                                          "steps": [{"say": "Now.", "short": "Now", "where": "lap_start"}]})
    row = ItemRow.model_validate({"item": "i", "do": do, "run": "aero", "lap": "timed lap 3", "want": "must",
                                  "outcome": "done", "reason": "confirmed"})
    window = window_of(ItemDone(row, procedure, slow, {}),
                       CarFacts(CarNotes(), the_map(), (), (), {}))
    assert window is not None
    assert (window.outcome, window.spoilt) == (outcome, spoilt)
