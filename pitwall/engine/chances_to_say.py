"""When a call may be begun: in windows that are more or less sure, and in the one that the engineer looks at already.

A window is the sooner believed the further it keeps from both ends of its stretch, the more time it leaves to begin in,
and the more slowly the sentence may be spoken. ``STANDARDS`` are steps of that, and the channel plan
(``engine/channel.py``) goes down them for a call as far as it must.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pitwall.engine.call import Call, CallSpec
from pitwall.engine.situation import Situation
from pitwall.engine.sure import Sure
from pitwall.model.record import altered
from pitwall.radio.pending import TICK_S, Part, Way
from pitwall.radio.ways import Room, Words, ways

MUST = frozenset({"stop", "session", "safety", "box", "switch"})
PRE_EMPTS = frozenset({"stop", "session", "safety", "box"})
SLOW_SPEECH = 1.18  # a sentence may take so much longer than this engineer usually needs
STANDARDS = ((1.5, 2.5, SLOW_SPEECH), (1.0, 2.0, SLOW_SPEECH), (0.7, 1.5, SLOW_SPEECH), (0.5, 1.0, SLOW_SPEECH),
             (0.2, 0.6, SLOW_SPEECH), (0.0, 0.4, 1.0))
"""How sure a window must be: share of the margin at both ends of its stretch, least length to begin in, seconds, and
how much longer than usual the sentence may take; the next counts where no way meets the one before."""
QUICK_S, SLOWEST = 1.3, 2.5
"""The lengths to begin in are for who begins nine calls in ten within so many seconds; who needs longer gets longer
ones in proportion, up to so many times: no stretch leaves more."""
FULL_AT_LEAST = 2  # what can wait is said in full in a window of this standard rather than in short in a better one
MUST_IN_FULL = 1  # what must be said is said in full in a window of this standard at least, else in short
SETTLED_S = 1.5  # before its window opens a call is where the engineer looks: it moves only if it must
FORESEEN_S = 3.0  # shown so long before it opens, a window is awaited by then (common practice, no source)
AWAITED_S = 0.7  # and what is awaited is begun so much sooner than what comes unforeseen (common practice, no source)
WAITS_FOR_FULL_S = 2.0  # what is soon overtaken is said in short rather than so much later in full (a choice of ours)
LESSER = frozenset({"care", "traffic", "question", "pace"})
LEAST_LESSER = 3
NEWS, LEAST_NEWS = 2, 4  # which standard news begins with, and what is soon overtaken: the first window that can be hit
BEFORE_FLAG_S, AFTER_FLAG_S = 2.5, 3.0  # around the flag at zero the channel is kept free for it, the read-back as well


def least_sure(spec: CallSpec) -> int:
    """The last of the ``STANDARDS`` for this call: what is to be said at once waits for no window that is
    hardly one, and what nothing depends on takes none: heard by half it is said again, and keeps the channel from more
    important calls."""
    if spec.kind in LESSER and spec.item is None:
        return LEAST_LESSER
    hopeful = spec.room is not None and spec.room.hopeful is not None
    return len(STANDARDS) - 1 - (spec.kind in PRE_EMPTS and not hopeful)


def must(spec: CallSpec) -> bool:
    """Guard: it is said outside the listening stretches rather than not at all."""
    return spec.kind in MUST and not spec.early_or_not


def slowness(at: Situation) -> float:
    """How many times as long as who is quick this engineer needs to begin."""
    return min(max(at.begins_within_s / QUICK_S, 1.0), SLOWEST)


def least_start_s(at: Situation, standard: int) -> float:
    """How long a window of this standard leaves at least to begin in, seconds, for this engineer.

    What is left to a slow engineer is not offered in windows that only a quick one hits, one after the other, until
    it is too late: it is aimed at the likeliest moment (``engine/aiming.py``).
    """
    return STANDARDS[standard][1] * slowness(at)


def pinned(at: Situation, spec: CallSpec, call: Call | None, sure: Sure) -> tuple[Way, ...]:
    """The window that the engineer has been told is open, or about to open, as far as it still is one; else nothing."""
    if call is None or call.state not in ("due", "shown") or call.spec.say_by_s <= at.now or spec.room is None:
        return ()
    told = call.spec
    if call.state == "shown" and not at.now + TICK_S < told.say_from_s <= at.now + SETTLED_S:
        return ()
    if spec.room.from_s > max(at.now, told.say_from_s):
        return ()  # its lap is not this one any more
    if told.way == "parts":
        return _pinned_parts(at, spec, told, sure)
    if told.way not in ("full", "short") or told.text != (spec.short if told.way == "short" else spec.text):
        return ()
    length, by = SLOW_SPEECH * at.spoken(told.text), told.say_by_s
    stretches = spec.room.stretches
    if stretches is not None:
        ends = [end for begin, end in sure.of(stretches, 0.5) if begin <= max(at.now, told.say_from_s) <= end]
        by = min(by, ends[0] - length) if ends else at.now
        if call.state == "shown" and by - told.say_from_s < least_start_s(at, len(STANDARDS) - 2):
            return ()
    if by <= at.now:
        return ()
    return (Way(told.way, (Part(told.text, length, ((min(told.say_from_s, by), by),)),), told.say_from_s),)


def _pinned_parts(at: Situation, spec: CallSpec, told: CallSpec, sure: Sure) -> tuple[Way, ...]:
    """The same for a call in parts: the window of the first one stays, as far as the others still find theirs."""
    for standard in range(len(STANDARDS)):
        for way in ways_of(at, spec, standard, sure, parts=True):
            if way.how == "parts" and tuple(part.text for part in way.parts) == tuple(part.text for part in told.parts):
                first = altered(way.parts[0], starts=((min(told.say_from_s, told.say_by_s), told.say_by_s),))
                return (altered(way, parts=(first, *way.parts[1:]), best_s=told.say_from_s),)
    return ()


def ways_of(at: Situation, spec: CallSpec, standard: int, sure: Sure, parts: bool = False) -> tuple[Way, ...]:
    """Every way to make a call in windows of one of the ``STANDARDS``, as far as they are not behind."""
    room = spec.room
    assert room is not None  # it competes
    if standard > LEAST_NEWS and room.hopeful is not None:
        room, standard = altered(room, stretches=room.hopeful), LEAST_NEWS
        spec = altered(spec, room=room)
    if spec.kind not in PRE_EMPTS:
        spec = sure.once("clear", spec, 0, lambda: _clear_of_the_flag(at, spec, room))
    if room.stretches is None:
        own = Room(None, spec.say_from_s, spec.say_by_s + SLOW_SPEECH * spec.spoken_s)
        made = ways(_words(at, spec, SLOW_SPEECH), own, may_split=False, least=(0.0,))
        # In a slow period there are stretches, and nobody knows where: the less is said, the more of it is heard.
        short = spec.kind in MUST and at.lap_map.listening is not None
        return tuple(way for way in made if way.how == "short") or made if short else made
    if spec.kind in MUST:
        found = _found(at, spec, sure, standard, parts)
        if standard > MUST_IN_FULL and "short" in found:
            surer = _found(at, spec, sure, MUST_IN_FULL, parts).get("full")
            return (*(() if surer is None else (surer,)), found["short"])
        return tuple(found.values())
    found = dict[str, Way]()
    for number in range(standard, max(standard, FULL_AT_LEAST) + 1):
        found = {**_found(at, spec, sure, number, parts), **found}
        if "full" in found:
            break
    return _soonest(found.values()) if spec.soon_over else tuple(found.values())


def _soonest(made: Iterable[Way]) -> tuple[Way, ...]:
    """The ways less those that must wait much longer than another: said in full too late it helps nobody."""
    found = tuple(made)
    first = min([way.parts[0].starts[0][0] for way in found], default=0.0)
    return tuple([way for way in found if way.parts[0].starts[0][0] <= first + WAITS_FOR_FULL_S])


def _found(at: Situation, spec: CallSpec, sure: Sure, standard: int, parts: bool) -> Mapping[str, Way]:
    """``_within``, worked out once: a call that goes down the standards asks for one of them again and again."""
    return sure.once("ways", spec, 2 * standard + parts, lambda: _within(at, spec, sure, standard, parts))


def _within(at: Situation, spec: CallSpec, sure: Sure, standard: int, parts: bool) -> dict[str, Way]:
    """The ways that one of the ``STANDARDS`` leaves."""
    room, (share, _, slowly), least_s = spec.room, STANDARDS[standard], least_start_s(at, standard)
    assert room is not None
    assert room.stretches is not None
    begin = max(room.from_s, at.now)
    end = room.end_by_s
    near = tuple([one for one in sure.of(room.stretches, share) if one[1] > begin and one[0] < end])
    within = Room(near, begin, end, room.best_s)
    may_split = parts and spec.kind not in MUST and not spec.soon_over  # heard in part it would come too late
    awaited = spec.kind == "session" and standard >= NEWS
    least = max(least_start_s(at, LEAST_NEWS), least_s - AWAITED_S) if awaited else least_s
    made = ways(_words(at, spec, slowly), within, may_split=may_split, least=(least,))
    if awaited:
        made = _awaited(made, least_s, spec.say_from_s + FORESEEN_S)
    # News counts from when it is known, in whatever form: in short now before in full half a lap later.
    return {way.how: altered(way, best_s=begin) if spec.kind in PRE_EMPTS else way for way in made}


def _awaited(made: tuple[Way, ...], least_s: float, foreseen_s: float) -> tuple[Way, ...]:
    """The ways less windows that are shorter than ``least_s`` and open too soon to be awaited."""
    found = []
    for way in made:
        part = way.parts[0]
        starts = tuple([(begin, end) for begin, end in part.starts if end - begin >= least_s or begin >= foreseen_s])
        if starts:
            found.append(way if starts == part.starts else altered(way, parts=(altered(part, starts=starts),)))
    return tuple(found)


def _clear_of_the_flag(at: Situation, spec: CallSpec, room: Room) -> CallSpec:
    """What can wait, its room less the moment of the flag, which everybody knows; a put-back before a line that the
    car reaches earlier cannot wait."""
    if at.stopped_by_flag or not at.clock.running or room.stretches is None:
        return spec
    flag_s = at.clock.end_s(at.now)
    from_s, to_s = flag_s - BEFORE_FLAG_S, flag_s + AFTER_FLAG_S
    if room.end_by_s <= from_s or (spec.act_at_s is not None and spec.act_at_s <= flag_s):
        return spec
    pieces = [piece for begin, end in room.stretches for piece in ((begin, min(end, from_s)), (max(begin, to_s), end))]
    clear = tuple([(begin, end) for begin, end in pieces if begin < end])
    return altered(spec, room=altered(room, stretches=clear))


def _words(at: Situation, spec: CallSpec, slowly: float) -> Words:
    spoken = at.spoken
    return Words(spec.text, spec.short, lambda text: slowly * spoken(text))
