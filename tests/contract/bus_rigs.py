"""Four rigs for one contract: the in-memory bus, MQTT on the embedded broker, on a real mosquitto, on our own child.

A rig makes clients and can cut the link of one of them without a goodbye. mosquitto is needed for the tests (Debian
packages ``mosquitto`` and ``mosquitto-clients``); it is started as a child on a free port and never as a service.
"""

from __future__ import annotations

import asyncio
import shutil
import socket
import subprocess
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Protocol

from pitwall.bus.broker import EmbeddedBroker
from pitwall.bus.codec import Message
from pitwall.bus.connection import LinkSettings
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.bus.mosquitto import MosquittoBroker
from pitwall.bus.mosquitto_files import MosquittoOptions
from pitwall.bus.mqtt import MqttBus

QUICK = LinkSettings(keepalive_s=5, timeout_s=1.0, first_wait_s=0.02, longest_wait_s=0.2)


async def eventually(wanted: Callable[[], bool], what: str = "the wanted state", within_s: float = 20.0) -> None:
    """Wait until ``wanted()`` is true; fail with ``what`` after ``within_s`` seconds."""
    loop = asyncio.get_running_loop()
    end = loop.time() + within_s
    while not wanted():
        assert loop.time() < end, f"did not come about: {what}"
        await asyncio.sleep(0.004)


class LinkProxy:
    """A TCP relay in front of a broker whose connections can be broken, silenced, and allowed again."""

    def __init__(self, host: str, port: int) -> None:
        self._target = (host, port)
        self._server: asyncio.Server | None = None
        self._writers: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self.refusing = False
        self.silent = False
        self.port = 0

    async def start(self) -> None:
        """Listen on a free port."""
        self._server = await asyncio.start_server(self._accept, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self.refusing:
            writer.transport.abort()
            return
        there, back = await asyncio.open_connection(*self._target)
        self._writers |= {writer, back}
        for source, target in ((reader, back), (there, writer)):
            task = asyncio.create_task(self._relay(source, target))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _relay(self, source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
        try:
            while data := await source.read(65536):
                if not self.silent:
                    target.write(data)
                    await target.drain()
        except OSError:
            pass
        finally:
            if not self.silent:
                target.transport.abort()

    def cut(self) -> None:
        """Break every connection and refuse new ones."""
        self.refusing = True
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    def restore(self) -> None:
        """Let connections through again."""
        self.refusing = self.silent = False

    async def stop(self) -> None:
        """Release everything."""
        self.cut()
        if self._server is not None:
            self._server.close()
        for task in tuple(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)


Bus = MemoryBus | MqttBus


class Rig(Protocol):
    """What the contract needs of a bus implementation."""

    name: str

    async def client(self, will: Message | None = None) -> Bus:
        """A client, not yet started."""

    def cut(self, bus: Bus) -> None:
        """Break its link without a goodbye; it stays broken until :meth:`restore`."""

    def restore(self, bus: Bus) -> None:
        """Let it come back."""


class MemoryRig:
    """The in-memory twin."""

    name = "memory"

    def __init__(self) -> None:
        self._broker = MemoryBroker()
        self.buses: list[Bus] = []

    async def client(self, will: Message | None = None) -> Bus:
        self.buses.append(MemoryBus(self._broker, will))
        return self.buses[-1]

    def cut(self, bus: Bus) -> None:
        assert isinstance(bus, MemoryBus)
        bus.cut()

    def restore(self, bus: Bus) -> None:
        assert isinstance(bus, MemoryBus)
        bus.restore()


class MqttRig:
    """Real sockets: each client behind a relay of its own."""

    def __init__(self, name: str, host: str, port: int) -> None:
        self.name = name
        self._host, self._port = host, port
        self.buses: list[Bus] = []
        self.relays: dict[int, LinkProxy] = {}

    async def client(self, will: Message | None = None) -> Bus:
        relay = LinkProxy(self._host, self._port)
        await relay.start()
        bus = MqttBus(f"mqtt://127.0.0.1:{relay.port}", f"contract-{len(self.buses)}", will, QUICK)
        self.relays[id(bus)] = relay
        self.buses.append(bus)
        return bus

    def cut(self, bus: Bus) -> None:
        self.relays[id(bus)].cut()

    def restore(self, bus: Bus) -> None:
        self.relays[id(bus)].restore()


@asynccontextmanager
async def memory_rig() -> AsyncIterator[MemoryRig]:
    """The in-memory rig."""
    rig = MemoryRig()
    yield rig
    for bus in rig.buses:
        await bus.stop()


@asynccontextmanager
async def mqtt_rig(name: str, host: str, port: int) -> AsyncIterator[MqttRig]:
    """A rig on a running broker."""
    rig = MqttRig(name, host, port)
    yield rig
    for bus in rig.buses:
        await bus.stop()
    for relay in rig.relays.values():
        await relay.stop()


@asynccontextmanager
async def embedded_rig() -> AsyncIterator[MqttRig]:
    """A rig on the embedded broker."""
    async with EmbeddedBroker() as broker, mqtt_rig("embedded", broker.address.host, broker.address.port) as rig:
        yield rig


@asynccontextmanager
async def mosquitto_rig(folder: Path) -> AsyncIterator[MqttRig]:
    """A rig on a mosquitto child."""
    async with mosquitto(folder) as port, mqtt_rig("mosquitto", "127.0.0.1", port) as rig:
        yield rig


@asynccontextmanager
async def child_rig(folder: Path) -> AsyncIterator[MqttRig]:
    """A rig on the mosquitto that serve starts for itself."""
    async with (
        MosquittoBroker(MosquittoOptions("127.0.0.1", 0), folder) as broker,
        mqtt_rig("child", broker.address.host, broker.address.port) as rig,
    ):
        yield rig


def free_port() -> int:
    """A port that nobody uses now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def mosquitto_program() -> str:
    """The mosquitto program, from PATH or from /usr/sbin, where Debian puts it out of a user's PATH."""
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/opt/homebrew/sbin")
    assert found, "the tests need mosquitto: install the packages mosquitto and mosquitto-clients (apt-get install)"
    return found


@asynccontextmanager
async def mosquitto(folder: Path, extra: str = "") -> AsyncIterator[int]:
    """Run mosquitto on a free loopback port; yields the port."""
    port = free_port()
    config = folder / "mosquitto.conf"
    # Started by root it would drop to a user of its own who cannot read the test's folder.
    config.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\nuser root\n{extra}", encoding="utf-8"
    )
    log = (folder / "mosquitto.log").open("wb")
    command = [mosquitto_program(), "-c", str(config)]
    child = subprocess.Popen(command, stdout=log, stderr=log)  # noqa: ASYNC220  # nothing runs beside it yet
    try:
        for _ in range(3000):
            assert child.poll() is None, (folder / "mosquitto.log").read_text(encoding="utf-8")
            try:
                _, writer = await asyncio.open_connection("127.0.0.1", port)
            except OSError:
                await asyncio.sleep(0.01)
            else:
                writer.close()
                break
        yield port
    finally:
        child.terminate()
        child.wait(timeout=30)
        log.close()
