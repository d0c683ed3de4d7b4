"""Follow a recording as it is done at an event: daemon, feed and an independent client as processes of their own.

    python simulations/follow_live.py FOLDER --cars 5 --speed 60 [--json]

Starts ``pitwall serve`` (embedded broker, journal in a temporary folder) on an event derived from the recording by
``plan_from_session.py``, writes down with ``mosquitto_sub`` what it publishes, plays the recording with ``pitwall
replay`` at the given speed, ends everything, and judges what was written down as ``score_follow.py`` does.
"""

from __future__ import annotations

import argparse
import json
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from simulations.plan_from_session import SESSION, write_event
from simulations.score_follow import busiest, score

PITWALL = (sys.executable, "-m", "pitwall")


def free_port() -> int:
    """A port nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def until_open(port: int, seconds: float) -> None:
    """Wait until somebody listens there.

    Raises:
        TimeoutError: when nobody does in time.
    """
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise TimeoutError(f"nobody listens on 127.0.0.1:{port}: did the daemon start?")


def live(folder: Path, cars: int, seed: int, speed: float, work: Path) -> Path:
    """Run the three processes; returns the file of collected lines."""
    event = write_event(folder, busiest(folder, cars), seed, work / "event")
    port, collected = free_port(), work / "collected.txt"
    address = f"mqtt://127.0.0.1:{port}"
    client = shutil.which("mosquitto_sub")
    if client is None:
        raise SystemExit("mosquitto_sub is missing: apt-get install mosquitto-clients")
    journal = work / "journal.sqlite"
    serve = [*PITWALL, "serve", str(event), "--port", str(port), "--journal", str(journal)]
    replay = [*PITWALL, "replay", str(folder), "--speed", f"{speed:g}", "--broker", address, "--session", SESSION]
    wanted = [f"pitwall/1/{SESSION}/{name}" for name in ("laps/+", "prompt/+", "plan/+", "desk/+/state")]
    daemon = subprocess.Popen(serve, stdout=subprocess.DEVNULL)
    try:
        until_open(port, 15.0)
        with collected.open("wb") as out:
            topics = [part for topic in wanted for part in ("-t", topic)]
            listener = subprocess.Popen([client, "-p", str(port), "-q", "1", "-F", "%t %p", *topics], stdout=out)
            try:
                subprocess.run(replay, check=True, stdout=subprocess.DEVNULL)
                time.sleep(2.0)
            finally:
                listener.terminate()
                listener.wait(10)
    finally:
        daemon.send_signal(signal.SIGTERM)
        daemon.wait(10)
    return collected


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--cars", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--speed", type=float, default=60.0)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as work:
        file = live(args.folder, args.cars, args.seed, args.speed, Path(work))
        result, _ = score(args.folder, args.cars, args.seed, file)
    print(json.dumps(result, indent=1 if args.json else None))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
