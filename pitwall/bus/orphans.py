"""What is left of a daemon that was killed: its mosquitto, which still holds the port.

Each child is written down: its process id, its exact command line, and who started it. A number alone proves nothing,
for the system gives it to somebody else once the process is gone. So a process is ours only when its command line is
the one that was written down, which names a folder made for it alone; and it is an orphan only when its parent is no
longer the daemon that started it.
"""

from __future__ import annotations

import json
import os
import shutil
import threading
from dataclasses import asdict, dataclass
from pathlib import Path

import psutil
import structlog

from pitwall.errors import BrokerError

_log = structlog.get_logger(__name__)

FOLDER_PREFIX = "pitwall-mosquitto-"
CONFIGURATION = "mosquitto.conf"
_ENDS_WITHIN_S, _LOOKS = 3.0, 150


@dataclass(frozen=True)
class ChildRecord:
    """One running child: what a later daemon must know to recognise it."""

    pid: int
    owner: int
    command: tuple[str, ...]
    folder: str
    port: int

    def write(self, records: Path) -> Path:
        """Keep it in the folder of records.

        Raises:
            BrokerError: when that cannot be written.
        """
        path = records / f"mosquitto-{self.pid}.json"
        try:
            records.mkdir(parents=True, exist_ok=True)
            part = path.with_suffix(".part")
            part.write_text(json.dumps(asdict(self)), encoding="utf-8")
            os.replace(part, path)
        except OSError as problem:
            raise BrokerError(
                f"{records}: cannot be written ({problem.strerror}), so a mosquitto could not be found again after a "
                "crash: let PITWALL_STATE_DIR name a folder that you may write to"
            ) from problem
        return path


def read_record(path: Path) -> ChildRecord | None:
    """A record, or None when the file is none."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        return ChildRecord(int(found["pid"]), int(found["owner"]), tuple(map(str, found["command"])),
                           str(found["folder"]), int(found["port"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def child_of(record: ChildRecord) -> psutil.Process | None:
    """The living process of a record; None when it is gone or its number belongs to another process now."""
    try:
        process = psutil.Process(record.pid)
        if tuple(process.cmdline()) != record.command or process.status() == psutil.STATUS_ZOMBIE:
            return None
    except psutil.Error:
        return None
    return process


def is_orphan(process: psutil.Process, owner: int) -> bool:
    """True when the daemon that started it is gone."""
    try:
        parent = process.parent()
    except psutil.Error:
        return False
    return parent is None or parent.pid != owner


def end_orphans(records: Path) -> list[int]:
    """End every mosquitto that a dead daemon of ours left behind, and forget what is over.

    Blocks for some seconds at most. A child whose daemon lives is left alone, and so is whatever is not ours.

    Args:
        records: the folder of records.

    Returns:
        The ports that became free.
    """
    freed: list[int] = []
    for path in sorted(records.glob("mosquitto-*.json")) if records.is_dir() else []:
        record = read_record(path)
        if record is None:
            path.unlink(missing_ok=True)
            continue
        process = child_of(record)
        if process is not None and not is_orphan(process, record.owner):
            continue
        if process is not None:
            if not _ended(process):
                _log.warning("a mosquitto left behind cannot be ended", pid=record.pid, port=record.port)
                continue
            _log.warning("ended a mosquitto that a killed daemon left behind", pid=record.pid, port=record.port)
            freed.append(record.port)
        remove_folder(record.folder)
        path.unlink(missing_ok=True)
    return freed


def remove_folder(folder: str) -> None:
    """Remove a child's private folder; anything that does not look like one is left alone."""
    path = Path(folder)
    if path.name.startswith(FOLDER_PREFIX) and (path / CONFIGURATION).is_file():
        shutil.rmtree(path, ignore_errors=True)


def _ended(process: psutil.Process) -> bool:
    for ask in (process.terminate, process.kill):
        try:
            ask()
        except psutil.NoSuchProcess:
            return True
        except psutil.AccessDenied:
            return False
        for _ in range(_LOOKS):
            if _is_over(process):
                return True
            threading.Event().wait(_ENDS_WITHIN_S / _LOOKS)
    return False


def _is_over(process: psutil.Process) -> bool:
    # A process that ended stays listed until its parent asks; in a container nobody may ever do so.
    try:
        return not process.is_running() or process.status() == psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return True
