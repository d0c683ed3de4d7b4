"""What the reports of the radio desk tell beside who talks: how fast an engineer speaks, and that a call was said.

A transmission with its key, the words and the time that they took, teaches the rate of the engineer who pressed it
(``radio/rate.py``). A transmission without a key is evidence of its own: who begins to speak in the window of the one
call that is open, and speaks for about as long as it takes, has said it. Until a key may no longer come, nothing is
concluded; a key that comes later still is taken for the same talk and makes nothing twice.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.engine.call import Call
from pitwall.engine.calls import CallBook
from pitwall.engine.parts import part_said
from pitwall.radio.rate import LATE_S, SaidCall, SpeechRate, Transmission, matched

KEY_S = 3.0  # from the end of a sentence to its key
PUSH_TO_TALK = "push-to-talk"
SPOKEN_SHARES, SPOKEN_SLACK_S = (0.65, 1.5), 0.4  # a call takes this share of the time it should (common practice)
HABIT_OF, HABIT_FROM = 8, 6
"""Who pressed a key for so many of the last transmissions, and for this one not, has said something else."""
CORRECTS_S = 5.0  # from the end of a call to its correction: the read-back, and a breath (common practice, no source)
SETTLED_S = 20.0  # this long after its key nothing changes any more in which transmission a call was
REMEMBERED_S = 60.0
NEVER_BY_TALK = ("box", "stop")
"""A car that is believed called in, and is not, costs a lap or worse: for these somebody presses a key."""
ON_TRACK = ("planned", "shown", "due", "unconfirmed")


@dataclass
class Rates:
    """How fast each engineer speaks, by name: one for all cars, for one person may have the radio of two."""

    prior_wpm: float
    of: dict[str, SpeechRate] = field(default_factory=dict)

    def learn(self, engineer: str, text: str, took_s: float) -> None:
        """This engineer needed so long for these words."""
        self.of[engineer] = self.of.get(engineer, SpeechRate(self.prior_wpm)).after(text, took_s)

    def words_per_minute(self, engineer: str | None) -> float:
        """The rate to reckon with, in whole words a minute once anything was heard of this engineer: a tenth more or
        less moves no window."""
        known = self.of.get(engineer) if engineer is not None else None
        return self.prior_wpm if known is None or not known.heard else float(round(known.words_per_minute))


@dataclass(frozen=True, slots=True)
class Talked:
    """The engineer's last transmission. ``call``: the only one that was open when it began; None when none or more."""

    from_s: float
    to_s: float
    call: str | None


