"""Pictures of the second screen in its states, from real rehearsals: to be looked at, and shown in the README.

    python simulations/screen_gallery.py [--into simulations/gallery]

Needs Debian's chromium and the extra ``test``. Some two minutes: rehearsals run at twenty times life.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

HERE = Path(__file__).parent
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
WITHIN_S = 100.0
DESK, SMALL, PHONE = (1920, 1080), (1024, 600), (390, 844)


class Rehearsal:
    """A rehearsal at speed with its page; ends with the block."""

    def __init__(self, scenario: str, speed: float) -> None:
        words = [sys.executable, "-m", "pitwall", "rehearse", scenario, "--speed", str(speed), "--screen-port", "0"]
        self.process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)

    def __enter__(self) -> str:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            found = re.search(r"in a browser: (\S+)", line)
            if found:
                return found[1]
        raise SystemExit("the rehearsal did not start")

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.communicate()


def until(page: Page, selector: str) -> None:
    """Wait until this is to be seen."""
    page.locator(selector).first.wait_for(timeout=WITHIN_S * 1000)


def opened(browser: Browser, address: str, size: tuple[int, int], theme: str = "light") -> Page:
    """The page of that size and theme, live."""
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    page.goto(address)
    page.evaluate("theme => localStorage.setItem('pitwall.theme', theme)", theme)
    page.reload()
    until(page, ".frame:not(.is-old) .cars button")
    return page


def gallery(browser: Browser, into: Path) -> list[Path]:
    """Every picture."""
    taken: list[Path] = []

    def take(page: Page, name: str) -> None:
        page.screenshot(path=into / f"{name}.png")
        taken.append(into / f"{name}.png")
        print(name, flush=True)

    with Rehearsal("practice_hour.yaml", 10) as address:
        page = opened(browser, address, DESK)
        take(page, "desk-waiting")
        until(page, ".strip svg .car")
        until(page, ".say.is-due")
        take(page, "desk-say-now")
        until(page, ".say.is-silent")
        take(page, "desk-nothing-to-say")
        page.keyboard.press("n")
        page.keyboard.type("14.3")
        until(page, ".comments form")
        page.wait_for_timeout(500)
        take(page, "desk-comment")
        page.keyboard.press("Escape")
        page.keyboard.press("?")
        until(page, ".over")
        take(page, "desk-keys")
        for theme in ("dark", "sunlight"):
            other = opened(browser, address, DESK, theme)
            until(other, ".say.is-due")
            take(other, f"desk-{theme}")
        _pages(browser, address, take)
    with Rehearsal("red_flag.yaml", 20) as address:
        page = opened(browser, address, DESK)
        until(page, ".ladder")
        take(page, "desk-red-flag")
        page.keyboard.press("p")
        if page.locator(".over .sheet").count():
            take(page, "desk-changed-plan")
        last = page
    until(last, ".gone b")
    last.wait_for_timeout(6000)
    last.keyboard.press("Escape")
    take(last, "desk-old")
    return taken


def _pages(browser: Browser, address: str, take: Callable[[Page, str], None]) -> None:
    for name, size in (("team", DESK), ("sheet", DESK), ("garage", PHONE), ("desk", SMALL), ("desk", PHONE)):
        page = opened(browser, f"{address}#/{name}/41", size)
        page.wait_for_timeout(1500)
        take(page, f"{name}-{'phone' if size == PHONE else 'small' if size == SMALL else 'full'}")


def main() -> None:
    """Take them all."""
    parser = argparse.ArgumentParser(description="pictures of the second screen in its states")
    parser.add_argument("--into", type=Path, default=HERE / "gallery", metavar="FOLDER")
    into: Path = parser.parse_args().into
    program = shutil.which("chromium")
    if program is None:
        raise SystemExit("chromium is missing: apt-get install chromium")
    into.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=list(FLAGS))
        taken = gallery(browser, into)
        browser.close()
    print(f"{len(taken)} pictures in {time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
