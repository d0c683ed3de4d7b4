"""Questions for advice, made up by a test: runs in a few words, and random small plans."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

from pitwall.model.advice import AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity, CarSnapshot, ForecastSnapshot
from pitwall.model.rules import Interruptions

CALM = Interruptions(red_per_hour=0.0, red_length_s=(220, 370, 610), slow_per_hour=0.0, slow_length_s=(60, 120, 300))
LIVELY = Interruptions(red_per_hour=1.5, red_length_s=(220, 370, 610), slow_per_hour=1.5, slow_length_s=(60, 120, 300))


def piece(kind: str, seconds: float, spread: float = 0.0, run: str | None = None) -> Activity:
    """One activity about so long."""
    return Activity(run=run, kind=kind, low_s=seconds * (1 - spread), likely_s=seconds,  # type: ignore[arg-type]
                    high_s=seconds * (1 + 2 * spread))


def choice(
    run: str, laps: str, *, car: str = "41", want: str = "should", value: float = 1.0, lap_s: float = 90.0,
    work_s: float = 300.0, spread: float = 0.0, fewest: int | None = None, **rest: Any,
) -> RunChoice:
    """A run from its laps, such as ``out 3 in`` or ``out 2 cool 1 in`` or ``item``: a number is so many timed laps."""
    found: list[Activity] = []
    factor = {"out": 1.2, "cool": 1.4, "in": 1.2, "item": 1.0}
    for word in laps.split():
        if word.isdigit():
            found += [piece("timed", lap_s, spread / 3, run) for _ in range(int(word))]
        else:
            found.append(piece(word, lap_s * factor[word], spread, run))
    timed = sum(one.kind == "timed" for one in found)
    return RunChoice(
        run=run, car=car, want=want, value=value, activities=tuple(found),  # type: ignore[arg-type]
        work=piece("garage", work_s, spread, None), timed=timed + rest.get("done", 0),
        fewest=timed + rest.get("done", 0) if fewest is None else fewest, **rest,
    )


def question(
    choices: Sequence[RunChoice], left_s: float, *, t: float = 600.0, status: str = "green", futures: int = 50,
    confidence: float = 0.9, seed: int = 1, interruptions: Interruptions = CALM, started: bool = True,
    restart_s: tuple[float, ...] = (), lead: dict[str, tuple[Activity, ...]] | None = None, red_clock: str = "runs",
    windows: tuple[tuple[float, float], ...] = (), bound: dict[str, int] | None = None,
) -> AdviceQuestion:
    """A question about these runs with so many seconds left."""
    cars = []
    for car in dict.fromkeys(one.car for one in choices):
        own = [one for one in choices if one.car == car]
        activities: list[Activity] = list((lead or {}).get(car, ()))
        for one in own:
            activities += one.activities + ((one.work,) if one.work is not None else ())
        cars.append(CarSnapshot(
            car=car, from_s=t, on_track=any(one.under_way for one in own), activities=tuple(activities),
            wants={one.run: one.want for one in own}, windows=bound or {},
        ))
    snapshot = ForecastSnapshot(
        t=t, remaining_s=left_s, clock_running=True, status=status, red_clock=red_clock,  # type: ignore[arg-type]
        finish_started_lap=started, interruptions=interruptions, futures=futures, confidence=confidence,
        cars=tuple(cars), windows=windows,
    )
    return AdviceQuestion(snapshot=snapshot, choices=tuple(choices), confidence=confidence, futures=futures, seed=seed,
                          restart_s=restart_s)


def random_question(seed: int, *, certain: bool, cars: int | None = None, bare: bool = False) -> AdviceQuestion:
    """A small plan with constraints of every kind. ``certain``: whole seconds, nothing interrupts. ``bare``: one car,
    and only the constraints that a solver of whole numbers can be told of in a few lines."""
    rng = random.Random(seed)
    count = cars or (1 if bare else rng.choice((1, 1, 2)))
    choices: list[RunChoice] = []
    for car in ("41", "58", "63")[:count]:
        runs = rng.randint(2, 4) if count == 1 else rng.randint(2, 2) if count == 2 else rng.randint(1, 2)
        names = [f"{letter}{car}" for letter in "abcd"[:runs]]
        choices += [_random_run(rng, names, place, car, count, certain, bare) for place in range(runs)]
    left = float(rng.choice((400, 700, 1000, 1400, 1900)))
    return question(
        choices, left, confidence=rng.choice((0.6, 0.8, 0.9)), seed=seed, started=rng.random() < 0.7,
        interruptions=CALM if certain else LIVELY,
        status="green" if certain else rng.choice(("green", "green", "slow")),
        red_clock=rng.choice(("runs", "stops")),
    )


def in_windows(asked: AdviceQuestion) -> AdviceQuestion:
    """The same in two windows with a break between; a third of the runs belong to one of them, but none that may follow
    another without a stop: those two would belong to the same."""
    rng, snapshot = random.Random(asked.seed), asked.snapshot
    follow = {name for one in asked.choices if one.merges_with for name in (one.run, *one.merges_with)}
    first = snapshot.t + round(snapshot.remaining_s * rng.choice((0.3, 0.5, 0.7)))
    second = first + 600.0
    cars = tuple(car.model_copy(update={"windows": {
        one.run: rng.choice((0, 1)) for one in asked.choices
        if one.car == car.car and one.run not in follow and rng.random() < 0.35
    }}) for car in snapshot.cars)
    windows = ((0.0, first), (second, second + snapshot.remaining_s - (first - snapshot.t)))
    return asked.model_copy(update={"snapshot": snapshot.model_copy(update={
        "windows": windows, "remaining_s": first - snapshot.t, "cars": cars,
    })})


def _random_run(
    rng: random.Random, names: list[str], place: int, car: str, cars: int, certain: bool, bare: bool
) -> RunChoice:
    rest: dict[str, Any] = {}
    later, earlier = names[place + 1 :], names[:place]
    if later and rng.random() < 0.25:
        rest["before"] = (rng.choice(later),)
    if earlier and rng.random() < 0.15:
        rest["same_as"] = earlier[-1]
    if rng.random() < 0.3:
        rest["group"] = "a-b"
    if rng.random() < 0.2:
        rest["not_before_s"] = 600.0 + rng.choice((100, 400))
    if rng.random() < 0.15:
        rest["not_after_s"] = 600.0 + rng.choice((200, 700))
    if place and rng.random() < 0.2:
        rest["ready_s"] = 600.0 + 240
    if not bare:
        if rng.random() < 0.3:
            rest |= {"tyres": "B1", "tyre_laps_left": rng.choice((7, 12))}
        if earlier and rng.random() < 0.2:
            rest["merges_with"] = tuple(earlier)
        if cars > 1 and not rest.keys() & {"before", "same_as", "group"} and rng.random() < 0.3:
            rest["also_on"] = tuple(sorted({"41", "58"} - {car}))
        if earlier and rng.random() < 0.1:
            rest["equal_age_with"] = earlier[-1]
    timed = rng.randint(1, 3)
    laps = rng.choice((f"out {timed} in", f"out {timed} in", f"out 1 cool {timed} in", "out in", "item"))
    whole = sum(int(word) for word in laps.split() if word.isdigit())
    return choice(
        names[place], laps, car=car, want=rng.choice(("must", "should", "should", "could")),
        value=float(rng.choice((1, 1, 2, 3))), lap_s=float(rng.choice((60, 80, 100))),
        work_s=float(rng.choice((60, 180, 300))), spread=0.0 if certain else 0.1,
        fewest=max(1, whole - rng.randint(0, 2)) if whole else 0, **rest,
    )
