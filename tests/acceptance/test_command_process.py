"""`pitwall command` against a running daemon: one command, its one answer, and what the shell hears of it."""

from __future__ import annotations

import json
import signal

from tests.acceptance.processes import Processes, leave


def test_a_session_begun_and_mended_from_the_shell(processes: Processes) -> None:
    """Green, out, a wrong press and its undo: effects on standard output with 0, refusals on standard error with 1,
    wrong usage with 2; killed and started again the daemon still knows, and time went on."""
    daemon, said = processes.serve()
    to = ("--by", "ann", "--broker", said["broker"])
    green = processes.run("command", "41", "status", "status=green", *to, "--json")
    assert green.returncode == 0, green.stderr
    assert json.loads(green.stdout)["effect"].startswith("status green at 0:0")
    out = processes.run("command", "41", "pit", "where=exit", *to, "--at", "-1s")
    assert (out.returncode, out.stderr) == (0, "")
    assert "car 41 on out-lap of checks" in out.stdout
    twice = processes.run("command", "41", "pit", "where=exit", *to, "--at", "-1s")
    assert twice.returncode == 0
    assert "you have the pit exit already" in twice.stdout
    refused = processes.run("command", "41", "cross", "loop=9", *to)
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "no loop '9' on this circuit" in refused.stderr
    usage = processes.run("command", "41", "crss", *to)
    assert usage.returncode == 2
    assert "did you mean 'cross'" in usage.stderr
    undone = processes.run("command", "41", "undo", *to)
    assert "taken back: pit exit" in undone.stdout
    leave(daemon, signal.SIGKILL)
    again, said = processes.serve()
    assert said["resumed"] is True
    to = ("--by", "ann", "--broker", said["broker"])
    last = processes.run("command", "41", "undo", *to)
    assert "taken back: status green" in last.stdout, last.stderr
    leave(again)
