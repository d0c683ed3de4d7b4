"""Advice from a running daemon over MQTT: asked from the shell, seen by a screen, kept over a kill."""

from __future__ import annotations

import json
import signal
from pathlib import Path
from typing import Any

from tests.acceptance.processes import Processes, leave, until


def told(file: Path, kind: str) -> list[dict[str, Any]]:
    """What a screen has heard of that type."""
    lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
    heard = [json.loads(line) for line in lines if line.endswith("}")]
    return [one for one in heard if one.get("type") == kind]


def test_a_red_flag_by_hand_brings_the_ladder_and_a_restart_keeps_it(processes: Processes) -> None:
    """The search runs in a process of its own; the ladder is retained, told again after a kill, and cleared at green.
    Who asks hears that the answer comes, and what nobody proposed cannot be adopted."""
    daemon, said = processes.serve()
    screen = processes.folder / "heard.jsonl"
    processes.start("watch", "--json", "--broker", said["broker"], "--session", said["session"], out=screen)
    until(lambda: bool(told(screen, "plan_state")))
    to = ("--by", "ann", "--broker", said["broker"])
    assert processes.run("command", "41", "status", "status=green", *to).returncode == 0
    assert processes.run("command", "41", "status", "status=red", *to).returncode == 0
    until(lambda: bool(told(screen, "ladder_state")), 40.0)
    ladder = told(screen, "ladder_state")[-1]
    assert [rung["restart_s"] for rung in ladder["rungs"]] == [240.0, 480.0, 720.0]
    asked = processes.run("command", "58", "advise", *to)
    assert "asked the forecast" in asked.stdout, asked.stderr
    none = processes.run("command", "41", "adopt", "proposal=advice-99-1", *to)
    assert (none.returncode, none.stdout) == (1, "")
    until(lambda: any(one["asked"] == "asked by ann" for one in told(screen, "advice_state")), 40.0)
    leave(daemon, signal.SIGKILL)
    _, said = processes.serve()
    later = processes.folder / "later.jsonl"
    processes.start("watch", "--json", "--broker", said["broker"], "--session", said["session"], out=later)
    until(lambda: bool(told(later, "ladder_state")), 40.0)
    assert told(later, "ladder_state")[0]["rungs"][0]["restart_s"] in (240.0, 480.0)
    to = ("--by", "ann", "--broker", said["broker"])
    assert processes.run("command", "41", "status", "status=green", *to).returncode == 0
    until(lambda: not told(later, "ladder_state")[-1]["active"], 40.0)
