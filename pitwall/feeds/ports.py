"""What a source of timing offers to the rest of pitwall."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Protocol, runtime_checkable

from pitwall.model.events import CarCrossed, CarPitted, CarSighted, ClockReported, StatusChanged, WeatherReported

TimingFact = CarCrossed | CarPitted | CarSighted | StatusChanged | WeatherReported | ClockReported
"""What a feed may say."""

Send = Callable[[TimingFact], None]
"""Takes a fact to wherever it goes: the bus, or the host."""


@runtime_checkable
class Feed(Protocol):
    """A source of timing that is known beforehand, such as a recording."""

    def __iter__(self) -> Iterator[tuple[float, TimingFact]]:
        """Each fact with the session second at which the source says it, in that order.

        That second is never before the fact's own ``t``: messages come late, never early.
        """


class Armed(Protocol):
    """A wake-up that was armed."""

    def cancel(self) -> None:
        """Forget it."""


class FeedClock(Protocol):
    """The part of a clock that a feed needs; every clock of the runtime has it."""

    def now(self) -> float:
        """Session seconds."""

    def call_at(self, t: float, action: Callable[[], None]) -> Armed:
        """Call ``action`` once ``now() >= t``."""
