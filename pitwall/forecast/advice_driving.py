"""Driving one piece of a plan from many prefixes at once, in all futures: when it ends, and what of it is in time.

A prefix is a row of moments, one a future. Where no interruption touches the piece its marks lie at fixed distances
from the moment it leaves; only the other (row, future) pairs are walked, together, as ``walk`` does it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_pieces import Piece
from pitwall.forecast.calendar import Calendar, Slot, Spans
from pitwall.forecast.meeting import SLOW_PACE, stretched
from pitwall.forecast.pert import Floats
from pitwall.forecast.walk import walk

Counts = NDArray[np.intp]


@dataclass(frozen=True)
class Driven:
    """What came of a piece: when it was in the garage, shape (B, N), and per part how many marks were in time."""

    parked: Floats
    counts: tuple[Counts, ...]


def drive(piece: Piece, begin: Floats, calendar: Calendar) -> Driven:
    """Drive the piece.

    Args:
        piece: What to drive.
        begin: Shape (B, N): when the car is ready for it.
        calendar: The futures.

    Returns:
        When it is back, and what was done in time: nothing of its first run, where that left after its latest moment.
    """
    begin = np.maximum(begin, piece.earliest_s) if piece.earliest_s > -np.inf else begin
    if calendar.windows:
        return _in_windows(piece, begin, calendar)
    parked = begin + piece.length
    left = calendar.session_end - begin
    red = _touched(calendar.red, begin, parked) if not piece.waits_inside else np.ones(begin.shape, dtype=np.bool_)
    if piece.all_laps:
        _stretch(piece, begin, calendar, parked, left)
        red |= _touched(calendar.red, begin, parked)
    else:
        red |= _touched(calendar.slow, begin, parked)
    counts = [_undisturbed(piece, number, left) for number in range(len(piece.parts))]
    if piece.latest_s < np.inf:
        late = begin > piece.latest_s
        counts[0] = np.where(late, 0, counts[0])
    red &= begin <= calendar.session_end
    if red.any():
        _walk_those(piece, begin, calendar, red, parked, counts)
    return Driven(parked, tuple(counts))


def _stretch(piece: Piece, begin: Floats, calendar: Calendar, parked: Floats, left: Floats) -> None:
    """Where a slow period touches the laps: count them in progress instead of time, all of them at once.

    Progress is session time less what is lost while slow; it grows all the time, so a mark is in time when it is so in
    progress. The lap ends add up to the end of all of them: the whole may be stretched as one.
    """
    row, future = _touched(calendar.slow, begin, parked).nonzero()
    if not row.size:
        return
    slow, moment = calendar.slow, begin[row, future]
    parked[row, future] = stretched(slow, future, moment, piece.length[future])
    starts, lengths = slow.starts[:, future], slow.lengths[:, future]
    end = calendar.session_end[future]
    gone = np.clip(end - starts, 0.0, lengths) - np.clip(moment - starts, 0.0, lengths)
    left[row, future] -= (1.0 - SLOW_PACE) * gone.sum(axis=0)


def _undisturbed(piece: Piece, number: int, left: Floats) -> Counts:
    part, until = piece.parts[number], piece.until_mark[number]
    count = np.zeros(left.shape, dtype=np.intp)
    for row, mark in enumerate(part.marks):
        if mark == 0 and part.by_start and piece.chain.under_way:
            count += 1  # that lap has begun
        elif part.by_start:
            count += until[row] < left
        else:
            count += until[row] <= left
    return count


def _touched(spans: Spans, begin: Floats, parked: Floats) -> NDArray[np.bool_]:
    """Where one of these interruptions falls between leaving and parking, shape (B, N)."""
    hit = np.zeros(begin.shape, dtype=np.bool_)
    for start, end in zip(spans.starts[:-1], spans.ends[:-1], strict=True):
        hit |= (start < parked) & (end > begin)
    return hit


def _walk_those(
    piece: Piece, begin: Floats, calendar: Calendar, hit: NDArray[np.bool_], parked: Floats, counts: list[Counts]
) -> None:
    row, future = hit.nonzero()
    path = walk(piece.chain, begin[row, future], calendar, future)
    if len(piece.chain.activities):
        parked[row, future] = path.ends[-1]
    end = calendar.session_end[future]
    late = path.starts[0] > piece.latest_s if piece.latest_s < np.inf else None
    for count, part in zip(counts, piece.parts, strict=True):
        moments = (path.starts if part.by_start else path.ends)[list(part.marks)]
        count[row, future] = (moments < end if part.by_start else moments <= end).sum(axis=0)
    if late is not None:
        counts[0][row[late], future[late]] = 0


def _in_windows(piece: Piece, begin: Floats, calendar: Calendar) -> Driven:
    """The same in a session in windows: row by row, each run in the first window that it fits into."""
    parked = np.empty_like(begin)
    counts = [np.zeros(begin.shape, dtype=np.intp) for _ in piece.parts]
    if not piece.allowed:
        return Driven(begin + piece.length, tuple(counts))
    first = piece.until_mark[0]
    slots = {}
    if not piece.chain.under_way and len(first):
        slots[0] = Slot(first[-1], piece.allowed)
    started = all(part.by_start for part in piece.parts)
    for row, moment in enumerate(begin):
        path = walk(piece.chain, moment, calendar, slots=slots, started=started)
        parked[row] = path.ends[-1] if len(path.ends) else moment
        late = path.starts[0] > piece.latest_s if len(path.starts) else np.zeros(moment.shape, dtype=np.bool_)
        for count, part in zip(counts, piece.parts, strict=True):
            for mark in part.marks:
                at = path.starts[mark] if part.by_start else path.ends[mark]
                flag = calendar.flag_after(at, piece.allowed)
                count[row] += (at < flag) if part.by_start else (at <= flag)
        counts[0][row][late] = 0
    return Driven(parked, tuple(counts))
