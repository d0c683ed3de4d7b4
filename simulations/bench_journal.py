"""How fast the journal takes facts and how late timers come, printed as JSON.

    python simulations/bench_journal.py [--seconds 5] [--folder DIR]

Absolute figures belong to the machine and its disk; the ratios compare within this one run. Run it on the folder that
will hold the journal: some disks take milliseconds for what others do in microseconds.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import statistics
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from pitwall.journal.codec import decode, encode
from pitwall.journal.memory import MemoryJournal
from pitwall.journal.sqlite import SqliteJournal
from pitwall.model.events import CarCrossed, Stamped
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.ports import Journal

BATCH = 4
WRITERS = 50
TIMERS_PER_S = 100


def facts(start: int, count: int) -> list[Stamped]:
    """Crossings as a feed gives them."""
    return [
        Stamped(seq=n, received_t=n * 0.01, wall_s=1.7e9 + n * 0.01, event=CarCrossed(
            id=f"crossing:41:{n}", t=n * 0.01 - 0.2, car="41", loop="s2", lap=n % 90, sector_time_s=31.204))
        for n in range(start, start + count)
    ]


def percentiles_ms(samples: Sequence[float]) -> dict[str, float]:
    """Median, 99th percentile and greatest of samples in seconds, as milliseconds."""
    cuts = statistics.quantiles(samples, n=100)
    return {"median": round(cuts[49] * 1e3, 3), "p99": round(cuts[98] * 1e3, 3), "max": round(max(samples) * 1e3, 3)}


async def one_writer(journal: Journal, seconds: float) -> tuple[float, list[float], int]:
    """One append after the other, as a quiet session. Events per second, latencies, next number."""
    latencies: list[float] = []
    seq, began = 0, time.perf_counter()
    while (now := time.perf_counter()) - began < seconds:
        await journal.append(facts(seq, 1))
        latencies.append(time.perf_counter() - now)
        seq += 1
    return seq / (time.perf_counter() - began), latencies, seq


async def many_writers(journal: Journal, seconds: float, start: int) -> tuple[float, int]:
    """Fifty appends under way at any moment, so that commits are shared. Events per second, next number."""
    seq, began, waiting = start, time.perf_counter(), set()
    while time.perf_counter() - began < seconds:
        while len(waiting) < WRITERS:
            waiting.add(asyncio.create_task(journal.append(facts(seq, BATCH))))
            seq += BATCH
        _, waiting = await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
    await asyncio.gather(*waiting)
    return (seq - start) / (time.perf_counter() - began), seq


async def timer_lateness(seconds: float) -> list[float]:
    """How late the live clock's wake-ups come, in seconds."""
    clock, late, done = LiveClock(), [], asyncio.Event()
    count = int(seconds * TIMERS_PER_S)
    start = clock.now() + 0.05
    for n in range(count):
        due = start + n / TIMERS_PER_S
        clock.call_at(due, lambda due=due: late.append(clock.now() - due))
    clock.call_at(start + seconds, done.set)
    await done.wait()
    return late


async def timers_beside_writing(journal: Journal, seconds: float, seq: int) -> list[float]:
    """Timer lateness while the journal is written fifty times a second."""
    writing = True

    async def write() -> None:
        nonlocal seq
        while writing:
            await journal.append(facts(seq, BATCH))
            seq += BATCH
            await asyncio.sleep(0.02)

    task = asyncio.create_task(write())
    late = await timer_lateness(seconds)
    writing = False
    await task
    return late


def codec_rate(count: int = 20_000) -> dict[str, float]:
    """Microseconds to encode and to decode one event."""
    events = facts(0, count)
    began = time.perf_counter()
    stored = [encode(stamped) for stamped in events]
    between = time.perf_counter()
    for data in stored:
        decode(data)
    ended = time.perf_counter()
    return {
        "encode_us": round((between - began) / count * 1e6, 2),
        "decode_us": round((ended - between) / count * 1e6, 2),
        "bytes": round(sum(map(len, stored)) / count, 1),
    }


async def measure(folder: Path, seconds: float) -> dict[str, object]:
    """Everything, one after the other."""
    stored = await SqliteJournal.open(folder / "bench.sqlite")
    alone, latencies, seq = await one_writer(stored, seconds)
    commits_before = stored.commits
    together, seq = await many_writers(stored, seconds, seq)
    shared = (seq - len(latencies)) / BATCH / (stored.commits - commits_before)
    memory, _, _ = await one_writer(MemoryJournal(), min(1.0, seconds))
    idle = await timer_lateness(seconds)
    busy = await timers_beside_writing(stored, seconds, seq)
    began = time.perf_counter()
    count = len(await stored.read())
    read_s = time.perf_counter() - began
    await stored.close()
    return {
        "one_writer": {"events_per_s": round(alone), "latency_ms": percentiles_ms(latencies)},
        "many_writers": {"events_per_s": round(together), "appends_per_commit": round(shared, 1)},
        "read": {"events": count, "events_per_s": round(count / read_s)},
        "codec": codec_rate(),
        "timers": {"idle_late_ms": percentiles_ms(idle), "writing_late_ms": percentiles_ms(busy)},
        "ratios": {
            "many_to_one_writer": round(together / alone, 2),
            "memory_to_file": round(memory / alone, 2),
            "timer_median_writing_to_idle": round(statistics.median(busy) / statistics.median(idle), 2),
        },
    }


def main() -> None:
    """Parse, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=3.0, help="length of each part")
    parser.add_argument("--folder", type=Path, help="where to write; a temporary folder by default")
    options = parser.parse_args()
    if options.seconds < 0.5:
        parser.error("--seconds: at least 0.5, or the percentiles mean nothing")
    with tempfile.TemporaryDirectory(dir=options.folder) as folder:
        print(json.dumps(asyncio.run(measure(Path(folder), options.seconds)), indent=2))


if __name__ == "__main__":
    main()
