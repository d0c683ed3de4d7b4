"""mosquitto as a child: found, started on a free port, started again, ended; what a killed daemon left is ended too.

As root and as an ordinary user alike.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import psutil
import pytest
from structlog.testing import capture_logs

from pitwall.bus import mosquitto_files
from pitwall.bus.codec import Message
from pitwall.bus.mosquitto import ChildTimes, MosquittoBroker, _own_group
from pitwall.bus.mosquitto_files import MosquittoOptions, configuration, find_program, reaches, write_files
from pitwall.bus.mqtt import MqttBus
from pitwall.bus.orphans import ChildRecord, child_of, end_orphans, is_orphan, read_record, remove_folder
from pitwall.bus.users import account_of, logins_of
from pitwall.errors import BrokerError
from tests.contract.bus_rigs import QUICK, eventually, mosquitto

ROOT = Path(__file__).resolve().parents[2]
ANY_PORT = MosquittoOptions("127.0.0.1", 0)
WAIT_S = 60.0


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def _records(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.json"))


@contextmanager
def killed_daemon(records: Path, port: int = 0) -> Iterator[tuple[int, int]]:
    """A mosquitto whose daemon was killed: its pid and its port."""
    maker = Path(__file__).with_name("orphan_maker.py")
    daemon = subprocess.Popen([sys.executable, str(maker), str(records), str(port)], stdout=subprocess.PIPE, text=True,
                              cwd=ROOT)
    assert daemon.stdout is not None
    try:
        said = json.loads(daemon.stdout.readline())
    finally:
        daemon.kill()
        daemon.communicate()
    try:
        yield said["pid"], said["port"]
    finally:
        if psutil.pid_exists(said["pid"]) and psutil.Process(said["pid"]).name() == "mosquitto":
            os.kill(said["pid"], signal.SIGKILL)


# --- finding and writing ---------------------------------------------------------------------------------------------


def test_program_is_found_off_the_path_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The PATH comes first; then the places where packages put it, /usr/sbin among them."""
    assert "/usr/sbin" in mosquitto_files._BESIDE_PATH
    for folder in ("first", "beside"):
        (tmp_path / folder).mkdir()
        program = tmp_path / folder / "mosquitto"
        program.write_text("#!/bin/sh\n", encoding="utf-8")
        program.chmod(0o755)
    monkeypatch.setattr(mosquitto_files, "_BESIDE_PATH", (str(tmp_path / "beside"),))
    assert find_program(str(tmp_path / "first")) == str(tmp_path / "first" / "mosquitto")
    assert find_program(str(tmp_path / "nowhere")) == str(tmp_path / "beside" / "mosquitto")
    monkeypatch.setattr(mosquitto_files, "_BESIDE_PATH", ())
    assert find_program(str(tmp_path / "nowhere")) is None


