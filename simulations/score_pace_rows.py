"""What was forecast and when, one row each: the believing side of ``score_pace.py``, which never opens the answer key.

The recording is played through codec, host and engine on virtual time, in the order in which its source said things.
After each crossing and each pit signal the engine's own track of that car is asked what it believes.
"""

from __future__ import annotations

import asyncio
import csv
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

import yaml

from pitwall.app.daemon import Daemon, offline_message
from pitwall.app.loading import load_setup
from pitwall.bus.codec import message_for_fact
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.engine.car import CarTrack
from pitwall.engine.session import Session
from pitwall.feeds.circuit_from_recording import circuit_from_recording
from pitwall.feeds.recording import Recording, read_recording
from pitwall.feeds.replay import Replay, ReplayPlayer
from pitwall.forecast.futures import forecast
from pitwall.journal.memory import MemoryJournal
from pitwall.model import events as ev
from pitwall.model.outputs import Output, WakeAt
from pitwall.model.setup import SessionSetup
from pitwall.pace.weighing import LEVELS, Array
from pitwall.runtime.forecaster import InlineForecaster
from pitwall.runtime.host import AFTER_FAILURE_S
from pitwall.runtime.virtual_clock import VirtualClock
from simulations.plan_from_session import CAR, RADIO_CHECK, SESSION, regulations

BEGIN_S = -30.0
QUANTILES = tuple(f"q{round(level * 100):02d}" for level in LEVELS)


@dataclass(frozen=True)
class Row:
    """One forecast. Seconds of the session (zero is the green light), or of a lap; empty where it does not apply.

    =========  ======================================================================================================
    session    name of the recording's folder
    car, lap   the car, and its lap as followed
    issued_at  when, by the clock of the daemon: on receipt of the message
    target     ``line``: when it reaches the line, if it does not come in. ``timed_line``: the same if the lap turns
               out timed. ``next_lap``, ``fifth``, ``sum5``: time of the next timed lap of the run, the fifth, the sum
               of the next five. ``first_of_run``: time of the first timed lap of the next run
    at         the place passed last: ``exit`` (pit exit), ``line``, a loop's label, ``entry`` (pit entry)
    seen_s     when it passed that
    p_*        probabilities that the lap is timed, a cool-down lap, an in-lap
    q05 ...    quantiles of the target
    naive      what the simple rule says. To the line: the last quick lap stretched by this lap so far (from the line:
               the last quick lap); for a lap out of the pits the median that the field needed from there. Lap times:
               the median of the run's last three timed laps; first of a run: of the car's last three
    own        1 when the car itself had driven a quick lap, else the rule uses the field's
    plan       1 when the car has a plan
    =========  ======================================================================================================
    """

    session: str
    car: str
    lap: int
    issued_at: float
    target: str
    at: str
    seen_s: float
    naive: float
    own: int
    plan: int
    p_timed: float | None
    p_cool: float | None
    p_in: float | None
    q05: float
    q10: float
    q25: float
    q50: float
    q75: float
    q90: float
    q95: float


class Asking(Session):
    """The engine, asked after each timing fact what it believes of that car.

    Where the engine raises, the session goes on, as it would in a race weekend; what it was is kept in ``failures``.
    """

    def __init__(self, session: str) -> None:
        super().__init__()
        self.name = session
        self.rows: list[Row] = []
        self.failures: list[str] = []
        self._known: dict[str, tuple[Any, ...]] = {}

    def handle(self, stamped: ev.Stamped) -> tuple[Output, ...]:
        """Advance by one fact; then ask."""
        outputs: tuple[Output, ...] = (WakeAt(t=stamped.received_t + AFTER_FAILURE_S),)
        try:
            outputs = super().handle(stamped)
            if isinstance(stamped.event, ev.CarCrossed | ev.CarPitted):
                track = self.field.tracks.get(stamped.event.car)
                if track is not None:
                    self._ask(track)
        except Exception as failure:
            # Raised to the host, it would be logged with all that every frame holds: with one failure a fact that takes
            # so long that the command seems to hang.
            self.failures.append(f"{self.name}, second {stamped.received_t:.1f}, {stamped.event.type}: {failure!r}")
        return outputs

    def _ask(self, track: CarTrack) -> None:
        lap = track.lap
        ended = track.laps[-1] if track.laps else None
        known = (lap.number, len(lap.crossings), lap.start_t) if lap is not None and track.on_track else (track.state,)
        if known == self._known.get(track.car):
            return
        before = self._known.get(track.car)
        self._known[track.car] = known
        over = ended is not None and (before is None or known[0] != before[0])
        if lap is not None and track.on_track:
            self._arrival(track)
            if over and ended is not None and ended.kind == "timed" and lap.start_phase == 0.0:
                for awaited in track.pace.belief.awaited[-3:]:
                    name = {"next": "next_lap", "later": "fifth", "sum": "sum5"}[awaited.horizon]
                    factor = 5.0 if name == "sum5" else 1.0
                    self._add(track, name, "line", lap.start_t, awaited.forecast.told * factor,
                              awaited.forecast.rules[0] * factor)
        elif over and track.pit_entry_t is not None and track.pace.belief.first is not None:
            first = track.pace.belief.first
            self._add(track, "first_of_run", "entry", track.pit_entry_t, first.told, first.rules[0])

    def _arrival(self, track: CarTrack) -> None:
        lap, made = track.lap, track.outlook()
        assert lap is not None
        assert made is not None
        at = track.pace.labels[made.knot - 1] if made.knot else ("exit" if lap.start_phase > 0 else "line")
        naive = made.seen_t + made.said.rules[0]
        self._add(track, "line", at, made.seen_t, made.line, naive, made.kinds)
        if made.knot == 0 and lap.start_phase == 0.0:
            self._add(track, "timed_line", at, made.seen_t, made.timed_line, naive, made.kinds)

    def _add(
        self, track: CarTrack, target: str, at: str, seen_s: float, told: Array, naive: float,
        kinds: tuple[float, float, float] | None = None,
    ) -> None:
        number = track.lap.number if track.lap is not None else track.lap_number
        self.rows.append(Row(
            self.name, track.car, number, round(self.now, 3), target, at, round(seen_s, 3), round(naive, 3),
            int(bool(track.pace.belief.quick)), int(track.car in self.team),
            *((None,) * 3 if kinds is None else (round(p, 4) for p in kinds)), *(round(float(q), 3) for q in told),
        ))  # fmt: skip


