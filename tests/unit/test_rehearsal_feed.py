"""What the feed does to the truth: delays, losses, doubles, overtaking, and messages that always come."""

from __future__ import annotations

import itertools
from collections import Counter

import numpy as np
import pytest

from pitwall.model.events import CarCrossed, CarPitted, ClockReported, Fact, StatusChanged, SwitchReported
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.draws import Streams
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.scenario import FeedFaults
from tests.unit.rehearsal_stage import CAR, Heap, Stage, scenario, setup


def sent(faults: FeedFaults, count: int = 4000) -> tuple[list[tuple[float, Fact]], Feed]:
    """Crossings every two seconds through a feed with these faults, as (sent at, fact)."""
    clock, got = Heap(0), list[tuple[float, Fact]]()
    feed = Feed(faults, Agenda(clock), lambda fact: got.append((clock.now(), fact)), Streams(5))
    for number in range(count):
        fact = CarCrossed(id=f"x-{number}", t=2.0 * number, car="9", loop="line")
        clock.call_at(fact.t, lambda fact=fact: feed.crossing(fact))  # type: ignore[misc]  # bound now
    clock.run()
    return got, feed


def test_delays_have_the_median_and_tail_asked_for() -> None:
    """Median 0.06 s and 99th percentile 2 s, none beyond the worst."""
    got, _ = sent(FeedFaults(lost=0, doubled=0, out_of_order=0))
    delays = np.array([at - fact.t for at, fact in got])
    assert np.median(delays) == pytest.approx(0.06, rel=0.1)
    assert 1.2 < np.quantile(delays, 0.99) < 3.2
    assert delays.min() > 0
    assert delays.max() <= 25


def test_a_feed_without_delay_is_immediate() -> None:
    """Zero everywhere means no later than a microsecond or so."""
    got, _ = sent(FeedFaults(delay_median_s=0, delay_p99_s=0, delay_worst_s=0, lost=0, doubled=0, out_of_order=0), 50)
    assert max(at - fact.t for at, fact in got) < 1e-5


def test_faults_come_in_their_shares() -> None:
    """Lost, doubled and held back, each near its share, and the counts tell the truth."""
    got, feed = sent(FeedFaults(lost=0.05, doubled=0.1, out_of_order=0.05))
    counts = feed.counts()
    assert counts.sent == len(got) == 4000 - counts.lost + counts.doubled
    assert 140 < counts.lost < 260
    assert 310 < counts.doubled < 460
    assert 130 < counts.held_back < 260
    times = [fact.t for _, fact in got]
    assert any(later < earlier for earlier, later in itertools.pairwise(times))


def test_a_double_comes_with_the_same_id_or_another() -> None:
    """Both happen: a receiver that only compares ids is fooled by half of them."""
    got, _ = sent(FeedFaults(lost=0, doubled=0.2, out_of_order=0))
    ids = Counter(fact.id for _, fact in got)
    same = sum(count > 1 for count in ids.values())
    renamed = sum(name.endswith("-again") for name in ids)
    assert 250 < same < 550
    assert 250 < renamed < 550


def test_status_and_telemetry_always_arrive() -> None:
    """A feed that loses every crossing still says what race control said, and where the switches stand."""
    stage = Stage(scenario(feed={"lost": 1.0}), setup(10))
    stage.release(60)
    stage.say_at(100, "torque", "set_switch", switch="torque_map", position=4)
    stage.run()
    assert stage.of(CarCrossed) == []
    assert stage.of(CarPitted) == []
    assert stage.truth.laps
    assert [fact.status for fact in stage.of(StatusChanged)] == ["waiting", "green", "finished", "closed"]
    assert [fact.position for fact in stage.of(SwitchReported) if fact.switch == "torque_map"] == [2, 4]


def test_the_clock_message_is_never_late() -> None:
    """It is stamped as it is sent: a daemon that follows it must not be set back."""
    stage = Stage(session=setup(10)).run()
    assert all(at == fact.t for at, fact in stage.facts if isinstance(fact, ClockReported))


def test_crossings_are_sent_after_they_happened_and_not_in_the_truth() -> None:
    """Every crossing carries the true time and arrives later; the truth is not touched by the feed's faults."""
    faulty = Stage(scenario(feed={"lost": 0.2, "doubled": 0.2, "out_of_order": 0.2}), setup(15), seed=3)
    clean = Stage(scenario(), setup(15), seed=3)
    for stage in (faulty, clean):
        stage.release(60)
        stage.run()
        assert all(at >= fact.t for at, fact in stage.facts if isinstance(fact, CarCrossed))
    assert faulty.truth.laps == clean.truth.laps
    assert len(faulty.of(CarCrossed)) != len(clean.of(CarCrossed))


def test_which_switches_are_reported() -> None:
    """Measured ones, all, or none, as the scenario wants."""
    reported = {
        which: {fact.switch for fact in Stage(scenario(feed={"switches": which})).run(until=10).of(SwitchReported)}
        for which in ("measured", "all", "none")
    }
    assert reported["measured"] == {"torque_map", "mark"}
    assert reported["none"] == set()
    assert reported["all"] == {"torque_map", "brake_bias", "flap", "start_map", "mark", "push"}


def test_ids_are_unique_but_for_doubles() -> None:
    """No two facts share an id unless the feed sent one twice on purpose."""
    stage = Stage(scenario(field={"cars": 10}, feed={"channel": True}), setup(20))
    stage.release(60)
    stage.run()
    ids = [fact.id for _, fact in stage.facts]
    assert len(ids) == len(set(ids)) > 1500


def test_another_seed_has_other_ids() -> None:
    """Two rehearsals against one daemon are not taken for one another."""
    first, second = ({fact.id for _, fact in Stage(seed=seed).run(until=0).facts} for seed in (1, 2))
    assert not first & second
    assert all(CAR not in name or name.startswith("w") for name in first)
