"""What a hand entered wrongly and took back, or the feed corrected, has taught nothing about lap times."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pitwall.pace.believing import teach, timed_next
from pitwall.pace.lapmodel import LapModel
from pitwall.pace.runpace import FieldLaps
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


def _lessons(stage: Stage) -> list[tuple[str, float]]:
    """Whose timed laps the model of the field goes by, and when each ended."""
    return sorted((one.car, round(one.lap.end_t, 3)) for one in stage.car.track.pace.field_pace.lessons)


def _as_taught(stage: Stage) -> tuple[list[float], list[float]]:
    """What the model of the field expects of the own cars, and what one taught each lesson once would."""
    field = stage.car.track.pace.field_pace
    assert field.belief is not None
    fresh = FieldLaps(LapModel(field.reference_s, field.first))
    for lesson in field.lessons:
        teach(fresh, lesson)
    found, wanted = list[float](), list[float]()
    for name, car in stage.session.team.items():
        laps = car.track.pace.belief.laps
        found += map(float, field.belief.laps.run_ahead(name, laps, 5))
        wanted += map(float, fresh.run_ahead(name, laps, 5))
    return found, wanted


def _go(stage: Stage, *facts: tuple[float, str, str]) -> None:
    """Give the facts in order of time. ``press``, ``undo``: by hand, now; ``line 485.7``: the feed is late with it."""
    for t, car, what in sorted(facts):
        stage.wait(t)
        if what in ("press", "undo"):
            effect(stage.command("cross" if what == "press" else what, car=car))
        elif what == "exit":
            stage.leave(t, car)
        elif what.startswith("line "):
            stage.cross(float(what.split()[1]), "line", car)
        else:
            stage.cross(t, what, car)


def test_a_second_mend_keeps_what_other_cars_taught() -> None:
    """A line by hand, a slip, another car's lap; then the feed corrects the line and the slip is taken back."""
    stage = Stage(setup(plan(LONG))).green()
    own = [*_facts(CAR, 60, 125, 100, 100.4), (415.52, CAR, "1"), (455.68, CAR, "2"), (487.3, CAR, "press")]
    mends = (562.0, CAR, "press"), (565.0, CAR, "line 485.7"), (567.0, CAR, "undo")
    _go(stage, *own, *_facts(OTHER, 65, 125, 96, 96.4, 97, 84), *mends)
    driven = [(OTHER, 286.0), (CAR, 285.0), (OTHER, 382.4), (CAR, 385.4), (OTHER, 479.4), (CAR, 485.7)]
    assert _lessons(stage) == sorted([*driven, (OTHER, 563.4)])
    found, wanted = _as_taught(stage)
    assert found == pytest.approx(wanted, abs=1e-9)


def test_two_mends_further_and_further_back_are_both_taught_anew() -> None:
    """Two slips, both taken back, the later one first: neither taught anything."""
    stage = Stage(setup(plan(LONG))).green()
    slips = (460.0, CAR, "press"), (535.0, CAR, "press"), (537.0, CAR, "undo"), (538.0, CAR, "undo")
    _go(stage, *_facts(CAR, 60, 125, 100, 100.4), *_facts(OTHER, 48, 125, 96, 96.4, 92, 78.6), *slips)
    driven = [(OTHER, 269.0), (CAR, 285.0), (OTHER, 365.4), (CAR, 385.4), (OTHER, 457.4), (OTHER, 536.0)]
    assert _lessons(stage) == sorted(driven)
    found, wanted = _as_taught(stage)
    assert found == pytest.approx(wanted, abs=1e-9)


def _two_cars(*slips: tuple[float, str, str]) -> Stage:
    """Two own cars, some seconds apart, and what hands enter for them."""
    stage = Stage(setup(plan(LONG), plan(LONG, car=OTHER))).green()
    mine, other = _facts(CAR, 60, 125, 100, 100.4, 100.3, 100.1), _facts(OTHER, 67, 125, 100, 100.2, 100.4, 99.9)
    _go(stage, *mine, *other, *slips)
    return stage


@pytest.mark.parametrize("first", [CAR, OTHER])
def test_slips_of_two_own_cars_are_both_forgotten(first: str) -> None:
    """Both own cars slip at the same time, and each takes it back, whichever does so first: all that teaches is what
    they drove, once each."""
    second = OTHER if first == CAR else CAR
    presses = (460.0, CAR, "press"), (468.0, OTHER, "press")
    stage = _two_cars(*presses, (472.0, first, "undo"), (474.0, second, "undo"))
    clean = _two_cars()
    assert _lessons(stage) == _lessons(clean)
    assert len(_lessons(clean)) == 8
    found, wanted = _as_taught(stage)
    assert found == pytest.approx(wanted, abs=1e-9)


def test_after_a_mend_too_far_back_the_next_one_does_not_teach_laps_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    """The lessons since the slip are no longer all kept, so what it taught stays; a later slip is taken back without
    teaching the laps in between once more."""
    monkeypatch.setattr("pitwall.pace.field_pace.LESSONS_KEPT", 3)
    stage = Stage(setup(plan(LONG))).green()
    own = [*_facts(CAR, 60, 125, 100, 100.4), (487.3, CAR, "press")]
    others = _facts(OTHER, 48, 125, 96, 96.4, 98, 50, 50)
    mends = (562.0, CAR, "press"), (564.0, CAR, "line 485.7"), (567.0, CAR, "undo")
    _go(stage, *own, *others, *mends)
    field = stage.car.track.pace.field_pace
    numbers = [one.number for one in field.lessons]
    assert numbers == sorted(set(numbers))
    assert len(set(_lessons(stage))) == len(_lessons(stage))


def test_nobody_queues_behind_an_exit_that_was_taken_back() -> None:
    """A pit exit by hand was wrong: a car that leaves some seconds after it follows nobody."""

    def follows(*, undo: bool) -> bool:
        stage = Stage(setup(plan(LONG), plan(LONG, car=OTHER))).green().wait(60)
        effect(stage.command("pit", where="exit"))
        stage.wait(63)
        if undo:
            effect(stage.command("undo"))
        made = stage.leave(68, OTHER).session.team[OTHER].track.outlook()
        assert made is not None
        return made.said.queued is not None

    assert follows(undo=False)
    assert not follows(undo=True)
