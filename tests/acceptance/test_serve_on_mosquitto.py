"""The daemon on a broker of its own kind: Debian's mosquitto, seen by Debian's own client."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
from collections.abc import Iterator

import pytest

from pitwall.bus.sockets import free_port
from tests.acceptance.processes import Processes, leave, until

ROOT_TOPIC = "pitwall/1/practice-1"


def _program(name: str) -> str:
    # Debian keeps the broker where an ordinary user's PATH does not look.
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    assert found, f"{name} is missing: install the Debian packages mosquitto and mosquitto-clients"
    return found


@pytest.fixture
def port() -> Iterator[int]:
    """A mosquitto on a free port of loopback."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        chosen = int(free.getsockname()[1])
    broker = subprocess.Popen([_program("mosquitto"), "-p", str(chosen)], stderr=subprocess.PIPE, text=True)

    def listens() -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", chosen)) == 0

    until(listens)
    yield chosen
    broker.terminate()
    broker.communicate()


def _retained(port: int, topic: str) -> dict[str, object]:
    words = ["-h", "127.0.0.1", "-p", str(port), "-t", f"{ROOT_TOPIC}/{topic}", "-C", "1", "-W", "5"]
    done = subprocess.run([_program("mosquitto_sub"), *words], capture_output=True, text=True, check=False)
    found = json.loads(done.stdout)
    assert isinstance(found, dict)
    return found


def test_independent_client_sees_the_session(processes: Processes, port: int) -> None:
    """Clock, health and desk state are retained for whoever comes later; a goodbye says offline."""
    daemon, said = processes.serve("event.yaml", "--broker", f"mqtt://127.0.0.1:{port}")
    assert said["broker"] == f"mqtt://127.0.0.1:{port}"
    until(lambda: _retained(port, "health")["state"] == "online")
    assert _retained(port, "clock")["status"] == "waiting"
    assert _retained(port, "desk/41/state")["prompts"]
    assert leave(daemon)[0] == 0
    assert _retained(port, "health")["state"] == "offline"


def test_daemon_waits_for_a_broker_that_is_not_there_yet(processes: Processes) -> None:
    """Started before the broker it says once what it waits for; it serves as soon as that answers. One that never
    comes is given up with Ctrl-C."""
    port = free_port()
    address = f"mqtt://127.0.0.1:{port}"
    early = processes.start("serve", "event.yaml", "--broker", address, "--json")
    assert early.stderr is not None
    assert f"no broker answers at {address}" in early.stderr.readline()
    assert "waiting for it" in early.stderr.readline()
    broker = subprocess.Popen([_program("mosquitto"), "-p", str(port)], stderr=subprocess.DEVNULL)
    try:
        assert early.stdout is not None
        assert json.loads(early.stdout.readline())["broker"] == address
        assert leave(early)[0] == 0
    finally:
        broker.terminate()
        broker.wait()
    never = processes.start("serve", "event.yaml", "--broker", address)
    assert never.stderr is not None
    never.stderr.readline()
    code, _, said = leave(never, signal.SIGINT)
    assert code == 0
    assert "Traceback" not in said


def test_will_speaks_for_a_daemon_that_was_killed(processes: Processes, port: int) -> None:
    """SIGKILL: the broker says offline; the next life says online, resumes, and its state is retained again."""
    daemon, _ = processes.serve("event.yaml", "--broker", f"mqtt://127.0.0.1:{port}")
    until(lambda: _retained(port, "health")["state"] == "online")
    daemon.kill()
    daemon.communicate()
    until(lambda: _retained(port, "health")["state"] == "offline")
    again, said = processes.serve("event.yaml", "--broker", f"mqtt://127.0.0.1:{port}")
    assert said["resumed"] is True
    until(lambda: _retained(port, "health")["state"] == "online")
    assert leave(again)[0] == 0


def test_attached_rehearsal_over_mosquitto(processes: Processes, port: int) -> None:
    """World and daemon meet on a third process, and a client that only listens hears the prompts."""
    address = f"mqtt://127.0.0.1:{port}"
    event = processes.copy_demo()
    daemon, _ = processes.serve(str(event), "--broker", address)
    listener = subprocess.Popen(
        [_program("mosquitto_sub"), "-h", "127.0.0.1", "-p", str(port), "-t", f"{ROOT_TOPIC}/prompt/+", "-F", "%t"],
        stdout=(processes.folder / "prompts.txt").open("w"),
    )
    scenario = processes.folder / "simulations" / "short_demo.yaml"
    done = processes.run("rehearse", str(scenario), "--attach", address, "--speed", "200", "--json")
    listener.terminate()
    listener.wait()
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["digest"] is None, "the journal is the daemon's, not the world's"
    assert report["calls"]["planned"] > 10
    assert report["laps"]["all"] > 2
    assert "SAY NOW" in done.stderr
    heard = set((processes.folder / "prompts.txt").read_text(encoding="utf-8").split())
    assert heard == {f"{ROOT_TOPIC}/prompt/41", f"{ROOT_TOPIC}/prompt/58"}
    assert leave(daemon)[0] == 0
