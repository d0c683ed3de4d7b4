"""The book of calls of one car: what is to be said, in which state each call is, and why.

Rules say what should be said as *specs*, keyed; the book keeps the *calls* made from them. A spec that is new makes a
call, one that moved re-times it, one that is gone withdraws it, or, where its lap went by, lets it expire. A call that
was withdrawn and is wanted again makes another attempt under the same key.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from pitwall.engine.call import PRIORITY, Call, CallSpec, later, pointless, still_in_time, too_late
from pitwall.engine.offered_again import FEW_KEYS, HEARD, wanted_again
from pitwall.engine.transitions import CALL, allowed, step
from pitwall.model.plan import CallClass
from pitwall.model.record import altered

MOVED_S = 0.75  # a window that moves by less is not worth telling the engineer again
DEFER_S, LEAST_DEFER_S = 20.0, 4.0
LAPSES_S = 0.1
LAPSE_AGAIN_S = 0.5  # a lapsed call that stayed where it is when all was laid out anew is looked at again after that
OPENS_S = 0.3  # the clocks of the radio desk and of pitwall need not agree better
REPEAT_S = 12.0  # a call asked for once more is due for so long
EVEN_UNDER_RED: tuple[CallClass, ...] = ("session", "safety", "stop")
FAR_AHEAD_S = 20.0  # a call whose window lay further ahead than this was not missed: its lap fell out of the run
YELLOW = "yellow flag at its place"
CALLED_IN = "the car was called in"
CAME_IN = "the car came in before it could be said"
UNNEEDED = "no longer needed"
NO_WORD = "no word that it was said"
WAITS = "waits for the next stretch on which the driver can listen"
HELD_BACK = "held back"
SETTLED = "said; nothing speaks against it"


@dataclass
class CallBook:
    """Every call of one car's session, and what changed since it was last asked."""

    car: str
    unconfirmed_after_s: float
    calls: dict[str, Call] = field(default_factory=dict)
    latest: dict[str, Call] = field(default_factory=dict)
    by_action: dict[str, list[Call]] = field(default_factory=dict)  # in the order made; a key always asks for the same
    changed: list[Call] = field(default_factory=list)
    keys: int = 0
    live: dict[str, Call] = field(default_factory=dict)
    said: set[str] = field(default_factory=set)
    lapse_t: float = -math.inf

    # -- following the rules -----------------------------------------------------------------------------------

    def reconcile(
        self, specs: Iterable[CallSpec], now: float, gone: str, yellow: bool, leg_now: tuple[str | None, int, int],
        left_out: range = range(0),
    ) -> None:
        """Bring the book in line with what the rules want now.

        Args:
            specs: everything that should still be said, in any order.
            now: session second.
            gone: why everything that is wanted no more is withdrawn (red flag); empty when nothing stops the session.
            yellow: a yellow holds somewhere: steps of procedures that vanish do so for it.
            leg_now: ``(run, planned lap, lap number)`` the car is on, the lap -1 where it is on none: a call for an
                earlier lap expires instead.
            left_out: planned laps of that run that are not driven, for the car was called in before them.
        """
        wanted = {spec.key: spec for spec in specs}
        for key, spec in wanted.items():
            call = self.latest.get(key)
            if call is None:
                if not pointless(spec, now) and not too_late(spec, now):
                    self._make(key, spec, 1, now)
            elif call.open:
                self._retime(call, spec, now)
            elif wanted_again(call, spec, self.calls, self.keys, now):
                self._make(key, spec, sum(1 for other in self.calls.values() if other.spec.key == key) + 1, now)
        for call in self._open_calls():
            spec = call.spec
            if call.repeated and (not gone or call.spec.kind in EVEN_UNDER_RED):
                continue  # the desk asked for it, not the rules
            if spec.key in wanted:
                continue
            step_of_one = "procedure" in (spec.kind, spec.ask.action)
            if not gone and spec.run == leg_now[0] and spec.leg in left_out:
                self.signal(call, "withdraw", now, CALLED_IN)
            else:
                self._let_go(call, now, gone or (YELLOW if yellow and step_of_one else ""), leg_now)

    def _make(self, key: str, spec: CallSpec, attempt: int, now: float) -> None:
        wished, spec = spec, still_in_time(spec, now)
        call = Call(f"{self.car}-{key}" if attempt == 1 else f"{self.car}-{key}~{attempt}", self.car, spec)
        call.again, call.hurried = attempt > 1, spec is not wished
        self.calls[call.id] = call
        self.latest[key] = self.live[call.id] = call
        self.by_action.setdefault(spec.ask.action, []).append(call)

    def _retime(self, call: Call, spec: CallSpec, now: float) -> None:
        if call.repeated:
            return
        if call.deferred_s:
            spec = later(spec, call.deferred_s)
        old = call.spec
        if call.hurried and spec.say_by_s < now:
            return  # it was made late on purpose
        if call.state == "planned":
            wished, spec = spec, still_in_time(spec, now)
            call.hurried = spec is not wished
            if pointless(spec, now):
                self.signal(call, "withdraw", now, "its time on this lap is over")
                return
        moved = abs(old.say_by_s - spec.say_by_s) > MOVED_S or abs(old.say_from_s - spec.say_from_s) > MOVED_S
        turned = (old.against is None) != (spec.against is None)
        if not moved and not turned and (old.text, old.short, old.ask) == (spec.text, spec.short, spec.ask):
            self._follow_quietly(call, spec, now)
            return
        if call.state == "due" and (old.short, old.ask) != (spec.short, spec.ask):
            return  # the engineer may be saying it: its words stay until it is done or its time is over
        call.spec = spec
        waits = call.state == "due" and spec.until_s is not None and now < spec.say_from_s - MOVED_S
        if call.state == "planned":
            return
        if waits or now < spec.say_from_s - spec.lead_s - MOVED_S:
            self.signal(call, "retimed", now, WAITS if waits else "the car comes later than thought")
        elif moved or turned or old.text != spec.text:
            self._touch(call)

    def _follow_quietly(self, call: Call, spec: CallSpec, now: float) -> None:
        """Nothing moved that is worth telling the engineer again; what goes with the call follows all the same."""
        old = call.spec
        quiet = (old.waits, old.caution, old.against, old.until_s)
        if quiet == (spec.waits, spec.caution, spec.against, spec.until_s):
            return
        call.spec = altered(
            old, waits=spec.waits, caution=spec.caution, against=spec.against, until_s=spec.until_s
        )
        if old.waits and call.state == "shown" and now < spec.say_from_s:
            self._touch(call)  # it no longer waits for the line

    def _let_go(self, call: Call, now: float, gone: str, leg_now: tuple[str | None, int, int]) -> None:
        run, leg, lap_number = leg_now
        spec = call.spec
        by_lap = spec.lap_number is not None and spec.lap_number < lap_number
        by_leg = spec.lap_number is None and spec.leg is not None and (run != spec.run or spec.leg < leg)
        if (by_lap or by_leg) and gone in ("", YELLOW):
            if call.state == "planned" and spec.say_from_s > now + FAR_AHEAD_S:
                self.signal(call, "withdraw", now, "the run went another way")
            elif call.state == "due" or (call.state == "shown" and now >= spec.say_from_s):
                self.signal(call, "expired", now, "its place on the lap is behind the car")
            elif leg < 0:  # a lap earlier than was known, whatever it leaves for next: nobody was slow
                self.signal(call, "withdraw", now, CAME_IN)
            else:
                self.signal(call, "passed", now, "the car was there before the call could be made")
            return
        if spec.kind == "session" and call.state == "due" and now >= spec.say_by_s:
            self.signal(call, "expired", now, NO_WORD)  # news that was open to its end was needed, and nobody told it
            return
        self.signal(call, "withdraw", now, gone or UNNEEDED)

    def defer(self, call: Call, now: float, reason: str, because: str) -> float:
        """Put an open call off as far as it can wait, at most ``DEFER_S``; returns by how much, 0 when it cannot."""
        shift = DEFER_S
        if call.spec.latest_s is not None:
            shift = min(shift, call.spec.latest_s - max(call.spec.say_by_s, now))
        if shift < LEAST_DEFER_S:
            return 0.0
        call.deferred_s += shift
        call.spec = later(call.spec, shift)
        if not self.signal(call, "retimed", now, reason, because):
            call.because = because
        return shift

    def repeat(self, call: Call, now: float, reason: str, because: str | None) -> bool:
        """A call that was made, or may have been, is due once more from now on; False where it cannot be."""
        if not allowed(CALL, call.state, "repeat"):
            return False
        by = now + REPEAT_S
        if call.spec.kind == "box" and call.spec.act_at_s is not None:
            by = max(now, min(by, call.spec.act_at_s - call.spec.spoken_s))
        call.spec, call.repeated = altered(call.spec, say_from_s=now, say_by_s=by), True
        return self.signal(call, "repeat", now, reason, because)

    # -- time ------------------------------------------------------------------------------------------------------

    def tick(self, now: float) -> None:
        """Show, open and expire what the time asks for."""
        for call in self._open_calls():
            spec = call.spec
            if call.state == "planned":
                if now < spec.say_from_s - spec.lead_s and now < spec.say_by_s:
                    continue  # as most are: neither over nor to be shown yet
                if not spec.waits and now >= self._over_at(spec):
                    self.signal(call, "passed", now, "it became known too late to be said in time")
                    continue
                if now >= spec.say_from_s - spec.lead_s and (spec.lead_s or not spec.waits):
                    self.signal(call, "lead", now)
            if call.state == "shown" and now >= spec.say_from_s and not spec.waits:
                self.signal(call, "open", now)
            if call.state == "due" and now >= self._over_at(spec):
                if spec.against is not None:
                    self.signal(call, "withdraw", now, f"{HELD_BACK}: {spec.against}")
                else:
                    self.signal(call, "expired", now, NO_WORD)

    def _over_at(self, spec: CallSpec) -> float:
        """When a call without a word counts as unconfirmed: the key is pressed after the sentence, not before it. A box
        call must turn into "too late" when it is, and not before: as long as the driver can act it may be said."""
        speaking = 0.0 if spec.kind == "box" else spec.spoken_s
        return spec.last_moment_s + speaking + self.unconfirmed_after_s

    def next_moment(self, now: float) -> float | None:
        """The next session second after ``now`` at which ``tick`` has something to do."""
        found: float | None = None
        for call in self.live.values():
            spec, state = call.spec, call.state
            if state != "due":
                moment = spec.say_from_s if state == "shown" else spec.say_from_s - spec.lead_s
                if moment > now and (found is None or moment < found):
                    found = moment
                continue
            moments = [self._over_at(spec)]
            if spec.until_s is not None:
                moments += (spec.say_by_s + LAPSES_S, spec.until_s + LAPSES_S)
            for moment in moments:
                if moment > now and (found is None or moment < found):
                    found = moment
        return found

    @property
    def begins_s(self) -> float:
        """When the first of the open calls begins, or began; infinity where there is none."""
        return min([call.spec.say_from_s for call in self.live.values()], default=math.inf)

    def lapsed(self, now: float, stays: Callable[[Call], bool] = lambda call: False) -> bool:
        """True when the window of a due call went by and another one is left for it; told once in LAPSE_AGAIN_S.

        Not of a call that ``stays`` where it is for now.

        Laid out anew the call may stay where it is. Were that looked at again with each fact, a plan that has two ways
        of the same worth could go to and fro for ever: each change is told, and that it was told is a fact.
        """
        if now < self.lapse_t + LAPSE_AGAIN_S:
            return False
        for call in self.live.values():
            if call.state != "due":
                continue
            over = call.spec.until_s is not None and call.spec.say_by_s + LAPSES_S <= now
            if over and not stays(call):
                self.lapse_t = now
                return True
        return False

    def after_gap(self, gap_from: float, now: float, what: str = "was down") -> None:
        """The daemon was away from ``gap_from`` to ``now``: what should have been said then is late or missed."""
        for call in self._open_calls():
            if gap_from < call.spec.say_by_s <= now:
                self.signal(call, "gap", now, f"pitwall {what} from {gap_from:.0f} s to {now:.0f} s")

    # -- signals -------------------------------------------------------------------------------------------------

    def signal(
        self, call: Call, signal: str, now: float, reason: str | None = None, because: str | None = None
    ) -> bool:
        """Take a signal through the CALL table and note the change; False where it does not apply."""
        if not allowed(CALL, call.state, signal):
            return False
        before = call.state
        call.state = step("call", call.state, signal)  # type: ignore[assignment]  # the table holds call states only
        if call.state == before and signal != "repeat" and (signal != "came_in" or reason == call.reason):
            return True
        call.reason, call.because = reason, because
        (self.said.add if call.state == "said" else self.said.discard)(call.id)
        if call.open:
            self.live[call.id] = call
        else:
            self.live.pop(call.id, None)
            call.repeated = False
            call.forget_prompt()
        if call.state == "shown":
            call.shown_t = now if call.shown_t is None else call.shown_t
        if call.state == "due":
            call.shown_t = now if call.shown_t is None else call.shown_t
            call.due_t = now if call.due_t is None else call.due_t
        if call.at_rest:
            call.ended_t = now
        self._touch(call)
        return True

    def _touch(self, call: Call) -> None:
        # A call that the engineer never saw changes in silence.
        if call.state == "planned" and call.shown_t is None:
            return
        if call.shown_t is None and call.state == "withdrawn":
            return
        call.revision += 1  # 0 is the planned call, as it stands on the stack, untold
        call.told = True
        if call not in self.changed:
            self.changed.append(call)

    def take_changed(self) -> list[Call]:
        """Calls whose prompt must be published, in the order in which they changed; forgets them."""
        changed, self.changed = self.changed, []
        return changed

    def _open_calls(self) -> list[Call]:
        return list(self.live.values())

    def may_have_hung(self, key: str) -> bool:
        """Guard: the board of that key was hung out, or nobody here tells."""
        call = self.latest.get(key)
        told = ("due", "said", "done", "late") if self.keys >= FEW_KEYS else ("due", *HEARD)
        return call is not None and call.state in told

    def due_first(self) -> Call | None:
        """The call that a bare ``said`` means: due before shown, then priority, then the earlier deadline."""
        ready = [call for call in self._open_calls() if call.state in ("due", "shown")]
        return min(
            ready,
            key=lambda call: (call.state != "due", -PRIORITY[call.spec.kind], call.spec.say_by_s, call.id),
            default=None,
        )

    def open_now(self, t: float) -> str | None:
        """Id of the call that somebody says who begins to speak at ``t``: in its window, the most important first."""
        return next((call.id for call in self.open_at(t)), None)

    def open_at(self, t: float) -> list[Call]:
        """The calls in whose window ``t`` lies, the most important first."""
        ready = [call for call in self._open_calls() if call.state in ("due", "shown")
                 and call.spec.say_from_s - OPENS_S <= t <= call.spec.say_by_s + OPENS_S]
        return sorted(ready, key=lambda call: (-PRIORITY[call.spec.kind], call.spec.say_by_s, call.id))

    def begun_by(self, t: float) -> list[Call]:
        """The calls whose window has opened by ``t`` and that nobody has taken for over: also those that are late."""
        return [call for call in self._open_calls()
                if call.state == "due" or (call.state == "shown" and call.spec.say_from_s - OPENS_S <= t)]

    def asking(self, action: str) -> Sequence[Call]:
        """Every call that asks for this, in the order in which they were made: of a long day's calls a few."""
        return self.by_action.get(action, ())

    def find(self, call_id: str) -> Call | None:
        """The call of that id."""
        return self.calls.get(call_id)

    def ended_since(self, t: float) -> list[tuple[Call, float]]:
        """Calls that the engineer knew of and that came to rest after ``t``, each with that moment."""
        return [
            (call, call.ended_t)
            for call in self.calls.values()
            if call.told and call.at_rest and call.ended_t is not None and call.ended_t > t
        ]

    def outstanding(self) -> list[Call]:
        """Calls on the engineer's stack: shown or due first, then what is planned next, in order of time."""
        return sorted(self._open_calls(), key=lambda call: (call.spec.say_by_s, -PRIORITY[call.spec.kind], call.id))
