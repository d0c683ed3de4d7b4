"""Playing a recording: facts in the order in which they were said, ids that stay, a player that keeps to its clock."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.errors import FileProblem
from pitwall.feeds.circuit_from_recording import circuit_from_recording
from pitwall.feeds.ports import Feed, TimingFact
from pitwall.feeds.recording import EventKind, Meta, Recording, TimingRow, read_recording
from pitwall.feeds.replay import Replay, ReplayPlayer
from pitwall.model.events import CarCrossed, CarPitted, ClockReported
from pitwall.runtime.virtual_clock import VirtualClock

SMALL = Path(__file__).parents[1] / "data" / "recording_small"


@pytest.fixture(scope="module")
def small() -> Recording:
    """The small invented recording."""
    return read_recording(SMALL)


def row(
    t: float, kind: EventKind, loop: int | None = None, *, said: float | None = None, car: str = "9",
    lap_time_s: float | None = None, sector_time_s: float | None = None,
) -> TimingRow:
    """One timing row."""
    return TimingRow(
        t=t, said_t=t if said is None else said, car=car, kind=kind, loop=loop, lap=1, lap_time_s=lap_time_s,
        sector_time_s=sector_time_s, compound=None, tyre_age=None,
    )


def recording(*rows: TimingRow) -> Recording:
    """A recording of these rows."""
    return Recording(Path("nowhere"), Meta(scheduled_s=600.0, start_t_s=0.0), rows, (), ())


def crossings(replay: Replay) -> list[CarCrossed]:
    """The crossings in it."""
    return [fact for _, fact in replay if isinstance(fact, CarCrossed)]


def test_replay_is_a_feed(small: Recording) -> None:
    """The adapter fulfils the port."""
    assert isinstance(Replay(small), Feed)


def test_line_and_lap_are_one_crossing(small: Recording) -> None:
    """Each passage over the finish line is one crossing of 'line' with lap time and sector time together."""
    found = [fact for fact in crossings(Replay(small)) if fact.loop == "line"]
    laps = {(row.car, row.t) for row in small.timing if row.kind == "lap"}
    assert {(fact.car, fact.t) for fact in found} == laps
    assert len(found) == len(laps)
    assert any(fact.lap_time_s and fact.sector_time_s for fact in found)


def test_other_loops_keep_their_number(small: Recording) -> None:
    """Loops 1 and 2 are told as '1' and '2'; nothing is called '3'."""
    assert {fact.loop for fact in crossings(Replay(small))} == {"1", "2", "line"}


def test_order_is_that_of_the_messages(small: Recording) -> None:
    """Facts come in the order in which they were said; some were said after later ones had happened."""
    replay = Replay(small)
    said = [moment for moment, _ in replay]
    assert said == sorted(said)
    happened = [fact.t for fact in crossings(replay)]
    assert happened != sorted(happened)
    assert all(moment >= fact.t - 1e-9 for moment, fact in replay)


def test_two_replays_give_the_same_ids(small: Recording) -> None:
    """Ids come from what happened: they are unique, and the same each time."""
    first, second = Replay(small), Replay(small, rate=30.0)
    ids = [fact.id for _, fact in first]
    assert len(set(ids)) == len(ids)
    assert ids == [fact.id for _, fact in second]


def test_doubled_row_is_one_fact(small: Recording) -> None:
    """The line that stands twice in the recording is told once, and counted."""
    replay = Replay(small)
    assert replay.doubled == 1
    assert replay.counts()["unknown_words"] == 1
    assert replay.unknown_words == {"fog_on_the_hill": 1}


def test_lap_without_its_loop_row() -> None:
    """Either of the two rows of a passage over the line is enough."""
    replay = Replay(
        recording(row(80.0, "lap", 3, lap_time_s=79.5), row(160.0, "loop", 3, sector_time_s=25.0), row(60.0, "loop", 2))
    )
    told = [(fact.loop, fact.t, fact.lap_time_s, fact.sector_time_s) for fact in crossings(replay)]
    assert told == [("2", 60.0, None, None), ("line", 80.0, 79.5, None), ("line", 160.0, None, 25.0)]


def test_line_is_said_when_the_later_row_was() -> None:
    """A passage is known whole once the later of its two rows was said."""
    replay = Replay(recording(row(80.0, "loop", 3, said=80.1), row(80.0, "lap", 3, said=84.0, lap_time_s=80.0)))
    told = [(moment, fact.id) for moment, fact in replay if isinstance(fact, CarCrossed)]
    assert told == [(84.0, "cross-9-line-80000")]


def test_pit_signals() -> None:
    """Pit messages become entry and exit."""
    replay = Replay(recording(row(10.0, "pit_out"), row(95.0, "pit_in")))
    pits = [fact for _, fact in replay if isinstance(fact, CarPitted)]
    assert [(fact.where, fact.t) for fact in pits] == [("exit", 10.0), ("entry", 95.0)]


def test_begin_later(small: Recording) -> None:
    """Beginning later tells at once what was said before, without the clock messages of the past."""
    whole, late = Replay(small), Replay(small, begin_s=600.0)
    assert late.first_s == 600.0
    assert all(fact.t >= 600.0 for _, fact in late if isinstance(fact, ClockReported))
    assert [fact.id for fact in crossings(late)] == [fact.id for fact in crossings(whole)]


def test_clock_ends_with_the_recording(small: Recording) -> None:
    """The clock is told through to the last message."""
    ticks = [fact for _, fact in Replay(small) if isinstance(fact, ClockReported)]
    assert len(ticks) == ticks[-1].t - ticks[0].t + 1
    assert ticks[-1].remaining_s == 0.0


def play(feed: list[tuple[float, TimingFact]] | Replay, start: float, until: float) -> list[tuple[float, str]]:
    """Play on a virtual clock; what was sent, with the clock's reading."""
    clock = VirtualClock(start)
    heard: list[tuple[float, str]] = []
    player = ReplayPlayer(feed, clock, lambda fact: heard.append((clock.now(), fact.id)))
    player.start()
    clock.run_until(until)
    assert player.sent == len(heard)
    return heard


