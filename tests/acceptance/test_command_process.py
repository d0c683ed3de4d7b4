"""`pitwall command` against a running daemon: one command, its one answer, and what the shell hears of it."""

from __future__ import annotations

import json
import signal
import subprocess

from tests.acceptance.processes import ROOT, Processes, leave


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
    asked = processes.run("command", "41", "undo", *to)
    assert (asked.returncode, asked.stdout) == (1, "")
    assert "nothing is taken back: cross, given last by ann, did nothing" in asked.stderr
    undone = processes.run("command", "41", "undo", *to)
    assert "taken back: pit exit" in undone.stdout
    leave(daemon, signal.SIGKILL)
    again, said = processes.serve()
    assert said["resumed"] is True
    to = ("--by", "ann", "--broker", said["broker"])
    last = processes.run("command", "41", "undo", *to)
    assert "taken back: status green" in last.stdout, last.stderr
    leave(again)


def test_a_pedal_publishes_one_message_and_a_question_waits_for_its_answer(processes: Processes) -> None:
    """The README's line for a foot switch, as it stands there, is taken from any MQTT client: a message
    without a time and without a call. What was asked is answered once, from another seat, also after a kill."""
    daemon, said = processes.serve()
    to = ("--by", "ann", "--broker", said["broker"])
    asked = processes.run("command", "41", "asked", "text=gap behind?", *to)
    assert "(gap behind?) noted: the driver waits for an answer" in asked.stdout, asked.stderr
    line = next(one for one in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
                if one.startswith("mosquitto_pub "))  # fmt: skip
    port = said["broker"].rpartition(":")[2]
    pressed = line.replace("mosquitto_pub", f"mosquitto_pub -h 127.0.0.1 -p {port}").replace("said", "asked")
    pressed = pressed.replace("practice-1", said["session"])
    subprocess.run(["sh", "-c", pressed], check=True, timeout=120)
    leave(daemon, signal.SIGKILL)
    _, said = processes.serve()
    to = ("--by", "ben", "--broker", said["broker"])
    told = processes.run("command", "41", "take_over", *to)
    assert "The driver waits for an answer: gap behind?" in told.stdout, told.stderr
    one = processes.run("command", "41", "answered", *to)
    assert "question 1 of" in one.stdout
    again = processes.run("command", "41", "answered", "question=1", *to)
    assert "answered already, by ben" in again.stdout
