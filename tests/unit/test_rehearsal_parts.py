"""The smaller parts of the world on their own: the channel, the steering wheel, lap times, the agenda."""

from __future__ import annotations

import numpy as np
import pytest

from pitwall.model.events import ChannelReported, Fact, SwitchReported
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.channel import Channel
from pitwall.rehearsal.draws import Streams
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.pacing import CarPace, Track, car_pace
from pitwall.rehearsal.scenario import FeedFaults, PaceOfWorld
from pitwall.rehearsal.wheel import Wheel
from tests.unit.rehearsal_stage import CAR, Heap, plan, setup

STREAMS = Streams(11)
NO_SCATTER = PaceOfWorld(scatter_s=(0, 0, 0), spoilt=0, track_gain_s=(2, 2, 2))


class Desk:
    """A heap, an agenda, and a feed whose facts are kept."""

    def __init__(self) -> None:
        self.clock, self.facts = Heap(0), list[Fact]()
        self.agenda = Agenda(self.clock)
        faults = FeedFaults(delay_median_s=0, delay_p99_s=0, delay_worst_s=0)
        self.feed = Feed(faults, self.agenda, self.facts.append, STREAMS)


def channel(reported: bool = False) -> tuple[Channel, Desk]:
    """A channel on a desk of its own."""
    desk = Desk()
    return Channel(CAR, desk.agenda, desk.feed, reported, "w"), desk


def wheel(reports: str = "measured", starts: object = "wet_or_dry_default") -> tuple[Wheel, Desk]:
    """The test car's wheel."""
    desk = Desk()
    given = plan(starts_with={"switches": starts})
    return Wheel(CAR, setup().cars[CAR], given, False, desk.feed, reports, "w"), desk


def pace(world: PaceOfWorld = NO_SCATTER, seed: int = 1) -> CarPace:
    """A car whose reference lap is 90 s."""
    rng = Streams(seed).stream("pace")
    return CarPace(90.0, 1.0, world, Track(world, rng), rng)


def test_a_busy_channel_is_free_when_the_voice_ends() -> None:
    """Free at once, then only from the end of what is being said; what each voice used is added up."""
    made, _ = channel()
    assert made.free_from(10) == 10
    assert made.take("engineer", 10, 3) == 13
    assert made.free_from(11) == 13
    made.take("driver", 13, 2)
    assert made.spoke_s == {"engineer": 3, "driver": 2}


def test_two_voices_at_once_are_a_mistake_of_ours() -> None:
    """Taking a channel on which somebody talks is refused, naming both moments."""
    made, _ = channel()
    made.take("engineer", 10, 3)
    with pytest.raises(ValueError, match=r"driver talks at 12\.000 s, the channel is taken until 13\.000 s"):
        made.take("driver", 12, 1)


def test_the_radio_desk_reports_both_ends_of_a_transmission() -> None:
    """Only where the scenario wants it."""
    for reported in (True, False):
        made, desk = channel(reported)
        made.take("engineer", 10, 3)
        desk.clock.run()
        heard = [(fact.t, fact.talking) for fact in desk.facts if isinstance(fact, ChannelReported)]
        assert heard == ([(10, "engineer"), (13, "nobody")] if reported else [])


def test_a_wheel_starts_as_the_plan_says() -> None:
    """Defaults of the car file, over them what the plan writes down."""
    assert wheel()[0].positions["torque_map"] == 2
    assert wheel(starts={"torque_map": 4})[0].positions["torque_map"] == 4


def test_a_position_that_does_not_exist_is_refused() -> None:
    """Neither an unknown switch nor an impossible position moves anything."""
    made, desk = wheel()
    assert not made.put(5, "torque_map", 99, "asked", moving=True)
    assert not made.put(5, "no_such", 1, "asked", moving=True)
    desk.clock.run()
    assert made.moved == []
    assert desk.facts == []


def test_a_switch_already_there_moves_nothing() -> None:
    """``2`` and ``"2"`` are the same position: no change, no telemetry."""
    made, desk = wheel()
    assert made.put(5, "torque_map", "2", "asked", moving=True)
    desk.clock.run()
    assert made.moved == []
    assert desk.facts == []


