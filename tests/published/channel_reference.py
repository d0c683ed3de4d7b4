"""The channel problem once more for an independent solver: CP-SAT of OR-tools, one worker, exact.

Written from the description of the problem in ``pitwall/radio/pending.py``, not from the search: every way of a call
is a row of optional intervals, calls share the channel by ``NoOverlap`` with their gaps, and may not overlap what takes
the channel. The four figures of the cost are made least one after the other, each held before the next is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from pitwall.radio.pending import LOSS_TENTHS, MOST_PAUSE_S, Busy, PendingCall, Way

TICKS_PER_S = 10
BREATH_S = 0.5


def _t(seconds: float) -> int:
    return round(seconds * TICKS_PER_S)


@dataclass
class _Model:
    cp: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    whole: list[cp_model.IntervalVar] = field(default_factory=list)
    said: dict[str, cp_model.IntVar] = field(default_factory=dict)
    begins: dict[str, list[tuple[cp_model.IntVar, cp_model.IntVar]]] = field(default_factory=dict)
    lost: list[cp_model.LinearExprT] = field(default_factory=list)
    delayed: list[cp_model.LinearExprT] = field(default_factory=list)
    given_up: list[cp_model.LinearExprT] = field(default_factory=list)
    late: list[cp_model.LinearExprT] = field(default_factory=list)


def least_cost(calls: tuple[PendingCall, ...], busy: tuple[Busy, ...], now_s: float) -> tuple[int, int, int, int]:
    """The four figures of the best plan; all times must lie on the grid of ticks."""
    model = _Model()
    for call in calls:
        _add_call(model, call, busy, now_s)
    model.cp.add_no_overlap(model.whole)
    keys = {call.key: call for call in calls}
    for call in calls:
        for key in (*call.after, *call.needs):
            if key in keys:
                _in_order(model, key, call.key)
        for key in call.needs:
            if key in keys:
                model.cp.add_implication(model.said[call.key], model.said[key])
    found = []
    for figure in (model.lost, model.delayed, model.given_up, model.late):
        value = _minimise(model.cp, sum(figure)) if figure else 0
        if figure:
            model.cp.add(sum(figure) == value)
        found.append(value)
    return found[0], found[1], found[2], found[3]


def _minimise(cp: cp_model.CpModel, what: cp_model.LinearExprT) -> int:
    cp.minimize(what)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(cp)
    if status != cp_model.OPTIMAL:
        raise AssertionError(f"the reference solver says {solver.status_name(status)}")
    return round(solver.objective_value)


def _add_call(model: _Model, call: PendingCall, busy: tuple[Busy, ...], now_s: float) -> None:
    cp = model.cp
    said = model.said[call.key] = cp.new_bool_var(f"{call.key} said")
    model.begins[call.key] = []
    chosen = [_add_way(model, call, way, busy, now_s) for way in call.ways]
    cp.add(sum(chosen) == said)
    if call.must:
        model.lost.append(call.weight * (1 - said))
    model.given_up.append(call.weight * LOSS_TENTHS["dropped"] * (1 - said))


def _add_way(model: _Model, call: PendingCall, way: Way, busy: tuple[Busy, ...], now_s: float) -> cp_model.IntVar:
    cp, horizon = model.cp, 100_000
    chosen = cp.new_bool_var(f"{call.key} {way.how}")
    starts = []
    for number, part in enumerate(way.parts):
        spans = [[max(_t(now_s), _t(begin)), _t(end)] for begin, end in part.starts if _t(end) >= _t(now_s)]
        if not spans:
            cp.add(chosen == 0)
            return chosen
        start = cp.new_int_var_from_domain(cp_model.Domain.from_intervals(spans), f"{call.key} {way.how} {number}")
        # The breath after a part that is not the last one belongs to it.
        length = _t(part.spoken_s) + (_t(BREATH_S) if number + 1 < len(way.parts) else 0)
        spoken = cp.new_optional_fixed_size_interval_var(start, _t(part.spoken_s), chosen, f"{call.key} spoken")
        taken = [one for one in busy if not (call.pre_empts and one.who == "engineer")]
        for one in taken:
            cp.add_no_overlap([spoken, cp.new_fixed_size_interval_var(
                _t(one.from_s), _t(one.to_s) - _t(one.from_s), "taken")])
        if starts:
            before, over = starts[-1]
            cp.add(start >= before + over).only_enforce_if(chosen)
            cp.add(start <= before + over + _t(MOST_PAUSE_S)).only_enforce_if(chosen)
        starts.append((start, length))
    end = cp.new_int_var(0, horizon, f"{call.key} {way.how} end")
    cp.add(end == starts[-1][0] + starts[-1][1] + _t(call.gap_s)).only_enforce_if(chosen)
    size = cp.new_int_var(0, horizon, f"{call.key} {way.how} size")
    model.whole.append(cp.new_optional_interval_var(starts[0][0], size, end, chosen, f"{call.key} {way.how} whole"))
    model.begins[call.key].append((starts[0][0], chosen))
    model.given_up.append(call.weight * LOSS_TENTHS[way.how] * chosen)
    late = cp.new_int_var(0, horizon, f"{call.key} {way.how} late")
    begun = starts[-1][0] - sum(length for _, length in starts[:-1])
    cp.add(late >= begun - _t(way.best_s)).only_enforce_if(chosen)
    (model.delayed if call.pre_empts else model.late).append(call.weight * late)
    return chosen


def _in_order(model: _Model, first: str, second: str) -> None:
    for begin, here in model.begins[first]:
        for later, there in model.begins[second]:
            model.cp.add(begin < later).only_enforce_if(here, there)


