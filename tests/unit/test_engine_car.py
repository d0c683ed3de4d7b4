"""Following one car through crossings and pit signals that a feed loses, repeats or delivers late."""

from __future__ import annotations

import pytest

from pitwall.engine.car import CarTrack
from tests.unit.engine_stage import PIT_EXIT, signals_of, track


def drive(car: CarTrack, begin: float, *laps: float) -> float:
    """Out of the pits and round; returns the time of the last line."""
    car.leave(begin)
    t = begin
    for number, seconds in enumerate(laps):
        start = PIT_EXIT if number == 0 else 0.0
        for loop, share in (("1", 0.3), ("2", 0.7)):
            car.cross(loop, t + seconds * (share - start) / (1 - start), False)
        t += seconds
        car.cross("line", t, False)
    return t


def numbers(car: CarTrack) -> list[tuple[int, str]]:
    """Number and kind of each lap that ended."""
    return [(lap.number, lap.kind) for lap in car.laps]


# -- as it should be ------------------------------------------------------------------------------------------


def test_a_run_as_it_should_be() -> None:
    """Out of the pits, a timed lap, and home: three laps of three kinds, and the car stands in the pit lane."""
    car = track()
    assert signals_of(car.leave(10)) == ["left"]
    assert (car.state, car.lap_kind, car.on_track) == ("out", "out", True)
    assert signals_of(car.cross("1", 42, False)) == ["loop"]
    assert signals_of(car.cross("line", 135, False)) == ["lap_done"]
    assert (car.state, car.lap_number) == ("timed", 2)
    drive_to_line = car.cross("line", 236, False)
    assert drive_to_line[0].lap is not None
    assert drive_to_line[0].lap.lap_time_s == 101
    assert signals_of(car.come_in(348)) == ["came_in"]
    assert (car.state, car.lap, car.lap_kind, car.on_track) == ("pit_lane", None, None, False)
    assert numbers(car) == [(1, "out"), (2, "timed"), (3, "in")]
    assert [lap.complete for lap in car.laps] == [False, True, False]
    assert signals_of(car.park(430)) == ["parked"]
    assert car.state == "garage"
    assert car.park(431) == []


def test_out_and_straight_in_is_an_installation_lap() -> None:
    """A lap that began at the pit exit and ended at the pit entry is an installation lap."""
    car = track()
    car.leave(10)
    car.come_in(140)
    assert numbers(car) == [(1, "installation")]


def test_called_in_on_the_out_lap_makes_it_an_installation_lap() -> None:
    """The belief about the running lap follows the call: out becomes out-in, and back when the car is let run."""
    car = track()
    car.leave(10)
    assert car.move("called_in")
    assert (car.state, car.lap_kind) == ("out_in", "installation")
    assert car.move("let_run")
    assert car.lap_kind == "out"
    assert not car.move("judged_cool"), "an inside signal without a row is refused, not raised"


def test_the_fuel_counts_laps_by_the_part_driven() -> None:
    """An out-lap counts from the pit exit on."""
    car = track()
    drive(car, 0, 125, 100)
    assert car.fuel_laps == pytest.approx(0.95 + 1.0)


def test_the_lap_time_of_the_feed_is_taken_where_it_agrees() -> None:
    """The feed's own figure replaces ours within two seconds; one that cannot be this lap's is not believed."""
    car = track()
    t = drive(car, 0, 125)
    car.cross("line", t + 100.0, False, 99.8)
    car.cross("line", t + 200.0, False, 87.0)
    assert [lap.lap_time_s for lap in car.laps[1:]] == [99.8, 100.0]


def test_a_loop_that_the_circuit_does_not_have_is_ignored() -> None:
    """An unknown label moves nothing."""
    car = track()
    car.leave(0)
    assert signals_of(car.cross("17b", 30, False)) == ["ignored"]
    assert car.seen_t == 0


# -- lost -----------------------------------------------------------------------------------------------------


