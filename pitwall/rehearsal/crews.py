"""Who works on the cars: nobody on two at once. The plans say which people a stop needs, by the labels in ``crew``."""

from __future__ import annotations

from collections.abc import Iterable


class Crews:
    """When each of the people is free again. Who comes in first is worked on first."""

    def __init__(self) -> None:
        self._free_s: dict[str, float] = {}

    def take(self, crew: Iterable[str], t: float, work_s: float) -> float:
        """A car came in at ``t`` for a work of so many seconds: when it is done."""
        labels = tuple(crew)
        done = max([t, *(self._free_s.get(label, t) for label in labels)]) + work_s
        self._free_s.update(dict.fromkeys(labels, done))
        return done
