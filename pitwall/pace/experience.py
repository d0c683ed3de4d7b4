"""What all cars taught about laps that begin at the line, or in the pits: shapes, and how well each rule forecast."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from pitwall.pace.planned import Chances
from pitwall.pace.residuals import Residuals
from pitwall.pace.shapes import BACK_TO_USUAL, INVENTED, INVENTED_OUT, ShapeMemory, Traits
from pitwall.pace.weighing import MIDDLE, Array, Record, Spread

OUT_TRAITS = Traits(narrow=0.03, wider=0.25, shift=BACK_TO_USUAL, fades_s=1200.0, least_fresh=0.2)
ARRIVAL_SCALE_S = 0.05
RULE_SPREAD, OUT_SPREAD = 0.03, 0.08
FIRST_WEIGHTS, FIRST_OUT_WEIGHTS = (0.35, 0.25, 0.4), (0.5, 0.25, 0.02, 0.23)
OUT_RECORD, LAP_RECORD = 25.0, 150.0
"""About so many laps back a rule's record counts. How out-laps are driven changes with the part of the session."""

QUEUE_WEIGHTS = (0.5, 0.5)
OFF_PACE_WEIGHTS = (0.17, 0.13, 0.7)
"""A lap off the pace is not stretched evenly: there the laps that were like it count for more from the start."""


class Said(NamedTuple):
    """What was forecast of the line at one loop: by each rule, and in all. Seconds from there. ``kinds``: of the lap,
    without the plan's word. ``usual``: no slow period made it another lap than those before. ``queued``: of a car that
    follows another on its out-lap, the median on its own, and as it follows."""

    knot: int
    seen_t: float
    off_pace: bool
    rules: tuple[float, ...]
    told: Array
    kinds: Chances
    usual: bool = True
    queued: tuple[float, float] | None = None

    @property
    def which(self) -> int:
        """Which record it belongs to: laps at the pace and off it are different to forecast."""
        return record_of(self.knot, self.off_pace)


def record_of(knot: int, off_pace: bool) -> int:
    """Which record a forecast belongs to: of this loop, for laps at the pace or off it."""
    return 2 * knot + off_pace


@dataclass
class Experience:
    """What all cars taught about laps that begin at the line, or in the pits: shapes, records, spreads."""

    loops: int
    from_pits: bool
    shapes: ShapeMemory = field(init=False)
    records: list[Record] = field(init=False)
    spreads: list[Spread] = field(init=False)
    residuals: list[Residuals] = field(init=False)
    queues: list[Record] = field(init=False)

    def __post_init__(self) -> None:
        invented, knots = (INVENTED_OUT if self.from_pits else INVENTED), range(2 * self.loops + 2)
        self.shapes = ShapeMemory(self.loops, invented, OUT_TRAITS if self.from_pits else Traits())
        first = FIRST_OUT_WEIGHTS if self.from_pits else FIRST_WEIGHTS
        off_pace = FIRST_OUT_WEIGHTS if self.from_pits else OFF_PACE_WEIGHTS
        memory = OUT_RECORD if self.from_pits else LAP_RECORD
        self.records = [Record(ARRIVAL_SCALE_S, off_pace if at % 2 else first, memory=memory) for at in knots]
        self.spreads = [Spread() for _ in knots]
        self.queues = [Record(ARRIVAL_SCALE_S, QUEUE_WEIGHTS, memory=OUT_RECORD) for _ in knots]
        self.residuals = [Residuals(OUT_SPREAD if self.from_pits else RULE_SPREAD) for _ in knots]

    def learn(self, said: Said, seconds: float) -> None:
        """Take what was forecast at a loop, and how long it took from there to the line."""
        if not said.usual:
            return
        self.records[said.which].learn(said.rules, seconds)
        self.spreads[said.which].learn(said.told, seconds)
        if said.queued is not None:
            self.queues[said.knot].learn(said.queued, seconds)
        if said.rules[0] > 0 and seconds > 0:
            self.residuals[said.which].learn(math.log(seconds / said.rules[0]))

    def pooled(self, which: int, rules: Sequence[float], kernel: Array, behind: Array | None) -> tuple[Array, float]:
        """Quantiles of the seconds to the line: rules and the laps that were alike, each by its record so far.

        Args:
            which: the class of the forecast.
            rules: what each rule says.
            kernel: quantiles by the laps that were alike.
            behind: those of a car that follows another; None where it follows none.

        Returns:
            the quantiles, and their median without ``behind``.
        """
        *by_rules, by_kernel = self.records[which].weights()
        told: Array = np.exp(self.residuals[which].quantiles())
        told *= sum(weight * rule for weight, rule in zip(by_rules, rules, strict=True))
        told += by_kernel * kernel
        alone = float(told[MIDDLE])
        if behind is not None:
            on_its_own, following = self.queues[which // 2].weights()
            told *= on_its_own
            told += following * np.maximum(told / max(on_its_own, 1e-9), behind)
        told = self.spreads[which].apply(told)
        return np.maximum(told, 0.0, out=told), alone
