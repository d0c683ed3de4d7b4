"""How long a debrief takes: the command with page and paper, for an hour and for a test day.

    python simulations/bench_debrief.py [--times 3] [practice_hour test_day]

The aims on a machine with two cores that does nothing else: an hour under 3 s, a test day under 10 s. Told are wall and
processor seconds of the whole command, the best of so many, what it takes without pages, and with all facts gone over
anew: as it is for the journal of a daemon that was killed, which kept no debrief with it. Each command is told on the
error output as it ends, with how many processes waited for a processor then: above two, wall seconds say nothing.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

DEFAULT = ("practice_hour", "test_day")


def run(*words: str, told: str) -> tuple[float, float]:
    """Wall and processor seconds of one command of ours, with its processes; told as it ends."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, "-m", "pitwall", *words], check=True, capture_output=True)
    wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    waiting = f"{os.getloadavg()[0]:.1f} waited" if hasattr(os, "getloadavg") else "nobody knows how many waited"
    print(f"{told}: {wall:.2f} s, {busy:.2f} s of a processor ({waiting})", file=sys.stderr, flush=True)
    return wall, busy


def measured(scenario: str, times: int, folder: Path) -> dict[str, Any]:
    """The figures of one scenario."""
    journal = folder / f"{scenario}.sqlite"
    run("rehearse", f"{scenario}.yaml", "--instant", "--journal", str(journal), told=f"{scenario}, rehearsed")

    def often(what: str, *words: str) -> list[tuple[float, float]]:
        return [run("debrief", str(journal), *words, told=f"{scenario}, {what}, {one} of {times}")
                for one in range(1, times + 1)]

    pages = ("--out", str(folder / scenario))
    whole, alone = often("with pages", *pages), often("without pages")
    anew = often("anew, with pages", "--anew", *pages)
    return {
        "wall_s": round(min(wall for wall, _ in whole), 2), "processor_s": round(min(busy for _, busy in whole), 2),
        "without_pages_wall_s": round(min(wall for wall, _ in alone), 2),
        "without_pages_processor_s": round(min(busy for _, busy in alone), 2),
        "anew_wall_s": round(min(wall for wall, _ in anew), 2),
        "anew_processor_s": round(min(busy for _, busy in anew), 2),
        "bytes": {path.name: path.stat().st_size for path in sorted((folder / scenario).iterdir())},
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures as JSON."""
    parser = argparse.ArgumentParser(description="how long a debrief takes")
    parser.add_argument("scenarios", nargs="*", default=list(DEFAULT))
    parser.add_argument("--times", type=int, default=3, metavar="N", help="of each command (default 3)")
    args = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as name:
        found = {scenario: measured(scenario, args.times, Path(name)) for scenario in args.scenarios}
    print(json.dumps(found, indent=2))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
