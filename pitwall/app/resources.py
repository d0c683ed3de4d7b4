"""Where the shipped files are: in the wheel under ``pitwall/_shipped``, in a checkout at its top level."""

from __future__ import annotations

from pathlib import Path

from pitwall.errors import UserError

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped(kind: str) -> Path:
    """The folder of shipped files of one kind, ``config`` or ``simulations``.

    Raises:
        UserError: when the installation lacks it.
    """
    for folder in (_PACKAGE / "_shipped" / kind, _PACKAGE.parent / kind):
        if folder.is_dir():
            return folder
    raise UserError(f"the folder {kind!r} that ships with pitwall is missing: install pitwall again")


def demo_event() -> Path:
    """The event file of the demo event.

    Raises:
        UserError: when the installation lacks it.
    """
    return shipped("config") / "event.yaml"


def find_shipped(kind: str, name: str) -> Path | None:
    """The shipped file of that name (with or without ``.yaml``), or None. Only plain names are looked up."""
    if not name or Path(name).name != name:
        return None
    folder = shipped(kind)
    return next((path for path in (folder / name, folder / f"{name}.yaml") if path.is_file()), None)
