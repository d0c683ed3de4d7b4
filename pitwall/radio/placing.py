"""Where in the lap a call is spoken: a window that ends early enough for the driver to act.

On a circuit with geometry the call goes into the last listening stretch (not under braking, not in a loaded corner) in
which it can be finished before the driver must act. On a timing-only circuit the stretches are unknown: the deadline
alone decides.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.model.record import record
from pitwall.radio.ways import HIT_S

NEAR_S = 30.0  # said earlier than this before the last chance, it is forgotten (common practice, no source)
JUST_S = 0.3  # to begin in: for what is missed elsewhere (common practice, no source)
COMFORT_S = 4.0  # the engineer's reaction and a breath (common practice, no source)


@record
class SayWindow:
    """When the call may be begun: from ``from_s``, at the latest ``by_s`` (session seconds)."""

    from_s: float
    by_s: float
    in_listening: bool | None


def latest_start(act_at_s: float, spoken_s: float, reaction_s: float) -> float:
    """The last moment to begin speaking so that the driver can still act at ``act_at_s``."""
    return act_at_s - reaction_s - spoken_s


def late_from_s(stretches: Iterable[tuple[float, float]], spoken_s: float, end_by_s: float, calls: int) -> float:
    """From when one of ``calls`` of this length, which are to come late, may be begun, session seconds.

    From then on as many stretches are left in which it can be begun for ``HIT_S`` and is over by ``end_by_s``, and one
    more in which it can just be: one may pass unsaid, or under the driver's talk. ``-inf`` where there are fewer.
    """
    starts = sorted([(begin, min(end, end_by_s) - spoken_s - begin) for begin, end in stretches], reverse=True)
    good = [begin for begin, length in starts if length >= HIT_S]
    just_long_enough = [begin for begin, length in starts if length >= JUST_S]
    if len(good) < calls or len(just_long_enough) <= calls:
        return float("-inf")
    return min(good[calls - 1], just_long_enough[calls])


def place_call(
    act_at_s: float,
    spoken_s: float,
    reaction_s: float,
    stretches: Iterable[tuple[float, float]] | None,
    earliest_s: float,
    window_s: float,
    begin_by_s: float | None = None,
) -> SayWindow:
    """Choose the window for one call.

    Args:
        act_at_s: when the driver must act.
        spoken_s: length of the call.
        reaction_s: time from the end of the call to the action.
        stretches: listening stretches as (from, to) in session seconds, or None where unknown.
        earliest_s: never begin before (start of the lap on which it makes sense).
        window_s: length of the window where no stretch limits it.
        begin_by_s: another call follows: begin no later than this, whatever the driver's deadline.

    The window ends in the last stretch that serves, and reaches back over earlier ones as far as ``window_s`` allows: a
    single straight often leaves a second or less to begin in, which nobody can hit.
    """
    deadline = latest_start(act_at_s, spoken_s, reaction_s)
    if begin_by_s is not None:
        deadline = min(deadline, begin_by_s)
    if stretches is not None:
        near, long_ago = [], deadline - NEAR_S
        for start, end in stretches:
            last = end - spoken_s
            if last < long_ago or last < start:
                continue
            begin, by = max(start, earliest_s), min(last, deadline)
            if begin <= by:
                near.append((begin, by))
        if near:
            start, by = _reach(near, window_s)
            return SayWindow(max(start, by - window_s), by, True)
    start = max(min(earliest_s, deadline), deadline - window_s)
    return SayWindow(start, deadline, None if stretches is None else False)


def _reach(fitting: list[tuple[float, float]], window_s: float) -> tuple[float, float]:
    """The latest window that leaves ``COMFORT_S`` to begin in, or else the latest of all."""
    latest: tuple[float, float] | None = None
    for _, by in sorted(fitting, key=lambda window: -window[1]) if len(fitting) > 1 else fitting:
        first = by - window_s
        start = max(min([begin for begin, end in fitting if end >= first and begin <= by]), first)
        if by - start >= COMFORT_S:
            return start, by
        latest = latest or (start, by)
    assert latest is not None  # something fits, or nobody would ask
    return latest
