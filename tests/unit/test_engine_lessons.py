"""What a hand entered wrongly and took back, or the feed corrected, has taught nothing about lap times."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pitwall.pace.believing import timed_next
from pitwall.pace.weighing import MIDDLE
from tests.unit.engine_stage import CAR, LOOPS, MAIN, PIT_EXIT, Stage, effect, plan, setup

LONG = MAIN | {"laps": "out, 12 timed, in"}
OTHER = "7"


def on_track() -> tuple[Stage, float]:
    """Three timed laps are done; the line was just passed."""
    stage = Stage(setup(plan(LONG))).green()
    return stage, stage.drive(60, 125, 100, 100.4, 100.2)


def expected(stage: Stage) -> list[float] | None:
    """What the next timed lap is expected to take: quantiles, and those of five laps in a row."""
    pace = stage.car.track.pace
    told, run = timed_next(pace.belief), pace.run_ahead(5)
    return None if told is None or run is None else [*map(float, told), *map(float, run)]


def driven(stage: Stage, t: float, *laps: float) -> list[list[float] | None]:
    """Drive these laps; what was expected after each."""
    found = []
    for seconds in laps:
        t = stage.lap(t, seconds)
        found.append(expected(stage))
    return found


def _taken_back_at_once(stage: Stage, t: float) -> None:
    stage.wait(t + 75)
    assert "timed lap of 1:15.0" in effect(stage.command("cross"))
    effect(stage.command("undo"))


def _taken_back_later(stage: Stage, t: float) -> None:
    stage.wait(t + 88)
    effect(stage.command("cross"))
    stage.wait(t + 97)
    effect(stage.command("undo"))


@pytest.mark.parametrize("slip", [_taken_back_at_once, _taken_back_later])
def test_a_line_that_was_taken_back_taught_nothing(slip: Callable[[Stage, float], None]) -> None:
    """The same is expected of every lap after it as if the key had never been pressed, to the last digit."""
    clean, t = on_track()
    slipped, _ = on_track()
    slip(slipped, t)
    assert driven(slipped, t, 100.3, 100.1, 100.2) == driven(clean, t, 100.3, 100.1, 100.2)


def test_without_the_slip_another_lap_would_teach_otherwise() -> None:
    """What is compared above is not the same whatever is driven."""
    one, t = on_track()
    other, _ = on_track()
    assert driven(one, t, 100.3, 100.1) != driven(other, t, 97.3, 103.1)


def test_a_line_that_the_feed_corrects_teaches_with_the_feeds_time() -> None:
    """A hand pressed 1.6 s late, then the feed's message came: the laps teach what the feed says."""
    clean, t = on_track()
    corrected, _ = on_track()
    for loop, share in (("1", 0.3), ("2", 0.7)):
        corrected.cross(t + 100.3 * share, loop)
    corrected.command("cross", t + 101.9)
    corrected.wait(t + 104)
    corrected.cross(t + 100.3)
    driven(clean, t, 100.3)
    assert expected(corrected) == pytest.approx(expected(clean), abs=1e-9)
    after, wanted = (driven(one, t + 100.3, 100.1, 99.8) for one in (corrected, clean))
    for one, other in zip(after, wanted, strict=True):
        assert one == pytest.approx(other, abs=1e-9)


def _facts(car: str, begin: float, *laps: float) -> list[tuple[float, str, str]]:
    """When a car leaves the pits and passes loops and line: out-lap, then the laps."""
    found, t = [(begin, car, "exit")], begin
    for at, seconds in enumerate(laps):
        start = PIT_EXIT if at == 0 else 0.0
        found += [(t + seconds * (share - start) / (1 - start), car, loop) for loop, share in LOOPS.items()]
        t += seconds
        found.append((t, car, "line"))
    return found


def test_what_other_cars_taught_meanwhile_stays() -> None:
    """Another car ends timed laps before the slip, between the press and its taking back, and after: they teach as
    they would have without it."""

    def told(*slip: tuple[float, str, str]) -> list[list[float] | None]:
        stage, found = Stage(setup(plan(LONG))).green(), []
        own, other = _facts(CAR, 60, 125, 100, 100.4, 100.2, 100.3), _facts(OTHER, 65, 125, 96, 96.4, 98, 99, 96.2)
        for t, car, what in sorted([*own, *other, *slip]):
            stage.wait(t)
            if what in ("cross", "undo"):
                effect(stage.command(what))
            elif what == "exit":
                stage.leave(t, car)
            else:
                stage.cross(t, what, car)
                found += [expected(stage)] if what == "line" and t > 485 else []
        return found

    line = 60 + 125 + 100 + 100.4
    ends = [t for t, _, what in _facts(OTHER, 65, 125, 96, 96.4, 98, 99, 96.2) if what == "line"]
    press, back = line + 93, line + 97
    assert any(press < t < back for t in ends)
    with_slip = told((press, "", "cross"), (back, "", "undo"))
    clean = told()
    assert len(clean) == 4
    assert with_slip[:2] == clean[:2]
    # What the other car was told between the press and its taking back was told: it is judged by that once.
    for one, other in zip(with_slip[2:], clean[2:], strict=True):
        assert one is not None
        assert other is not None
        assert one[MIDDLE] == pytest.approx(other[MIDDLE], abs=0.05)
