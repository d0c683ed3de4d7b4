"""Who may use a broker of ours: users with a role each, what a role may say and hear, and the two forms of a token.

A token is 32 random bytes, so it needs no slow hash. The embedded broker compares its SHA-256; mosquitto wants its own
form of PBKDF2, which cannot be made from that, so the users file holds both. The token itself is stored nowhere.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from pitwall.bus.topics import ROOT, covers
from pitwall.model.base import Frozen, Slug

Role = Literal["feed", "desk", "viewer", "admin"]

DAEMON = "pitwall-daemon"
"""The daemon's own user on a broker with users: made anew, with a fresh token, each time."""

TOKEN_BYTES = 32
_MOSQUITTO_FORM = r"^\$7\$[0-9]{1,7}\$[0-9A-Za-z+/=]+\$[0-9A-Za-z+/=]+$"
_SALT_BYTES, _ROUNDS, _HASH_BYTES = 12, 101, 64


@dataclass(frozen=True)
class Rights:
    """Topic filters: what one may publish, and what one may read."""

    publish: tuple[str, ...]
    read: tuple[str, ...]


_EVERYTHING = (f"{ROOT}/#",)

RIGHTS: dict[Role, Rights] = {
    "feed": Rights(
        publish=tuple(f"{ROOT}/+/{branch}/#" for branch in ("timing", "car", "radio")),
        read=tuple(f"{ROOT}/+/{leaf}" for leaf in ("health", "clock", "refused")),
    ),
    "desk": Rights(publish=(f"{ROOT}/+/desk/+/command",), read=_EVERYTHING),
    "viewer": Rights(publish=(), read=_EVERYTHING),
    "admin": Rights(publish=("#",), read=("#",)),
}
"""The matrix. A feed hears whether the daemon is there and what of its own was refused, not the team's plans."""

DAEMON_RIGHTS = Rights(publish=("#",), read=("#",))

OPEN_ROLE: Role = "desk"
"""What everybody is on a broker of ours without users: it listens on this machine alone."""


def may_command(role: Role) -> bool:
    """True where the matrix lets a user of this role publish commands of the desk."""
    return _all_of(RIGHTS["desk"].publish, RIGHTS[role].publish)


def may_look_on(role: Role) -> bool:
    """True where the matrix lets a user of this role read all that the daemon says."""
    return _all_of(RIGHTS["viewer"].read, RIGHTS[role].read)


def _all_of(wanted: tuple[str, ...], given: tuple[str, ...]) -> bool:
    return all(any(covers(may, one) for may in given) for one in wanted)


class Account(Frozen):
    """One user of the users file."""

    role: Role = Field(description="feed: timing in; desk: commands in, reads all; viewer: reads all; admin: all")
    token_sha256: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")] = Field(
        description="SHA-256 of the token, as pitwall users add writes it"
    )
    token_mosquitto: Annotated[str, StringConstraints(pattern=_MOSQUITTO_FORM)] = Field(
        description="the token in the form of mosquitto's password file, as pitwall users add writes it"
    )


class UsersFile(Frozen):
    """The users file. `pitwall users` writes it."""

    users: Literal[1]
    accounts: dict[Slug, Account] = Field(default_factory=dict, max_length=200)

    @model_validator(mode="after")
    def _daemon_is_ours(self) -> Self:
        if DAEMON in self.accounts:
            raise ValueError(f"accounts has {DAEMON!r}, the name that the daemon itself goes by: choose another")
        return self


@dataclass(frozen=True)
class Login:
    """One user as a broker is told of it."""

    rights: Rights
    token_sha256: str
    token_mosquitto: str


def new_token() -> str:
    """A token of 32 random bytes, in letters, digits, ``-`` and ``_``: it can stand in an address as it is."""
    return base64.urlsafe_b64encode(os.urandom(TOKEN_BYTES)).rstrip(b"=").decode()


def sha256_of(token: str) -> str:
    """The form that the embedded broker compares."""
    return hashlib.sha256(token.encode()).hexdigest()


NOBODYS_TOKEN = sha256_of("")


def role_of(accounts: Mapping[str, Account], name: str, token: str) -> Role | None:
    """The role of the user of that name, where this is the token; else None.

    Compared in the same time whatever is wrong, so that nobody learns from it which names there are.
    """
    account = accounts.get(name)
    kept = account.token_sha256 if account is not None else NOBODYS_TOKEN
    same = hmac.compare_digest(kept, sha256_of(token))
    return account.role if account is not None and same else None


def mosquitto_form(token: str, salt: bytes | None = None) -> str:
    """The form of mosquitto's password file: ``$7$``, rounds, salt and PBKDF2-HMAC-SHA512 (RFC 8018), in base 64.

    Args:
        token: the token.
        salt: random when left out.
    """
    salt = os.urandom(_SALT_BYTES) if salt is None else salt
    made = hashlib.pbkdf2_hmac("sha512", token.encode(), salt, _ROUNDS, _HASH_BYTES)
    return f"$7${_ROUNDS}${base64.b64encode(salt).decode()}${base64.b64encode(made).decode()}"


def account_of(role: Role, token: str) -> Account:
    """What the users file keeps of a new user."""
    return Account(role=role, token_sha256=sha256_of(token), token_mosquitto=mosquitto_form(token))


def logins_of(accounts: Mapping[str, Account], daemon_token: str) -> dict[str, Login]:
    """Everybody whom a broker lets in: the users of the file, and the daemon."""
    logins = {
        name: Login(RIGHTS[account.role], account.token_sha256, account.token_mosquitto)
        for name, account in accounts.items()
    }
    return logins | {DAEMON: Login(DAEMON_RIGHTS, sha256_of(daemon_token), mosquitto_form(daemon_token))}


def password_file(logins: Mapping[str, Login]) -> str:
    """mosquitto's password file."""
    return "".join(f"{name}:{login.token_mosquitto}\n" for name, login in sorted(logins.items()))


def acl_file(logins: Mapping[str, Login]) -> str:
    """mosquitto's file of access rules. A user without a line in it may do nothing."""
    lines: list[str] = []
    for name, login in sorted(logins.items()):
        lines += [f"user {name}", *(f"topic write {each}" for each in login.rights.publish),
                  *(f"topic read {each}" for each in login.rights.read), ""]
    return "\n".join(lines)
