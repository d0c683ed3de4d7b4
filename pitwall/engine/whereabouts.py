"""Where one car is on the lap it is on, of which kind that lap is, and when the car reaches the places ahead.

Nothing here moves the car: facts do that (``car``). These are the questions that the rest of the engine asks of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.engine.laps import LapRecord
from pitwall.model.outputs import CarState
from pitwall.model.plan import LapKind
from pitwall.pace.arrivals import arrival_quantiles
from pitwall.pace.kinds import judge_by, judge_so_far, odds
from pitwall.pace.laptimes import CarPace
from pitwall.pace.outlook import Outlook
from pitwall.pace.weighing import HIGH, LOW, MIDDLE, Array
from pitwall.track.lapmap import LapMap

MOST_LATE_S = 25.0  # a position that is further off than this is of another lap
LATE_NEWS_S = 0.3
PACE_SHOWS_S = 15.0  # after so long the pace since the last crossing counts as much as what was expected
POSITION_S = 0.1  # what a position is off, in time


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
    planned: bool = False
    expected: LapKind | None = None
    here: tuple[float, float] | None = None  # when and at which phase a position last showed it, on this lap
    told_late_s: float = 0.0  # by how much that was off when the laps ahead were last laid out for it

    @property
    def on_track(self) -> bool:
        """True on any lap, a stopped car included."""
        return self.state not in ("garage", "pit_lane")

    @property
    def lap_kind(self) -> LapKind | None:
        """The kind of the running lap as believed now, None in the pits."""
        kinds: dict[str, LapKind] = {
            "out": "out",
            "out_in": "installation",
            "timed": "timed",
            "cool": "cool",
            "in": "in",
        }
        return kinds.get(self.state) or (self.lap.kind if self.lap and self.state == "stopped" else None)

    def positioned(self, t: float, phase: float) -> bool:
        """A position shows the car at this phase. True when it is not where it was expected, so that what follows from
        it must be laid out anew."""
        if self.lap is None or not self.on_track or self.state == "stopped" or t <= max(self.seen_t, self.lap.start_t):
            return False
        if phase < self.seen_phase or (self.here is not None and t <= self.here[0]):
            return False
        expected = self._by_crossings(phase)
        if expected is None or abs(expected - t) > MOST_LATE_S:
            return False  # of another lap, or of no lap: the line was passed a moment ago
        self.here = t, phase
        news = abs((t - expected) - self.told_late_s) > LATE_NEWS_S
        if news:
            self.told_late_s = t - expected
        return news

    def _here_now(self) -> tuple[float, float] | None:
        """The last position of this lap, if no crossing came after it."""
        lap = self.lap
        if self.here is None or lap is None or self.here[0] <= max(self.seen_t, lap.start_t):
            return None
        return self.here

    def arrival(self, phase: float) -> float | None:
        """Session second at which the car reaches this phase of its running lap; None in the pits.

        By its crossings, and where positions show it elsewhere than they say, by as much earlier or later; half of the
        pace that it gained or lost since its last crossing is taken to go on.
        """
        by_crossings, here = self._by_crossings(phase), self._here_now()
        if by_crossings is None or here is None:
            return by_crossings
        t, at = here
        if phase <= at:
            seen_t = max(self.seen_t, self.lap.start_t if self.lap is not None else self.seen_t)
            share = (phase - self.seen_phase) / max(at - self.seen_phase, 1e-6)
            return seen_t + share * (t - seen_t)
        expected = self._by_crossings(at)
        assert expected is not None  # the car is on a lap, as it was a line ago
        gone = max(expected - max(self.seen_t, self.lap.start_t if self.lap is not None else t), 1e-3)
        pace = min(max((gone + t - expected) / gone, 0.7), 1.6)
        goes_on = 0.5 * gone / (gone + PACE_SHOWS_S)
        return t + max(0.0, by_crossings - expected) * (1.0 + goes_on * (pace - 1.0))

    def _by_crossings(self, phase: float) -> float | None:
        if self.lap is None or not self.on_track:
            return None
        kind = self.lap_kind or self.lap.kind
        made = self._told(phase, kind)
        if made is not None and self.pace.seasoned(self.lap.start_phase):
            return float(made[MIDDLE])
        seen_t = max(self.seen_t, self.lap.start_t)
        return self.pace.arrival(phase, kind, self.lap.start_t, self.lap.start_phase, seen_t, self.seen_phase)

    def spread(self, phase: float) -> float | None:
        """Give or take how many seconds the car reaches this phase of its running lap: half of the way from the 10 to
        the 90 % quantile of its arrival.

        None in the pits, behind the place where it was last seen, and where the lap has just begun and is no out-lap
        and no timed lap: nothing is known of it then. Cheap: a crossing has made the distribution, a place is read off.
        """
        if self.lap is None or not self.on_track:
            return None
        made = self._told(phase, self.lap_kind or self.lap.kind)
        if made is None:
            return None
        wide, here = 0.5 * float(made[HIGH] - made[LOW]), self._here_now()
        if here is None or phase <= here[1]:
            return wide if here is None else POSITION_S
        # What is open is the way from the position on.
        return POSITION_S + wide * (phase - here[1]) / max(phase - self.seen_phase, 1e-6)

    def _told(self, phase: float, kind: LapKind) -> Array | None:
        """Quantiles of the arrival by the outlook that the last fact made; None where it says nothing of this phase.

        Only what a fact has made is read: a question must not change what is believed.
        """
        assert self.lap is not None
        made = self.pace.known_outlook(self.lap.start_t, self.lap.crossings)
        if made is None or made.seen_t != max(self.seen_t, self.lap.start_t) or phase < self.seen_phase:
            return None
        return arrival_quantiles(self.pace, made, phase, self.seen_phase, kind)

    def outlook(self) -> Outlook | None:
        """Believe anew, after a fact, what the running lap is and when the car reaches each place; None in the pits."""
        if self.lap is None or not self.on_track:
            return None
        late = self.lap.start_t > self.flag_s, self.lap.start_t + self.pace.lap_s("cool") > self.flag_s
        return self.pace.outlook(self.lap.so_far(odds(self.expected if self.planned else None, self.red, *late)))

    def judge(self, expected: LapKind) -> LapKind | None:
        """Believe anew which kind of lap this is, from its pace so far and what the plan expects."""
        self.expected = expected
        lap = self.lap
        if lap is None or self.state == "stopped" or not self.on_track:
            return None
        if lap.start_phase > 0:
            return self.lap_kind
        at_loops = {loop: t - lap.start_t for loop, t in lap.crossings.items()}
        made = self.outlook()
        kind = judge_so_far(self.pace, at_loops, self.seen_t, expected, lap.disturbed)
        if made is not None and made.knot > 0 and self.pace.seasoned(0.0) and not lap.disturbed:
            kind = judge_by(made.kinds, expected, kind)
        lap.kind = kind
        return kind

    def earliest(self, phase: float) -> float | None:
        """The earliest session second at which the car can be at this phase: from where it was last seen at the pace of
        a quick lap. An in-lap is slower as a rule, but not always, and a box call must not count on it."""
        if self.lap is None or not self.on_track:
            return None
        seen_t = max(self.seen_t, self.lap.start_t)
        way = max(0.0, self.pace.bend(phase) - self.pace.bend(self.seen_phase))
        return seen_t + way * self.pace.quick_s()
