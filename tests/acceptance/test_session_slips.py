"""A key pressed by mistake is taken back while it still shows as a slip; what was truly said stays said."""

from __future__ import annotations

from tests.acceptance.script import Script, between
from tests.acceptance.script_patterns import answered, command, has, one_of, prompt, refused
from tests.acceptance.script_plans import MORE, WORK, session

BOX = "41-work-box-1-0"
OFFERED = one_of("planned", "shown", "due")


def _taken_back_after(seconds: float) -> tuple[Script, float]:
    """The car is called in on its first timed lap, the call is said, and that is taken back so much later; the script,
    ready to run, and when the car was called in."""
    play = session(WORK, MORE)
    car = play.car().leaves(60).lap(112)
    asked = car.t + 20
    play.at(asked).push(command("box", id="in-now", by="ann"))
    play.at(asked + 5).push(command("said", id="said", by="ann", call=BOX))
    play.at(asked + 5 + seconds).push(command("undo", id="back", by="ann", call=BOX))
    car.comes_in(100)
    return play, asked


def test_a_said_by_mistake_is_taken_back_and_the_call_comes_again() -> None:
    """``said`` and, three seconds later, an ``undo`` of that call by the same hand: it stands there again."""
    play, asked = _taken_back_after(3)
    play.want(answered("said", effect=has("said")), times=1)
    play.want(answered("back", effect=has("was not said: it comes again")), times=1)
    play.want(prompt(kind="box", state="withdrawn", reason=has("slip")), between(asked + 8, asked + 8.1))
    play.want(prompt(kind="box", state=OFFERED, text=has("box")), between(asked + 8, asked + 12))
    play.run(until=asked + 90)


def test_what_was_said_some_time_ago_stays_said() -> None:
    """Eleven seconds later nobody takes back what the driver has heard; the refusal says so."""
    play, asked = _taken_back_after(11)
    play.want(refused("back", reason=has("what was said was said")), times=1)
    play.never(prompt(kind="box", state="withdrawn", reason=has("slip")))
    play.run(until=asked + 90)
