"""A session world that every way of deciding meets alike: what each lap and each piece of work takes, flag by flag.

**The world's own.** Everything is drawn once from scenario, seed and names, and never from ``pitwall/forecast``: each
lap by car, run, kind and number, the work after a run by car and run, flags from the scenario. So the fourth timed lap
of ``baseline`` takes as long whoever decides, and the work after it too. What differs from plan and regulations is
what the scenario says (pace, work, rates and lengths of flags), and beside that:

* one job in twenty runs into trouble and takes half as long again;
* a driver's laps are off together by the scenario's spread, and one in ten or so is spoilt;
* the car never leaves before the likely length of the work is over: nobody sits in it before.

**The rules** are those of a session in one piece. Under red cars come in slowly and nobody leaves; who was cut goes on
with the run behind another out-lap, or gives it up and the crew goes to work. A timed lap counts that has begun (or,
by the regulations, ended) before the end, and that no slow period spoilt; that one is driven again. Each car
has a crew of its own here, and its plans name none: else the best list of one car would hang on those of the others.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

from pitwall.model.plan import LapKind, Run
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.control import draw_flags
from pitwall.rehearsal.draws import Rng, Streams, between, happens, shifted
from pitwall.rehearsal.ground import Ground, lay_ground
from pitwall.rehearsal.scenario import Scenario

RED_PACE, SLOW_PACE = 1.55, 1.35
EXIT_S = 12.0          # from the release to the pit exit
TROUBLE, TROUBLE_TIMES = 0.05, 1.5
NO_TIMED_LAP = 1.12    # beyond this multiple of a good lap it is no timed lap: a slow period spoilt it
LEAST: dict[str, float] = {"out": 1.02, "cool": 1.16, "in": 0.99}
SPOILT_S = (0.6, 1.4, 4.0)
Span = tuple[float, float]


@dataclass(frozen=True)
class Fate:
    """One session as it will be. Times in session seconds; spans in order."""

    scenario: Scenario
    setup: SessionSetup
    seed: int
    _made: dict[tuple[str, ...], tuple[Rng, list[float]]] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def _streams(self) -> Streams:
        return Streams(self.seed)

    @cached_property
    def _flags(self) -> dict[str, tuple[Span, ...]]:
        shown = draw_flags(self.scenario, self.setup, self._streams)
        return {kind: tuple((flag.start_s, flag.end_s) for flag in shown if flag.status == kind)
                for kind in ("red", "slow")}

    @property
    def reds(self) -> tuple[Span, ...]:
        """The red flags that come before the end."""
        return tuple(span for span in self._flags["red"] if span[0] < self.end_s)

    @property
    def slows(self) -> tuple[Span, ...]:
        """The slow periods."""
        return self._flags["slow"]

    @cached_property
    def end_s(self) -> float:
        """When the time is up; later by every red flag where the clock stops."""
        end = self.setup.duration_s
        if self.setup.regulations.red_clock == "stops":
            for start, stop in self._flags["red"]:
                end += stop - start if start < end else 0.0
        return end

    @cached_property
    def grounds(self) -> dict[str, Ground]:
        """The circuit as each car drives it."""
        limit = self.setup.regulations.pit_limit_kph
        return {car: lay_ground(self.setup.circuit, self.setup.cars[car], limit, self.scenario.pace,
                                self._streams.stream("ground")) for car in sorted(self.setup.plans)}

    def lane_s(self, car: str) -> float:
        """From the pit entry to the line in the lane."""
        ground = self.grounds[car]
        return ground.lane_s * ground.line_part

    def lap_s(self, car: str, run: str, kind: LapKind, number: int) -> float:
        """How long that lap takes on a clear track: the ``number``-th of its kind in its run, from 0."""
        return self._drawn((car, run, kind), number, lambda rng: self._lap(car, kind, rng))

    def work_s(self, car: str, run: str) -> float:
        """From the pit entry to the release for the next run, at the earliest."""
        own = self.setup.plans[car].find(run)
        # A run may have been taken over from another car.
        found = own or next((one for plan in self.setup.plans.values() if (one := plan.find(run)) is not None), None)
        if found is None:
            return 0.0
        points = found.after_garage_s
        drawn = self._drawn((car, run, "work"), 0, lambda rng: self._work(points.low_s, points.likely_s,
                                                                          points.high_s, rng))
        return max(points.likely_s, drawn)

    def _drawn(self, key: tuple[str, ...], number: int, draw: Callable[[Rng], float]) -> float:
        rng, values = self._made.setdefault(key, (self._streams.stream("replan", *key), []))
        while len(values) <= number:
            values.append(draw(rng))
        return values[number]

    def _work(self, low: float, likely: float, high: float, rng: Rng) -> float:
        drawn = between(rng, (low, likely, high)) * max(0.4, shifted(rng, self.scenario.pace.garage))
        return drawn * (TROUBLE_TIMES if happens(rng, TROUBLE) else 1.0)

    def _lap(self, car: str, kind: LapKind, rng: Rng) -> float:
        pace, best = self.scenario.pace, self._best(car)
        if kind == "timed":
            spoilt, lost = happens(rng, pace.spoilt), between(rng, SPOILT_S)
            return best + between(rng, pace.scatter_s) * float(rng.standard_normal()) + (lost if spoilt else 0.0)
        spread = {"out": pace.out_lap, "cool": pace.cool_lap, "in": pace.in_lap}.get(kind, pace.out_lap)
        return best * between(rng, spread, low=LEAST.get(kind, 1.02))

    def is_timed(self, car: str, lap_s: float) -> bool:
        """Guard: a lap that was meant as a timed one is one."""
        return lap_s <= NO_TIMED_LAP * self._best(car)

    def _best(self, car: str) -> float:
        pace = self.scenario.pace
        factor = self._drawn((car, "pace"), 0, lambda rng: max(0.9, shifted(rng, pace.lap)))
        track_s = self._drawn(("track",), 0, lambda rng: between(rng, pace.track_gain_s) / 3.0)
        return self.grounds[car].lap_s * factor + track_s

    def lap_end(self, t: float, length_s: float) -> float:
        """When a lap begun at ``t`` ends, slow periods included."""
        for start, stop in self.slows:
            if stop <= t:
                continue
            if start >= t + length_s:
                break
            done = max(0.0, start - t)
            inside = stop - max(start, t)
            if (length_s - done) * SLOW_PACE <= inside:
                return max(start, t) + (length_s - done) * SLOW_PACE
            length_s -= done + inside / SLOW_PACE
            t = stop
        return t + length_s

    def red_within(self, begin: float, end: float) -> Span | None:
        """The first red flag that is out at some moment of this time."""
        return next((span for span in self.reds if span[0] < end and span[1] > begin), None)


def with_own_crews(setup: SessionSetup) -> SessionSetup:
    """The session with a crew for each car."""
    plans = {car: plan.model_copy(update={"runs": tuple(run.model_copy(update={"crew": ()}) for run in plan.runs)})
             for car, plan in setup.plans.items()}
    return setup.model_copy(update={"plans": plans})


def laps_with(run: Run, timed: int) -> tuple[LapKind, ...]:
    """The run's laps with so many timed ones: the last fall away, and cool-down laps that then lead to none."""
    if not run.timed_laps or timed >= run.timed_laps:
        return run.laps
    body = list(run.laps[:-1])
    while body.count("timed") > timed:
        del body[max(index for index, kind in enumerate(body) if kind == "timed")]
    while body[-1] == "cool":
        body.pop()
    return (*body, "in")
