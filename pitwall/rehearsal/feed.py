"""The timing feed: takes the truth and sends it late, twice, in the wrong order, or not at all."""

from __future__ import annotations

import math
from collections.abc import Callable

from pitwall.model.events import CarCrossed, CarPitted, ClockReported, Fact, StatusChanged
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.draws import Rng, Streams, happens
from pitwall.rehearsal.scenario import FeedFaults
from pitwall.rehearsal.truth import FeedCounts

P99 = 2.3263478740408408  # the 99th percentile of the standard normal distribution
HELD_BACK_S = (2.0, 15.0)


class Feed:
    """Sends facts. Each sender has its own stream of draws."""

    def __init__(self, faults: FeedFaults, agenda: Agenda, send: Callable[[Fact], None], streams: Streams) -> None:
        self._faults, self._agenda, self._send, self._streams = faults, agenda, send, streams
        self._rngs: dict[str, Rng] = {}
        self._sent = self._lost = self._doubled = self._held = 0
        self._silent: list[tuple[float, float]] = []
        median = max(faults.delay_median_s, 1e-6)
        self._log_median = math.log(median)
        self._sigma = math.log(max(faults.delay_p99_s, median) / median) / P99

    def crossing(self, fact: CarCrossed | CarPitted) -> None:
        """A car was seen: the kind of fact that a feed loses, doubles and holds back."""
        rng = self._stream(fact.car)
        delay = self._delay(rng)
        lost, doubled = happens(rng, self._faults.lost), happens(rng, self._faults.doubled)
        held, hold = happens(rng, self._faults.out_of_order), float(rng.uniform(*HELD_BACK_S))
        again, renamed = self._delay(rng), happens(rng, 0.5)
        if lost or self._speaks_again(fact.t) > fact.t:
            self._lost += 1
            return
        if held:
            self._held += 1
            delay += hold
        self._later(fact.t + delay, fact)
        if doubled:
            self._doubled += 1
            second = fact.model_copy(update={"id": f"{fact.id}-again"}) if renamed else fact
            self._later(fact.t + delay + again, second)

    def message(self, fact: Fact, sender: str) -> None:
        """Late like everything else, but sure to come: status (after a silence of the feed), telemetry."""
        sent_t = self._speaks_again(fact.t) if isinstance(fact, StatusChanged) else fact.t
        self._later(sent_t + self._delay(self._stream(sender)), fact)

    def at_once(self, fact: Fact) -> None:
        """Sent in the moment it is made: the clock message, whose time is the time of sending, and keys at the desk."""
        if isinstance(fact, ClockReported) and self._speaks_again(fact.t) > fact.t:
            return
        self._sent += 1
        self._send(fact)

    def falls_silent(self, begin: float, end: float) -> None:
        """Nothing of the timing is sent between these moments; telemetry and the desk are not the feed's."""
        self._silent.append((begin, end))

    def _speaks_again(self, t: float) -> float:
        """The end of the silence at ``t``; ``t`` when there is none."""
        return max((end for begin, end in self._silent if begin <= t < end), default=t)

    def counts(self) -> FeedCounts:
        """What happened so far."""
        return FeedCounts(sent=self._sent, lost=self._lost, doubled=self._doubled, held_back=self._held)

    def _stream(self, sender: str) -> Rng:
        if sender not in self._rngs:
            self._rngs[sender] = self._streams.stream("feed", sender)
        return self._rngs[sender]

    def _delay(self, rng: Rng) -> float:
        drawn = math.exp(self._log_median + self._sigma * float(rng.standard_normal()))
        return min(drawn, self._faults.delay_worst_s)

    def _later(self, t: float, fact: Fact) -> None:
        def deliver(_: float) -> None:
            self._sent += 1
            self._send(fact)

        self._agenda.at(t, deliver)
