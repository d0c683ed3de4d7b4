"""What was expected of each lap, whether it was clean, and who was ahead, reckoned again from crossings alone.

Expectations: the lap times of the journal's rows are given to the lap model by the test, without engine and debrief;
the model itself is held against published examples in ``tests/published``. Cleanliness and gaps: plain arithmetic
on the crossings, with the limits that DEVELOPERS.md states.
"""

from __future__ import annotations

import itertools
import json
from functools import cache
from statistics import median
from typing import Any, NamedTuple

import pytest

from pitwall.app.debriefing import debrief
from pitwall.debrief.model import LapRow
from pitwall.journal.codec import decode
from pitwall.model.plan import LapKind
from pitwall.pace.beliefs import EndedLap
from pitwall.pace.believing import timed_next
from pitwall.pace.field_pace import FieldPace
from pitwall.pace.laptimes import CarPace
from pitwall.pace.weighing import LEVELS
from tests.unit.test_debrief_recomputed import GOLDEN

Row = dict[str, Any]
LINE_S, LOSS, CLOSE_S = 130.0, 0.006, 2.0
LOOP_AT = {"1": 0.3, "2": 0.7}
PIT_EXIT, PIT_ENTRY, FLAG_S = 0.05, 0.95, 3600.0


class Driven(NamedTuple):
    """A lap from crossings: its number, kind, begin, end, and when each loop was passed."""

    number: int
    kind: LapKind
    begin: float
    end: float
    passed: dict[str, float]


def stored(change: Any = None) -> tuple[bytes, ...]:
    """The rows of the journal; with ``change`` each event goes through it first."""
    lines = (GOLDEN / "questions.jsonl").read_bytes().splitlines()
    if change is None:
        return tuple(lines)
    rows = [json.loads(line) for line in lines]
    return tuple(json.dumps(row | {"event": change(row["event"])}).encode() for row in rows)


@cache
def events() -> tuple[Row, ...]:
    """What happened, in the order of the journal."""
    return tuple(json.loads(line)["event"] for line in stored())


def laps_of(rows: tuple[bytes, ...]) -> tuple[LapRow, ...]:
    """The lap table of the debrief of these rows."""
    return debrief([decode(line) for line in rows], "journal").cars[0].laps


@cache
def laps() -> tuple[LapRow, ...]:
    """The lap table."""
    return laps_of(stored())


def driven(car: str) -> list[Driven]:
    """The laps of a car, from pit signals, lines and loops; by hand entered lines are left out, the feed has them."""
    seen = sorted((one["t"], one.get("where") or one["loop"]) for one in events()
                  if one.get("car") == car and one["type"] in ("car_crossed", "car_pitted"))
    found: list[Driven] = []
    begun, passed, out = None, {}, False
    for t, what in seen:
        if what == "exit":
            begun, passed, out = t, {}, True
        elif begun is not None and what in ("line", "entry"):
            kind: LapKind = "in" if what == "entry" else "out" if out else "timed" if t - begun < LINE_S else "cool"
            found.append(Driven(len(found) + 1, kind, begun, t, passed))
            begun, passed, out = (t if what == "line" else None), {}, False
        elif begun is not None:
            passed[what] = t
    return found


def test_the_laps_are_those_of_the_crossings() -> None:
    """Number, kind, begin and end: what follows stands on them."""
    own = driven("41")
    assert {lap.kind for lap in own} == {"out", "timed", "cool", "in"}
    assert [(lap.number, lap.kind, lap.start_s, lap.end_s) for lap in laps()] == [
        (lap.number, lap.kind, round(lap.begin, 3), round(lap.end, 3)) for lap in own
    ]


def test_expected_lap_times_are_those_of_the_lap_model() -> None:
    """Every lap of both cars is given to the model as it ended; what it says of the next timed lap just before a lap
    begins is what the debrief says was expected of it: the median, and the fifth and the ninety-fifth percentile. A
    line that a hand entered late and the feed corrected has taught nothing."""
    field = FieldPace(100.0)
    paces = {car: CarPace(dict(LOOP_AT), field, car=car) for car in ("41", "7")}
    wanted: dict[float, tuple[float, float, float]] = {}
    ended = sorted(((lap.end, car, lap) for car in paces for lap in driven(car)), key=lambda one: one[0])
    for end, car, lap in ended:
        pace = paces[car]
        out, came_in = lap.kind == "out", lap.kind == "in"
        pace.lap_over(EndedLap(lap.number, lap.kind, lap.begin, PIT_EXIT if out else 0.0, lap.passed, end,
                               PIT_ENTRY if came_in else 1.0, sure=True, session_end_s=FLAG_S))  # fmt: skip
        whole = (end - lap.begin) / PIT_ENTRY if came_in else end - lap.begin
        pace.learn_lap(lap.kind, whole, end, {loop: t - lap.begin for loop, t in lap.passed.items()})
        told = timed_next(pace.belief)
        if car == "41" and told is not None:
            low, middle, high = (float(told[LEVELS.index(level)]) for level in (0.05, 0.5, 0.95))
            wanted[round(end, 3)] = (middle, low, high)
    timed = [lap for lap in laps() if lap.kind == "timed"]
    (mended,) = [one["t"] for one in events() if one.get("command") == "cross"]
    assert sum(lap.start_s in wanted for lap in timed) >= 6
    assert any(lap.start_s > mended for lap in timed)
    for lap in timed:
        expected = lap.expected
        assert (expected is None) == (lap.start_s not in wanted)
        if expected is not None:
            assert expected.low_s < expected.median_s < expected.high_s
            told_of = (expected.median_s, expected.low_s, expected.high_s)
            assert told_of == pytest.approx(wanted[lap.start_s], abs=2e-3), lap.number


