"""Passages of short stretches in a recording: sightings between loops, at the moment of their message."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from pitwall.engine import positions
from pitwall.engine.field import Field
from pitwall.feeds.passages import sightings, stretch_ends
from pitwall.feeds.recording import Meta, Passage, Recording, TimingRow, read_recording
from pitwall.feeds.replay import Replay
from pitwall.model.events import CarSighted
from tests.unit.engine_stage import plan, setup

SMALL = Path(__file__).parents[1] / "data" / "recording_small"
LAP_S, LAPS = 100.0, 4
SHARES = {(1, 1): 0.12, (1, 2): 0.3, (2, 1): 0.5, (2, 2): 0.7, (3, 1): 0.85, (3, 2): 1.0}
LATE_S = 0.2


@dataclass(frozen=True)
class WithPassages(Recording):
    """A recording whose passages stand in memory."""

    passed: tuple[Passage, ...] = ()

    def passages(self):  # type: ignore[no-untyped-def]  # as the parent's
        """Those."""
        return iter(self.passed)


def row(t: float, kind: str, loop: int, lap: int, seconds: float | None = None) -> TimingRow:
    """A crossing."""
    return TimingRow(t=t, said_t=t, car="9", kind=kind, loop=loop, lap=lap, lap_time_s=seconds,  # type: ignore[arg-type]
                     sector_time_s=None, compound=None, tyre_age=None)  # fmt: skip


def even(in_lane: tuple[int, ...] = ()) -> WithPassages:
    """Four laps of one car, each of 100 s; passages a fifth of a second late, those of some laps in the pit lane."""
    rows, passed = [row(0.0, "lap", 3, 0)], []
    for lap in range(LAPS):
        begin = lap * LAP_S
        rows += [row(begin + 30.0, "loop", 1, lap), row(begin + 70.0, "loop", 2, lap),
                 row(begin + LAP_S, "loop", 3, lap), row(begin + LAP_S, "lap", 3, lap, LAP_S)]  # fmt: skip
        passed += [Passage(begin + share * LAP_S + LATE_S, "9", lap, sector, number, lap in in_lane)
                   for (sector, number), share in SHARES.items()]  # fmt: skip
    return WithPassages(Path("nowhere"), Meta(600.0, 0.0), tuple(rows), (), (), tuple(passed))


def test_where_stretches_end_is_found_from_the_quick_laps() -> None:
    """Share of the lap time, late by the message; what ends at a loop is left out."""
    made = even()
    found = stretch_ends(made, made.passed)
    assert set(found) == {(1, 1), (2, 1), (3, 1)}
    assert found == pytest.approx({at: SHARES[at] + LATE_S / LAP_S for at in found})


def test_a_stretch_that_was_hardly_seen_has_no_place() -> None:
    """Two laps are too few for a median; passages in the pit lane count for nothing."""
    assert sightings(even(in_lane=(0, 1))) == []


def test_a_passage_is_said_when_its_message_came_and_never_before() -> None:
    """Moment of the message and of the fact are one; ids stay; a replay without passages has none of them."""
    made = even()
    told = sightings(made)
    assert [moment for moment, _ in told] == [fact.t for _, fact in told]
    assert [fact.id for _, fact in told] == [fact.id for _, fact in sightings(made)]
    assert len({fact.id for _, fact in told}) == len(told) == 3 * LAPS
    assert [fact for _, fact in Replay(made, passages=True) if isinstance(fact, CarSighted)] == [one for _, one in told]
    assert not [fact for _, fact in Replay(made) if isinstance(fact, CarSighted)]


def test_the_small_recording_has_sightings_within_its_sectors() -> None:
    """Read from files: shares rise along the lap, and none stands where a loop does."""
    small = read_recording(SMALL)
    found = stretch_ends(small, [one for one in small.passages() if not one.in_pit_lane])
    assert list(found.values()) == sorted(found.values())
    assert all(0.0 < share < 1.0 for share in found.values())
    assert len(sightings(small)) > 50


def test_a_sighting_moves_the_arrivals_and_the_car_through_no_lap() -> None:
    """Of a car that was waiting behind the pit exit: it comes later, but is not taken to crawl all the lap."""
    field = Field(setup(plan(), field_cars=("9",)))
    track = field.track("9")
    track.leave(100.0)
    before = track.arrival(1.0)
    seen = CarSighted(id="s1", t=130.0, car="9", share=track.lap_map.pit_exit + 0.07)
    assert positions.sighted(field, seen)
    after = track.arrival(1.0)
    assert before is not None
    assert after is not None
    assert before + 5.0 < after < before + 60.0
    assert track.lap is not None
    assert not track.lap.crossings
    assert not positions.sighted(field, CarSighted(id="s2", t=131.0, car="unknown", share=0.5))
