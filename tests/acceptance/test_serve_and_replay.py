"""`serve`, `replay` and `watch` as processes of their own, over MQTT: what an event day is made of."""

from __future__ import annotations

import asyncio
import json
import signal
import socket
from pathlib import Path

import pytest

from tests.acceptance.processes import ROOT, Processes, leave, until

RECORDING = ROOT / "tests" / "data" / "recording_small"


def _journaled(path: Path) -> int:
    from pitwall.journal.sqlite import read_journal

    return len(read_journal(path))


def test_event_day_from_recording_to_screen(processes: Processes) -> None:
    """A recording is replayed into a daemon; a watcher sees clock, field and prompts; all three end cleanly."""
    daemon, said = processes.serve()
    assert said["resumed"] is False
    seen_file = processes.folder / "seen.jsonl"
    watcher = processes.start("watch", "--broker", said["broker"], "--json", out=seen_file)
    until(lambda: seen_file.stat().st_size > 0)  # it is subscribed: retained state has come
    replayed = processes.run("replay", str(RECORDING), "--speed", "100", "--broker", said["broker"], "--json")
    assert replayed.returncode == 0, replayed.stderr
    sent = json.loads(replayed.stdout)
    assert sent["sent"] == sent["of"] > 1000
    assert sent["session"] == "practice-1"
    assert "the recording has cars 3, 7, 11, 15, the plan has 41, 58: the daemon follows the field" in replayed.stderr
    until(lambda: '"status":"finished"' in seen_file.read_text(encoding="utf-8"))
    code, out, err = leave(daemon, signal.SIGINT)
    assert (code, out) == (0, ""), err
    assert "goodbye" in err
    assert said["journal"] in err
    until(lambda: '"state":"offline"' in seen_file.read_text(encoding="utf-8"))
    code, _, err = leave(watcher)
    assert code == 0, err
    messages = [json.loads(line) for line in seen_file.read_text(encoding="utf-8").splitlines()]
    kinds = {message["type"] for message in messages}
    assert {"clock_state", "desk_state", "field_state", "plan_state", "prompt", "health"} <= kinds
    statuses = {message["status"] for message in messages if message["type"] == "clock_state"}
    assert {"waiting", "green", "finished"} <= statuses
    seen = {car["car"] for message in messages if message["type"] == "field_state" for car in message["cars"]}
    assert {"3", "7", "11", "15"} <= seen
    assert messages[-1]["type"] == "health"
    assert messages[-1]["state"] == "offline"
    assert "Traceback" not in err


def test_killed_daemon_goes_on_from_its_journal(processes: Processes) -> None:
    """SIGKILL in the middle of a session; started again the daemon says that it resumed, and no fact was lost."""
    daemon, said = processes.serve()
    journal = Path(said["journal"])
    feed = processes.start("replay", str(RECORDING), "--speed", "100", "--broker", said["broker"])
    until(lambda: journal.exists() and _journaled(journal) > 300)
    daemon.kill()
    daemon.communicate()
    before = _journaled(journal)
    feed.kill()
    feed.communicate()
    again, more = processes.serve()
    assert more["resumed"] is True
    assert more["journal"] == said["journal"]
    assert _journaled(journal) > before
    assert leave(again)[0] == 0


def test_changed_files_are_refused_and_fresh_starts_over(processes: Processes) -> None:
    """A journal of other files is not gone on with; --fresh keeps it and begins a new one."""
    journal = str(processes.folder / "day.sqlite")
    daemon, _ = processes.serve("event.yaml", "--journal", journal)
    assert leave(daemon)[0] == 0
    other = processes.run("serve", "event.yaml", "--session", "practice-2", "--port", "0", "--journal", journal)
    assert other.returncode == 2
    assert "session" in other.stderr
    assert "--fresh" in other.stderr
    assert "--journal" in other.stderr
    daemon, said = processes.serve("event.yaml", "--session", "practice-2", "--journal", journal, "--fresh")
    assert said["resumed"] is False
    assert leave(daemon)[0] == 0
    assert (processes.folder / "day.1.sqlite").exists()


