"""Every number on the pages of a debrief is one of its facts: read back from the page's tables and from the paper's
text, and compared with the JSON. None of the code that words them has a part in reading them.
"""

from __future__ import annotations

import io
import json
import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser
from typing import Any

import pytest
from pypdf import PdfReader

from pitwall.app.debriefing import debrief_of
from pitwall.debrief.model import Debrief
from pitwall.debrief.pages import page_of, paper_of
from tests.unit.debrief_stage import full
from tests.unit.test_debrief_recomputed import GOLDEN

Table = list[list[str]]
JOURNAL = "questions"
NUMBER = re.compile(r"(?<![\w.])[−+]?\d+(?::\d\d)*(?:\.\d+)?(?![\w:])")
CLOCK = re.compile(r"(−?)(\d+):(\d\d)(?::(\d\d))?(\.\d+)?$")


@cache
def made(name: str) -> Debrief:
    """The debrief of a golden journal, or the one with a row of every kind."""
    return full() if name == "full" else debrief_of(GOLDEN / f"{name}.jsonl")


@cache
def told(name: str) -> Any:
    """Its facts, as JSON has them."""
    return json.loads(made(name).model_dump_json())


class _Tables(HTMLParser):
    """Captions and cells of the tables of a page; a line break in a cell is a blank."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: dict[str, Table] = {}
        self._caption, self._rows, self._words = "", list[list[str]](), list[str]()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A table, a row or a cell begins."""
        if tag == "table":
            self._rows = []
        elif tag == "tr":
            self._rows.append([])
        elif tag in ("td", "th", "caption"):
            self._words = []
        elif tag == "br":
            self._words.append(" ")

    def handle_endtag(self, tag: str) -> None:
        """A cell, a caption or a table ends."""
        if tag in ("td", "th"):
            self._rows[-1].append("".join(self._words).strip())
        elif tag == "caption":
            self._caption = "".join(self._words).strip()
        elif tag == "table":
            self.tables[self._caption] = [row for row in self._rows if len(row) > 1][1:]

    def handle_data(self, data: str) -> None:
        """Words of a cell."""
        self._words.append(data)


@cache
def tables(name: str) -> dict[str, Table]:
    """Caption -> rows of the page's tables, heads left out."""
    return _Tables(page_of(made(name))).tables


def table(name: str, part: str) -> Table:
    """The one table with these words in its caption."""
    (found,) = [rows for caption, rows in tables(name).items() if part in caption]
    assert found
    return found


def seconds(text: str) -> float:
    """``1:23.456`` and ``0:12:03`` as seconds."""
    found = CLOCK.match(text)
    assert found is not None, text
    sign, first, second, third, part = found.groups()
    whole = int(first) * 60 + int(second) if third is None else int(first) * 3600 + int(second) * 60 + int(third)
    return (-1 if sign else 1) * (whole + float(part or 0))


def figures(text: str) -> list[float]:
    """The plain numbers of a cell."""
    return [float(one.replace("−", "-")) for one in re.findall(r"[−+]?\d+(?:\.\d+)?", text)]


@pytest.mark.parametrize("name", [JOURNAL, "full"])
def test_laps(name: str) -> None:
    """Number, time, sectors, age of the tyres, fuel, what was lost, the gap ahead and what was expected, lap by lap."""
    car = told(name)["cars"][0]
    rows = table(name, f"Car {car['car']}: laps by run")
    assert len(rows) == len(car["laps"]) > 5
    for row, lap in zip(rows, car["laps"], strict=True):
        number, kind, time, loops, tyres, fuel, _, clean, ahead, expected = row
        assert (int(number), kind) == (lap["number"], lap["kind"])
        assert (None if time == "–" else seconds(time)) == (
            None if lap["lap_time_s"] is None else pytest.approx(lap["lap_time_s"], abs=6e-4))
        parts = [one["seconds"] for one in lap["sectors"]]
        assert [None if one == "–" else float(one) for one in loops.split()] == [
            None if one is None else pytest.approx(one, abs=6e-3) for one in parts]
        assert int(tyres.rpartition(",")[2]) == lap["tyre_laps"]
        assert float(fuel) == pytest.approx(lap["fuel_kg"], abs=0.051)
        if lap["lost_s"] is not None and lap["clean"] not in ("clean", "unknown"):
            assert float(clean.rpartition(", ")[2].removesuffix(" s")) == pytest.approx(lap["lost_s"], abs=0.051)
        assert (None if ahead == "–" else float(ahead)) == (
            None if lap["car_ahead_s"] is None else pytest.approx(lap["car_ahead_s"], abs=0.051))
        if lap["expected"] is None:
            assert expected == "–"
        else:
            median, low, high = expected.split()
            wanted = lap["expected"]
            assert seconds(median) == pytest.approx(wanted["median_s"], abs=6e-4)
            assert figures(low) + figures(high) == pytest.approx(
                [wanted["low_s"] - wanted["median_s"], wanted["high_s"] - wanted["median_s"]], abs=6e-3)
    assert any(lap["expected"] for lap in car["laps"])
    assert any(lap["lost_s"] is not None for lap in car["laps"])


def _within(value: dict[str, float]) -> list[float]:
    """The value, and how much less or more it may be."""
    return [value["value"], value["low"] - value["value"], value["high"] - value["value"]]


