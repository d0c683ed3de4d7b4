"""The latest release of a run in one future, where a formula gives it: most futures with an interruption in the way.

C[k] are the seconds from leaving to the beginning of lap k, D the decisive lap, E the end of the session.

* Nothing in the way: leave before E - C[D].
* Slow periods only: a lap's progress is session time less what is lost while slow, so leave when as much progress is
  left until E as the laps up to D take.
* One red flag, from s to e, later slow periods and earlier flags out of the way. If it is over in time, the car that
  waits in the garage leaves after it. If not, the car must be so far that what it still owes then fits: the out-lap
  again and the laps from k on, so lap k must have begun by s.

Futures in which more than one thing matters are left to the search (``release``).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.interruptions import Calendar
from pitwall.forecast.pert import Floats
from pitwall.forecast.walk import SLOW_PACE, Chain, stretched

HAIR_S = 1e-6
"""Formulas give the moment from which on a run fits no more."""


def has_formula(chain: Chain) -> bool:
    """Guard: out of the garage, then laps that wait for nothing, and one out-lap for all of them."""
    kinds = [one.kind for one in chain.activities]
    plain = kinds[0] == "out" and all(kind in ("timed", "cool") for kind in kinds[1:])
    waits = any(one.not_before_s is not None for one in chain.activities)
    same = all(lap is chain.out_again[0] for lap in chain.out_again)
    return plain and same and not waits and not chain.under_way


def known_releases(chain: Chain, by_start: bool, calendar: Calendar, upper: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """The latest release in each future, shape (N,), and where it is known.

    Args:
        chain: The run up to and with its decisive lap, for which ``has_formula`` holds.
        by_start: That lap must have begun, else ended, by the end of the session.
        calendar: The futures.
        upper: E - C[D], shape (N,).
    """
    to_start = np.concatenate([np.zeros((1, upper.size)), chain.durations.cumsum(axis=0)])
    needed = to_start[-2 if by_start else -1]
    # So long a run that leaves by then may still be on its decisive lap, slowed all the way.
    limit = upper + to_start[-1] / SLOW_PACE
    future, begins, ends, reds = *calendar.listed, calendar.reds
    near = begins < limit[future]
    latest, last_red = upper.copy(), np.full(upper.size, -1)
    # Reds of a future are listed in order: the last one that is near is written last.
    red = near[:reds].nonzero()[0]
    last_red[future[red]] = red
    slow = np.zeros(upper.size, dtype=np.bool_)
    slow[future[reds:][near[reds:]]] = True
    only_slow = (slow & (last_red < 0)).nonzero()[0]
    latest[only_slow] = stretched(
        calendar.slow, only_slow, calendar.session_end[only_slow], -needed[only_slow]) - HAIR_S
    stopped = (last_red >= 0).nonzero()[0]
    which = last_red[stopped]
    latest[stopped] = _stopped(chain, to_start, needed, calendar, upper, stopped, begins[which], ends[which])
    known = np.ones(upper.size, dtype=np.bool_)
    others = near & (ends > latest[future]) & (last_red[future] >= 0)
    others[which] = False
    known[future[others]] = False
    return latest, known


def _stopped(
    chain: Chain, to_start: Floats, needed: Floats, calendar: Calendar, upper: Floats, futures: NDArray[np.intp],
    begins: Floats, over: Floats,
) -> Floats:
    """The latest release where one red flag is in the way, one for each of these futures."""
    bound = upper[futures]
    owes_less_than = calendar.session_end[futures] - over - chain.out_again[0][futures]
    laps = to_start[1:, futures]
    far_enough = needed[futures] - laps < owes_less_than
    far_enough[-1] = True  # the decisive lap was over before the flag came
    lap = far_enough.argmax(axis=0)
    found: Floats = np.where(over < bound, bound, np.minimum(bound, begins - laps[lap, np.arange(futures.size)]))
    return found - HAIR_S
