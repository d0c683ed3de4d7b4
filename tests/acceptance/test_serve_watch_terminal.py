"""`watch` on a pseudo-terminal of 80 by 24: it draws, takes keys, and leaves the terminal as it was."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import struct
import subprocess
import sys
import termios
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from pitwall.journal.sqlite import read_journal
from pitwall.model.events import CommandGiven
from tests.acceptance.processes import Processes, leave, until


class Terminal:
    """A pseudo-terminal with `pitwall watch` in it; everything that it draws is kept."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self._master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self._slave = slave
        self.before = termios.tcgetattr(slave)
        environment = os.environ | {"TERM": "xterm", "COLUMNS": "80", "LINES": "24"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "pitwall", "watch", *arguments], cwd=folder, env=environment,
            stdin=slave, stdout=slave, stderr=subprocess.PIPE, text=True,
        )
        self._drawn = b""
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        while True:
            try:
                self._drawn += os.read(self._master, 65_536)
            except OSError:
                return

    @property
    def text(self) -> str:
        """What was drawn so far, without the terminal's control sequences."""
        return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", self._drawn.decode(errors="replace"))

    def press(self, keys: str) -> None:
        """Type."""
        os.write(self._master, keys.encode())

    def attributes(self) -> list[object]:
        """The terminal's settings now."""
        return list(termios.tcgetattr(self._slave))

    def close(self) -> None:
        """End it."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()
        os.close(self._slave)
        os.close(self._master)


@pytest.fixture
def terminal(processes: Processes) -> Iterator[tuple[Terminal, Path]]:
    """A daemon of the demo event, and a terminal that watches it; the path is the journal's."""
    _, said = processes.serve()
    made = Terminal(processes.folder, "--broker", said["broker"], "--by", "wall")
    yield made, Path(said["journal"])
    made.close()


def _commands(journal: Path) -> list[CommandGiven]:
    return [stamped.event for stamped in read_journal(journal) if isinstance(stamped.event, CommandGiven)]


def test_watch_draws_takes_keys_and_leaves(terminal: tuple[Terminal, Path]) -> None:
    """The picture shows clock, cars and what to say; 2 and tab change the car, s says, m mutes, ? helps, q leaves."""
    screen, journal = terminal
    until(lambda: all(word in screen.text for word in ("WAITING", "> car 41", "car 58", "musts fit", "s said")))
    screen.press("2")  # before the feed speaks there is something to say in the garage of car 58
    until(lambda: all(word in screen.text for word in ("> car 58", "SAY NOW", "say      Before you leave")))
    screen.press("s")
    until(lambda: [command.command for command in _commands(journal)] == ["said"])
    said = _commands(journal)[0]
    assert (said.car, said.by) == ("58", "wall")
    assert said.call is not None
    screen.press("\tm")
    until(lambda: len(_commands(journal)) == 2)
    muted = _commands(journal)[1]
    assert (muted.car, muted.command) == ("41", "quiet")
    until(lambda: "QUIET" in screen.text)
    screen.press("?")
    until(lambda: "any key closes this" in screen.text)
    screen.press("z")
    screen.press("z")
    until(lambda: "the key 'z' does nothing" in screen.text)
    screen.press("q")
    assert screen.process.wait(10) == 0
    assert screen.attributes() == list(screen.before), "the terminal is put back as it was"


def test_watch_says_when_the_daemon_is_gone(processes: Processes) -> None:
    """A daemon that ends is shown as offline, in words; the view stays until somebody leaves."""
    daemon, said = processes.serve()
    screen = Terminal(processes.folder, "--broker", said["broker"])
    try:
        until(lambda: "online" in screen.text)
        assert leave(daemon)[0] == 0
        until(lambda: "DAEMON OFFLINE" in screen.text)
        assert screen.process.poll() is None
        screen.press("q")
        assert screen.process.wait(10) == 0
    finally:
        screen.close()
