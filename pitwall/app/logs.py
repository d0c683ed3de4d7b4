"""Logs go to standard error as JSON lines or as console lines; standard output belongs to the commands."""

from __future__ import annotations

import logging
import sys
from typing import Any

import structlog

QUIET_LIBRARIES = ("amqtt", "transitions", "aiomqtt", "paho", "asyncio")
"""Their chatter says nothing to an engineer: only errors pass unless the level is debug."""


def set_up_logs(format_: str | None = None, level: str = "warning") -> None:
    """Configure structlog and the standard library's logging once for the process.

    Args:
        format_: ``json``, ``console`` or None: console on a terminal, else JSON.
        level: the least level that is written: debug, info, warning or error.
    """
    chosen = format_ or ("console" if sys.stderr.isatty() else "json")
    number = logging.getLevelNamesMapping()[level.upper()]
    shared: list[Any] = [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.format_exc_info,
    ]
    last: Any = (
        structlog.processors.JSONRenderer(sort_keys=True)
        if chosen == "json"
        else structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty())
    )
    structlog.configure(
        processors=[*shared, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        wrapper_class=structlog.make_filtering_bound_logger(number),
        logger_factory=structlog.stdlib.LoggerFactory(),
        cache_logger_on_first_use=False,
    )
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, last],
        )
    )
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(number)
    for name in QUIET_LIBRARIES:
        logging.getLogger(name).setLevel(number if number <= logging.DEBUG else max(number, logging.CRITICAL))
