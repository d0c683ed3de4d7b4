"""Any facts in any order leave a car in a state that makes sense; small delays change nothing."""

from __future__ import annotations

import itertools

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.car import REORDER_S, CarTrack, LapRecord
from pitwall.engine.transitions import CAR, states
from tests.unit.engine_stage import LOOPS, PIT_ENTRY, PIT_EXIT, track

Fact = tuple[str, float]

WORDS = ("exit", "entry", "line", "1", "2", "17b", "park", "silent")
GAPS = st.one_of(st.floats(-40, 40), st.floats(0, 200), st.just(0.0))
FACTS = st.lists(st.tuples(st.sampled_from(WORDS), GAPS), max_size=40)


def give(car: CarTrack, word: str, t: float, disturbed: bool = False) -> None:
    """One fact, by its word."""
    if word == "exit":
        car.leave(t)
    elif word == "entry":
        car.come_in(t)
    elif word == "park":
        car.park(t)
    elif word == "silent":
        car.fall_silent(t)
    else:
        car.cross(word, t, disturbed)
        car.judge("timed")


def in_order(car: CarTrack, lap: LapRecord) -> bool:
    """True when the lap's crossings lie in time as they lie on the lap, after its start and before its end."""
    by_phase = sorted((car.lap_map.loops[loop], t) for loop, t in lap.crossings.items())
    times = [t for _, t in by_phase]
    return times == sorted(times)


@settings(max_examples=150, deadline=None)
@given(facts=FACTS, disturbed=st.booleans(), lane=st.booleans())
def test_any_facts_in_any_order_leave_a_sound_car(facts: list[Fact], disturbed: bool, lane: bool) -> None:
    """Nothing raises; the state is one of the table's; a car on track has a lap; records hold together."""
    car, t = track(lane), 0.0
    for word, gap in facts:
        t += gap
        give(car, word, t, disturbed)
        assert car.state in states(CAR)
        assert car.on_track == (car.lap is not None)
        assert (car.lap_kind is None) == (not car.on_track)
        arrival = car.arrival(1.0)
        assert arrival is None or arrival >= car.seen_t - 1e-6
        for lap in [*car.laps, *([car.lap] if car.lap else [])]:
            assert in_order(car, lap)
            assert lap.lap_time_s is None or lap.lap_time_s > 0
    ended = [lap.number for lap in car.laps]
    assert ended == sorted(set(ended)), "each lap has its own number, and they rise"
    assert all(lap.ended_at and lap.end_t is not None for lap in car.laps)
    assert car.lap is None or car.lap.number == car.lap_number


@settings(max_examples=100, deadline=None)
@given(facts=FACTS)
def test_the_last_sight_of_a_car_hardly_goes_back(facts: list[Fact]) -> None:
    """A late message may set the last sight back by no more than messages are ever late."""
    car, t, latest = track(), 0.0, float("-inf")
    for word, gap in facts:
        t += gap
        give(car, word, t)
        latest = max(latest, car.seen_t)
        assert car.seen_t >= latest - REORDER_S
        assert car.seen_t <= max(latest, t)


def script(runs: list[list[float]]) -> list[Fact]:
    """The facts of runs: each a list of lap lengths, the first from the pit exit, the last to the pit entry."""
    facts: list[Fact] = []
    t = 0.0
    for laps in runs:
        t += 400.0
        facts.append(("exit", t))
        for number, seconds in enumerate(laps):
            start, last = (PIT_EXIT if number == 0 else 0.0), number == len(laps) - 1
            facts += [(loop, t + seconds * (share - start) / (1 - start)) for loop, share in LOOPS.items()]
            t += seconds * ((PIT_ENTRY - start) / (1 - start) if last else 1.0)
            facts.append(("entry" if last else "line", t))
    return facts


RUNS = st.lists(st.lists(st.floats(97, 160), min_size=1, max_size=5), min_size=1, max_size=3)


def record(facts: list[Fact]) -> list[tuple[int, str, float, float | None, tuple[tuple[str, float], ...]]]:
    """What is left on record after these facts, in the order given."""
    car = track()
    for word, t in facts:
        give(car, word, t)
    return [
        (lap.number, lap.ended_at, lap.start_t, lap.end_t, tuple(sorted(lap.crossings.items()))) for lap in car.laps
    ]


@settings(max_examples=60, deadline=None)
@given(runs=RUNS, data=st.data())
def test_messages_shuffled_within_a_small_delay_give_the_same_laps(
    runs: list[list[float]], data: st.DataObject
) -> None:
    """Each message late by up to 40 s, so that neighbours swap: number, start, end and crossings come out alike."""
    facts = script(runs)
    delays = data.draw(st.lists(st.floats(0, 40), min_size=len(facts), max_size=len(facts)))
    arrived = [fact for _, fact in sorted(zip((t + d for (_, t), d in zip(facts, delays, strict=True)), facts,
                                              strict=True))]  # fmt: skip
    assert record(arrived) == record(facts)


@settings(max_examples=60, deadline=None)
@given(runs=RUNS, data=st.data())
def test_facts_told_twice_are_told_once(runs: list[list[float]], data: st.DataObject) -> None:
    """Any messages repeated within some seconds leave the same laps."""
    facts = script(runs)
    again = data.draw(st.lists(st.sampled_from(facts), max_size=6))
    doubled = sorted([*facts, *again], key=lambda fact: fact[1])
    assert record(doubled) == record(facts)


@settings(max_examples=60, deadline=None)
@given(runs=RUNS, data=st.data())
def test_one_lost_message_never_costs_more_than_its_lap(runs: list[list[float]], data: st.DataObject) -> None:
    """Any one message lost: as many runs end, and the laps of the other runs are untouched."""
    facts = script(runs)
    lost = data.draw(st.integers(0, len(facts) - 1))
    whole, rest = record(facts), record([fact for number, fact in enumerate(facts) if number != lost])
    ends = list(itertools.accumulate(len(laps) for laps in runs))
    marks = [number for number, (word, _) in enumerate(facts) if word == "exit"]
    hit = max(index for index, mark in enumerate(marks) if mark <= lost)
    before = ends[hit - 1] if hit else 0
    assert [lap[1:] for lap in rest[:before]] == [lap[1:] for lap in whole[:before]]
    after = len(whole) - ends[hit]
    if after and facts[lost][0] != "entry":
        assert [lap[1:] for lap in rest[-after:]] == [lap[1:] for lap in whole[-after:]]
