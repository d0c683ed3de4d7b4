"""Several cars through the same futures, where crews work on more than one of them.

Works that share a crew label do not overlap: in each future, who is ready first is worked on first, and the other car
waits for all of its crew. A pit box that two cars share is a crew like any other. A work that is under way at the
beginning keeps its crew. Runs without a common label never wait for each other: those cars are walked separately.

Who waits where is settled on the ends of stretches alone, work by work; then each car is walked once with the moments
at which its stretches begin. A longer work of one car may let the other go first: for several cars, unlike for one,
starting earlier is not always ending earlier.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from pitwall.forecast.calendar import Calendar, Slot
from pitwall.forecast.chain import WORKS, Chain, Indices, Path
from pitwall.forecast.pert import Floats
from pitwall.forecast.walk import NO_SLOTS, walk, work_end

Slots = Mapping[int, Slot]


def walk_together(
    chains: Sequence[Chain], begins: Sequence[Floats], calendar: Calendar, slots: Sequence[Slots] = (),
    started: bool = True,
) -> list[Path]:
    """Walk all cars through the futures.

    Args:
        chains: What each car has to do, durations drawn for the same N futures.
        begins: When each begins, shape (N,) each.
        calendar: Interruptions of those futures.
        slots: For each car what its runs ask of a window; see ``walk``.
        started: A lap begun before a flag may be finished.

    Returns:
        Each car's starts and ends, shape (A, N).
    """
    slots = slots or [NO_SLOTS] * len(chains)
    shared = shared_labels(chains)
    if not shared:
        return [walk(chain, begin, calendar, slots=own, started=started)
                for chain, begin, own in zip(chains, begins, slots, strict=True)]
    return _Sharing(chains, begins, calendar, slots, started, shared).walk()


def shared_labels(chains: Sequence[Chain]) -> frozenset[str]:
    """Labels of crews that work on more than one of these cars."""
    on = Counter(label for chain in chains for label in {name for one in chain.activities for name in one.crew})
    return frozenset(label for label, cars in on.items() if cars > 1)


class _Sharing:
    """The works of all cars in the order in which they come due, future by future."""

    def __init__(
        self, chains: Sequence[Chain], begins: Sequence[Floats], calendar: Calendar, slots: Sequence[Slots],
        started: bool, shared: frozenset[str],
    ) -> None:
        self._count = begins[0].size
        self._free = {label: np.full(self._count, -np.inf) for label in sorted(shared)}
        self._cars = [
            _Car(chain, _Way(chain, calendar, own, started, self._count), shared)
            for chain, own in zip(chains, slots, strict=True)
        ]
        self._begins = begins

    def walk(self) -> list[Path]:
        """Serve who is ready first, until nobody waits in any future."""
        everywhere = np.arange(self._count)
        ready = np.full((len(self._cars), self._count), np.inf)
        for number, (car, begin) in enumerate(zip(self._cars, self._begins, strict=True)):
            ready[number] = car.on_to_the_next(0, begin, everywhere)
            if car.works and car.way.chain.activities[car.works[0]].lasted_s > 0.0:
                ready[number] = self._serve(car, 0, ready[number], everywhere)
        while True:
            who = ready.argmin(axis=0)
            open_ = np.isfinite(ready[who, everywhere])
            if not open_.any():
                return [car.way.path() for car in self._cars]
            for number, car in enumerate(self._cars):
                mine = (open_ & (who == number)).nonzero()[0]
                at = car.served[mine]
                for work in np.unique(at):
                    futures = mine[at == work]
                    ready[number, futures] = self._serve(car, int(work), ready[number, futures], futures)

    def _serve(self, car: _Car, work: int, ready: Floats, futures: Indices) -> Floats:
        """Do this work of the car in these futures; returns when its next one is due, infinity where none is left."""
        index = car.works[work]
        activity = car.way.chain.activities[index]
        labels = [label for label in activity.crew if label in self._free]
        start = ready
        if activity.lasted_s <= 0.0:
            for label in labels:
                start = np.maximum(start, self._free[label][futures])
        duration = car.way.chain.durations[index][futures]
        for label in labels:
            self._free[label][futures] = start + duration
        end = work_end(activity, ready, start, duration)
        car.way.note(index, start, end, futures)
        car.served[futures] = work + 1
        return car.on_to_the_next(work + 1, end, futures)


class _Car:
    """One car: its works with a shared crew, and how many of them are done in each future."""

    def __init__(self, chain: Chain, way: _Way, shared: frozenset[str]) -> None:
        self.way = way
        self.works = [index for index, one in enumerate(chain.activities) if shared.intersection(one.crew)]
        self.served = np.zeros(way.count, dtype=np.intp)

    def on_to_the_next(self, work: int, t: Floats, futures: Indices) -> Floats:
        """Go on from ``t`` to where the work of this number is due: when that is, infinity where there is none."""
        first = self.works[work - 1] + 1 if work else 0
        if work == len(self.works):
            self.way.go(first, len(self.way.chain.activities), t, futures)
            return np.full(t.size, np.inf)
        return self.way.go(first, self.works[work], t, futures)


class _Way:
    """One car's way: moments of its stretches, future by future, and the path that follows from them."""

    def __init__(self, chain: Chain, calendar: Calendar, slots: Slots, started: bool, count: int) -> None:
        self.chain, self.count = chain, count
        self._calendar, self._slots, self._started = calendar, slots, started
        self._begins = {first: np.empty(count) for first, _ in chain.stretches}
        self._totals = {first: chain.durations[first:last].sum(axis=0) for first, last in chain.stretches}
        self._works: dict[int, Floats] = {}
        self._disturbed: list[tuple[int, int, Indices, Path]] = []
        self._from, self._to = np.full(count, np.inf), np.full(count, -np.inf)

    def go(self, first: int, last: int, t: Floats, futures: Indices) -> Floats:
        """Through the stretches from one activity up to another, from ``t``: when the last of them ends."""
        for begin, end in self.chain.stretches:
            if begin < first or begin >= last:
                continue
            activity = self.chain.activities[begin]
            if activity.not_before_s is not None:
                t = np.maximum(t, activity.not_before_s)
            self._begins[begin][futures] = t
            if activity.kind in WORKS:
                done: Floats = work_end(activity, t, t, self.chain.durations[begin][futures])
                self.note(begin, t, done, futures)
                t = done
            else:
                t = self._drive(begin, end, t, futures)
        return t

    def note(self, index: int, start: Floats, end: Floats, futures: Indices) -> None:
        """A work was done."""
        self._begins[index][futures] = start
        self._works.setdefault(index, np.empty(self.count))[futures] = end

    def _drive(self, first: int, last: int, t: Floats, futures: Indices) -> Floats:
        end: Floats = t + self._totals[first][futures]
        disturbed = self._disturbed_in(first, last, t, end, futures)
        if disturbed.size:
            path = self._walked(first, last, t[disturbed], futures[disturbed])
            self._disturbed.append((first, last, futures[disturbed], path))
            end[disturbed] = path.ends[-1]
        return end

    def _disturbed_in(self, first: int, last: int, t: Floats, end: Floats, futures: Indices) -> Indices:
        """Which of these futures must be walked lap by lap, by their place among them."""
        waits = any(activity.not_before_s is not None for activity in self.chain.activities[first + 1 : last])
        if waits or self._calendar.windows:
            return np.arange(futures.size)
        self._from[futures], self._to[futures] = t, end
        met = self._calendar.met(self._from, self._to)
        self._from[futures], self._to[futures] = np.inf, -np.inf
        place: Indices = np.searchsorted(futures, met)
        return place

    def _walked(self, first: int, last: int, t: Floats, futures: Indices) -> Path:
        part = self.chain.part(first, last)
        if not self._calendar.windows:
            return walk(part, t, self._calendar, futures)
        slots = {index - first: slot.only(futures) for index, slot in self._slots.items() if first <= index < last}
        return walk(part.only(futures), t, self._calendar.in_futures(futures), slots=slots, started=self._started)

    def path(self) -> Path:
        """Starts and ends of all activities in all futures."""
        shape = (len(self.chain.activities), self.count)
        made = Path(np.empty(shape), np.empty(shape))
        for first, last in self.chain.stretches:
            made.starts[first] = t = self._begins[first]
            if first in self._works:
                made.ends[first] = self._works[first]
                continue
            for index in range(first, last):
                made.starts[index] = t
                t = np.add(t, self.chain.durations[index], out=made.ends[index])
            if first == 0 and self.chain.under_way:
                made.starts[0] = -np.inf
        for first, last, futures, path in self._disturbed:
            made.starts[first:last, futures], made.ends[first:last, futures] = path.starts, path.ends
        return made
