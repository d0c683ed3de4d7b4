"""Who answers questions for advice: in virtual time inline, after a fixed latency.

The function itself (``AdviceQuestion -> AdviceAnswer``) is handed in: the runtime knows no forecast.
"""

from __future__ import annotations

from collections.abc import Callable

from pitwall.model.advice import AdviceAnswer, AdviceQuestion
from pitwall.model.outputs import AdviceWanted
from pitwall.runtime.forecaster import InlineWork
from pitwall.runtime.ports import Clock

AdviceFunction = Callable[[AdviceQuestion], AdviceAnswer]


class InlineAdviser(InlineWork[AdviceWanted, AdviceAnswer]):
    """Advice in virtual time."""

    def __init__(self, work: AdviceFunction, clock: Clock, latency_s: float = 2.0) -> None:
        super().__init__(lambda wanted: work(wanted.question), clock, latency_s)
