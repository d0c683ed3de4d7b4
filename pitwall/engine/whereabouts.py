"""Where one car is on the lap it is on, of which kind that lap is, and when the car reaches the places ahead.

Nothing here moves the car: facts do that (``car``). These are the questions that the rest of the engine asks of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from pitwall.engine.laps import LapRecord
from pitwall.model.outputs import CarState
from pitwall.model.plan import LapKind
from pitwall.pace.arrivals import Here, Sighting, arrival_quantiles, here_at
from pitwall.pace.kinds import judge_by, judge_so_far, odds
from pitwall.pace.laptimes import CarPace
from pitwall.pace.outlook import Outlook
from pitwall.pace.planned import PlanWord
from pitwall.pace.weighing import HIGH, LOW, MIDDLE, Array
from pitwall.track.lapmap import LapMap

FASTEST = 1.5
"""A car covers no more of the lap in a time than so many times what a quick lap does, on any stretch."""
MOVED = 0.0005
"""A sighting less further on (a share of the lap: a few metres) may be of a car that stands."""
SURE_S = 1.0
"""How far off a sighting and a crossing may be from one another, in time."""
AS_OF_LATE_S, SHOWN_S, SHOWN_BY = 10.0, 3.5, 4
"""For so long a car goes on as it went in the last seconds, where so many positions show it (choices of ours)."""
OF_LATE, AS_EXPECTED = (0.85, 1.9), 0.03
"""Between these shares of a quick lap's pace: a car that stood goes on otherwise. What differs by less from the pace of
the lap as a whole is the error of the positions."""
KINDS: dict[str, LapKind] = {"out": "out", "out_in": "installation", "timed": "timed", "cool": "cool", "in": "in"}
TRAIL_S, APART_S = 10.0, 0.8
"""Sightings are remembered for so long, and those that come sooner after another are not."""


@dataclass
class Whereabouts:
    """What is believed of a car's place: the state that its crossings and pit signals left."""

    car: str
    lap_map: LapMap
    pace: CarPace
    line_in_lane: bool
    state: CarState = "garage"
    lap: LapRecord | None = None
    lap_number: int = 0
    laps: list[LapRecord] = field(default_factory=list)
    seen_t: float = float("-inf")
    seen_phase: float = 0.0
    pit_entry_t: float | None = None
    pit_exit_t: float | None = None
    fuel_laps: float = 0.0
    compound: str | None = None
    tyre_age: int | None = None
    flag_s: float = float("inf")
    red: bool = False
    word: PlanWord = "none"
    sighting: Sighting | None = None
    moved: Sighting | None = None
    trail: tuple[Sighting, ...] = ()
    """The last sightings, with phases that count on over the line: see ``trail``."""
    judged: tuple[Outlook | None, LapKind, bool, LapKind] | None = None

    @property
    def on_track(self) -> bool:
        """True on any lap, a stopped car included."""
        return self.state not in ("garage", "pit_lane")

    @property
    def on(self) -> str:
        """The compound, as it is compared; empty where the feed does not say."""
        return (self.compound or "").strip().lower()

    @property
    def lap_kind(self) -> LapKind | None:
        """The kind of the running lap as believed now, None in the pits."""
        return KINDS.get(self.state) or (self.lap.kind if self.lap and self.state == "stopped" else None)

    def arrival(self, phase: float) -> float | None:
        """Session second at which the car reaches this phase of its running lap; None in the pits."""
        if self.lap is None or not self.on_track:
            return None
        lap, kind = self.lap, self.lap_kind or self.lap.kind
        of_late, here = self._of_late(), self.sighted
        if of_late is not None and here is not None and phase > here.phase:
            return self._going_on_as(of_late)(phase)
        return self._by_the_lap(phase, lap, kind)

    def _by_the_lap(self, phase: float, lap: LapRecord, kind: LapKind) -> float:
        made = self._told(phase, kind) if self.pace.seasoned(lap.start_phase) else None
        if made is not None:
            return float(made[MIDDLE])
        here, between_loops = self.sighted, True
        if here is None or phase < here.phase:
            here, between_loops = Sighting(max(self.seen_t, lap.start_t), self.seen_phase), False
        return self.pace.going_on(kind, lap.start_t, lap.start_phase, here.t, here.phase, between_loops)(phase)

    def going_on(self) -> Callable[[float], float | None]:
        """``arrival`` for many phases at one moment: what they share is worked out once. Good until the next fact."""
        if self.lap is None or not self.on_track:
            return self.arrival
        return self._going_on_as(self._of_late())

    def _going_on_as(self, of_late: float | None) -> Callable[[float], float | None]:
        """The same from the pace of the last seconds on, where they show one."""
        by_lap, here = self._going_on(), self.sighted
        if of_late is None or here is None:
            return by_lap
        # The next seconds are driven as the last were; from there on the lap goes as it is expected to.
        begin, then = self.pace.bend(here.phase), min(here.phase + AS_OF_LATE_S / of_late, 1.0)
        until, far = self.pace.bend(then), by_lap(then)
        if far is None or abs(far - here.t - of_late * (until - begin)) < AS_EXPECTED * AS_OF_LATE_S:
            return by_lap
        shift = here.t + of_late * (until - begin) - far

        def at(phase: float) -> float | None:
            if here.phase < phase <= then:
                return here.t + of_late * (self.pace.bend(phase) - begin)
            found = by_lap(phase)
            return found if found is None or phase <= here.phase else found + shift

        return at

    def _of_late(self) -> float | None:
        """Seconds a lap at which the car goes of late, by its positions; None without them, and where it stood.

        Passages of short stretches are too far apart for that: they say no more of a slow lap than its sectors do.
        """
        here, number = self.sighted, self.lap_number
        if here is None or len(self.trail) < SHOWN_BY or self.trail[-1].t < here.t - APART_S:
            return None
        last = self.trail[-1]
        seen = next((self.trail[at:] for at in range(len(self.trail) - 1, -1, -1)
                     if self.trail[at].t <= last.t - SHOWN_S), ())
        if len(seen) < SHOWN_BY or seen[0].phase < number:
            return None
        way = self.pace.bend(last.phase - number) - self.pace.bend(seen[0].phase - number)
        took, quick = last.t - seen[0].t, self.pace.quick_s() * way
        return took / way if OF_LATE[0] * quick < took < OF_LATE[1] * quick else None

    def _going_on(self) -> Callable[[float], float | None]:
        """``going_on`` by the lap as a whole, whatever the last seconds showed."""
        assert self.lap is not None
        lap, kind, here = self.lap, self.lap_kind or self.lap.kind, self.sighted
        if self.pace.seasoned(self.lap.start_phase):
            return lambda phase: self._by_the_lap(phase, lap, kind)
        crossed_t, crossed = max(self.seen_t, lap.start_t), self.seen_phase
        by_crossing = self.pace.going_on(kind, lap.start_t, lap.start_phase, crossed_t, crossed)
        if here is None:
            return by_crossing
        by_sight = self.pace.going_on(kind, lap.start_t, lap.start_phase, here.t, here.phase, between_loops=True)
        return lambda phase: by_crossing(phase) if phase < here.phase else by_sight(phase)

    def sight(self, t: float, phase: float) -> bool:
        """The car was seen between loops: a position on the lap, or the passage of a short stretch. True when taken.

        It moves the car through no lap and teaches nothing; arrivals at the places ahead start from it. A sighting
        that cannot be true is not taken: behind the last crossing or the last sighting, older than it, or further than
        the car can have come since (``FASTEST`` times the pace of a quick lap). Once a loop further on is crossed, the
        sighting counts no more: a crossing is exact.
        """
        if self.lap is None or not self.on_track or self.state == "stopped":
            return False
        last = self.sighted
        before_t, before = max(self.seen_t, self.lap.start_t), self.seen_phase
        if last is not None:
            before_t, before = last.t, last.phase
        way = self.pace.bend(phase) - self.pace.bend(before)
        too_far = way * self.pace.quick_s() > FASTEST * (t - before_t) + SURE_S
        if t <= before_t or phase < before or phase >= 1.0 or too_far:
            return False
        self.sighting = Sighting(t, phase)
        if not self.trail or t - self.trail[-1].t >= APART_S:
            kept = tuple(one for one in self.trail if one.t >= t - TRAIL_S)
            self.trail = (*kept, Sighting(t, self.lap_number + phase))
        stood = self.moved.phase if self.moved is not None and self.moved.t >= self.seen_t else self.seen_phase
        if phase - stood > MOVED:
            self.moved = self.sighting
        return True

    @property
    def moving_t(self) -> float:
        """When it was last known to move: at a crossing, or by a sighting further on than where it stood before."""
        return self.seen_t if self.moved is None else max(self.seen_t, self.moved.t)

    def here(self, now: float) -> Here | None:
        """Where it is on its running lap now, with spread; None in the pits, stopped, and where nothing is known of it.

        ``now`` is not before it was seen last. Dear beside ``arrival``: it asks for some forty arrivals.
        """
        lap = self.lap
        if lap is None or not self.on_track or self.state == "stopped":
            return None
        kind, sighted = self.lap_kind or lap.kind, self.sighted
        return here_at(lambda phase: self._told(phase, kind), sighted.phase if sighted else self.seen_phase, now)

    @property
    def sighted(self) -> Sighting | None:
        """Where the car was last seen between loops, if that is further on than its last crossing."""
        here = self.sighting
        if here is None or self.lap is None or here.t <= max(self.seen_t, self.lap.start_t):
            return None
        return here if here.phase >= self.seen_phase else None

    def spread(self, phase: float) -> float | None:
        """Give or take how many seconds the car reaches this phase of its running lap: half of the way from the 10 to
        the 90 % quantile of its arrival.

        None in the pits, behind the place where it was last seen, and where the lap has just begun and is no out-lap
        and no timed lap: nothing is known of it then. Cheap: a crossing has made the distribution, a place is read off.
        """
        if self.lap is None or not self.on_track:
            return None
        made = self._told(phase, self.lap_kind or self.lap.kind)
        return None if made is None else 0.5 * float(made[HIGH] - made[LOW])

    def _told(self, phase: float, kind: LapKind) -> Array | None:
        """Quantiles of the arrival by the outlook that the last fact made; None where it says nothing of this phase.

        Only what a fact has made is read: a question must not change what is believed.
        """
        assert self.lap is not None
        made = self.pace.known_outlook(self.lap.start_t, self.lap.crossings)
        seen_t = max(self.seen_t, self.lap.start_t)
        if made is None or made.seen_t > seen_t or phase < self.seen_phase:
            return None
        if made.seen_t == seen_t:
            return arrival_quantiles(self.pace, made, phase, self.seen_phase, kind, self.sighted)
        # Since the last loop that was weighed, others were passed: they show where the car is.
        here = self.sighted or Sighting(seen_t, self.seen_phase)
        weighed = self.pace.loops[self.pace.labels[made.knot - 1]] if made.knot else self.lap.start_phase
        return arrival_quantiles(self.pace, made, phase, weighed, kind, here)

    def outlook(self) -> Outlook | None:
        """Believe anew, after a fact, what the running lap is and when the car reaches each place; None in the pits."""
        if self.lap is None or not self.on_track:
            return None
        late = self.lap.start_t > self.flag_s, self.lap.start_t + self.pace.lap_s("cool") > self.flag_s
        self.lap.word = self.word
        return self.pace.outlook(self.lap.so_far(odds(self.red, *late), self.on))

    def judge(self, expected: LapKind) -> LapKind | None:
        """Believe anew which kind of lap this is, from its pace so far and what the plan expects."""
        lap = self.lap
        if lap is None or self.state == "stopped" or not self.on_track:
            return None
        if lap.start_phase > 0:
            return self.lap_kind
        made = self.outlook()
        if self.judged is not None and self.judged[:3] == (made, expected, lap.disturbed):
            lap.kind = self.judged[3]  # only a place between was passed since
            return lap.kind
        at_loops = {loop: t - lap.start_t for loop, t in self.pace.weighed(lap.crossings)}
        kind = judge_so_far(self.pace, at_loops, self.seen_t, expected, lap.disturbed)
        if made is not None and made.knot > 0 and self.pace.seasoned(0.0) and not lap.disturbed:
            kind = judge_by(made.kinds, expected, kind)
        lap.kind = kind
        self.judged = (made, expected, lap.disturbed, kind)
        return kind

    def earliest(self, phase: float) -> float | None:
        """The earliest session second at which the car can be at this phase: from where it was last seen at the pace of
        a quick lap. An in-lap is slower as a rule, but not always, and a box call must not count on it."""
        if self.lap is None or not self.on_track:
            return None
        seen_t, seen_phase = max(self.seen_t, self.lap.start_t), self.seen_phase
        here = self.sighted
        if here is not None:
            seen_t, seen_phase = here.t, here.phase
        way = max(0.0, self.pace.bend(phase) - self.pace.bend(seen_phase))
        return seen_t + way * self.pace.quick_s()
