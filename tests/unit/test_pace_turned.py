"""Forecasts of the first lap on a track that turned from dry to wet, or back."""

from __future__ import annotations

import math

import pytest

from pitwall.pace.field_pace import FieldPace
from pitwall.pace.kinds import judge_complete
from pitwall.pace.laptimes import CarPace
from pitwall.pace.runpace import DrivenLaps, FieldLaps
from pitwall.pace.turned import TurnedTrack
from pitwall.pace.weighing import HIGH, LOW, MIDDLE

DRY = (90.2, 90.0, 89.9)


def driven(field: FieldLaps, car: str, compound: str) -> DrivenLaps:
    """A car's run of three laps on this compound, over."""
    laps = DrivenLaps()
    for at, seconds in enumerate(DRY):
        laps = laps.lap(seconds, field.model.timed(car, laps.run, 300.0 + 100.0 * at, seconds, compound))
    return laps.came_in()


@pytest.mark.parametrize(
    ("before", "now", "turned"),
    [("soft", "intermediate", True), ("wet", "medium", True), ("intermediate", "wet", False), ("soft", "hard", False),
     ("", "intermediate", False), ("soft", "", False), ("unknown", "wet", False), ("wet", "unknown", False)],
)  # fmt: skip
def test_the_tyres_tell_that_the_track_turned(before: str, now: str, turned: bool) -> None:
    """Only from tyres for a dry track to ones for a wet track or back, and only where both are known."""
    assert TurnedTrack.turned(before, now) == turned


def test_who_comes_in_on_tyres_for_the_wet_is_not_foreseen_by_its_laps_in_the_dry() -> None:
    """The next first lap is likely one in the wet: 8 to 25 per cent more; it may be one in the dry after all."""
    field = FieldLaps()
    laps = driven(field, "41", "medium")
    dry, wet = field.first("41", laps, 900.0, 5400.0, "medium"), field.first("41", laps, 900.0, 5400.0, "intermediate")
    assert dry is not None
    assert wet is not None
    assert dry.told[MIDDLE] < 92.0
    assert 90.0 * 1.08 < wet.told[MIDDLE] < 90.0 * 1.25
    assert wet.told[0] < 91.0
    assert wet.told[HIGH] > 90.0 * 1.25


def test_what_the_others_lost_in_the_wet_is_what_the_next_one_loses() -> None:
    """After some cars' first laps on such tyres the forecast lies about their loss, and is surer."""
    field = FieldLaps()
    laps = driven(field, "41", "medium")
    first = field.after_out(laps, 0.2, False, 90.0, None, "intermediate")
    for _ in range(4):
        field.turned.learn(True, DRY, 90.0 * 1.26)
    later = field.after_out(laps, 0.2, False, 90.0, None, "intermediate")
    assert later.told[MIDDLE] == pytest.approx(90.0 * 1.26, rel=0.01)
    assert later.told[HIGH] - later.told[LOW] < first.told[HIGH] - first.told[LOW]
    back = field.turned.told(False, [113.0], sure=True)
    assert 0.85 * 113.0 < back[MIDDLE] < 113.0


def test_a_turned_track_teaches_nothing_about_one_that_did_not_turn() -> None:
    """A lap in the wet, a quarter slower, leaves records and errors of first laps as they were."""
    field = FieldLaps()
    laps = driven(field, "41", "medium")
    said = field.first("41", laps, 900.0, 5400.0, "wet")
    assert said is not None
    before = field.residuals["first"].quantiles(with_bias=True).tolist(), field.records["first"].weights()
    field.learn("first", said, 112.0)
    assert (field.residuals["first"].quantiles(with_bias=True).tolist(), field.records["first"].weights()) == before


def test_the_first_lap_in_the_wet_may_be_a_timed_one() -> None:
    """With no quick lap of late to compare with, a lap on tyres for the wet has more room than one in the dry."""
    pace = CarPace({"1": 0.3, "2": 0.7}, FieldPace(90.0))
    assert judge_complete(pace, 120.0, 2000.0, False) == "cool"
    assert judge_complete(pace, 120.0, 2000.0, False, "intermediate") == "timed"
    assert judge_complete(pace, 120.0, 2000.0, True, "intermediate") == "cool"
    pace.learn_lap("timed", 115.0, 2100.0, {})
    assert judge_complete(pace, 140.0, 2200.0, False, "intermediate") == "cool"
    assert pace.limit_s(math.inf) == pytest.approx(1.25 * 90.0)
