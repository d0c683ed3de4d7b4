"""Messages and times against their standards.

Sources: MQTT 5.0 (OASIS) clauses 3.3.1-5, 3.3.1-6 and 4.7.2-1 (the rules of 3.1.1 are the same under other numbers);
a will fires on a killed socket and not on DISCONNECT (MQTT 3.1.1, 3.1.2.5; seen on Mosquitto 2.0.11); RFC 3339 section
5.8 (strings from memory, their equality computed).
"""

from __future__ import annotations

import asyncio
import subprocess
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from pitwall.bus.address import BrokerAddress
from pitwall.bus.broker import EmbeddedBroker
from pitwall.bus.connection import LinkSettings
from pitwall.bus.mqtt import MqttBus
from pitwall.model.rules import SessionWindow
from tests.contract.bus_rigs import eventually, mosquitto


@pytest.fixture(params=["embedded", "mosquitto"])
async def address(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[BrokerAddress]:
    """A broker: ours, then the one that the others are measured by."""
    if request.param == "embedded":
        async with EmbeddedBroker() as broker:
            yield broker.address
    else:
        async with mosquitto(tmp_path) as port:
            yield BrokerAddress("127.0.0.1", port)


@contextmanager
def outsider(program: str, address: BrokerAddress, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    """An independent client: mosquitto's own command-line programs (package mosquitto-clients)."""
    try:
        child = subprocess.Popen(
            [program, "-h", address.host, "-p", str(address.port), "-V", "311", *arguments],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
    except FileNotFoundError:
        pytest.fail(f"the tests need {program}: install the package mosquitto-clients (apt-get install)")
    try:
        yield child
    finally:
        child.kill()
        child.communicate()


async def bus_on(address: BrokerAddress) -> tuple[MqttBus, list[tuple[str, bytes]]]:
    """Our client, connected, hearing everything under ``s/``."""
    bus = MqttBus(address, settings=LinkSettings(timeout_s=1.0))
    heard: list[tuple[str, bytes]] = []
    bus.subscribe("s/#", lambda topic, payload: heard.append((topic, payload)))
    await bus.start()
    return bus, heard


async def test_retained_messages_as_an_outsider_sees_them(address: BrokerAddress) -> None:
    """3.3.1-5: a newcomer of another make gets the last retained message only; 3.3.1-6: after an empty one, none."""
    bus, heard = await bus_on(address)
    for payload in (b"first", b"second"):
        bus.publish("s/kept", payload, retain=True)
    bus.publish("s/cleared", b"x", retain=True)
    bus.publish("s/cleared", b"", retain=True)
    await eventually(lambda: len(heard) == 4, "all four")
    with outsider("mosquitto_sub", address, "-t", "s/#", "-v", "-W", "1") as newcomer:
        out, _ = await asyncio.to_thread(newcomer.communicate, timeout=60)
    assert out.splitlines() == ["s/kept second"]
    await bus.stop()


async def test_wildcards_do_not_take_dollar_topics(address: BrokerAddress) -> None:
    """4.7.2-1: an outsider that subscribes to ``#`` gets our message and nothing that begins with ``$``."""
    bus, heard = await bus_on(address)
    bus.publish("s/plain", b"x", retain=True)
    await eventually(lambda: len(heard) == 1, "the message")
    with outsider("mosquitto_sub", address, "-t", "#", "-F", "%t", "-W", "1") as newcomer:
        out, _ = await asyncio.to_thread(newcomer.communicate, timeout=60)
    assert out.splitlines() == ["s/plain"]
    await bus.stop()


async def test_an_outsiders_will_fires_when_it_is_killed_and_not_when_it_leaves(address: BrokerAddress) -> None:
    """A killed process leaves its will; one that disconnects does not."""
    bus, heard = await bus_on(address)
    will = ("--will-topic", "s/will", "--will-payload", "gone", "--will-retain")
    with outsider("mosquitto_pub", address, "-t", "s/hello", "-l", *will) as polite:
        assert polite.stdin is not None
        polite.stdin.write("polite\n")
        polite.stdin.flush()
        await eventually(lambda: heard == [("s/hello", b"polite")], "the greeting")
        polite.stdin.close()
        polite.stdin = None
        await eventually(lambda: polite.poll() == 0, "its leaving")
    with outsider("mosquitto_pub", address, "-t", "s/hello", "-l", *will) as killed:
        assert killed.stdin is not None
        killed.stdin.write("killed\n")
        killed.stdin.flush()
        await eventually(lambda: heard[-1] == ("s/hello", b"killed"), "the greeting")
        killed.kill()
        await eventually(lambda: len(heard) == 3, "the will")
    assert heard == [("s/hello", b"polite"), ("s/hello", b"killed"), ("s/will", b"gone")]
    await bus.stop()


def test_rfc_3339_times_with_different_offsets_are_one_moment() -> None:
    """RFC 3339 5.8: 1996-12-19T16:39:57-08:00 and 1996-12-20T00:39:57Z are the same moment in our files too."""
    pacific, zulu = (
        SessionWindow.model_validate({"session": "fp1", "opens_at": text, "duration_s": 3600}).opens_at
        for text in ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z")
    )
    assert pacific is not None
    assert zulu is not None
    assert pacific == zulu
    assert pacific.timestamp() == 851042397.0


def test_a_time_without_an_offset_is_refused() -> None:
    """RFC 3339 demands an offset: a session window without one is an error, not a guess."""
    with pytest.raises(ValueError, match="timezone"):
        SessionWindow.model_validate({"session": "fp1", "opens_at": "1996-12-19T16:39:57", "duration_s": 3600})
