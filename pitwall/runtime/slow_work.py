"""Slow work: what the engine asks for is worked out beside its thread, and comes back as a fact."""

from __future__ import annotations

from collections.abc import Callable

from pitwall.model.events import AdviceReady, Event, ForecastReady
from pitwall.model.outputs import AdviceWanted, ForecastWanted
from pitwall.runtime.ports import Adviser, Forecaster

MakeFact = Callable[[str, float], Event]
"""Makes the fact of an answer, from its id and session second."""


class SlowWork:
    """Hands each question to whoever answers that kind."""

    def __init__(self, forecaster: Forecaster, adviser: Adviser | None = None) -> None:
        """Without an adviser no advice is given; the question stays open."""
        self._forecaster, self._adviser = forecaster, adviser

    def ask(self, wanted: ForecastWanted | AdviceWanted, ready: Callable[[str, MakeFact], None]) -> None:
        """Have it worked out; ``ready`` is called with the kind of the fact and what makes it, later, on the host's
        loop."""
        revision = wanted.revision
        if isinstance(wanted, ForecastWanted):
            self._forecaster.ask(wanted, lambda found: ready(
                "forecast", lambda name, t: ForecastReady(id=name, t=t, revision=revision, answer=found)))
        elif self._adviser is not None:
            self._adviser.ask(wanted, lambda found: ready(
                "advice", lambda name, t: AdviceReady(id=name, t=t, revision=revision, answer=found)))
