"""When the driver of a car in motion can take in a sentence: not under braking and not in a loaded corner.

From the world's own physics (``ground.Strain``) and the way the car really went; the product's listening windows are
never asked. A lap driven slower by a factor strains the driver less by its square. Off the track (pit lane, pit exit,
garage) anybody can listen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitwall.rehearsal.draws import Rng, between
from pitwall.rehearsal.ground import Ground, Strain
from pitwall.rehearsal.motion import Steady
from pitwall.rehearsal.racing import RacingCar
from pitwall.rehearsal.scenario import HearingHabits
from pitwall.rehearsal.truth import Span

TOUCH_S = 1e-6


@dataclass(frozen=True)
class Ears:
    """How much strain one driver can take and still listen; ``deaf``: what falls outside is really lost."""

    aside_mps2: float
    slowing_mps2: float
    needs: float
    deaf: bool


def ears(habits: HearingHabits, rng: Rng) -> Ears:
    """One driver's, drawn."""
    return Ears(between(rng, habits.aside_mps2), between(rng, habits.slowing_mps2), habits.needs, habits.deaf)


class Listening:
    """The ears of whoever sits in one car."""

    def __init__(self, car: RacingCar, ground: Ground, own: Ears) -> None:
        self._car, self._strain, self._lap_s, self._own = car, ground.strain, ground.lap_s, own
        car.way = []

    def share(self, start_s: float, end_s: float) -> float | None:
        """Share of this time in which the driver could listen; None where the circuit has no geometry."""
        if self._strain is None:
            return None
        found = self._spans(start_s, end_s)
        return sum(end - begin for begin, end in found) / max(end_s - start_s, 1e-9)

    def takes_in(self, start_s: float, end_s: float) -> bool:
        """False when so much of a sentence fell into braking or a corner that it was lost."""
        return self.enough(self.share(start_s, end_s))

    def enough(self, share: float | None) -> bool:
        """The same of a share that is known."""
        return not self._own.deaf or share is None or share >= self._own.needs

    def spans(self, from_s: float, to_s: float) -> tuple[Span, ...] | None:
        """Every stretch of time in which the driver could listen; None where the circuit has no geometry."""
        if self._strain is None:
            return None
        return tuple((round(begin, 3), round(end, 3)) for begin, end in self._spans(from_s, to_s))

    def _spans(self, from_s: float, to_s: float) -> list[Span]:
        assert self._strain is not None
        way = self._car.way or []
        first = next((index for index in range(len(way) - 1, -1, -1) if way[index].t <= from_s), -1)
        stints = [Steady(from_s, 0.0, None), *way[max(first, 0):]] if first < 0 else way[first:]
        found: list[Span] = []
        for index, stint in enumerate(stints):
            ends = stints[index + 1].t if index + 1 < len(stints) else to_s
            if ends > from_s and stint.t < to_s:
                found += self._calm(self._strain, stint, ends)
        return _joined([(max(begin, from_s), min(end, to_s)) for begin, end in found if end > from_s and begin < to_s])

    def _calm(self, strain: Strain, stint: Steady, ends: float) -> list[Span]:
        if stint.lap_s is None:
            return [(stint.t, ends)]
        eased = (stint.lap_s / self._lap_s) ** 2
        own = self._own
        calm = (strain.aside_mps2 <= own.aside_mps2 * eased) & (strain.slowing_mps2 <= own.slowing_mps2 * eased)
        bent = strain.phase + stint.bend * strain.phase * (1.0 - strain.phase)
        at = stint.t + (bent - stint.phase) * stint.lap_s
        edges = np.flatnonzero(np.diff(np.concatenate(([False], calm, [False])).astype(np.int8))).reshape(-1, 2)
        return [(max(float(at[begin]), stint.t), min(float(at[end]), ends)) for begin, end in edges
                if at[end] > stint.t and at[begin] < ends]


def _joined(spans: Sequence[Span]) -> list[Span]:
    joined: list[Span] = []
    for begin, end in sorted(spans):
        if joined and begin <= joined[-1][1] + TOUCH_S:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        elif end > begin:
            joined.append((begin, end))
    return joined
