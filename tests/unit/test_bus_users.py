"""Users of a broker of ours: the matrix of rights, the two forms of a token, and mosquitto's files made from them."""

from __future__ import annotations

import base64
import subprocess
from pathlib import Path

import pytest
from pydantic import ValidationError

from pitwall.bus.broker import users_from
from pitwall.bus.mosquitto_files import find_program
from pitwall.bus.topics import TOPICS, covers, filter_of, filters
from pitwall.bus.users import (
    DAEMON,
    RIGHTS,
    Account,
    UsersFile,
    account_of,
    acl_file,
    logins_of,
    mosquitto_form,
    new_token,
    password_file,
    sha256_of,
)


def _allowed(patterns: tuple[str, ...], wanted: str) -> bool:
    return any(covers(pattern, wanted) for pattern in patterns)


def test_each_sender_of_the_topic_table_has_a_role_that_may_send() -> None:
    """Every fact and command of the wire may be published by feed or desk and not by both; no decision by either."""
    for row in TOPICS:
        topic_filter = filter_of("practice-1", row)
        senders = {role for role in ("feed", "desk", "viewer") if _allowed(RIGHTS[role].publish, topic_filter)}
        wanted = set() if row.direction == "out" else {"desk"} if row.pattern.startswith("desk/") else {"feed"}
        assert senders == wanted, row.pattern
        assert _allowed(RIGHTS["admin"].publish, topic_filter)


def test_who_may_read_what() -> None:
    """Desk, viewer and admin read all that the daemon says; a feed its health, the clock and what was refused."""
    out = filters("practice-1", "out")
    for role in ("desk", "viewer", "admin"):
        assert all(_allowed(RIGHTS[role].read, topic_filter) for topic_filter in out)
    read = [topic_filter for topic_filter in out if _allowed(RIGHTS["feed"].read, topic_filter)]
    assert read == [f"pitwall/1/practice-1/{leaf}" for leaf in ("clock", "health", "refused")]


def test_tokens_are_long_random_and_safe_in_an_address() -> None:
    """32 bytes, never the same twice, no character that an address gives a meaning."""
    tokens = {new_token() for _ in range(50)}
    assert len(tokens) == 50
    for token in tokens:
        assert len(base64.urlsafe_b64decode(token + "=")) == 32
        assert not set(token) & set(":/@#?%")


def test_mosquitto_form_is_the_one_that_mosquittos_own_program_writes(tmp_path: Path) -> None:
    """Checked against mosquitto_passwd: for the salt that it chose, our line is its line."""
    path = tmp_path / "passwords"
    path.touch()
    subprocess.run(["mosquitto_passwd", "-b", str(path), "wall", "a-token_of-ours"], check=True, capture_output=True)
    name, _, written = path.read_text(encoding="utf-8").strip().partition(":")
    assert name == "wall"
    salt = base64.b64decode(written.split("$")[3])
    assert mosquitto_form("a-token_of-ours", salt) == written
    assert find_program() is not None, "the package that brings mosquitto_passwd brings mosquitto"


def test_an_account_keeps_no_token() -> None:
    """The file holds two hashes; two accounts of one token differ in their salted form."""
    token = new_token()
    account = account_of("desk", token)
    assert token not in account.model_dump_json()
    assert account.token_sha256 == sha256_of(token)
    assert account.token_mosquitto != account_of("desk", token).token_mosquitto


def test_logins_are_the_users_and_the_daemon() -> None:
    """The daemon is a user that may do all; both brokers are told the same people and rights."""
    logins = logins_of({"wall": account_of("viewer", "a"), "timing": account_of("feed", "b")}, "c")
    assert set(logins) == {"wall", "timing", DAEMON}
    users = users_from(logins)
    assert users["wall"].may_publish == ()
    assert users[DAEMON].may_publish == ("#",)
    assert [line.partition(":")[0] for line in password_file(logins).splitlines()] == [DAEMON, "timing", "wall"]
    rules = acl_file(logins)
    assert rules.index("user timing") < rules.index("topic write pitwall/1/+/timing/#") < rules.index("user wall")
    assert "topic write" not in rules[rules.index("user wall"):]


def _one(**changed: str) -> object:
    return {"users": 1, "accounts": {"wall": account_of("desk", "t").model_dump() | changed}}


@pytest.mark.parametrize(
    "wrong",
    [
        {"users": 2},
        {"users": 1, "accounts": {"Wall Screen": account_of("viewer", "t").model_dump()}},
        {"users": 1, "accounts": {DAEMON: account_of("viewer", "t").model_dump()}},
        _one(role="driver"),
        _one(token_mosquitto="secret"),
        _one(token_mosquitto="$7$1$a$b\nghost:$7$1$a$b"),
        _one(token_sha256="0" * 63),
    ],
)
def test_a_users_file_that_cannot_be_is_refused(wrong: object) -> None:
    """Another version, a name with spaces, the daemon's own name, an unknown role, a token in the clear, two lines."""
    with pytest.raises(ValidationError):
        UsersFile.model_validate(wrong)


def test_account_of_a_viewer_round_trips() -> None:
    """What is written is what is read."""
    account = account_of("viewer", "t")
    assert Account.model_validate_json(account.model_dump_json()) == account
