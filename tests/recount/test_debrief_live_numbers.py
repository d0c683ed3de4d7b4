"""The debrief of a run that is told while its car is in the pit lane: ready at once, and each number our own."""

from __future__ import annotations

from typing import Any

import pytest

from tests.recount.own import Account, Own, name
from tests.recount.second import second
from tests.recount.second_said import BAD_ENDS, DOUBTED, HEARD
from tests.recount.sessions import Row, Told, told

SESSIONS = ("faulty", "stopped", "wet", "timing_only")


def _last(of: Told, car: str) -> dict[str, Row]:
    """By run the debrief that was told of it last."""
    return {one["run"]["run"]: one for one in of.said("run_debrief", car)}


def _own(of: Told, own: Row, run: str, told_s: float) -> Row:
    """Our own rows of a run, and its calls as they stand when the car leaves again; what is known of them after that is
    in the whole debrief alone."""
    def rows(part: str) -> list[Row]:
        return [row for row in own[part] if isinstance(row["run"], Own) and row["run"].value == run]

    history: dict[str, list[Row]] = {}
    leaves = [one["received_t"] for one in of.facts("car_pitted", own["car"].value)
              if one["where"] == "exit" and one["received_t"] > told_s]
    for prompt in of.said("prompt", own["car"].value):
        if prompt["t"] > min(leaves, default=float("inf")):
            continue
        history.setdefault(prompt["call"], []).append(prompt)
    calls = [one for one in history.values() if one[-1]["run"] == run]
    return {
        "car": own["car"], "run": rows("runs")[0], "laps": rows("laps"), "items": rows("items"),
        "data_windows": rows("data_windows"), "comments": rows("comments"), "calls": len(calls),
        "switches": [move for move in rows("switches") if move["before"] is not None],
        "calls_in_time": sum(one[-1]["state"] in HEARD and not any(each["state"] in DOUBTED for each in one)
                               for one in calls),
        "calls_doubtful": sum(one[-1]["state"] in BAD_ENDS for one in calls),
    }  # fmt: skip


@pytest.mark.parametrize("which", SESSIONS)
def test_every_number_of_a_run_that_is_over(which: str) -> None:
    """What was told live of each run has the numbers that the whole debrief has of it, which are our own."""
    of, account = told(which), Account()
    for own in second(which)["cars"]:
        last = _last(of, own["car"].value)
        driven = [run["run"].value for run in own["runs"] if run["stints"]]
        assert list(last) == driven
        for run, live in last.items():
            ours: dict[str, Any] = _own(of, own, run, live["t"])
            account.compare(live, ours | {"id": name(live["id"]), "t": live["t"]}, run)
    assert account.lacking == []
    assert account.kinds.total() > 150


@pytest.mark.parametrize("which", SESSIONS)
def test_it_is_told_at_the_pit_entry(which: str) -> None:
    """By the very message that says that the car is in the pit lane, with its in-lap in it."""
    of = told(which)
    for car in of.debrief.cars:
        entries = {one["received_t"]: one["t"] for one in of.facts("car_pitted", car.car) if one["where"] == "entry"}
        first = {one["laps"][-1]["number"]: one for one in reversed(of.said("run_debrief", car.car))}
        assert first
        for live in first.values():
            assert live["t"] in entries
            assert live["laps"][-1]["end_s"] == pytest.approx(entries[live["t"]], abs=6e-4)
