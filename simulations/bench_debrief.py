"""How long a debrief takes, the whole command with page and paper: of a practice hour and of a test day.

    python simulations/bench_debrief.py [--scenarios practice_hour test_day] [--folder FOLDER] [--times 2]

Each scenario is rehearsed once, its journal kept; then ``pitwall debrief JOURNAL --out FOLDER`` runs as a process, once
with what the daemon kept as it ended, once going over all facts anew. Told are the best wall and processor seconds. The
aims: an hour in under 3 s, a test day in under 10 s.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import structlog

from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import rehearse_instant


def journal_of(scenario: str, folder: Path) -> Path:
    """The journal of this scenario, rehearsed if it is not there yet."""
    path = folder / f"{Path(scenario).stem}.sqlite"
    if not path.exists():
        asyncio.run(rehearse_instant(load_rehearsal(scenario), path))
    return path


def once(journal: Path, folder: Path, *more: str) -> dict[str, float]:
    """One run of the command: wall and processor seconds, the processes that it started included."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = [sys.executable, "-m", "pitwall", "debrief", str(journal), "--out", str(folder), *more]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    wall_s, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return {"wall_s": round(wall_s, 2), "processor_s": round(busy, 2)}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures as JSON."""
    parser = argparse.ArgumentParser(description="how long a debrief takes")
    parser.add_argument("--scenarios", nargs="+", default=["practice_hour", "test_day"])
    parser.add_argument("--folder", type=Path, help="keep the journals there, and use those that are")
    parser.add_argument("--times", type=int, default=2, metavar="N")
    args = parser.parse_args(arguments)
    found = {}
    with tempfile.TemporaryDirectory() as temporary:
        folder = args.folder or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        for scenario in args.scenarios:
            journal = journal_of(scenario, folder)
            for name, more in (("kept", ()), ("anew", ("--anew",))):
                runs = [once(journal, Path(temporary) / "pages", *more) for _ in range(max(1, args.times))]
                found[f"{scenario}, {name}"] = min(runs, key=lambda one: one["processor_s"])
    print(json.dumps(found, indent=2))
    return 0


if __name__ == "__main__":
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