def test_a_missing_line_is_inferred_at_the_next_loop() -> None:
    """The same loop twice without a line: the line is placed by the shares of the lap, and marked as inferred."""
    car = track()
    drive(car, 0, 125)
    car.cross("1", 155, False)
    car.cross("2", 195, False)
    found = car.cross("1", 255, False)
    assert signals_of(found) == ["lap_done", "loop"]
    assert car.laps[-1].end_t == pytest.approx(225)
    assert car.laps[-1].inferred_end
    assert car.lap is not None
    assert car.lap.inferred_start
    assert car.lap_number == 3


def test_a_missing_line_is_inferred_when_another_loop_is_lost_too() -> None:
    """Loop 1 lost on one lap and the line after it: a place behind the one last seen means that the line was passed."""
    car = track()
    drive(car, 0, 125)
    car.cross("2", 195, False)
    assert signals_of(car.cross("1", 255, False)) == ["lap_done", "loop"]
    assert car.laps[-1].end_t == pytest.approx(225)
    assert car.lap is not None
    assert car.lap.crossings == {"1": 255}


def test_the_real_line_comes_late_and_mends_both_laps() -> None:
    """The line that was inferred arrives after all: end and beginning take its time, and the mark goes."""
    car = track()
    drive(car, 0, 125)
    for loop, t in (("1", 155), ("2", 195), ("1", 255.5)):
        car.cross(loop, t, False)
    assert signals_of(car.cross("line", 224.2, False)) == ["mended"]
    assert (car.laps[-1].end_t, car.laps[-1].inferred_end) == (224.2, False)
    assert car.laps[-1].lap_time_s == pytest.approx(99.2)
    assert car.lap is not None
    assert (car.lap.start_t, car.lap.inferred_start) == (224.2, False)


def test_the_real_line_after_the_inferred_one_mends_too() -> None:
    """The same when the inference was a little early instead of late."""
    car = track()
    drive(car, 0, 125)
    for loop, t in (("1", 155), ("2", 195), ("1", 254)):
        car.cross(loop, t, False)
    assert signals_of(car.cross("line", 225.4, False)) == ["mended"]
    assert car.lap is not None
    assert (car.lap.start_t, car.lap_number) == (225.4, 3)
    assert car.laps[-1].end_t == 225.4


def test_an_inferred_lap_teaches_nothing() -> None:
    """The pace is learned from laps whose ends were both seen."""
    car = track()
    drive(car, 0, 125)
    for loop, t in (("1", 155), ("2", 195), ("1", 255)):
        car.cross(loop, t, False)
    assert car.pace.best_s is None


def test_a_missing_pit_exit_is_inferred_at_the_first_loop() -> None:
    """A loop seen from the garage: the car is on an out-lap whose beginning nobody saw."""
    car = track()
    assert signals_of(car.cross("1", 100, False)) == ["left", "loop"]
    assert (car.state, car.lap_number) == ("out", 1)
    assert car.lap is not None
    assert car.lap.inferred_start
    assert car.lap.start_t == pytest.approx(100 - 0.25 * 125)


def test_a_missing_pit_exit_is_inferred_at_the_line() -> None:
    """The line seen from the garage long after the pit entry: the car is on a lap."""
    car = track()
    drive(car, 0, 125)
    car.come_in(240)
    car.park(330)
    assert signals_of(car.cross("line", 700, False)) == ["left", "lap_started"]
    assert car.state == "timed"


def test_a_missing_pit_entry_is_inferred_at_the_next_exit() -> None:
    """The pit exit of a car on track: it must have come in before, so the lap ends there, marked."""
    car = track()
    t = drive(car, 0, 125, 100)
    assert signals_of(car.leave(t + 400)) == ["came_in", "left"]
    assert car.laps[-1].kind == "in"
    assert car.laps[-1].inferred_end
    assert car.state == "out"


