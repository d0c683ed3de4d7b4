"""One contract for every adviser: inline on virtual time, in a process of its own beside a live loop.

It is that of the forecaster: answers in the order of the questions, on the loop, never from within ``ask``; the newest
question is answered; a failure is counted and answered by nobody. The process may die too, and leaves nothing behind.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import pytest
import structlog

from pitwall.model.advice import AdviceAnswer
from pitwall.runtime.adviser import InlineAdviser, ProcessAdviser
from pitwall.runtime.ports import Adviser
from pitwall.runtime.virtual_clock import VirtualClock
from tests.contract.advice_work import DIES, GATE, MOST_S, RAISES, WAITS, wanted, work

WITHIN_S = 60.0
"""A process has started, or has ended, by then, also on a busy machine."""


class Rig:
    """An adviser, what it was asked and what it answered."""

    def __init__(self, gate: Path) -> None:
        self.clock, self.gate = VirtualClock(100.0), gate
        self.asked = 0
        self.answers: list[int] = []
        self.workers: list[int] = []
        self.within_ask = self.foreign_threads = 0
        self._asking, self._thread = False, threading.get_ident()
        self.adviser: Any = self.make()

    def make(self) -> Adviser:
        """The adviser under test."""
        return InlineAdviser(work, self.clock, 2.0)

    @property
    def overtaken(self) -> int:
        """Questions that a newer one took the place of."""
        return 0

    def ask(self, revision: int, fate: int = 0) -> None:
        """Ask; note the answer."""
        self._asking = True
        self.asked += 1
        self.adviser.ask(wanted(revision, self.clock.now(), fate), self.answered)
        self._asking = False

    def answered(self, answer: AdviceAnswer) -> None:
        """Note whose answer it is, and whether it came as it should."""
        self.within_ask += self._asking
        self.foreign_threads += threading.get_ident() != self._thread
        self.answers.append(round(answer.as_planned.worth))
        self.workers.append(int(answer.problem or 0))

    async def settle(self) -> None:
        """Let every question come to its end: answered, overtaken or failed."""
        self.gate.touch()
        self.clock.run_until(self.clock.now() + 5.0)
        ends = time.monotonic() + WITHIN_S
        while len(self.answers) + self.overtaken + self.adviser.failures < self.asked:
            assert time.monotonic() < ends, "a question without an end"
            await asyncio.sleep(0.005)

    def close(self) -> None:
        """Let go."""


class Process(Rig):
    """In a process of its own."""

    def make(self) -> Adviser:
        """One worker."""
        return ProcessAdviser(work)

    @property
    def overtaken(self) -> int:
        """As the adviser counts."""
        return int(self.adviser.overtaken)

    def close(self) -> None:
        """End the process."""
        self.adviser.close()


@pytest.fixture(params=[Rig, Process], ids=["inline", "process"])
async def rig(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Rig]:
    """Each kind."""
    monkeypatch.setenv(GATE, str(tmp_path / "open"))
    made: Rig = request.param(tmp_path / "open")
    yield made
    made.close()


@pytest.fixture
async def process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Process]:
    """The one that is a process."""
    monkeypatch.setenv(GATE, str(tmp_path / "open"))
    made = Process(tmp_path / "open")
    yield made
    made.close()


@pytest.fixture(autouse=True)
def lines() -> Iterator[list[Any]]:
    """What is logged is captured."""
    with structlog.testing.capture_logs() as captured:
        yield captured


async def test_each_question_is_answered_once_on_the_loop(rig: Rig) -> None:
    """In order, on the thread that asked, and never from within ``ask``."""
    for revision in (1, 2, 3):
        rig.ask(revision)
        assert len(rig.answers) == revision - 1
        await rig.settle()
    assert rig.answers == [1, 2, 3]
    assert (rig.foreign_threads, rig.within_ask, rig.overtaken, rig.adviser.failures) == (0, 0, 0, 0)


async def test_of_a_burst_the_newest_is_answered_last(rig: Rig) -> None:
    """What is overtaken is counted; nothing is answered twice."""
    rig.ask(1, WAITS)
    for revision in range(2, 9):
        rig.ask(revision)
    assert rig.answers == []
    await rig.settle()
    assert rig.answers[0] == 1
    assert rig.answers[-1] == 8
    assert len(rig.answers) + rig.overtaken == 8


async def test_work_that_raises_is_counted_and_stops_nothing(rig: Rig, lines: list[Any]) -> None:
    """The failure is logged with the question's number, and the next is answered."""
    rig.ask(1, RAISES)
    await rig.settle()
    rig.ask(2)
    await rig.settle()
    assert rig.answers == [2]
    assert rig.adviser.failures == 1
    assert [line["revision"] for line in lines if line.get("log_level") == "error"] == [1]


