"""Answers owed: what the driver asked is called for in the next free window, again and again until it is answered.

The next free window is the next listening stretch of a lap on which answers may be given; where the run has none left,
and in the garage, it is as soon as the car stands. What the answer is only the engineer knows, so a fair length is
taken for it.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.owed import Question, call_key
from pitwall.engine.situation import Leg, Situation
from pitwall.model.units import clock_text

ANSWER_S = 4.0  # a sentence (common practice, no source)
LEAST_START_S = 1.0  # a window to begin in that is shorter than this is hit by luck only (common practice, no source)
SHOWN_BEFORE_S = 6.0
GARAGE_FROM_S, GARAGE_EVERY_S = 5.0, 120.0
APART_S = 8.0  # from one answer to the next: the answer, and what the driver says to it (common practice, no source)


def calls(at: Situation) -> Iterable[CallSpec]:
    """One call for each open question, the longest waiting first."""
    if at.clock.status in ("red", "closed") and at.track.on_track:
        return  # in an interruption less is said, not more; in the pits there is time
    after = float("-inf")
    for question in at.questions:
        begin, by, leg = _next_window(at, max(question.t, after))
        yield _call(at, question, begin, by, leg)
        after = by + APART_S


def _call(at: Situation, question: Question, begin: float, by: float, leg: Leg | None) -> CallSpec:
    words, since = question.words, clock_text(question.t)
    run = at.run
    return CallSpec(
        key=call_key(question),
        kind="answer",
        text=f"Answer the driver: {words}" if words else f"Answer what the driver asked at {since}.",
        short=f"Answer: {words}" if words else f"Answer of {since}",
        say_from_s=begin,
        say_by_s=by,
        spoken_s=ANSWER_S,
        lead_s=SHOWN_BEFORE_S,
        run=run.run.run if run is not None and leg is not None else None,
        lap="garage" if leg is None else run.lap_label(leg.index) if run is not None and run.laps else None,
        caution=f"The driver has waited since {since}" if question.old(at.now) else None,
        waits=leg is None and at.track.on_track,
    )


def _next_window(at: Situation, earliest: float) -> tuple[float, float, Leg | None]:
    """``(from, by, lap)`` of the next window in which an answer can be begun; the lap is None where the car stands."""
    if not at.track.on_track:
        return _standing(at, max(earliest, at.since_s + GARAGE_FROM_S))
    for leg in at.legs:
        if not at.plan.may_say("answer", leg.kind):
            continue
        for begin, end in at.stretches((leg,)) or [(leg.start_s, leg.end_s)]:
            begin, by = max(begin, earliest), end - ANSWER_S
            if by >= max(at.now, begin) and by - begin >= LEAST_START_S:
                return begin, by, leg
    parked = at.legs[-1].end_s + GARAGE_FROM_S if at.legs else at.now
    return max(parked, earliest), max(parked, earliest) + GARAGE_EVERY_S, None


def _standing(at: Situation, begin: float) -> tuple[float, float, None]:
    """In the garage it can be said at any time, and is told anew every two minutes."""
    turns = max(0, int((at.now - begin) // GARAGE_EVERY_S))
    return begin, begin + (turns + 1) * GARAGE_EVERY_S, None