def plain_setup(recording: Recording) -> SessionSetup:
    """A setup without plans that follows every car, made from the recording alone."""
    with tempfile.TemporaryDirectory() as place:
        out = Path(place)
        (out / "procedures").mkdir()
        circuit = circuit_from_recording(recording).model_dump(mode="json", exclude_none=True, exclude_defaults=True)
        files: dict[str, Any] = {
            "procedures/radio_check.yaml": RADIO_CHECK, "car.yaml": CAR, "regulations.yaml": regulations(recording),
            "circuit.yaml": circuit, "plan.yaml": {
                "plan": 1, "car": "stand-in", "driver": "nobody", "session": SESSION, "starts_with": {"tyres": "S1"},
                "tyre_sets": {"S1": {"compound": "unknown"}},
                "runs": [{"run": "run-1", "purpose": "none", "want": "must", "laps": ["out", "timed", "in"],
                          "tyres": "S1", "fuel_kg": 12.0, "after_garage_s": [300, 540, 960]}],
            },
            "event.yaml": {
                "event": 1, "name": "A recorded session", "team": "Gannet", "session": SESSION,
                "drivers": {"nobody": {"spoken": "driver"}},
                "cars": {"stand-in": {"car": "car.yaml", "plan": "plan.yaml", "driver": "nobody"}},
                "field_cars": list(recording.cars),
            },
        }  # fmt: skip
        for name, content in files.items():
            (out / name).write_text(yaml.safe_dump(content, sort_keys=False, allow_unicode=True), encoding="utf-8")
        setup = load_setup(out / "event.yaml")
    return setup.model_copy(update={"plans": {}, "cars": {}, "drivers": {}})


async def _follow(folder: Path, recording: Recording, setup: SessionSetup) -> Asking:
    asking, clock, broker = Asking(folder.name), VirtualClock(BEGIN_S), MemoryBroker()
    daemon = Daemon(
        setup, asking, clock=clock, journal=MemoryJournal(), bus=MemoryBus(broker, offline_message(setup.session)),
        forecaster=InlineForecaster(forecast, clock, 0.5), sinks=(), follow_clock=False,
    )  # fmt: skip
    feed = MemoryBus(broker)

    def send(fact: Any) -> None:
        message = message_for_fact(setup.session, fact)
        feed.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)

    player = ReplayPlayer(Replay(recording, begin_s=BEGIN_S, passages=True), clock, send)
    await daemon.prepare(BEGIN_S)
    await daemon.bus.start()
    await feed.start()
    player.start()
    await clock.run(daemon.host.drain, lambda: player.done)
    return asking


def predict(folder: Path, event: Path | None = None, failures: list[str] | None = None) -> list[Row]:
    """Every forecast of one recording; with the plans of an event file, or with none.

    Where the engine failed on a fact, ``failures`` takes a line; forecasts that needed the fact are missing.
    """
    recording = read_recording(folder)
    setup = plain_setup(recording) if event is None else load_setup(event)
    asking = asyncio.run(_follow(folder, recording, setup))
    if failures is not None:
        failures += asking.failures
    return asking.rows


def write_rows(rows: Iterable[Row], path: Path) -> None:
    """Write forecasts as CSV; the same rows give the same bytes."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [column.name for column in fields(Row)], lineterminator="\n")
        writer.writeheader()
        writer.writerows(asdict(row) for row in rows)


def read_rows(path: Path) -> list[Row]:
    """Read forecasts as ``write_rows`` writes them.

    Raises:
        ValueError: with the file, the line and what is missing.
    """
    text = ("session", "car", "target", "at")
    whole = ("lap", "own", "plan")
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        rows = []
        for cells in reader:
            try:
                made: dict[str, Any] = {name: cells[name] for name in text}
                made |= {name: int(cells[name]) for name in whole}
                for column in fields(Row):
                    if column.name not in made:
                        cell = cells[column.name]
                        made[column.name] = float(cell) if cell else None
            except (KeyError, TypeError, ValueError) as problem:
                raise ValueError(f"{path}, line {reader.line_num}: cannot be read ({problem}): "
                                 "write it with `score_pace.py predict`") from problem
            rows.append(Row(**made))
    return rows
