"""When the rehearsed driver can listen: physics by hand, the way as driven, and what is lost."""

from __future__ import annotations

import math
from typing import Any

import pytest

from pitwall.rehearsal.draws import Streams
from pitwall.rehearsal.ground import Ground, lay_ground
from pitwall.rehearsal.listening import Ears, Listening
from pitwall.rehearsal.motion import Steady
from pitwall.rehearsal.scenario import PaceOfWorld
from tests.unit.rehearsal_stage import CAR, ROOT, Stage, scenario, setup

PLAIN = PaceOfWorld.model_validate({"lap": 0, "grip": 0, "power": 0, "pit": 0})
EARS = Ears(aside_mps2=10.0, slowing_mps2=1.5, needs=0.75, deaf=True)
LIMIT = 10.0


def ground() -> Ground:
    """The demo circuit in a world without differences."""
    made = setup()
    return lay_ground(made.circuit, made.cars[CAR], 80.0, PLAIN, Streams(1).stream("ground"))


class Car:
    """As much of a car as listening needs: the way that it went."""

    def __init__(self) -> None:
        self.way: list[Steady] | None = None


def listening(lap_s: float | None, bend: float = 0.0) -> tuple[Listening, Ground]:
    """A car that has been on one steady lap from second 0."""
    laid, car = ground(), Car()
    ears: Any = Listening(car, laid, EARS)  # type: ignore[arg-type]  # as much of a car as it needs
    assert car.way is not None
    car.way.append(Steady(0.0, 0.0, lap_s or laid.lap_s, bend))
    return ears, laid


def test_loads_are_those_of_a_point_mass() -> None:
    """In the middle of a turn at the grip limit m v^2 / R = grip (m g + 0.5 rho A v^2), solved by hand for turn 4."""
    laid, car = ground(), setup().cars[CAR]
    assert laid.strain is not None
    mass, lift = car.mass_kg + 30.0, 0.5 * 1.2 * car.downforce_area_m2
    v2 = car.grip * mass * 9.81 / (mass / 34.0 - car.grip * lift)
    at = laid.phase_of("turn 4"), laid.phase_of("after turn 4")
    assert at[0] is not None
    assert at[1] is not None
    middle = 0.5 * (laid.strain.phase[:-1] + laid.strain.phase[1:])
    inside = [aside for phase, aside in zip(middle, laid.strain.aside_mps2, strict=True) if at[0] < phase < at[1]]
    assert min(inside) == pytest.approx(v2 / 34.0, rel=0.02)


def test_no_ears_in_corners_and_under_braking() -> None:
    """On a quick lap: deaf in turn 4 and while braking for turn 5, all ears on the long straight between."""
    ears, laid = listening(None)
    lap = laid.lap_s
    turn, out, five = (laid.phase_of(place) for place in ("turn 4", "after turn 4", "turn 5"))
    assert turn
    assert out
    assert five
    assert ears.share(turn * lap + 0.1, out * lap - 0.1) == 0.0
    assert ears.share(out * lap + 0.5, out * lap + 6.0) == 1.0
    assert ears.share(five * lap - 0.8, five * lap) == 0.0
    assert ears.takes_in(out * lap + 0.5, out * lap + 5.0)
    assert not ears.takes_in(five * lap - 0.8, five * lap + 3.0)


def test_a_slower_lap_strains_less_by_the_square() -> None:
    """At half the pace every load is a quarter: what was 40 m/s^2 in a fast turn is within the limit of 10."""
    laid = ground()
    assert laid.strain is not None
    most = float(laid.strain.aside_mps2.max())
    easy = math.sqrt(max(most, 10.0 * float(laid.strain.slowing_mps2.max()) / EARS.slowing_mps2) / LIMIT) + 0.01
    ears, _ = listening(easy * laid.lap_s)
    assert ears.share(0.0, easy * laid.lap_s) == 1.0
    quick, _ = listening(None)
    assert 0.35 < (quick.share(0.0, laid.lap_s) or 0.0) < 0.7


