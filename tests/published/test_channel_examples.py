"""The channel plan on one-machine problems of the scheduling books: a call is a job, a tick is a unit of time.

The data are from memory of the books named beside each check, the optima were computed independently. A job that must
be done by its due date is a must-say call whose last start is the due date less its length; a job that may be late is a
call that may be dropped; a job that only should be early has a best moment of zero.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.radio.channel import plan_channel
from pitwall.radio.pending import LOSS_TENTHS, ChannelPlan, Part, PendingCall, Way

FAR = 2000
JOBS = st.lists(st.tuples(st.integers(1, 12), st.integers(1, 20), st.integers(1, 45)), min_size=1, max_size=8)


def job(number: int, length: int, weight: int = 1, release: int = 0, due: int = FAR, must: bool = False) -> PendingCall:
    """A job that may be begun from its release to its due date less its length, and is best begun at once."""
    starts = ((release / 10, (due - length) / 10),)
    way = Way("full", (Part(f"job {number}", length / 10, starts),), 0.0)
    return PendingCall(f"{number:02}", f"job {number}", weight, (way,), must=must, gap_s=0)


def solve(*jobs: PendingCall, most_nodes: int = 100_000) -> ChannelPlan:
    """The plan on a machine that is free from zero on."""
    return plan_channel(jobs, now_s=0, most_nodes=most_nodes)


def in_time(releases: Sequence[int], lengths: Sequence[int], dues: Sequence[int]) -> bool:
    """Is there an order in which every job is done by its due date?"""
    figures = enumerate(zip(releases, lengths, dues, strict=True))
    return solve(*(job(number, p, release=r, due=d, must=True) for number, (r, p, d) in figures)).cost.lost == 0


def test_heads_and_tails_by_carlier() -> None:
    """Carlier 1982, seven jobs with heads and tails: 50 is reached and 49 is not; the rule of thumb gives 53."""
    r, p, q = (10, 13, 11, 20, 30, 0, 30), (5, 6, 7, 4, 3, 6, 2), (7, 26, 24, 21, 8, 17, 0)
    assert in_time(r, p, [50 - tail for tail in q])
    assert not in_time(r, p, [49 - tail for tail in q])


def test_greatest_lateness_with_release_times() -> None:
    """Pinedo, Scheduling, 1|r|Lmax with four jobs: no order is late by less than 5."""
    r, p, d = (0, 1, 3, 5), (4, 2, 6, 5), (8, 12, 11, 10)
    assert in_time(r, p, [due + 5 for due in d])
    assert not in_time(r, p, [due + 4 for due in d])


def test_number_of_late_jobs() -> None:
    """Pinedo, Scheduling, the algorithm of Moore and Hodgson: two of five jobs are late at least."""
    figures = zip((7, 8, 4, 6, 6), (9, 17, 18, 19, 21), strict=True)
    plan = solve(*(job(number, p, due=d) for number, (p, d) in enumerate(figures)))
    assert len(plan.dropped) == 2


def test_weight_of_late_jobs() -> None:
    """Pinedo, Scheduling, weighted late jobs: taking the densest first loses 89, the best order loses 12."""
    figures = zip((11, 9, 90), (12, 9, 89), strict=True)
    plan = solve(*(job(number, p, weight=w, due=100) for number, (p, w) in enumerate(figures)))
    assert plan.cost.given_up == 12 * LOSS_TENTHS["dropped"]


KNAPSACKS = {
    "P01": (165, (23, 31, 29, 44, 53, 38, 63, 85, 89, 82), (92, 57, 49, 68, 60, 43, 67, 84, 87, 72), 309),
    "P07": (750, (70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120),
            (135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240), 1458),
}  # fmt: skip


@pytest.mark.parametrize("name", KNAPSACKS)
def test_knapsacks_are_late_jobs_with_one_due_date(name: str) -> None:
    """Burkardt, KNAPSACK_01: what is said in the time is worth as much as the fullest knapsack."""
    capacity, lengths, values, best = KNAPSACKS[name]
    figures = zip(lengths, values, strict=True)
    plan = solve(*(job(number, p, weight=v, due=capacity) for number, (p, v) in enumerate(figures)))
    assert plan.proven
    assert plan.cost.given_up == (sum(values) - best) * LOSS_TENTHS["dropped"]


@given(jobs=JOBS)
def test_smiths_rule(jobs: list[tuple[int, int, int]]) -> None:
    """Smith 1956: the least weighted sum of completion times is that of the order of length over weight."""
    plan = solve(*(job(number, p, weight=w) for number, (p, w, _) in enumerate(jobs)))
    ordered = sorted(jobs, key=lambda one: one[0] / one[1])
    starts = [0, *itertools.accumulate(p for p, _, _ in ordered)]
    assert plan.cost.late == sum(w * start for (_, w, _), start in zip(ordered, starts, strict=False))


@given(jobs=JOBS)
def test_moore_and_hodgson(jobs: list[tuple[int, int, int]]) -> None:
    """Moore 1968: by due date, the longest so far left out whenever one is late; no order has fewer late jobs."""
    kept: list[int] = []
    for p, _, d in sorted(jobs, key=lambda one: one[2]):
        kept.append(p)
        if sum(kept) > d:
            kept.remove(max(kept))
    plan = solve(*(job(number, p, due=d) for number, (p, _, d) in enumerate(jobs)))
    assert len(plan.placed) == len(kept)


@given(jobs=JOBS)
def test_jacksons_rule(jobs: list[tuple[int, int, int]]) -> None:
    """Jackson 1955: all jobs can be in time exactly when they are in the order of their due dates."""
    over, fine = 0, True
    for p, _, d in sorted(jobs, key=lambda one: one[2]):
        over += p
        fine = fine and over <= d
    assert in_time([0] * len(jobs), [p for p, _, _ in jobs], [d for _, _, d in jobs]) == fine
