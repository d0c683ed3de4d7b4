"""mosquitto as our child: started with a configuration of ours, started again when it dies, ended with us.

``subprocess`` and a thread, not asyncio's children: on Windows those need another event loop than the MQTT client does.
The child has a process group of its own, so that a Ctrl-C meant for us does not take the broker away before our last
word. A system's own mosquitto is never touched: where it has the wanted port, ours takes a free one and says so.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import subprocess
import threading
from collections import deque
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import structlog

from pitwall.bus.address import BrokerAddress
from pitwall.bus.mosquitto_files import MosquittoOptions, find_program, write_files
from pitwall.bus.orphans import ChildRecord, end_orphans, remove_folder
from pitwall.bus.sockets import free_port, is_taken, reached_at
from pitwall.errors import BrokerError

_log = structlog.get_logger(__name__)

_ATTEMPTS = 3
_LAST_WORDS = 6
MISSING = (
    "mosquitto is not on this machine: install it (Debian: apt-get install mosquitto), or take --broker embedded"
)


@dataclass(frozen=True)
class ChildTimes:
    """How long things may take, and how long to wait before starting a dead child again: doubled, bounded."""

    ready_s: float = 5.0
    end_s: float = 2.0
    look_s: float = 0.01
    silent_s: float = 0.3
    first_wait_s: float = 0.1
    longest_wait_s: float = 5.0
    steady_s: float = 10.0

    def wait_s(self, failures: int) -> float:
        """The wait after so many ends in a row."""
        return min(self.longest_wait_s, self.first_wait_s * 2.0 ** min(failures - 1, 20))


def _own_group(system: str) -> dict[str, Any]:
    """How a process gets a group of its own there."""
    if system == "nt":
        return {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
    return {"start_new_session": True}


class _Child:
    """One process. A thread reads what it says; when that ends, so has the process."""

    def __init__(self, command: list[str]) -> None:
        try:
            self.process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                encoding="utf-8", errors="replace", **_own_group(os.name),
            )
        except OSError as problem:
            raise BrokerError(f"{command[0]}: cannot be started ({problem.strerror}): is it mosquitto?") from problem
        self.said: deque[str] = deque(maxlen=_LAST_WORDS)
        self.ended = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        threading.Thread(target=self._read, name="mosquitto's words", daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            words = line.strip()
            self.said.append(words)
            tell = _log.warning if words.lower().startswith(("error", "warning")) else _log.debug
            tell("mosquitto", says=words, pid=self.process.pid)
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
            self._loop.call_soon_threadsafe(self.ended.set)

    def last_words(self) -> str:
        """What it said last, errors first."""
        errors = [words for words in self.said if words.lower().startswith("error")]
        return "; ".join(errors or list(self.said)[-1:]) or f"exit code {self.process.poll()}"

    async def end(self, times: ChildTimes) -> None:
        """Ask it to end, then make it."""
        for ask in (self.process.terminate, self.process.kill):
            if self.process.poll() is not None:
                return
            ask()
            for _ in range(int(times.end_s / times.look_s)):
                if self.process.poll() is not None:
                    return
                await asyncio.sleep(times.look_s)
        _log.error("mosquitto does not end", pid=self.process.pid)


class MosquittoBroker:
    """``async with MosquittoBroker(options, records) as broker: ... broker.address``.

    Args:
        options: what to offer; port 0 takes a free one.
        records: folder where running children are written down.
        program: the program; looked for when left out.
        times: bounds.
    """

    def __init__(
        self, options: MosquittoOptions, records: Path, program: str | None = None, times: ChildTimes | None = None
    ) -> None:
        self._wanted, self._records, self.program = options, records, program or find_program()
        self._times = times or ChildTimes()
        self._options = options
        self._child: _Child | None = None
        self._configuration: Path | None = None
        self._record: Path | None = None
        self._watch: asyncio.Task[None] | None = None
        self.restarts = 0

    @property
    def address(self) -> BrokerAddress:
        """Where this machine reaches it, without a user."""
        return BrokerAddress(reached_at(self._options.host), self._options.port)

    @property
    def websocket_address(self) -> str | None:
        """Where it listens for WebSockets, or None."""
        if self._options.websocket_port is None:
            return None
        return f"ws://{reached_at(self._options.host)}:{self._options.websocket_port}"

    @property
    def moved(self) -> tuple[int, ...]:
        """The wanted ports that somebody else had, so that free ones were taken."""
        pairs = [(self._wanted.port, self._options.port), (self._wanted.websocket_port, self._options.websocket_port)]
        return tuple(wanted for wanted, got in pairs if wanted and wanted != got)

    @property
    def pid(self) -> int | None:
        """Its process id, while there is a process."""
        return self._child.process.pid if self._child is not None and self._child.process.poll() is None else None

    async def start(self) -> None:
        """End what a killed daemon left behind, then start and watch a child.

        Raises:
            BrokerError: when there is no mosquitto, or it does not start; with its own words.
        """
        if self.program is None:
            raise BrokerError(MISSING)
        await asyncio.to_thread(end_orphans, self._records)
        for attempt in range(1, _ATTEMPTS + 1):
            self._options = _with_free_ports(self._wanted)
            try:
                await self._spawn()
                break
            except BrokerError:
                await self._tidy()
                # Somebody may have taken the port between our look and its start: look again.
                if attempt == _ATTEMPTS or not is_taken(self._options.host, self._options.port):
                    raise
        self._watch = asyncio.create_task(self._keep_running())

    async def stop(self) -> None:
        """End it and remove its files. Harmless when not running."""
        watch, self._watch = self._watch, None
        if watch is not None:
            watch.cancel()
            await asyncio.gather(watch, return_exceptions=True)
        await self._tidy()

    async def __aenter__(self) -> Self:
        await self.start()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.stop()

    async def _spawn(self) -> None:
        assert self.program is not None
        # Written anew each time: a folder for temporary files may have been swept meanwhile.
        self._configuration = write_files(self._options)
        command = [self.program, "-c", str(self._configuration)]
        child = self._child = _Child(command)
        record = ChildRecord(child.process.pid, os.getpid(), tuple(command), str(self._configuration.parent),
                             self._options.port)
        self._record = record.write(self._records)
        await self._until_it_listens(child)
        _log.debug("mosquitto listens", address=str(self.address), pid=child.process.pid, program=self.program)

    async def _until_it_listens(self, child: _Child) -> None:
        host, port = self.address.host, self.address.port
        # Both: its WebSocket listener comes a little after the plain one.
        silent = [each for each in (port, self._options.websocket_port) if each is not None]
        for _ in range(int(self._times.ready_s / self._times.look_s)):
            if child.process.poll() is not None:
                break
            try:
                _, writer = await asyncio.open_connection(host, silent[0])
            except OSError:
                await asyncio.sleep(self._times.look_s)
                continue
            writer.close()
            silent.pop(0)
            if not silent and await self._is_it(child):
                return
        await child.end(self._times)
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(child.ended.wait(), self._times.end_s)
        raise BrokerError(f"mosquitto ({self.program}) does not start on {host}:{port}: {child.last_words()}")

    async def _is_it(self, child: _Child) -> bool:
        """True when what answers is our child: it says that it runs, or (as older ones do not say so) it lives on."""
        for _ in range(int(self._times.silent_s / self._times.look_s)):
            if child.process.poll() is not None or any(" running" in words for words in child.said):
                break
            await asyncio.sleep(self._times.look_s)
        return child.process.poll() is None

    async def _keep_running(self) -> None:
        loop = asyncio.get_running_loop()
        failures = 0
        while True:
            since = loop.time()
            if self._child is not None:
                await self._child.ended.wait()
                await self._child.end(self._times)  # it closed its output: whatever is left of it goes too
                code, self._child = self._child.process.poll(), None
                _log.error("mosquitto ended by itself; starting it again", code=code)
            self._forget()
            failures = 1 if loop.time() - since > self._times.steady_s else failures + 1
            await asyncio.sleep(self._times.wait_s(failures))
            try:
                self._demand_ports()
                await self._spawn()
                self.restarts += 1
                _log.warning("mosquitto runs again", address=str(self.address), restarts=self.restarts)
            except BrokerError as problem:
                _log.error("mosquitto cannot be started again; trying on", reason=str(problem))

    def _demand_ports(self) -> None:
        for port in (self._options.port, self._options.websocket_port):
            if port is not None and is_taken(self._options.host, port):
                raise BrokerError(f"somebody else took port {port} meanwhile: end that one, or start serve again")

    async def _tidy(self) -> None:
        child, self._child = self._child, None
        if child is not None:
            await child.end(self._times)
        self._forget()

    def _forget(self) -> None:
        if self._configuration is not None:
            remove_folder(str(self._configuration.parent))
            self._configuration = None
        if self._record is not None:
            self._record.unlink(missing_ok=True)
            self._record = None


def _with_free_ports(wanted: MosquittoOptions) -> MosquittoOptions:
    port = wanted.port if wanted.port and not is_taken(wanted.host, wanted.port) else free_port(wanted.host)
    websocket = wanted.websocket_port
    if websocket is not None and (not websocket or is_taken(wanted.host, websocket)):
        websocket = free_port(wanted.host)
    while websocket == port:
        websocket = free_port(wanted.host)
    return replace(wanted, port=port, websocket_port=websocket)
