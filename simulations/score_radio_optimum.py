"""The best that anybody could have done with one channel: which must-say calls one schedule can hold, found exactly.

Calls that compete for the same time form a group. For each subset of a group the dynamic programme keeps the earliest
end of any order of it: an earlier end is never worse for what follows, so the earliest end for each subset is enough
(Held and Karp's argument for one machine). The subset with the most calls wins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from pitwall.rehearsal.truth import Span

MOST_IN_GROUP = 14
SAME = 1e-9


@dataclass(frozen=True)
class Job:
    """One call: how long it is, when it may be begun (rising spans), and what it counts."""

    key: str
    length_s: float
    starts: tuple[Span, ...]
    weight: float = 1.0

    def earliest(self, from_s: float) -> float:
        """The first admissible start from then on; infinity when there is none."""
        return next((max(begin, from_s) for begin, last in self.starts if last >= from_s - SAME), inf)

    @property
    def span(self) -> Span:
        """From the first start to the last end."""
        return self.starts[0][0], self.starts[-1][1] + self.length_s


def schedule(jobs: Sequence[Job], gap_s: float) -> dict[str, float]:
    """The starts of a heaviest set of calls that one channel can hold.

    Args:
        jobs: in any order; one without a start is left out.
        gap_s: between the end of one and the start of the next.

    Raises:
        ValueError: when more than ``MOST_IN_GROUP`` calls compete for the same time.
    """
    found: dict[str, float] = {}
    group: list[Job] = []
    ends = -inf
    for job in sorted((job for job in jobs if job.starts), key=lambda job: (job.span, job.key)):
        if job.span[0] >= ends + gap_s:
            found.update(_best(group, gap_s))
            group, ends = [], -inf
        group.append(job)
        ends = max(ends, job.span[1])
    return found | _best(group, gap_s)


def _best(jobs: Sequence[Job], gap_s: float) -> dict[str, float]:
    if len(jobs) > MOST_IN_GROUP:
        raise ValueError(f"{len(jobs)} calls compete for one stretch of time, at most {MOST_IN_GROUP} are scheduled")
    ends = {0: -inf}
    came: dict[int, tuple[int, int, float]] = {}
    for mask in range(1 << len(jobs)):
        if mask not in ends:
            continue
        for number, job in enumerate(jobs):
            if mask & 1 << number:
                continue
            start = job.earliest(ends[mask] + gap_s)
            after = mask | 1 << number
            if start < inf and start + job.length_s < ends.get(after, inf):
                ends[after], came[after] = start + job.length_s, (mask, number, start)
    mask = max(ends, key=lambda one: (sum(job.weight for number, job in enumerate(jobs) if one & 1 << number), -one))
    found = {}
    while mask:
        mask, number, start = came[mask]
        found[jobs[number].key] = start
    return found
