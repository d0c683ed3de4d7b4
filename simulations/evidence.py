"""The evidence of one instant rehearsal, for scores that make hundreds of them in a process.

Not by ``asyncio.run``: it puts a handler of Ctrl-C in and out around the work, the library builds an error from the
handler's text each time, and that text holds all of the task's result. To write a whole rehearsal out takes a fiftieth
of the time of making it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Any

from pitwall.app.scenarios import Rehearsal, load_rehearsal
from pitwall.app.wiring import Evidence, instant_evidence


@lru_cache
def loaded(scenario: str) -> Rehearsal:
    """The scenario with its files: read once in each process."""
    return load_rehearsal(scenario)


def evidence_of(scenario: str, seed: int, **how: Callable[..., Any]) -> Evidence:
    """Rehearse a scenario with a seed; ``how`` as for ``instant_evidence``."""
    loop = asyncio.new_event_loop()
    try:
        return loop.run_until_complete(instant_evidence(replace(loaded(scenario), seed=seed), **how))
    finally:
        loop.close()
