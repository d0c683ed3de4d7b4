"""Verdicts on must-say calls, from plain truth: who talked when, when the driver could listen, what was owed by when.

A *duty* is something that must be said: a box call, a put-back before a timed lap, news from race control. It is
**possible** when it is part of a best schedule of all duties of this car, each in its short form if need be, with the
driver's own unasked talk and the braking and cornering of the real lap as they were, and with ``ROOM_S`` to hit each
start. It is **in window** when a call for it was begun and ended within
one stretch in which the driver could listen, after it was known and before its deadline.

A miss is put to the engineer of the world (``person``) by one rule only: the first ``REACTS_S`` after the published
window opened onto a free channel were good throughout (begun at any moment of them, the call would have been in
window), and the engineer began nothing in them. A window that opens on a bad moment, that is too short, or that opens
while the product's own less important call is on the air, is the product's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from pitwall.model.outputs import Prompt
from pitwall.rehearsal.truth import Span
from simulations.score_radio_optimum import Job, schedule

EDGE_S = 0.25     # a syllable that is lost at either end of a sentence harms nobody (common practice, no source)
GAP_S = 1.8       # a pause and a readback between two calls (the world's median)
LISTENS_S = 0.35  # after another voice
ROOM_S = 2.0      # a start that must be hit more closely is luck: 1.4 s of reaction to a call that is awaited (the
                  # world's 99th percentile) and half a second of doubt about where the car is
READS_S = 1.0     # news from race control is read before it is spoken (the world's median)
REACTS_S = 3.0    # an engineer who is ready begins within this (the world's 90th percentile is below)
STEP_S = 0.1
Kind = Literal["box", "put_back", "session"]
OPEN = ("shown", "due")


@dataclass(frozen=True)
class Duty:
    """Something that must be said.

    ``calls`` are ids of the product's calls that say it; none: it made no such call. ``length_s`` is how long it really
    was, ``least_s`` how long its short form would have been. ``useful_s``: said earlier it would be forgotten,
    so nobody need have had the room earlier; who says it earlier all the same, in a good place, has said it.
    """

    key: str
    kind: Kind
    known_s: float
    deadline_s: float
    length_s: float
    calls: tuple[str, ...] = ()
    least_s: float | None = None
    about: str = ""
    useful_s: float = float("-inf")


@dataclass(frozen=True)
class Voice:
    """A voice on the channel; ``call`` is what was said, read back or answered, empty for unasked talk."""

    start_s: float
    end_s: float
    call: str = ""


@dataclass(frozen=True)
class CarDay:
    """One car's session: ``listening`` None where it is unknown."""

    duties: tuple[Duty, ...]
    said: tuple[Voice, ...]
    driver: tuple[Voice, ...]
    listening: tuple[Span, ...] | None
    prompts: Mapping[str, tuple[Prompt, ...]] = field(default_factory=dict)

    def calm(self, start_s: float, end_s: float, edge_s: float = 0.0) -> bool:
        """True when all of this lies in one stretch in which the driver could listen."""
        assert self.listening is not None
        return any(begin - edge_s <= start_s and end_s <= end + edge_s for begin, end in self.listening)


@dataclass(frozen=True)
class Verdict:
    """What became of one duty."""

    duty: Duty
    possible: bool
    in_window: bool
    person: bool = False
    cause: str = ""
    best_s: float | None = None


def judge(day: CarDay) -> tuple[Verdict, ...]:
    """Every duty of a day with known listening stretches, in their order.

    Raises:
        ValueError: when the listening stretches are unknown: then nothing can be judged.
    """
    if day.listening is None:
        raise ValueError("the listening stretches are unknown on this circuit: nothing is judged")
    met = {duty.key: _met(day, duty) for duty in day.duties}
    # Of two best schedules the one with what was really met counts: a choice as good as another is no miss.
    jobs = [Job(duty.key, min(duty.length_s, duty.least_s or duty.length_s), _starts(day, duty),
                1.0 + 0.001 * met[duty.key]) for duty in day.duties]
    best = schedule(jobs, GAP_S)
    return tuple(_verdict(day, duty, best.get(duty.key), met[duty.key]) for duty in day.duties)


def _verdict(day: CarDay, duty: Duty, best_s: float | None, met: bool) -> Verdict:
    if met:
        # Said in window it was possible, whatever the schedule without tolerance finds.
        return Verdict(duty, True, True, best_s=best_s)
    if best_s is None:
        return Verdict(duty, False, False, cause="not possible")
    return Verdict(duty, True, False, _persons(day, duty), _cause(day, duty), best_s)


