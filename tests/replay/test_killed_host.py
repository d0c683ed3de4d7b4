"""A host on a live clock and a real file, killed with SIGKILL and started again: nothing is lost, nothing doubled."""

from __future__ import annotations

import asyncio
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import structlog

from pitwall.journal.replay import replay
from pitwall.journal.sqlite import SqliteJournal, read_journal
from pitwall.model.events import Restarted, TimeReached
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.host import Host
from tests.replay.toy import Desk, Ear, Toy

DAEMON = textwrap.dedent(
    """
    import asyncio, sys
    from pitwall.journal.sqlite import SqliteJournal
    from pitwall.model.events import ClockReported
    from pitwall.runtime.clock import LiveClock
    from pitwall.runtime.host import Host
    from tests.replay.toy import Desk, Toy, crossing

    class Out:
        def take(self, outputs):
            for output in outputs:
                print(output.id, flush=True)
        def restate(self, standing):
            pass

    async def main(path):
        clock = LiveClock()
        host = Host(Toy(), await SqliteJournal.open(path), clock, Desk(), [Out()])
        await host.recover()
        running = asyncio.create_task(host.run())
        host.submit(ClockReported(id="k:1", t=500.0, remaining_s=3100, running=True, rate=20))
        n = 0
        while True:
            host.submit(crossing(n, clock.now()))
            n += 1
            await asyncio.sleep(0.01)

    asyncio.run(main(sys.argv[1]))
    """
)


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """What is logged is captured."""
    with structlog.testing.capture_logs():
        yield


def test_sigkill_and_start_again(tmp_path: Path) -> None:
    """Everything that was told is in the journal; time went on at the feed's rate by what the machine's clocks say; the
    reminders of before the kill come, each once."""
    path = tmp_path / "j.sqlite"
    said: list[str] = []
    with subprocess.Popen([sys.executable, "-c", DAEMON, str(path)], stdout=subprocess.PIPE, text=True,
                          env={"PYTHONPATH": str(Path(__file__).parents[2])}) as child:
        assert child.stdout is not None
        for line in child.stdout:
            said.append(line.strip())
            if sum(name.startswith("remind") for name in said) > 5:
                child.send_signal(signal.SIGKILL)
                break
        said += [line.strip() for line in child.stdout if line.endswith("\n")]
    before = read_journal(path)
    decided = [output.id for output in replay(before, Toy)[1] if output.type == "answered"]
    assert set(said) <= set(decided)
    assert len(said) == len(set(said))

    async def again() -> tuple[list[str], float, float]:
        clock, ear = LiveClock(), Ear()
        journal = await SqliteJournal.open(path)
        host = Host(Toy(), journal, clock, Desk(), [ear])
        await host.recover()
        wall = time.time()
        session = clock.now()
        running = asyncio.create_task(host.run())
        due = clock.now() + 6.0
        heard = asyncio.Event()
        clock.call_at(due, heard.set)
        await asyncio.wait_for(heard.wait(), 60)
        host.stop()
        await running
        await journal.close()
        return ear.ids, session, wall

    ids, session, wall = asyncio.run(again())
    last = before[-1]
    assert last.wall_s is not None
    assert session == pytest.approx(last.received_t + (wall - last.wall_s) * 20, abs=1.0)
    owed = {f"remind:x:41:{n}" for n in range(len([1 for s in before if s.event.type == "car_crossed"]))}
    assert sorted(name for name in [*decided, *ids] if name.startswith("remind")) == sorted(owed)
    events = read_journal(path)
    assert isinstance(events[len(before)].event, Restarted)
    assert isinstance(events[len(before) + 1].event, TimeReached)
    times = [stamped.received_t for stamped in events]
    assert times == sorted(times)
