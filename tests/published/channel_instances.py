"""Random channels on the tick grid, drawn from a seed: every kind of constraint that the plan knows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitwall.radio.pending import Busy, How, Part, PendingCall, Spans, Way

TICK_S = 0.1


@dataclass(frozen=True)
class Instance:
    """One channel: its calls, when it is taken, and now."""

    calls: tuple[PendingCall, ...]
    busy: tuple[Busy, ...]
    now_s: float


def instance(seed: int) -> Instance:
    """Two to twelve calls in a stretch of time that leaves them little or much room."""
    rng = np.random.default_rng(seed)
    count, room = int(rng.integers(2, 13)), int(rng.choice([60, 150, 400, 900]))
    calls = tuple(_call(rng, number, room) for number in range(count))
    busy = tuple(_busy(rng, room) for _ in range(int(rng.integers(0, 4))))
    return Instance(calls, busy, _s(int(rng.integers(0, 20))))


def _s(ticks: int) -> float:
    return round(ticks * TICK_S, 1)


def _busy(rng: np.random.Generator, room: int) -> Busy:
    begin = int(rng.integers(0, room))
    return Busy(_s(begin), _s(begin + int(rng.integers(1, 50))), "driver" if rng.random() < 0.7 else "engineer")


def _call(rng: np.random.Generator, number: int, room: int) -> PendingCall:
    length, begin = int(rng.integers(8, 60)), int(rng.integers(0, room))
    ways = [_way(rng, "full", (length,), begin)]
    if rng.random() < 0.5:
        ways.append(_way(rng, "short", (max(4, length // 2),), begin))
    if length > 20 and rng.random() < 0.35:
        first = int(rng.integers(8, length - 8))
        parts = (first, length - first) if rng.random() < 0.7 else (first // 2 + 1, first // 2 + 1, length - first)
        ways.append(_way(rng, "parts", parts, begin))
    if rng.random() < 0.25:
        ways.append(_way(rng, "next_lap", (length,), begin + room))
    must = bool(rng.random() < 0.35)
    before = [f"call {other}" for other in range(number)]
    return PendingCall(
        key=f"call {number}",
        name=f"words {number}",
        weight=int(rng.integers(0, 100)),
        ways=tuple(ways),
        must=must,
        pre_empts=must and bool(rng.random() < 0.4),
        gap_s=_s(int(rng.integers(0, 30))),
        after=tuple(key for key in before if rng.random() < 0.06),
        needs=tuple(key for key in before if rng.random() < 0.04),
    )


def _way(rng: np.random.Generator, how: How, lengths: tuple[int, ...], begin: int) -> Way:
    parts, at = [], begin
    for length in lengths:
        parts.append(Part("words", _s(length), _windows(rng, at)))
        at += length
    return Way(how, tuple(parts), _s(begin + int(rng.integers(0, 30))))


def _windows(rng: np.random.Generator, begin: int) -> Spans:
    found, at = [], begin
    for _ in range(int(rng.integers(1, 4))):
        end = at + int(rng.integers(0, 60))
        found.append((_s(at), _s(end)))
        at = end + int(rng.integers(5, 60))
    return tuple(found)
