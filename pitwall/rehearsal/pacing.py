"""How fast this world's cars really are: track, fuel, tyres, scatter. The product's lap-time model is never asked."""

from __future__ import annotations

import math

from pitwall.rehearsal.draws import Rng, between, happens, shifted
from pitwall.rehearsal.pilot import LapIntent
from pitwall.rehearsal.scenario import PaceOfWorld

TRACK_FADES_S = 700.0     # the track's gain comes with this time constant: most of it early
SPOILT_S = (0.6, 1.4, 4.0)
BENDS = {"timed": 0.006, "slow": 0.04}


class Track:
    """The track's state, the same for every car."""

    def __init__(self, pace: PaceOfWorld, rng: Rng) -> None:
        self._gain = between(rng, pace.track_gain_s)

    def behind(self, t: float) -> float:
        """Seconds a lap that the track is still slower than at its best."""
        return self._gain * math.exp(-max(t, 0.0) / TRACK_FADES_S)


class CarPace:
    """One car's lap times. ``share`` is the car's own pace as a factor of the reference lap."""

    def __init__(self, reference_s: float, share: float, pace: PaceOfWorld, track: Track, rng: Rng) -> None:
        self.best_s = reference_s * share
        self._pace, self._track, self._rng = pace, track, rng
        self._scatter = between(rng, pace.scatter_s)
        self._warm_up = max(0.0, float(rng.normal(0.5, 0.35)))
        self._wear = max(0.0, float(rng.normal(0.06, 0.03)))

    def good(self, t: float, fuel_s: float = 0.0, tyre_laps: int = 2) -> float:
        """A good lap as the car stands: no scatter. ``fuel_s`` is what its fuel costs a lap."""
        warm = self._warm_up if tyre_laps <= 1 else 0.0
        return self.best_s + self._track.behind(t) + fuel_s + warm + self._wear * max(0, tyre_laps - 2)

    def timed(self, t: float, fuel_s: float = 0.0, tyre_laps: int = 2, wrong_switch_s: float = 0.0) -> LapIntent:
        """A timed lap; one in ten is spoilt."""
        rng = self._rng
        spoilt, lost = happens(rng, self._pace.spoilt), between(rng, SPOILT_S)
        # Scatter is lopsided: a driver loses more on a poor lap than is gained on a perfect one.
        scatter = self._scatter * float(rng.standard_normal())
        lap = self.good(t, fuel_s, tyre_laps) + max(scatter, -1.2 * self._scatter) + wrong_switch_s
        bend = BENDS["timed"] * float(rng.standard_normal())
        return LapIntent("timed", lap + (lost if spoilt else 0.0), bend, spoilt)

    def cool(self, t: float) -> LapIntent:
        """A cool-down lap."""
        lap = self.best_s * between(self._rng, self._pace.cool_lap, low=1.14)
        return LapIntent("cool", lap, self._slow_bend())

    def out(self, t: float, exit_phase: float) -> LapIntent:
        """An out-lap. Its ratio counts from pit exit to the line, so the pace over a whole lap is slower still."""
        lap = self.best_s * between(self._rng, self._pace.out_lap, low=1.02) / (1.0 - exit_phase)
        return LapIntent("timed", lap, self._slow_bend())

    def into_pits(self, t: float, entry_phase: float, lane_part_s: float) -> LapIntent:
        """An in-lap. Its ratio counts from line to line in the pit lane, so the lane's slowness is taken out first."""
        whole = self.best_s * between(self._rng, self._pace.in_lap, low=0.99)
        lap = max(self.best_s * 1.01, (whole - lane_part_s) / max(entry_phase, 0.3))
        return LapIntent("in", lap, self._slow_bend())

    def _slow_bend(self) -> float:
        return min(max(BENDS["slow"] * float(self._rng.standard_normal()), -0.1), 0.1)


def car_pace(reference_s: float, sigma: float, pace: PaceOfWorld, track: Track, rng: Rng) -> CarPace:
    """A car drawn from the field; none is much faster than the reference."""
    share = max(0.99, shifted(rng, sigma))
    return CarPace(reference_s, share, pace, track, rng)
