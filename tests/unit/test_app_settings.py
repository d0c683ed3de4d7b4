"""The machine's settings and where journals are kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitwall.app.settings import Settings, journal_file, load_settings, state_folder
from pitwall.errors import UserError


def test_environment_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each setting comes from its variable, the rest keep their defaults."""
    monkeypatch.setenv("PITWALL_BROKER", "mqtt://10.0.0.5:1883")
    monkeypatch.setenv("PITWALL_PORT", "1999")
    settings = load_settings()
    assert (settings.broker, settings.port, settings.log_level) == ("mqtt://10.0.0.5:1883", 1999, "warning")


def test_broker_of_the_machine_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a broker of our own listens, for whom, and whom an mqtts:// one is trusted by; all have quiet defaults."""
    before = load_settings()
    assert (before.bind, before.websocket_port, before.users, before.ca_file) == ("127.0.0.1", None, None, None)
    for name, value in (("BIND", "0.0.0.0"), ("WEBSOCKET_PORT", "8083"), ("USERS", "u.yaml"), ("CA_FILE", "ca.pem")):
        monkeypatch.setenv(f"PITWALL_{name}", value)
    settings = load_settings()
    assert (settings.bind, settings.websocket_port) == ("0.0.0.0", 8083)
    assert (settings.users, settings.ca_file) == (Path("u.yaml"), Path("ca.pem"))


def test_every_bad_variable_is_reported_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two bad variables give two lines."""
    monkeypatch.setenv("PITWALL_PORT", "99999")
    monkeypatch.setenv("PITWALL_LOG_FORMAT", "xml")
    with pytest.raises(UserError) as caught:
        load_settings()
    lines = str(caught.value).splitlines()
    assert len(lines) == 2
    assert any("PITWALL_PORT" in line and "found '99999', expected 65535 or less" in line for line in lines)
    assert any("PITWALL_LOG_FORMAT" in line and "found 'xml', expected one of: json, console" in line for line in lines)
    monkeypatch.setenv("PITWALL_PORT", "abc")
    monkeypatch.setenv("PITWALL_LOG_FORMAT", "json")
    with pytest.raises(UserError, match=r"^environment variable PITWALL_PORT: found 'abc', expected a whole number$"):
        load_settings()


def test_state_folder_follows_the_setting_then_xdg_then_home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The setting wins; XDG_STATE_HOME comes next, unless it is relative; else the home folder."""
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "xdg"))
    assert state_folder(Settings(state_dir=tmp_path / "mine")) == tmp_path / "mine"
    assert state_folder(Settings()) == tmp_path / "xdg" / "pitwall"
    monkeypatch.setenv("XDG_STATE_HOME", "relative")
    assert state_folder(Settings()) == tmp_path / ".local" / "state" / "pitwall"
    monkeypatch.delenv("XDG_STATE_HOME")
    assert state_folder(Settings()) == tmp_path / ".local" / "state" / "pitwall"


def test_journal_file_is_one_per_event_and_session(tmp_path: Path) -> None:
    """The event's name becomes a safe folder name; one without any usable letter still gets a folder."""
    settings = Settings(state_dir=tmp_path)
    assert journal_file(settings, "Saltmarsh Park: Round 1", "practice-1") == (
        tmp_path / "saltmarsh-park-round-1" / "practice-1.sqlite"
    )
    assert journal_file(settings, "../..", "p").parent == tmp_path / "event"
