"""Processes killed and links cut in mid-session, seen by an independent client: Debian's mosquitto_sub."""

from __future__ import annotations

import asyncio
import json
import shutil
import subprocess
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pitwall.bus.broker import EmbeddedBroker
from pitwall.journal.codec import encode
from pitwall.journal.sqlite import read_journal
from pitwall.model.events import CarCrossed, CommandGiven, PromptDelivered, Restarted, SessionPrepared
from tests.acceptance.processes import QUICK_DAY, Processes, leave
from tests.contract.bus_rigs import LinkProxy, mosquitto

TOPICS = "pitwall/1/practice-1/"
SPEED = 60
WAIT_S = 60.0


@dataclass(frozen=True)
class Seen:
    """One message as an independent client saw it; ``payload`` is None for an empty one."""

    topic: str
    retained: bool
    payload: dict[str, Any] | None


class Client:
    """mosquitto_sub on every topic of the session, writing to a file."""

    def __init__(self, port: int, path: Path) -> None:
        program = shutil.which("mosquitto_sub")
        assert program, "the tests need mosquitto_sub: install the package mosquitto-clients (apt-get install)"
        self.path = path
        words = ["-h", "127.0.0.1", "-p", str(port), "-t", f"{TOPICS}#", "-F", "%t %r %p", "-q", "1"]
        self._out = path.open("w")
        self._process = subprocess.Popen([program, *words], stdout=self._out)

    def seen(self) -> list[Seen]:
        """Everything so far, in order. Long messages are written in pieces: the last line may not be whole yet."""
        found = []
        whole, _, _ = self.path.read_bytes().rpartition(b"\n")
        for line in whole.decode("utf-8").split("\n") if whole else ():
            topic, retained, payload = line.split(" ", 2)
            found.append(Seen(topic.removeprefix(TOPICS), retained == "1", json.loads(payload) if payload else None))
        return found

    def of(self, topic: str) -> list[dict[str, Any]]:
        """Payloads on topics that begin so, empty ones left out."""
        return [one.payload for one in self.seen() if one.topic.startswith(topic) and one.payload is not None]

    def end(self) -> None:
        """Stop listening."""
        self._process.terminate()
        self._process.wait()
        self._out.close()


@asynccontextmanager
async def listening(port: int, path: Path) -> AsyncIterator[Client]:
    """An independent client for the length of a test."""
    client = Client(port, path)
    try:
        yield client
    finally:
        client.end()


async def _until(done: Callable[[], bool], what: str) -> None:
    loop = asyncio.get_running_loop()
    end = loop.time() + WAIT_S
    while not done():
        assert loop.time() < end, f"did not come about: {what}"
        await asyncio.sleep(0.05)


def _health(client: Client) -> str | None:
    found = client.of("health")
    return str(found[-1]["state"]) if found else None


async def test_rehearsal_is_seen_whole_by_an_independent_client(processes: Processes) -> None:
    """A rehearsal at sixty times life on the embedded broker: clock, desk state, plan, forecast, prompts through their
    states, an alert as it rises, and at the end the goodbye."""
    report = processes.folder / "report.json"
    rehearsal = processes.start("rehearse", str(QUICK_DAY), "--speed", str(SPEED), "--json", out=report)
    assert rehearsal.stderr is not None
    said = ""
    while "mqtt://" not in said:
        said = await asyncio.to_thread(rehearsal.stderr.readline)
        assert said, "it ended before it told its broker"
    port = int(said.split("mqtt://127.0.0.1:")[1].split(";")[0])
    async with listening(port, processes.folder / "seen.txt") as client:
        code = await asyncio.to_thread(rehearsal.wait, 60)
        assert code == 0
        await _until(lambda: _health(client) == "offline", "the goodbye")
        states = {message["state"] for message in client.of("prompt/")}
        assert {"shown", "due", "said", "done"} <= states
        statuses = [message["status"] for message in client.of("clock")]
        assert {"waiting", "green", "finished"} <= set(statuses)
        wanted = {"desk/41/state", "desk/58/state", "plan/41", "forecast/58", "field", "laps/41"}
        assert wanted <= {one.topic for one in client.seen()}
        kinds = {message["kind"] for message in client.of("alert/")}
        assert "overrun" in kinds
    prompts = client.of("prompt/")
    made = json.loads(report.read_text(encoding="utf-8"))
    assert len({message["call"] for message in prompts}) == made["calls"]["planned"]
    remaining = [message["remaining_s"] for message in client.of("clock") if message["status"] == "green"]
    assert remaining == sorted(remaining, reverse=True)