def test_a_car_seen_at_the_pit_entry_from_the_garage_is_in_the_lane() -> None:
    """Everything between was lost: the entry alone says where the car is, and no lap is made up."""
    car = track()
    assert signals_of(car.come_in(500)) == ["ignored"]
    assert (car.state, car.pit_entry_t, car.laps) == ("pit_lane", 500, [])


def test_a_silent_car_has_stopped_and_a_loop_brings_it_back() -> None:
    """Unseen for long a car counts as stopped on its lap; the next loop puts it back on one."""
    car = track()
    drive(car, 0, 125)
    assert signals_of(car.fall_silent(400)) == ["silent"]
    assert (car.state, car.on_track, car.lap_kind) == ("stopped", True, "timed")
    assert car.fall_silent(401) == []
    assert signals_of(car.cross("2", 500, False)) == ["loop"]
    assert car.state == "timed"
    assert signals_of(car.come_in(540)) == ["came_in"]


def test_a_silent_car_on_a_lap_from_the_line_is_still_on_that_lap() -> None:
    """Seen again on a lap that began at the line, the car is on no out-lap: the lap is judged by its pace, as any."""
    car = track()
    car.leave(0)
    for number in range(3):
        car.cross("line", 100.0 * (number + 1), False)
    car.fall_silent(500)
    assert car.state == "stopped"
    car.cross("1", 530, False)
    assert (car.state, car.lap_kind) == ("timed", "timed")
    assert car.judge("timed") == "cool"
    car.cross("line", 600, False)
    assert [lap.kind for lap in car.laps] == ["out", "timed", "timed", "cool"]


def test_a_silent_car_on_its_out_lap_is_still_on_its_out_lap() -> None:
    """The same after a stop on the out-lap: out it was, and out it is."""
    car = track()
    car.leave(0)
    car.fall_silent(300)
    car.cross("1", 330, False)
    assert (car.state, car.lap_kind) == ("out", "out")


def test_a_stopped_car_that_is_brought_back_is_in() -> None:
    """A recovered car appears at the pit entry, or in the lane by its line."""
    for fact in ("entry", "line"):
        car = track()
        drive(car, 0, 125)
        car.fall_silent(400)
        found = car.come_in(900) if fact == "entry" else car.cross("line", 900, False)
        assert signals_of(found) == (["came_in"] if fact == "entry" else ["lap_done"])
    garage = track()
    assert garage.fall_silent(10) == []


# -- doubled and out of order ---------------------------------------------------------------------------------


@pytest.mark.parametrize("loop", ["1", "2"])
def test_a_doubled_crossing_is_one(loop: str) -> None:
    """The same loop again within less than a lap can be is ignored, whether a second or ten later."""
    car = track()
    drive(car, 0, 125)
    t = 155 if loop == "1" else 195
    car.cross(loop, t, False)
    for later in (0, 1, 10, 40):
        assert signals_of(car.cross(loop, t + later, False)) == ["ignored"]
    assert car.lap is not None
    assert car.lap.crossings == {loop: t}


def test_a_doubled_line_is_one() -> None:
    """Two lines within seconds, or closer than a lap can be, start one lap."""
    car = track()
    drive(car, 0, 125)
    for later in (0, 1.5, 9, 29):
        assert signals_of(car.cross("line", 125 + later, False)) == ["ignored"]
    assert car.lap_number == 2


def test_a_doubled_pit_signal_is_one() -> None:
    """Exit and entry may be repeated by the feed."""
    car = track()
    car.leave(10)
    assert signals_of(car.leave(11)) == ["ignored"]
    car.come_in(140)
    assert signals_of(car.come_in(141)) == ["ignored"]
    assert (car.lap_number, len(car.laps)) == (1, 1)


def test_loops_out_of_order_are_sorted_by_their_own_times() -> None:
    """Loop 2 reported before loop 1: both are kept, and the car was last seen at the later."""
    car = track()
    drive(car, 0, 125)
    car.cross("2", 195, False)
    car.cross("1", 155, False)
    assert car.lap is not None
    assert car.lap.crossings == {"2": 195, "1": 155}
    assert car.seen_t == 195
    assert car.seen_phase == pytest.approx(0.7)


