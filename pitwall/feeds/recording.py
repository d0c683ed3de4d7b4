"""A recorded session on disk: a folder of CSV files and a JSON file about them.

``meta.json``
    ``scheduled_s`` (length of the session as scheduled, breaks included), ``start_t_s`` (the green light on the
    recording's own axis), and optionally ``kind`` (``practice``, ``qualifying``, ``test``). More keys may stand there.
``events.csv``
    One line a timing event: ``t_s`` (when it happened), ``car``, ``kind``, ``loop``, ``lap_no``, ``lap_time_s``,
    ``sector_time_s``, ``compound``, ``tyre_age`` (as known at the time), ``t_msg_s`` (when the source said so; empty:
    at once). Kinds: ``loop`` (a car at loop 1, 2 ..., the highest one being the finish line), ``lap`` (the same
    crossing of the finish line once more, with the lap time), ``pit_in``, ``pit_out``.
``status.csv``
    ``t_s``, ``status`` (the source's own word), ``source`` (``track``, ``session``, ``control``), ``scope`` (empty,
    ``track`` or ``sector N``).
``weather.csv`` (may be missing)
    ``t_s``, ``air_c``, ``track_c``, ``rain`` (0 or 1).
``passages.csv`` (may be missing)
    ``t_msg_s``, ``car``, ``lap_no``, ``sector``, ``segment``, ``pit`` (1 in the pit lane): short stretches of the lap.

Times are seconds since the recording began; session seconds are those less ``start_t_s``. Columns may stand in any
order and others may stand beside them. Other files of the folder, such as an answer key made with hindsight, are never
opened.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, cast

from pitwall.errors import FileProblem
from pitwall.feeds.csv_lines import CsvLine, lines_of, read_rows

EventKind = Literal["loop", "lap", "pit_in", "pit_out"]


@dataclass(frozen=True, slots=True)
class Meta:
    """What ``meta.json`` says."""

    scheduled_s: float
    start_t_s: float
    kind: str = "practice"


@dataclass(frozen=True, slots=True)
class TimingRow:
    """One line of ``events.csv``; times in session seconds."""

    t: float
    said_t: float
    car: str
    kind: EventKind
    loop: int | None
    lap: int | None
    lap_time_s: float | None
    sector_time_s: float | None
    compound: str | None
    tyre_age: int | None


@dataclass(frozen=True, slots=True)
class StatusRow:
    """One line of ``status.csv``; time in session seconds."""

    t: float
    word: str
    source: str
    scope: str


@dataclass(frozen=True, slots=True)
class WeatherRow:
    """One line of ``weather.csv``; time in session seconds."""

    t: float
    air_c: float | None
    track_c: float | None
    rain: bool | None


@dataclass(frozen=True, slots=True)
class Passage:
    """One line of ``passages.csv``: a car passed into a short stretch of the lap; time in session seconds."""

    said_t: float
    car: str
    lap: int | None
    sector: int
    segment: int
    in_pit_lane: bool


@dataclass(frozen=True)
class Recording:
    """A recorded session, read and checked. Rows stand in the order of their files."""

    folder: Path
    meta: Meta
    timing: tuple[TimingRow, ...]
    status: tuple[StatusRow, ...]
    weather: tuple[WeatherRow, ...]

    @property
    def finish_loop(self) -> int:
        """The loop that is the finish line: the one at which laps are timed, else the highest."""
        timed = {row.loop for row in self.timing if row.kind == "lap" and row.loop is not None}
        return max(timed or {row.loop for row in self.timing if row.loop is not None} or {3})

    @property
    def cars(self) -> tuple[str, ...]:
        """Every car seen, in order of number."""
        return tuple(sorted({row.car for row in self.timing}, key=lambda car: (len(car), car)))

    def passages(self) -> Iterator[Passage]:
        """The short stretches, read when asked for; none when the recording has no such file.

        Raises:
            FileProblem: when a line cannot be read.
        """
        path = self.folder / "passages.csv"
        if not path.is_file():
            return
        findings: list[str] = []
        for cell in lines_of(path, ("t_msg_s", "car", "lap_no", "sector", "segment", "pit"), findings):
            passage = Passage(
                said_t=cell.number("t_msg_s") - self.meta.start_t_s,
                car=cell.car("car"), lap=cell.whole_or_none("lap_no"),
                sector=cell.whole("sector"), segment=cell.whole("segment"), in_pit_lane=cell.flag("pit"),
            )
            if findings:
                break
            yield passage
        if findings:
            raise FileProblem(findings)


def read_recording(folder: Path | str) -> Recording:
    """Read a recorded session.

    Raises:
        FileProblem: with every finding (at most ``MOST_FINDINGS`` a file): file, line, column, what was found and
            what to do about it.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise FileProblem([f"{folder}: no such folder: give the one that holds a recording's meta.json and events.csv"])
    findings: list[str] = []
    meta = _read_meta(folder / "meta.json", findings)
    zero = meta.start_t_s
    timing = read_rows(folder / "events.csv", TIMING_COLUMNS, findings, lambda cell: _timing_row(cell, zero))
    status = read_rows(folder / "status.csv", STATUS_COLUMNS, findings, lambda cell: _status_row(cell, zero))
    weather: tuple[WeatherRow, ...] = ()
    if (folder / "weather.csv").is_file():
        weather = read_rows(folder / "weather.csv", ("t_s",), findings, lambda cell: _weather_row(cell, zero))
    if findings:
        raise FileProblem(findings)
    return Recording(folder, meta, timing, status, weather)


