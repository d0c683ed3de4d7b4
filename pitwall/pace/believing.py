"""Keeps one car's outlook and lap-time forecasts as its laps go by, and teaches the field from them.

The car's own state is made of values that are never changed in place, so a copy of it is a belief of its own.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

from pitwall.model.plan import LapKind
from pitwall.pace.beliefs import Awaited, CarBelief, EndedLap, FieldBelief, Lesson
from pitwall.pace.experience import Said
from pitwall.pace.outlook import LapSoFar, Outlook, look_ahead
from pitwall.pace.runpace import AHEAD, SUM_OF, USED_FROM, FieldLaps
from pitwall.pace.shapes import COOL, IN, OTHER, TIMED
from pitwall.pace.weighing import Array

KIND_NUMBERS: dict[LapKind, int] = {"timed": TIMED, "cool": COOL, "in": IN, "out": OTHER, "installation": IN}


def teach(field_laps: FieldLaps, lesson: Lesson) -> None:
    """Teach a model of lap times what this lap taught, with the forecasts as they were made then."""
    lap = lesson.lap
    timed_lap(lesson.car, lesson.belief, field_laps, lap, lap.end_t - lap.start_t)


def knot_times(labels: Sequence[str], lap: EndedLap) -> tuple[float, ...]:
    """Seconds since its beginning at each knot; NaN where it was not seen. A lap that came in has no line yet."""
    inner = tuple(lap.crossings.get(label, math.nan) - lap.start_t for label in labels)
    return (0.0, *inner, lap.end_t - lap.start_t if lap.end_phase == 1.0 else math.nan)


def filled(times: tuple[float, ...], shape: Sequence[float]) -> tuple[float, ...]:
    """The same with the missing ones put in by the usual shares of the lap."""
    whole = times[-1]
    return tuple(share * whole if math.isnan(at) else at for at, share in zip(times, shape, strict=True))


def ended(
    car: str, belief: CarBelief, field_belief: FieldBelief, lap: EndedLap, shape: Sequence[float], quick_s: float,
    told: Sequence[Said],
) -> CarBelief:
    """What the car's belief is after a lap; teaches the field.

    Args:
        car: whose.
        belief: the car's until now.
        field_belief: of all cars.
        lap: what ended.
        shape: the car's share of a lap at each knot where it has no quick lap of its own.
        quick_s: what a quick lap is expected to take where it has none.
        told: what was forecast of the line on this lap.
    """
    times = knot_times(field_belief.labels, lap)
    from_pits = lap.start_phase > 0.0
    field_belief.queue.over(car)
    experience = field_belief.from_pits if from_pits else field_belief.from_line
    reference = from_here(belief.reference(shape, quick_s), shape, lap.start_phase)
    if lap.sure:
        at = times if lap.end_phase == 1.0 else as_if_at_the_line(times, lap, reference)
        slow = [False, *(label in lap.slow_at for label in field_belief.labels), False]
        kind = (IN if lap.end_phase < 1.0 else OTHER) if from_pits else KIND_NUMBERS[lap.kind]
        experience.shapes.learn((car, lap.number), car, kind, belief.situation, lap.end_t, at, reference, slow)
    if told and lap.sure and not from_pits:
        field_belief.plans.learn(lap.word, told[-1].kinds, KIND_NUMBERS[lap.kind])
    if lap.end_phase == 1.0 and lap.sure:
        if from_pits:
            field_belief.learn_out(lap.end_t, times)
        for said in told:
            experience.learn(said, lap.end_t - said.seen_t)
    made = replace(belief, before=KIND_NUMBERS[lap.kind] if lap.kind != "installation" else OTHER)
    if from_pits and lap.end_phase == 1.0 and lap.sure:
        made = out_lap_over(made, field_belief.laps, lap, reference[-1], quick_s)
    if lap.kind == "timed" and lap.sure:
        whole = filled(times, shape)
        if all(later > earlier for earlier, later in itertools.pairwise(whole)):
            made = replace(made, quick=(*made.quick, whole)[-3:])
            field_belief.learn_quick(whole)
        made = timed_lap(car, made, field_belief.laps, lap, times[-1])
    if lap.end_phase < 1.0:
        made = came_in(car, made, field_belief.laps, lap)
    return made


def out_lap_over(
    belief: CarBelief, field_laps: FieldLaps, lap: EndedLap, reference_s: float, quick_s: float
) -> CarBelief:
    """The out-lap says what the first timed lap will be like."""
    ratio = math.log((lap.end_t - lap.start_t) / max(reference_s, 1.0))
    used = lap.tyre_age is not None and lap.tyre_age >= USED_FROM
    best = min(belief.laps.before, default=quick_s)
    said = field_laps.after_out(belief.laps, ratio, used, best, belief.first, lap.compound)
    return replace(belief, out_ratio=ratio, used=used, after_out=said)


def as_if_at_the_line(times: tuple[float, ...], lap: EndedLap, reference: Sequence[float]) -> tuple[float, ...]:
    """Where a lap that came in would have reached the line: as fast as from its last loop to the pit entry."""
    last = max((at for at in range(len(times) - 1) if not math.isnan(times[at])), default=0)
    whole = reference[-1]
    entry = whole - (1.0 - lap.end_phase) * whole / max(1.0 - lap.start_phase, 0.1)
    way, done = whole - reference[last], entry - reference[last]
    if done <= 0.02 * whole:
        return times
    return (*times[:-1], times[last] + (lap.end_t - lap.start_t - times[last]) * way / done)


def from_here(reference: tuple[float, ...], shape: Sequence[float], start_phase: float) -> tuple[float, ...]:
    """The reference times counted from where the lap began."""
    if start_phase <= 0.0:
        return reference
    begin = min(start_phase * reference[-1], 0.9 * reference[1])
    return (0.0, *(at - begin for at in reference[1:]))


def timed_lap(car: str, belief: CarBelief, field_laps: FieldLaps, lap: EndedLap, seconds: float) -> CarBelief:
    """A timed lap ended: the model learns, forecasts are judged, and new ones made."""
    since = (*belief.since, seconds)
    run = field_laps.model.timed(car, belief.laps.run, lap.end_t, seconds, lap.compound)
    if not belief.laps.this_run:
        before, turned = belief.laps.before, field_laps.turned.turned(belief.laps.run.compound, run.compound)
        if before and turned:
            field_laps.turned.learn(run.wet, before, seconds)
        if belief.first is not None and not turned:
            field_laps.learn("first", belief.first, seconds, run.mode)
        if belief.after_out is not None and not turned:
            field_laps.learn("after_out", belief.after_out, seconds)
            if before:
                field_laps.outs.append((belief.out_ratio, belief.used, math.log(seconds / min(before))))
    kept = []
    for awaited in belief.awaited:
        left = awaited.ahead - 1
        if left > 0:
            kept.append(replace(awaited, ahead=left))
        elif awaited.horizon == "sum":
            field_laps.learn("sum", awaited.forecast, sum(since[-SUM_OF:]) / SUM_OF)
        else:
            field_laps.learn(awaited.horizon, awaited.forecast, seconds)
    laps = belief.laps.lap(seconds, run)
    kept += [Awaited(name, 1 if name == "next" else SUM_OF, field_laps.inside(car, laps, name)) for name in AHEAD]
    return replace(belief, laps=laps, since=since[-SUM_OF:], awaited=tuple(kept), first=None, after_out=None)


def came_in(car: str, belief: CarBelief, field_laps: FieldLaps, lap: EndedLap) -> CarBelief:
    """The run is over: forecasts inside it lapse, the first lap of the next run is forecast."""
    laps = belief.laps.came_in()
    first = field_laps.first(car, laps, lap.end_t, lap.session_end_s, lap.compound)
    return replace(belief, laps=laps, awaited=(), since=(), before=OTHER, first=first or belief.first)


def outlook(
    car: str, belief: CarBelief, field_belief: FieldBelief, lap: LapSoFar, shape: Sequence[float], quick_s: float,
    limit_s: float,
) -> Outlook:
    """The outlook after the last crossing of a running lap."""
    from_pits = lap.start_phase > 0.0
    experience = field_belief.from_pits if from_pits else field_belief.from_line
    reference = from_here(belief.reference(shape, quick_s), shape, lap.start_phase)
    last = from_here(belief.quick[-1], shape, lap.start_phase) if belief.quick else None
    rests = field_belief.rests(lap.start_t) if from_pits else ((), ())
    timed = timed_next(belief) if not from_pits and not lap.crossings else None
    return look_ahead(
        experience, field_belief.plans, car, belief.situation, field_belief.labels, lap, reference, last, rests,
        limit_s, timed, field_belief.queue if from_pits else None,
    )


def timed_next(belief: CarBelief) -> Array | None:
    """Quantiles of the next timed lap's time; None before the car drove one."""
    if belief.laps.this_run:
        return belief.awaited[-len(AHEAD)].forecast.told
    told = belief.after_out or belief.first
    return told.told if told is not None else None
