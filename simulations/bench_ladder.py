"""How soon after a red flag the plans for a restart are on the wire, live and over MQTT. Prints JSON.

    python simulations/bench_ladder.py [--times 5] [--event config/event.yaml]

A daemon of its own is started with its broker. A client of the bus gives it the green light and then, again and again,
a red flag and the green light after it, as a desk would. ``seconds`` are those from sending the red flag to hearing the
first ladder with plans; the first of them finds the process that searches just started or not started yet.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.clients import Onlooker
from pitwall.app.commanding import give
from pitwall.app.scenarios import locate
from pitwall.bus.mqtt import MqttBus
from pitwall.model.outputs import Health, LadderState, Output

AIM_S, WITHIN_S = 5.0, 60.0
GREEN_FOR_S = 2.0
CAR, BY = "41", "bench"


class Screen:
    """Who looks on: the last ladder that was heard, and when."""

    def __init__(self, broker: str, session: str) -> None:
        self.bus, self.active = MqttBus(broker), False
        self._changed: Callable[[], None] = lambda: None
        Onlooker(self.bus, session, self._hear, lambda alert: None)

    def _hear(self, output: Output | Health) -> None:
        if isinstance(output, LadderState):
            self.active = output.active and bool(output.rungs)
            self._changed()

    async def until(self, active: bool) -> None:
        """Wait until a ladder stands, or none any more."""
        heard = asyncio.Event()
        self._changed = heard.set
        while self.active != active:
            await asyncio.wait_for(heard.wait(), WITHIN_S)
            heard.clear()


async def reds(broker: str, session: str, times: int) -> list[float]:
    """Seconds to the ladder, one for each red flag."""
    screen, found, number = Screen(broker, session), list[float](), 0

    async def flag(status: str) -> None:
        nonlocal number
        number += 1
        values = {"id": f"flag-{number}", "car": CAR, "command": "status", "status": status, "by": BY}
        await give(MqttBus(broker), session, values)

    await screen.bus.start()
    try:
        await flag("green")
        for _ in range(times):
            await asyncio.sleep(GREEN_FOR_S)
            sent = time.perf_counter()
            await flag("red")
            await screen.until(active=True)
            found.append(time.perf_counter() - sent)
            await flag("green")
            await screen.until(active=False)
    finally:
        await screen.bus.stop()
    return found


def measured(event: str, times: int) -> dict[str, Any]:
    """The figures of one daemon.

    Raises:
        SystemExit: when it does not start; its errors are printed.
    """
    with tempfile.TemporaryDirectory() as folder:
        daemon = subprocess.Popen(
            [sys.executable, "-m", "pitwall", "serve", event, "--port", "0", "--json"],
            env=os.environ | {"PITWALL_STATE_DIR": folder}, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            text=True,
        )
        assert daemon.stdout is not None
        try:
            line = daemon.stdout.readline()
            if not line:
                sys.exit(f"the daemon did not start: try pitwall serve {event}")
            said = json.loads(line)
            found = asyncio.run(reds(said["broker"], said["session"], times))
        finally:
            daemon.send_signal(signal.SIGTERM)
            daemon.communicate(timeout=20)
    return {"seconds": [round(one, 2) for one in found], "median_s": round(statistics.median(found), 2),
            "most_s": round(max(found), 2), "aim_met": max(found) < AIM_S}


def main() -> int:
    """Measure and print; 1 when the aim is missed."""
    parser = argparse.ArgumentParser(description="seconds from a red flag to the ladder on the wire")
    parser.add_argument("--times", type=int, default=5, metavar="N", help="red flags (default 5)")
    parser.add_argument("--event", default=str(locate("event.yaml", "config")), help="default: the demo event")
    args = parser.parse_args()
    found = measured(args.event, max(1, args.times))
    print(json.dumps(found))
    return 0 if found["aim_met"] else 1


if __name__ == "__main__":
    sys.exit(main())
