"""Every number of a debrief is one that we reckon ourselves from the journal, or belongs to a class that is named here.

Eight sessions are recorded: an hour in small on a feed with faults, one with red flags and positions, one in the wet, a
test day by night, one that knows neither positions nor telemetry, one whose daemon was killed in its middle, one whose
driver does not do as he is told, and one who holds a speed on laps that he drives timed else. What is not accounted for
fails the test: a new number in a debrief needs a second reckoning in ``tests/recount``.
"""

from __future__ import annotations

from collections import Counter

import pytest

from tests.recount.own import Account
from tests.recount.second import second
from tests.recount.second_clean import kinds, verdict
from tests.recount.second_items import whole_lap_outcomes
from tests.recount.second_laps import laps_of, statuses_of
from tests.recount.second_tables import account_for
from tests.recount.sessions import NAMES, facts_of, told

NOT_OURS = {"engine", "plan", "name", "fixed"}
"""Kinds of numbers that the debrief only passes on: decided by the engine, written by people, parts of names."""


@pytest.mark.parametrize("name", NAMES)
def test_every_number_of_the_facts(name: str) -> None:
    """The debrief as JSON has it: each number, and each text that has one, is our own."""
    account = Account()
    account.compare(facts_of(name), second(name))
    assert account.lacking == []
    assert account.kinds.total() > 500  # the smallest of the sessions has some 600
    assert sum(many for kind, many in account.kinds.items() if kind not in NOT_OURS) > 0.4 * account.kinds.total()


@pytest.mark.parametrize("kind", ["csv", "json", "parquet"])
def test_every_number_of_the_tables(kind: str) -> None:
    """Each cell of each file, read by another program, is our own."""
    kinds: Counter[str] = Counter()
    for name in NAMES:
        account = Account()
        account_for(account, told(name).debrief, second(name), kind)
        assert account.lacking == [], name
        kinds += account.kinds
    assert kinds.total() > 3000


@pytest.mark.parametrize("name", NAMES)
def test_kinds_of_laps_and_what_is_clean_are_our_own(name: str) -> None:
    """The kind of each lap by its time, and whether it was clean by its stretches, who was ahead, what was out, and
    what was done on it as told."""
    spans = statuses_of(told(name))
    for car in told(name).debrief.cars:
        kind = kinds(told(name), car.car)
        own = [(lap.number, kind[lap.number], verdict(told(name), car.car, lap, spans))
               for lap in laps_of(told(name), car.car)]
        assert own == [(lap.number, lap.kind, f"{lap.clean} {lap.clean_for}".strip()) for lap in car.laps]


def test_what_was_done_badly_on_a_whole_lap_is_our_own() -> None:
    """An item whose data are a whole timed lap is as good as that lap: reckoned again from what spoilt the lap, from
    the switches with which it began, and from where the item's own switch stood."""
    found = {}
    for name in NAMES:
        for car in told(name).debrief.cars:
            moves = [move.model_dump() for move in car.switches]
            ours = whole_lap_outcomes(told(name), car.car, moves)
            theirs = {item.item: item.outcome == "done_badly" for item in car.items if item.item in ours}
            assert theirs == ours, name
            found |= {(name, item): badly for item, badly in ours.items()}
    assert set(found.values()) == {True, False}


def test_a_wrong_number_is_found() -> None:
    """The account is no rubber stamp: one value changed by its last digit, and one that nobody knows, are told."""
    facts = facts_of("wet")
    lap = facts["cars"][0]["laps"][3]
    wrong = facts | {"cars": [facts["cars"][0] | {"laps": [
        one | {"lap_time_s": one["lap_time_s"] + 0.001, "new_s": 1.5} if one is lap else one
        for one in facts["cars"][0]["laps"]]}]}
    account = Account()
    account.compare(wrong, second("wet"))
    assert [one.split(":")[0] for one in account.lacking] == [".cars[0].laps[3].lap_time_s", ".cars[0].laps[3].new_s"]


def test_the_sessions_have_what_is_reckoned_again() -> None:
    """An empty debrief would agree with everything: each kind of row is there, and each kind of session."""
    cars = [car for name in NAMES for car in told(name).debrief.cars]
    for kind in ("runs", "items", "laps", "calls", "data_windows", "switches", "changes", "comments", "questions"):
        assert any(getattr(car, kind) for car in cars), kind
    windows = [window for car in cars for window in car.data_windows]
    assert {(one.what, one.evidence) for one in windows} >= {("hold", "positions"), ("hold", "crossings"),
                                                             ("lap", "crossings")}
    assert {span.status for name in NAMES for span in told(name).debrief.session.statuses} >= {"red", "slow", "waiting"}
    assert told("killed").debrief.session.state == "running"
    assert told("wet").debrief.session.wet
    assert told("two_windows").debrief.session.windows
    assert told("timing_only").debrief.session.circuit_length_m is None
    assert {car.radio.spoken_from for car in cars} == {"channel", "calls"}
    laps = [lap for car in cars for lap in car.laps]
    assert any(lap.switches_wrong for lap in laps)
    assert any(lap.switches_unverified for lap in laps)
    assert {lap.kind for lap in laps if lap.clean == "told"} == {"timed", "in"}
    assert any("driven as a timed lap it needed" in word for lap in laps for word in lap.switches_wrong)
    said = [car.said for car in cars]
    assert any(one.changes for one in said)
    assert any(one.contradictions for one in said)
    assert {row.speed for one in said for matrix in one.by_speed for row in matrix.rows} == {"slow", "medium", "fast"}
