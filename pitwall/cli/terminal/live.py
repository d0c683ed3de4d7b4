"""Runs a view on a link: the live picture with keys on a terminal, plain lines or JSON lines elsewhere."""

from __future__ import annotations

import asyncio
import os
import socket
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, TextIO

from pitwall.app.clients import Onlooker
from pitwall.cli.terminal.board import Board, Message
from pitwall.cli.terminal.desk import Desk
from pitwall.cli.terminal.keys import key_presses
from pitwall.cli.terminal.lines import LineLog
from pitwall.model.outputs import ClockState

if TYPE_CHECKING:
    from rich.console import RenderableType

REFRESH_S = 0.25
LEAVE = ("q", "\x03", "\x04")


class SessionTime:
    """Session seconds as a viewer knows them: the daemon's last clock message, carried on at its rate."""

    def __init__(self, real_s: Callable[[], float]) -> None:
        self._real_s = real_s
        self._t, self._rate, self._at = 0.0, 0.0, real_s()
        self._heard_at = real_s()

    def heard(self, message: Message) -> None:
        """Note a message from the daemon."""
        self._heard_at = self._real_s()
        if isinstance(message, ClockState):
            self._t, self._rate, self._at = message.t, message.rate, self._heard_at
        elif message.t > self.now():
            self._t, self._at = message.t, self._heard_at

    def now(self) -> float:
        """Session seconds."""
        return self._t + (self._real_s() - self._at) * self._rate

    def silent_s(self) -> float:
        """Real seconds since anything was heard."""
        return self._real_s() - self._heard_at


class LinePrinter:
    """Writes the line log, or each message as a line of JSON, for one car or all."""

    def __init__(self, out: TextIO, car: str | None = None, as_json: bool = False) -> None:
        self._out, self._car, self._json, self._log = out, car, as_json, LineLog()
        self._gone = asyncio.Event()

    def hear(self, message: Message) -> None:
        """Print what this message is worth."""
        car = getattr(message, "car", None)
        if self._car is not None and car not in (None, self._car):
            return
        lines = (message.model_dump_json(),) if self._json else self._log.lines(message)
        for line in lines:
            self._print(line)

    def alert_over(self, alert_id: str) -> None:
        """An alert was cleared."""
        self._log.alert_over(alert_id)
        if self._json:
            self._print(f'{{"type":"alert_over","id":"{alert_id}"}}')

    async def until_gone(self, onlooker: Onlooker, stopping: asyncio.Event) -> None:
        """Return when the reader of the lines went away (``| head``) or somebody wishes to stop."""
        waiting = [asyncio.ensure_future(event.wait()) for event in (self._gone, stopping)]
        await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
        for one in waiting:
            one.cancel()

    def _print(self, line: str) -> None:
        if self._gone.is_set():
            return
        try:
            print(line, file=self._out, flush=True)
        except BrokenPipeError:
            self._gone.set()


class Picture:
    """The live view: a board, a desk, and what draws them."""

    def __init__(self, car: str | None, hand: str) -> None:
        loop = asyncio.get_running_loop()
        self.board, self.time = Board(), SessionTime(loop.time)
        mark = f"{hand}-{socket.gethostname()}-{os.getpid()}-{int(loop.time() * 1000)}"[:100]
        self.desk = Desk(self.board, hand, mark, car)

    def hear(self, message: Message) -> None:
        """Take a message."""
        self.time.heard(message)
        self.board.take(message)

    async def show(self, onlooker: Onlooker, stopping: asyncio.Event) -> None:
        """Draw until somebody leaves."""
        from rich.console import Console
        from rich.live import Live

        def pressed(key: str) -> None:
            if key in LEAVE and not (key == "q" and self.desk.writing is not None):
                stopping.set()
                return
            command = self.desk.press(key, self.time.now())
            if command is not None and not onlooker.give(command):
                self.board.note("not sent: no link to the daemon")

        console = Console()
        with Live(console=console, screen=True, auto_refresh=False) as live, key_presses(pressed):
            while not stopping.is_set():
                size = (console.size.width, console.size.height)
                live.update(self.drawn(size, linked=onlooker.linked), refresh=True)
                with suppress(TimeoutError):
                    await asyncio.wait_for(stopping.wait(), REFRESH_S)

    def drawn(self, size: tuple[int, int], *, linked: bool) -> RenderableType:
        """The picture of this moment, for a terminal of so many columns and lines."""
        from pitwall.cli.terminal.paint import paint

        now = self.time.now()
        return paint(self.board, now, self.desk.car, self.desk.chosen(now), size, self.time.silent_s(), linked=linked,
                     helping=self.desk.helping, looking=self.desk.looking, writing=self.desk.writing)


def is_terminal() -> bool:
    """True when both ends are a person's: keys can be read and a picture drawn."""
    return sys.stdin.isatty() and sys.stdout.isatty()
