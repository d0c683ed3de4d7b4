"""Limits of tyre temperatures and pressures: what telemetry must not show without the engineer being told."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, Self

from pydantic import Field, model_validator

from pitwall.model.base import Frozen, Label
from pitwall.model.plan import LapKind
from pitwall.model.units import Duration

Corner = Literal["fl", "fr", "rl", "rr"]
TyreValue = Literal["surface_c", "carcass_c", "pressure_kpa"]
Axle = Literal["front", "rear"]

COLD_LAPS: dict[TyreValue, tuple[LapKind, ...]] = {
    "surface_c": ("out", "installation", "in"),
    "carcass_c": ("out", "installation", "in"),
    "pressure_kpa": ("out", "installation"),
}
"""Laps on which too little is as it should be: tyres are warmed there, or not needed any more."""


class TyreLimit(Frozen):
    """Limits for one measured value; the most particular entry that applies wins, for each side by itself.

    On laps on which tyres are still cold (``COLD_LAPS``) only an entry that names the lap has a lower limit.
    """

    of: TyreValue = Field(description="which of the values that telemetry sends; its unit is the limits' own")
    low: float | None = Field(default=None, ge=-40, le=1000)
    high: float | None = Field(default=None, ge=-40, le=1000)
    deadband: float = Field(default=3.0, ge=0, le=200, description="back inside only when so far within the limit")
    holds_s: Duration = Field(default=5.0, description="beyond the limit without a break for so long")
    compound: Label | None = None
    axle: Axle | None = None
    lap: LapKind | None = None

    @model_validator(mode="after")
    def _sense(self) -> Self:
        if self.low is None and self.high is None:
            raise ValueError("a tyre limit needs 'low', 'high' or both")
        if self.low is not None and self.high is not None and self.low + 2 * self.deadband >= self.high:
            raise ValueError(f"low {self.low:g} and high {self.high:g} must lie further apart than "
                             f"twice the deadband of {self.deadband:g}")
        return self

    def applies(self, of: TyreValue, corner: Corner, compound: str | None, lap: LapKind | None) -> bool:
        """True when every condition that it names is met."""
        conditions = ((_plain(self.compound), _plain(compound)), (self.axle, axle_of(corner)), (self.lap, lap))
        return self.of == of and all(asked is None or asked == real for asked, real in conditions)

    @property
    def weight(self) -> int:
        """How many conditions it names."""
        return sum(asked is not None for asked in (self.compound, self.axle, self.lap))


def _plain(compound: str | None) -> str | None:
    """A compound's name for comparison: feeds and plans differ in capitals."""
    return None if compound is None else compound.strip().lower()


def axle_of(corner: Corner) -> Axle:
    """The axle of a corner."""
    return "front" if corner.startswith("f") else "rear"


def limit_of(
    limits: Iterable[TyreLimit], side: Literal["low", "high"], of: TyreValue, corner: Corner, compound: str | None,
    lap: LapKind | None,
) -> TyreLimit | None:
    """The entry whose ``side`` counts for this corner now; of two equally particular ones the first."""
    found = [one for one in limits if getattr(one, side) is not None and one.applies(of, corner, compound, lap)]
    if side == "low" and lap in COLD_LAPS[of]:
        found = [one for one in found if one.lap is not None]
    return max(found, key=lambda one: one.weight, default=None)
