"""Why a call is not said as it stands: one sentence for the engineer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import field

from pitwall.model.record import record
from pitwall.radio.pending import Busy, Fate, How, PendingCall, Way

MOST_NAMED = 2

_BEGINNING: dict[Fate, str] = {
    "parts": "In parts",
    "short": "Shortened",
    "next_lap": "Moved to the next lap",
    "next_lap_short": "Moved to the next lap and shortened",
    "outside": "Said outside the listening stretches",
    "outside_short": "Shortened and said outside the listening stretches",
    "dropped": "No room for it",
}


@record
class Placed:
    """A call that has its place.

    Attributes:
        starts_s: when each part is begun.
        window_to_s: end of the unbroken stretch of time in which the first part may be begun, as far as no other call
            of the plan is pushed past its own last moment.
        last_s: the very last start with the same condition, perhaps in a later stretch.
        end_s: when the last part ends if begun at ``starts_s``.
        about: what the reason looks at, where there is one to give.
    """

    key: str
    how: How
    texts: tuple[str, ...]
    starts_s: tuple[float, ...]
    window_to_s: float
    last_s: float
    end_s: float
    about: Circumstances | None = field(default=None, repr=False)

    @property
    def start_s(self) -> float:
        """When to begin."""
        return self.starts_s[0]

    @property
    def reason(self) -> str | None:
        """Why it is not said as it stands, a sentence for the engineer, worded when asked for; None for ``full``."""
        if self.about is None:
            return None
        call = next(call for call in self.about.calls if call.key == self.key)
        return reason_for(call, self.how, self.about)


@record
class Circumstances:
    """What a reason may look at: all calls, what the channel is taken for, now, and the plan."""

    calls: tuple[PendingCall, ...]
    busy: tuple[Busy, ...]
    now_s: float
    placed: tuple[Placed, ...]


@record
class Dropped:
    """A call for which there is no place. The reason is worded when it is asked for: most never are."""

    call: PendingCall
    about: Circumstances

    @property
    def key(self) -> str:
        """Of the call."""
        return self.call.key

    @property
    def must(self) -> bool:
        """Is it a must-say call?"""
        return self.call.must

    @property
    def reason(self) -> str:
        """Why there is no place for it, a sentence for the engineer."""
        return reason_for(self.call, "dropped", self.about)


def reason_for(call: PendingCall, fate: Fate, about: Circumstances) -> str:
    """``Shortened: 'Box this lap' takes the channel until then.`` and the like."""
    return f"{_BEGINNING[fate]}: {_cause(call, fate, about)}."


def _cause(call: PendingCall, fate: Fate, about: Circumstances) -> str:
    missing = [other for other in about.calls
               if other.key in call.needs and other.key not in _keys(about.placed)] if call.needs else []
    if fate == "dropped" and missing:
        return f"it makes no sense without {_quoted(missing)}, which is not said"
    wished = next((way for way in call.ways if way.how == "full"), None)
    if wished is None:
        if fate != "dropped" or not call.ways:
            return "no stretch on which the driver can listen is long enough for it in time"
        wished = call.ways[0]
    spans = [span for part in wished.parts for span in part.starts if span[1] >= about.now_s]
    if not spans:
        return "the last moment to begin it has passed"
    if fate not in ("outside", "outside_short"):
        takers = _takers(call, wished, spans, about)
        if takers:
            return f"{_quoted(takers)} {'takes' if len(takers) == 1 else 'take'} the channel"
    talkers = {one.who for one in about.busy if _meets(spans, wished, 0.0, one.from_s, one.to_s)}
    if "driver" in talkers:
        return "the driver is talking"
    if "engineer" in talkers:
        return "the channel is taken by what is being said"
    takers = _takers(call, wished, spans, about)
    return f"{_quoted(takers)} comes first" if takers else "it does not fit in time"


def _takers(call: PendingCall, way: Way, spans: list[tuple[float, float]], about: Circumstances) -> list[PendingCall]:
    """The weightiest calls of the plan that lie where this one would have been."""
    by_key = {other.key: other for other in about.calls}
    found = [
        by_key[one.key]
        for one in about.placed
        if one.key != call.key
        and _meets(spans, way, call.gap_s, one.start_s, one.end_s + by_key[one.key].gap_s)
    ]
    return sorted(found, key=lambda other: (not other.must, -other.weight, other.key))[:MOST_NAMED]


def _meets(spans: Iterable[tuple[float, float]], way: Way, gap_s: float, from_s: float, to_s: float) -> bool:
    """Would this stretch of time be in the way of at least one start?"""
    return any(begin < to_s and from_s < end + way.spoken_s + gap_s for begin, end in spans)


def _keys(placed: Iterable[Placed]) -> set[str]:
    return {one.key for one in placed}


def _quoted(calls: list[PendingCall]) -> str:
    return " and ".join(f"'{call.name}'" for call in calls)
