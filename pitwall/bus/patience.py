"""Waiting for an answer without taking our own standstill for the silence of the other side.

A time-out counts real time. Where this loop stood still meanwhile (a busy machine, a large batch of facts), the answer
may lie unread in the socket, and a broker in this very loop had no turn to give one: measured, a standstill a little
longer than the time-out ended a healthy link, and with it whatever was under way.
"""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import TypeVar

_STEPS = 10

T = TypeVar("T")


class Unheard(Exception):
    """The other side did not answer in time."""


async def answered_within(work: Coroutine[None, None, T], seconds: float) -> T:
    """Wait for ``work`` in steps: a step in which the loop stood still, however long, counts as no more than one.

    Args:
        work: ends with the answer.
        seconds: how long to wait for it, in time in which this loop has its turns.

    Raises:
        Unheard: when there is none in time; the work is cancelled.
    """
    task = asyncio.ensure_future(work)
    try:
        for _ in range(_STEPS):
            await asyncio.wait({task}, timeout=seconds / _STEPS)
            if task.done():
                return task.result()
        raise Unheard("Operation timed out")
    finally:
        task.cancel()
