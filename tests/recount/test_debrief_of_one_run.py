"""The debrief of one run is the whole debrief, cut: its rows are those of the whole, and its numbers our own."""

from __future__ import annotations

import json
from typing import Any

import pytest

from pitwall.debrief.contents import document_of
from pitwall.debrief.model import CarDebrief, Debrief
from pitwall.debrief.one_run import driven, of_run
from tests.recount.own import Account, Own
from tests.recount.second import second
from tests.recount.sessions import NAMES, Row, told

ROWS = ("runs", "items", "data_windows", "laps", "calls", "questions", "changes", "comments")
OF_THE_RUN = ("runs", "items", "data_windows", "laps", "comments")


def every_run(which: str) -> list[tuple[CarDebrief, str, Debrief]]:
    """Each car of a recorded session with each run that it drove, and the debrief of that run."""
    whole = told(which).debrief
    return [(car, run, of_run(whole, car.car, run)) for car in whole.cars for run in driven(car)]


@pytest.mark.parametrize("which", NAMES)
def test_its_rows_are_those_of_the_whole(which: str) -> None:
    """No row is another one than in the whole debrief, in the same order; nothing of this run is left out, and nothing
    of another run is in."""
    runs = every_run(which)
    assert runs
    for car, run, cut in runs:
        (own,) = cut.cars
        for part in ROWS:
            whole = list(getattr(car, part))
            places = [whole.index(one) for one in getattr(own, part)]
            assert places == sorted(places)
            assert all(getattr(one, "run", None) in (run, None) for one in getattr(own, part))
        assert set(own.switches) <= set(car.switches)
        for part in OF_THE_RUN:
            assert getattr(own, part) == tuple(one for one in getattr(car, part) if one.run == run)
        assert {one for one in car.calls if one.run == run} <= set(own.calls)
        assert own.radio.calls == len(own.calls)


@pytest.mark.parametrize("which", NAMES)
def test_its_numbers_are_our_own(which: str) -> None:
    """Runs, items, data windows, laps and comments have the numbers of the second reckoning."""
    account = Account()
    ours = {own["car"].value: own for own in second(which)["cars"]}
    for car, run, cut in every_run(which):
        for part in OF_THE_RUN:
            found = json.loads(cut.cars[0].model_dump_json(include={part}))[part]
            account.compare(found, _of_run(ours[car.car], part, run), f"{run}.{part}")
    assert account.lacking == []
    assert account.kinds.total() > 20


def _of_run(own: Row, part: str, run: str) -> list[Any]:
    return [row for row in own[part] if isinstance(row["run"], Own) and row["run"].value == run]


@pytest.mark.parametrize("which", ["faulty", "stopped", "wet"])
def test_every_table_of_its_page_is_of_the_whole_page(which: str) -> None:
    """What its page says in a table the page of the whole session says in the same words."""
    whole = {table.caption.split(":")[-1]: set(table.rows) for table in document_of(told(which).debrief).tables}
    for _, run, cut in every_run(which):
        tables = [one for one in document_of(cut).tables if "calls" not in one.caption.split("became of")[-1]]
        assert sum(len(one.rows) for one in tables) > 10
        for table in tables:
            known = whole[table.caption.split(":")[-1]]
            if "where the data are" in table.caption:
                continue  # which switches stood alike in all windows hangs on which windows there are
            assert set(table.rows) <= known, (run, table.caption)
