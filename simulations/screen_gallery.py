"""Pictures of the second screen in its states, from real rehearsals: to be looked at, and shown in the README.

    python simulations/screen_gallery.py [--into simulations/gallery]

Needs Debian's chromium and the extra ``test``. Some five minutes: rehearsals run at up to twenty times life.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

HERE = Path(__file__).parent
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
WITHIN_S = 600.0
COLOURS = 160
TIME_TO_SAY_IT = "() => Number(document.querySelector('.say.is-due .bar')?.ariaValueNow ?? 0) > 40"
DESK, SMALL, PHONE, LARGE = (1920, 1080), (1024, 600), (390, 844), (3840, 2160)


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


class Album:
    """Takes the pictures and makes them small: a page of few colours needs no more than a palette."""

    def __init__(self, browser: Browser, into: Path) -> None:
        self.browser, self.into = browser, into
        self.taken: list[str] = []
        self._page: Page | None = None

    def take(self, page: Page, name: str, *, most_px: int = 1920) -> None:
        """One picture, no wider than that."""
        picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
        if picture.width > most_px:
            picture = picture.resize((most_px, picture.height * most_px // picture.width), Image.Resampling.LANCZOS)
        picture.quantize(COLOURS, dither=Image.Dither.NONE).save(self.into / f"{name}.png", optimize=True)
        self.taken.append(name)
        print(name, flush=True)

    def opened(
        self, address: str, size: tuple[int, int], theme: str = "light", waits_for: str = ".cars button", *,
        live: bool = True,
    ) -> Page:
        """The page of that size and theme, live, once this is to be seen on it; the one before is closed."""
        if self._page is not None:
            self._page.close()
        page = self._page = self.browser.new_page(viewport={"width": size[0], "height": size[1]})
        page.goto(address)
        page.evaluate("theme => localStorage.setItem('pitwall.theme', theme)", theme)
        page.reload()
        until(page, f".frame:not(.is-old) {waits_for}" if live else waits_for)
        page.wait_for_timeout(400)  # a drawing takes its width from the page: the second one is right
        return page


def until(page: Page, selector: str) -> None:
    """Wait until this is to be seen."""
    page.locator(selector).first.wait_for(timeout=WITHIN_S * 1000)


def an_hour(album: Album) -> None:
    """A practice hour: brief, calls, silence, comments, the plan's why, the other pages, every theme and size."""
    with Rehearsal("practice_hour.yaml", 8) as address:
        page = album.opened(address, DESK, waits_for=".say.is-due")
        album.take(page, "desk-brief")
        for theme in ("light", "dark", "sunlight"):
            page = album.opened(address, DESK, theme, ".strip svg .car")
            page.wait_for_function(TIME_TO_SAY_IT, timeout=WITHIN_S * 1000)
            album.take(page, f"desk-{theme}")
        until(page, ".say.is-silent")
        page = album.opened(address, DESK, waits_for=".say.is-silent")
        album.take(page, "desk-nothing-to-say")
        comments(album, page)
        page.locator(".lanes button.is-planned").first.click()
        until(page, ".over .times")
        album.take(page, "desk-why")
        page.keyboard.press("Escape")
        page.keyboard.press("?")
        until(page, ".over .key-groups")
        album.take(page, "desk-keys")
        for name, size in (("team", DESK), ("sheet", DESK), ("desk", SMALL), ("desk", PHONE)):
            word = "phone" if size == PHONE else "small" if size == SMALL else "full"
            page = album.opened(f"{address}#/{name}/41", size)
            until(page, ".grab section + section td:text-matches('%')" if name == "sheet" else "main")
            album.take(page, f"{name}-{word}")
        album.take(album.opened(address, LARGE, "dark", ".strip svg .car"), "desk-4k")


def a_run_that_came_in(album: Album) -> None:
    """What came of it, as its car is in the pits: for the engineer, and in the garage."""
    with Rehearsal("practice_hour.yaml", 12) as address:
        page = album.opened(address, DESK, waits_for=".last-run h2:has-text('holds')")
        until(page, ".say.is-silent")
        album.take(page, "desk-last-run")
        page = album.opened(f"{address}#/garage/41", PHONE, waits_for=".garage .last-run")
        album.take(page, "garage-phone")


