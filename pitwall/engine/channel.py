"""The channel of one car: every call that waits for it gets its place, and the places follow what is heard.

Rules say what should be said and what room there is for it (``CallSpec.room``). Here all calls that wait compete for
the one channel (``radio/channel.py``); the plan is made anew whenever the laps ahead, the calls or the talk change.
What was begun, or may have been, keeps its place. A call whose window went by unsaid goes to its next stretch as long
as it can still be acted on; a call that finds no place is advised against, with the reason, and a must-say call is
then said outside the listening stretches.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from pitwall.engine import news_first
from pitwall.engine.aiming import aimed_s
from pitwall.engine.box_pair import in_order
from pitwall.engine.call import PRIORITY, Call, CallSpec
from pitwall.engine.calls import CallBook
from pitwall.engine.chances_to_say import PRE_EMPTS, SLOW_SPEECH, must
from pitwall.engine.going_down import GoingDown, names_the_cool_lap
from pitwall.engine.nearness import SOON_S, TALK_S, Laid
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.engine.parts import begun, remaining
from pitwall.engine.situation import Situation
from pitwall.engine.talk_times import KEY_S, Rates, TalkTimes
from pitwall.engine.waits import BeginsOf, Waits
from pitwall.model.events import ChannelReported
from pitwall.model.outputs import CallPart, CallWay
from pitwall.model.record import altered
from pitwall.model.setup import SessionSetup
from pitwall.radio.pending import GAP_S, TICK_S, Busy
from pitwall.radio.reasons import Placed

AHEAD_S = 25.0  # a call whose room opens later than this is shown later, and gets its place then
ANSWER_S = 1.5  # from the end of a sentence to the end of a short read-back (common practice, no source)
GOES_ON_TALKING_S = 1.0  # and a longer one goes on for so long; more than what the book takes for no move at all
OUTSIDE = ("outside", "outside_short")
AT_ONCE = ("session", "safety", "stop")
OUTSIDE_S = 4.0
WAITS_S = 6.0  # a red flag waits no longer for a stretch on which it may be heard; other news at most as its room has
LAST_RESORT_S = 12.0
GOES_ON_S = 0.3
WAYS: dict[str, CallWay] = {"full": "full", "parts": "parts", "short": "short"}
UNSAID_S = 10.0  # open for so long on a free channel, and nobody said it: it goes before others no more
LEAST_WEIGHT = 1


@dataclass
class Talk:
    """Who talks on the channel, as far as the radio desk reports it. ``known``: it reports at all."""

    who: str = "nobody"
    since_s: float = float("-inf")
    known: bool = False
    engineer_to_s: float = float("-inf")
    saying: str | None = None  # the call that the engineer began, as far as one can tell
    two_way: bool = True

    def heard(self, event: ChannelReported, due: str | None) -> bool:
        """Take a report; False when it says nothing new, or comes after a later one.

        ``due``: the call that an engineer who speaks now says, if any is due.
        """
        if event.t < self.since_s or (self.known and event.talking == self.who):
            return False
        if self.who == "engineer":
            self.engineer_to_s = event.t
        if event.talking == "engineer":
            self.saying = due
        self.who, self.since_s, self.known = event.talking, event.t, True
        return True

    def busy(self, now: float) -> tuple[Busy, ...]:
        """The talk that is on the channel now, until it commonly ends."""
        answered = self.engineer_to_s + ANSWER_S
        if self.who == "nobody":
            return (Busy(now, answered),) if self.two_way and now < answered else ()
        until = max(self.since_s + TALK_S, now + GOES_ON_TALKING_S)
        return (Busy(now, until, "engineer" if self.who == "engineer" else "driver"),)


@dataclass
class ChannelBook:
    """The channel of one car: its talk, and the plan as it was made last."""

    talk: Talk = field(default_factory=Talk)
    unsaid_s: dict[str, float] = field(default_factory=dict)
    """For each call how long it has been open while nobody talked, seconds."""
    spoken: set[str] = field(default_factory=set)
    """Calls that were open at any moment of an engineer's talk: they may have been said, whatever the keys tell."""
    counted_t: float | None = None
    laid: Laid = field(default_factory=Laid)
    times: TalkTimes = field(default_factory=TalkTimes)
    waits: Waits = field(default_factory=Waits)

    def heard(self, event: ChannelReported, book: CallBook) -> bool:
        """Take what the radio desk reports; False when no call is to be laid out anew for it."""
        before, since, spoke = self.talk.who, self.talk.since_s, self.talk.who == "engineer"
        self._count_unsaid(max(event.t, self.talk.since_s), book)
        if not self.talk.heard(event, book.open_now(event.t)):
            return False
        if spoke or event.talking == "engineer":
            self.spoken.update(call.id for call in book.begun_by(event.t))
        if event.talking == "engineer":
            ready = book.open_at(event.t)
            self.waits.begun(ready[0] if len(ready) == 1 else None, event.t, since if before == "nobody" else event.t)
            self.times.begins(event.t, book)
        else:
            if before == "engineer":
                self.waits.ended(event.t)
            if event.talking == "driver":
                self.times.answered(event.t)
            self.times.ends(event.t)
        return self.laid.moved_by(before, self.talk, book)

    def lapsed(self, book: CallBook, now: float) -> bool:
        """True when a due call's window went by and another one is left for it, now and not later."""
        return book.lapsed(now, lambda call: self._stays(call, book, now))

    def _stays(self, call: Call, book: CallBook, now: float) -> bool:
        """Guard: it keeps its window though that is over: it is being said, or was said just now and its key may still
        come. Not where that goes on so long that another call may have to wait for it."""
        if self.being_said(call, now):
            return self.laid.first_s(call.spec.key) > now + SOON_S
        return self._keeps(call, book, now) and call.spec.until_s == self._until(call, book, now)

    def never_spoken(self, call: Call) -> bool:
        """Guard: it ended without a word, and the radio desk, which reports, heard no engineer while it was open.

        It is no proof: it may have been said before its window, or too late, or the radio desk has fallen silent. What
        it asks for is in doubt all the same.
        """
        unheard = self.talk.known and self.talk.who != "engineer" and call.id not in self.spoken
        return unheard and call.state == "unconfirmed" and call.said_t is None and call.spec.medium != "board"

    def tick(self, book: CallBook, now: float) -> None:
        """Time passes: what was said without a key counts as said, and the calls follow the time."""
        self.times.count(book, now)
        self.times.settle(now)
        if self.talk.who == "engineer":
            self.spoken.update(call.id for call in book.begun_by(now))
        book.tick(now)

    def place(self, at: Situation, specs: Iterable[CallSpec], book: CallBook) -> list[CallSpec]:
        """The specs with their places on the channel; those that do not compete for it stay as they are."""
        given = list(specs)
        self.laid.note((), cut=False)
        if not at.track.on_track or not at.legs:
            self.waits.forget()
            return given
        self.talk.two_way = at.plan.medium == "two_way"
        self._count_unsaid(at.now, book)
        found: list[CallSpec] = []
        waiting: list[CallSpec] = []
        for wanted in given:
            call = book.latest.get(wanted.key)
            spec = remaining(wanted, call)
            if not self._competes(spec, call, at.now):
                found.append(_not_before_its_room(at, spec, call))
            elif call is not None and self._keeps(call, book, at.now):
                # Not given up as long as its key may still come.
                found.append(_as_placed(spec, call.spec, self._until(call, book, at.now)))
            else:
                waiting.append(spec)
        planned = self._planned(at, waiting, book)
        news_s = news_first.told_by(at, planned)
        # What belongs where it is stays there: the end of a hold, a word at its corner.
        apart = [self._behind(spec, book.latest.get(spec.key), news_s, at.now)
                 if news_first.can_wait(spec) and spec.say_by_s >= news_s else spec for spec in found]
        return in_order(at, [*apart, *planned], book)

    def _count_unsaid(self, now: float, book: CallBook) -> None:
        """Add the time since this was counted last to every call that was open in it, unless somebody talked."""
        since, self.counted_t = self.counted_t, now if self.counted_t is None else max(now, self.counted_t)
        due = {call.id: call.spec for call in book.live.values() if call.state == "due"}
        if self.talk.known or book.keys >= FEW_KEYS:  # else a call may have been said, and nobody tells
            free_s = self.talk.since_s if self.talk.who == "nobody" else None
            self.waits.look((book.live[name] for name in due), now, free_s, book.find)
        self.unsaid_s = {name: been for name, been in self.unsaid_s.items() if name in book.live}
        if since is None or self.talk.who != "nobody":
            return
        for name, spec in due.items():
            open_s = min(now, spec.say_by_s) - max(since, spec.say_from_s)
            self.unsaid_s[name] = self.unsaid_s.get(name, 0.0) + max(0.0, open_s)

    def _weight(self, spec: CallSpec, call: Call | None) -> int:
        """What nobody said though it was open for long yields to the others; only it is not lost for them."""
        passed_over = call is not None and self.unsaid_s.get(call.id, 0.0) > UNSAID_S
        return LEAST_WEIGHT if passed_over and spec.kind not in PRE_EMPTS else PRIORITY[spec.kind]

    def _competes(self, spec: CallSpec, call: Call | None, now: float) -> bool:
        """Guard: it is to be spoken on track, it may still be, and nobody at the desk has put it elsewhere."""
        if spec.room is None or spec.lap == "garage" or spec.medium == "board" or spec.room.from_s > now + AHEAD_S:
            return False  # what has no room to move in belongs where it is: break off, the end of a hold
        return call is None or (call.open and not call.repeated and not call.deferred_s) or call.state == "withdrawn"

    def _keeps(self, call: Call, book: CallBook, now: float) -> bool:
        """Guard: it is being said, or may have been, so its words and its window stay."""
        if call.state != "due" or call.due_t is None:
            return False
        spec = call.spec
        if not self.talk.known:
            told = book.keys < FEW_KEYS or now <= spec.say_by_s + spec.spoken_s + KEY_S
            return told and now >= spec.say_by_s and spec.against is None
        return self.being_said(call, now) or (self.talk.saying == call.id and book.keys < FEW_KEYS)

    def being_said(self, call: Call, now: float) -> bool:
        """Guard: the engineer says this call now, or has just said it and its key may still come."""
        if not self.talk.known or self.talk.saying != call.id:
            return False
        return self.talk.who == "engineer" or now <= self.talk.engineer_to_s + KEY_S

    def _until(self, call: Call, book: CallBook, now: float) -> float | None:
        if not self.talk.known:
            return None if book.keys < FEW_KEYS else call.spec.say_by_s + call.spec.spoken_s + KEY_S
        return now if self.talk.who == "engineer" else self.talk.engineer_to_s + KEY_S

    def _planned(self, at: Situation, waiting: Sequence[CallSpec], book: CallBook) -> list[CallSpec]:
        if not waiting:
            return []
        by_key = {spec.key: spec for spec in waiting}
        calls = {key: book.latest.get(key) for key in by_key}
        weights = {key: self._weight(spec, calls[key]) for key, spec in by_key.items()}
        # Between two parts a key or a report must tell whether the rest still comes.
        parts, busy = self.talk.known or book.keys >= FEW_KEYS, self.talk.busy(at.now)
        down = GoingDown(at, waiting, calls, weights, parts)
        plans, pending = [one.plan() for one in down.plans(busy)], down.pending
        # Another call may have to come first now, and this one still has all of its room after it.
        last = {call.key: max([way.parts[0].starts[-1][1] for way in call.ways]) for call in pending if call.ways}
        found = [_at_its_place(at, by_key[one.key], calls[one.key], one, last[one.key])
                 for plan in plans for one in plan.placed]
        taken = [(spec.say_from_s, spec.say_from_s + spec.spoken_s + GAP_S) for spec in found]
        left = [_without_place(at, by_key[one.key], calls[one.key], one.reason, taken)
                for plan in plans for one in plan.dropped]
        news_s = news_first.told_by(at, (*found, *left))
        found += [spec if must(spec) else self._behind(spec, calls[spec.key], news_s, at.now) for spec in left]
        soonest = min([way.parts[0].starts[0][0] for call in pending for way in call.ways], default=float("inf"))
        self.laid.note(found, cut=any(soonest < one.to_s for one in busy))
        return found

    def _behind(self, spec: CallSpec, call: Call | None, news_s: float, now: float) -> CallSpec:
        """Not open in front of the news, unless it is being said, or may have been where nobody reports talk."""
        if call is not None and (not call.open or self.being_said(call, now)
                                 or (call.state == "due" and not self.talk.known)):
            return spec
        return news_first.behind(spec, news_s)