def test_a_bent_lap_moves_the_places_in_time() -> None:
    """A lap whose first part takes longer reaches the end of turn 4 later, and the ears with it."""
    straight, laid = listening(None)
    bent, _ = listening(None, bend=0.1)
    out = laid.phase_of("after turn 4")
    assert out is not None
    at = out * laid.lap_s
    later = 0.1 * out * (1 - out) * laid.lap_s
    assert straight.share(at + 0.3, at + later - 0.3) == 1.0
    assert bent.share(at + 0.3, at + later - 0.3) == 0.0


def test_the_way_of_a_whole_session_is_written_down() -> None:
    """Garage and pit lane are calm; on a timed lap the driver can listen for about half of the time."""
    truth = _driven().truth
    lap = next(lap for lap in truth.laps if lap.kind == "timed")
    out = next(lap for lap in truth.laps if lap.kind == "out")
    inside = sum(min(end, lap.end_s) - max(begin, lap.start_s) for begin, end in truth.listening
                 if end > lap.start_s and begin < lap.end_s)
    assert 0.35 < inside / lap.time_s < 0.7
    assert truth.listening[0][1] > out.start_s
    assert [chance.lap for chance in truth.chances][:2] == [1, 2]


def _driven(**changes: Any) -> Stage:
    stage = Stage(scenario(**changes))
    stage.release(10)
    return stage.run(until=400)


def test_on_a_timing_only_circuit_nothing_is_known() -> None:
    """Without geometry there is no truth about ears, and nothing is lost."""
    import yaml

    circuit = yaml.safe_load((ROOT / "config" / "circuit_timing_only.yaml").read_text())
    stage = Stage(scenario(hearing={"deaf": True}), setup(circuit=circuit))
    stage.release(10)
    stage.on_line(1, lambda t: stage.prompt("box-1", "box", t))
    truth = stage.run(until=400).truth
    assert truth.listening is None
    assert [call.calm for call in truth.calls if call.call == "box-1"] == [None]
    assert any(box.call == "box-1" for box in truth.boxes)


def test_what_falls_into_a_corner_is_lost_and_asked_for_again() -> None:
    """A box call on the brakes for turn 1 is not understood: the driver asks for it, and it is said once more."""
    stage = Stage(scenario(hearing={"deaf": True, "aside_mps2": [10, 10, 10], "slowing_mps2": [1, 1, 1]}))
    stage.release(10)
    stage.on_line(1, lambda t: stage.prompt("box-1", "box", t, wait=5.2, act_at_s=t + 80.0))
    truth = stage.run(until=400).truth
    calls = [call for call in truth.calls if call.call == "box-1"]
    assert [call.repeat for call in calls] == [False, True]
    assert (calls[0].calm or 0.0) < 0.75
    assert "lost" in calls[0].outcome
    asked = [voice for voice in truth.voices if voice.who == "driver" and voice.about == "box-1"]
    assert asked[0].end_s - asked[0].start_s == pytest.approx(0.8)


def test_unless_the_scenario_says_so_nothing_is_lost() -> None:
    """Written down, and heard all the same: rehearsals without this rule stay as they were."""
    stage = Stage(scenario())
    stage.release(10)
    stage.on_line(1, lambda t: stage.prompt("box-1", "box", t, wait=5.2))
    (call,) = [call for call in stage.run(until=400).truth.calls if call.call == "box-1"]
    assert (call.calm or 0.0) < 0.75
    assert call.outcome == "comes in"


def test_a_driver_who_insists_talks_on_a_lap_that_became_an_in_lap() -> None:
    """Called in early on a lap that began as a timed one, a talkative driver talks on the way in."""
    spoke = []
    for insists in (False, True):
        stage = Stage(scenario(talks={"timed": 0, "out": 0, "other": 0.4, "insists": insists}))
        stage.release(10)
        stage.on_line(2, lambda t, stage=stage: stage.prompt("box-1", "box", t))  # type: ignore[misc]
        truth = stage.run(until=500).truth
        unasked = [voice for voice in truth.voices if voice.who == "driver" and not voice.about]
        spoke.append(sum(voice.end_s - voice.start_s for voice in unasked))
    assert spoke[0] == 0.0
    assert spoke[1] > 5.0
