"""How soon this engineer begins a call that may be begun, learned from when the radio desk heard the first word.

A prompt says from when to when a call may be begun. Who begins a second later than another needs windows that leave a
second more: one that leaves less goes by while the breath is drawn, and so does the next. The wait from the moment at
which a call could be begun to the first word is taken for lognormal, as waits of people commonly are (Luce, Response
Times, 1986, from memory), with a spread that does not change and a median that is learned: a weight for each of
``MEDIANS_S``, moved by every wait. A window that closed before the call was begun tells that the wait would have been
longer than it was open; were only the calls counted that were begun in their window, everybody would look quick. Some
of either tell nothing, for the engineer was busy with something else.

The state is frozen and made of plain figures, so a replay comes to the same estimate.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

MEDIANS_S = tuple(0.2 * 20.0 ** (step / 24) for step in range(25))
"""The medians that are thought possible, 0.2 to 4 s."""
SPREAD = 0.6  # of the logarithm, from call to call of one engineer (common practice, no source)
USUAL_S, USUAL_SPREAD = 0.6, 0.5  # the median that is believed of an engineer who was never heard, and how firmly
NINE_IN_TEN = 1.2816  # of the standard normal distribution
BUSY, BUSY_DENSITY = 0.1, 0.05  # so many waits tell nothing: they may be of any length
FORGETS = 0.97  # each wait leaves so much of what was learned before: people tire, and hand over
LEAST_S = 0.1


@dataclass(frozen=True)
class Begins:
    """What is known of one engineer's waits. ``learned``: what they add to the prior, a logarithm for each median."""

    learned: tuple[float, ...] = (0.0,) * len(MEDIANS_S)

    def after(self, waited_s: float, *, begun: bool) -> Begins:
        """The state after a call that could be begun was begun after ``waited_s``, or was not begun for so long."""
        at = math.log(max(waited_s, LEAST_S))
        tell = _begun if begun else _not_begun
        return Begins(tuple([
            FORGETS * known + tell((at - math.log(median)) / SPREAD)
            for known, median in zip(self.learned, MEDIANS_S, strict=True)
        ]))  # fmt: skip

    @functools.cached_property
    def within_s(self) -> float:
        """Nine calls in ten are begun within this, seconds."""
        logs = [known + prior for known, prior in zip(self.learned, _PRIOR, strict=True)]
        most = max(logs)
        weights = [math.exp(one - most) for one in logs]
        mean = sum(weight * math.log(median) for weight, median in zip(weights, MEDIANS_S, strict=True)) / sum(weights)
        return math.exp(mean + NINE_IN_TEN * SPREAD)


def _begun(z: float) -> float:
    return math.log((1.0 - BUSY) * math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) + BUSY * BUSY_DENSITY)


def _not_begun(z: float) -> float:
    return math.log((1.0 - BUSY) * 0.5 * math.erfc(z / math.sqrt(2.0)) + BUSY)


_PRIOR = tuple(-0.5 * (math.log(median / USUAL_S) / USUAL_SPREAD) ** 2 for median in MEDIANS_S)
