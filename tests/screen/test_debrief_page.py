"""The debrief's page in a real browser without a network: it fetches and runs nothing, and all can read it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from pitwall.debrief.pages import page_of
from tests.screen.test_page_reads_well import violations
from tests.unit.debrief_stage import made

SCREENS = ((1366, 768), (390, 844))
A4_PX = (794, 1123)
"""210 by 297 mm at the 96 pixels an inch of CSS."""


@pytest.fixture(scope="module")
def page(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """The page with text from anybody, opened from its file in a browser without a network; what it asks is noted."""
    file: Path = tmp_path_factory.mktemp("debrief") / "debrief.html"
    file.write_text(page_of(made("hostile")), encoding="utf-8")
    context = browser.new_context(offline=True)
    opened = context.new_page()
    asked: list[str] = []
    told: list[str] = []
    opened.on("request", lambda request: asked.append(request.url))
    opened.on("console", lambda message: told.append(message.text))
    opened.on("pageerror", lambda error: told.append(str(error)))
    opened.goto(file.as_uri())
    assert asked == [file.as_uri()]
    assert told == []
    yield opened
    context.close()


def test_it_opens_without_network_and_asks_for_nothing(page: Page) -> None:
    """One request, for the file itself; the style is taken, nothing is refused, the figures have a size."""
    assert page.locator("h1").inner_text() == "Debrief of practice-1, Saltmarsh Park spring test"
    assert page.evaluate("getComputedStyle(document.body).maxWidth") == "1080px"
    assert page.locator("figure svg").count() == 8
    assert page.evaluate("[...document.querySelectorAll('figure svg')].every(one => one.clientHeight > 100)")
    assert page.locator("script, iframe, object, embed, link, img").count() == 0


def test_no_rule_of_axe_is_broken(page: Page) -> None:
    """WCAG 2.2 A and AA and axe-core's best practice."""
    assert violations(page) == []


def test_the_page_is_no_wider_than_the_screen(page: Page) -> None:
    """On a laptop and on a phone only wide tables and figures scroll sideways, within themselves."""
    for width, height in SCREENS:
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


BROKEN_WORDS = """
() => {
  const found = [];
  for (const cell of document.querySelectorAll('td, th')) {
    const texts = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
    for (let text = texts.nextNode(); text; text = texts.nextNode()) {
      if (text.parentElement.closest('.long')) continue;
      for (const word of text.data.matchAll(/lap \\d+|[\\p{L}-]+/gu)) {
        const range = document.createRange();
        range.setStart(text, word.index);
        range.setEnd(text, word.index + word[0].length);
        const lines = new Set([...range.getClientRects()].map(one => Math.round(one.top / 4)));
        if (lines.size > 1) found.push(word[0]);
      }
    }
  }
  return found;
}
"""


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_no_word_of_a_table_is_broken(browser: Browser, tmp_path: Path, width: int, height: int) -> None:
    """A column is as wide as its longest word, and a lap keeps its number: a table that is too wide then scrolls."""
    file = tmp_path / "debrief.html"
    file.write_text(page_of(made("full")), encoding="utf-8")
    opened = browser.new_page(viewport={"width": width, "height": height})
    opened.goto(file.as_uri())
    assert opened.locator("td").count() > 100
    assert opened.evaluate(BROKEN_WORDS) == []
    opened.close()


def test_printed_by_the_browser_nothing_is_cut(page: Page) -> None:
    """On A4 with the style for print no table is wider than the text."""
    page.set_viewport_size({"width": A4_PX[0] - 106, "height": A4_PX[1]})  # margins of 14 mm on either side
    page.emulate_media(media="print")
    too_wide = page.evaluate("[...document.querySelectorAll('table, figure, p')]"
                             ".filter(one => one.getBoundingClientRect().right > innerWidth + 1)"
                             ".map(one => one.textContent.slice(0, 60))")
    page.emulate_media(media="screen")
    assert too_wide == []