def test_journal_in_use_is_refused(processes: Processes) -> None:
    """Two daemons on one journal: the second one says who holds it and ends with 1."""
    journal = str(processes.folder / "day.sqlite")
    daemon, _ = processes.serve("event.yaml", "--journal", journal)
    second = processes.run("serve", "event.yaml", "--port", "0", "--journal", journal)
    assert second.returncode == 1
    assert f"process {daemon.pid}" in second.stderr
    assert "--journal FILE" in second.stderr
    assert leave(daemon)[0] == 0


@pytest.mark.parametrize("command", [["replay", str(RECORDING)], ["rehearse", "short_demo", "--attach"]])
def test_no_broker_is_a_sentence(processes: Processes, command: list[str]) -> None:
    """Without a broker each client ends with 1 and one sentence that names the address."""
    address = "mqtt://127.0.0.1:9"
    option = [] if command[-1] == "--attach" else ["--broker"]
    done = processes.run(*command, *option, address)
    assert done.returncode == 1
    assert address in done.stderr
    assert "Traceback" not in done.stderr


def test_watch_waits_for_a_broker_that_is_not_there_yet(processes: Processes) -> None:
    """Watch says what it waits for, shows the daemon as soon as it is there, and Ctrl-C ends it at any time with 0."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    seen, address = processes.folder / "seen.txt", f"mqtt://127.0.0.1:{port}"
    watcher = processes.start("watch", "--broker", address, out=seen)
    assert watcher.stderr is not None
    assert address in watcher.stderr.readline()
    assert "waiting" in watcher.stderr.readline()
    daemon, _ = processes.serve("event.yaml", "--port", str(port))
    until(lambda: "online" in seen.read_text(encoding="utf-8"))
    assert leave(watcher, signal.SIGINT)[0] == 0
    assert leave(daemon)[0] == 0
    alone = processes.start("watch", "--broker", address)
    assert alone.stderr is not None
    alone.stderr.readline()
    code, _, err = leave(alone, signal.SIGINT)
    assert code == 0
    assert "Traceback" not in err


async def test_replay_on_a_broker_without_a_daemon_asks_for_the_session(processes: Processes) -> None:
    """When nobody speaks on the broker, replay says what to start or to give."""
    from pitwall.bus.broker import EmbeddedBroker

    async with EmbeddedBroker() as broker:
        command = ["replay", str(RECORDING), "--broker", str(broker.address)]
        done = await asyncio.to_thread(processes.run, *command)
    assert done.returncode == 2
    assert "--session" in done.stderr


def test_replay_of_nothing_names_the_folder(processes: Processes) -> None:
    """A folder that is not there is wrong usage, told before any link is made, session given or not."""
    for session in ([], ["--session", "practice-1"]):
        done = processes.run("replay", "nowhere", *session, "--broker", "mqtt://127.0.0.1:9")
        assert done.returncode == 2
        assert "nowhere: no such folder" in done.stderr
        assert "127.0.0.1" not in done.stderr


def test_faults_of_a_recording_are_told_before_the_brokers(processes: Processes) -> None:
    """A folder without a recording ends with 1 and names what is missing, though no broker answers either."""
    (processes.folder / "empty").mkdir()
    done = processes.run("replay", "empty", "--broker", "mqtt://127.0.0.1:9")
    assert done.returncode == 1
    assert "meta.json" in done.stderr
    assert "127.0.0.1" not in done.stderr


def test_journal_that_is_a_folder_is_wrong_usage(processes: Processes) -> None:
    """One sentence that says what to give; nothing is put beside or into the folder, nor is it put aside."""
    folder = processes.folder / "days"
    folder.mkdir()
    before = sorted(processes.folder.iterdir())
    for more in ([], ["--fresh"]):
        done = processes.run("serve", "event.yaml", "--port", "0", "--journal", str(folder), *more)
        assert done.returncode == 2
        assert f"{folder}: is a folder, give a file, for example {folder}" in done.stderr
        assert "damaged" not in done.stderr
    assert sorted(processes.folder.iterdir()) == before
    assert list(folder.iterdir()) == []
