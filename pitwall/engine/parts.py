"""A call that is said in parts, because no stretch is long enough for all of it: what is said, and what remains.

Each part is a prompt of the same call: its words are what is to be said now, ``parts`` are these and what remains. The
said key, or talk of that length, tells that a part was said; then the rest waits for the next stretch. It is one call
with one read-back: its item, its switches and its question follow when the last part was said. What was begun is
finished: the rest goes outside the listening stretches rather than unsaid.
"""

from __future__ import annotations

from pitwall.engine.call import Call, CallSpec
from pitwall.engine.calls import CallBook
from pitwall.model.record import altered

OPEN_S = 3.0  # until the channel is planned anew the next part may be begun so long


def part_said(book: CallBook, call: Call, now: float, reason: str, because: str | None = None) -> bool:
    """A part of the call was said and more of it remains; False when this was all of it."""
    if len(call.spec.parts) < 2 or call.state not in ("shown", "due"):
        return False
    number, left = call.parts_said + 1, call.spec.parts[1:]
    whole = call.begun[0] if call.begun is not None else " ".join(part.text for part in call.spec.parts)
    call.begun, call.parts_said = (whole, " ".join(part.text for part in left)), number
    begin = max(left[0].say_from_s, now)
    spec = altered(call.spec, text=left[0].text, spoken_s=left[0].spoken_s, say_from_s=begin, say_by_s=begin + OPEN_S,
                   parts=left, until_s=None)
    if not book.signal(call, "part_said", now, f"part {number} {reason}; this is what remains", because):
        return False
    call.spec = spec
    return True


def remaining(spec: CallSpec, call: Call | None) -> CallSpec:
    """What is still to be said of a call that was begun; all of it where its words are others by now."""
    if call is None or call.begun is None or not call.open or " ".join(spec.text.split()) != call.begun[0]:
        return spec
    return altered(spec, text=call.begun[1], short=call.begun[1])


def begun(call: Call | None) -> bool:
    """Guard: a part of it was said, so it must be finished."""
    return call is not None and call.open and call.begun is not None