def test_program_is_found_where_windows_installs_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On Windows the program folders are looked through."""
    asked: list[str | None] = []
    monkeypatch.setattr("sys.platform", "win32")
    monkeypatch.setenv("ProgramFiles", str(tmp_path / "Programs"))
    monkeypatch.setattr(shutil, "which", lambda name, path=None: asked.append(path))
    assert find_program() is None
    assert asked[1] is not None
    assert os.path.join(str(tmp_path / "Programs"), "mosquitto") in asked[1].split(os.pathsep)


def test_files_are_for_one_pair_of_eyes() -> None:
    """Folder 0700, files 0600, no token in the clear; as root all belong to the user that mosquitto becomes."""
    options = replace(ANY_PORT, port=1, logins=logins_of({"wall": account_of("viewer", "wall-token")}, "daemon-token"))
    path = write_files(options)
    try:
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
        files = sorted(path.parent.iterdir())
        assert [file.name for file in files] == ["mosquitto.conf", "passwords", "rights"]
        assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}
        assert len({file.stat().st_uid for file in (path.parent, *files)}) == 1
        text = "".join(file.read_text(encoding="utf-8") for file in files)
        assert "wall-token" not in text
        assert "daemon-token" not in text
        assert "allow_anonymous false" in text
        user = [line for line in text.splitlines() if line.startswith("user ") and line.split()[1] in
                ("mosquitto", "nobody", "root")]
        assert bool(user) is (os.geteuid() == 0)
    finally:
        remove_folder(str(path.parent))
    assert not path.parent.exists()


def test_configuration_names_listeners_and_bounds(tmp_path: Path) -> None:
    """Both listeners on the address asked for, small bursts at once, packets and queues bounded, nothing on disk."""
    lines = configuration(MosquittoOptions("10.0.0.5", 1883, 8083), tmp_path, None).splitlines()
    at = lines.index("listener 8083 10.0.0.5")
    assert lines[at + 1] == "protocol websockets"
    assert {"listener 1883 10.0.0.5", "allow_anonymous true", "set_tcp_nodelay true", "persistence false",
            "max_packet_size 2097152", "max_queued_messages 5000"} <= set(lines)
    assert not any(line.startswith(("user ", "password_file", "acl_file")) for line in lines)


def test_a_folder_behind_a_closed_one_is_not_reached(tmp_path: Path) -> None:
    """Each folder on the way counts: others pass an open one, not a closed one, its owner passes both."""
    inner = tmp_path / "closed" / "inner"
    inner.mkdir(parents=True, mode=0o755)
    owner, stranger = inner.stat().st_uid, 54_321
    (tmp_path / "closed").chmod(0o700)
    inner.chmod(0o755)
    assert not reaches(inner, stranger, stranger)
    assert reaches(inner, owner, inner.stat().st_gid) or owner != 0, "root's own folders are all root's to pass"
    (tmp_path / "closed").chmod(0o755)
    passable = all(place.stat().st_mode & stat.S_IXOTH for place in inner.resolve().parents)
    assert reaches(inner, stranger, stranger) is passable


async def test_child_starts_where_its_own_user_cannot_reach(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Temporary files in a folder closed to others: as root the child stays root there; it starts either way."""
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o700)
    monkeypatch.setattr(mosquitto_files.tempfile, "tempdir", str(closed))
    options = replace(ANY_PORT, logins=logins_of({}, "daemon-token"))
    async with MosquittoBroker(options, tmp_path / "records") as broker:
        (folder,) = closed.iterdir()
        text = (folder / "mosquitto.conf").read_text(encoding="utf-8")
        assert ("user root" in text) is (os.geteuid() == 0)
        bus = MqttBus(replace(broker.address, username="pitwall-daemon", password="daemon-token"), settings=QUICK)
        await bus.start()
        await bus.stop()
    assert list(closed.iterdir()) == []


# --- life ------------------------------------------------------------------------------------------------------------


async def test_child_starts_says_where_and_leaves_nothing(tmp_path: Path) -> None:
    """A free port, a record while it runs, its lines in our log; afterwards no process, no record, no folder."""
    with capture_logs() as logs:
        async with MosquittoBroker(replace(ANY_PORT, websocket_port=0), tmp_path) as broker:
            pid = broker.pid
            assert pid is not None
            (record,) = _records(tmp_path)
            found = read_record(record)
            assert found is not None
            assert (found.pid, found.owner, found.port) == (pid, os.getpid(), broker.address.port)
            assert _answers(broker.address.port)
            assert broker.websocket_address is not None
            assert broker.moved == ()
            await eventually(lambda: any("running" in str(line.get("says")) for line in logs), "its own words")
    assert broker.pid is None
    assert not _answers(broker.address.port)
    assert os.listdir(tmp_path) == []
    assert not os.access(found.folder, os.F_OK)
    assert child_of(found) is None


