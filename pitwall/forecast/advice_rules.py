"""What a car may do next: the plan's constraints, and how far a sequence is from the plan as it stands."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from pitwall.forecast.advice_may_do import pieces_of
from pitwall.forecast.advice_pieces import Drawn, Piece
from pitwall.model.advice import AdviceQuestion, RunChoice
from pitwall.model.outlook import CarSnapshot

Sequel = tuple[int, ...]
"""What one car does: pieces by their numbers, in order."""


def tied(question: AdviceQuestion, run: int) -> bool:
    """The run stands in relation to others of its plan: it is done by its own car."""
    choice = question.choices[run]
    if choice.before or choice.same_as or choice.group or choice.equal_age_with or choice.under_way:
        return True
    own = [other for other in question.choices if other.car == choice.car]
    return any(choice.run in (*other.before, other.same_as, other.equal_age_with) for other in own)


@dataclass(frozen=True)
class CarModel:
    """One car with all that it may do.

    Attributes:
        car: Its number.
        runs: The choices that it may do, by their places in the question: its own first, in order, then visitors.
        pieces: What it may do of them.
        masks, forbids, needs: Per piece, as bits of ``runs``: what it holds, what must not have been done before it,
            and what must.
        musts: Bits of the musts that only this car can do.
        groups: Bits of each group.
        first: The pieces that must come first (a run is under way), none: any may.
    """

    car: str
    runs: tuple[int, ...]
    own: int
    pieces: tuple[Piece, ...]
    masks: tuple[int, ...]
    forbids: tuple[int, ...]
    needs: tuple[int, ...]
    musts: int
    groups: tuple[int, ...]
    first: tuple[int, ...]
    choices: tuple[RunChoice, ...]
    set_before: dict[int, int]

    @classmethod
    def of(
        cls, question: AdviceQuestion, car: CarSnapshot, drawn: dict[str, Drawn], doable: frozenset[int]
    ) -> CarModel:
        """The model of this car; ``doable`` are the choices that can be done at all, in the session."""
        choices = question.choices
        own = [i for i in sorted(doable) if choices[i].car == car.car]
        visitors = [i for i in sorted(doable) if car.car in choices[i].also_on and not tied(question, i)
                    and choices[i].car != car.car]
        runs = own + visitors
        pieces = pieces_of(question, car, runs, drawn)
        bit = {run: 1 << place for place, run in enumerate(runs)}
        under_way = [i for i in own if choices[i].under_way]
        cars = {one.car for one in question.snapshot.cars}
        alone = [i for i in own if choices[i].want == "must"
                 and (tied(question, i) or not cars & set(choices[i].also_on))]
        labels = sorted({str(choices[i].group) for i in own if choices[i].group is not None})
        first = tuple(n for n, piece in enumerate(pieces) if under_way and piece.runs[0] == under_way[0])
        return cls(
            car=car.car,
            runs=tuple(runs),
            own=len(own),
            pieces=tuple(pieces),
            masks=tuple(sum(bit[run] for run in piece.runs) for piece in pieces),
            forbids=tuple(_forbidden(question, piece, bit) for piece in pieces),
            needs=tuple(_needed(question, piece, bit) for piece in pieces),
            musts=sum(bit[i] for i in alone),
            groups=tuple(sum(bit[i] for i in own if choices[i].group == label) for label in labels),
            first=first,
            choices=tuple(choices[run] for run in runs),
            set_before=_laps_before(question, own, pieces),
        )

    def allows(self, sequel: Sequel) -> bool:
        """Is this sequel within all the rules?"""
        done = 0
        for place, number in enumerate(sequel):
            if done & (self.masks[number] | self.forbids[number]) or (done & self.needs[number]) != self.needs[number]:
                return False
            if not self.within_tyres(sequel[: place + 1]):
                return False
            done |= self.masks[number]
        return not self.first or sequel[:1] == () or sequel[0] in self.first

    def within_tyres(self, sequel: Sequel) -> bool:
        """Do its sets last, and are they as old as the comparison needs, with the last piece added?"""
        on_set, shifts = self._on_sets(sequel)
        last = self.pieces[sequel[-1]]
        for part, (label, _) in zip(last.parts, last.laps, strict=True):
            left = self._choice(part.run).tyre_laps_left
            if left is not None and on_set[label] > left:
                return False
        return all(self._equal_age(run, shifts) for run in last.runs)

    def _on_sets(self, sequel: Sequel) -> tuple[dict[str, int], dict[int, int]]:
        """Laps done on each set, and per run how much older its set was than with the plan as it stands."""
        on_set: dict[str, int] = {}
        shifts: dict[int, int] = {}
        for number in sequel:
            piece = self.pieces[number]
            for part, (label, laps) in zip(piece.parts, piece.laps, strict=True):
                before = on_set.get(label, 0)
                shifts[part.run] = before - self.set_before.get(part.run, 0)
                on_set[label] = before + laps
        return on_set, shifts

    def worn(self, sequel: Sequel) -> tuple[tuple[tuple[str, int], ...], tuple[tuple[int, int], ...]]:
        """All that :meth:`within_tyres` will ask of this beginning: laps on each set, ages of runs to be compared."""
        on_set, shifts = self._on_sets(sequel)
        compared = {name for one in self.choices if one.equal_age_with for name in (one.equal_age_with, one.run)}
        ages = ((run, shift) for run, shift in shifts.items() if self._choice(run).run in compared)
        return tuple(sorted(on_set.items())), tuple(sorted(ages))

    def _equal_age(self, run: int, shifts: dict[int, int]) -> bool:
        choice = self._choice(run)
        for place, other in enumerate(self.choices[: self.own]):
            if choice.run == other.equal_age_with or choice.equal_age_with == other.run:
                partner = self.runs[place]
                if partner in shifts and shifts[partner] != shifts[run]:
                    return False
        named = choice.equal_age_with
        if named is not None and all(other.run != named for other in self.choices[: self.own]):
            return shifts[run] == 0  # its partner is done: the age is settled
        return True

    def _choice(self, run: int) -> RunChoice:
        return self.choices[self.runs.index(run)]

    @property
    def has_tyre_rules(self) -> bool:
        """Whether :meth:`within_tyres` can ever say no."""
        return any(one.tyre_laps_left is not None or one.equal_age_with is not None for one in self.choices)

    def edits(self, sequel: Sequel) -> int:
        """Changes so far: shortened, merged or moved runs. Those left out, or done elsewhere, count with their own car
        once its plan is whole."""
        own = self._order(sequel)
        return sum(self.pieces[number].edits for number in sequel) + len(own) - len(_tops(own))

    def tops(self, sequel: Sequel) -> list[int]:
        """How early in the plan the runs that need not be moved may end, by their number (see :func:`_tops`)."""
        return _tops(self._order(sequel))

    def _order(self, sequel: Sequel) -> list[int]:
        places = (self.places[run] for number in sequel for run in self.pieces[number].runs)
        return [place for place in places if place < self.own]

    @cached_property
    def places(self) -> dict[int, int]:
        """Each run's place in the plan."""
        return {run: place for place, run in enumerate(self.runs)}


