"""The score of alerts: recall falls when alerts are taken away, an invented one is a false alarm, loads are counted."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace
from functools import lru_cache

import pytest

from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import Evidence, rehearse_instant
from pitwall.model.outputs import Alert
from simulations.score_alerts import FAULTY, alerts_scored, figures, main
from simulations.score_alerts_judge import AlertDay, JudgedFault, alert_day, standing


@lru_cache
def evidence() -> Evidence:
    """One rehearsal full of faults."""
    kept: list[Evidence] = []
    asyncio.run(rehearse_instant(replace(load_rehearsal(str(FAULTY)), seed=2), witness=kept.append))
    return kept[0]


def alert(t: float, active: bool = True, kind: str = "tyre_cold", car: str | None = "41") -> Alert:
    """An alert as published."""
    return Alert.model_validate({"id": f"{kind.replace('_', '-')}-{car}", "t": t, "car": car, "kind": kind,
                                 "priority": "low", "active": active, "text": "text", "help": "help", "since_s": t})


def test_every_fault_of_a_rehearsal_is_told_and_nothing_else_is() -> None:
    """As it is: faults of several kinds, each told in time, no false alarm."""
    day = alert_day(evidence())
    assert len({fault.what for fault in day.faults}) >= 2
    assert [fault for fault in day.faults if not fault.told] == []
    assert day.false == ()


def test_without_its_alerts_no_fault_is_told() -> None:
    """The same truth, and a product that says nothing: recall is zero."""
    kept = evidence()
    before = kept.recorder.alert_changes
    kept.recorder.alert_changes = []
    try:
        day = alert_day(kept)
    finally:
        kept.recorder.alert_changes = before
    assert day.faults
    assert not any(fault.told for fault in day.faults)


def test_an_alert_with_nothing_behind_it_is_a_false_alarm() -> None:
    """Cold tyres, which this world has not."""
    kept = evidence()
    before = kept.recorder.alert_changes
    kept.recorder.alert_changes = [*before, alert(400.0)]
    try:
        assert alert_day(kept).false_kinds == ("tyre_cold",)
    finally:
        kept.recorder.alert_changes = before


def test_spans_in_which_an_alert_stood() -> None:
    """Raised, changed, over, raised again and never over."""
    changes = [alert(1), alert(2), alert(5, active=False), alert(9)]
    assert standing(changes) == {"tyre-cold-41": [(1, 5), (9, float("inf"))]}


def test_recall_load_shares_and_peak_are_counted() -> None:
    """Two of three faults told; four alerts in twenty engineer minutes; the peak after an upset is the largest."""
    faults = (JudgedFault("stopped", "41", 0, 10, True, 0.0), JudgedFault("stopped", "41", 20, 30, False, None),
              JudgedFault("tyre_hot", "58", 0, 10, True, 0.0))
    faulty = AlertDay(faults, ("x",), ("tyre_cold",), (), 28.0, (1, 7, 2))
    raised = tuple(("switch_wrong", priority, 1.0) for priority in ("low", "low", "low", "high"))
    normal = AlertDay((), (), (), raised, 20.0, ())
    found = figures([faulty], [normal])
    assert found["fault_recall"] == {
        "faults": 3, "recall": 0.6667, "false_alarms": {"tyre_cold": 1},
        "by_kind": {"stopped": {"faults": 2, "told": 1}, "tyre_hot": {"faults": 1, "told": 1}},
    }  # fmt: skip
    assert found["alert_load"] == {
        "engineer_hours": 0.3, "per_10_min": 2.0, "by_kind": {"switch_wrong": 4},
        "priorities": {"low": 0.75, "medium": 0.0, "high": 0.25},
        "priorities_in_normal_hours": {"low": 0.75, "medium": 0.0, "high": 0.25}, "peak_10_min_after_upset": 7,
    }  # fmt: skip


def test_few_rehearsals_of_the_radio_bring_none_of_these() -> None:
    """Below a dozen there is nothing to count, and it says so instead of a number."""
    found = alerts_scored(2, 1)
    assert (found["fault_recall"]["recall"], found["alert_load"]["per_10_min"]) == (None, None)


def test_the_command_prints_its_figures(capsys: pytest.CaptureFixture[str]) -> None:
    """As JSON alone with ``--json``."""
    assert main(["--faulty", "1", "--hours", "0", "--jobs", "1", "--first", "2", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["fault_recall"]["recall"] == 1.0
