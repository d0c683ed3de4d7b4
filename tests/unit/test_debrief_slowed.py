"""A lap on which the driver was slow because he was told to: no mistake of his, and what was against it is told."""

from __future__ import annotations

import pytest

from pitwall.app.debrief_items import _against
from pitwall.app.debrief_slowed import lost_to
from pitwall.debrief.notes import CallNotes, CarNotes
from pitwall.debrief.wording import clean_words
from pitwall.model.debrief_rows import DataWindow, ItemRow, LapRow, Sector, Uncertain
from pitwall.model.outputs import Ask
from pitwall.testing import prompt

LOOPS = {"s1": 0.3, "s2": 0.7, "line": 0.0}


def lap(lost: str) -> LapRow:
    """A timed lap from 1000 to 1100 that lost most before this loop."""
    sectors = (Sector(loop="s1", t=1030), Sector(loop="s2", t=1070), Sector(loop="line", t=1100))
    return LapRow(car="41", number=9, kind="timed", start_s=1000, end_s=1100, sectors=sectors, clean="hold",
                  clean_at=lost, lost_s=5.3)


def hold(from_s: float, to_s: float) -> DataWindow:
    """A hold between these seconds."""
    ends = [Uncertain(value=at, low=at - 1, high=at + 1) for at in (from_s, to_s)]
    return DataWindow(item="i", do="hold", run="aero", lap_number=9, lap="timed lap 3", what="hold", from_s=ends[0],
                      to_s=ends[1], evidence="crossings", evidence_text="loops", outcome="done")


@pytest.mark.parametrize(("lost", "place", "is_why"), [
    ("s2", None, True),     # held there
    ("s1", 0.28, True),     # its place lies before the loop: he slowed there, and held the speed behind it
    ("s1", 0.32, False), ("line", 0.32, False), ("s1", None, False), ("m4", 0.28, False),
])  # fmt: skip
def test_what_a_hold_cost_is_lost_where_it_is_held_or_begun(lost: str, place: float | None, is_why: bool) -> None:
    """From 1035 to 1042, between the first loop and the second one."""
    assert lost_to(lap(lost), hold(1035, 1042), place, LOOPS) is is_why


def test_such_a_lap_is_called_no_mistake() -> None:
    """In the table of laps."""
    assert clean_words(lap("s1")) == "held for an item before s1, 5.3 s"


@pytest.mark.parametrize(("outcome", "why"), [
    ("done", "confirmed, engineer; it was better not made then: car 3 is about 1 s behind there, 8 s are needed"),
    ("not_done", "confirmed, engineer"),
])  # fmt: skip
def test_what_was_done_against_a_caution_says_so(outcome: str, why: str) -> None:
    """The call was better not made, and was: its data and the car behind are worth a look."""
    call = prompt("41-hold-1", state="done", ask=Ask(action="procedure", item="aero-1-hold-7"),
                  against="car 3 is about 1 s behind there, 8 s are needed")
    notes = CarNotes(calls={"41-hold-1": CallNotes(call, call)})
    row = ItemRow.model_validate({"item": "aero-1-hold-7", "do": "hold", "run": "aero", "lap": "in-lap", "want": "must",
                                  "outcome": outcome, "reason": "confirmed, engineer"})
    assert _against(row, notes).reason == why
