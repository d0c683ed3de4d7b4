"""Race control and what cars do about it: red, slow, yellow, the pit exit, the clock under red, incidents."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import pytest

from pitwall.model.events import CarCrossed, CarPitted, ClockReported, StatusChanged
from pitwall.rehearsal.control import draw_flags
from pitwall.rehearsal.draws import Streams
from tests.unit.rehearsal_stage import CAR, Stage, scenario, setup

RED = {"at": 400, "status": "red", "lasts": 300}


def flagged(*flags: dict[str, Any], cars: int = 0, minutes: float = 20, red_clock: str = "runs",
            incidents: Sequence[dict[str, Any]] = ()) -> Stage:
    """A session with these flags and car 41 released at 60 s."""
    day = scenario(flags={"scripted": list(flags)}, field={"cars": cars, "first_out_s": [5, 30, 90]},
                   incidents=list(incidents))
    stage = Stage(day, setup(minutes, red_clock))
    stage.release(60)
    return stage


def test_red_sends_every_car_in() -> None:
    """Within a slow lap and a half nobody is on track, and nobody leaves before the pit exit opens again."""
    stage = flagged(RED, cars=12).run(until=699)
    moves: dict[str, str] = {}
    for fact in sorted(stage.of(CarPitted), key=lambda fact: fact.t):
        moves[fact.car] = fact.where
    assert len(moves) >= 10
    assert set(moves.values()) == {"entry"}
    assert not [fact for fact in stage.of(CarPitted) if fact.where == "exit" and 400 <= fact.t < 700]


def test_red_slows_the_lap_it_falls_into() -> None:
    """The lap under red is an in-lap that takes far longer than a timed one, and carries the flag."""
    laps = flagged(RED).run(until=700).truth.laps
    under = next(lap for lap in laps if "red" in lap.flags)
    timed = next(lap for lap in laps if lap.kind == "timed")
    assert under.kind == "in"
    assert under.time_s > 1.15 * timed.time_s


def test_the_pit_exit_is_closed_under_red_and_announced() -> None:
    """Closed with the flag; the moment of opening is announced; open with the green."""
    facts = sorted(flagged(RED).run(until=800).of(StatusChanged), key=lambda fact: fact.t)
    shown = [(fact.t, fact.status, fact.pit_exit, fact.opens_at_s) for fact in facts if fact.t > 300]
    assert shown == [(400, "red", "closed", None), (655, None, "closed", 700), (700, "green", "open", None)]


def test_a_release_under_red_is_not_obeyed() -> None:
    """The driver knows the red flag, whatever is said."""
    stage = flagged(RED)
    stage.say_at(600, "again", "leave", run="first")
    releases = stage.run(until=900).truth.releases
    assert releases[1].reason == "red flag"
    assert len(stage.pits("exit")) == 1


def test_the_clock_keeps_running_under_red_or_stops_by_the_regulations() -> None:
    """A policy, not a constant: 300 s of red move the end by 300 s only where the clock stops."""
    ends = {}
    for policy in ("runs", "stops"):
        stage = flagged(RED, red_clock=policy).run()
        ticks = {fact.t: fact for fact in stage.of(ClockReported)}
        ends[policy] = next(fact.t for fact in stage.of(StatusChanged) if fact.status == "finished")
        assert ticks[500].running is (policy == "runs")
        assert ticks[700].remaining_s == (500 if policy == "runs" else 800)
    assert ends == {"runs": 1200, "stops": 1500}


def test_a_red_flag_may_last_to_the_end() -> None:
    """Red until after the time is up: the session finishes under red and never turns green again."""
    stage = flagged({"at": 1000, "status": "red", "lasts": 900}).run()
    shown = [fact.status for fact in sorted(stage.of(StatusChanged), key=lambda fact: fact.t)]
    assert shown == ["waiting", "green", "red", "finished", "closed"]
    assert stage.world.outcome().flags[0].end_s == 1200


def test_a_slow_period_slows_and_is_announced_to_end() -> None:
    """The whole track slows; nobody has to come in; the end is announced."""
    stage = flagged({"at": 300, "status": "slow", "lasts": 100}).run(until=700)
    laps = stage.truth.laps
    slowed = [lap for lap in laps if "slow" in lap.flags]
    quick = min(lap.time_s for lap in laps if lap.kind == "timed")
    assert slowed[0].time_s == pytest.approx(quick * 1.0 + 100 * (1 - 1 / 1.35), abs=3)
    assert stage.pits("entry") == []
    assert [fact.t for fact in stage.of(StatusChanged) if fact.ending] == [388]


def test_a_yellow_names_its_sectors_and_costs_a_little() -> None:
    """Two seconds there, on the lap that meets it; the rest of the track is green."""
    stage = flagged({"at": 300, "status": "yellow", "lasts": 80, "sectors": [9]})
    plain = flagged()
    met = [lap for lap in stage.run(until=700).truth.laps if "yellow" in lap.flags]
    assert len(met) == 1
    same = next(lap for lap in plain.run(until=700).truth.laps if lap.number == met[0].number)
    assert met[0].time_s - same.time_s == pytest.approx(2.0, abs=0.05)
    facts = [fact for fact in stage.of(StatusChanged) if fact.scope == ("9",)]
    assert [(fact.status, fact.t) for fact in facts] == [("yellow", 300), ("green", 380)]


def test_a_yellow_without_sectors_takes_the_first() -> None:
    """A script that names no sector still makes a local yellow."""
    flags = draw_flags(scenario(flags={"scripted": [{"at": 10, "status": "yellow", "lasts": 5}]}), setup(), Streams(1))
    assert flags[0].sectors == ("1",)


def test_random_flags_come_at_their_rate() -> None:
    """One red an hour for 200 sessions of an hour: some are refused for being too near to others, most are not."""
    day = scenario(flags={"red_per_hour": 1.0})
    session = setup(60)
    count = sum(len(draw_flags(day, session, Streams(seed))) for seed in range(200))
    assert 130 < count < 230


def test_random_flags_keep_apart_from_scripted_ones() -> None:
    """No random interruption falls into a scripted one, and no two random ones overlap."""
    day = scenario(flags={"scripted": [RED], "red_per_hour": 6, "slow_per_hour": 6, "yellow_per_hour": 20})
    for seed in range(30):
        flags = draw_flags(day, setup(60), Streams(seed))
        assert sum(flag.start_s == 400 and flag.status == "red" for flag in flags) == 1
        for one, other in itertools.pairwise(flags):
            assert one.end_s <= other.start_s


def test_a_random_red_flag_has_a_cause() -> None:
    """A car of the field stops on track shortly before, and is not seen again."""
    day = scenario(flags={"red_per_hour": 3}, field={"cars": 12, "first_out_s": [5, 30, 90]})
    causes = 0
    for seed in range(6):
        stage = Stage(day, setup(20), seed).run()
        for flag in stage.world.outcome().flags:
            stopped = [lap for car in stage.world.outcome().field for lap in car.laps
                       if lap.kind == "incomplete" and flag.start_s - 12 <= lap.end_s <= flag.start_s + 120]
            causes += len(stopped)
            for lap in stopped:
                assert not [fact for fact in stage.of(CarCrossed) if fact.car == lap.car and fact.t > lap.end_s]
    assert causes >= 2


def test_an_incident_stops_a_car_for_good_or_for_a_while() -> None:
    """Without a length the car is out for the session; with one it goes on after that time."""
    out = flagged(incidents=[{"at": 300, "car": CAR}]).run()
    assert out.truth.laps[-1].kind == "incomplete"
    assert max(fact.t for fact in out.of(CarCrossed)) < 400
    on = flagged(incidents=[{"at": 300, "car": CAR, "lasts": 60}]).run(until=900).truth.laps
    plain = flagged().run(until=900).truth.laps
    assert max(lap.time_s for lap in on) == pytest.approx(60 + 95, abs=5)
    assert len(on) in (len(plain) - 1, len(plain))