def test_a_late_crossing_of_the_lap_before_mends_the_record_only() -> None:
    """Loop 2 of the last lap arrives after the line: it is filed there, and the car stays where it is."""
    car = track()
    drive(car, 0, 125)
    car.cross("1", 155, False)
    car.cross("line", 225, False)
    assert signals_of(car.cross("2", 195, False)) == ["mended"]
    assert car.laps[-1].crossings == {"1": 155, "2": 195}
    assert car.lap is not None
    assert (car.lap.crossings, car.seen_t) == ({}, 225)


def test_a_line_later_than_the_loop_after_it() -> None:
    """Line and next loop swapped, with nothing yet to infer from: the loop moves over to the lap it belongs to."""
    car = track()
    car.leave(0)
    car.cross("1", 157, False)
    assert signals_of(car.cross("line", 127, False)) == ["lap_done"]
    assert car.laps[-1].crossings == {}
    assert car.lap is not None
    assert (car.lap.start_t, car.lap.crossings) == (127, {"1": 157})
    assert car.seen_t == 157
    assert car.seen_phase == pytest.approx(0.3)


def test_a_crossing_that_contradicts_the_others_is_ignored() -> None:
    """Loop 1 a moment after loop 2 is on no lap: a wrong label moves nothing."""
    car = track()
    drive(car, 0, 125)
    car.cross("2", 195, False)
    assert signals_of(car.cross("1", 197, False)) == ["ignored"]
    assert signals_of(car.cross("line", 226, False)) == ["lap_done"]


# -- the pit lane ---------------------------------------------------------------------------------------------


def test_the_line_beside_the_lane_starts_no_lap() -> None:
    """A car that came in passes the line in the pit lane; the same where there is no lane line is a lap begun."""
    car = track()
    t = drive(car, 0, 125)
    car.come_in(t + 112)
    assert signals_of(car.cross("line", t + 120, False)) == ["ignored"]
    assert (car.state, car.lap_number) == ("pit_lane", 2)
    other = track(line_in_lane=False)
    t = drive(other, 0, 125)
    other.come_in(t + 112)
    assert signals_of(other.cross("line", t + 120, False)) == ["left", "lap_started"]


def test_a_line_older_than_the_pit_entry_starts_no_lap() -> None:
    """A late message about the lap that the pit entry ended moves nothing, lane line or not."""
    car = track(line_in_lane=False)
    t = drive(car, 0, 125)
    car.come_in(t + 112)
    assert signals_of(car.cross("line", t + 105, False)) == ["ignored"]
    assert not car.on_track


def test_the_pit_entry_message_comes_after_the_lane_line() -> None:
    """The line beside the lane first, then the entry: the lap thought complete was the in-lap; no other began."""
    car = track()
    t = drive(car, 0, 125)
    car.cross("1", t + 33, False)
    car.cross("line", t + 120, False)
    assert (car.state, car.lap_number) == ("timed", 3)
    assert signals_of(car.come_in(t + 112)) == ["came_in"]
    assert (car.state, car.lap) == ("pit_lane", None)
    assert car.laps[-1].kind == "in"
    assert car.laps[-1].end_t == t + 112
    assert signals_of(car.cross("line", t + 121, False)) == ["ignored"]
    car.leave(t + 600)
    assert car.lap_number == 3


def test_a_pit_entry_later_than_the_exit_after_it_ends_the_right_lap() -> None:
    """A quick stop whose entry arrives after its exit: the in-lap takes the true time, and the car stays out."""
    car = track()
    t = drive(car, 0, 125)
    car.leave(t + 140)
    assert signals_of(car.come_in(t + 112)) == ["mended"]
    assert (car.state, car.lap_number) == ("out", 3)
    assert (car.laps[-1].end_t, car.laps[-1].inferred_end) == (t + 112, False)


