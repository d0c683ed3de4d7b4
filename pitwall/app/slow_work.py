"""Who works out forecasts and advice in each composition: inline on virtual time, or beside a live loop."""

from __future__ import annotations

from dataclasses import dataclass

from pitwall.forecast.advice import advise
from pitwall.forecast.futures import forecast
from pitwall.runtime.adviser import AdviceFunction, InlineAdviser, ProcessAdviser
from pitwall.runtime.forecaster import ForecastFunction, InlineForecaster, ThreadForecaster
from pitwall.runtime.ports import Clock

FORECAST_LATENCY_S = 0.5
ADVICE_LATENCY_S = 2.0


@dataclass(frozen=True)
class Inline:
    """For virtual time: answers come after a fixed latency."""

    forecaster: InlineForecaster
    adviser: InlineAdviser

    @classmethod
    def on(cls, clock: Clock, forecasts: ForecastFunction = forecast, advice: AdviceFunction = advise) -> Inline:
        """Both on this clock."""
        forecaster = InlineForecaster(forecasts, clock, FORECAST_LATENCY_S)
        return cls(forecaster, InlineAdviser(advice, clock, ADVICE_LATENCY_S))


class Beside:
    """For a live loop: NumPy in a thread, the search in a process."""

    def __init__(self) -> None:
        self.forecaster, self.adviser = ThreadForecaster(forecast), ProcessAdviser(advise)

    @classmethod
    async def warm(cls) -> Beside:
        """Both, once the process has started."""
        both = cls()
        await both.adviser.until_warm()
        return both

    async def stop(self) -> None:
        """Answer nobody any more."""
        self.forecaster.close()
        self.adviser.close()