@pytest.mark.parametrize("name", [JOURNAL, "full"])
def test_data_windows(name: str) -> None:
    """From and to with their intervals, in seconds, metres and km/h."""
    car = told(name)["cars"][0]
    rows = table(name, f"Car {car['car']}: where the data are")
    assert len(rows) == len(car["data_windows"]) > 0
    for row, window in zip(rows, car["data_windows"], strict=True):
        ends = re.findall(r"(\S+) \(−([\d.]+) \+([\d.]+)\)", row[1])
        assert len(ends) == 2
        for (value, below, above), one in zip(ends, (window["from_s"], window["to_s"]), strict=True):
            assert seconds(value) == pytest.approx(one["value"], abs=6e-3)
            assert float(below) == pytest.approx(one["value"] - one["low"], abs=6e-3)
            assert float(above) == pytest.approx(one["high"] - one["value"], abs=6e-3)
        metres = [window[one] for one in ("from_m", "to_m") if window[one] is not None]
        if metres:
            assert figures(row[3]) == pytest.approx([one for value in metres for one in _within(value)], abs=0.51)
        if window["speed_mps"] is not None:
            speed = [3.6 * one for one in _within(window["speed_mps"])]
            assert figures(row[4]) == pytest.approx(speed, abs=0.051)
        assert f"lap {window['lap_number']}" in row[0]


@pytest.mark.parametrize("name", [JOURNAL, "full"])
def test_runs(name: str) -> None:
    """Fuel, planned and driven spans, clean laps and their median, run by run."""
    car = told(name)["cars"][0]
    rows = table(name, f"Car {car['car']}: runs, planned and driven")
    assert len(rows) == len(car["runs"]) > 2
    for row, run in zip(rows, car["runs"], strict=True):
        fuel = re.search(r"(\d+) kg", row[5])
        assert (None if fuel is None else float(fuel[1])) == (
            None if run["fuel_kg"] is None else pytest.approx(run["fuel_kg"], abs=0.51))
        planned = [seconds(one) for one in row[6].split("–") if one]
        assert planned == pytest.approx(run["planned_span_s"] or [], abs=0.51)
        stints = [value for one in run["stints"] for value in (one["from_s"], one["to_s"]) if value is not None]
        assert [seconds(one) for one in re.split(r"[–\s]", row[7]) if one] == pytest.approx(stints, abs=0.51)
        clean = row[8].split()
        if run["clean_laps"]:
            assert int(clean[0]) == run["clean_laps"]
            assert seconds(clean[1]) == pytest.approx(run["median_clean_s"], abs=6e-4)
        else:
            assert clean == ["–"]


def _numbers(value: Any) -> Iterator[float]:
    """Every number of the facts: as it is, in km/h, and those that stand in their texts."""
    if isinstance(value, dict):
        low, high = (value.get(one) for one in ("low", "high"))
        if low is not None and high is not None and "value" in value:
            yield from (low - value["value"], high - value["value"])
            yield from (3.6 * value[one] for one in ("value", "low", "high"))
        if "median_s" in value:
            yield from (value["low_s"] - value["median_s"], value["high_s"] - value["median_s"])
        for name, one in value.items():
            yield from _numbers(one)
            yield from _numbers(name)
    elif isinstance(value, list):
        yield float(len(value))
        for one in value:
            yield from _numbers(one)
    elif isinstance(value, bool) or value is None:
        return
    elif isinstance(value, int | float):
        yield float(value)
    else:
        found = re.findall(r"[-−]?\d+(?:\.\d+)?", value)
        yield from (float(one.replace("−", "-")) for one in found)
        yield from (abs(float(one.replace("−", "-"))) for one in found)
        yield from (seconds(one) for one in re.findall(r"\d+:\d\d(?::\d\d)?(?:\.\d+)?", value))


def _follows(cell: str, row: list[str], rows: Table) -> bool:
    """True for a share of a count, or for the length of a span, after a look whether it is right."""
    if share := re.fullmatch(r"(\d+) %", cell):
        total = sum(int(other[1]) for other in rows if other[1:] and other[-1].endswith("%"))
        assert int(share[1]) == pytest.approx(100 * int(row[1]) / total, abs=0.51)
        return True
    length = re.fullmatch(r"(?:(\d+) h ?)?(?:(\d+) min ?)?(?:(\d+) s)?", cell)
    if cell and length is not None and CLOCK.match(row[1]) and CLOCK.match(row[2]):
        hours, minutes, rest = (int(one or 0) for one in length.groups())
        assert 3600 * hours + 60 * minutes + rest == pytest.approx(seconds(row[2]) - seconds(row[1]), abs=1)
        return True
    return False


@pytest.mark.parametrize("name", [JOURNAL, "everything", "red_flag"])
def test_no_table_has_a_number_that_is_no_fact(name: str) -> None:
    """Each number in each cell of each table is a fact of the JSON, as it is rounded there: a plain number, a clock or
    a lap time; shares and lengths of time follow from the other cells of their row."""
    known = sorted(set(_numbers(told(name))))
    seen = 0
    for caption, rows in tables(name).items():
        for row in rows:
            for cell in row:
                if _follows(cell, row, rows):
                    continue
                for one in NUMBER.findall(cell):
                    value = seconds(one) if ":" in one else float(one.replace("−", "-"))
                    places = len(one.partition(".")[2])
                    near = 0.5 * 10**-places + 1e-6
                    assert any(abs(value - other) <= near for other in known), (caption, row, one)
                    seen += 1
    assert seen > 100


@pytest.mark.parametrize("name", [JOURNAL, "everything"])
def test_the_paper_has_the_numbers_of_the_page(name: str) -> None:
    """Every number of the page's tables stands on the paper as often as on the page, or more often (heads are repeated
    on each sheet); lines that the paper breaks are no numbers less."""
    reader = PdfReader(io.BytesIO(paper_of(made(name))))
    paper = Counter(NUMBER.findall("\n".join(page.extract_text() for page in reader.pages)))
    cells = [cell for rows in tables(name).values() for row in rows for cell in row]
    page = Counter(one for cell in cells for one in NUMBER.findall(cell))
    assert sum(page.values()) > 100
    missing = page - paper
    assert not missing