TIMING_COLUMNS = (
    "t_s", "car", "kind", "loop", "lap_no", "lap_time_s", "sector_time_s", "compound", "tyre_age", "t_msg_s",
)
STATUS_COLUMNS = ("t_s", "status", "source", "scope")


def _timing_row(cell: CsvLine, zero: float) -> TimingRow:
    kind = cell.text("kind")
    if kind not in ("loop", "lap", "pit_in", "pit_out"):
        cell.wrong("kind", "loop, lap, pit_in or pit_out")
    loop = cell.whole_or_none("loop", high=99)
    if kind in ("loop", "lap") and loop is None and not cell.text("loop"):
        cell.wrong("loop", "the number of the loop")
    t = cell.number("t_s") - zero
    said = cell.number_or_none("t_msg_s")
    return TimingRow(
        t=t,
        # The two stamps come from two clocks: a fact cannot be known before it happened.
        said_t=t if said is None else max(said - zero, t),
        car=cell.car("car"),
        kind=cast(EventKind, kind),
        loop=loop,
        lap=cell.whole_or_none("lap_no", high=2000),
        lap_time_s=cell.number_or_none("lap_time_s", 0.001, 100_000),
        sector_time_s=cell.number_or_none("sector_time_s", 0.001, 100_000),
        compound=cell.text("compound")[:24] or None,
        tyre_age=cell.whole_or_none("tyre_age", high=1000),
    )


def _status_row(cell: CsvLine, zero: float) -> StatusRow:
    if not cell.text("status"):
        cell.wrong("status", "a status word")
    return StatusRow(cell.number("t_s") - zero, cell.text("status"), cell.text("source"), cell.text("scope"))


def _weather_row(cell: CsvLine, zero: float) -> WeatherRow:
    rain = cell.text("rain")
    return WeatherRow(
        t=cell.number("t_s") - zero, air_c=cell.number_or_none("air_c", -40, 60),
        track_c=cell.number_or_none("track_c", -40, 90), rain=cell.flag("rain") if rain else None,
    )


def _read_meta(path: Path, findings: list[str]) -> Meta:
    nothing = Meta(scheduled_s=1.0, start_t_s=0.0)
    try:
        found: Any = json.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        findings.append(f"{path}: no such file: a recording needs it, with scheduled_s and start_t_s")
        return nothing
    except json.JSONDecodeError as error:
        findings.append(f"{path}, line {error.lineno}, column {error.colno}: not JSON: {error.msg}: mend it there")
        return nothing
    except (OSError, UnicodeDecodeError) as error:
        findings.append(f"{path}: cannot be read: {error}: check the file and its permissions")
        return nothing
    if not isinstance(found, dict):
        findings.append(f"{path}: found a {type(found).__name__}, expected an object with scheduled_s and start_t_s")
        return nothing
    numbers = {}
    for name, low in (("scheduled_s", 1.0), ("start_t_s", -1e9)):
        value = found.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= 1e9:
            findings.append(f"{path}, {name}: found {value!r}, expected a number of seconds from {low:g}: put it in")
        else:
            numbers[name] = float(value)
    if len(numbers) < 2:
        return nothing
    return Meta(**numbers, kind=str(found.get("kind", "practice")))