def test_a_stationary_switch_moves_only_while_standing() -> None:
    """Moving it on track fails and is written down as such."""
    made, _ = wheel()
    assert not made.put(5, "start_map", 2, "asked", moving=True)
    assert made.moved[-1].why == "moving"
    assert made.put(6, "start_map", 2, "asked", moving=False)
    assert made.positions["start_map"] == 2


def test_telemetry_reports_each_change_once() -> None:
    """All at the start, then each change, with ids that differ."""
    made, desk = wheel("all")
    made.report_all(0)
    made.put(5, "flap", "open", "asked", moving=True)
    desk.clock.run()
    sent = [fact for fact in desk.facts if isinstance(fact, SwitchReported)]
    assert len(sent) == 7
    assert len({fact.id for fact in sent}) == 7
    assert (sent[-1].switch, sent[-1].position, sent[-1].t) == ("flap", "open", 5)


def test_a_neighbouring_position_is_one_click_away() -> None:
    """Half a per cent for the bias, never beyond its end; another position for a rotary; none for no switch."""
    made, _ = wheel()
    rng = STREAMS.stream("neighbour")
    assert {made.neighbour("brake_bias", rng) for _ in range(30)} == {54.5, 55.5}
    made.put(0, "brake_bias", 60, "asked", moving=False)
    assert {made.neighbour("brake_bias", rng) for _ in range(30)} == {59.5}
    assert 2 not in {made.neighbour("torque_map", rng) for _ in range(30)}
    assert made.neighbour("no_such", rng) is None


def test_fuel_and_tyres_cost_what_they_cost() -> None:
    """Fuel adds its seconds, worn tyres are slower than fresh ones, and the track is slower early on."""
    car = pace()
    fresh = car.good(10_000, 0.0, 2)
    assert car.good(10_000, 0.6, 2) - fresh == pytest.approx(0.6)
    assert car.good(10_000, 0.0, 20) > fresh
    assert car.good(0, 0.0, 2) - fresh == pytest.approx(2.0, abs=0.01)


def test_one_timed_lap_in_ten_is_spoilt() -> None:
    """The share asked for, and a spoilt lap is the slower one (one in ten: common practice, no source)."""
    car = pace(PaceOfWorld())
    laps = [car.timed(10_000, tyre_laps=2) for _ in range(3000)]
    spoilt = [lap.lap_s for lap in laps if lap.spoilt]
    good = [lap.lap_s for lap in laps if not lap.spoilt]
    assert len(spoilt) / len(laps) == pytest.approx(0.1, abs=0.02)
    assert np.median(spoilt) - np.median(good) > 0.8


def test_an_out_lap_counts_from_the_pit_exit() -> None:
    """Its pace over a whole lap, times the part that is driven, is the ratio that was asked for."""
    car = pace(PaceOfWorld(out_lap=(1.25, 1.25, 1.25)))
    assert car.out(0, 0.06).lap_s * 0.94 == pytest.approx(1.25 * 90)


def test_an_in_lap_counts_to_the_line_in_the_lane() -> None:
    """On track and in the lane together it takes the ratio that was asked for, but never less than flat out."""
    car = pace(PaceOfWorld(in_lap=(1.3, 1.3, 1.3)))
    assert car.into_pits(0, 0.95, 12.0).lap_s * 0.95 + 12.0 == pytest.approx(1.3 * 90)
    quick = pace(PaceOfWorld(in_lap=(1.0, 1.0, 1.0)))
    assert quick.into_pits(0, 0.95, 12.0).lap_s == pytest.approx(1.01 * 90)


def test_no_car_of_the_field_is_much_faster_than_the_reference() -> None:
    """Pace spreads to the slow side; one per cent faster is the most."""
    track = Track(NO_SCATTER, STREAMS.stream("track"))
    best = [car_pace(90, 0.02, NO_SCATTER, track, STREAMS.stream("car", str(n))).best_s for n in range(200)]
    assert min(best) >= 0.99 * 90
    assert max(best) <= 90 * 1.05
    assert np.std(best) > 0.5


def test_an_action_is_told_the_moment_it_was_armed_for() -> None:
    """Even when the clock has gone past it: the truth does not wander with the machine."""
    desk = Desk()
    told: list[float] = []
    desk.clock.call_at(10, lambda: desk.agenda.at(4.5, told.append))
    desk.clock.run()
    assert told == [4.5]
    assert desk.agenda.now() == 10
