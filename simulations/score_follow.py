"""How well the engine follows recorded sessions with night-before plans: lap kinds, runs, box prompts.

    python simulations/score_follow.py FOLDER... --cars 5 --seed 1 [--json] [--predictions FILE]
    python simulations/score_follow.py FOLDER --collected FILE [--cars 5 --seed 1]

The recording is played through the real host, codec and engine on virtual time, with plans made by
``plan_from_session.py`` for the cars that drove most. What was believed is then judged against the recording's answer
key ``laps.csv``, which the run itself never opens. With ``--collected`` the beliefs come from elsewhere: lines of
``topic payload`` as an independent client of the broker wrote them down while ``pitwall serve`` and ``pitwall replay``
ran as two processes (``mosquitto_sub -F '%t %p'``).

Lap kinds: over complete laps (no pit entry or exit on them), the share whose kind, timed or cool-down, was right as
believed at loop 1, at loop 2 and at the line. Box prompts: how long before the last place for the pit entry they were
shown, by when the car really was there, and how many laps early; those under red apart.
"""

from __future__ import annotations

import argparse
import asyncio
import csv
import json
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.daemon import Daemon, offline_message
from pitwall.app.loading import load_setup
from pitwall.bus.codec import message_for_fact, output_from
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.engine.session import Session
from pitwall.feeds.recording import read_recording
from pitwall.feeds.replay import Replay, ReplayPlayer
from pitwall.forecast.futures import forecast
from pitwall.journal.memory import MemoryJournal
from pitwall.model.outputs import LapJudged, PlanState, Prompt
from pitwall.model.setup import SessionSetup
from pitwall.runtime.clock import VirtualClock
from pitwall.runtime.forecaster import InlineForecaster
from simulations.plan_from_session import write_event

BEGIN_S = -30.0
LATEST_S = 10.0  # a box prompt is to be shown at least this long before the last place for the pit entry
COMPLETE = ("timed", "cool")


@dataclass
class Believed:
    """What the daemon published about one session."""

    laps: list[LapJudged] = field(default_factory=list)
    prompts: list[Prompt] = field(default_factory=list)
    plans: dict[str, PlanState] = field(default_factory=dict)

    def take(self, outputs: Iterable[Any]) -> None:
        """Keep what is judged later."""
        for output in outputs:
            if isinstance(output, LapJudged):
                self.laps.append(output)
            elif isinstance(output, Prompt):
                self.prompts.append(output)
            elif isinstance(output, PlanState):
                self.plans[output.car] = output

    restate = take


def busiest(folder: Path, cars: int) -> list[str]:
    """The cars with the most crossings, most first."""
    count: dict[str, int] = {}
    for row in read_recording(folder).timing:
        count[row.car] = count.get(row.car, 0) + 1
    return sorted(count, key=lambda car: (-count[car], car))[:cars]


async def follow(folder: Path, setup: SessionSetup) -> Believed:
    """Play the recording through codec, host and engine on virtual time."""
    believed, clock, broker = Believed(), VirtualClock(BEGIN_S), MemoryBroker()
    daemon = Daemon(
        setup, Session(), clock=clock, journal=MemoryJournal(),
        bus=MemoryBus(broker, offline_message(setup.session)),
        forecaster=InlineForecaster(forecast, clock, 0.5), sinks=(believed,), follow_clock=False,
    )
    feed = MemoryBus(broker)

    def send(fact: Any) -> None:
        message = message_for_fact(setup.session, fact)
        feed.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)

    player = ReplayPlayer(Replay(read_recording(folder), begin_s=BEGIN_S), clock, send)
    await daemon.prepare(BEGIN_S)
    await daemon.bus.start()
    await feed.start()
    player.start()
    await clock.run(daemon.host.drain, lambda: player.done)
    return believed


def collected(file: Path) -> Believed:
    """Beliefs from lines of ``topic payload``."""
    believed = Believed()
    with file.open("rb") as lines:
        for line in lines:
            topic, _, payload = line.rstrip(b"\n").partition(b" ")
            if payload and any(part in topic for part in (b"/laps/", b"/prompt/", b"/plan/")):
                believed.take([output_from(topic.decode(), payload)])
    return believed


def truth(folder: Path) -> list[dict[str, Any]]:
    """The answer key, session seconds."""
    start = float(json.loads((folder / "meta.json").read_text())["start_t_s"])
    rows = []
    with (folder / "laps.csv").open(newline="") as lines:
        for row in csv.DictReader(lines):
            made: dict[str, Any] = {name: row[name] for name in ("car", "label", "run")}
            made["status"] = row["worst_status"]
            for name in ("t_start_s", "t_end_s", "pit_in_s", "pit_out_s"):
                made[name] = float(row[name]) - start if row[name] else None
            rows.append(made)
    return rows


def kinds(believed: Believed, laps: list[dict[str, Any]]) -> dict[str, Any]:
    """Share of complete laps whose kind was right at loop 1, loop 2 and the line."""
    score = {at: [0, 0] for at in ("loop 1", "loop 2", "line")}
    wrong: list[str] = []
    by_car: dict[str, list[LapJudged]] = {}
    for lap in believed.laps:
        by_car.setdefault(lap.car, []).append(lap)
    for row in laps:
        if row["label"] not in COMPLETE or row["t_start_s"] is None or row["t_end_s"] is None:
            continue
        start = row["t_start_s"]
        mine = [lap for lap in by_car.get(row["car"], ()) if lap.start_s is not None and abs(lap.start_s - start) < 2.0]
        for at, (right, seen) in score.items():
            loop = at.removeprefix("loop ")
            found = [lap for lap in mine if (lap.at == "line" if at == "line" else lap.loop == loop)]
            good = bool(found) and found[-1].kind == row["label"]
            score[at] = [right + good, seen + 1]
            if not good and at == "line":
                believed_kind = found[-1].kind if found else "nothing"
                wrong.append(f"car {row['car']} at {row['t_end_s']:.0f}: {believed_kind}, was {row['label']}")
    return {at: {"right": right, "laps": seen, "share": round(right / seen, 4) if seen else None}
            for at, (right, seen) in score.items()} | {"wrong_at_line": wrong}


