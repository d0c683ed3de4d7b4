"""The pages of a debrief as files in a folder: each appears whole or not at all."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import Connection
from pathlib import Path
from types import TracebackType

from pitwall.app.memory import few_collections_to_the_end
from pitwall.debrief.model import Debrief
from pitwall.debrief.pages import load_all, page_of, paper_of
from pitwall.errors import UserError
from pitwall.runtime.adviser import live_by

PAGE, PAPER = "debrief.html", "debrief.pdf"


class PageMakers:
    """Two processes that make page and paper side by side, and load what they need while the journal is still read.

    What they load costs as much as all the drawing. Where no process can be started the pages are made here.
    """

    def __init__(self) -> None:
        # Not a fork: what calls us may have threads, and one of them may hold a lock at that moment.
        context = multiprocessing.get_context("spawn")
        theirs, self._lifeline = context.Pipe(duplex=False)
        self._pool = ProcessPoolExecutor(2, mp_context=context, initializer=_behind, initargs=(theirs,))
        self._loading: list[Future[None]] = []

    def __enter__(self) -> PageMakers:
        """Start both."""
        with contextlib.suppress(OSError, BrokenProcessPool):
            self._loading = [self._pool.submit(load_all) for _ in range(2)]
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, at: TracebackType | None) -> None:
        """End both, at once; nothing of them is left for Python's own end to trip over."""
        self._lifeline.close()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def pages_of(self, debrief: Debrief) -> tuple[str, bytes]:
        """The HTML page and the PDF."""
        try:
            page, paper = self._pool.submit(page_of, debrief), self._pool.submit(paper_of, debrief)
            return page.result(), paper.result()
        except (OSError, BrokenProcessPool):
            return page_of(debrief), paper_of(debrief)


def _behind(lifeline: Connection) -> None:
    """In a process for pages: let who reads the journal go first, for with three of us two cores are one too few."""
    if hasattr(os, "nice"):
        os.nice(10)
    few_collections_to_the_end()
    live_by(lifeline)


def write_pages(debrief: Debrief, folder: Path, makers: PageMakers) -> tuple[Path, ...]:
    """Write the page and the paper; older ones of the same name are replaced, for they say less.

    Raises:
        UserError: when the folder cannot be made or written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise _refused(folder, problem) from problem
    page, paper = makers.pages_of(debrief)
    try:
        return tuple(_placed(folder / name, content)
                     for name, content in zip(names_of(debrief), (page.encode(), paper), strict=True))
    except OSError as problem:
        raise _refused(folder, problem) from problem


def names_of(debrief: Debrief) -> tuple[str, str]:
    """What page and paper are called: those of a run stand beside those of the whole session."""
    if debrief.run is None:
        return PAGE, PAPER
    stem = f"debrief-{debrief.cars[0].car}-{debrief.run}"
    return f"{stem}.html", f"{stem}.pdf"


def _refused(folder: Path, problem: OSError) -> UserError:
    return UserError(f"{folder}: cannot be written ({problem.strerror or problem}); give another folder")


def _placed(path: Path, content: bytes) -> Path:
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path