async def test_child_that_dies_is_started_again_on_its_port(tmp_path: Path) -> None:
    """Killed twice it comes back twice; a client of ours is back on its own, and publishes again what is retained."""
    async with MosquittoBroker(ANY_PORT, tmp_path, times=ChildTimes(first_wait_s=0.02)) as broker:
        bus = MqttBus(broker.address, settings=QUICK)
        bus.on_link(lambda up: bus.publish("state", b"here", retain=True) if up else None)
        await bus.start()
        port = broker.address.port
        for count in (1, 2):
            pid = broker.pid
            assert pid is not None
            with capture_logs() as logs:
                os.kill(pid, signal.SIGKILL)
                await eventually(lambda count=count: broker.restarts == count, "a restart", WAIT_S)  # type: ignore[misc]  # default binds now
            assert any("starting it again" in line["event"] and line["code"] == -9 for line in logs)
            assert broker.pid not in (None, pid)
            assert broker.address.port == port
            late = MqttBus(broker.address, settings=QUICK)
            heard: list[bytes] = []
            late.subscribe("state", lambda topic, payload, heard=heard: heard.append(payload))  # type: ignore[misc]  # default binds now
            await late.start()
            await eventually(lambda heard=heard: heard == [b"here"], "the state stated again", WAIT_S)  # type: ignore[misc]  # default binds now
            await late.stop()
        assert len(_records(tmp_path)) == 1
        await bus.stop()


def test_waits_between_restarts_grow_and_are_bounded() -> None:
    """Doubled from a tenth of a second up to five seconds."""
    times = ChildTimes()
    assert [times.wait_s(failures) for failures in (1, 2, 3, 6, 7, 500)] == [0.1, 0.2, 0.4, 3.2, 5.0, 5.0]


async def test_a_port_that_is_taken_meanwhile_is_tried_on(tmp_path: Path) -> None:
    """The child dies and somebody else takes its port: that one is left alone, ours waits and comes back after it."""
    times = ChildTimes(first_wait_s=0.02, longest_wait_s=0.05)
    async with MosquittoBroker(ANY_PORT, tmp_path, times=times) as broker:
        pid, port = broker.pid, broker.address.port
        assert pid is not None
        broker.program = "/nonexistent/mosquitto"  # cannot come back for now
        with capture_logs() as logs:
            os.kill(pid, signal.SIGKILL)
            await eventually(lambda: any("cannot be started again" in line["event"] for line in logs), "a failure")
            with socket.socket() as other:
                other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                other.bind(("127.0.0.1", port))
                other.listen()
                broker.program = find_program()
                seen = len(logs)
                await eventually(
                    lambda: any(f"took port {port}" in str(line.get("reason")) for line in logs[seen:]), "the reason",
                    WAIT_S,
                )
        assert broker.restarts == 0
        await eventually(lambda: broker.restarts == 1, "the return", WAIT_S)
        assert broker.address.port == port


async def test_a_foreign_broker_on_the_port_is_left_alone(tmp_path: Path) -> None:
    """Somebody's own mosquitto has the wanted ports: ours takes free ones and says so; theirs goes on undisturbed."""
    async with mosquitto(tmp_path) as port:
        theirs = MqttBus(f"mqtt://127.0.0.1:{port}", settings=QUICK)
        told: list[bool] = []
        theirs.on_link(told.append)
        await theirs.start()
        async with MosquittoBroker(replace(ANY_PORT, port=port, websocket_port=port), tmp_path / "records") as broker:
            assert broker.address.port != port
            assert broker.moved == (port, port)
        assert theirs.connected
        assert told == [True]
        await theirs.stop()


@pytest.mark.parametrize("host", ["127.0.0.1", "0.0.0.0"])
async def test_a_port_taken_on_another_address_counts(tmp_path: Path, host: str) -> None:
    """A listener on loopback is in the way of one on every address, and the reverse."""
    other = "0.0.0.0" if host == "127.0.0.1" else "127.0.0.1"
    with socket.socket() as taken:
        taken.bind((other, 0))
        taken.listen()
        port = taken.getsockname()[1]
        logins = logins_of({}, "daemon-token")
        async with MosquittoBroker(MosquittoOptions(host, port, logins=logins), tmp_path) as broker:
            assert broker.moved == (port,)
            assert broker.address.host == "127.0.0.1"


