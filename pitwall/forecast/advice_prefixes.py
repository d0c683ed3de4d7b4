"""What one car may do first, driven through all futures, and what a search of that car brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_rules import Sequel
from pitwall.forecast.pert import Floats

SAME = 1e-9
"""Worths closer than this are equal: sums in another order differ by rounding."""


@dataclass(frozen=True)
class Found:
    """One car's sequel, judged on its own: net worth (changes counted), worth, where its musts are done (N,)."""

    sequel: Sequel
    mask: int
    net: float
    worth: float
    sure: NDArray[np.bool_]
    chance: float

    @property
    def rank(self) -> tuple[float, int, Sequel]:
        """Best first; ties in a fixed order."""
        return (-round(self.net, 9), len(self.sequel), self.sequel)


@dataclass
class Prefixes:
    """What a car may do first: B of them, with arrays over the futures."""

    sequels: list[Sequel]
    masks: NDArray[np.int64]
    ready: Floats
    sure: NDArray[np.bool_]
    worth: Floats
    pending: Floats
    counted: NDArray[np.bool_]
    edits: Floats

    def rows(self, rows: NDArray[np.intp]) -> Prefixes:
        """Some of them."""
        return Prefixes(
            [self.sequels[row] for row in rows], self.masks[rows], self.ready[rows], self.sure[rows], self.worth[rows],
            self.pending[rows], self.counted[rows], self.edits[rows],
        )

    @staticmethod
    def joined(many: Sequence[Prefixes]) -> Prefixes:
        """All of them, one behind the other."""
        return Prefixes(
            [sequel for one in many for sequel in one.sequels],
            *(np.concatenate([getattr(one, name) for one in many])
              for name in ("masks", "ready", "sure", "worth", "pending", "counted", "edits")),
        )


@dataclass
class Harvest:
    """What a search of one car brought: the best plan of each set of runs, and how far beyond them any can be."""

    best: dict[int, Found] = field(default_factory=dict)
    above: dict[Sequel, Found] = field(default_factory=dict)
    bound: float = -np.inf
    exact: bool = True
    nodes: int = 0

    @property
    def plans(self) -> list[Found]:
        """Every plan kept, best first."""
        every = {found.sequel: found for found in (*self.best.values(), *self.above.values())}
        return sorted(every.values(), key=lambda found: found.rank)
