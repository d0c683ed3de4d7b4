"""The journal on disk: what only a file can do wrong."""

from __future__ import annotations

import asyncio
import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
from contextlib import closing
from pathlib import Path

import pytest

from pitwall.errors import JournalError
from pitwall.journal.kept import kept
from pitwall.journal.sqlite import SqliteJournal, journal_lines, read_journal
from pitwall.model.events import CarCrossed, Stamped


def crossings(start: int, end: int) -> list[Stamped]:
    """Events with the numbers from ``start`` to before ``end``."""
    return [
        Stamped(seq=seq, received_t=float(seq), event=CarCrossed(id=f"x-{seq}", t=float(seq), car="41", loop="line"))
        for seq in range(start, end)
    ]


async def filled(path: Path, count: int = 10) -> Path:
    """A closed journal of ``count`` events."""
    journal = await SqliteJournal.open(path)
    await journal.append(crossings(0, count))
    await journal.close()
    return path


def edit(path: Path, statement: str) -> None:
    """Change the file behind pitwall's back."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute(statement)


async def test_reopened_journal_goes_on(tmp_path: Path) -> None:
    """After closing and opening again the events are there and the next number follows."""
    journal = await SqliteJournal.open(await filled(tmp_path / "deep" / "er" / "j.sqlite"))
    assert journal.stored == 10
    await journal.append(crossings(10, 12))
    assert [stamped.seq for stamped in await journal.read()] == list(range(12))
    await journal.close()


async def test_appends_that_wait_share_a_commit(tmp_path: Path) -> None:
    """Two hundred appends at once need far fewer commits than two hundred; one alone needs one."""
    journal = await SqliteJournal.open(tmp_path / "j.sqlite")
    await journal.append(crossings(0, 1))
    assert journal.commits == 1
    await asyncio.gather(*(journal.append(crossings(seq, seq + 1)) for seq in range(1, 201)))
    assert journal.commits < 50
    assert journal.stored == 201
    await journal.close()


async def test_is_durable_by_setting(tmp_path: Path) -> None:
    """The file is in WAL mode and the writer syncs every commit (synchronous FULL is 2)."""
    journal = await SqliteJournal.open(tmp_path / "j.sqlite")
    assert journal._connection.execute("PRAGMA synchronous").fetchone()[0] == 2
    assert journal._connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    await journal.close()


async def test_second_daemon_is_refused_while_the_first_lives(tmp_path: Path) -> None:
    """The message names the holder and the remedy; after the first closed, the second gets in."""
    first = await SqliteJournal.open(tmp_path / "j.sqlite")
    with pytest.raises(JournalError, match=r"in use by process \d+.*stop that one"):
        await SqliteJournal.open(tmp_path / "j.sqlite")
    await first.append(crossings(0, 1))
    await first.close()
    second = await SqliteJournal.open(tmp_path / "j.sqlite")
    assert second.stored == 1
    await second.close()


async def test_anybody_may_read_beside_the_writer(tmp_path: Path) -> None:
    """Reading takes no lock and sees what is committed."""
    journal = await SqliteJournal.open(tmp_path / "j.sqlite")
    await journal.append(crossings(0, 3))
    assert len(read_journal(tmp_path / "j.sqlite")) == 3
    await journal.append(crossings(3, 5))
    assert [stamped.seq for stamped in read_journal(tmp_path / "j.sqlite", 2)] == [2, 3, 4]
    await journal.close()


async def test_a_reader_leaves_nothing_beside_a_journal_that_nobody_has_open(tmp_path: Path) -> None:
    """Not the two files that go with writing, whoever reads it and what for; beside a writer they are his."""
    path = await filled(tmp_path / "j.sqlite")
    before = sorted(os.listdir(tmp_path))
    assert len(read_journal(path)) == len(list(journal_lines(path))) == 10
    assert kept(path, "debrief", "nobody") is None
    assert sorted(os.listdir(tmp_path)) == before


async def test_text_file_is_refused(tmp_path: Path) -> None:
    """A file that is no database is refused, named, with a remedy, and left as it is."""
    path = tmp_path / "j.sqlite"
    path.write_bytes(b"plan: 1\n" * 200)
    with pytest.raises(JournalError, match=r"j\.sqlite: damaged .*[Mm]ove it away"):
        await SqliteJournal.open(path)
    assert path.read_bytes() == b"plan: 1\n" * 200


async def test_foreign_database_is_refused(tmp_path: Path) -> None:
    """Somebody else's database is not written into."""
    path = tmp_path / "j.sqlite"
    edit(path, "CREATE TABLE guests (name TEXT)")
    with pytest.raises(JournalError, match="not a pitwall journal"):
        await SqliteJournal.open(path)
    with pytest.raises(JournalError, match="not a pitwall journal"):
        read_journal(path)


async def test_torn_file_is_refused(tmp_path: Path) -> None:
    """A journal cut in the middle is refused with a remedy, both to the daemon and to a reader."""
    path = await filled(tmp_path / "j.sqlite", 3000)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(JournalError, match="damaged"):
        await SqliteJournal.open(path)
    with pytest.raises(JournalError, match="damaged"):
        read_journal(path)


async def test_scribbled_page_is_refused(tmp_path: Path) -> None:
    """A page of rubbish in the middle is found when the journal is opened."""
    path = await filled(tmp_path / "j.sqlite", 3000)
    whole = bytearray(path.read_bytes())
    whole[3 * 4096 : 4 * 4096] = b"\xa5" * 4096
    path.write_bytes(bytes(whole))
    with pytest.raises(JournalError, match="damaged") as refused:
        await SqliteJournal.open(path)
    assert len(str(refused.value).splitlines()) == 1, "the verdict of the database has two"


