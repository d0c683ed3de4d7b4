"""The engine's door: what it takes, what it makes of others' cars, and how it comes back after a gap."""

from __future__ import annotations

import pytest

from pitwall.engine.session import Session
from pitwall.errors import InternalError
from pitwall.model import events as ev
from pitwall.model.outputs import LapJudged, Prompt, WakeAt
from tests.unit.engine_stage import MAIN, Stage, plan, setup

RUN = MAIN | {"items": [{"do": "hold", "on": "out", "after": "bridge"}]}


def stage() -> Stage:
    """One car under green."""
    return Stage(setup(plan(RUN), field_cars=("7",))).green()


def test_the_first_fact_is_the_preparation_and_the_only_one() -> None:
    """Anything before it, or another one after it, is a broken journal."""
    session = Session()
    prepared = ev.SessionPrepared(id="p", t=0, setup=setup())
    assert (session.standing(), session.open_wishes(), session.at_rest) == ((), (), False)
    with pytest.raises(InternalError, match="'time_reached' before session_prepared"):
        session.handle(ev.Stamped(seq=0, received_t=0, event=ev.TimeReached(id="t", t=0)))
    session.handle(ev.Stamped(seq=0, received_t=0, event=prepared))
    with pytest.raises(InternalError, match="a second session_prepared"):
        session.handle(ev.Stamped(seq=1, received_t=1, event=prepared))


def test_other_cars_are_followed_and_their_laps_judged() -> None:
    """A car without a plan: its laps are told with kind and time as believed at loops and line."""
    made = stage()
    for t, loop in ((100, "line"), (130, "1"), (170, "2"), (200, "line"), (260, "1"), (350, "line")):
        made.cross(t, loop, car="7")
    judged = [(one.at, one.loop, one.kind) for one in made.made(LapJudged)]
    assert judged == [
        ("loop", "1", "timed"), ("loop", "2", "timed"), ("line", None, "timed"), ("loop", "1", "cool"),
        ("line", None, "cool"),
    ]  # fmt: skip
    assert made.made(LapJudged)[2].lap_time_s == 100


def test_a_lap_of_ours_carries_its_run() -> None:
    """Which run a lap belonged to is told with it, the in-lap's at the pit entry."""
    made = stage()
    made.home(made.drive(200, 125, 100, 100))
    ends = [(one.run, one.kind, one.at) for one in made.made(LapJudged) if one.at != "loop"]
    timed = ("main", "timed", "line")
    assert ends == [("main", "out", "line"), timed, timed, ("main", "in", "pit")]


def test_the_next_wake_up_is_always_armed() -> None:
    """Something is always to come until the session is at rest: the clock's second at least."""
    made = stage().wait(100)
    armed = [one for one in made.session.open_wishes() if isinstance(one, WakeAt)]
    assert armed
    assert 100 < armed[0].t <= 101
    made.status(101, "closed")
    made.wait(140)
    assert made.session.at_rest
    assert not [one for one in made.session.open_wishes() if isinstance(one, WakeAt)]


def test_time_never_goes_back() -> None:
    """A fact that is stamped earlier than the one before it is taken at the later moment."""
    made = stage().wait(100)
    made.now = 50
    made.handle(ev.TimeReached(id="x", t=50))
    assert made.session.now >= 100


def test_a_restart_marks_what_fell_into_the_gap() -> None:
    """Calls whose time passed while the daemon was away are late or missed, with the gap as reason; none is due now."""
    made = stage().leave(200)
    hold = made.call("hold-0-1-0-0")
    made.wait(hold.spec.say_from_s + 1)
    until = hold.spec.say_by_s + 30
    made.now = until
    made.handle(ev.Restarted(id="r", t=until, gap_s=until - hold.spec.say_from_s - 1))
    assert hold.state == "late"
    assert "pitwall was down" in (hold.reason or "")
    assert made.prompts("hold-0-1-0-0")[-1].state == "late"


def test_a_delivery_is_noted_once() -> None:
    """What was on the wire and when: the first delivery of a call counts."""
    made = stage().leave(200).wait(225)
    prompt = made.made(Prompt)[-1]
    made.handle(ev.PromptDelivered(id="d1", t=225.5, prompt=prompt.id))
    made.handle(ev.PromptDelivered(id="d2", t=229, prompt=prompt.id))
    made.handle(ev.PromptDelivered(id="d3", t=229, prompt="41-nobody.0"))
    assert made.car.book.calls[prompt.call].delivered_t == 225.5


def test_a_delivery_has_nothing_looked_at_twice_in_one_moment(monkeypatch: pytest.MonkeyPatch) -> None:
    """It tells nothing that decides: at the moment of the prompt all was looked at already, later time has passed."""
    made = stage().leave(200).wait(225)
    prompt, looked = made.made(Prompt)[-1], list[float]()
    monkeypatch.setattr(made.session, "_advance", lambda: looked.append(made.session.now))
    assert made.handle(ev.PromptDelivered(id="d1", t=225, prompt=prompt.id)) == ()
    assert looked == []
    assert made.car.book.calls[prompt.call].delivered_t == 225
    made.now += 0.2
    made.handle(ev.PromptDelivered(id="d2", t=225.2, prompt=prompt.id))
    assert looked == [made.now]


def test_telemetry_of_a_car_that_is_not_ours_is_left_alone() -> None:
    """Other cars' switches are nobody's business here; nothing is refused."""
    made = stage()
    assert not [one for one in made.switch(10, "torque_map", 3, car="7") if one.type == "refused"]


def test_rain_is_kept() -> None:
    """Weather without a word on rain changes nothing about it."""
    made = stage()
    made.give(ev.WeatherReported(id="w1", t=10, rain=True))
    made.give(ev.WeatherReported(id="w2", t=20, air_c=21))
    assert made.session.rain


def test_a_car_long_in_the_lane_is_in_its_garage() -> None:
    """Without any sign of a garage, time says so; a stop is a stop until then."""
    made = stage()
    t = made.home(made.drive(200, 125, 100))
    made.wait(t + 70)
    before = made.car.track.state
    made.wait(t + 85)
    assert (before, made.car.track.state) == ("pit_lane", "garage")


def test_a_pit_entry_at_second_zero_is_a_moment_like_any_other() -> None:
    """A car that came in as the light went green is in its garage a while later."""
    made = Stage(setup(plan(RUN)))
    made.pit(-100, "exit")
    made.pit(0, "entry")
    made.green(1)
    made.wait(90)
    assert made.car.track.state == "garage"