def channels_of(setup: SessionSetup) -> dict[str, ChannelBook]:
    """The channel of every car, by its number; how fast an engineer speaks, and how soon begins, is known to all."""
    rates, begins = Rates(setup.calls.words_per_minute), BeginsOf()
    return {car: ChannelBook(times=TalkTimes(rates), waits=Waits(begins)) for car in setup.plans}


def _not_before_its_room(at: Situation, spec: CallSpec, call: Call | None) -> CallSpec:
    """The window of a rule may lie before the call is of use, where several follow one another before a line: until the
    plan places it, it does not open there. One that is open stays so."""
    room = spec.room
    if spec.medium == "board" or (call is not None and call.state == "due"):
        return spec  # a board hangs a lap before the act that the room is of
    if room is None or room.stretches is None or room.from_s <= max(at.now + AHEAD_S, spec.say_from_s):
        return spec
    by = min(room.from_s + at.timing.window_s, room.end_by_s - spec.spoken_s)
    return altered(spec, say_from_s=room.from_s, say_by_s=max(spec.say_by_s, by, room.from_s))


def _at_its_place(at: Situation, spec: CallSpec, call: Call | None, place: Placed, until_s: float) -> CallSpec:
    way, begin = WAYS[place.how], place.start_s
    if begin <= at.now + TICK_S:
        begin = at.now  # the plan counts in ticks: this is at once
    if call is not None and call.state == "due" and call.spec.say_from_s <= begin <= at.now + GOES_ON_S:
        begin = call.spec.say_from_s  # it has been open since then: nobody is to begin anew to get ready for it
    text = spec.short if way == "short" else place.texts[0] if way == "parts" else spec.text
    parts = tuple(CallPart(text=part, say_from_s=round(begin, 3), spoken_s=at.spoken(part))
                  for part, begin in zip(place.texts, place.starts_s, strict=True)) if way == "parts" else ()
    return altered(
        spec,
        text=text,
        say_from_s=begin,
        say_by_s=max(place.start_s, place.window_to_s),
        spoken_s=at.spoken(text),
        lead_s=max(spec.lead_s, at.timing.lead_s),
        way=way,
        way_reason=place.reason,
        parts=parts,
        until_s=until_s,
    )


