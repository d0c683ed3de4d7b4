"""Settings of the machine, not of the event: read from the environment, prefix ``PITWALL_``.

What belongs to the event (lead times, forecast) stands in the event's own settings file in ``config/``.
"""

from __future__ import annotations

import os
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from pitwall.app.plain_words import findings_from
from pitwall.errors import UserError, path_text


class Settings(BaseSettings):
    """One machine's settings; every command-line option wins over them."""

    model_config = SettingsConfigDict(env_prefix="PITWALL_", frozen=True, extra="ignore")

    log_format: Literal["json", "console"] | None = None
    log_level: Literal["debug", "info", "warning", "error"] = "warning"
    broker: str = Field(
        default="embedded", description="embedded, mosquitto, auto, or an address such as mqtt://192.168.1.5:1883"
    )
    port: int = Field(default=1883, ge=0, le=65_535, description="of a broker of our own in serve; 0: any free one")
    websocket_port: int | None = Field(default=None, ge=0, le=65_535, description="also listen for WebSockets there")
    bind: str = Field(default="127.0.0.1", description="IPv4 address that a broker of our own listens on")
    users: Path | None = Field(default=None, description="the users file of a broker of our own")
    ca_file: Path | None = Field(default=None, description="PEM file of an mqtts:// broker's authority")
    state_dir: Path | None = Field(default=None, description="where journals are kept")


def load_settings() -> Settings:
    """Read the environment.

    Raises:
        UserError: naming each variable that cannot be used and what was expected.
    """
    try:
        return Settings()
    except ValidationError as error:
        given = {str(part): item["input"] for item in error.errors() for part in item["loc"][:1]}
        lines = [
            f"environment variable PITWALL_{path_text(found.path).upper()}: {replace(found, path=()).text()}"
            for found in findings_from(error, given, Settings)
        ]
        raise UserError("\n".join(lines)) from error


def state_folder(settings: Settings) -> Path:
    """Where journals live: the setting, else ``$XDG_STATE_HOME/pitwall``, else ``~/.local/state/pitwall``."""
    if settings.state_dir is not None:
        return settings.state_dir.expanduser()
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", str(Path.home() / "AppData" / "Local"))) / "pitwall"
    base = os.environ.get("XDG_STATE_HOME")
    # The XDG rules say that a relative path there is to be ignored.
    root = Path(base) if base and Path(base).is_absolute() else Path.home() / ".local" / "state"
    return root / "pitwall"


DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))})
"""Names that Windows keeps for devices, with any ending."""


def file_name(text: str) -> str:
    """A name that every file system takes: lower-case letters, digits and hyphens, and no device of Windows."""
    name = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "event"
    return f"{name}-" if name in DEVICES else name


def event_folder(settings: Settings, event: str) -> Path:
    """Where everything that is kept of one event lies."""
    return state_folder(settings) / file_name(event)


def journal_file(settings: Settings, event: str, session: str) -> Path:
    """The journal of one session of one event."""
    # A session's name is one already, but for the devices.
    return event_folder(settings, event) / f"{file_name(session) if session in DEVICES else session}.sqlite"
