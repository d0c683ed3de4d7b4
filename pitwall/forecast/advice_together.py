"""One plan for all cars of the team in all futures, as the forecast itself walks them: crews that cars share included.

Each car's pieces and the works between them make one chain; ``sharing`` walks the chains together. The searches of the
single cars know nothing of shared crews: those only ever delay a car, so what it could do alone is a bound.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitwall.forecast.advice_driving import Counts
from pitwall.forecast.advice_pieces import Drawn, Piece
from pitwall.forecast.calendar import Calendar, Slot
from pitwall.forecast.chain import Chain, Path
from pitwall.forecast.pert import Floats
from pitwall.forecast.sharing import walk_together

Done = list[tuple[Counts, ...]]
"""Per piece of one car, and per run in it, how many marks were in time, shape (N,)."""


def done_together(
    cars: Sequence[Sequence[Piece]], drawn: Sequence[Drawn], begins: Sequence[Floats], calendar: Calendar,
    started: bool, spared: Sequence[int] = (),
) -> list[Done]:
    """Walk every car's pieces.

    Args:
        cars: Per car its pieces, in order.
        drawn: Per car what it does before the first of them.
        begins: Per car, shape (N,): when that begins.
        calendar: The futures.
        started: A lap begun before a flag may be finished.
        spared: Per car the piece after which no work is left to do (it was pulled forward); -1: none.

    Returns:
        Per car and piece what was done in time.
    """
    chains, slots, offsets = [], [], []
    for number, (pieces, own) in enumerate(zip(cars, drawn, strict=True)):
        chain, at = _chained(pieces, own, spared[number] if spared else -1)
        chains.append(chain)
        offsets.append(at)
        slots.append(_slots(pieces, at) if calendar.windows else {})
    paths = walk_together(chains, begins, calendar, slots, started)
    return [
        [_counted(piece, first, path, calendar) for piece, first in zip(pieces, at, strict=True)]
        for pieces, at, path in zip(cars, offsets, paths, strict=True)
    ]


def _chained(pieces: Sequence[Piece], drawn: Drawn, spared: int) -> tuple[Chain, list[int]]:
    """The pieces and the works between them as one chain, and where each piece begins in it."""
    parts, offsets = [drawn.chain.part(0, drawn.lead)], []
    length = drawn.lead
    for place, piece in enumerate(pieces):
        chain = piece.chain
        if piece.earliest_s > -np.inf and chain.activities:
            first = chain.activities[0].model_copy(update={"not_before_s": piece.earliest_s})
            chain = Chain((first, *chain.activities[1:]), chain.durations, chain.again, chain.out_again,
                          chain.under_way)
        offsets.append(length)
        parts.append(chain)
        length += len(chain.activities)
        if piece.task is not None and place < len(pieces) - 1 and place != spared:
            work = piece.work[None, :]
            parts.append(Chain((piece.task,), work, work, (piece.work,), under_way=False))
            length += 1
    under_way = not drawn.lead and bool(pieces) and pieces[0].chain.under_way
    return Chain(
        tuple(one for part in parts for one in part.activities),
        np.concatenate([part.durations for part in parts]), np.concatenate([part.again for part in parts]),
        tuple(lap for part in parts for lap in part.out_again), under_way,
    ), offsets


def _slots(pieces: Sequence[Piece], offsets: Sequence[int]) -> dict[int, Slot]:
    return {
        first: Slot(piece.until_mark[0][-1], piece.allowed)
        for piece, first in zip(pieces, offsets, strict=True)
        if piece.allowed and not piece.chain.under_way and len(piece.until_mark[0])
    }


def _counted(piece: Piece, first: int, path: Path, calendar: Calendar) -> tuple[Counts, ...]:
    counts = []
    for part in piece.parts:
        count = np.zeros(calendar.session_end.size, dtype=np.intp)
        for mark in part.marks:
            moment = (path.starts if part.by_start else path.ends)[first + mark]
            flag = calendar.session_end
            if calendar.windows:
                flag = calendar.flag_after(moment, piece.allowed) if piece.allowed else np.full_like(moment, -np.inf)
            count += (moment < flag) if part.by_start else (moment <= flag)
        counts.append(count)
    if piece.latest_s < np.inf:
        counts[0][path.starts[first] > piece.latest_s] = 0
    return tuple(counts)
