"""The figures of the table: errors, scores and intervals of forecasts beside those of the simple rule."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pitwall.pace.weighing import LEVELS
from simulations.forecast_scores import binomial_band, brier, crps_of_quantiles
from simulations.score_pace_rows import QUANTILES
from simulations.score_pace_truth import Case

KEYS = (
    "s1_line", "s2_line", "line_line", "out_lap", "out_lap_s1", "out_lap_s2", "next_lap", "fifth", "sum5",
    "first_of_run", "kind_s1", "kind_s2",
)  # fmt: skip
KINDS = ("timed", "cool", "in")


def figures(sessions: Sequence[Sequence[Case]]) -> dict[str, Any]:
    """Every row of the table over these sessions; the simple rule's errors are its distribution session by session."""
    found: dict[str, Any] = {}
    for key in KEYS:
        split = [[case for case in session if case.key == key] for session in sessions]
        split = [session for session in split if session]
        if split:
            found[key] = _kind_figures(split) if key.startswith("kind") else _number_figures(split)
    return found


def _number_figures(split: list[list[Case]]) -> dict[str, Any]:
    told, naive = _errors(split, rule=False), _errors(split, rule=True)
    flat = [case for session in split for case in session]
    inside = sum(case.row.q10 <= case.truth <= case.row.q90 for case in flat)
    mine, rule = _summary(told), _summary(naive)
    mine["crps"] = float(np.mean([crps_of_quantiles(_quantiles(case), LEVELS, case.truth) for case in flat]))
    rule["crps"] = float(np.mean([value for session in split for value in _rule_crps(session)]))
    own = [abs(case.row.q50 - case.truth) for case in flat if case.row.own]
    own_rule = [abs(case.row.naive - case.truth) for case in flat if case.row.own]
    return mine | {
        "n": len(flat), "inside": inside / len(flat), "band": binomial_band(0.8, len(flat)), "naive": rule,
        "ratio": {name: mine[name] / rule[name] if rule[name] > 0 else None for name in rule},
        "own": {"n": len(own)} | ({"here": _summary(own), "naive": _summary(own_rule)} if own else {}),
    }  # fmt: skip


def _errors(split: list[list[Case]], rule: bool) -> list[float]:
    return [abs((case.row.naive if rule else case.row.q50) - case.truth) for session in split for case in session]


def _summary(errors: list[float]) -> dict[str, Any]:
    return {"median": float(np.median(errors)), "p90": float(np.quantile(errors, 0.9)), "mae": float(np.mean(errors))}


def _quantiles(case: Case) -> list[float]:
    return [getattr(case.row, name) for name in QUANTILES]


def _rule_crps(session: list[Case]) -> list[float]:
    errors = np.array([case.truth - case.row.naive for case in session])
    found = []
    for at, case in enumerate(session):
        others = np.delete(errors, at) if len(errors) > 1 else np.zeros(1)
        found.append(crps_of_quantiles(list(case.row.naive + np.quantile(others, LEVELS)), LEVELS, case.truth))
    return found


def _kind_figures(split: list[list[Case]]) -> dict[str, Any]:
    flat = [case for session in split for case in session]
    said = []
    for case in flat:
        probabilities = [case.row.p_timed or 0.0, case.row.p_cool or 0.0, case.row.p_in or 0.0]
        said.append((KINDS[int(np.argmax(probabilities))], probabilities, case.label))
    commonest = sum(max(sum(case.label == kind for case in session) for kind in KINDS) for session in split)
    table = {truth: {kind: count for kind in KINDS
                     if (count := sum(one == kind and label == truth for one, _, label in said))} for truth in KINDS}
    score = sum(brier([p[at] for _, p, _ in said], [label == kind for _, _, label in said])
                for at, kind in enumerate(KINDS))
    planned = [one == label for case, (one, _, label) in zip(flat, said, strict=True) if case.row.plan]
    return {
        "n": len(flat), "right": sum(one == label for one, _, label in said) / len(flat),
        "naive_right": commonest / len(flat), "brier": score, "table": table, "planned_n": len(planned),
        "planned": sum(planned) / len(planned) if planned else None,
    }  # fmt: skip
