"""A key pressed by mistake is taken back while it still shows as a slip; what was truly said stays said."""

from __future__ import annotations

from tests.acceptance.script import between
from tests.acceptance.script_patterns import answered, command, has, one_of, prompt, refused
from tests.acceptance.script_plans import MORE, WORK, session

BOX = "41-work-box-1-0"
OFFERED = one_of("planned", "shown", "due")


def test_a_said_by_mistake_is_taken_back_and_the_call_comes_again() -> None:
    """``said`` and, three seconds later, an ``undo`` of that call by the same hand: it stands there again."""
    play = session(WORK, MORE)
    car = play.car().leaves(60).lap(112)
    asked = car.t + 20
    play.at(asked).push(command("box", id="in-now", by="ann"))
    play.at(asked + 5).push(command("said", id="slip", by="ann", call=BOX))
    play.at(asked + 8).push(command("undo", id="back", by="ann", call=BOX))
    car.comes_in(100)
    play.want(answered("slip", effect=has("said")), times=1)
    play.want(answered("back", effect=has("was not said: it comes again")), times=1)
    play.want(prompt(kind="box", state="withdrawn", reason=has("slip")), between(asked + 8, asked + 8.1))
    play.want(prompt(kind="box", state=OFFERED, text=has("box")), between(asked + 8, asked + 12))
    play.run(until=car.t + 2)


def test_what_was_said_some_time_ago_stays_said() -> None:
    """Ten seconds later nobody takes back what the driver has heard; the refusal says so."""
    play = session(WORK, MORE)
    car = play.car().leaves(60).lap(112)
    asked = car.t + 20
    play.at(asked).push(command("box", id="in-now", by="ann"))
    play.at(asked + 5).push(command("said", id="told", by="ann", call=BOX))
    play.at(asked + 16).push(command("undo", id="back", by="ann", call=BOX))
    car.comes_in(100)
    play.want(refused("back", reason=has("what was said was said")), times=1)
    play.never(prompt(kind="box", state="withdrawn", reason=has("slip")))
    play.run(until=car.t + 2)