def below(folder: Path) -> list[Path]:
    """Everything in a folder and in the folders in it."""
    return sorted(folder.rglob("*"))


async def test_folder_is_refused(tmp_path: Path) -> None:
    """A folder is not called damaged: the message says what to give, and nothing is made beside or in it."""
    folder = tmp_path / "days"
    folder.mkdir()
    with pytest.raises(JournalError, match=r"days: is a folder, give a file, for example .*days/session\.sqlite"):
        await SqliteJournal.open(folder)
    assert below(tmp_path) == [folder]


async def test_missing_event_is_found(tmp_path: Path) -> None:
    """A deleted event in the middle is noticed on opening and on reading."""
    path = await filled(tmp_path / "j.sqlite")
    edit(path, "DELETE FROM fact WHERE seq = 4")
    with pytest.raises(JournalError, match="9 events, but the last has number 9"):
        await SqliteJournal.open(path)
    with pytest.raises(JournalError, match="event 4 is missing"):
        read_journal(path)


async def test_damaged_record_names_its_number(tmp_path: Path) -> None:
    """A record that is no event is reported with file and number."""
    path = await filled(tmp_path / "j.sqlite")
    edit(path, "UPDATE fact SET body = x'7b22' WHERE seq = 7")
    with pytest.raises(JournalError, match=r"j\.sqlite, event 7: not JSON"):
        read_journal(path)


async def test_newer_journal_is_refused(tmp_path: Path) -> None:
    """A journal of a later format is refused and says which pitwall is needed."""
    path = await filled(tmp_path / "j.sqlite")
    edit(path, "PRAGMA user_version = 7")
    with pytest.raises(JournalError, match="format 7 by a newer pitwall"):
        await SqliteJournal.open(path)
    with pytest.raises(JournalError, match="format 7 by a newer pitwall"):
        read_journal(path)


async def test_failed_opening_lets_go_of_the_lock(tmp_path: Path) -> None:
    """Once the damaged file is moved away, the same process can open the place anew."""
    path = tmp_path / "j.sqlite"
    path.write_bytes(b"rubbish " * 1000)
    with pytest.raises(JournalError):
        await SqliteJournal.open(path)
    path.rename(tmp_path / "away.sqlite")
    journal = await SqliteJournal.open(path)
    await journal.close()


async def test_unusable_places_are_refused_in_words(tmp_path: Path) -> None:
    """A folder that is a file, and a journal that is not there, give an error that names the place."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(JournalError, match="folder cannot be made"):
        await SqliteJournal.open(tmp_path / "file" / "j.sqlite")
    (tmp_path / "folder.sqlite").mkdir()
    with pytest.raises(JournalError, match=r"folder\.sqlite"):
        await SqliteJournal.open(tmp_path / "folder.sqlite")
    with pytest.raises(JournalError, match="no such journal"):
        read_journal(tmp_path / "nowhere.sqlite")


async def test_disk_refusal_is_reported_and_survived(tmp_path: Path) -> None:
    """While the disk is full an append fails in words and stores nothing; afterwards the same batch is taken."""
    journal = await SqliteJournal.open(tmp_path / "j.sqlite")
    await journal.append(crossings(0, 2))
    pages = journal._connection.execute("PRAGMA page_count").fetchone()[0]
    journal._connection.execute(f"PRAGMA max_page_count = {pages}")  # SQLite's own way to simulate a full disk
    with pytest.raises(JournalError, match="Free disk space"):
        await journal.append(crossings(2, 2000))
    assert len(await journal.read()) == 2
    journal._connection.execute("PRAGMA max_page_count = 1000000")
    await journal.append(crossings(2, 2000))
    assert len(await journal.read()) == 2000
    await journal.close()


WRITER = textwrap.dedent(
    """
    import asyncio, sys
    from pitwall.journal.sqlite import SqliteJournal
    from pitwall.model.events import CarCrossed, Stamped

    async def main(path):
        journal = await SqliteJournal.open(path)
        async def one(seq, count):
            facts = [CarCrossed(id=f"x-{n}", t=float(n), car="41", loop="line") for n in range(seq, seq + count)]
            await journal.append([Stamped(seq=n, received_t=float(n), event=fact) for n, fact in enumerate(facts, seq)])
            print(seq + count - 1, flush=True)
        seq = 0
        while True:
            await asyncio.gather(*(one(seq + 3 * k, 3) for k in range(8)))
            seq += 24

    asyncio.run(main(sys.argv[1]))
    """
)


def test_killed_writer_loses_nothing_it_acknowledged(tmp_path: Path) -> None:
    """SIGKILL in mid-writing: every acknowledged event is there, in order, and the next daemon opens and goes on."""
    path = tmp_path / "j.sqlite"
    with subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        acknowledged = -1
        for line in child.stdout:
            acknowledged = max(acknowledged, int(line))
            if acknowledged > 600:
                child.send_signal(signal.SIGKILL)
                break
        # What it still managed to say before it died counts as acknowledged too.
        acknowledged = max([acknowledged, *(int(line) for line in child.stdout if line.endswith("\n"))])

    async def reopen() -> list[int]:
        journal = await SqliteJournal.open(path)
        await journal.append(crossings(journal.stored, journal.stored + 1))
        numbers = [stamped.seq for stamped in await journal.read()]
        await journal.close()
        return numbers

    numbers = asyncio.run(reopen())
    assert numbers == list(range(len(numbers)))
    assert numbers[-1] > acknowledged > 600