def test_a_drive_through_is_an_in_lap_and_an_out_lap() -> None:
    """In at the entry, line beside the lane, out at the exit 30 s later."""
    car = track()
    t = drive(car, 0, 125, 100)
    car.come_in(t + 112)
    car.cross("line", t + 118, False)
    assert signals_of(car.leave(t + 142)) == ["left"]
    assert numbers(car) == [(1, "out"), (2, "timed"), (3, "in")]
    assert (car.state, car.lap_number) == ("out", 4)


def test_the_lane_line_on_the_way_out_belongs_to_the_out_lap() -> None:
    """A garage before the line: the car passes the line in the lane, then the exit: one leaving, one out-lap."""
    car = track()
    assert signals_of(car.cross("line", 500, False)) == ["left", "lap_started"]
    assert signals_of(car.leave(520)) == ["mended"]
    assert (car.state, car.lap_number, car.laps) == ("out", 1, [])
    assert car.lap is not None
    assert (car.lap.start_t, car.lap.start_phase) == (520, PIT_EXIT)


def test_an_exit_message_after_the_first_loop_mends_the_out_lap() -> None:
    """The exit arrives late: the out-lap that was inferred at the loop takes its true beginning, early or late."""
    for exit_t in (60, 70, 80):
        car = track()
        car.cross("1", 100, False)
        assert signals_of(car.leave(exit_t)) == ["mended"]
        assert car.lap is not None
        assert (car.lap.start_t, car.lap.inferred_start, car.lap_number) == (exit_t, False, 1)
        assert car.pit_exit_t == exit_t
        assert car.seen_t == 100
        assert car.seen_phase == pytest.approx(0.3)


def test_an_exit_from_long_ago_is_ignored() -> None:
    """A message older than the last sight of the car by more than messages are ever late moves nothing."""
    car = track()
    t = drive(car, 0, 125, 100)
    assert signals_of(car.leave(t - 60)) == ["ignored"]
    car.come_in(t + 112)
    assert signals_of(car.leave(t + 100)) == ["ignored"], "the exit before this entry"


def test_a_loop_before_the_pit_entry_is_filed_with_the_in_lap() -> None:
    """Loop 2 of the in-lap arrives when the car is in: the lap has it, and the car stays in."""
    car = track()
    t = drive(car, 0, 125)
    car.come_in(t + 112)
    assert signals_of(car.cross("2", t + 82, False)) == ["mended"]
    assert car.laps[-1].crossings["2"] == t + 82
    assert not car.on_track


# -- kinds and arrival ----------------------------------------------------------------------------------------


def test_hindsight_names_the_kind_at_the_line() -> None:
    """A lap far off the pace was a cool-down lap, one under a slow period too; the pace learns from neither."""
    car = track()
    t = drive(car, 0, 125, 100, 101, 150)
    car.cross("1", t + 30, True)
    car.cross("line", t + 100, False)
    assert [lap.kind for lap in car.laps] == ["out", "timed", "timed", "cool", "cool"]
    assert len(car.pace.quick) == 2


def test_the_running_lap_is_judged_from_what_is_seen() -> None:
    """At a loop the belief follows the pace, against the plan if need be; at the line it starts from the plan."""
    car = track()
    t = drive(car, 0, 125, 100)
    assert car.judge("timed") == "timed"
    car.cross("1", t + 45, False)
    assert car.judge("timed") == "cool"
    assert track().judge("timed") is None
    out = track()
    out.leave(0)
    assert out.judge("timed") == "out"


def test_arrivals_come_from_the_last_place_seen() -> None:
    """A timed lap at the car's pace arrives on the second; in the pits there is no arrival."""
    car = track()
    assert car.arrival(0.5) is None
    t = drive(car, 0, 125, 100, 100)
    assert car.arrival(1.0) == pytest.approx(t + 100)
    car.cross("1", t + 33, False)
    assert car.arrival(0.3) == pytest.approx(t + 33)
    assert car.arrival(1.0) == pytest.approx(t + 110)
