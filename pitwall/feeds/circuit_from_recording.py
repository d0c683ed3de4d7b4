"""A timing-only circuit from a recording: where the loops and the pit lane lie, as shares of the lap time.

Every share is a median over laps, so that single odd laps do not matter:

* Loops: over the quick laps (within ``QUICK`` of the car's best), time from the line to the loop over the lap time.
* Pit entry: where the finish line lies beside the pit lane, the seconds from the entry to the line, driven at the pit
  limit, times ``LIMIT_TO_RACING`` give the seconds that a car at speed needs for the same stretch. Elsewhere over
  in-laps, from the last loop on at the pace of that lap so far; drivers who come in lift, so of those shares the lower
  quartile is taken: better a call too early than one too late.
* Pit exit: over out-laps, back from the first loop at the pace of the rest of that lap.
* The last chance to take the pit entry is not in the timing: ``LAST_CHANCE_S`` before the entry is assumed (common
  practice, no source). Look at the circuit and write the real one into the file.
* Marshal sectors are known by number only, from the flags shown; they are laid out evenly, which is a guess.
"""

from __future__ import annotations

import itertools
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence

from pitwall.errors import FileProblem
from pitwall.feeds.recording import Recording, TimingRow
from pitwall.feeds.status_words import marshal_sector
from pitwall.model.circuit import Circuit, Loop, MarshalSector, PitLane

QUICK = 1.03
LIMIT_TO_RACING = 0.4
"""Pit limit over speed on track near the line: 80 km/h to some 200 (common practice, no source)."""
LAST_CHANCE_S = 3.0
SHORT_STOP_S = 60.0
LANE_S = 25.0
"""Time in the pit lane where the recording has no short stop to measure (common practice 15 to 25 s)."""


def circuit_from_recording(recording: Recording, name: str = "From a recording") -> Circuit:
    """Derive the circuit.

    Raises:
        FileProblem: when the recording has no lap that was timed from line to line with its loops.
    """
    laps = [RecordedLap(*pair) for pair in _laps(recording)]
    quick, best = _quick(laps)
    inner = sorted({loop for lap in quick for loop in lap.loops})
    if not quick or not inner:
        raise FileProblem(
            [f"{recording.folder / 'events.csv'}: no lap timed from line to line with its loops: "
             "without one a circuit cannot be derived, write the circuit file by hand"]
        )
    shares = {loop: statistics.median(s for lap in quick for s in lap.share(loop)) for loop in inner}
    lap_s = statistics.median(best[car] for car in sorted({lap.car for lap in quick}))
    entry = _pit_entry(laps, shares, lap_s)
    return Circuit(
        circuit=1,
        name=name,
        lap_s=round(lap_s, 1),
        loops=(*(Loop(loop=str(loop), at_share=_share(shares[loop])) for loop in inner), Loop(loop="line")),
        pit=PitLane(
            entry_share=_share(entry),
            exit_share=_share(_pit_exit(laps, shares, lap_s)),
            last_chance_share=_share(entry - LAST_CHANCE_S / lap_s),
            lane_s=round(_lane(recording), 1),
            line_in_lane=_line_in_lane(laps),
        ),
        marshal_sectors=_marshal_sectors(recording),
    )


def quick_laps(recording: Recording) -> list[RecordedLap]:
    """The laps from line to line within ``QUICK`` of the car's best."""
    return _quick([RecordedLap(*pair) for pair in _laps(recording)])[0]


class RecordedLap:
    """What was seen of one car between two passages of the line."""

    def __init__(self, begin: TimingRow | None, rows: Sequence[TimingRow], finish: int) -> None:
        self.start = begin.t if begin is not None else None
        self.car = rows[0].car
        self.loops = {row.loop: row.t for row in rows if row.kind == "loop" and row.loop not in (None, finish)}
        self.pit_in = next((row.t for row in rows if row.kind == "pit_in"), None)
        self.pit_out = next((row.t for row in rows if row.kind == "pit_out"), None)
        end = next((row for row in rows if row.kind == "lap"), None)
        self.end = end.t if end is not None else None
        self.time = end.lap_time_s if end is not None and self.pit_in is None and self.pit_out is None else None

    @property
    def whole(self) -> bool:
        """Line to line, with the published time agreeing with what was seen."""
        seen = None if self.start is None or self.end is None else self.end - self.start
        return seen is not None and self.time is not None and abs(seen - self.time) < 0.1

    def share(self, loop: int) -> list[float]:
        """Share of the lap time at the loop; empty when it was not seen."""
        if loop not in self.loops or self.start is None or self.time is None:
            return []
        return [(self.loops[loop] - self.start) / self.time]


