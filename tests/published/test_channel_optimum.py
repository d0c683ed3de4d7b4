"""The channel plan against an independent exact solver: CP-SAT of OR-tools on random channels.

``channel_reference.py`` states the problem for CP-SAT with optional intervals and no-overlap constraints; the search of
``pitwall/radio/search.py`` shares nothing with it but the description of the problem.
"""

from __future__ import annotations

import itertools

import pytest

from pitwall.radio.channel import EXACT_UP_TO, free_starts, plan_channel
from pitwall.radio.pending import MOST_PAUSE_S, ChannelPlan
from tests.published.channel_instances import Instance, instance
from tests.published.channel_reference import least_cost

INSTANCES = 500
BATCH = 50


@pytest.mark.parametrize("first", range(0, INSTANCES, BATCH))
def test_the_plan_costs_what_the_reference_solver_finds(first: int) -> None:
    """On 500 channels all four figures of the cost are those of CP-SAT, and the plan says that it is the best."""
    for seed in range(first, first + BATCH):
        one = instance(seed)
        plan = plan_channel(one.calls, one.busy, now_s=one.now_s)
        assert tuple(plan.cost) == least_cost(one.calls, one.busy, one.now_s), f"seed {seed}"
        assert plan.proven
        assert plan.bound == plan.cost


def test_the_instances_ask_for_everything() -> None:
    """The 500 channels hold up to twelve calls, and their best plans use every way of making or leaving a call."""
    plans = [(one, plan_channel(one.calls, one.busy, now_s=one.now_s)) for one in map(instance, range(INSTANCES))]
    assert max(len(one.calls) for one, _ in plans) == EXACT_UP_TO
    hows = [placed.how for _, plan in plans for placed in plan.placed]
    assert {how: hows.count(how) >= 20 for how in ("full", "parts", "short", "next_lap")} == dict.fromkeys(
        ("full", "parts", "short", "next_lap"), True)
    assert sum(len(plan.dropped) for _, plan in plans) >= 200
    assert sum(plan.cost.lost > 0 for _, plan in plans) >= 50
    assert sum(plan.cost.delayed > 0 for _, plan in plans) >= 50


@pytest.mark.parametrize("first", range(0, INSTANCES, BATCH))
def test_the_plan_keeps_every_rule(first: int) -> None:
    """Starts lie in their windows and after now, nothing overlaps, gaps, pauses, order and busy stretches are kept."""
    for seed in range(first, first + BATCH):
        one = instance(seed)
        _keeps_the_rules(one, plan_channel(one.calls, one.busy, now_s=one.now_s))


def _keeps_the_rules(one: Instance, plan: ChannelPlan) -> None:
    calls = {call.key: call for call in one.calls}
    assert {placed.key for placed in plan.placed} | {dropped.key for dropped in plan.dropped} == set(calls)
    assert len(plan.placed) + len(plan.dropped) == len(calls)
    for before, after in itertools.pairwise(plan.placed):
        assert after.start_s >= before.end_s + calls[before.key].gap_s - 1e-6
    for placed in plan.placed:
        call = calls[placed.key]
        way = next(way for way in call.ways if way.how == placed.how)
        assert placed.start_s <= placed.window_to_s <= placed.last_s
        assert (placed.reason is None) == (placed.how == "full")
        for number, (part, start) in enumerate(zip(way.parts, placed.starts_s, strict=True)):
            assert start >= one.now_s - 1e-6
            assert any(begin - 1e-6 <= start <= end + 1e-6 for begin, end in part.starts)
            for busy in one.busy:
                cuts_in = call.pre_empts and busy.who == "engineer"
                assert cuts_in or start + part.spoken_s <= busy.from_s + 1e-6 or start >= busy.to_s - 1e-6
            if number:
                pause = start - placed.starts_s[number - 1] - way.parts[number - 1].spoken_s
                assert 0 < pause <= MOST_PAUSE_S + 0.5 + 1e-6
        order = [other.key for other in plan.placed]
        for key in (*call.after, *call.needs):
            assert key not in order or order.index(key) < order.index(call.key)
        assert all(key in order or key not in calls for key in call.needs)


@pytest.mark.parametrize("first", range(0, INSTANCES, BATCH))
def test_the_last_starts_hold_for_all_calls_at_once(first: int) -> None:
    """If every call of one part is begun at its last start, in the order of the plan, all still keep to the rules."""
    for seed in range(first, first + BATCH):
        one = instance(seed)
        plan = plan_channel(one.calls, one.busy, now_s=one.now_s)
        calls = {call.key: call for call in one.calls}
        for before, after in itertools.pairwise(plan.placed):
            over = before.end_s if len(before.starts_s) > 1 else before.last_s + before.end_s - before.start_s
            assert over + calls[before.key].gap_s <= after.last_s + 1e-6
        for placed in plan.placed:
            call = calls[placed.key]
            way = next(way for way in call.ways if way.how == placed.how)
            last = round(placed.last_s * 10)
            assert any(begin <= last <= end for begin, end in free_starts(call.pre_empts, way, 0, one.busy, 0))


@pytest.mark.parametrize("most", [0, 1, 5])
def test_a_search_broken_off_says_how_far_it_can_be_off(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped after a few states a plan keeps all rules, and the best cost lies between its bound and its own cost."""
    best = {seed: plan_channel(one.calls, one.busy, now_s=one.now_s) for seed, one in _some()}
    monkeypatch.setattr("pitwall.radio.channel.EXACT_UP_TO", 0)
    found = 0
    for seed, one in _some():
        rough = plan_channel(one.calls, one.busy, now_s=one.now_s, most_nodes=most)
        assert rough.nodes <= most
        assert rough.bound <= best[seed].cost <= rough.cost, f"seed {seed}"
        assert not rough.proven or rough.cost == best[seed].cost
        _keeps_the_rules(one, rough)
        found += rough.cost == best[seed].cost
    assert found >= 0.7 * len(best)


def _some() -> list[tuple[int, Instance]]:
    return [(seed, instance(seed)) for seed in range(200)]