async def test_embedded_broker_speaks_the_will_when_the_link_is_cut(processes: Processes) -> None:
    """The daemon's link breaks: the embedded broker says offline for it; when the link is back, the daemon says
    online and states everything again, under the ids that it had."""
    async with EmbeddedBroker() as broker:
        link = LinkProxy(broker.address.host, broker.address.port)
        await link.start()
        async with listening(broker.address.port, processes.folder / "seen.txt") as client:
            address = f"mqtt://127.0.0.1:{link.port}"
            daemon, said = await asyncio.to_thread(processes.serve, "event.yaml", "--broker", address)
            assert said["broker"] == address
            await _until(lambda: _health(client) == "online", "online")
            await _until(lambda: bool(client.of("desk/41/state")), "a desk state")
            link.cut()
            await _until(lambda: _health(client) == "offline", "the will")
            before = len(client.seen())
            link.restore()
            await _until(lambda: _health(client) == "online", "online again")
            again = {one.topic for one in client.seen()[before:]}
            wanted = {"clock", "desk/41/state", "desk/58/state", "plan/41", "plan/58", "field"}
            await _until(
                lambda: wanted <= {one.topic for one in client.seen()[before:]}, f"all of {wanted}, got {again}"
            )
            prompts: dict[str, dict[str, Any]] = {}
            for message in client.of("prompt/"):
                assert prompts.setdefault(message["id"], message) | {"t": 0} == message | {"t": 0}
            assert (await asyncio.to_thread(leave, daemon))[0] == 0
        await link.stop()


async def test_daemon_killed_in_mid_session_goes_on(processes: Processes, tmp_path: Path) -> None:
    """A session over mosquitto, cars on track; the daemon is killed and started again a second later. The broker says
    offline; no stored fact is lost or doubled; the gap is in the journal and in the reasons of the calls that fell into
    it; no prompt id is given to another content; the session runs to its end."""
    event = processes.copy_demo()
    journal = tmp_path / "day.sqlite"
    async with mosquitto(tmp_path) as port, listening(port, tmp_path / "seen.txt") as client:
        serve = (str(event), "--broker", f"mqtt://127.0.0.1:{port}", "--journal", str(journal))
        daemon, said = await asyncio.to_thread(processes.serve, *serve)
        assert said["resumed"] is False
        world = processes.start(
            "rehearse",
            str(QUICK_DAY),
            "--attach",
            f"mqtt://127.0.0.1:{port}",
            "--speed",
            str(SPEED),
            "--json",
            out=tmp_path / "report.json",
        )
        await _until(
            lambda: any(one["state"] in ("out", "out_in") for one in client.of("desk/41/state")), "car 41 on its lap"
        )
        daemon.kill()
        daemon.communicate()
        await _until(lambda: _health(client) == "offline", "the will")
        stored = read_journal(journal)
        await asyncio.sleep(0.5)
        again, more = await asyncio.to_thread(processes.serve, *serve)
        assert more["resumed"] is True
        assert more["session_s"] > stored[-1].received_t + 20
        assert await asyncio.to_thread(world.wait, 60) == 0, world.communicate()[1]
        assert (await asyncio.to_thread(leave, again))[0] == 0
        seen = client.seen()

    events = read_journal(journal)
    assert [encode(one) for one in events[: len(stored)]] == [encode(one) for one in stored]
    assert [one.seq for one in events] == list(range(len(events)))
    assert len({one.event.id for one in events}) == len(events)
    assert sum(isinstance(one.event, SessionPrepared) for one in events) == 1
    (back,) = [one.event for one in events if isinstance(one.event, Restarted)]
    assert 20 < back.gap_s < 300
    later = [one.event for one in events[len(stored) :]]
    assert any(isinstance(event, CarCrossed) for event in later)
    assert any(isinstance(event, CommandGiven) for event in later)
    assert any(isinstance(event, PromptDelivered) for event in later)

    prompts: dict[str, dict[str, Any]] = {}
    for one in seen:
        if one.topic.startswith("prompt/") and one.payload is not None:
            kept = prompts.setdefault(one.payload["id"], one.payload)
            assert kept | {"t": 0.0} == one.payload | {"t": 0.0}
    reasons = {prompt["reason"] for prompt in prompts.values() if prompt["state"] in ("late", "missed")}
    assert any("pitwall was down" in (reason or "") for reason in reasons), reasons
    after = [prompt for prompt in prompts.values() if prompt["t"] >= back.t]
    assert all(prompt["say_by_s"] >= back.t - 1 for prompt in after if prompt["state"] == "due")
    assert any(prompt["state"] == "done" for prompt in after)
