"""What `pitwall rehearse` shows while it works."""

from __future__ import annotations

import asyncio
import io

from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import rehearse_instant
from pitwall.cli.rehearse import ProgressLine
from tests.acceptance.processes import QUICK_DAY


def test_one_line_is_written_over_twice_a_second() -> None:
    """Nothing before half a second has gone by; then one line, written over in its place and gone at the end."""
    now = [10.0]
    stream = io.StringIO()
    line = ProgressLine(28_800.0, stream, lambda: now[0])
    line.at(5.0)
    assert stream.getvalue() == ""
    for second, t in ((10.6, 11_400.0), (10.7, 11_500.0), (11.2, 11_520.0)):
        now[0] = second
        line.at(t)
    assert stream.getvalue().split("\r") == ["", "session 3:10:00 of 8:00:00", "session 3:12:00 of 8:00:00"]
    line.clear()
    assert stream.getvalue().endswith(f"\r{' ' * len('session 3:12:00 of 8:00:00')}\r")
    assert "\n" not in stream.getvalue()


def test_a_rehearsal_that_is_over_at_once_leaves_no_trace() -> None:
    """What never took half a second writes nothing at all."""
    stream = io.StringIO()
    line = ProgressLine(1200.0, stream, lambda: 0.0)
    line.at(600.0)
    line.clear()
    assert stream.getvalue() == ""


def test_progress_is_told_from_beginning_to_end() -> None:
    """An instant rehearsal tells each session second that it reaches, in order, and its report is the same."""
    seconds: list[float] = []
    rehearsal = load_rehearsal(str(QUICK_DAY))
    told = asyncio.run(rehearse_instant(rehearsal, progress=seconds.append))
    assert seconds == sorted(seconds)
    assert seconds[0] <= 0.0
    assert seconds[-1] >= rehearsal.setup.duration_s
    assert told["session_s"] == rehearsal.setup.duration_s
