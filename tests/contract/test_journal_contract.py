"""One contract for every journal: the file and its in-memory twin."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Sequence
from pathlib import Path

import pytest

from pitwall.errors import JournalError
from pitwall.journal.memory import MemoryJournal
from pitwall.journal.replay import digest
from pitwall.journal.sqlite import SqliteJournal
from pitwall.model.events import CarCrossed, CommandGiven, Stamped
from pitwall.runtime.ports import Journal


def crossing(seq: int, car: str = "41") -> Stamped:
    """The event with number ``seq``: a car at the line, told a little late."""
    event = CarCrossed(id=f"x-{seq}", t=seq * 1.1, car=car, loop="line", lap=seq % 100, lap_time_s=91.234)
    return Stamped(seq=seq, received_t=seq * 1.1 + 0.25, event=event)


def crossings(start: int, end: int) -> list[Stamped]:
    """Events with the numbers from ``start`` to before ``end``."""
    return [crossing(seq) for seq in range(start, end)]


@pytest.fixture(params=["memory", "sqlite"])
async def journal(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Journal]:
    """An empty journal of each kind."""
    made: Journal = MemoryJournal() if request.param == "memory" else await SqliteJournal.open(tmp_path / "j.sqlite")
    yield made
    await made.close()


async def test_both_are_journals(journal: Journal) -> None:
    """Each satisfies the port."""
    assert isinstance(journal, Journal)


async def test_new_journal_is_empty(journal: Journal) -> None:
    """Nothing was stored, nothing is read."""
    assert await journal.read() == ()


async def test_reads_what_was_appended_in_order(journal: Journal) -> None:
    """Batches come back as one sequence, equal to what went in, field by field."""
    events = [*crossings(0, 3), Stamped(seq=3, received_t=9.0, wall_s=1.7e9 + 0.125, event=CommandGiven(
        id="c-1", t=8.5, car="58", command="comment", by="desk", text="vibration, turn 4 « exit »\n\U0001f3c1"))]
    await journal.append(events[:2])
    await journal.append(events[2:])
    assert await journal.read() == tuple(events)


async def test_reads_from_a_number_on(journal: Journal) -> None:
    """``start`` is the first number read; beyond the end there is nothing."""
    await journal.append(crossings(0, 5))
    assert [stamped.seq for stamped in await journal.read(3)] == [3, 4]
    assert await journal.read(5) == ()
    assert await journal.read(99) == ()


async def test_empty_batch_changes_nothing(journal: Journal) -> None:
    """An empty batch is taken and leaves no trace."""
    await journal.append([])
    await journal.append(crossings(0, 1))
    await journal.append([])
    assert len(await journal.read()) == 1


@pytest.mark.parametrize("bad", [[1], [0, 2], [0, 0], [1, 0]], ids=["starts-late", "gap", "twice", "backwards"])
async def test_refuses_numbers_that_do_not_follow_on(journal: Journal, bad: Sequence[int]) -> None:
    """A gap, a repetition or a step back is refused whole, and the journal still takes the right batch."""
    with pytest.raises(JournalError, match="follows"):
        await journal.append([crossing(seq) for seq in bad])
    assert await journal.read() == ()
    await journal.append(crossings(0, 2))
    assert len(await journal.read()) == 2


async def test_refuses_what_is_stored_already(journal: Journal) -> None:
    """The same batch again is refused: the host never writes twice."""
    await journal.append(crossings(0, 2))
    with pytest.raises(JournalError, match="follows"):
        await journal.append(crossings(0, 2))
    assert len(await journal.read()) == 2


async def test_takes_a_large_batch(journal: Journal) -> None:
    """Five thousand events in one commit come back whole."""
    events = crossings(0, 5000)
    await journal.append(events)
    assert digest(await journal.read()) == digest(events)


async def test_concurrent_appends_keep_their_order(journal: Journal) -> None:
    """Appends started together are stored in the order in which they were started."""
    await asyncio.gather(*(journal.append(crossings(start, start + 4)) for start in range(0, 400, 4)))
    assert [stamped.seq for stamped in await journal.read()] == list(range(400))


async def test_one_bad_append_among_concurrent_ones_fails_alone(journal: Journal) -> None:
    """Of three appends at once the one that leaves a gap is refused; the other two are stored."""
    results = await asyncio.gather(
        journal.append(crossings(0, 2)), journal.append(crossings(7, 9)), journal.append(crossings(2, 4)),
        return_exceptions=True,
    )
    assert [type(result) for result in results] == [type(None), JournalError, type(None)]
    assert [stamped.seq for stamped in await journal.read()] == [0, 1, 2, 3]


async def test_reading_sees_every_append_that_returned(journal: Journal) -> None:
    """Read your own writes, after each single append."""
    for seq in range(20):
        await journal.append([crossing(seq)])
        assert (await journal.read(seq))[0].seq == seq


async def test_close_twice_is_harmless_and_ends_writing(journal: Journal) -> None:
    """After closing, writing is refused with a remedy; closing again does nothing."""
    await journal.append(crossings(0, 1))
    await asyncio.gather(journal.close(), journal.close())
    await journal.close()
    with pytest.raises(JournalError, match="open it again"):
        await journal.append(crossings(1, 2))
    assert len(await journal.read()) == 1


async def test_twins_hold_the_same(tmp_path: Path) -> None:
    """What the file gives back has the digest of what memory gives back."""
    memory, stored = MemoryJournal(), await SqliteJournal.open(tmp_path / "j.sqlite")
    for start in range(0, 60, 3):
        await memory.append(crossings(start, start + 3))
        await stored.append(crossings(start, start + 3))
    assert digest(await memory.read()) == digest(await stored.read())
    await stored.close()


async def test_a_journal_in_memory_that_forgets_leaves_what_was_read_alone() -> None:
    """It is closed and holds nothing; closing it again, and forgetting again, does nothing."""
    memory = MemoryJournal()
    await memory.append(crossings(0, 3))
    read = await memory.read()
    await memory.forget()
    await memory.forget()
    assert read == tuple(crossings(0, 3))
    assert await memory.read() == ()
    with pytest.raises(JournalError, match="open it again"):
        await memory.append(crossings(3, 4))
