"""Turns on the one radio channel: calls whose windows overlap are begun one after the other.

A first, greedy version: the more important call keeps its moment, the other begins as soon as the channel is free,
if its window allows; a call that can wait (a question, a lap time) may wait a little longer than its window. What the
engineer already has before them keeps its time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from pitwall.engine.calls import PRIORITY, Call, CallSpec

GAP_S = 3.0  # read-back and a breath between two calls (common practice, no source)
CAN_WAIT: dict[str, float] = {"question": 20.0, "pace": 15.0, "run": 6.0}
"""How much later than its window a call of this kind may end, seconds."""


def take_turns(specs: Iterable[CallSpec], standing: Mapping[str, Call], horizon_s: float) -> list[CallSpec]:
    """The same calls with windows that do not all begin at once.

    Args:
        specs: what the rules want said.
        standing: the latest call under each key, where there is one.
        horizon_s: calls that begin later than this are left alone: their times will move anyway.
    """
    made: list[CallSpec] = []
    busy: list[tuple[float, float]] = []
    for spec in sorted(specs, key=lambda one: (-PRIORITY[one.kind], one.say_by_s, one.key)):
        call = standing.get(spec.key)
        if (call is not None and not call.open) or spec.say_from_s > horizon_s:
            made.append(spec)
            continue
        if call is None or call.state == "planned":
            spec = _after(spec, busy)
        made.append(spec)
        busy.append((spec.say_from_s, spec.say_from_s + spec.spoken_s + GAP_S))
    return made


def _after(spec: CallSpec, busy: list[tuple[float, float]]) -> CallSpec:
    begin = _free(spec.say_from_s, spec.spoken_s, busy)
    if begin <= spec.say_by_s:
        by = max(spec.say_by_s, min(begin + 4.0, spec.say_by_s + CAN_WAIT.get(spec.kind, 0.0)))
        return replace(spec, say_from_s=begin, say_by_s=by)
    if begin <= spec.say_by_s + CAN_WAIT.get(spec.kind, 0.0):
        return replace(spec, say_from_s=begin, say_by_s=spec.say_by_s + CAN_WAIT[spec.kind])
    earlier = _free_before(spec.say_by_s, spec, busy)
    return spec if earlier is None else replace(spec, say_from_s=earlier, say_by_s=max(earlier, spec.say_from_s))


def _free(begin: float, length: float, busy: list[tuple[float, float]]) -> float:
    """The earliest moment from ``begin`` on at which the channel is free for so long."""
    for start, end in sorted(busy):
        if begin < end and start < begin + length + GAP_S:
            begin = end
    return begin


def _free_before(by: float, spec: CallSpec, busy: list[tuple[float, float]]) -> float | None:
    """A moment up to a few calls earlier, where the driver can be told before the crowd; None where there is none."""
    if spec.act_at_s is None or spec.kind not in ("procedure", "switch"):
        return None
    first = min((start for start, end in busy if end > spec.say_from_s), default=by)
    return first - spec.spoken_s - GAP_S
