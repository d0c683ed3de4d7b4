"""How fast this engineer speaks, learned from how long the said calls took on the channel.

One observation is a transmission that belongs to one call: its time, less the breath and the pauses at numerals, over
its words. The estimate is Huber's location of the last observations and of a prior that counts as ``PRIOR_CALLS`` of
them, on the logarithm of seconds per word, each weighted by its words. A call said with something else in the same
transmission, or a key held too long, is far off and hardly moves it; what no mouth can do is left out and counted.

The state is frozen and made of plain figures, so the journal can store it and a replay comes to the same estimate.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median

from pitwall.radio.speech import BREATH_S, NUMERAL_PAUSE_S, Numerals, spoken_words

SLOWEST_WPM = 60.0  # what the settings allow; Annex 10 names 100 a minute as the most, and no least
FASTEST_WPM = 260.0  # what the settings allow; 6.1 syllables a second (Nitta, Okazaki and Klinger) are hardly more
BELIEVED_WPM = (40.0, 320.0)  # outside of it the transmission was not this call
KEPT = 40
PRIOR_CALLS = 6
LEAST_WORDS = 3  # the press of the key is too large a share of anything shorter
HUBER = 1.345  # the usual constant: 95 % as good as the mean where all is normal
USUAL_SPREAD = 0.15  # of the logarithm, from call to call of one speaker (common practice, no source)
ROUNDS = 20
EARLY_S, LATE_S = 3.0, 8.0  # the key comes so long before the transmission begins, or after it ends, at most


@dataclass(frozen=True)
class SpeechRate:
    """What is known of one engineer's rate. Begin with ``SpeechRate(prior_wpm)`` from the settings.

    Attributes:
        prior_wpm: the rate believed before anything was heard.
        heard: the last observations as (seconds a word, words), oldest first, at most ``KEPT``.
        left_out: observations that no mouth can have made.
    """

    prior_wpm: float
    heard: tuple[tuple[float, int], ...] = ()
    left_out: int = 0

    def __post_init__(self) -> None:
        if not SLOWEST_WPM <= self.prior_wpm <= FASTEST_WPM:
            raise ValueError(f"a rate of {self.prior_wpm:g} words a minute is outside of what people speak")

    def after(self, text: str, took_s: float, numerals: Numerals = "numbers") -> SpeechRate:
        """The state after a call of this text took so long on the channel."""
        words, figures = spoken_words(text, numerals)
        if words < LEAST_WORDS:
            return self
        per_word = (took_s - BREATH_S - figures * NUMERAL_PAUSE_S) / words
        if not 60.0 / BELIEVED_WPM[1] <= per_word <= 60.0 / BELIEVED_WPM[0]:
            return replace(self, left_out=self.left_out + 1)
        return replace(self, heard=(*self.heard, (round(per_word, 4), words))[-KEPT:])

    @functools.cached_property  # asked for at every look at a car, and changed by a call that was said
    def words_per_minute(self) -> float:
        """The estimate, between ``SLOWEST_WPM`` and ``FASTEST_WPM``."""
        return _estimate(self.prior_wpm, self.heard)


def _estimate(prior_wpm: float, heard: tuple[tuple[float, int], ...]) -> float:
    usual = median(words for _, words in heard) if heard else 1.0
    values = [math.log(60.0 / prior_wpm)] * PRIOR_CALLS + [math.log(per_word) for per_word, _ in heard]
    weights = [float(usual)] * PRIOR_CALLS + [float(words) for _, words in heard]
    return min(max(60.0 / math.exp(_location(values, weights)), SLOWEST_WPM), FASTEST_WPM)


def _location(values: Sequence[float], weights: Sequence[float]) -> float:
    """Huber's location by weights that are worked out anew, from the weighted median on."""
    at = _weighted_median(values, weights)
    spread = max(_weighted_median([abs(value - at) for value in values], weights) / 0.6745, USUAL_SPREAD)
    for _ in range(ROUNDS):
        trust = [weight * min(1.0, HUBER * spread / max(abs(value - at), 1e-12))
                 for value, weight in zip(values, weights, strict=True)]
        at = sum(one * value for one, value in zip(trust, values, strict=True)) / sum(trust)
    return at


def _weighted_median(values: Sequence[float], weights: Sequence[float]) -> float:
    half, so_far = 0.5 * sum(weights), 0.0
    for value, weight in sorted(zip(values, weights, strict=True)):
        so_far += weight
        if so_far >= half:
            return value
    return values[0]


@dataclass(frozen=True, slots=True)
class Transmission:
    """The engineer had the channel, session seconds."""

    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class SaidCall:
    """A call that was said: its words, and when the key or the push-to-talk said so."""

    call: str
    text: str
    said_s: float


def matched(transmissions: Iterable[Transmission], said: Iterable[SaidCall]) -> tuple[tuple[SaidCall, float], ...]:
    """Which transmission was which call, with its length; only where there is no doubt.

    A call belongs to a transmission when its key was pressed during it or a little before or after. A transmission that
    could be two calls, and a call that could be two transmissions, teach nothing.
    """
    calls, found = list(said), []
    near = [
        (one, [call for call in calls if one.from_s - EARLY_S <= call.said_s <= one.to_s + LATE_S])
        for one in transmissions
    ]
    for one, candidates in near:
        if len(candidates) == 1 and sum(candidates[0] in others for _, others in near) == 1:
            found.append((candidates[0], one.to_s - one.from_s))
    return tuple(found)
