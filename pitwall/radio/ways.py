"""In which ways a call can be made, each with the moments at which it may be begun.

A call is given as its words and the *room* for it: the listening stretches of the laps on which it may be spoken, from
when it is of use, and when it must be over so that the driver can still act.
"""

from __future__ import annotations

from collections.abc import Callable

from pitwall.model.record import record
from pitwall.radio.clauses import in_parts
from pitwall.radio.pending import How, Part, Spans, Way
from pitwall.track.listening import start_windows

HIT_S = 1.0  # a window to begin in that is shorter than this is hit by luck only (common practice, no source)
MOST_PARTS = 3


@record
class Room:
    """Where one call may go, session seconds.

    Attributes:
        stretches: listening stretches of the laps on which it may be spoken; None where the circuit gives none.
        from_s: not begun before: it would be forgotten, or makes no sense yet.
        end_by_s: over by then: the moment to act less the driver's reaction.
        best_s: begun no later than this, nothing is lost; None: from the first moment on, waiting costs.
        hopeful: stretches on which many drivers listen, though not all; for what has no place in ``stretches``.
    """

    stretches: Spans | None
    from_s: float
    end_by_s: float
    best_s: float | None = None
    hopeful: Spans | None = None

    def starts(self, spoken_s: float, least_s: float = HIT_S) -> Spans:
        """When something of this length may be begun."""
        return start_windows(self.stretches, spoken_s, self.from_s, self.end_by_s, least_s)

    def anywhere(self) -> Room:
        """The same without regard to listening stretches."""
        return Room(None, self.from_s, self.end_by_s, self.best_s)


@record
class Words:
    """A call in full and in short, and how long words take to say (``speech.spoken_s`` at the engineer's rate)."""

    text: str
    short: str
    length: Callable[[str], float]


def ways(
    words: Words, room: Room, *, later: Room | None = None, may_split: bool = True, must: bool = False,
    least: tuple[float, ...] = (HIT_S, 0.0),
) -> tuple[Way, ...]:
    """Every way that has at least one start, the dearest last.

    Args:
        words: what is said.
        room: where it should go.
        later: the same place a lap later, where the call may move there.
        may_split: it may be said in parts; not for a call of one thought.
        must: rather outside the listening stretches than not at all.
        least: how long a window to begin in must be, seconds; the next one counts where there is none in any way on
            this lap. As it stands: one that nobody can hit is used only where there is no other.
    """
    for least_s in least:
        found = _here(words, room, may_split, least_s)
        if found:
            break
    if later is None and not must:
        return tuple(found)
    whole_s, short_s = words.length(words.text), words.length(words.short)
    elsewhere: list[tuple[How, How, Room, float]] = []
    if later is not None:
        elsewhere.append(("next_lap", "next_lap_short", later, HIT_S))
    if must and room.stretches is not None:
        elsewhere.append(("outside", "outside_short", room.anywhere(), 0.0))
    for full, shortened, place, least_s in elsewhere:
        found += _whole(full, words.text, whole_s, place, least_s)
        found += _whole(shortened, words.short, short_s, place, least_s) if short_s < whole_s else []
    return tuple(found)


def _here(words: Words, room: Room, may_split: bool, least_s: float) -> list[Way]:
    whole_s, short_s = words.length(words.text), words.length(words.short)
    found = _whole("full", words.text, whole_s, room, least_s)
    if may_split and room.stretches is not None:
        found += _split(words, room, least_s)
    return found + _whole("short", words.short, short_s, room, least_s) if short_s < whole_s else found


def _whole(how: How, text: str, length: float, room: Room, least_s: float) -> list[Way]:
    if length <= 0:
        return []
    starts = room.starts(length, least_s)
    return [Way(how, (Part(text, length, starts),), _best(room, starts), least_s)] if starts else []


def _split(words: Words, room: Room, least_s: float) -> list[Way]:
    """The fewest parts of which each has a stretch that is long enough."""
    for count in range(2, MOST_PARTS + 1):
        texts = in_parts(words.text, count, words.length)
        if texts is None:
            return []
        parts = tuple(Part(text, words.length(text), room.starts(words.length(text), least_s)) for text in texts)
        if all(part.starts for part in parts):
            return [Way("parts", parts, _best(room, parts[0].starts))]
    return []


def _best(room: Room, starts: Spans) -> float:
    return max(starts[0][0], room.from_s if room.best_s is None else room.best_s)
