"""The channel plan in a whole session: put-backs before the line, quiet, a timing-only circuit, how sure a car is."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

from pitwall.engine.rules.switch import EACH_S, MOST_EACH_S, SETTLED_PART
from pitwall.engine.situation import running_legs
from pitwall.engine.sure import Sure
from pitwall.engine.view import situation
from pitwall.model.circuit import Circuit, ListeningStretch
from pitwall.model.events import ChannelReported
from pitwall.radio.pending import GAP_S, Spans
from tests.unit.engine_stage import CAR, CIRCUIT, MAIN, Stage, car_file, plan, setup

STRAIGHTS = ((0.12, 0.2), (0.32, 0.4), (0.55, 0.63), (0.74, 0.84))
SWITCHES = [{"switch": f"s{number}", "kind": "toggle", "word": f"switch {number}", "positions": ["off", "on"],
             "default": "off"} for number in range(4)]  # fmt: skip
MANY = [{"do": "set_one", "on": {"timed": 1}, "with": {"switch": f"s{number}", "position": "on"}}
        for number in range(4)]  # fmt: skip


def heard_circuit(straights: Spans = STRAIGHTS) -> Circuit:
    """The circuit with the round numbers, on which the driver can listen on these straights, shares of the lap."""
    stretches = tuple(ListeningStretch(from_share=begin, to_share=end) for begin, end in straights)
    return CIRCUIT.model_copy(update={"listening": stretches})


def stage(
    items: list[dict[str, Any]], *, circuit: Circuit | None = None, laps: str = "out, 3 timed, in", **changes: Any
) -> Stage:
    """Car 41 begins its first timed lap (out, 3 timed, in) at 325 s."""
    planned = plan(MAIN | {"laps": laps, "items": items}, **changes)
    cars = {CAR: car_file(switches=SWITCHES, forbidden_on_timed=[])}
    made = Stage(setup(planned, circuit=circuit or heard_circuit(), cars=cars)).green()
    made.drive(200, 125)
    return made


def put_backs(made: Stage) -> list[Any]:
    """The open switch calls before the second timed lap."""
    return [call for name, call in sorted(made.car.book.calls.items()) if "main-1-2-switch" in name and call.open]


def test_put_backs_before_the_line_are_a_call_each_on_straights() -> None:
    """Four switches go back before the next lap: four short calls, each on a straight, one after the other."""
    made = stage(MANY)
    made.cross(355, "1")
    made.wait(356)
    calls = sorted(put_backs(made), key=lambda call: call.spec.say_from_s)
    assert [call.spec.ask.switch is not None for call in calls] == [True] * 4
    for first, second in itertools.pairwise(calls):
        assert first.spec.say_from_s + first.spec.spoken_s + GAP_S <= second.spec.say_from_s
    for call in calls:
        assert call.spec.way in ("full", "short")
        opens, over = call.spec.say_from_s - 325, call.spec.say_by_s + call.spec.spoken_s - 325
        assert any(100 * begin <= opens and over <= 100 * end for begin, end in STRAIGHTS)


def test_a_put_back_that_is_done_leaves_the_calls_of_the_others_alone() -> None:
    """Each call bears the name of its switch: telemetry shows one in place, the others keep their ids and what they ask
    for. Whether in full or in short hangs on the room that it leaves them."""
    made = stage(MANY)
    made.cross(355, "1")
    made.wait(360)
    before = {call.id: (call.spec.short, call.spec.asked) for call in put_backs(made)}
    (done,) = [call for call in put_backs(made) if call.spec.ask.switch == "s1"]
    made.switch(361, "s1", "off")
    made.wait(362)
    assert not done.open
    assert {call.id: (call.spec.short, call.spec.asked) for call in put_backs(made)} == {
        name: words for name, words in before.items() if name != done.id
    }


@pytest.mark.parametrize("laps", ["out, 3 timed, in", "out, 1 timed, cool, 2 timed, in"])
def test_what_the_next_of_two_timed_laps_needs_is_told_late_and_says_when(laps: str) -> None:
    """A driver who is told on a timed lap what the next one needs, and acts at once, spoils the lap he is on: it is
    told on the last straight but one, with one to spare, and even in short it says that it is for the next lap. On a
    cool-down lap, on which he may act at once, it comes when there is room, as ever."""
    timed = "cool" not in laps
    item = MANY[0] if timed else MANY[0] | {"on": "cool"}
    made = stage([item], laps=laps)
    begin = 325.0 if timed else made.lap(325, 100)
    made.cross(begin + 30, "1")
    made.wait(begin + 31)
    (call,) = [call for name, call in made.car.book.calls.items() if f"1-{2 if timed else 3}-switch" in name]
    assert call.spec.short.startswith("Next lap: ") is timed
    late, lap_s = STRAIGHTS[-2][0], 100 if timed else call.spec.act_at_s - begin
    assert (call.spec.say_from_s >= begin + late * lap_s) is timed
    assert call.spec.say_by_s + call.spec.spoken_s <= call.spec.act_at_s - 2.0  # to move a switch: common practice


def test_many_changes_before_one_line_begin_earlier() -> None:
    """Four calls and their read-backs take longer than one: the room for them begins sooner, but not on the first part
    of the lap, on which it is told what this lap itself needs."""
    rooms = []
    for items in (MANY[:1], MANY):
        planned = plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in",
                               "items": [item | {"on": {"timed": 2}} for item in items]})
        cars = {CAR: car_file(switches=SWITCHES, forbidden_on_timed=[])}
        made = Stage(setup(planned, circuit=heard_circuit(), cars=cars)).green()
        t = made.drive(200, 125, 100)
        made.wait(t + 20)
        line = made.car.legs[0].end_s
        (call, *_) = [one for name, one in sorted(made.car.book.calls.items()) if "main-1-3-switch" in name]
        assert call.spec.room is not None
        assert call.spec.room.from_s > t + SETTLED_PART * (line - t) - 1.0
        rooms.append(call.spec.room.from_s)
    assert rooms[0] - MOST_EACH_S <= rooms[1] < rooms[0] - EACH_S


@pytest.mark.parametrize("slower", [0.8, 1.0, 1.4])
def test_places_behind_the_car_lie_behind_it(slower: float) -> None:
    """A car that was seen between two loops, sooner or later than expected: every place before that was passed before
    that moment, in order; a stretch behind it is not put ahead of the car by what was expected earlier."""
    made = stage([])
    track, run = made.car.track, made.car.progress.current
    assert run is not None
    seen_at = 325 + 100 * 0.25 * slower
    assert track.sight(seen_at, 0.25)
    leg = running_legs(track, run, made.car.lap_map)[0]
    times = [leg.at(0.01 * number) for number in range(101)]
    assert times == sorted(times)
    assert leg.at(0.25) == pytest.approx(seen_at)
    assert leg.at(0.125) == pytest.approx(0.5 * (325 + seen_at), abs=0.5)


def test_a_driver_who_talks_moves_a_put_back_to_the_next_straight() -> None:
    """The radio desk says that the driver talks into the window: the put-back waits for the next straight."""
    made = stage(MANY[:1])
    made.wait(356)
    (call,) = put_backs(made)
    begin = call.spec.say_from_s
    made.wait(begin - 0.3)
    made.give(ChannelReported(id="d1", t=made.now, car=CAR, talking="driver"))
    made.wait(call.spec.say_by_s + 4)
    made.give(ChannelReported(id="d2", t=made.now, car=CAR, talking="nobody"))
    assert call.open
    assert call.spec.say_from_s > begin + 4
    made.wait(call.spec.say_from_s + 0.5)
    assert call.state == "due"


def test_quiet_takes_back_what_waits_and_leaves_box_calls() -> None:
    """One key: no put-back is placed any more, a box call still is."""
    made = stage(MANY)
    made.wait(356)
    assert put_backs(made)
    made.command("quiet")
    made.wait(360)
    assert not put_backs(made)
    made.cross(425)
    made.cross(525)
    made.cross(625)
    made.wait(650)
    assert made.call("box-1-0").state in ("due", "unconfirmed")


def test_on_a_timing_only_circuit_the_deadline_decides() -> None:
    """Nobody knows where the driver can listen: every call is in full, over in time, and never two at once."""
    made = stage(MANY, circuit=CIRCUIT)
    made.wait(380)
    calls = sorted(put_backs(made), key=lambda call: call.spec.say_from_s)
    assert len(calls) == 2
    assert [call.spec.way for call in calls] == ["full", "full"]
    assert calls[0].spec.say_from_s + calls[0].spec.spoken_s + GAP_S <= calls[1].spec.say_from_s
    assert calls[1].spec.say_by_s + calls[1].spec.spoken_s + 2.0 <= 425


def test_the_further_ahead_the_less_sure_a_car_is() -> None:
    """Nothing at the moment it was seen, all of it at the end of the lap, and no more after that."""
    made = stage([])
    made.cross(355, "1")
    at = situation(made.car, made.session.clock, 355.0)
    ends = at.legs[0].end_s
    figures = [at.strays(t) for t in (340.0, 355.0, (355.0 + ends) / 2, ends, ends + 50.0)]
    assert figures[0] == figures[1] == 0
    assert figures[3] > 0
    assert figures[2] == pytest.approx(figures[3] / 2)
    assert figures[4] == figures[3]


def test_a_car_that_was_seen_later_is_surer() -> None:
    """The same moment ahead, looked at from the second loop: less can have gone otherwise."""
    made = stage([])
    made.cross(355, "1")
    before = situation(made.car, made.session.clock, 355.0).strays(415.0)
    made.cross(395, "2")
    assert situation(made.car, made.session.clock, 395.0).strays(415.0) < before


def test_a_lap_that_has_not_begun_is_as_unsure_as_its_length_says() -> None:
    """In the garage no arrival is known: what is common for that way decides."""
    made = Stage(setup()).green()
    made.wait(10)
    at = situation(made.car, made.session.clock, 10.0)
    assert at.strays(at.legs[0].end_s) == pytest.approx(at.doubt(at.legs[0].end_s, at.legs[0]))
    assert replace(at, now=11.0).strays(at.legs[0].start_s) == 0


def out_lap() -> Stage:
    """Car 41 leaves the pit lane at 200 s."""
    made = Stage(setup(circuit=heard_circuit())).green()
    made.leave(200)
    made.wait(201)
    return made


def test_on_an_out_lap_a_stretch_is_as_sure_as_the_loop_before_it_lets_it_be() -> None:
    """Nothing is unknown where the car was seen; it grows from there to the next loop, and begins anew after that, as
    soon as a car that is late must have been seen there."""
    made = out_lap()
    at = situation(made.car, made.session.clock, 201.0)
    place = made.car.lap_map.loops["1"]
    loop = at.legs[0].at(place)
    doubt = at.track.spread(place)
    assert doubt is not None
    behind, here, half, before = (at.strays(t) for t in (190.0, 200.0, (200.0 + loop) / 2, loop - 0.01))
    assert behind == here == 0
    assert half == pytest.approx(before / 2, abs=0.01)
    assert 0 < before == pytest.approx(doubt, abs=0.01)
    just_after, seen_for_sure = at.strays(loop + 0.01), at.strays(loop + doubt)
    assert just_after == pytest.approx(doubt, abs=0.05)
    assert seen_for_sure < 0.5 * doubt
    assert at.strays(at.legs[0].end_s - 0.01) < (at.track.spread(1.0) or 0.0)


def test_a_call_on_the_out_lap_waits_for_the_loop_that_tells_where_the_car_is() -> None:
    """Where a car without positions is half a minute after the pit exit nobody knows: the straight after the loop is
    surer than an earlier one."""
    made = out_lap()
    at = situation(made.car, made.session.clock, 201.0)
    loop = at.legs[0].at(made.car.lap_map.loops["1"])
    sure = Sure(at).of(((loop - 9.0, loop - 1.0), (loop + 5.0, loop + 13.0)), 1.0)
    assert sure[-1][1] - sure[-1][0] > 4
    assert len(sure) == 1 or sure[0][1] - sure[0][0] < 4


def test_a_board_hangs_a_lap_before_the_act_that_its_room_is_of() -> None:
    """The listening stretches before the act put no board off: it is ready before the pass at 425 s, the lap before."""
    made = stage(MANY[:1], medium="board")
    made.cross(355, "1")
    made.cross(395, "2")
    made.wait(397)
    calls = [call for call in made.car.book.calls.values() if call.spec.medium == "board" and "main-1-2" in call.id]
    boards = [call.spec for call in calls]
    assert boards
    assert all(spec.room is not None and spec.room.stretches for spec in boards)
    assert all(spec.say_by_s <= spec.latest_s for spec in boards)
