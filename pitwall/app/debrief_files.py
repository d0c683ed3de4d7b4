"""The pages of a debrief as files in a folder: each appears whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from pitwall.debrief.model import Debrief
from pitwall.debrief.pages import pages_of
from pitwall.errors import UserError

PAGE, PAPER = "debrief.html", "debrief.pdf"


def write_pages(debrief: Debrief, folder: Path) -> tuple[Path, ...]:
    """Write the page and the paper; older ones of the same name are replaced, for they say less.

    Raises:
        UserError: when the folder cannot be made or written to.
    """
    page, paper = pages_of(debrief)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return tuple(_placed(folder / name, content) for name, content in ((PAGE, page.encode()), (PAPER, paper)))
    except OSError as problem:
        why = problem.strerror or problem
        raise UserError(f"{folder}: cannot be written ({why}); give another folder") from problem


def _placed(path: Path, content: bytes) -> Path:
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path