def _without_place(
    at: Situation, spec: CallSpec, call: Call | None, reason: str, taken: Sequence[tuple[float, float]]
) -> CallSpec:
    """Said all the same if it must be, or tells that the lap is a cool-down lap; else better left."""
    if (not must(spec) and not names_the_cool_lap(spec) and not begun(call)) or spec.room is None:
        held_back = call.spec.against if call is not None and call.state == "due" else None
        if call is not None and call.state == "due" and held_back is None:
            return _as_placed(spec, call.spec)  # it was open, and may have been said without a key
        return altered(spec, against=spec.against or held_back or reason)
    if call is not None and call.state == "due" and call.spec.way in OUTSIDE and call.spec.say_by_s > at.now:
        return _as_placed(spec, call.spec)
    begin = max(spec.room.from_s, at.now)
    # The less is said there, the more of it is heard.
    shorter = at.spoken(spec.short) < at.spoken(spec.text)
    way: CallWay = "outside_short" if shorter else "outside"
    text = spec.short if shorter else spec.text
    by = spec.room.end_by_s - SLOW_SPEECH * at.spoken(text)
    if by < begin and spec.kind in AT_ONCE:
        by = begin + OUTSIDE_S  # news is news as long as it holds
    at_once = spec.kind in AT_ONCE
    if spec.kind not in PRE_EMPTS:
        begin = max(begin, by - LAST_RESORT_S)  # until then a stretch may still turn up
    if spec.room.stretches is not None:
        latest = max(by, spec.say_from_s + WAITS_S + at.begins_within_s) if at_once else by
        length = SLOW_SPEECH * at.spoken(text)
        begin = aimed_s(at, spec.room.stretches, length, begin, latest, at_once=at_once, taken=taken)
        by = max(by, begin + OUTSIDE_S) if at_once else by
    if by < begin:
        return spec
    return altered(spec, text=text, say_from_s=begin, say_by_s=by, spoken_s=at.spoken(text), way=way,
                   way_reason=reason)


def _as_placed(spec: CallSpec, placed: CallSpec, until_s: float | None = None) -> CallSpec:
    return altered(
        spec, text=placed.text, say_from_s=placed.say_from_s, say_by_s=placed.say_by_s, spoken_s=placed.spoken_s,
        lead_s=placed.lead_s, way=placed.way, way_reason=placed.way_reason, parts=placed.parts, until_s=until_s,
    )
