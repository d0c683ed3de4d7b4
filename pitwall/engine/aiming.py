"""When to say what must be said and has no listening stretch that is sure: at the moment that is likeliest to be heard.

A call that finds no place in the plan is said outside the stretches rather than not at all. Even so the driver hears
it better here than there: some stretch may only be too short to be sure of, or not quite where it is believed. So the
moment is chosen for which the first word, which this engineer begins some time after the prompt, most likely falls
where the driver listens to the end.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from pitwall.engine.situation import Situation
from pitwall.radio.begins import NINE_IN_TEN, SPREAD
from pitwall.radio.pending import Spans

WAITS = tuple([math.exp(SPREAD * (z - NINE_IN_TEN)) for z in (-1.2816, -0.5244, 0.0, 0.5244, 1.2816)])
"""Shares of ``begins_within_s`` at which a tenth, three, five, seven and nine tenths of the waits are over."""
STEP_S = 0.3
AT_ONCE_PER_S, PATIENT_PER_S = 0.1, 0.02
"""What a second of waiting costs, as a share of being heard: for news of danger, and for what has time to its
deadline (choices of ours)."""


def aimed_s(
    at: Situation, stretches: Spans, spoken_s: float, from_s: float, by_s: float, *, at_once: bool,
    taken: Iterable[tuple[float, float]] = (),
) -> float:
    """When a call is best shown as due.

    Args:
        at: the moment, with what is known of how soon this engineer begins.
        stretches: where the driver is believed to listen, session seconds.
        spoken_s: how long the words take.
        from_s, by_s: from when to when it may be begun.
        at_once: it is news that does not wait long.
        taken: when other calls have the channel.

    Returns:
        a session second, ``from_s`` where no later moment is better.
    """
    waits = [share * at.begins_within_s for share in WAITS]
    cost, busy = AT_ONCE_PER_S if at_once else PATIENT_PER_S, tuple(taken)

    def worth(begin: float) -> float:
        heard = sum(_within(begin + wait, begin + wait + spoken_s, stretches) for wait in waits) / len(waits)
        clash = any(start < begin + waits[-1] + spoken_s and end > begin for start, end in busy)
        return (0.0 if clash else heard) - cost * (begin - from_s)

    steps = max(0, int((by_s - waits[-1] - from_s) / STEP_S))
    return max([from_s + STEP_S * step for step in range(steps + 1)], key=worth)


def _within(begin: float, end: float, stretches: Spans) -> bool:
    return any(start <= begin and end <= stop for start, stop in stretches)