async def test_a_child_that_will_not_start_gives_its_own_reason(tmp_path: Path) -> None:
    """No program, one that cannot run, one that ends at once, an address that is not ours: each in words."""
    missing = MosquittoBroker(ANY_PORT, tmp_path)
    missing.program = None
    with pytest.raises(BrokerError, match=r"install it .*--broker embedded"):
        await missing.start()
    with pytest.raises(BrokerError, match="cannot be started"):
        await MosquittoBroker(ANY_PORT, tmp_path, "/nonexistent/mosquitto").start()
    grumpy = tmp_path / "grumpy"
    grumpy.write_text("#!/bin/sh\necho 'Error: not today'\nexit 3\n", encoding="utf-8")
    grumpy.chmod(0o755)
    with pytest.raises(BrokerError, match=r"does not start on 127\.0\.0\.1:.*Error: not today"):
        await MosquittoBroker(ANY_PORT, tmp_path / "records", str(grumpy)).start()
    assert os.listdir(tmp_path / "records") == []


async def test_a_child_that_never_listens_is_given_up(tmp_path: Path) -> None:
    """A program that runs and opens no port is ended after the time-out, by force if need be."""
    deaf = tmp_path / "deaf"
    deaf.write_text(f"#!{sys.executable}\nimport signal\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
                    "print('here', flush=True)\nsignal.pause()\n", encoding="utf-8")
    deaf.chmod(0o755)
    broker = MosquittoBroker(ANY_PORT, tmp_path / "records", str(deaf), ChildTimes(ready_s=0.5, end_s=0.2))
    with pytest.raises(BrokerError, match="does not start"):
        await broker.start()
    assert broker.pid is None


async def test_records_that_cannot_be_written_end_the_start(tmp_path: Path) -> None:
    """A child that could not be found again after a crash is not left running."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    broker = MosquittoBroker(ANY_PORT, tmp_path / "file")
    with pytest.raises(BrokerError, match="PITWALL_STATE_DIR"):
        await broker.start()
    assert broker.pid is None


async def test_ctrl_c_of_a_terminal_does_not_reach_the_child(tmp_path: Path) -> None:
    """It has a process group of its own, so the daemon's last word still finds a broker."""
    async with MosquittoBroker(ANY_PORT, tmp_path) as broker:
        assert broker.pid is not None
        assert os.getpgid(broker.pid) != os.getpgid(0)


def test_a_group_of_its_own_is_asked_for_in_the_systems_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """A new session where there are sessions, a flag on Windows."""
    assert _own_group("posix") == {"start_new_session": True}
    monkeypatch.setattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 512, raising=False)
    assert _own_group("nt") == {"creationflags": 512}


def test_files_are_written_where_there_are_no_users_to_become(monkeypatch: pytest.MonkeyPatch) -> None:
    """On Windows nobody is asked who starts it, and nothing is given to anybody."""
    monkeypatch.setattr("sys.platform", "win32")
    monkeypatch.delattr(os, "geteuid")
    monkeypatch.delattr(os, "chown")
    path = write_files(replace(ANY_PORT, port=1, logins=logins_of({}, "daemon-token")))
    assert "\nuser " not in path.read_text(encoding="utf-8")
    remove_folder(str(path.parent))


# --- orphans ---------------------------------------------------------------------------------------------------------


async def test_an_orphan_is_ended_and_its_port_used_again(tmp_path: Path) -> None:
    """A daemon was killed; its mosquitto lives on, and speaks the will of clients; the next start ends it, takes its
    port, and nothing of it is left."""
    with killed_daemon(tmp_path) as (pid, port):
        assert _answers(port), "it outlives its daemon"
        (record,) = _records(tmp_path)
        found = read_record(record)
        assert found is not None
        watcher, doomed = MqttBus(f"mqtt://127.0.0.1:{port}"), Message("health", b"offline", 1, True)
        heard: list[bytes] = []
        watcher.subscribe("health", lambda topic, payload: heard.append(payload))
        await watcher.start()
        lost = MqttBus(f"mqtt://127.0.0.1:{port}", will=doomed)
        await lost.start()
        assert lost._client is not None
        lost._client._client.socket().shutdown(socket.SHUT_RDWR)  # type: ignore[union-attr]  # a link that breaks
        await eventually(lambda: heard == [b"offline"], "the will, though nobody reads its log any more")
        await lost.stop()
        await watcher.stop()
        async with MosquittoBroker(replace(ANY_PORT, port=port), tmp_path) as broker:
            assert broker.address.port == port
            assert broker.moved == ()
            assert broker.pid != pid
            assert child_of(found) is None
            assert not os.access(found.folder, os.F_OK)
            assert _records(tmp_path) != [record]


