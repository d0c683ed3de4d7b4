"""Fewer searches for garbage while a rehearsal runs: what it makes it keeps to the end, so nearly nothing is found."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

YOUNG, MIDDLE, OLD = 500_000, 50, 1000
"""Objects made between two searches of the youngest; searches of each age between two of the next older."""


@contextmanager
def few_collections() -> Iterator[None]:
    """Search for garbage less often inside (measured: a rehearsal is some five per cent faster), as before after it."""
    before = gc.get_threshold()
    gc.set_threshold(YOUNG, MIDDLE, OLD)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def few_collections_to_the_end() -> None:
    """The same for the rest of a process that ends with its task: most of what it loads, reads and makes it keeps.

    Measured: what draws and prints is loaded in 0.36 s for 0.51, a test day's journal read in 0.13 s for 0.40.
    """
    gc.set_threshold(YOUNG, MIDDLE, OLD)
