"""Who works out forecasts and advice in each composition: inline on virtual time, or beside a live loop."""

from __future__ import annotations

import asyncio
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


WARM_AFTER_S = 5.0
"""A daemon has other things to do while it starts; a question that comes sooner starts the process itself."""


class Beside:
    """For a live loop: NumPy in a thread, the search in a process."""

    def __init__(self) -> None:
        self.forecaster, self.adviser = ThreadForecaster(forecast), ProcessAdviser(advise)
        self._warming = asyncio.get_running_loop().call_later(WARM_AFTER_S, self.adviser.warm_up)

    @classmethod
    async def warm(cls) -> Beside:
        """Both, once the process has started."""
        both = cls()
        await both.adviser.until_warm()
        return both

    async def stop(self) -> None:
        """Answer nobody any more."""
        self._warming.cancel()
        self.forecaster.close()
        await self.adviser.gone()
