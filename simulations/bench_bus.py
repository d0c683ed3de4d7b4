"""Latency of the bus, publish to receive, on the embedded broker and on mosquitto in one run.

    python simulations/bench_bus.py [--messages 1000] [--background 200] [--seed 1]

Prints one JSON object: for each broker and QoS the median and 99th percentile in milliseconds, quiet and with other
messages behind it, and the messages a second of a burst. mosquitto is left out (null) when it is not installed.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import structlog

from pitwall.bus.broker import EmbeddedBroker
from pitwall.bus.connection import LinkSettings
from pitwall.bus.mqtt import MqttBus

PAYLOAD = json.dumps({"id": "c-12.3", "t": 1234.5, "text": "Box this lap, box, box", "state": "due"}).encode()
SETTINGS = LinkSettings(queue=50_000)


async def latencies(
    publisher: MqttBus, listener: MqttBus, qos: int, count: int, dice: np.random.Generator
) -> list[float]:
    """Milliseconds from publish to receive, one message at a time with short irregular pauses."""
    topic = f"bench/latency/{qos}"
    arrived = asyncio.Event()
    listener.subscribe(topic, lambda topic, payload: arrived.set())
    await asyncio.sleep(0.1)
    found: list[float] = []
    for _ in range(count):
        arrived.clear()
        since = time.perf_counter()
        publisher.publish(topic, PAYLOAD, qos=qos)
        await asyncio.wait_for(arrived.wait(), 5)
        found.append((time.perf_counter() - since) * 1000)
        await asyncio.sleep(float(dice.uniform(0, 0.002)))
    return found


async def burst(publisher: MqttBus, listener: MqttBus, count: int) -> float:
    """Messages a second at QoS 1, published all at once."""
    heard = 0
    done = asyncio.Event()

    def count_one(topic: str, payload: bytes) -> None:
        nonlocal heard
        heard += 1
        if heard == count:
            done.set()

    listener.subscribe("bench/burst", count_one)
    await asyncio.sleep(0.1)
    since = time.perf_counter()
    for _ in range(count):
        publisher.publish("bench/burst", PAYLOAD)
    await asyncio.wait_for(done.wait(), 60)
    return count / (time.perf_counter() - since)


async def background(bus: MqttBus, per_second: float) -> None:
    """Other traffic, until cancelled."""
    while True:
        bus.publish("bench/other", PAYLOAD, qos=0)
        await asyncio.sleep(1 / per_second)


def summary(milliseconds: list[float]) -> dict[str, float]:
    """Median and 99th percentile."""
    median, p99 = np.percentile(milliseconds, [50, 99])
    return {"median_ms": round(float(median), 3), "p99_ms": round(float(p99), 3)}


async def measure(host: str, port: int, messages: int, per_second: float, seed: int) -> dict[str, Any]:
    """Everything for one broker."""
    dice = np.random.default_rng(seed)
    buses = [MqttBus(f"mqtt://{host}:{port}", f"bench-{name}", settings=SETTINGS) for name in ("a", "b", "c")]
    for bus in buses:
        await bus.start()
    publisher, listener, other = buses
    result: dict[str, Any] = {}
    for qos in (0, 1):
        result[f"qos{qos}"] = summary(await latencies(publisher, listener, qos, messages, dice))
    listener.subscribe("bench/other", lambda topic, payload: None)
    traffic = asyncio.create_task(background(other, per_second))
    result["qos1_with_background"] = summary(await latencies(publisher, listener, 1, messages, dice))
    traffic.cancel()
    result["burst_per_s"] = round(await burst(publisher, listener, 5 * messages))
    for bus in buses:
        await bus.stop()
    return result


async def on_mosquitto(messages: int, per_second: float, seed: int) -> dict[str, Any] | None:
    """The same on a mosquitto child, or None when there is none."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if program is None:
        return None
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        config = Path(folder) / "mosquitto.conf"
        config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\nuser root\n")
        command = [program, "-c", str(config)]
        child = subprocess.Popen(command, stderr=subprocess.DEVNULL)  # noqa: ASYNC220  # nothing runs beside it yet
        try:
            await asyncio.sleep(0.5)
            return await measure("127.0.0.1", port, messages, per_second, seed)
        finally:
            child.terminate()
            child.wait(timeout=5)


async def bench(messages: int, per_second: float, seed: int) -> dict[str, Any]:
    """Both brokers, one after the other."""
    async with EmbeddedBroker() as broker:
        embedded = await measure(broker.address.host, broker.address.port, messages, per_second, seed)
    return {
        "messages": messages,
        "background_per_s": per_second,
        "embedded": embedded,
        "mosquitto": await on_mosquitto(messages, per_second, seed),
    }


def main() -> None:
    """Read the arguments, run, print JSON."""
    parser = argparse.ArgumentParser(description="latency of the bus on two brokers, as JSON")
    parser.add_argument("--messages", type=int, default=1000, help="messages for each figure")
    parser.add_argument("--background", type=float, default=200.0, help="other messages a second")
    parser.add_argument("--seed", type=int, default=1, help="seed of the pauses between messages")
    given = parser.parse_args()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.WARNING))
    print(json.dumps(asyncio.run(bench(given.messages, given.background, given.seed)), indent=2))


if __name__ == "__main__":
    main()
