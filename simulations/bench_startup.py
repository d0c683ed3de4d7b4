"""How soon the command answers, how soon the daemon serves, and what it holds in memory while idle, printed as JSON.

    python simulations/bench_startup.py [--times 7] [--idle 5] [--event event.yaml]

Aims: ``pitwall --help`` in under 0.3 s, daemon and embedded broker idle under 150 MB. Times belong to the machine: the
bare interpreter's own is given beside them. Memory is read from /proc, so it needs Linux; elsewhere it is null.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pitwall.app.scenarios import locate

HELP_AIM_S, MEMORY_AIM_MB = 0.3, 150.0
COMMANDS: dict[str, tuple[str, ...]] = {
    "python": ("-c", "pass"),
    "help": ("-m", "pitwall", "--help"),
    "rehearse_help": ("-m", "pitwall", "rehearse", "--help"),
    "version": ("-m", "pitwall", "--version"),
    "check_demo_event": ("-m", "pitwall", "check", str(locate("event.yaml", "config"))),
}


def seconds(words: Sequence[str], times: int) -> dict[str, float]:
    """Median and least wall time of a command, seconds; the first run, which fills caches, is left out.

    Raises:
        subprocess.CalledProcessError: when it does not end with 0.
    """
    taken = []
    for _ in range(times + 1):
        began = time.perf_counter()
        subprocess.run([sys.executable, *words], capture_output=True, check=True)
        taken.append(time.perf_counter() - began)
    return {"median_s": round(statistics.median(taken[1:]), 3), "least_s": round(min(taken[1:]), 3)}


def memory_mb(process: int) -> dict[str, float] | None:
    """Resident and peak memory of a process in MB, as Linux tells it; None elsewhere."""
    try:
        lines = Path(f"/proc/{process}/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return None
    kilobytes = {name: int(rest.split()[0]) for name, _, rest in (line.partition(":") for line in lines)
                 if name in ("VmRSS", "VmHWM")}
    return {"resident": round(kilobytes["VmRSS"] / 1024, 1), "peak": round(kilobytes["VmHWM"] / 1024, 1)}


def serving(event: str, idle_s: float) -> dict[str, Any]:
    """The daemon with its own broker: seconds until it serves, memory after ``idle_s``, processor share while idle.

    Raises:
        SystemExit: when it does not start; its errors are printed.
    """
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        daemon = subprocess.Popen(
            [sys.executable, "-m", "pitwall", "serve", event, "--port", "0", "--json"],
            env=os.environ | {"PITWALL_STATE_DIR": folder}, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        assert daemon.stdout is not None
        try:
            if not daemon.stdout.readline():
                sys.exit(f"the daemon did not start: {daemon.communicate()[1]}")
            ready_s = time.perf_counter() - began
            before = _processor_s(daemon.pid)
            time.sleep(idle_s)
            after = _processor_s(daemon.pid)
            memory = memory_mb(daemon.pid)
        finally:
            daemon.send_signal(signal.SIGTERM)
            daemon.communicate(timeout=20)
    busy = None if before is None or after is None else round((after - before) / idle_s, 4)
    return {"ready_s": round(ready_s, 3), "memory_mb": memory, "processor_share": busy}


def _processor_s(process: int) -> float | None:
    try:
        fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return None
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures; 1 when an aim is missed."""
    parser = argparse.ArgumentParser(description="start-up time and idle memory")
    parser.add_argument("--times", type=int, default=7, metavar="N", help="runs of each command (default 7)")
    parser.add_argument("--idle", type=float, default=5.0, metavar="S", help="seconds of idling (default 5)")
    parser.add_argument("--event", default="event.yaml", help="what is served (default: the shipped event)")
    args = parser.parse_args(arguments)
    times = {name: seconds(words, max(1, args.times)) for name, words in COMMANDS.items()}
    served = serving(args.event, max(0.5, args.idle))
    memory = served["memory_mb"]
    met = {
        "help": times["help"]["median_s"] < HELP_AIM_S,
        "memory": None if memory is None else memory["resident"] < MEMORY_AIM_MB,
    }
    print(json.dumps({"commands": times, "serve": served, "aims_met": met}, indent=2))
    return 0 if met["help"] and met["memory"] is not False else 1


if __name__ == "__main__":
    sys.exit(main())