def comments(album: Album, page: Page) -> None:
    """Some comments, and one more that is being written."""
    for words in ("it turns in too much at the hairpin", "4eu3", "4mo2-"):
        page.keyboard.press("n")
        page.keyboard.type(words)
        until(page, ".comments form")
        page.keyboard.press("Enter")
        page.locator(".comments form").wait_for(state="hidden")
        page.wait_for_timeout(800)
    page.keyboard.press("n")
    page.keyboard.type("7xw3")
    until(page, ".comments .chip[aria-pressed=true]")
    album.take(page, "desk-comment")
    page.keyboard.press("Escape")


def a_red_flag(album: Album) -> None:
    """The flag, what the ladder says, the changed plan; then the rehearsal is ended under the page."""
    with Rehearsal("red_flag.yaml", 10) as address:
        page = album.opened(address, DESK, waits_for=".ladder tr")
        until(page, ".plan .ask")
        album.take(page, "desk-red-flag")
        while not page.locator(".over .sheet li").count():  # advice goes when the session overtakes it
            page.keyboard.press("Escape")
            until(page, ".plan .ask")
            page.keyboard.press("p")
            page.wait_for_timeout(300)
        album.take(page, "desk-changed-plan")
        page.keyboard.press("Escape")
    until(page, ".gone b")
    page.wait_for_timeout(6000)
    album.take(page, "desk-old")


def a_bad_day(album: Album) -> None:
    """Everything breaks that an alert tells of."""
    with Rehearsal(str(HERE / "alerts" / "faults.yaml"), 15) as address:
        page = album.opened(address, DESK, waits_for=".alerts .is-high")
        album.take(page, "desk-alerts")


def by_hand(album: Album) -> None:
    """A daemon without a feed that asks who comes in: the door, an onlooker, small screens while somebody writes,
    a garage whose crew has not seen a change."""
    with tempfile.TemporaryDirectory() as folder:
        state = os.environ | {"PITWALL_STATE_DIR": folder}
        users = Path(folder) / "users.yaml"
        tokens = {name: _added(users, name, role, state) for name, role in (("ann", "desk"), ("flo", "viewer"))}
        words = [sys.executable, "-m", "pitwall", "serve", str(HERE.parent / "config" / "event.yaml"), "--port", "0",
                 "--screen-port", "0", "--users", str(users), "--json"]  # fmt: skip
        daemon = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=state)
        assert daemon.stdout is not None
        said = json.loads(daemon.stdout.readline())
        address = said["screen"]
        try:
            page = album.opened(address, DESK, waits_for=".login form", live=False)
            album.take(page, "door")
            come_in(page, "ann", tokens["ann"])
            for key, then in (("g", ".queue li"), ("o", ".strip svg .car"), ("k", ".owed")):
                page.keyboard.press(key)
                until(page, then)
            for size, word in ((SMALL, "small"), (PHONE, "phone")):
                page.set_viewport_size({"width": size[0], "height": size[1]})
                page.keyboard.press("n")
                page.keyboard.type("t4 mid u")
                until(page, ".offers li")
                page.wait_for_timeout(400)
                album.take(page, f"desk-{word}-comment")
                page.keyboard.press("Escape")
            broker = said["broker"].replace("mqtt://", f"mqtt://ann:{tokens['ann']}@")
            words = [sys.executable, "-m", "pitwall", "command", "41", "drop", "run=long", "text=rain at half past"]
            subprocess.run([*words, "--by", "ann", "--broker", broker], check=True, capture_output=True, env=state)
            page.evaluate("() => { location.hash = '/garage/41'; }")
            until(page, ".role.behind")
            album.take(page, "garage-phone-changed")
            page = album.opened(address, DESK, waits_for=".login form", live=False)
            come_in(page, "flo", tokens["flo"])
            until(page, ".strip svg .car")
            page.wait_for_timeout(400)
            album.take(page, "desk-onlooker")
        finally:
            daemon.kill()
            daemon.communicate()


def come_in(page: Page, name: str, token: str) -> None:
    """Past the door."""
    page.locator("input[name=name]").fill(name)
    page.locator("input[name=token]").fill(token)
    page.locator(".login button").click()
    until(page, ".frame:not(.is-old) .cars button")


def _added(users: Path, name: str, role: str, state: dict[str, str]) -> str:
    words = [sys.executable, "-m", "pitwall", "users", "add", name, "--role", role, "--file", str(users), "--json"]
    said = subprocess.run(words, check=True, capture_output=True, text=True, env=state).stdout
    return str(json.loads(said)["token"])


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
        album = Album(browser, into)
        for story in (by_hand, an_hour, a_run_that_came_in, a_red_flag, a_bad_day):
            story(album)
        browser.close()
    print(f"{len(album.taken)} pictures in {time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
