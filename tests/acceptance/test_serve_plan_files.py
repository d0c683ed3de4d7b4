"""A real plan file edited under a running daemon, and under one that is down: seen and answered over MQTT."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.acceptance.processes import Processes, leave, until

COMMANDS = "pitwall/1/practice-1/desk/41/command"


class Seen:
    """What a watcher printed, a message a line."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def all(self, kind: str) -> list[dict[str, Any]]:
        """Every whole message of that type, in order."""
        lines = self.path.read_text(encoding="utf-8").splitlines(keepends=True)
        messages = [json.loads(line) for line in lines if line.endswith("\n")]
        return [message for message in messages if message["type"] == kind]

    def has(self, kind: str, test: Callable[[dict[str, Any]], bool]) -> Callable[[], bool]:
        """Whether such a message came."""
        return lambda: any(test(message) for message in self.all(kind))


def _edit(plan: Path, old: str, new: str) -> None:
    """As many editors save: another file, renamed over the plan."""
    text = plan.read_text(encoding="utf-8")
    assert old in text
    beside = plan.with_suffix(".tmp")
    beside.write_text(text.replace(old, new), encoding="utf-8")
    beside.replace(plan)


def _give(broker: str, **command: Any) -> None:
    program = shutil.which("mosquitto_pub")
    assert program, "the tests need mosquitto_pub: install the package mosquitto-clients (apt-get install)"
    port = broker.rpartition(":")[2].strip("/")
    words = [program, "-h", "127.0.0.1", "-p", port, "-q", "1", "-t", COMMANDS, "-m", json.dumps(command)]
    subprocess.run(words, check=True, timeout=60)


def _watched(processes: Processes, broker: str, name: str) -> Seen:
    seen = Seen(processes.folder / name)
    processes.start("watch", "--broker", broker, "--json", out=seen.path)
    until(lambda: seen.path.exists() and seen.path.stat().st_size > 0)
    return seen


def _laps(state: dict[str, Any], run: str) -> int:
    return next((int(one["timed_wanted"]) for one in state["runs"] if one["run"] == run), 0)


def test_a_plan_file_is_edited_under_a_daemon_that_dies_and_comes_back(processes: Processes) -> None:
    """Saved while it runs, the change is proposed and adopted; killed and started again with the edited file, the
    daemon goes on where it was; a file with errors keeps it from nothing, is told as an alert, and mended is proposed.
    Another changed file is still a reason to refuse the journal."""
    processes.copy_folder("config")
    plan = processes.folder / "config" / "plans" / "plan_41.yaml"
    daemon, said = processes.serve("config/event.yaml")
    seen = _watched(processes, said["broker"], "first.jsonl")
    _edit(plan, "out, 8 timed, in", "out, 6 timed, in")
    until(seen.has("proposal", lambda one: one["active"] and one["lines"] == ["long: 8 timed laps become 6"]))
    proposal = seen.all("proposal")[-1]
    assert proposal["source"] == "plan_41.yaml"
    _give(said["broker"], id="adopt", command="adopt", by="bryn-e", proposal=proposal["id"])
    until(seen.has("answered", lambda one: one["because"] == "adopt"))
    until(seen.has("plan_state", lambda one: one["car"] == "41" and _laps(one, "long") == 6))
    until(seen.has("proposal", lambda one: not one["active"]))
    daemon.kill()
    daemon.wait()

    _edit(plan, "tyres: C1", "tyres: C9")
    daemon, said = processes.serve("config/event.yaml")
    assert said["resumed"] is True
    seen = _watched(processes, said["broker"], "second.jsonl")
    until(seen.has("alert", lambda one: one["kind"] == "plan_file" and "unknown tyre set 'C9'" in one["text"]))
    assert "plan_41.yaml:" in seen.all("alert")[-1]["text"]
    until(seen.has("plan_state", lambda one: one["car"] == "41" and _laps(one, "long") == 6))
    state = next(one for one in seen.all("plan_state") if one["car"] == "41")
    assert [change["by"] for change in state["changes"]] == ["bryn-e"]
    assert not seen.all("proposal"), "what was adopted is not proposed again"

    _edit(plan, "tyres: C9", "tyres: B1")
    until(seen.has("proposal", lambda one: one["active"] and "tyres of compare: B1 instead of C1" in one["lines"]))
    until(seen.has("alert_over", lambda one: one["id"] == "plan-file-41"))
    code, _, err = leave(daemon)
    assert code == 0, err
    assert "Traceback" not in err

    regulations = processes.folder / "config" / "regulations.yaml"
    _edit(regulations, "duration_s: 3600", "duration_s: 2700")
    refused = processes.run("serve", "config/event.yaml", "--port", "0")
    assert refused.returncode == 2
    assert "begun with other files (changed: regulations)" in refused.stderr