async def test_it_is_another_process_and_the_same_each_time(process: Process) -> None:
    """The loop's interpreter does none of the work, and the worker is started once."""
    for revision in (1, 2):
        process.ask(revision)
        await process.settle()
    assert len(set(process.workers)) == 1
    assert os.getpid() not in process.workers


async def test_a_worker_that_dies_is_replaced(process: Process) -> None:
    """Its question failed; the one that waited behind it is answered by another worker."""
    process.ask(1)
    await process.settle()
    process.ask(2, DIES)
    process.ask(3)
    await process.settle()
    assert process.answers == [1, 3]
    assert process.adviser.failures == 1
    assert len(set(process.workers)) == 2


async def test_closing_does_not_wait_for_a_search(process: Process) -> None:
    """The worker ends at once, nobody is answered, and a later question is not taken."""
    process.ask(1)
    await process.settle()
    process.gate.unlink()
    process.ask(2, WAITS)
    began = time.monotonic()
    process.close()
    assert time.monotonic() - began < MOST_S / 2
    await _ended(process.workers[0])
    process.ask(3)
    await asyncio.sleep(0.05)
    assert process.answers == [1]


@pytest.mark.parametrize("asked", [False, True], ids=["as it starts", "while it searches"])
async def test_once_it_is_gone_nothing_of_it_is_left_in_this_process(process: Process, asked: bool) -> None:
    """No thread of the pool runs on: one that did raced the end of Python, which wakes it while it closes."""
    before = set(threading.enumerate())
    if asked:
        process.gate.unlink(missing_ok=True)
        process.ask(1, WAITS)
    else:
        process.adviser.warm_up()
    assert set(threading.enumerate()) - before, "who looks after the pool"
    await process.adviser.gone()
    left = [thread.name for thread in set(threading.enumerate()) - before if not thread.name.startswith("asyncio")]
    assert left == []
    process.ask(2)
    await asyncio.sleep(0.05)
    assert process.answers == []


KILLED = textwrap.dedent("""
    import asyncio, sys
    from pitwall.runtime.adviser import ProcessAdviser
    from tests.contract.advice_work import wanted, work

    async def main():
        adviser, told = ProcessAdviser(work), asyncio.get_running_loop().create_future()
        adviser.ask(wanted(1, 0.0), told.set_result)
        print((await told).problem, flush=True)
        await asyncio.sleep(60)

    if __name__ == "__main__":
        asyncio.run(main())
""")


def test_a_killed_daemon_leaves_no_worker_behind(tmp_path: Path) -> None:
    """The worker ends by itself when whoever started it is gone without a word."""
    script = tmp_path / "daemon.py"
    script.write_text(KILLED, encoding="utf-8")
    root = Path(__file__).resolve().parents[2]
    paths = os.pathsep.join([str(root), os.environ.get("PYTHONPATH", "")])
    daemon = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True,
                              env=os.environ | {"PYTHONPATH": paths})
    assert daemon.stdout is not None
    worker = int(daemon.stdout.readline())
    daemon.kill()
    daemon.wait(WITHIN_S)
    asyncio.run(_ended(worker))


async def _ended(pid: int) -> None:
    ends = time.monotonic() + WITHIN_S
    while _runs(pid):
        assert time.monotonic() < ends, f"process {pid} is still there"
        await asyncio.sleep(0.02)


def _runs(pid: int) -> bool:
    with contextlib.suppress(OSError):
        state = Path(f"/proc/{pid}/stat")
        if state.parent.parent.joinpath("self").exists():
            return state.exists() and state.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"
        os.kill(pid, 0)
        return True
    return False
