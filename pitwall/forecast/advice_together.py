"""One plan for all cars of the team in all futures: what of each run is done, with the crews that the cars share.

A crew serves one car at a time, the one that is in first; the other waits (ties: the car named first). Only futures in
which two works would overlap are gone through in that order; in all others each car keeps its own times. Sharing only
ever delays, so what a car could do alone is a bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_driving import Driven, drive
from pitwall.forecast.advice_pieces import Piece
from pitwall.forecast.interruptions import Calendar
from pitwall.forecast.pert import Floats

Bools = NDArray[np.bool_]


@dataclass
class _Car:
    """One car's pieces and what came of each, shape (N,) in each array."""

    pieces: Sequence[Piece]
    driven: list[Driven]

    def shared(self, place: int, labels: frozenset[str]) -> frozenset[str]:
        """Who is needed for the work after that piece and serves another car too; nobody after the last."""
        return labels & set(self.pieces[place].crew) if place < len(self.pieces) - 1 else frozenset()


def drive_together(
    cars: Sequence[Sequence[Piece]], begins: Sequence[Floats], calendar: Calendar, spared: Sequence[int] = ()
) -> list[list[Driven]]:
    """Drive every car's pieces.

    Args:
        cars: Per car its pieces, in order.
        begins: Per car, shape (N,): when it is ready for the first.
        calendar: The futures.
        spared: Per car the piece after which no work is left to do (it was pulled forward); -1: none.

    Returns:
        Per car and piece what came of it, with one row.
    """
    team = []
    for number, (pieces, begin) in enumerate(zip(cars, begins, strict=True)):
        team.append(_Car(pieces, _alone(pieces, begin, calendar, spared[number] if spared else -1)))
    labels = shared_crews(cars)
    if labels and not spared:
        clash = _clashes(team, labels, begins[0].size)
        if clash.any():
            _in_turn(team, labels, clash, calendar)
    return [car.driven for car in team]


def shared_crews(cars: Sequence[Sequence[Piece]]) -> frozenset[str]:
    """Who works on more than one car."""
    seen: dict[str, int] = {}
    for pieces in cars:
        for label in sorted({label for piece in pieces for label in piece.crew}):
            seen[label] = seen.get(label, 0) + 1
    return frozenset(label for label, count in seen.items() if count > 1)


def _alone(pieces: Sequence[Piece], begin: Floats, calendar: Calendar, spared: int) -> list[Driven]:
    ready, found = begin[None, :], []
    for place, piece in enumerate(pieces):
        driven = drive(piece, ready, calendar)
        found.append(driven)
        ready = driven.parked if place == spared else driven.parked + piece.work
    return found


def _clashes(team: Sequence[_Car], labels: frozenset[str], futures: int) -> Bools:
    """In which futures two works of one crew would overlap."""
    works = [
        (number, car.shared(place, labels), car.driven[place].parked[0], piece.work)
        for number, car in enumerate(team)
        for place, piece in enumerate(car.pieces)
        if car.shared(place, labels)
    ]
    clash = np.zeros(futures, dtype=np.bool_)
    for i, (number, crew, begin, work) in enumerate(works):
        for other, others, at, lasts in works[i + 1 :]:
            if number != other and crew & others:
                clash |= (begin < at + lasts) & (at < begin + work)
    return clash


def _in_turn(team: Sequence[_Car], labels: frozenset[str], clash: Bools, calendar: Calendar) -> None:
    """Go through those futures work by work, whoever is in first."""
    futures = clash.size
    place = [np.zeros(futures, dtype=np.intp) for _ in team]
    free = {label: np.full(futures, -np.inf) for label in sorted(labels)}
    while True:
        waits = np.array([_next_in(car, at) for car, at in zip(team, place, strict=True)])
        first = waits.argmin(axis=0)
        open_ = clash & np.isfinite(waits.min(axis=0))
        if not open_.any():
            return
        for number, car in enumerate(team):
            mine = open_ & (first == number)
            for step in sorted(set(place[number][mine].tolist())):
                _serve(car, step, mine & (place[number] == step), free, labels, calendar)
            place[number][mine] += 1


def _next_in(car: _Car, place: NDArray[np.intp]) -> Floats:
    """When the car is in for its next work, infinity when none is left."""
    found = np.full(place.size, np.inf)
    for step in range(len(car.pieces) - 1):
        here = place == step
        found[here] = car.driven[step].parked[0][here]
    return found


def _serve(
    car: _Car, step: int, which: Bools, free: dict[str, Floats], labels: frozenset[str], calendar: Calendar
) -> None:
    piece, parked = car.pieces[step], car.driven[step].parked[0]
    begin = parked.copy()
    crew = sorted(car.shared(step, labels))
    for label in crew:
        begin = np.maximum(begin, free[label])
    ready = begin + piece.work
    for label in crew:
        free[label] = np.where(which, ready, free[label])
    known = car.driven[step + 1]
    ahead = drive(car.pieces[step + 1], np.where(which, ready, parked + piece.work)[None, :], calendar)
    car.driven[step + 1] = Driven(
        np.where(which, ahead.parked, known.parked),
        tuple(np.where(which, new, old) for new, old in zip(ahead.counts, known.counts, strict=True)),
    )
