"""A browser for the page's tests: Debian's Chromium without a window."""

from __future__ import annotations

import shutil
import socket
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from pitwall.bus.mosquitto_files import find_program
from tests.acceptance.processes import Processes, until

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)
GONE = "net::ERR_"
"""What the browser itself writes to its console when the server is away: wanted where it is taken away."""

LIMIT_MS = 60_000
"""How long anything may take before a test gives up: a limit for what never comes, not a measure. Machines are busy."""

Open = Callable[..., Page]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for the tests of a file: while it is there playwright's loop runs in this thread and no other can."""
    program = shutil.which("chromium")
    assert program, "the tests of the screen need Debian's package chromium (apt-get install chromium)"
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=program, args=list(FLAGS))
        yield started
        started.close()


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Processes]:
    """Processes of one test in a folder of its own."""
    started = Processes(tmp_path)
    yield started
    started.end()


def started_mosquitto(port: int) -> subprocess.Popen[bytes]:
    """A mosquitto of its own on that port, once it answers."""
    broker = subprocess.Popen([find_program() or "mosquitto", "-p", str(port)], stderr=subprocess.DEVNULL)

    def answers() -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", port)) == 0

    until(answers)
    return broker


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """A browser profile of its own: nothing is kept from the test before."""
    made = browser.new_context(viewport={"width": 1920, "height": 1080})
    made.set_default_timeout(LIMIT_MS)
    yield made
    made.close()


@pytest.fixture
def open_page(context: BrowserContext) -> Iterator[Open]:
    """Opens pages; at the end of the test none of them may have met an error of its own."""
    wrong: list[str] = []

    def opening(address: str, waits_for: str = ".cars button", *, live: bool = True) -> Page:
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda line: wrong.append(line.text) if _is_wrong(line.type, line.text) else None)
        page.goto(address)
        page.wait_for_selector(f".frame:not(.is-old) {waits_for}" if live else "main")
        return page

    yield opening
    assert not wrong


def _is_wrong(kind: str, text: str) -> bool:
    return kind == "error" and GONE not in text and "WebSocket connection to" not in text
