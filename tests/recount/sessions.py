"""The recorded sessions whose debriefs are recounted: rows as text, the engine's words as plain data, and the debrief.

Of a session that was killed in its middle there is no record of its own: it is the first part of one that was not.
"""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from pitwall.app.debrief_live import run_debrief
from pitwall.app.debrief_watch import NotedSession
from pitwall.app.debriefing import made_of
from pitwall.debrief.model import Debrief
from pitwall.debrief.pages import page_of
from pitwall.journal.codec import decode
from pitwall.journal.replay import decisions
from pitwall.pace.believing import timed_next
from pitwall.pace.weighing import LEVELS

STORED = Path(__file__).resolve().parents[1] / "data" / "rehearsed"
NAMES = ("faulty", "stopped", "wet", "two_windows", "timing_only", "killed", "stayed_out", "held")
KILLED_AT_S = 640.0
KEPT = frozenset({"answered", "prompt", "alert", "held_back", "corrected", "plan_state", "lap_judged", "run_debrief"})
Row = dict[str, Any]


@dataclass
class Told:
    """What was recorded, what the engine said of it, and the debrief.

    Attributes:
        rows: the journal's rows, as they are stored.
        outputs: what the engine put out, as plain data; of the types that are looked at.
        plans: the engine's last word on each car's plan.
        awaited: by car and the second at which a lap began what the lap model expected of a timed one: quantiles.
        waited: when the session began to wait for its next window, as the engine had it.
        noted: the engine after these facts, with the notes of the debrief.
        usual: by car and lap number what is usual at its beginning, each loop and the line, as the engine had it.
    """

    name: str
    rows: list[Row]
    debrief: Debrief
    outputs: list[Row] = field(default_factory=list)
    plans: dict[str, Row] = field(default_factory=dict)
    awaited: dict[tuple[str, float], tuple[float, float, float]] = field(default_factory=dict)
    usual: dict[tuple[str, int], tuple[float, ...]] = field(default_factory=dict)
    waited: list[float] = field(default_factory=list)
    noted: NotedSession | None = None

    @property
    def setup(self) -> Row:
        """The setup, as it is stored."""
        found: Row = self.rows[0]["event"]["setup"]
        return found

    def facts(self, kind: str, car: str | None = None) -> list[Row]:
        """Facts of one type, of one car, in their order, each with when it was received."""
        return [row["event"] | {"received_t": row["received_t"]} for row in self.rows
                if row["event"]["type"] == kind and car in (None, row["event"].get("car"))]

    def said(self, kind: str, car: str | None = None) -> list[Row]:
        """What was put out of one type, for one car."""
        return [one for one in self.outputs if one["type"] == kind and car in (None, one.get("car"))]


def stored(name: str) -> list[bytes]:
    """The lines of a journal."""
    whole = gzip.decompress((STORED / f"{'faulty' if name == 'killed' else name}.jsonl.gz").read_bytes()).splitlines()
    return [line for line in whole if json.loads(line)["received_t"] <= KILLED_AT_S] if name == "killed" else whole


@cache
def told(name: str) -> Told:
    """A recorded session, gone over once."""
    return gone_over(name, stored(name))


def gone_over(name: str, lines: list[bytes]) -> Told:
    """The same of these lines."""
    rows = [json.loads(line) for line in lines]
    noted = NotedSession(live=run_debrief)
    noted.session.notices.shown = False
    made = Told(name, rows, Debrief.model_construct())
    begun: dict[str, float] = {}
    for one in decisions([decode(line) for line in lines], noted):
        kept = [output for output in one.outputs if output.type in KEPT]
        made.outputs += [output.model_dump(mode="json") for output in kept]
        waits = noted.session.prepared and noted.session.clock.status == "waiting" and noted.session.clock.window > 0
        if waits and len(made.waited) < noted.session.clock.window:
            made.waited.append(noted.session.now)
        if one.stamped.event.type in ("car_crossed", "car_pitted", "time_reached", "command_given"):
            _await(made, noted, begun)
    made.plans = {plan["car"]: plan for plan in (one.model_dump(mode="json") for one in noted.session.standing()
                                                 if one.type == "plan_state")}
    made.usual = {(name, lap.number): lap.usual for name, car in noted.session.team.items() for lap in car.track.laps}
    made.debrief, made.noted = made_of(noted, name), noted
    return made


def _await(made: Told, noted: NotedSession, begun: dict[str, float]) -> None:
    """Look at the lap model whenever a lap has begun: what does it expect of a timed lap?"""
    for name, car in noted.session.team.items():
        lap = car.track.lap
        if lap is None or not car.track.on_track or begun.get(name) == lap.start_t:
            continue
        begun[name] = lap.start_t
        quantiles = timed_next(car.track.pace.belief)
        if quantiles is not None:
            low, middle, high = (float(quantiles[LEVELS.index(level)]) for level in (0.05, 0.5, 0.95))
            made.awaited[name, round(lap.start_t, 3)] = (middle, low, high)


@cache
def facts_of(name: str) -> Any:
    """The debrief as JSON has it."""
    return json.loads(told(name).debrief.model_dump_json())


@cache
def page(name: str) -> str:
    """The debrief's page."""
    return page_of(told(name).debrief)