def test_what_was_expected_of_a_lap_knows_nothing_of_it() -> None:
    """A second later at every place from the middle of a lap on: its time and all after it change, and what was
    expected of this lap and of those before stays."""
    at = next(lap for lap in laps() if lap.run == "one" and lap.number == 5)
    middle = at.start_s + 35

    def later(event: Row) -> Row:
        moved = event["type"] in ("car_crossed", "car_pitted") and event["t"] > middle
        return event | {"t": event["t"] + 1.0} if moved else event

    other = laps_of(stored(later))
    assert [lap.expected for lap in other[:5]] == [lap.expected for lap in laps()[:5]]
    assert other[4].lap_time_s == pytest.approx((laps()[4].lap_time_s or 0.0) + 1.0)
    assert other[5].expected != laps()[5].expected


def _ahead(place: str, t: float) -> float | None:
    """Seconds since another car passed there."""
    others = [one["t"] for one in events() if one["type"] == "car_crossed" and one["car"] != "41"
              and one["loop"] == place and one["t"] < t]  # fmt: skip
    return t - max(others) if others else None


def test_the_closest_car_ahead() -> None:
    """The least gap to another car at any loop of the lap, its line included; who passed there longer ago than the lap
    took was not ahead."""
    ahead = long_ago = 0
    for row, lap in zip(laps(), driven("41"), strict=True):
        passed = lap.passed | ({"line": lap.end} if lap.kind != "in" else {})
        gaps = [gap for loop, t in passed.items() if (gap := _ahead(loop, t)) is not None]
        near = [gap for gap in gaps if gap <= lap.end - lap.begin]
        assert row.car_ahead_s == (pytest.approx(min(near), abs=0.006) if near else None)
        ahead += bool(near)
        long_ago += bool(gaps) and not near
    assert ahead >= 2
    assert long_ago >= 2
    assert min(row.car_ahead_s for row in laps() if row.car_ahead_s is not None) < CLOSE_S


def test_whether_a_timed_lap_was_clean() -> None:
    """Each of three stretches is set against the median of the car's last three timed laps there, at the level of the
    lap; who loses more than six thousandths of a lap on one was behind a car, if one was two seconds ahead or less at
    an end of it, and made a mistake otherwise."""
    before: list[tuple[float, ...]] = []
    found = []
    for row, lap in zip(laps(), driven("41"), strict=True):
        if lap.kind != "timed":
            continue
        ends = [lap.begin, lap.passed["1"], lap.passed["2"], lap.end]
        own = tuple(later - earlier for earlier, later in itertools.pairwise(ends))
        before = [*before, own][-4:]
        if len(before) == 1:
            continue  # the first one is set against what the circuit file says
        usual = [median(values) for values in zip(*before[-4:-1], strict=True)]
        level = median(seconds / one for seconds, one in zip(own, usual, strict=True))
        lost = [seconds - level * one for seconds, one in zip(own, usual, strict=True)]
        worst = max(range(3), key=lambda at: lost[at])
        place = ("1", "2", "line")[worst]
        if lost[worst] < LOSS * sum(usual):
            assert (row.clean, row.clean_at, row.lost_s) == ("clean", "", None)
            found.append("clean")
            continue
        places = [place, *((("1", "2")[worst - 1],) if worst else ())]
        times = lap.passed | {"line": lap.end}
        gaps = [gap for one in places if (gap := _ahead(one, times[one])) is not None]
        why = "traffic" if gaps and min(gaps) <= CLOSE_S else "mistake"
        assert (row.clean, row.clean_at) == (why, place)
        assert row.lost_s == pytest.approx(lost[worst], abs=2e-3)
        found.append(why)
    assert len(found) >= 6
    assert {"clean", "traffic"} <= set(found)


def test_other_laps_are_no_clean_laps() -> None:
    """An out-lap and an in-lap are not whole, a cool-down lap is slow all round."""
    told = {(lap.kind, lap.clean) for lap in laps() if lap.kind != "timed"}
    assert told == {("out", "not_complete"), ("cool", "cool_down"), ("in", "not_complete")}
