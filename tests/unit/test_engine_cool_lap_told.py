"""A driver hears that the lap just begun is a cool-down lap where he listens, and before the switches of that lap."""

from __future__ import annotations

from typing import Any

from pitwall.engine.call import Call
from pitwall.engine.rules.procedure import KNOWN_BY_S
from pitwall.radio.pending import Spans
from tests.unit.engine_stage import MAIN, PROCEDURES, SWITCHES, Stage, car_file, plan, setup, shipped
from tests.unit.test_engine_channel_laps import STRAIGHTS, heard_circuit

NAME = "cool_down_lap"
PROCEDURE = shipped().procedures[NAME]
ON_COOL: list[dict[str, Any]] = [one | {"defaults": [*one.get("defaults", ()), {"position": other, "lap": "cool"}]}
                                 for one, other in zip(SWITCHES[:3], (1, 56, "open"), strict=True)]


def on_the_cool_lap(switches: list[dict[str, Any]], straights: Spans = STRAIGHTS) -> tuple[Stage, float, Call]:
    """The cool-down lap has begun two seconds ago; its beginning, and the call of its item."""
    run = MAIN | {"laps": "out, 1 timed, cool, 1 timed, in", "items": [{"do": NAME, "on": "cool"}]}
    cars = {"41": car_file(switches=switches, forbidden_on_timed=[])}
    library = PROCEDURES | {NAME: PROCEDURE}
    made = Stage(setup(plan(run), circuit=heard_circuit(straights), cars=cars, procedures=library)).green()
    t = made.drive(200, 125, 100)
    made.wait(t + 2)
    (call,) = [one for one in made.car.book.asking("procedure") if one.spec.ask.lap_kind == "cool"]
    return made, t, call


def on_a_straight(made: Stage, call: Call) -> bool:
    """Whether the whole call, begun at any moment of its window, falls into a stretch on which the driver listens."""
    lap, (begin, by) = made.car.legs[0], (call.spec.say_from_s, call.spec.say_by_s)
    spans = [(lap.at(first), lap.at(last)) for first, last in STRAIGHTS]
    return any(first <= begin and by + call.spec.spoken_s <= last + 0.1 for first, last in spans)


def test_the_words_of_a_cool_down_lap_are_said_on_a_straight() -> None:
    """An item that says itself that its lap is a cool-down lap is no more said in the first corner than the plain word
    is: a driver who cannot listen there drives on at the pace (braking and corners: common practice, no source)."""
    made, t, call = on_the_cool_lap(SWITCHES[:1])
    assert call.spec.room is not None
    assert on_a_straight(made, call)
    assert call.spec.say_by_s <= t + KNOWN_BY_S + 1.0


def test_where_no_straight_comes_in_time_the_word_is_said_all_the_same() -> None:
    """Half heard in a corner it may be heard; held back it is not, and the driver does not know that he is to slow
    down until the lap is half behind him."""
    made, t, call = on_the_cool_lap(SWITCHES[:1], ((0.28, 0.4), (0.6, 0.75)))
    made.wait(t + 12)
    assert (call.state, call.spec.against) == ("due", None)
    assert call.spec.way in ("outside", "outside_short")


def test_the_switches_of_that_lap_do_not_push_its_word_out() -> None:
    """Three switches are to be set for the lap, each a must-say call. Of use they are only to a driver who knows what
    lap it is: his word keeps its place, and they follow on the straights behind."""
    made, _, call = on_the_cool_lap(ON_COOL)
    assert call.spec.against is None
    assert on_a_straight(made, call)
    switches = [one for one in made.car.book.asking("set_switch") if one.open and one.spec.lap == "cool-down lap 1"]
    assert len(switches) == 3
    assert min(one.spec.say_from_s for one in switches) > call.spec.say_from_s
