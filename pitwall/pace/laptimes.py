"""What a car's next laps will take, and when it reaches a place: learned shares and ratios, plain and robust.

A lap of kind K is expected to take ``quick * ratio[K]``, where *quick* is the median of the car's last three timed
laps (the field's, scaled by nothing, until the car has one; the circuit's reference lap before that) and the ratio is
the running median of what this car, else the field, needed for such laps (``field_pace``).

Within a lap, the share of the lap time at each loop is the median over the car's timed laps, starting from the lap
map; between loops it is interpolated along the map. The rest of the lap is scaled by the lap so far.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from statistics import median

from pitwall.model.plan import LapKind
from pitwall.pace.beliefs import CarBelief, EndedLap, FieldBelief
from pitwall.pace.believing import ended, outlook
from pitwall.pace.experience import Said
from pitwall.pace.field_pace import FieldPace, KindRatios
from pitwall.pace.kept import Bend, Spans
from pitwall.pace.outlook import LapSoFar, Outlook
from pitwall.pace.quickest import Quickest, QuickLaps
from pitwall.pace.runpace import FieldLaps
from pitwall.pace.turned import FOR_A_WET_TRACK
from pitwall.pace.weighing import Array

QUICK_MEMORY = 3
BEST_WINDOW_S = 1200.0
FIELD_ALLOWANCE = 1.04
SEASONED = 25
MOST_WEIGHED = 6
TIMED_AT_MOST, FIRST_TIMED_AT_MOST, FIRST_TIMED_IN_THE_WET = 1.12, 1.25, 1.5
SCALE_BOUNDS = (0.85, 2.5)
SECTORS = 3


def weighed_at(loops: Mapping[str, float]) -> tuple[str, ...]:
    """The loops between line and line at which a lap is compared with those driven before, in order along it.

    All of them on a usual circuit. Of many short stretches (more than ``MOST_WEIGHED`` loops) two are taken, those next
    to a third and two thirds of the lap: the stretches within a sector say no more of the rest of a lap than the sector
    as a whole (measured), and the others only show where the car is.
    """
    inner = sorted((at, loop) for loop, at in loops.items() if 0.0 < at < 1.0)
    if len(inner) > MOST_WEIGHED:
        inner = sorted({min(inner, key=lambda one: abs(one[0] - share)) for share in (1 / 3, 2 / 3)})
    return tuple(loop for _, loop in inner)


@dataclass
class CarPace:
    """One car's pace: quick laps, ratios, and its share of the lap at each loop (0..1 of the lap time)."""

    loops: dict[str, float]
    field_pace: FieldPace
    quick: QuickLaps = field(default_factory=lambda: deque(maxlen=60))
    ratios: KindRatios = field(default_factory=KindRatios)
    shares: dict[str, deque[float]] = field(default_factory=dict)
    best_s: float | None = None
    car: str = ""
    belief: CarBelief = field(default_factory=CarBelief)
    said: tuple[Said, ...] = ()
    said_of: float = math.nan
    _outlook: tuple[tuple[object, ...], Outlook] | None = None
    _bend: Bend | None = None
    _labels: tuple[str, ...] | None = None
    _quickest: Quickest | None = None
    _median: tuple[QuickLaps, float] | None = None

    def quick_s(self) -> float:
        """The lap time that a timed lap of this car is expected to take, seconds."""
        laps = self.quick
        if not laps:
            return self.field_pace.usual()
        if self._median is None or self._median[0] is not laps:
            # Asked dozens of times with a fact: kept until a lap is learned, or a hand leaves another list.
            self._median = laps, median([laps[-ago][1] for ago in range(1, min(QUICK_MEMORY, len(laps)) + 1)])
        return self._median[1]

    def reference(self, t: float) -> float | None:
        """What counts as quick now: the car's best within 20 min, or 1.04 times the field's within 10."""
        if self._quickest is None or self._quickest.of is not self.quick:
            self._quickest = Quickest(self.quick)
        mine = self._quickest.between(t - BEST_WINDOW_S, math.inf)
        others = self.field_pace.best(t)
        known = [value for value in (mine, others * FIELD_ALLOWANCE if others else None) if value is not None]
        return min(known, default=None)

    def lap_s(self, kind: LapKind) -> float:
        """Expected time of a whole lap of this kind, seconds."""
        return self.quick_s() * self.ratios.ratio(kind, self.field_pace.ratios)

    def share(self, loop: str) -> float:
        """Share of a timed lap's time at a loop."""
        seen = self.shares.get(loop)
        return median(seen) if seen and len(seen) >= 2 else self.loops[loop]

    def learn_lap(self, kind: LapKind, lap_time_s: float, end_t: float, at_loops: dict[str, float]) -> None:
        """Take a finished lap. ``at_loops``: seconds from the start of the lap, by loop label."""
        if kind == "timed":
            self.quick.append((end_t, lap_time_s))
            self._median = None
            if self._quickest is not None and self._quickest.of is self.quick:
                self._quickest.learned(end_t, lap_time_s)
            self.field_pace.learn(end_t, lap_time_s)
            self.best_s = lap_time_s if self.best_s is None else min(self.best_s, lap_time_s)
            for loop, seconds in at_loops.items():
                if loop in self.loops and 0 < seconds < lap_time_s:
                    self.shares.setdefault(loop, deque(maxlen=9)).append(seconds / lap_time_s)
            self._bend = None
            return
        if self.quick or self.field_pace.quick:
            ratio = lap_time_s / self.quick_s()
            self.ratios.learn(kind, ratio)
            self.field_pace.ratios.learn(kind, ratio)

    @property
    def labels(self) -> tuple[str, ...]:
        """The loops between line and line at which a lap is weighed, in order along it: see ``weighed_at``."""
        if self._labels is None:
            self._labels = weighed_at(self.loops)
        return self._labels

    def limit_s(self, t: float, compound: str = "") -> float:
        """A complete lap that ends at ``t`` and takes longer is no timed lap. ``compound``: what is on, where known."""
        reference = self.reference(t)
        if reference is None:
            first = FIRST_TIMED_IN_THE_WET if compound in FOR_A_WET_TRACK else FIRST_TIMED_AT_MOST
            return first * self.field_pace.reference_s
        return TIMED_AT_MOST * reference

    def usual_times(self) -> tuple[float, ...]:
        """Usual seconds of a quick lap at its beginning, at each of ``labels`` and at the line."""
        return self.belief.reference(self._shape(self.field_pace.believing(self.labels)), self.quick_s())

    def lap_ahead(self, ahead: int) -> Array | None:
        """Quantiles (``weighing.LEVELS``) of the n-th timed lap from now of the run that is on, seconds.

        None while the run has no timed lap.
        """
        laps = self.belief.laps
        return self._laps().lap_ahead(self.car, laps, ahead) if laps.this_run else None

    def run_ahead(self, count: int) -> Array | None:
        """Quantiles of the time of so many timed laps of this run in a row, seconds; None while it has none yet."""
        laps = self.belief.laps
        return self._laps().run_ahead(self.car, laps, count) if laps.this_run else None

    def first_of_run(self) -> Array | None:
        """Quantiles of the first timed lap of the run to come, or that began without one yet; None where unknown."""
        said = self.belief.after_out or self.belief.first
        return said.told if said is not None else None

    def _laps(self) -> FieldLaps:
        return self.field_pace.believing(self.labels).laps

    def lap_over(self, lap: EndedLap) -> None:
        """Take any lap that is over, however it went, before ``learn_lap`` takes it for the plain figures."""
        field_belief = self.field_pace.believing(self.labels)
        shape, told = self._shape(field_belief), self.said if self.said_of == lap.start_t else ()
        before = self.belief
        self.belief = ended(self.car, before, field_belief, lap, shape, self.quick_s(), told)
        if lap.kind == "timed" and lap.sure:
            self.field_pace.taught(self.car, before, lap)
        self.said = ()

    def outlook(self, lap: LapSoFar) -> Outlook:
        """Which kind the running lap is and when the car reaches each place: made once a crossing."""
        so_far = self.weighed(lap.crossings)
        key = (lap.start_t, lap.start_phase, so_far, lap.slow, lap.odds, lap.disturbed, lap.word, lap.resumed,
               lap.compound)
        if self._outlook is None or self._outlook[0] != key:
            field_belief = self.field_pace.believing(self.labels)
            quick_s = self.quick_s()
            # What counts as quick is asked when the lap is over: by then an old best lap may count no more.
            ends_t = max(lap.start_t + quick_s, max(lap.crossings.values(), default=lap.start_t))
            made = outlook(
                self.car, self.belief, field_belief, lap, self._shape(field_belief), quick_s,
                self.limit_s(ends_t, lap.compound),
            )  # fmt: skip
            before = self.said if self.said_of == lap.start_t else ()
            self.said = (*(one for one in before if one.knot != made.knot), made.said)
            self.said_of = lap.start_t
            self._outlook = key, made
        return self._outlook[1]

    def known_outlook(self, start_t: float, crossings: Mapping[str, float]) -> Outlook | None:
        """The outlook as it was made after the last crossing of this lap; None if it was not, or they changed."""
        if self._outlook is None or self._outlook[0][0] != start_t or self._outlook[0][2] != self.weighed(crossings):
            return None
        return self._outlook[1]

    def weighed(self, crossings: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
        """The crossings at which the lap is weighed, in order along it."""
        return tuple((label, crossings[label]) for label in self.labels if label in crossings)

    def seasoned(self, start_phase: float) -> bool:
        """True when enough laps that began there were seen to go by them."""
        belief = self.field_pace.belief
        if belief is None:
            return False
        return (belief.from_pits if start_phase > 0.0 else belief.from_line).shapes.count >= SEASONED

    def _shape(self, field_belief: FieldBelief) -> tuple[float, ...]:
        usual = field_belief.usual_shape()
        return usual if usual is not None else (0.0, *(self.loops[loop] for loop in self.labels), 1.0)

    def bend(self, phase: float) -> float:
        """Map a phase of the lap map to this car's learned share of the lap time, linear between loops."""
        bend = self._bend or self._bent()
        found = bend.kept.get(phase)  # most places were asked for before: the short way to them
        return bend.at(phase) if found is None else found

    def bend_spans(self, phases: Spans) -> Spans:
        """``bend`` at both ends of each."""
        return (self._bend or self._bent()).spans(phases)

    def _bent(self) -> Bend:
        inner = sorted((at_map, self.share(loop)) for loop, at_map in self.loops.items() if 0.0 < at_map < 1.0)
        # Crossings with wrong times may teach shares that fall along the lap: later is never earlier.
        rising = itertools.accumulate((share for _, share in inner), max)
        places = [at_map for at_map, _ in inner]
        self._bend = Bend([(0.0, 0.0), *zip(places, rising, strict=True), (1.0, 1.0)])
        return self._bend

    def arrival(
        self, phase: float, kind: LapKind, start_t: float, start_phase: float, seen_t: float, seen_phase: float
    ) -> float:
        """Session second at which the car reaches ``phase`` (0..1, may be 1.0 for the line) on the lap it is on.

        Args:
            phase: where, as a phase of the lap map.
            kind: what kind of lap this is believed to be.
            start_t: when the lap began (line or pit exit).
            start_phase: where it began (0 for the line).
            seen_t: when the car was last seen on this lap (``start_t`` if not since).
            seen_phase: where that was.
        """
        return self.going_on(kind, start_t, start_phase, seen_t, seen_phase)(phase)

    def going_on(
        self, kind: LapKind, start_t: float, start_phase: float, seen_t: float, seen_phase: float,
        between_loops: bool = False,
    ) -> Callable[[float], float]:
        """``arrival`` at any phase, with what all phases share worked out once. Good until the pace learns.

        ``between_loops``: it was seen there by a sighting. The shorter the way to there, the less its pace says of the
        rest: who waits behind the pit exit does not go so slowly all the lap.
        """
        whole = self.lap_s(kind)
        seen, start = self.bend(seen_phase), self.bend(start_phase)
        span = 1.0 - start
        expected_so_far = (
            whole * (seen - start) / max(span, 1e-6) if kind in ("out", "installation") else whole * (seen - start)
        )
        rate = whole / max(span, 1e-6) if kind in ("out", "installation") else whole
        scale = 1.0
        if expected_so_far > 1.0:
            low, high = SCALE_BOUNDS
            # A lap that is usually slow may be driven at the pace, as an out-lap in a hurry is.
            scale = min(max((seen_t - start_t) / expected_so_far, min(low, self.quick_s() / rate)), high)
            if between_loops and start_phase > 0.0:
                scale **= expected_so_far / (expected_so_far + whole / SECTORS)
        return lambda phase: seen_t + rate * (self.bend(phase) - seen) * scale
