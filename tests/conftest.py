"""What every test leaves as it found it, and how seldom garbage is searched for meanwhile."""

from __future__ import annotations

import gc
import logging
from collections.abc import Iterator

import pytest
import structlog
from hypothesis import settings

from pitwall.app.logs import QUIET_LIBRARIES

# A change is judged by examples that are the same each time, so that it fails by its own fault alone; new examples are
# looked for with ``--hypothesis-profile explore`` (DEVELOPERS.md). No example is judged by the time that it takes.
settings.register_profile("same_examples", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None, print_blob=True)
settings.load_profile("same_examples")


def pytest_collection_finish() -> None:
    """What collecting the tests made stays to the end: searching all of it for garbage again and again, in each test
    and in each process that a test forks, took a seventh of the processor time of the replay and unit tests."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.fixture(autouse=True)
def _logs_as_they_were() -> Iterator[None]:
    """A command that runs within a test sets logging up for its process: the next test must not inherit that, or it
    captures no log and writes to a stream that is closed."""
    config = structlog.get_config()
    loggers = [logging.getLogger(), *(logging.getLogger(name) for name in QUIET_LIBRARIES)]
    levels = [logger.level for logger in loggers]
    yield
    structlog.configure(**config)
    root = logging.getLogger()
    root.handlers = [
        handler
        for handler in root.handlers
        if not isinstance(handler.formatter, structlog.stdlib.ProcessorFormatter)
    ]
    for logger, level in zip(loggers, levels, strict=True):
        logger.setLevel(level)
