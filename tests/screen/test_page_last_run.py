"""What came of a run is on the page as its car comes in: for the engineer, in the garage, and over the page."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.acceptance.processes import Processes
from tests.screen.conftest import Open
from tests.screen.serving import begun, give, hides, shows
from tests.screen.test_page_is_whole import CUT, LAPTOP, PHONE, opened
from tests.screen.test_page_reads_well import THEMES, violations, weak

CARD, DESK = ".desk-grid .last-run", (1920, 1080)


def came_in(processes: Processes, open_page: Open) -> Page:
    """The page of a car that left for the first run of its plan and came back, all entered by hand."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    opened(page, LAPTOP)
    page.locator(".strip").wait_for()
    hides(page, CARD)
    give(processes, said, "pit", "where=entry")
    page.locator(CARD).wait_for()
    return page


def test_it_is_there_as_the_car_is_in_the_pit_lane(processes: Processes, open_page: Open) -> None:
    """Which run, how it ended, what was not done and why, where the data are; whole on a laptop, as the plan
    below it is; before the car came in its place was the lap's."""
    page = came_in(processes, open_page)
    shows(page, "checks", f"{CARD} h2")
    shows(page, "items done", f"{CARD} h2")
    shows(page, "in the pit lane", ".cars")
    assert page.evaluate(CUT, [CARD, ":is(h2, p)"]) == []
    assert page.evaluate(CUT, [".plan", ".lane"]) == []
    page.evaluate("location.hash = '/garage/41'")
    shows(page, "where the data are", ".garage .last-run")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["full-hd", "phone"])
def test_it_is_read_and_reached_by_everybody(processes: Processes, open_page: Open, size: tuple[int, int]) -> None:
    """No rule of axe-core is broken in any theme, on the desk's page, in the garage and opened in whole, which a key
    does from its button; each state is a word."""
    page = came_in(processes, open_page)
    opened(page, size)
    wrong: list[str] = []
    for theme in THEMES:
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        for name, part in (("desk", CARD), ("garage", ".garage .last-run")):
            page.evaluate("hash => { location.hash = hash; }", f"/{name}/41")
            page.locator(part).wait_for()
            wrong += [f"{theme} {name} {line}" for line in violations(page) + weak(page, theme)]
        page.evaluate("location.hash = '/desk/41'")
        page.locator(f"{CARD} button").focus()
        page.keyboard.press("Enter")
        shows(page, "where the data are", ".over .sheet")
        wrong += [f"{theme} whole {line}" for line in violations(page)]
        page.keyboard.press("Escape")
        hides(page, ".over .sheet")
    assert not wrong, "\n".join(sorted(set(wrong)))
    words = page.locator(f"{CARD} h2 span").inner_text()
    assert any(word in words for word in ("done", "broken off"))
