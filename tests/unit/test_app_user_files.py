"""The users file and the command that writes it."""

from __future__ import annotations

import json
import stat
from pathlib import Path

import pytest

from pitwall.app.settings import Settings
from pitwall.app.user_files import add_user, read_users, remove_user, users_file
from pitwall.bus.users import sha256_of
from pitwall.cli.main import main
from pitwall.errors import FileProblem, UserError


def test_the_file_is_the_named_one_then_the_settings_then_the_state_folders(tmp_path: Path) -> None:
    """In this order."""
    settings = Settings(state_dir=tmp_path, users=tmp_path / "mine.yaml")
    assert users_file(settings, str(tmp_path / "named.yaml")) == tmp_path / "named.yaml"
    assert users_file(settings) == tmp_path / "mine.yaml"
    assert users_file(Settings(state_dir=tmp_path)) == tmp_path / "users.yaml"


def test_users_come_and_go(tmp_path: Path) -> None:
    """The folder is made; the file is for its owner alone, from the first byte; tokens are not in it."""
    path = tmp_path / "new" / "users.yaml"
    tokens = {name: add_user(path, name, "viewer") for name in ("wall", "7", "a-b")}
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    text = path.read_text(encoding="utf-8")
    assert not any(token in text for token in tokens.values())
    accounts = read_users(path)
    assert {name: account.token_sha256 for name, account in accounts.items()} == {
        name: sha256_of(token) for name, token in tokens.items()
    }
    for name in tokens:
        remove_user(path, name)
    assert read_users(path) == {}
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [other.name for other in path.parent.iterdir()] == ["users.yaml"]


@pytest.mark.parametrize("name", ["Wall", "a b", "", "x" * 33, "wall\n", "pitwall-daemon", "a:b"])
def test_a_name_that_cannot_be_is_refused(tmp_path: Path, name: str) -> None:
    """Capitals, spaces, colons, too long, a line end, the daemon's own name; nothing is written."""
    with pytest.raises(UserError, match="cannot be a user's name"):
        add_user(tmp_path / "users.yaml", name, "viewer")
    assert list(tmp_path.iterdir()) == []


def test_twice_the_same_name_and_an_unknown_one_are_refused(tmp_path: Path) -> None:
    """The first user's token still holds; the message for an unknown name lists those that there are."""
    path = tmp_path / "users.yaml"
    token = add_user(path, "wall", "viewer")
    with pytest.raises(UserError, match="pitwall users remove wall"):
        add_user(path, "wall", "admin")
    assert read_users(path)["wall"].token_sha256 == sha256_of(token)
    with pytest.raises(UserError, match="it has wall"):
        remove_user(path, "ghost")
    with pytest.raises(FileProblem, match="nowhere"):
        remove_user(tmp_path / "nowhere.yaml", "wall")


def test_a_file_with_faults_is_told_line_by_line_and_left_alone(tmp_path: Path) -> None:
    """Every fault with its line; adding to such a file is refused and changes nothing."""
    path = tmp_path / "users.yaml"
    add_user(path, "wall", "viewer")
    text = path.read_text(encoding="utf-8").replace("role: viewer", "role: veiwer").replace("$7$", "$6$")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileProblem) as caught:
        add_user(path, "desk-1", "desk")
    lines = str(caught.value).splitlines()
    assert len(lines) == 2
    assert ":6: accounts.wall.role: found 'veiwer'" in lines[0]
    assert "did you mean 'viewer'" in lines[0]
    assert ":8: accounts.wall.token_mosquitto" in lines[1]
    assert path.read_text(encoding="utf-8") == text


def test_another_kind_of_file_is_told(tmp_path: Path) -> None:
    """An event file in the users file's place is named as what it is."""
    path = tmp_path / "users.yaml"
    path.write_text("event: 1\nname: x\n", encoding="utf-8")
    with pytest.raises(FileProblem, match="an event file, expected a users file"):
        read_users(path)


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """One sentence with the remedy."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(UserError, match="cannot be written"):
        add_user(tmp_path / "file" / "users.yaml", "wall", "viewer")


def test_command_adds_lists_and_removes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The token alone goes to standard output, once; list shows names and roles; remove strikes off."""
    file = ["--file", str(tmp_path / "users.yaml")]
    assert main(["users", "add", "wall", "--role", "viewer", *file]) == 0
    said = capsys.readouterr()
    token = said.out.strip()
    assert sha256_of(token) == read_users(tmp_path / "users.yaml")["wall"].token_sha256
    assert token not in said.err
    assert "shown this once" in said.err
    assert main(["users", "add", "timing", "--role", "feed", "--json", *file]) == 0
    assert json.loads(capsys.readouterr().out)["role"] == "feed"
    assert main(["users", "list", *file]) == 0
    assert [line.split() for line in capsys.readouterr().out.splitlines()] == [["timing", "feed"], ["wall", "viewer"]]
    assert main(["users", "list", "--json", *file]) == 0
    assert json.loads(capsys.readouterr().out) == {"timing": "feed", "wall": "viewer"}
    assert main(["users", "remove", "timing", *file]) == 0
    assert "struck off" in capsys.readouterr().out
    assert main(["users", "remove", "timing", *file]) == 2
    assert "no user 'timing'" in capsys.readouterr().err


def test_command_needs_an_action_and_a_role(capsys: pytest.CaptureFixture[str]) -> None:
    """Left out, they are wrong usage."""
    for words in (["users"], ["users", "add", "wall"], ["users", "add", "wall", "--role", "driver"]):
        with pytest.raises(SystemExit) as stop:
            main(words)
        assert stop.value.code == 2
    assert "feed" in capsys.readouterr().err