def _tops(places: Sequence[int]) -> list[int]:
    """Patience sorting: entry k is the least place with which a rising subsequence of k + 1 runs can end. Their number
    is how many runs need not be moved; the lower they are, the more may follow."""
    tops: list[int] = []
    for place in places:
        at = bisect_left(tops, place)
        tops[at : at + 1] = [place]
    return tops


def _forbidden(question: AdviceQuestion, piece: Piece, bit: dict[int, int]) -> int:
    """Runs that must not have been done before this piece: those that come after one of its runs."""
    choices, found = question.choices, 0
    for run in piece.runs:
        for other, value in bit.items():
            same = choices[other].car == choices[run].car
            if same and (choices[other].run in choices[run].before or choices[other].same_as == choices[run].run):
                found |= value
    for place, run in enumerate(piece.runs):
        if any(choices[earlier].run in choices[run].before for earlier in piece.runs[:place]):
            found |= bit[run]
    return found


def _needed(question: AdviceQuestion, piece: Piece, bit: dict[int, int]) -> int:
    choices, found = question.choices, 0
    for place, run in enumerate(piece.runs):
        for other, value in bit.items():
            if choices[other].car == choices[run].car and choices[other].run == choices[run].same_as:
                found |= 0 if other in piece.runs[:place] else value
    return found


def _laps_before(question: AdviceQuestion, own: list[int], pieces: list[Piece]) -> dict[int, int]:
    """Laps that the plan as it stands does on each run's set before it."""
    whole = {piece.runs[0]: piece.laps[0] for piece in reversed(pieces) if len(piece.parts) == 1 and not piece.edits}
    on_set: dict[str, int] = {}
    found = {}
    for run in own:
        if run in whole:
            label, laps = whole[run]
            found[run] = on_set.get(label, 0)
            on_set[label] = found[run] + laps
    return found


def as_it_stands(model: CarModel) -> Sequel:
    """The plan as it stands: every run that can be done, whole, in its order."""
    whole = {
        piece.runs[0]: number
        for number, piece in reversed(list(enumerate(model.pieces)))
        if len(piece.parts) == 1 and not piece.edits
    }
    return tuple(whole[run] for run in model.runs[: model.own])


