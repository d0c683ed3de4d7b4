"""The users file of a broker of ours: read with every fault at its line, written for its owner's eyes only."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Mapping
from pathlib import Path

from pitwall.app.filing import Files, display_name
from pitwall.app.settings import Settings, state_folder
from pitwall.bus.users import DAEMON, Account, Role, UsersFile, account_of, new_token
from pitwall.errors import FileProblem, UserError
from pitwall.model.base import SLUG_PATTERN

_HEAD = (
    "# Who may use the broker of pitwall serve. Written by pitwall users; only hashes of the tokens are kept.\n"
    "# Roles: feed (timing in), desk (commands in, reads all), viewer (reads all), admin (all).\n"
)


def users_file(settings: Settings, named: str | None = None) -> Path:
    """The users file: the one named, else the one of the settings, else ``users.yaml`` in the state folder."""
    if named is not None:
        return Path(named).expanduser()
    return settings.users.expanduser() if settings.users is not None else state_folder(settings) / "users.yaml"


def read_users(path: Path) -> Mapping[str, Account]:
    """The accounts of a users file.

    Raises:
        FileProblem: with every fault, at its line.
    """
    files = Files()
    filed = files.read(path, UsersFile)
    errors = [found for found in files.sorted_findings() if found.severity == "error"]
    if errors or filed.model is None:
        raise FileProblem(errors)
    return filed.model.accounts


def add_user(path: Path, name: str, role: Role) -> str:
    """Add a user; returns the token, which is kept nowhere else.

    Raises:
        UserError: when the name is taken or cannot be one.
        FileProblem: when the file that is there has faults.
    """
    if not re.fullmatch(SLUG_PATTERN, name) or name == DAEMON:
        raise UserError(f"{name!r} cannot be a user's name: 1 to 32 lower-case letters, digits or hyphens, and not "
                        f"{DAEMON}")
    accounts = dict(read_users(path)) if os.path.exists(path) else {}
    if name in accounts:
        raise UserError(f"{display_name(path)} has a user {name!r} already: remove it first for a new token "
                        f"(pitwall users remove {name})")
    token = new_token()
    _write(path, accounts | {name: account_of(role, token)})
    return token


def remove_user(path: Path, name: str) -> None:
    """Strike a user off.

    Raises:
        UserError: when there is none of that name.
        FileProblem: when the file has faults or is not there.
    """
    accounts = dict(read_users(path))
    if accounts.pop(name, None) is None:
        raise UserError(f"{display_name(path)} has no user {name!r}: it has {', '.join(sorted(accounts)) or 'none'}")
    _write(path, accounts)


def _write(path: Path, accounts: Mapping[str, Account]) -> None:
    lines = [_HEAD + "users: 1", "accounts:" if accounts else "accounts: {}"]
    for name, account in sorted(accounts.items()):
        # Quoted: a name of digits is a number in YAML.
        lines += [f'  "{name}":', f"    role: {account.role}", f'    token_sha256: "{account.token_sha256}"',
                  f"    token_mosquitto: '{account.token_mosquitto}'"]
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
        os.replace(part, path)
    except OSError as problem:
        raise UserError(
            f"{display_name(path)}: cannot be written ({problem.strerror}): name another with --file"
        ) from None


def open_to_others(path: Path) -> bool:
    """True where the system knows of permissions and others than the owner may read the file."""
    return sys.platform != "win32" and bool(path.stat().st_mode & 0o077)
