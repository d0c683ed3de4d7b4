"""No plan that begins like this can be worth more: bounds for the search, future by future.

Theory. In one future let T be the time left, c the time that a run takes (its laps, and the work before another run),
and w its worth. Whatever is done, in whatever order, takes at most T up to the last mark that counts; what the last
run takes after its mark (the rest of its lap, the in-lap, the work) is not needed, so at most T + tail is spent. That
is a knapsack, and for any price p of a second

    worth <= p (T + tail) + sum over runs of the largest max(0, w - p c) of its lengths.

The least over a set of prices is the bound (the Lagrangian relaxation of the knapsack; Martello and Toth 1990, chapter
2). Where red flags stop the running the same holds of green time and of laps that no red lets go on: both are taken.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_pieces import Piece, weight
from pitwall.forecast.advice_rules import CarModel
from pitwall.forecast.calendar import Calendar
from pitwall.forecast.pert import Floats

MOST_PRICES = 10


class Bounds:
    """What can still be had by one car, from what is still to be done and when it is ready."""

    def __init__(self, model: CarModel, calendar: Calendar) -> None:
        self._model, self._calendar = model, calendar
        self._end = calendar.session_end
        self._alone = [
            [piece for piece in model.pieces if piece.runs == (run,)] for run in model.runs
        ]
        merged = {run for piece in model.pieces for run in piece.runs[1:]}
        followed = {run for piece in model.pieces for run in piece.runs[:-1]}
        self._saved = [self._saving(place, run in merged, run in followed) for place, run in enumerate(model.runs)]
        self._disturbed = bool(np.isfinite(calendar.red.starts).any()) and not calendar.windows
        self._all = self._table(green=False)
        self._green = self._table(green=True) if self._disturbed else None
        self._needed: dict[int, Floats] = {}

    def _saving(self, place: int, merged: bool, followed: bool) -> tuple[Floats, Floats, Floats]:
        """Seconds of the out-lap, and of in-lap and work, that may fall away when runs follow without a stop; and
        whether: shape (N,) each. The last is the out-lap, for the distance to the first mark."""
        piece = self._alone[place][0]
        kinds = np.array([one.kind for one in piece.chain.activities])
        out = piece.chain.durations[kinds == "out"].sum(axis=0) * float(merged)
        back = piece.chain.durations[kinds == "in"].sum(axis=0) * float(followed)
        return out, back, piece.work * float(followed)

    def _table(self, *, green: bool) -> _Table:
        table = _Table(self._end.shape[0])
        for place, pieces in enumerate(self._alone):
            out, back, work = self._saved[place]
            costs, shares, tail, first = [], [], np.zeros_like(self._end), None
            for piece in pieces:
                part = piece.parts[0]
                until = (piece.until_green_mark if green else piece.until_mark)[0]
                whole = piece.green_length if green else piece.length + piece.work
                cost = whole - out - (0.0 if green else back + work)
                costs.append(np.maximum(cost, 0.0))
                shares.append(float(part.shares[-1]))
                if len(until):
                    tail = np.maximum(tail, whole - until[-1])
                    fewest = int(np.argmax(part.shares > 0)) - 1
                    near = until[max(fewest, 0)] - out
                    first = near if first is None else np.minimum(first, near)
            table.add(weight(self._model.choices[place]), costs, shares, tail,
                      np.zeros_like(self._end) if first is None else first)
        table.finish()
        return table

    def green_left(self, ready: Floats) -> Floats:
        """Seconds without a red flag from ``ready`` to the end, shape as ``ready``."""
        red = np.zeros_like(ready)
        for start, end in zip(self._calendar.red.starts[:-1], self._calendar.red.ends[:-1], strict=True):
            within = np.minimum(end, self._end) - np.maximum(start, ready)
            np.maximum(within, 0.0, out=within)
            red += np.where(np.isfinite(within), within, 0.0)
        left: Floats = self._end - ready - red
        return left

    def worth(self, rest: NDArray[np.int64], ready: Floats) -> Floats:
        """The most that the runs ``rest`` (bits, (B,)) can add from ``ready`` (B, N) on: the mean, shape (B,)."""
        found = np.empty(len(rest))
        green = self.green_left(ready) if self._green is not None else None
        for bits in sorted(set(rest.tolist())):
            rows = np.flatnonzero(rest == bits)
            most = self._all.most(bits, self._end - ready[rows])
            if green is not None and self._green is not None:
                most = np.minimum(most, self._green.most(bits, green[rows]))
            found[rows] = most.mean(axis=1)
        return found

    def chance(self, rest: NDArray[np.int64], ready: Floats, sure: NDArray[np.bool_]) -> Floats:
        """The highest chance with which the musts among ``rest`` can still be done too, shape (B,)."""
        found: Floats = self.possible(rest, ready, sure).mean(axis=1)
        return found

    def possible(self, rest: NDArray[np.int64], ready: Floats, sure: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Where the musts among ``rest`` can still be done too, shape (B, N)."""
        found = sure.copy()
        for bits in sorted(set(rest.tolist())):
            if bits:
                rows = np.flatnonzero(rest == bits)
                found[rows] &= self._end - ready[rows] >= self._need(bits)
        return found

    def _need(self, bits: int) -> Floats:
        if bits not in self._needed:
            cost, tail = np.zeros_like(self._end), np.zeros_like(self._end)
            for place in _places(bits):
                shortest: Piece = self._alone[place][-1]
                out, back, work = self._saved[place]
                whole = shortest.length + shortest.work
                until = shortest.until_mark[0]
                part = shortest.parts[0]
                cost += whole - out - back - work
                fewest = max(int(np.argmax(part.shares > 0)) - 1, 0)
                tail = np.maximum(tail, whole - until[fewest] if len(until) else whole)
            self._needed[bits] = cost - tail - 1e-6
        return self._needed[bits]