def _met(day: CarDay, duty: Duty) -> bool:
    """The first time that it was said decides: said again in a better place, it has disturbed the driver already."""
    first = min((voice for voice in day.said if voice.call in duty.calls), key=lambda one: one.start_s, default=None)
    return (first is not None and first.start_s >= duty.known_s and first.end_s <= duty.deadline_s
            and day.calm(first.start_s, first.end_s, EDGE_S))


def _starts(day: CarDay, duty: Duty) -> tuple[Span, ...]:
    """When the call may be begun: known, in one listening stretch, over by the deadline, not over the driver's talk."""
    assert day.listening is not None
    length = duty.length_s if duty.least_s is None else min(duty.least_s, duty.length_s)
    known = max(duty.known_s + (READS_S if duty.kind == "session" else 0.0), duty.useful_s)
    spans = [(max(begin, known), min(end, duty.deadline_s) - length) for begin, end in day.listening]
    for voice in day.driver:
        if not voice.call:
            spans = _without(spans, (voice.start_s - length, voice.end_s + LISTENS_S))
    return tuple((begin, last) for begin, last in spans if last >= begin + ROOM_S)


def _without(spans: Sequence[Span], cut: Span) -> list[Span]:
    return [piece for begin, end in spans for piece in ((begin, min(end, cut[0])), (max(begin, cut[1]), end))
            if piece[0] <= piece[1]]


# -- whose fault, and why ------------------------------------------------------------------------------------------


def openings(history: Sequence[Prompt]) -> list[Span]:
    """When the prompt as published allowed the call to be begun."""
    spans: list[Span] = []
    for number, prompt in enumerate(history):
        until = history[number + 1].t if number + 1 < len(history) else prompt.say_by_s
        if prompt.state in OPEN:
            begin, end = max(prompt.t, prompt.say_from_s), min(until, prompt.say_by_s)
            if spans and begin <= spans[-1][1] + STEP_S:
                spans[-1] = (spans[-1][0], max(end, spans[-1][1]))
            elif end >= begin:
                spans.append((begin, end))
    return spans


def _good(day: CarDay, duty: Duty, start_s: float) -> bool:
    end_s = start_s + duty.length_s
    return start_s >= duty.known_s and end_s <= duty.deadline_s and day.calm(start_s, end_s)


def _persons(day: CarDay, duty: Duty) -> bool:
    opened = [span for call in duty.calls for span in openings(day.prompts.get(call, ()))]
    if not opened:
        return False
    begin, end = min(opened)
    voices = sorted((*day.said, *day.driver), key=lambda voice: voice.start_s)
    for voice in voices:
        if voice.start_s <= begin < voice.end_s + LISTENS_S:
            begin = voice.end_s + LISTENS_S
    last = begin + REACTS_S
    if last > end or any(voice.start_s < last and voice.end_s > begin for voice in voices):
        return False
    steps = round(REACTS_S / STEP_S)
    return all(_good(day, duty, begin + STEP_S * step) for step in range(steps + 1))


def _cause(day: CarDay, duty: Duty) -> str:
    if not duty.calls:
        return "no call was made for it"
    spoken = [voice for voice in day.said if voice.call in duty.calls]
    opened = [span for call in duty.calls for span in openings(day.prompts.get(call, ()))]
    if not spoken:
        return f"never spoken ({_window(day, duty, opened)})"
    first = spoken[0]
    if first.end_s > duty.deadline_s:
        return f"over after the deadline ({_window(day, duty, opened)})"
    if first.start_s < duty.known_s:
        return "before it was known"
    calm = day.calm(first.start_s, first.start_s, EDGE_S)
    how = "ran out of the listening stretch" if calm else "begun while not listening"
    return f"{how} ({_window(day, duty, opened)})"


def _window(day: CarDay, duty: Duty, opened: Sequence[Span]) -> str:
    if not opened:
        return "never open"
    moments = [begin + STEP_S * step for begin, end in opened for step in range(int((end - begin) / STEP_S) + 1)]
    good = sum(_good(day, duty, moment) for moment in moments)
    if good == 0:
        return "its window held no good moment"
    return "its window was good throughout" if good == len(moments) else "its window was good in part"
