"""A circuit with many short timed stretches: two of its loops weigh the lap, the others show where the car is."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.car import CarTrack
from pitwall.model.setup import CallTiming
from pitwall.pace.field_pace import FieldPace
from pitwall.pace.laptimes import CarPace, weighed_at
from pitwall.track.lapmap import lap_map
from tests.unit.engine_stage import CIRCUIT, LAP_S
from tests.unit.pace_stage import rising

STRETCHES = 20
MAP = lap_map(CIRCUIT, None, CallTiming())
LOOPS = {"line": 0.0, **{f"m{at}": at / STRETCHES for at in range(1, STRETCHES)}}


class Field:
    """Cars on such a circuit, driven as a test wants."""

    def __init__(self) -> None:
        self.field = FieldPace(LAP_S)
        self.now: dict[str, float] = {}
        self.tracks: dict[str, CarTrack] = {}
        for at in range(3):
            name = f"car-{at}"
            track = CarTrack(name, replace(MAP, loops=LOOPS), CarPace(LOOPS, self.field, car=name), False)
            track.leave(10.0 + at)
            self.tracks[name], self.now[name] = track, 5.0 + at

    def drive(self, name: str, ratio: float, until: float = 1.0, lost: tuple[str, ...] = ()) -> None:
        """Drive a lap, or its beginning, at so many times 100 s; every crossing is judged."""
        begin = self.now[name]
        places = sorted((share or 1.0, loop) for loop, share in LOOPS.items())
        for share, loop in places:
            if share <= until and loop not in lost and not (share <= 0.05 and self.tracks[name].lap_kind == "out"):
                self.tracks[name].cross(loop, begin + 100.0 * ratio * share, False)
                self.tracks[name].judge("timed")
                self.tracks[name].outlook()
        self.now[name] = begin + 100.0 * ratio * until

    def seasoned(self) -> Field:
        """The same after thirty laps."""
        for name in self.tracks:
            for ratio in (1.25, *([1.0, 1.002, 1.4] * 4)):
                self.drive(name, ratio)
        return self


def test_two_loops_of_many_weigh_the_lap() -> None:
    """Those next to a third and two thirds of the lap; on a usual circuit all of them do."""
    assert weighed_at(LOOPS) == ("m7", "m13")
    assert weighed_at({"line": 0.0, "1": 0.3, "2": 0.7}) == ("1", "2")


def test_a_lap_at_the_pace_is_timed_and_arrives_as_usual() -> None:
    """All stretches passed on their mark: the line on its mark after each of them."""
    field = Field().seasoned()
    begin, track = field.now["car-0"], field.tracks["car-0"]
    field.drive("car-0", 1.0, until=0.6)
    assert track.lap_kind == "timed"
    assert track.arrival(1.0) == pytest.approx(begin + 100.0, abs=0.5)
    assert track.arrival(0.7) == pytest.approx(begin + 70.0, abs=0.3)


def test_a_stretch_between_moves_the_arrival_without_a_new_outlook() -> None:
    """Six seconds lost after the loop that weighed: at the next stretch the line is expected at least so much later,
    and what was weighed is not weighed again."""
    field = Field().seasoned()
    begin, track = field.now["car-0"], field.tracks["car-0"]
    field.drive("car-0", 1.0, until=0.4)
    made, before = track.outlook(), track.arrival(1.0)
    track.cross("m9", begin + 51.0, False)
    track.judge("timed")
    assert track.outlook() is made
    after = track.arrival(1.0)
    assert before is not None
    assert after is not None
    assert 6.0 <= after - before <= 14.0
    assert track.arrival(0.45) == pytest.approx(begin + 51.0)


@settings(max_examples=20, deadline=None)
@given(ratio=st.floats(0.97, 1.6), until=st.integers(1, 19), lost=st.sets(st.integers(1, 19), max_size=6))
def test_arrivals_lie_ahead_and_in_order(ratio: float, until: int, lost: set[int]) -> None:
    """Whatever is passed and whatever is lost: places ahead come after the last crossing, later ones no earlier."""
    field = Field().seasoned()
    track = field.tracks["car-0"]
    field.drive("car-0", ratio, until=until / STRETCHES, lost=tuple(f"m{at}" for at in lost))
    ahead = [track.seen_phase + (1.0 - track.seen_phase) * part / 8 for part in range(1, 9)]
    assert rising([track.seen_t, *(track.arrival(phase) or 0.0 for phase in ahead)])
