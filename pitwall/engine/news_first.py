"""News from race control goes before everything that can wait, also before what would fit into an earlier stretch.

A short call finds a place in a stretch that is too short to be sure of for the news. Said there, its read-back and the
next breath take time from the news, and the engineer has said a lap time while the driver did not know of a yellow
flag. So what can wait is planned behind the news, and is not open in front of it.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.chances_to_say import PRE_EMPTS, must
from pitwall.engine.situation import Situation
from pitwall.model.record import altered
from pitwall.radio.pending import GAP_S, PendingCall
from pitwall.radio.ways import HIT_S

NEWS = frozenset({"stop", "session", "safety"})
FIRST_S = 25.0
"""What must be said within this does not wait for news, and news that is told no sooner is not waited for: it commonly
finds a stretch within twenty seconds, and a switch that stays behind is a harm of its own (a choice of ours). For the
same reason what must be said waits only where it has a stretch behind the news."""


def pending(at: Situation, specs: Iterable[CallSpec]) -> tuple[str, ...]:
    """Keys of the news that may be told from now on."""
    return tuple([spec.key for spec in specs
                  if spec.kind in NEWS and spec.item is None and spec.room is not None and spec.room.from_s <= at.now])


def over_s(at: Situation, news: PendingCall) -> float | None:
    """When this news can be told and read back at the soonest, session seconds; None where that is not soon."""
    begins = min([way.parts[0].starts[0][0] for way in news.ways], default=at.now)  # without a stretch: at once
    shortest = min([way.spoken_s for way in news.ways], default=0.0)
    return begins + shortest + news.gap_s if begins < at.now + FIRST_S else None


def waits(at: Situation, spec: CallSpec, told_s: float) -> bool:
    """Guard: it is said after the news, which is told and read back by ``told_s`` at the soonest. What must be said is
    not where that is soon, or where no stretch is left for it then: it would be said in a corner, and the news gains
    nothing."""
    if spec.kind in PRE_EMPTS:
        return False
    room = spec.room
    if room is None or not must(spec):
        return True
    left = any(end - max(begin, told_s) >= HIT_S for begin, end in room.starts(at.spoken(spec.short)))
    return left and room.end_by_s >= at.now + FIRST_S


def told_by(at: Situation, placed: Iterable[CallSpec]) -> float:
    """When the news that is to be told soon will have been told and read back, session seconds; minus infinity where
    none is."""
    soon = [spec for spec in placed if spec.kind in NEWS and spec.item is None and spec.say_from_s < at.now + FIRST_S]
    return max([spec.say_from_s + spec.spoken_s + GAP_S for spec in soon], default=float("-inf"))


def can_wait(spec: CallSpec) -> bool:
    """Guard: it is spoken on track, and nothing depends on it."""
    return not must(spec) and spec.lap != "garage" and spec.medium != "board"


def behind(spec: CallSpec, from_s: float) -> CallSpec:
    """The call, not open before ``from_s``."""
    if spec.say_from_s >= from_s:
        return spec
    by = max(from_s, spec.say_by_s)
    return altered(spec, say_from_s=from_s, say_by_s=by, until_s=by)
