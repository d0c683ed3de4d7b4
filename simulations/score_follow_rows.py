"""What was believed and when, one row each: made from what the daemon publishes, and from nothing else.

This is the believing side of ``score_follow.py``. It sees the recording as a feed plays it and never opens the answer
key. The columns of a row stand in ``Row``; ``score_follow.py --predictions FILE`` writes them as CSV (``.csv``) or as
one JSON object a line (any other suffix).
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

from pitwall.app.daemon import Daemon, offline_message
from pitwall.bus.codec import message_for_fact, output_from
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.engine.session import Session
from pitwall.feeds.recording import read_recording
from pitwall.feeds.replay import Replay, ReplayPlayer
from pitwall.forecast.futures import forecast
from pitwall.journal.memory import MemoryJournal
from pitwall.model.outputs import DeskState, LapJudged, PlanState, Prompt
from pitwall.model.setup import SessionSetup
from pitwall.runtime.forecaster import ForecastFunction, InlineForecaster
from pitwall.runtime.ports import Sink
from pitwall.runtime.virtual_clock import VirtualClock

BEGIN_S = -30.0
LINE, PIT = "line", "pit"
BEGUN = ("running", "done", "cut")


@dataclass(frozen=True)
class Row:
    """One belief. All times are session seconds, zero being the green light; a cell that does not apply is empty.

    ===========  ====================================================================================================
    session      name of the recording's folder
    car          the car
    t            when it was believed, by the clock of the daemon
    what         ``lap_kind``, ``run``, ``arrival``, ``box`` or ``call`` (any other call than a box call)
    about        lap_kind: the lap's number as followed (``start_s`` says which lap that is). run: the planned run.
                 arrival: the place (``loop 1``, ``loop 2``, ``line``, ``last place for the pit entry``, ``pit entry``)
                 that the car has next to pass. box, call: the call's own name, the same in all its rows
    value        lap_kind: ``out``, ``timed``, ``cool``, ``in`` or ``installation``. run: ``running`` (the car is on
                 it), ``done`` or ``cut``. arrival: the second at which the car is expected there. box, call: the
                 call's state (``shown`` ahead of its time, ``due`` now, ``done``, ``unconfirmed``, ``withdrawn`` ...)
    at           where the car was seen last when this was believed: ``sector 1`` (the end of it, loop 1),
                 ``sector 2``, ``line`` or ``pit``
    start_s      lap_kind, arrival: when that lap began as followed. run: when the car left for it
    kind         box, call: ``box``, ``run``, ``pace``, ``release``, ``brief``, ``procedure``, ``session`` ...
    asks         box, call: what the call asks for: ``box``, ``leave``, ``fire_up``, ``timed`` or ``cool`` (the kind of
                 the next lap), ``return_to_pits``, ``none`` ...
    say_from_s   box, call: when it may be said, as expected now
    say_by_s     box, call: when it must have been begun to be in time, as expected now
    act_at_s     box, call: when the driver or the garage is expected to act
    spoken_s     box, call: how long it takes to say
    ===========  ====================================================================================================
    """

    session: str
    car: str
    t: float
    what: str
    about: str
    value: str | float
    at: str
    start_s: float | None = None
    kind: str = ""
    asks: str = ""
    say_from_s: float | None = None
    say_by_s: float | None = None
    act_at_s: float | None = None
    spoken_s: float | None = None


@dataclass
class Beliefs:
    """Makes rows of the outputs of one session, in the order in which they were published; a sink of the daemon."""

    session: str
    rows: list[Row] = field(default_factory=list)
    _last_at: dict[str, str] = field(default_factory=dict)
    _lap_start: dict[str, float | None] = field(default_factory=dict)
    _runs: dict[tuple[str, str], tuple[str, float | None]] = field(default_factory=dict)
    _on_track: set[str] = field(default_factory=set)
    _fresh: set[str] = field(default_factory=set)

    def take(self, outputs: Iterable[Any]) -> None:
        """Make rows of what is believed; other outputs pass."""
        for output in outputs:
            if isinstance(output, LapJudged):
                self._lap(output)
            elif isinstance(output, Prompt):
                self._call(output)
            elif isinstance(output, PlanState):
                self._plan(output)
            elif isinstance(output, DeskState):
                self._desk(output)

    restate = take

    def _lap(self, lap: LapJudged) -> None:
        at = {"loop": f"sector {lap.loop}", "line": LINE, "pit": PIT}[lap.at]
        self._last_at[lap.car] = at
        # At the line the next lap has begun.
        known = lap.start_s is not None and lap.lap_time_s is not None
        end = (lap.start_s or 0.0) + (lap.lap_time_s or 0.0) if known else lap.t
        self._lap_start[lap.car] = end if lap.at == "line" else lap.start_s
        self._fresh.add(lap.car)
        self._add(lap.car, lap.t, "lap_kind", str(lap.lap_number), lap.kind, start_s=lap.start_s)

    def _call(self, prompt: Prompt) -> None:
        what = "box" if prompt.kind == "box" else "call"
        asks = prompt.ask.lap_kind or prompt.ask.action
        self._add(
            prompt.car, prompt.t, what, prompt.call, prompt.state, kind=prompt.kind, asks=asks,
            say_from_s=prompt.say_from_s, say_by_s=prompt.say_by_s, act_at_s=prompt.act_at_s, spoken_s=prompt.spoken_s,
        )

    def _plan(self, plan: PlanState) -> None:
        for run in plan.runs:
            start = run.actual_span_s[0] if run.actual_span_s is not None else None
            before = self._runs.get((plan.car, run.run))
            self._runs[plan.car, run.run] = (run.state, start)
            if run.state not in BEGUN or start is None or before == (run.state, start):
                continue
            if run.state == "running" and self._last_at.get(plan.car, PIT) == PIT:
                self._lap_start[plan.car] = start
            self._add(plan.car, plan.t, "run", run.run, run.state, start_s=start)

    def _desk(self, desk: DeskState) -> None:
        on_track = desk.state not in ("garage", "pit_lane")
        if on_track and desk.car not in self._on_track:
            self._last_at[desk.car] = PIT
            self._fresh.add(desk.car)
        (self._on_track.add if on_track else self._on_track.discard)(desk.car)
        if desk.car not in self._fresh or not on_track:
            return
        self._fresh.discard(desk.car)
        start = self._lap_start.get(desk.car)
        for arrival in desk.arrivals:
            self._add(desk.car, desk.t, "arrival", arrival.place, arrival.at_s, start_s=start)

    def _add(self, car: str, t: float, what: str, about: str, value: str | float, **cells: Any) -> None:
        rounded = {name: round(cell, 3) if isinstance(cell, float) else cell for name, cell in cells.items()}
        at = self._last_at.get(car, PIT)
        self.rows.append(Row(self.session, car, round(t, 3), what, about, value, at, **rounded))


async def follow(
    folder: Path, setup: SessionSetup, *beside: Sink, work: ForecastFunction = forecast
) -> list[Row]:
    """Play the recording through codec, host and engine on virtual time; returns what was believed.

    Args:
        folder: the recording.
        setup: what to follow it with.
        beside: further sinks that hear what is decided.
        work: the forecast, for studies that note what it was asked.
    """
    beliefs, clock, broker = Beliefs(folder.name), VirtualClock(BEGIN_S), MemoryBroker()
    daemon = Daemon(
        setup, Session(), clock=clock, journal=MemoryJournal(),
        bus=MemoryBus(broker, offline_message(setup.session)),
        forecaster=InlineForecaster(work, clock, 0.5), sinks=(beliefs, *beside), follow_clock=False,
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
    return beliefs.rows


def collected(file: Path, session: str) -> list[Row]:
    """Beliefs from lines of ``topic payload``, as a client of the broker wrote them down."""
    beliefs = Beliefs(session)
    wanted = re.compile(rb"/laps/|/prompt/|/plan/|/desk/[^/]+/state$")
    with file.open("rb") as lines:
        for line in lines:
            topic, _, payload = line.rstrip(b"\n").partition(b" ")
            if payload and wanted.search(topic):
                beliefs.take([output_from(topic.decode(), payload)])
    return beliefs.rows


def write_rows(rows: Iterable[Row], path: Path) -> None:
    """Write rows as CSV or JSON lines, by the suffix; the same rows give the same bytes."""
    with path.open("w", encoding="utf-8", newline="") as file:
        if path.suffix.lower() == ".csv":
            writer = csv.DictWriter(file, [column.name for column in fields(Row)], lineterminator="\n")
            writer.writeheader()
            writer.writerows(asdict(row) for row in rows)
            return
        for row in rows:
            file.write(json.dumps(asdict(row), ensure_ascii=False) + "\n")