def test_player_keeps_to_its_clock(small: Recording) -> None:
    """Everything is sent once, in order, exactly when it was said."""
    replay = Replay(small)
    heard = play(replay, replay.first_s, replay.last_s)
    assert heard == [(moment, fact.id) for moment, fact in replay]


def test_player_sends_the_past_at_once(small: Recording) -> None:
    """Started late, it sends what is overdue without waiting."""
    heard = play(Replay(small), 300.0, 300.0)
    assert heard
    assert {at for at, _ in heard} == {300.0}


def test_player_stops(small: Recording) -> None:
    """Stopped, it sends nothing more, whatever the clock does."""
    replay, clock = Replay(small), VirtualClock(0.0)
    heard: list[TimingFact] = []
    player = ReplayPlayer(replay, clock, heard.append)
    player.start()
    player.stop()
    before = len(heard)
    clock.run_until(replay.last_s)
    assert len(heard) == before
    assert player.done


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 500), st.floats(0, 40), st.sampled_from(["loop", "lap", "pit_in", "pit_out"]),
                          st.integers(1, 3), st.sampled_from(["1", "2"])), max_size=25))
def test_whatever_the_rows(rows: list[tuple[float, float, EventKind, int, str]]) -> None:
    """Any mix of rows plays in order with unique ids, and no car's passage is told twice."""
    made = [row(t, kind, 3 if kind == "lap" else loop, said=t + late, car=car) for t, late, kind, loop, car in rows]
    replay = Replay(recording(*made))
    said = [moment for moment, _ in replay]
    assert said == sorted(said)
    counted = Counter(fact.id for _, fact in replay)
    assert not counted or max(counted.values()) == 1


def test_circuit_of_the_small_recording(small: Recording) -> None:
    """The circuit that the invented recording was driven on is found again."""
    circuit = circuit_from_recording(small)
    shares = {loop.loop: loop.at_share for loop in circuit.loops}
    assert circuit.timing_only
    assert circuit.lap_s == pytest.approx(80.5, abs=0.8)
    assert shares["1"] == pytest.approx(0.31, abs=0.005)
    assert shares["2"] == pytest.approx(0.69, abs=0.005)
    assert circuit.pit.entry_share == pytest.approx(0.96, abs=0.015)
    assert circuit.pit.exit_share == pytest.approx(0.05, abs=0.02)
    assert circuit.pit.last_chance_share is not None
    assert circuit.pit.entry_share is not None
    assert circuit.pit.last_chance_share < circuit.pit.entry_share
    assert circuit.pit.line_in_lane
    assert [sector.sector for sector in circuit.marshal_sectors] == ["1", "2", "3"]


def test_no_circuit_without_a_timed_lap(tmp_path: Path) -> None:
    """A recording without one lap from line to line says that the circuit must be written by hand."""
    folder = Path(shutil.copytree(SMALL, tmp_path / "rec"))
    lines = (folder / "events.csv").read_text(encoding="utf-8").splitlines()
    (folder / "events.csv").write_text("\n".join(lines[:6]) + "\n", encoding="utf-8")
    with pytest.raises(FileProblem, match="by hand"):
        circuit_from_recording(read_recording(folder))
