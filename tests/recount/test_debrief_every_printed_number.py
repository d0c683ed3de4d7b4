"""Every number that is printed in a debrief is our own: in sentences, cells, headings, attributes and drawings of the
page, and on the paper. The page is read back; none of the code that words it or lays it out has a part in that.
"""

from __future__ import annotations

import io
import re
from collections import Counter

import pytest
from pypdf import PdfReader

from pitwall.debrief.pages import paper_of
from tests.recount import figure_reader, page_reader, printed, second_figures
from tests.recount.own import Account, numbers
from tests.recount.page_reader import Page
from tests.recount.second import second
from tests.recount.second_cells import cells_of
from tests.recount.second_sentences import sentences
from tests.recount.sessions import NAMES, Row, page, told

NOTHING_THERE = re.compile(r"Car \w+: [\w ,]+\. (?:No|None|Nothing)\b.*\.")
"""What stands in place of a table without rows."""
WORST = "figures are severities, 5 is the worst"
CALLS = re.compile(r"Car \w+: what became of (\d+) calls?")


def account_of(name: str, html: str) -> Account:
    """Every number of a page."""
    account, found, own = Account(), page_reader.read(html), second(name)
    _heads(account, found, own)
    _sentences(account, found, own, name)
    _tables(account, found, own, name)
    for key, svg in found.figures.items():
        kind, _, car = key.partition("-")
        of_car = next(one for one in own["cars"] if one["car"].value == car)
        second_figures.account_for(account, kind, figure_reader.read(svg), told(name), own, of_car)
    return account


def _heads(account: Account, found: Page, own: Row) -> None:
    """Headings, captions and what is read out in their place: names, and one count of calls."""
    session = own["session"]
    names = {one for part in ("session", "event") for one in numbers(session[part].value)}
    names |= {car["car"].value for car in own["cars"]}
    calls = {str(car["radio"]["calls"]) for car in own["cars"]}
    for head in (*found.heads, *found.told, *found.other):
        of_calls = CALLS.fullmatch(head)
        for at, one in enumerate(numbers(head)):
            if of_calls and at == 1 and one in calls:
                account.kinds["facts"] += 1
            elif WORST in head and at == 1:
                account.kinds["fixed"] += 1
            elif one in names:
                account.kinds["name"] += 1
            else:
                account.lacking.append(f"heading: {head!r}")


def _sentences(account: Account, found: Page, own: Row, name: str) -> None:
    shown = [one for one in found.sentences if numbers(one)]
    account.kinds["name"] += sum(bool(NOTHING_THERE.fullmatch(one)) for one in shown)
    shown, ours = [one for one in shown if not NOTHING_THERE.fullmatch(one)], sentences(told(name), own)
    if len(shown) != len(ours):
        account.lacking.append(f"{len(shown)} sentences have numbers, {len(ours)} of our own")
    for sentence, own_numbers in zip(shown, ours, strict=False):
        printed.account_for(account, sentence, own_numbers, "sentence")


def _tables(account: Account, found: Page, own: Row, name: str) -> None:
    for caption, table in found.tables.items():
        cells = cells_of(told(name), own, caption)
        if cells is None or [len(row) for row in cells] != [len(row) for row in table.rows]:
            account.lacking.append(f"{caption}: {None if cells is None else len(cells)} rows of our own")
            continue
        for row, ours in zip(table.rows, cells, strict=True):
            for cell, own_numbers in zip(row, ours, strict=True):
                printed.account_for(account, cell, own_numbers, caption)
        names = {one for car in own["cars"] for run in car["runs"] for one in numbers(run["run"].value)}
        assert {one for title in (*table.heads, *table.groups) for one in numbers(title)} <= names, caption


@pytest.mark.parametrize("name", NAMES)
def test_every_number_of_the_page(name: str) -> None:
    """Sentence by sentence, cell by cell, bar by bar."""
    account = account_of(name, page(name))
    assert account.lacking == []
    assert account.kinds.total() > 400
    assert account.kinds["facts"] > 0.4 * account.kinds.total()
    assert account.kinds["axis"] > 30


def test_a_wrong_number_on_the_page_is_found() -> None:
    """A lap time in a cell, a count in a sentence, a bar in a figure: each that is off is told, and nothing else."""
    html = page("wet")
    best = re.search(r"best (\d:\d\d\.\d\d\d)", html)
    assert best is not None
    off = best[1][:-1] + str((int(best[1][-1]) + 1) % 10)
    told_off = account_of("wet", html.replace(f"best {best[1]}.", f"best {off}."))
    assert len(told_off.lacking) == html.count(f"best {best[1]}.") > 0
    cell = html.replace(f"{best[1]}</td>", f"{off}</td>")
    assert cell != html
    assert account_of("wet", cell).lacking
    bar = re.search(r'id="radio-58-patch_5">\s*<path d="M ([\d.]+) ', html)
    assert bar is not None
    drawn = html[: bar.start(1)] + f"{float(bar[1]) - 1.0}" + html[bar.end(1) :]
    assert [one.partition(":")[0] for one in account_of("wet", drawn).lacking] == ["radio"]


@pytest.mark.parametrize("name", ["two_windows"])
def test_the_paper_has_the_numbers_of_the_page_and_no_others(name: str) -> None:
    """Each number of sentences and cells as often as on the page at least, but for what is told of figures to those who
    do not see them; what is more are heads that are repeated, and the numbers of the pages."""
    pages = PdfReader(io.BytesIO(paper_of(told(name).debrief))).pages
    found = page_reader.read(page(name))
    cells = [cell for table in found.tables.values() for row in table.rows for cell in row]
    read = [one for one in found.sentences if one not in found.captions]
    shown = Counter(one for text in (*read, *cells) for one in numbers(text))
    paper = Counter(one for sheet in pages for one in numbers(sheet.extract_text()))
    assert shown.total() > 300
    assert not shown - paper
    drawn = [words for svg in found.figures.values() for words in _words(figure_reader.read(svg))]
    known = {one for text in (*found.sentences, *found.heads, *cells, *drawn) for one in numbers(text)}
    known |= {str(number) for number in range(1, len(pages) + 1)}
    day = told(name).debrief.session.green_time
    assert day is not None
    assert set(paper) - known - set(numbers(f"{day:%Y-%m-%d}")) == set()


def _words(figure: figure_reader.Figure) -> list[str]:
    return [*figure.words, *figure.legend, *(label for _, label in (*figure.x.ticks, *figure.y.ticks))]
