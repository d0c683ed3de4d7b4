"""Keeps one car's outlook and lap-time forecasts as its laps go by, and teaches the field from them.

The car's own state is made of values that are never changed in place, so a copy of it is a belief of its own.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from statistics import median

from pitwall.model.plan import LapKind
from pitwall.pace.outlook import Experience, LapSoFar, Outlook, Said, look_ahead
from pitwall.pace.planned import PlanRecord, PlanWord
from pitwall.pace.queueing import OutLapQueue
from pitwall.pace.runpace import AHEAD, SUM_OF, USED_FROM, DrivenLaps, FieldLaps, Forecast
from pitwall.pace.shapes import COOL, IN, OTHER, TIMED
from pitwall.pace.weighing import Array, weighted_median

KIND_NUMBERS: dict[LapKind, int] = {"timed": TIMED, "cool": COOL, "in": IN, "out": OTHER, "installation": IN}
USUAL_OF, OUT_LAPS, LATELY_S = 20, 40, 400.0


@dataclass(frozen=True)
class EndedLap:
    """A lap that is over. Times in seconds of the session; ``end_phase`` is 1 at the line, else the pit entry."""

    number: int
    kind: LapKind
    start_t: float
    start_phase: float
    crossings: dict[str, float]
    end_t: float
    end_phase: float
    sure: bool
    slow_at: tuple[str, ...] = ()
    tyre_age: int | None = None
    compound: str = ""
    session_end_s: float = math.inf
    word: PlanWord = "none"


@dataclass
class FieldBelief:
    """What all cars taught. ``labels``: the loops between line and line, in order."""

    labels: tuple[str, ...]
    from_line: Experience = field(init=False)
    from_pits: Experience = field(init=False)
    laps: FieldLaps = field(default_factory=FieldLaps)
    plans: PlanRecord = field(default_factory=PlanRecord)
    queue: OutLapQueue = field(default_factory=OutLapQueue)
    quick: tuple[tuple[float, ...], ...] = ()
    out_laps: tuple[tuple[float, tuple[float, ...]], ...] = ()
    _rests: tuple[float | None, ...] | None = None
    _shape: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        self.from_line = Experience(len(self.labels), False)
        self.from_pits = Experience(len(self.labels), True)

    def usual_shape(self) -> tuple[float, ...] | None:
        """Shares of a quick lap at each knot: medians over the field's last ones; None before the first."""
        if self._shape is None and self.quick:
            knots = range(len(self.labels) + 2)
            self._shape = tuple(median(lap[at] / lap[-1] for lap in self.quick) for at in knots)
        return self._shape

    def learn_quick(self, times: tuple[float, ...]) -> None:
        """Take the times at the knots of a timed lap."""
        self.quick = (*self.quick, times)[-USUAL_OF:]
        self._shape = None

    def learn_out(self, t: float, times: tuple[float, ...]) -> None:
        """Take the times at the knots of an out-lap that ended at ``t``; NaN where it was not seen."""
        self.out_laps = (*self.out_laps, (t, times))[-OUT_LAPS:]
        self._rests = None

    def rests(self, t: float) -> tuple[tuple[float | None, ...], tuple[float | None, ...]]:
        """What the field's out-laps needed from each knot to the line, seconds: medians of all and of the latest."""
        knots = range(len(self.labels) + 1)
        if self._rests is None:
            seconds = [[value for _, value in self._known(at)] for at in knots]
            self._rests = tuple(median(values) if values else None for values in seconds)
        lately: list[float | None] = []
        for at in knots:
            known = self._known(at)
            weights = [math.exp((when - t) / LATELY_S) + 1e-9 for when, _ in known]
            lately.append(weighted_median([value for _, value in known], weights) if known else None)
        return self._rests, tuple(lately)

    def _known(self, at: int) -> list[tuple[float, float]]:
        return [(when, lap[-1] - lap[at]) for when, lap in self.out_laps if not math.isnan(lap[at])]


@dataclass(frozen=True)
class Awaited:
    """Lap-time forecasts that wait for their lap: horizon, how many timed laps ahead, when issued, the forecast."""

    horizon: str
    ahead: int
    forecast: Forecast


@dataclass(frozen=True)
class CarBelief:
    """One car's part: its last quick laps, the lap before, its timed laps by run, and what it waits for.

    ``quick`` has the seconds at each knot of its last three timed laps.
    """

    quick: tuple[tuple[float, ...], ...] = ()
    before: int = OTHER
    laps: DrivenLaps = field(default_factory=DrivenLaps)
    awaited: tuple[Awaited, ...] = ()
    since: tuple[float, ...] = ()
    first: Forecast | None = None
    out_ratio: float = math.nan
    used: bool = False
    after_out: Forecast | None = None

    @property
    def situation(self) -> int:
        """What kind of lap was before, and how many timed laps the run has: 0, 1, 2, 3 or more."""
        return self.before + 4 * min(len(self.laps.this_run), 3)

    def reference(self, shape: Sequence[float], quick_s: float) -> tuple[float, ...]:
        """Usual seconds at each knot: medians of its last quick laps, stretch by stretch; else the field's shape."""
        if not self.quick:
            return tuple(share * quick_s for share in shape)
        if len(self.quick) == 1:
            return self.quick[0]
        total, made = 0.0, [0.0]
        for at in range(1, len(self.quick[0])):
            total += median(lap[at] - lap[at - 1] for lap in self.quick)
            made.append(total)
        return tuple(made)


@dataclass(frozen=True)
class Lesson:
    """A timed lap that all cars learned from: whose, and the car's belief before it. ``number`` counts on for ever."""

    number: int
    car: str
    belief: CarBelief
    lap: EndedLap


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
