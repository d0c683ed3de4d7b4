"""What is known of lap times at a circuit before anybody has driven: the lap-time model begins with it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from pitwall.model.base import Frozen

Deviation = Annotated[float, Field(gt=0, le=50)]
Believed = tuple[Annotated[float, Field(ge=-50, le=50)], Deviation]
"""A likely value and its standard deviation."""


class LapTimes(Frozen):
    """Per cent of a lap time throughout, as likely value and standard deviation, or as a deviation alone.

    The defaults are invented from what practice sessions are like (common practice, no source); a few laps of a few
    cars outweigh them.
    """

    long_run_pct: Believed = Field(default=(5.0, 2.0), description="what a long run costs: fuel and engine mode")
    wear_pct: Believed = Field(default=(0.08, 0.12), description="slower per timed lap of a long run, net of fuel")
    quick_wear_pct: Believed = Field(default=(0.0, 0.12), description="the same on a quick run")
    quicker_pct_per_hour: Believed = Field(default=(0.54, 1.08), description="what the track gains in an hour")
    cars_pct: Deviation = Field(default=1.2, description="deviation among cars")
    runs_pct: Deviation = Field(default=0.6, description="deviation among runs of a car")
    noise_pct: Deviation = Field(default=0.35, description="deviation of laps without a mistake")