def boxes(believed: Believed, laps: list[dict[str, Any]], setup: SessionSetup) -> dict[str, Any]:
    """Box prompts against the true pit entries."""
    share = setup.circuit.pit.last_chance_share or 0.95
    lap_s = setup.circuit.lap_s or 90.0
    first: dict[str, Prompt] = {}
    for prompt in believed.prompts:
        if prompt.kind == "box" and prompt.state in ("shown", "due"):
            first.setdefault(prompt.call, prompt)
    result = {"shown": 0, "in_time": 0, "too_late": 0, "more_than_a_lap_early": 0, "under_red": 0}
    worst: list[str] = []
    for prompt in first.values():
        own = [row for row in laps if row["car"] == prompt.car and _on(row, prompt.t)]
        if not own:
            continue
        row = own[0]
        if row["status"] == "red":
            result["under_red"] += 1
            continue
        result["shown"] += 1
        start = row["pit_out_s"] if row["pit_out_s"] is not None else row["t_start_s"]
        there = row["pit_in_s"] if row["pit_in_s"] is not None else start + share * (row["t_end_s"] - start)
        margin = there - prompt.t
        promised = (prompt.act_at_s or there) - prompt.t
        if margin < LATEST_S:
            result["too_late"] += 1
            worst.append(f"car {prompt.car} {prompt.call} at {prompt.t:.0f}: {margin:.1f} s before the last place")
        elif promised > 1.7 * lap_s and promised > row["t_end_s"] - start:
            result["more_than_a_lap_early"] += 1
        else:
            result["in_time"] += 1
    ours = [row for row in laps if row["car"] in setup.plans and row["status"] != "red"]
    entries = [row for row in ours if row["pit_in_s"] is not None]
    warned = sum(
        any(
            prompt.car == row["car"] and _on(row, prompt.t) and row["pit_in_s"] - prompt.t >= LATEST_S
            for prompt in first.values()
        )
        for row in entries
    )
    return result | {"pit_entries": len(entries), "entries_with_a_prompt_in_time": warned, "worst": worst[:12]}


def _on(row: dict[str, Any], t: float) -> bool:
    start = row["t_start_s"] if row["t_start_s"] is not None else row["pit_out_s"]
    end = row["t_end_s"] if row["t_end_s"] is not None else row["pit_in_s"]
    if row["pit_out_s"] is not None:
        start = row["pit_out_s"]
    return start is not None and end is not None and start - 0.5 <= t < end


def calls(believed: Believed) -> dict[str, int]:
    """Last state of every call that was shown."""
    last = {prompt.call: prompt.state for prompt in believed.prompts}
    return {state: list(last.values()).count(state) for state in sorted(set(last.values()))}


def runs(believed: Believed) -> dict[str, int]:
    """Runs of all plans by the state they ended in."""
    found: dict[str, int] = {}
    for plan in believed.plans.values():
        for run in plan.runs:
            found[run.state] = found.get(run.state, 0) + 1
    return dict(sorted(found.items()))


def score(folder: Path, cars: int, seed: int, file: Path | None) -> tuple[dict[str, Any], Believed]:
    """Every figure of one recording."""
    with tempfile.TemporaryDirectory() as out:
        setup = load_setup(write_event(folder, busiest(folder, cars), seed, Path(out)))
    believed = collected(file) if file is not None else asyncio.run(follow(folder, setup))
    laps = truth(folder)
    ours = [row for row in laps if row["car"] in setup.plans]
    return {
        "recording": folder.name, "cars": sorted(setup.plans, key=int), "kinds_all_cars": kinds(believed, laps),
        "kinds_planned_cars": kinds(believed, ours), "box": boxes(believed, laps, setup), "calls": calls(believed),
        "runs": runs(believed),
    }, believed


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--cars", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--predictions", type=Path, help="write what was believed and when, one JSON line each")
    parser.add_argument("--collected", type=Path, help="beliefs from this file instead of a run of our own")
    args = parser.parse_args()
    results = []
    for folder in args.folders:
        result, believed = score(folder, args.cars, args.seed, args.collected)
        results.append(result)
        if args.predictions is not None:
            with args.predictions.open("a") as out:
                for row in (*believed.laps, *believed.prompts):
                    out.write(json.dumps({"recording": folder.name} | row.model_dump(mode="json")) + "\n")
    if args.json:
        print(json.dumps(results, indent=1))
        return 0
    for result in results:
        print(f"{result['recording']}: cars {', '.join(result['cars'])}")
        for who in ("kinds_all_cars", "kinds_planned_cars"):
            figures = {at: figure for at, figure in result[who].items() if at != "wrong_at_line"}
            parts = [f"{at} {figure['share']} of {figure['laps']}" for at, figure in figures.items()]
            print(f"  {who.replace('_', ' ')}: {'; '.join(parts)}")
            print("    " + "\n    ".join(result[who]["wrong_at_line"][:12]))
        print(f"  box: {result['box']}\n  calls: {result['calls']}\n  runs: {result['runs']}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
