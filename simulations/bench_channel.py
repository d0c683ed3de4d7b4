"""How long a channel plan takes: the calls of the next three laps of the demo car. Prints one JSON object.

    python simulations/bench_channel.py [--channels 300] [--calls 4 8 12]

Laps, listening stretches and rate of speech are those of the shipped event. How many calls wait, at which places,
and when the driver talks is drawn from a seed. Each channel is planned anew after each call that is said, as a session
would; every one of these plans is timed.
"""

from __future__ import annotations

import argparse
import json
import statistics
import time
from functools import partial
from pathlib import Path

import numpy as np

from pitwall.app.loading import load_setup
from pitwall.radio.channel import plan_channel
from pitwall.radio.pending import Busy, PendingCall
from pitwall.radio.speech import spoken_s
from pitwall.radio.ways import Room, Words, ways
from pitwall.track.lapmap import LapMap, lap_map

EVENT = Path(__file__).resolve().parents[1] / "config" / "event.yaml"
LAPS = 3
COOL = 1.35  # times the quick lap
TEXTS: tuple[tuple[str, str, int, bool], ...] = (
    ("Before the line: brake bias two down, torque 2, engine 4.", "Bias two down, torque 2, engine 4", 70, True),
    ("Box, box. Pit entry this lap.", "Box, box", 90, True),
    ("After turn four: hold gear five, count five.", "Turn four: hold gear five", 60, False),
    ("Comment please on balance: entry, middle, exit.", "Comment: balance", 20, False),
    ("Brake bedding: eight stops on the straights, harder each time, no locking.", "Bedding: eight stops", 60, False),
    ("Three timed laps, then the in-lap.", "Three timed laps", 50, False),
    ("Lap time 1:27.4.", "1:27.4", 10, False),
    ("Car behind in eight seconds, quick lap.", "Car behind", 30, False),
    ("Next lap is timed, push from the line.", "Next lap: push", 50, False),
)


def stretches(lap: LapMap, start_s: float) -> tuple[tuple[float, float], ...]:
    """Listening stretches of the next laps at the pace of cool-down laps, session seconds."""
    long_s = COOL * lap.lap_s
    return tuple(
        (start_s + (number + begin) * long_s, start_s + (number + end) * long_s)
        for number in range(LAPS + 1) for begin, end in lap.listening_easy or ()
    )  # fmt: skip


def channel(lap: LapMap, count: int, rng: np.random.Generator) -> tuple[list[PendingCall], list[Busy]]:
    """So many calls for places on the next laps, and a driver who talks a fifth of the time."""
    listening, long_s = stretches(lap, 0.0), COOL * lap.lap_s
    length = partial(spoken_s, words_per_minute=150)
    calls = []
    for number in range(count):
        text, short, weight, must = TEXTS[int(rng.integers(0, len(TEXTS)))]
        act_s = float(rng.uniform(15, LAPS * long_s))
        room = Room(listening, max(0.0, act_s - 32), act_s - 2.0)
        later = None if must else Room(listening, room.from_s + long_s, room.end_by_s + long_s)
        found = ways(Words(text, short, length), room, later=later, must=must)
        calls.append(PendingCall(f"call {number}", short, weight, found, must=must, pre_empts=weight == 90))
    talks = [Busy(begin, begin + float(rng.uniform(2, 8)))
             for begin in np.cumsum(rng.exponential(25, 12)).tolist() if begin < LAPS * long_s]  # fmt: skip
    return calls, talks


def measure(lap: LapMap, count: int, channels: int) -> dict[str, float]:
    """Milliseconds and states of every plan of so many channels that begin with ``count`` calls."""
    times, first, nodes, fates = [], [], [], {"full": 0, "other": 0, "dropped": 0}
    for seed in range(channels):
        calls, talks = channel(lap, count, np.random.default_rng([count, seed]))
        now_s = 0.0
        while calls:
            began = time.perf_counter()
            plan = plan_channel(calls, talks, now_s=now_s)
            times.append((time.perf_counter() - began) * 1000)
            nodes.append(plan.nodes)
            if len(calls) == count:
                first.append(times[-1])
                full = sum(one.how == "full" for one in plan.placed)
                fates["full"] += full
                fates["other"] += len(plan.placed) - full
                fates["dropped"] += len(plan.dropped)
            if not plan.placed:
                break
            said = plan.placed[0]
            now_s = said.end_s + 2.5
            calls = [call for call in calls if call.key != said.key]
    p50, p99 = statistics.median(times), float(np.quantile(times, 0.99))
    return {"plans": len(times), "median_ms": round(p50, 2),
            "with_all_calls_pending_median_ms": round(statistics.median(first), 2),
            "p99_ms": round(p99, 2), "worst_ms": round(max(times), 2),
            "median_nodes": statistics.median(nodes), "p99_nodes": float(np.quantile(nodes, 0.99)),
            "worst_nodes": max(nodes), **fates}  # fmt: skip


def main() -> None:
    """Measure a few sizes."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--channels", type=int, default=300)
    parser.add_argument("--calls", type=int, nargs="+", default=[4, 8, 12])
    options = parser.parse_args()
    setup = load_setup(EVENT)
    car = setup.cars[sorted(setup.cars)[0]]
    lap = lap_map(setup.circuit, car, setup.calls)
    print(json.dumps({f"{count} calls": measure(lap, count, options.channels) for count in options.calls}, indent=1))


if __name__ == "__main__":
    main()