@dataclass
class TalkTimes:
    """Mutable: the transmissions and the said keys of one car that still wait for their meaning."""

    rates: Rates | None = None
    engineer: str | None = None  # whose key was the last one
    began: tuple[float, str | None] | None = None
    last: Talked | None = None
    counted: Talked | None = None  # without a key
    keyed: Talked | None = None
    pressed: tuple[bool, ...] = ()
    """For each of the last transmissions whether a key came with it."""
    quiet_from: float = float("-inf")
    """Since when nobody talks any more after a call and what the driver said to it."""
    transmissions: list[Transmission] = field(default_factory=list)
    said: list[tuple[SaidCall, str]] = field(default_factory=list)

    # -- reports and keys --------------------------------------------------------------------------------------------

    def answered(self, t: float) -> None:
        """The driver begins to talk; long after the engineer that is no read-back."""
        if t > self.quiet_from + CORRECTS_S:
            self.quiet_from = float("-inf")

    def begins(self, t: float, book: CallBook) -> None:
        """The engineer begins to talk."""
        ready = book.open_at(t)
        sure = len(ready) == 1 and not self._corrects(book, ready[0], t)
        self.began = t, ready[0].id if sure else None

    def _corrects(self, book: CallBook, ready: Call, t: float) -> bool:
        """Guard: so soon after another call that nobody has confirmed, this may be that call once more: it was read
        back wrong, and then the driver went on talking."""
        if self.last is None or t > self.quiet_from + CORRECTS_S or self.last.call == ready.id:
            return False
        before = book.find(self.last.call) if self.last.call is not None else None
        return before is None or not before.confirmed

    def ends(self, t: float) -> None:
        """Whoever talked has ended: the engineer's transmission is over, if there was one."""
        if self.began is None:
            self.quiet_from = t if self.quiet_from > float("-inf") else self.quiet_from
            return
        self.quiet_from = t
        begin, call = self.began
        self.began, self.last = None, Talked(begin, t, call)
        self.pressed = (*self.pressed, False)[-HABIT_OF:]
        self.transmissions = [one for one in self.transmissions if one.to_s > t - REMEMBERED_S]
        self.transmissions.append(Transmission(begin, t))

    def key(self, call: Call, by: str, t: float) -> None:
        """The key of a call was pressed by this hand."""
        self.engineer = by
        if self.pressed and (self.last is not None and t <= self.last.to_s + LATE_S):
            self.pressed = (*self.pressed[:-1], True)
        if self.last is not None and self.last.call == call.id:
            self.keyed = self.last  # its meaning is known
        if self.began is not None and self.began[1] == call.id:
            self.began = self.began[0], None
        self.said.append((SaidCall(call.id, call.spec.text, t), by))

    def meant(self, book: CallBook, now: float) -> Call | None:
        """The call that a key without a name means when its talk has been counted already; None: any other."""
        if self.last is None or self.last != self.counted or self.last.call is None or self.began is not None:
            return None
        return book.find(self.last.call) if now <= self.last.to_s + LATE_S else None

    # -- what follows ------------------------------------------------------------------------------------------------

    def count(self, book: CallBook, now: float) -> Call | None:
        """The call that was said without a key, once the time of its key is over; None when there is none."""
        if self.last is None or now < self.last.to_s + KEY_S or (call := self._unkeyed(book)) is None:
            return None
        took, text = self.last.to_s - self.last.from_s, call.spec.text
        if not _fits(took, call.spec.spoken_s) or sum(self.pressed) >= HABIT_FROM:
            self.last = None
            return None
        self.counted = self.last
        why = f"{PUSH_TO_TALK}: the engineer talked for {took:.1f} s in its window"
        if not part_said(book, call, now, f"said, {why}"):
            if not book.signal(call, "said", now, why):
                return None
            call.said_t, call.said_by = self.last.to_s, PUSH_TO_TALK
        self.said.append((SaidCall(call.id, text, self.last.to_s), self.engineer or PUSH_TO_TALK))
        return call

    def next_moment(self, book: CallBook) -> float | None:
        """When ``count`` may have something to say."""
        return None if self.last is None or self._unkeyed(book) is None else self.last.to_s + KEY_S

    def _unkeyed(self, book: CallBook) -> Call | None:
        # Asked twice with every fact: what most often says no comes first.
        call = None if self.last is None or self.last.call is None else book.find(self.last.call)
        if call is None or call.state not in ON_TRACK or call.spec.lap == "garage" or call.spec.medium == "board":
            return None  # in the garage everybody talks about everything
        if call.spec.kind in NEVER_BY_TALK or self.last in (self.counted, self.keyed):
            return None
        return call

    def withdrawn_while_said(self, book: CallBook, now: float) -> Call | None:
        """The call that was withdrawn in the middle of the last transmission, which was about it, or before a key could
        come: it was said, and is so from now on. None where there is none, or a key may still tell."""
        last = self.last
        if last is None or last.call is None or now < last.to_s + KEY_S or last in (self.counted, self.keyed):
            return None
        call = book.find(last.call)
        if call is None or call.state != "withdrawn" or call.said_t is not None or call.ended_t is None:
            return None
        if call.spec.lap == "garage" or call.spec.medium == "board" or call.spec.kind in NEVER_BY_TALK:
            return None
        took = last.to_s - last.from_s
        within = last.from_s < call.ended_t <= last.to_s + KEY_S
        if not within or not _fits(took, call.spec.spoken_s) or sum(self.pressed) >= HABIT_FROM:
            return None
        self.counted = last
        call.said_t, call.said_by = last.to_s, PUSH_TO_TALK
        return call

    def settle(self, now: float) -> None:
        """Learn from the keys that belong to one transmission beyond doubt."""
        if self.rates is None or not self.said or now < self.said[0][0].said_s + SETTLED_S:
            return
        for one, took in matched(self.transmissions, [one for one, _ in self.said]):
            for known, by in self.said:
                if known is one and now >= known.said_s + SETTLED_S:
                    self.rates.learn(by, one.text, took)
        self.said = [known for known in self.said if now < known[0].said_s + SETTLED_S]

    def words_per_minute(self, engineer: str | None, otherwise: float) -> float:
        """The rate of whoever has the radio: who took it over, else whose key was the last one."""
        return otherwise if self.rates is None else self.rates.words_per_minute(engineer or self.engineer)


def _fits(took_s: float, spoken_s: float) -> bool:
    """Guard: so long a talk is about the call."""
    low, high = (share * spoken_s for share in SPOKEN_SHARES)
    return max(low - SPOKEN_SLACK_S, SPOKEN_SLACK_S) <= took_s <= high + SPOKEN_SLACK_S