def _laps(recording: Recording) -> Iterable[tuple[TimingRow | None, list[TimingRow], int]]:
    finish = recording.finish_loop
    cars: dict[str, list[TimingRow]] = defaultdict(list)
    for row in sorted(recording.timing, key=lambda row: (row.t, row.kind == "lap")):
        cars[row.car].append(row)
    for car in recording.cars:
        begin: TimingRow | None = None
        rows: list[TimingRow] = []
        for row in cars[car]:
            rows.append(row)
            if row.kind == "lap":
                yield begin, rows, finish
                begin, rows = row, []
        if rows:
            yield begin, rows, finish


def _quick(laps: Sequence[RecordedLap]) -> tuple[list[RecordedLap], dict[str, float]]:
    best: dict[str, float] = {}
    for lap in laps:
        if lap.time is not None:
            best[lap.car] = min(lap.time, best.get(lap.car, lap.time))
    return [lap for lap in laps if lap.time is not None and lap.whole and lap.time <= QUICK * best[lap.car]], best


def _pit_entry(laps: Sequence[RecordedLap], shares: dict[int, float], lap_s: float) -> float:
    last = max(shares)
    if (in_lane := _seconds_to_line(laps)) and _line_in_lane(laps):
        return max(1.0 - LIMIT_TO_RACING * statistics.median(in_lane) / lap_s, shares[last] + 0.01)
    found = []
    for lap in laps:
        at = lap.loops.get(last)
        if lap.pit_in is None or at is None or lap.start is None or lap.pit_in < at or lap.pit_out is not None:
            continue
        pace = (at - lap.start) / (shares[last] * lap_s)
        found.append(shares[last] + (lap.pit_in - at) / (lap_s * max(pace, 0.9)))
    usual = _quantile(found, 0.25, default=1.0 - 8.0 / lap_s)
    return min(max(usual, shares[last] + 0.01), 0.995)


def _pit_exit(laps: Sequence[RecordedLap], shares: dict[int, float], lap_s: float) -> float:
    first, last = min(shares), max(shares)
    found = []
    for lap in laps:
        if lap.pit_out is None or first not in lap.loops or lap.loops[first] < lap.pit_out:
            continue
        pace = 1.25
        if last != first and last in lap.loops:
            pace = (lap.loops[last] - lap.loops[first]) / ((shares[last] - shares[first]) * lap_s)
        found.append(shares[first] - (lap.loops[first] - lap.pit_out) / (lap_s * max(pace, 1.0)))
    usual = _quantile(found, 0.5, default=6.0 / lap_s)
    return min(max(usual, 0.005), shares[first] - 0.01)


def _lane(recording: Recording) -> float:
    stops = []
    for car in recording.cars:
        rows = (row for row in recording.timing if row.car == car and row.kind.startswith("pit"))
        pits = sorted(rows, key=lambda row: row.t)
        for came, left in itertools.pairwise(pits):
            if (came.kind, left.kind) == ("pit_in", "pit_out") and left.t - came.t <= SHORT_STOP_S:
                stops.append(left.t - came.t)
    return statistics.median(stops) if stops else LANE_S


def _seconds_to_line(laps: Sequence[RecordedLap]) -> list[float]:
    """From pit entry to a line that lies beside the pit lane, for each lap that ended so."""
    found = [lap.end - lap.pit_in for lap in laps if lap.end is not None and lap.pit_in is not None]
    return [seconds for seconds in found if 0 <= seconds < SHORT_STOP_S]


def _line_in_lane(laps: Sequence[RecordedLap]) -> bool:
    return 2 * len(_seconds_to_line(laps)) >= sum(lap.pit_in is not None for lap in laps)


def _marshal_sectors(recording: Recording) -> tuple[MarshalSector, ...]:
    numbers = {name for row in recording.status if (name := marshal_sector(row.scope)) is not None}
    count = max((int(name) for name in numbers if name.isdigit()), default=0)
    return tuple(
        MarshalSector(sector=str(n), from_share=_share((n - 1) / count), to_share=_share(n / count))
        for n in range(1, min(count, 99) + 1)
    )


def _quantile(values: list[float], part: float, default: float) -> float:
    if not values:
        return default
    ordered = sorted(values)
    return ordered[min(int(part * len(ordered)), len(ordered) - 1)]


def _share(value: float) -> float:
    return round(min(max(value, 0.0), 1.0), 4)
