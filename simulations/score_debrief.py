"""How well data windows of a debrief agree with what a rehearsed world really drove.

    python simulations/score_debrief.py [--seeds 8] [--first 1] [--no-speeds] [--json]

Each seed is rehearsed with holds that are really driven, once with positions at 10 Hz and once without any. The debrief
sees the journal alone; the truth is the world's. Told are, by kind of evidence: how far the ends of a hold lie from
the truth (seconds, metres), and how often the stated intervals hold it. Windows of whole laps are judged beside.
The aims: with positions within 0.1 s and 5 m; without them the intervals hold the truth in 90 of 100 cases. ``within``
is the share of ends that lie within the aim, ``outside_held`` of the others the share whose interval holds the truth.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import logging
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

import structlog

from pitwall.app.debriefing import Debrief, debrief
from pitwall.app.scenarios import Rehearsal, load_rehearsal
from pitwall.app.wiring import instant_evidence
from pitwall.model.debrief_rows import DataWindow, Uncertain
from pitwall.model.events import CarPositioned, Stamped
from pitwall.rehearsal.truth import CarTruth, DoneProcedure, WorldOutcome

SCENARIO = str(Path(__file__).parent / "debrief" / "holds_day.yaml")
POSITIONS_HZ = 10.0
AIMS = {"s": 0.1, "m": 5.0}


@dataclass(frozen=True)
class Judged:
    """One end of one window against the truth: how far off, and whether the interval holds it."""

    what: str
    evidence: str
    off: float
    held: bool
    width: float
    detail: str = ""


def rehearsed(seed: int, positions_hz: float, *, speeds: bool = True) -> tuple[Debrief, WorldOutcome]:
    """The debrief of one rehearsal, and its truth; without ``speeds`` the debrief sees places alone."""
    loaded = load_rehearsal(SCENARIO, seed=seed)
    feed = loaded.scenario.feed.model_copy(update={"positions_hz": positions_hz})
    rehearsal = Rehearsal(**{**vars(loaded), "scenario": loaded.scenario.model_copy(update={"feed": feed})})
    evidence = asyncio.run(instant_evidence(rehearsal))
    events = evidence.events if speeds else [_blind(one) for one in evidence.events]
    return debrief(events, f"seed {seed}"), evidence.outcome


def _blind(stamped: Stamped) -> Stamped:
    event = stamped.event
    if not isinstance(event, CarPositioned):
        return stamped
    return stamped.model_copy(update={"event": event.model_copy(update={"speed_mps": None})})


def judged(made: Debrief, outcome: WorldOutcome) -> Iterator[Judged]:
    """Every window that the truth knows as well."""
    for car in made.cars:
        truth = outcome.cars[car.car]
        for window in car.data_windows:
            if window.what == "hold":
                yield from _hold(window, truth)
            elif window.what == "lap":
                yield from _lap(window, truth)


def _hold(window: DataWindow, truth: CarTruth) -> Iterator[Judged]:
    done = [one for one in truth.procedures if one.item == window.item and one.held is not None]
    if not done:
        return
    held = _nearest(window, done).held
    assert held is not None
    where = f"{window.item} {window.from_s.value:.1f}"
    for what, told, true in (("from", window.from_s, held.from_s), ("to", window.to_s, held.to_s)):
        yield _judged(f"hold {what} s", window.evidence, told, true, where)
    for what, metres, true in (("from", window.from_m, held.from_m), ("to", window.to_m, held.to_m)):
        if metres is not None:
            yield _judged(f"hold {what} m", window.evidence, metres, true, where)
    if window.speed_mps is not None:
        yield _judged("hold speed mps", window.evidence, window.speed_mps, held.speed_mps, where)


def _nearest(window: DataWindow, done: Sequence[DoneProcedure]) -> DoneProcedure:
    return min(done, key=lambda one: abs(one.t - window.from_s.value))


def _lap(window: DataWindow, truth: CarTruth) -> Iterator[Judged]:
    lap = min(truth.laps, key=lambda one: abs(one.start_s - window.from_s.value), default=None)
    if lap is None:
        return
    yield _judged("lap from s", window.evidence, window.from_s, lap.start_s, window.item)
    if lap.kind not in ("in", "out_in"):  # the truth of an in-lap ends at the line in the lane, the window at the entry
        yield _judged("lap to s", window.evidence, window.to_s, lap.end_s, window.item)


def _judged(what: str, evidence: str, told: Uncertain, true: float, detail: str) -> Judged:
    return Judged(what, evidence, told.value - true, told.low <= true <= told.high, told.high - told.low, detail)


def figures(rows: Sequence[Judged]) -> dict[str, Any]:
    """By kind of end and evidence: how many, the median and the largest error, how often the interval held."""
    found: dict[str, Any] = {}
    for key in sorted({(row.what, row.evidence) for row in rows}):
        own = [row for row in rows if (row.what, row.evidence) == key]
        off, aim = [abs(row.off) for row in own], AIMS.get(key[0].split()[-1])
        outside = [row.held for row in own if aim is not None and abs(row.off) > aim]
        found[f"{key[0]}, {key[1]}"] = {
            "windows": len(own), "median_off": round(median(off), 3), "most_off": round(max(off), 3),
            "bias": round(median(row.off for row in own), 3), "held": round(sum(r.held for r in own) / len(own), 3),
            "median_width": round(median(row.width for row in own), 3),
        }
        if aim is not None:
            found[f"{key[0]}, {key[1]}"] |= {"within": round(1 - len(outside) / len(own), 3)}
        if outside:
            found[f"{key[0]}, {key[1]}"] |= {"outside_held": round(sum(outside) / len(outside), 3)}
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Rehearse, judge and print."""
    parser = argparse.ArgumentParser(description="data windows of debriefs against the truth of rehearsals")
    parser.add_argument("--seeds", type=int, default=8, metavar="N")
    parser.add_argument("--first", type=int, default=1, metavar="SEED")
    parser.add_argument("--hz", type=float, nargs="*", default=[POSITIONS_HZ, 0.0], help="rates of positions; 0: none")
    parser.add_argument("--no-speeds", action="store_true", help="the debrief sees places alone, without speeds")
    parser.add_argument("--worst", type=int, default=0, metavar="N", help="show so many of the largest errors")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args(arguments)
    rows: list[Judged] = []
    for seed in range(args.first, args.first + args.seeds):
        for rate in args.hz:
            rows += judged(*rehearsed(seed, rate, speeds=not args.no_speeds))
    found = figures(rows)
    if args.json:
        print(json.dumps(found, indent=2))
        return 0
    for key, figure in found.items():
        print(f"{key:<28}" + "  ".join(f"{name} {value:g}" for name, value in figure.items()))
    for row in sorted(rows, key=lambda one: -abs(one.off))[: args.worst]:
        print(f"  {row.what} {row.evidence} {row.off:+.3f} width {row.width:.2f} held {row.held}  {row.detail}")
    return 0


if __name__ == "__main__":
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