class _Table:
    """Prices, and what each run may bring at each of them."""

    def __init__(self, futures: int) -> None:
        self._futures = futures
        self._runs: list[tuple[float, list[Floats], list[float], Floats, Floats]] = []
        self._prices = np.zeros(1)
        self._gain: list[Floats] = []
        self._sums: dict[int, tuple[Floats, Floats, Floats]] = {}

    def add(self, worth: float, costs: list[Floats], shares: list[float], tail: Floats, first: Floats) -> None:
        """One run in each of its lengths."""
        self._runs.append((worth, costs, shares, tail, first))

    def finish(self) -> None:
        """All runs are there: choose the prices."""
        dear = sorted({
            round(worth * share / mean, 9)
            for worth, costs, shares, _, _ in self._runs
            for cost, share in zip(costs[:1], shares[:1], strict=True)
            if (mean := float(cost.mean())) > 0 and worth * share > 0
        })
        if len(dear) > MOST_PRICES:
            dear = [dear[round(i * (len(dear) - 1) / (MOST_PRICES - 1))] for i in range(MOST_PRICES)]
        self._prices = np.array([0.0, *dear])
        for worth, costs, shares, _, _ in self._runs:
            gain = np.zeros((self._prices.size, self._futures))
            for cost, share in zip(costs, shares, strict=True):
                np.maximum(gain, worth * share - self._prices[:, None] * cost, out=gain)
            self._gain.append(gain)

    def most(self, bits: int, left: Floats) -> Floats:
        """The most that the runs of ``bits`` can bring in ``left`` seconds, shape (B, N)."""
        gain, tail, first = self._sum(bits)
        spend = left + tail
        best = np.full(left.shape, np.inf)
        for price, row in zip(self._prices, gain, strict=True):
            np.minimum(best, price * spend + row, out=best)
        return np.where(left < first, 0.0, best)

    def _sum(self, bits: int) -> tuple[Floats, Floats, Floats]:
        if bits not in self._sums:
            if bits == 0:
                nothing = np.zeros(self._futures)
                self._sums[bits] = (np.zeros((self._prices.size, self._futures)), nothing, nothing + np.inf)
            else:
                place = (bits & -bits).bit_length() - 1
                gain, tail, first = self._sum(bits & (bits - 1))
                _, _, _, own_tail, own_first = self._runs[place]
                self._sums[bits] = (gain + self._gain[place], np.maximum(tail, own_tail), np.minimum(first, own_first))
        return self._sums[bits]


def _places(bits: int) -> list[int]:
    return [place for place in range(bits.bit_length()) if bits >> place & 1]
