"""Where mosquitto is on this machine, and the files that a child of ours is started with.

Started by root, mosquitto becomes a user of its own before it reads the password file, so the private folder must be
that user's, in a place which that user can reach.
"""

from __future__ import annotations

import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pitwall.bus.orphans import CONFIGURATION, FOLDER_PREFIX
from pitwall.bus.users import Login, acl_file, password_file
from pitwall.errors import BrokerError

PACKET_BYTES = 2 * 1024 * 1024
QUEUED = 5000
_DROPS_TO = ("mosquitto", "nobody")

_BESIDE_PATH = (
    "/usr/sbin", "/usr/local/sbin", "/usr/local/bin", "/opt/homebrew/sbin", "/opt/homebrew/bin",
    "/home/linuxbrew/.linuxbrew/sbin", "/opt/local/sbin",
)  # fmt: skip
_WINDOWS_VARIABLES = ("ProgramFiles", "ProgramW6432", "ProgramFiles(x86)")


@dataclass(frozen=True)
class MosquittoOptions:
    """What a child is to offer. Without logins anybody may connect: for loopback only."""

    host: str
    port: int
    websocket_port: int | None = None
    logins: Mapping[str, Login] | None = field(default=None, repr=False)


def find_program(path: str | None = None) -> str | None:
    """The mosquitto program: on the PATH, else where packages put it, which is often off an ordinary user's PATH.

    Args:
        path: searched in the place of the environment's PATH.
    """
    elsewhere = list(_BESIDE_PATH)
    if sys.platform == "win32":
        elsewhere = [os.path.join(os.environ[name], "mosquitto") for name in _WINDOWS_VARIABLES if name in os.environ]
    return shutil.which("mosquitto", path=path) or shutil.which("mosquitto", path=os.pathsep.join(elsewhere))


def configuration(options: MosquittoOptions, folder: Path, user: str | None) -> str:
    """The text of the child's configuration.

    Args:
        options: ports as they really are (not 0).
        folder: where its files lie.
        user: whom it becomes when root starts it; None: not started by root.
    """
    lines = [
        "per_listener_settings false", f"listener {options.port} {options.host}", "protocol mqtt",
        *([] if options.websocket_port is None
          else [f"listener {options.websocket_port} {options.host}", "protocol websockets"]),
        f"allow_anonymous {'true' if options.logins is None else 'false'}",
        *([] if options.logins is None else [f"password_file {folder / 'passwords'}", f"acl_file {folder / 'rights'}"]),
        "set_tcp_nodelay true", "persistence false", "sys_interval 0", f"max_packet_size {PACKET_BYTES}",
        f"max_queued_messages {QUEUED}", "log_dest stderr", "log_timestamp false", "log_type error",
        "log_type warning", "log_type notice", "log_type information",
        *([] if user is None else [f"user {user}"]),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def write_files(options: MosquittoOptions) -> Path:
    """Make the private folder with everything in it; returns the configuration file.

    Raises:
        BrokerError: when it cannot be made.
    """
    try:
        folder = Path(tempfile.mkdtemp(prefix=FOLDER_PREFIX))
        user = _given_to(folder)
        if options.logins is not None:
            _write(folder / "passwords", password_file(options.logins), user)
            _write(folder / "rights", acl_file(options.logins), user)
        _write(folder / CONFIGURATION, configuration(options, folder, user), user)
    except OSError as problem:
        raise BrokerError(
            f"mosquitto's configuration cannot be written to {tempfile.gettempdir()} ({problem.strerror}): "
            "let TMPDIR name a folder that you may write to"
        ) from problem
    return folder / CONFIGURATION


def _write(path: Path, text: str, user: str | None) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
    _give(path, user)


def _given_to(folder: Path) -> str | None:
    """Give the folder to the user that mosquitto becomes; returns the user, or None when root does not start it.

    Where no such user can reach the folder, mosquitto stays root.
    """
    if sys.platform == "win32" or os.geteuid() != 0:
        return None
    import pwd

    for name in _DROPS_TO:
        try:
            entry = pwd.getpwnam(name)
            os.chown(folder, entry.pw_uid, entry.pw_gid)
        except (KeyError, OSError):
            continue
        if reaches(folder, entry.pw_uid, entry.pw_gid):
            return name
    os.chown(folder, 0, 0)
    return "root"


def _give(path: Path, user: str | None) -> None:
    if sys.platform != "win32" and user is not None:
        shutil.chown(path, user)


def reaches(folder: Path, uid: int, gid: int) -> bool:
    """True when a user may pass every folder from the root of the file system down to this one, by their modes."""
    for place in (folder, *folder.resolve().parents):
        found = place.stat()
        bit = stat.S_IXUSR if found.st_uid == uid else stat.S_IXGRP if found.st_gid == gid else stat.S_IXOTH
        if not found.st_mode & bit:
            return False
    return True
