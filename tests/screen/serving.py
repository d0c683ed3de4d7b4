"""A daemon with its page, and what the tests ask of either."""

from __future__ import annotations

import itertools
import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from pitwall.journal.sqlite import read_journal
from pitwall.model.events import CommandGiven
from tests.acceptance.processes import Processes
from tests.acceptance.processes import until as until_within
from tests.screen.conftest import LIMIT_MS


def begun(processes: Processes, *more: str, event: str = "event.yaml") -> tuple[subprocess.Popen[str], dict[str, Any]]:
    """A daemon whose session somebody has begun by hand: green, and car 41 left the pits a moment ago."""
    daemon, said = processes.serve(event, "--screen-port", "0", *more)
    give(processes, said, "status", "status=green")
    give(processes, said, "pit", "where=exit")
    return daemon, said


def give(processes: Processes, said: dict[str, Any], name: str, *words: str, car: str = "41", by: str = "ann") -> None:
    """One command from another seat, as any client of the bus gives it; ``words`` are its arguments, ``name=value``."""
    arguments = dict(word.split("=", 1) for word in words)
    message = {"id": f"{by}-{next(_numbers)}", "command": name, "by": by, **arguments}
    publish(said, f"desk/{car}/command", message)


def publish(said: dict[str, Any], rest: str, message: dict[str, Any]) -> None:
    """One message on a topic of the session."""
    program = shutil.which("mosquitto_pub")
    assert program, "the tests need mosquitto_pub: install the package mosquitto-clients (apt-get install)"
    port = said["broker"].rpartition(":")[2]
    topic = f"pitwall/1/{said['session']}/{rest}"
    subprocess.run([program, "-h", "127.0.0.1", "-p", port, "-q", "1", "-t", topic, "-m", json.dumps(message)],
                   check=True, timeout=300)  # fmt: skip


_numbers = itertools.count(1)


def commands(said: dict[str, Any], name: str) -> list[CommandGiven]:
    """The commands of that name in the daemon's journal."""
    stored = read_journal(Path(said["journal"]))
    return [one.event for one in stored if isinstance(one.event, CommandGiven) and one.event.command == name]


def shows(page: Page, words: str, where: str = "body") -> None:
    """Wait until the page shows these words."""
    page.locator(where, has_text=words).first.wait_for()


def hides(page: Page, selector: str) -> None:
    """Wait until nothing of this is to be seen."""
    page.locator(selector).first.wait_for(state="hidden")


def until(done: Callable[[], bool]) -> None:
    """Wait for something that another process does."""
    until_within(done, LIMIT_MS / 1000)


def press(page: Page, key: str) -> None:
    """A command by key. Where the daemon was so slow that the page took its clock for old and sent nothing, as it then
    says, the key is pressed again, as a person would."""

    def taken() -> bool:
        page.locator(".frame:not(.is-old)").wait_for()
        page.keyboard.press(key)
        page.evaluate("() => new Promise(drawn => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
        return "not sent" not in page.locator(".said-here").inner_text()

    until(taken)


def call_to_make(page: Page) -> str:
    """Wait until there is a call that can still be made; its words."""
    page.locator(".say.is-shown .words, .say.is-due .words").wait_for()
    return page.locator(".say .words").inner_text()
