"""A daemon whose plan file was broken since: it serves the journal's plan, and says so in the terminal."""

from __future__ import annotations

import re
from pathlib import Path

from pitwall.app.serving import to_serve
from pitwall.journal.sqlite import SqliteJournal
from pitwall.model.events import SessionPrepared, Stamped
from tests.acceptance.processes import Processes


async def test_a_daemon_names_the_plan_that_it_leaves_aside(processes: Processes, tmp_path: Path) -> None:
    """It starts, serves, and tells file, line and fault on standard error."""
    processes.copy_folder("config")
    event, kept = processes.folder / "config" / "event.yaml", tmp_path / "practice-1.sqlite"
    setup = to_serve(event, None, lambda *_: kept, fresh=False).setup
    journal = await SqliteJournal.open(kept)
    await journal.append([Stamped(seq=0, received_t=-60.0, event=SessionPrepared(id="p", t=-60.0, setup=setup))])
    await journal.close()
    plan = event.parent / "plans" / "plan_41.yaml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("want: should", "want: shuld"), encoding="utf-8")
    daemon, said = processes.serve(str(event), "--no-screen", "--journal", str(kept))
    assert said["session"] == "practice-1"
    daemon.terminate()
    told = daemon.communicate(timeout=300)[1]
    (warning,) = [line for line in told.splitlines() if line.startswith("warning:")]
    assert re.search(r"plan_41\.yaml:\d+: ", warning)
    assert "'shuld'" in warning
    assert warning.endswith("the journal's plan is in use until the file is mended")