async def test_a_child_whose_daemon_lives_is_no_orphan(tmp_path: Path) -> None:
    """A second daemon with the same records leaves the first one's child alone and takes another port."""
    async with MosquittoBroker(ANY_PORT, tmp_path) as first:
        async with MosquittoBroker(replace(ANY_PORT, port=first.address.port), tmp_path) as second:
            assert second.moved == (first.address.port,)
            assert len(_records(tmp_path)) == 2
        assert first.pid is not None
        assert _answers(first.address.port)


def test_a_number_that_went_to_somebody_else_is_never_ended(tmp_path: Path) -> None:
    """The record's number belongs to another process, mosquitto or not: only the record goes."""
    bystander = subprocess.Popen([sys.executable, "-c", "import signal; signal.pause()"])
    try:
        for command in (("/usr/sbin/mosquitto", "-c", "/tmp/pitwall-mosquitto-x/mosquitto.conf"), (sys.executable,)):
            record = ChildRecord(bystander.pid, 1, command, str(tmp_path / "pitwall-mosquitto-x"), 1883)
            path = record.write(tmp_path)
            assert end_orphans(tmp_path) == []
            assert not path.exists()
            assert bystander.poll() is None
    finally:
        bystander.kill()
        bystander.wait()


def test_a_process_that_cannot_be_ended_is_left_and_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another user's orphan: no rights to end it. It stays on record, and the log says so."""
    with killed_daemon(tmp_path) as (pid, port):
        def denied(process: psutil.Process) -> None:
            raise psutil.AccessDenied(process.pid)

        with monkeypatch.context() as patched, capture_logs() as logs:
            patched.setattr(psutil.Process, "terminate", denied)
            assert end_orphans(tmp_path) == []
        assert [(line["event"], line["pid"], line["port"]) for line in logs] == [
            ("a mosquitto left behind cannot be ended", pid, port)
        ]
        assert len(_records(tmp_path)) == 1
        assert end_orphans(tmp_path) == [port]


def test_records_that_make_no_sense_are_removed(tmp_path: Path) -> None:
    """A torn file or one of another shape; other files and a missing folder are no matter."""
    for number, text in enumerate(("", "{", "[]", '{"pid": "x"}', "null")):
        (tmp_path / f"mosquitto-{number}.json").write_text(text, encoding="utf-8")
    (tmp_path / "note.txt").write_text("mine", encoding="utf-8")
    assert end_orphans(tmp_path) == []
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]
    assert end_orphans(tmp_path / "nowhere") == []


def test_only_a_folder_of_ours_is_removed(tmp_path: Path) -> None:
    """A record that names another folder does no harm to it."""
    mine = tmp_path / "photographs"
    mine.mkdir()
    (mine / "mosquitto.conf").write_text("", encoding="utf-8")
    empty = tmp_path / "pitwall-mosquitto-of-another-kind"
    empty.mkdir()
    for folder in (mine, empty):
        remove_folder(str(folder))
        assert folder.exists()


def test_parenthood_decides_who_is_an_orphan() -> None:
    """A child of ours is none as long as we live, and one of anybody else's number would be."""
    child = subprocess.Popen([sys.executable, "-c", "import signal; signal.pause()"])
    try:
        process = psutil.Process(child.pid)
        assert not is_orphan(process, os.getpid())
        assert is_orphan(process, os.getpid() + 1)
    finally:
        child.kill()
        child.wait()
    assert not is_orphan(process, os.getpid() + 1), "a process that is gone is nobody's orphan"
