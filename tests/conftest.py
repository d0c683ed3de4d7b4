"""What every test leaves as it found it."""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest
import structlog

from pitwall.app.logs import QUIET_LIBRARIES


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
