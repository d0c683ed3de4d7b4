"""What the cars that share crews may do first, all together, with the works behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_crews import Crews, Flags
from pitwall.forecast.advice_prefixes import Prefixes
from pitwall.forecast.advice_search import CarSearch
from pitwall.forecast.pert import Floats

OPEN, GOES_ON, ENDS = 0, 1, 2


@dataclass
class Beginnings:
    """B beginnings of K cars together.

    Attributes:
        cars: Per car its own; ``ready`` supposes that it never waits for the work after its last piece, until served.
        says: Shape (B, K): whether the car goes on behind it.
        served: Shape (B, K, N): the work after its last piece is done, or there is none with a shared crew.
        crews: The crews.
        most: Shape (B,): no plan that begins so can be worth more.
    """

    cars: tuple[Prefixes, ...]
    says: NDArray[np.int8]
    served: Flags
    crews: Crews
    most: Floats

    def rows(self, rows: NDArray[np.intp]) -> Beginnings:
        """Some of them; a copy."""
        return Beginnings(tuple(own.rows(rows) for own in self.cars), self.says[rows], self.served[rows],
                          self.crews.rows(rows), self.most[rows])

    @staticmethod
    def joined(many: Sequence[Beginnings]) -> Beginnings:
        """All of them, one behind the other."""
        return Beginnings(
            tuple(Prefixes.joined([one.cars[number] for one in many]) for number in range(len(many[0].cars))),
            np.concatenate([one.says for one in many]), np.concatenate([one.served for one in many]),
            Crews.joined([one.crews for one in many]), np.concatenate([one.most for one in many]),
        )

    def __len__(self) -> int:
        return len(self.most)

    @property
    def whole(self) -> Flags:
        """Nothing is added any more, shape (B,)."""
        ended: Flags = (self.says == ENDS).all(axis=1)
        return ended


class Works:
    """The works behind one car's pieces that a shared crew does."""

    def __init__(self, search: CarSearch, labels: Sequence[str]) -> None:
        pieces = search.model.pieces
        self.needs = np.zeros((len(pieces) + 1, len(labels)), dtype=np.bool_)  # the last row: no piece yet
        self._lasts = np.zeros((len(pieces) + 1, search.calendar.session_end.size))
        for number, piece in enumerate(pieces):
            self.needs[number] = [label in piece.crew for label in labels]
            if self.needs[number].any():
                self._lasts[number] = piece.work

    def of(self, own: Prefixes) -> Flags:
        """Who does the work behind each of these, shape (B, L)."""
        found: Flags = self.needs[_last(own)]
        return found

    def lasts(self, own: Prefixes) -> Floats:
        """How long the work behind each takes, shape (B, N); nothing where no shared crew does it."""
        found: Floats = self._lasts[_last(own)]
        return found


def _last(own: Prefixes) -> list[int]:
    return [sequel[-1] if sequel else -1 for sequel in own.sequels]
