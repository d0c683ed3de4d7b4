"""What a debrief needs of the facts and of what was decided, noted as they come: one pass over a journal, or live.

Mutable, and cheap for each fact: a dictionary by type says what is kept. Nothing here knows the engine.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from pitwall.model import events as ev
from pitwall.model import outputs as out

DOUBTFUL = ("unconfirmed", "late", "missed")
STILL_OPEN = ("planned", "shown", "due")
Voice = tuple[float, float]
ENTERED = frozenset({"undo", "set_car", "set_switch", "set_tyres", "set_fuel", "quiet", "keep_in", "let_go"})
"""Commands by which a hand changes what is believed of a car, or which calls it gets and whether it may go: their
undoing is one of them. Lines and pit signals stand in the table of laps."""
OF_ALL = frozenset({"status", "clock", "pit_exit"})
"""The same of what is believed of the session."""
TAKEN_BACK = ("taken back: status ", "taken back: clock ", "taken back: pit exit ")
"""So the answer begins to a hand of one car that took back what it had entered of the session: that is of both."""
KEYS = frozenset({"said", "answered"})
"""Commands that tell when a call was spoken."""
REAL_TIME = 0.05
"""A session whose clock differs by less from the machine's ran in real time: that was set, or slept."""
OVERTAKEN_S = 60.0
"""A position that is older than the newest by more was not overtaken on its way: its feed started over."""


@dataclass(frozen=True)
class Piece:
    """A piece of a call that was said, and the words of each part that remained of it then."""

    text: str
    spoken_s: float
    told_s: float
    rest: tuple[str, ...]

    def may_follow(self) -> set[str]:
        """What may be told behind it: parts that remained, one or several that follow one another."""
        ends = range(1, len(self.rest) + 1)
        return {" ".join(self.rest[begin:end]) for end in ends for begin in range(end)}


@dataclass
class CallNotes:
    """The life of one call: as it was told last, when it was due first, when it was said, what was ever doubted.

    ``worded``: as it was told last with what was to be said; once too late it may be an advice to the engineer.
    ``offered``: as it was told last while it was still to be said; a call that lapsed has the whole time of its rule.
    ``before``: when it had been said, and told, before it was said last: that may be taken back.
    ``pieces``: those that were said of it before its last one.
    """

    last: out.Prompt
    worded: out.Prompt
    due_s: float | None = None
    said_s: float | None = None
    told_s: float | None = None
    before: tuple[float | None, float | None] = (None, None)
    doubted: bool = False
    first_t: float = 0.0
    pieces: list[Piece] = field(default_factory=list)
    offered: out.Prompt | None = None

    @property
    def window(self) -> tuple[float, float]:
        """From when to when it was to be said, session seconds, as the engineer last saw it."""
        lapsed = self.doubted or self.last.state in DOUBTFUL
        told = self.offered if lapsed and self.offered is not None else self.last
        return told.say_from_s, told.say_by_s

    @property
    def begun(self) -> list[Piece]:
        """The pieces that belong before the words told last; none where these are others since."""
        return [one for one in self.pieces if self.worded.text in one.may_follow()]


@dataclass(frozen=True)
class Entered:
    """What a hand changed of what is believed of a car: when, who, what came of it in words, and the reason given."""

    t: float
    by: str
    what: str
    why: str


@dataclass
class CarNotes:
    """What was noted of one car of ours. ``channel``: who talked from when on, in the order in which it was heard."""

    calls: dict[str, CallNotes] = field(default_factory=dict)
    at_s: list[float] = field(default_factory=list)
    at_m: list[float] = field(default_factory=list)
    at_mps: list[float | None] = field(default_factory=list)
    trap_mps: dict[tuple[str, float], float] = field(default_factory=dict)
    positions: dict[str, list[tuple[float, Any, str]]] = field(default_factory=dict)
    corrections: list[out.Corrected] = field(default_factory=list)
    entered: list[Entered] = field(default_factory=list)
    first_plan: out.PlanState | None = None
    channel: list[tuple[float, str]] = field(default_factory=list)

    def positions_between(self, from_s: float, to_s: float) -> slice:
        """Which of the noted positions lie between two session seconds, both included."""
        return slice(bisect_left(self.at_s, from_s), bisect_left(self.at_s, to_s + 1e-9))


    def voices(self) -> list[Voice]:
        """When the engineer talked, from and to; reports that overtook one another stand in the order of their time."""
        found: list[Voice] = []
        since: float | None = None
        for t, talking in sorted(self.channel, key=lambda one: one[0]):
            if talking == "engineer":
                since = t if since is None else since
            elif since is not None:
                found.append((since, t))
                since = None
        return found


@dataclass
class SwitchNotes:
    """One switch of an alert: from when to when the alert was about it, and its words."""

    from_s: float
    words: str
    over_s: float | None = None


@dataclass
class AlertNotes:
    """One alert from when it was raised to when it was over. ``switches``: all that it was ever about."""

    raised: out.Alert
    last: out.Alert
    over_s: float | None = None
    acknowledged_s: float | None = None
    switches: dict[str, SwitchNotes] = field(default_factory=dict)

    def follow(self, alert: out.Alert) -> None:
        """It was told once more, or that it is over."""
        self.last = alert
        for switch, words in alert.switches.items():
            noted = self.switches.get(switch)
            if noted is None or noted.over_s is not None:
                noted = self.switches[switch] = SwitchNotes(alert.t, words)
            noted.words = words
        for switch, noted in self.switches.items():
            if noted.over_s is None and not (alert.active and switch in alert.switches):
                noted.over_s = alert.t

    @property
    def text(self) -> str:
        """What it said last; of switches that were put right one after the other what it said of each, and what it said
        of them all (that it comes and goes)."""
        if set(self.switches) == set(self.last.switches):
            return self.last.text
        words, listed = ("; ".join(texts) for texts in (
            (noted.words for noted in self.switches.values()), self.last.switches.values()))
        return words + (self.last.text.removeprefix(listed) if listed and self.last.text.startswith(listed) else "")


@dataclass
class Notes:
    """Everything that was noted of a session."""

    setup: ev.SessionPrepared | None = None
    cars: dict[str, CarNotes] = field(default_factory=dict)
    alerts: list[AlertNotes] = field(default_factory=list)
    held: list[out.HeldBack] = field(default_factory=list)
    corrections: list[out.Corrected] = field(default_factory=list)
    entered: list[Entered] = field(default_factory=list)
    facts: int = 0
    first_s: float = 0.0
    last_s: float = 0.0
    wall: list[tuple[float, float]] = field(default_factory=list)
    restarts: int = 0
    gaps: list[tuple[float, float]] = field(default_factory=list)
    failed: int = 0
    _standing: dict[str, AlertNotes] = field(default_factory=dict)
    _key: ev.CommandGiven | None = None

    def __post_init__(self) -> None:
        self._facts: dict[str, Callable[[Any], None]] = {
            "session_prepared": self._prepared, "car_positioned": self._position, "switch_reported": self._switch,
            "channel_reported": self._channel, "car_crossed": self._crossing, "restarted": self._gap,
            "resumed": self._gap,
        }
        self._outputs: dict[str, Callable[[Any], None]] = {
            "prompt": self._prompt, "alert": self._alert, "held_back": self.held.append, "corrected": self._corrected,
            "plan_state": self._plan,
        }

    def take(self, stamped: ev.Stamped, outputs: Iterable[out.Output], *, failed: bool = False) -> None:
        """Note one fact and what it led to; ``failed``: the engine raised on it."""
        if not self.facts:
            self.first_s = stamped.received_t
        self.facts += 1
        self.failed += failed
        self.last_s = max(self.last_s, stamped.received_t) if self.facts > 1 else stamped.received_t
        if stamped.wall_s is not None and (not self.wall or stamped.received_t >= self.wall[-1][0] + 1.0):
            self.wall.append((stamped.received_t, stamped.wall_s))
        note = self._facts.get(stamped.event.type)
        if note is not None:
            note(stamped.event)
        event = stamped.event
        self._key = event if isinstance(event, ev.CommandGiven) and event.command in KEYS else None
        for output in outputs:
            if isinstance(output, out.Answered) and isinstance(stamped.event, ev.CommandGiven):
                self._answered(stamped.event, output)
            kept = self._outputs.get(output.type)
            if kept is not None:
                kept(output)

    def wall_at(self, t: float) -> float | None:
        """Unix seconds at a session second, by the journal's own stamps; None where it has none. Between two of them
        time goes evenly, at whatever speed a session was rehearsed (several of its seconds in one of the day): it runs
        backwards only where the machine's own clock was put back. Beyond them it goes as it went on the whole."""
        if not self.wall:
            return None
        at = bisect_left(self.wall, (t, 0.0))
        if 0 < at < len(self.wall):
            before, behind = self.wall[at - 1 : at + 1]
            share = (t - before[0]) / (behind[0] - before[0])
            return before[1] + share * (behind[1] - before[1])
        first, last = self.wall[0], self.wall[-1]
        near, whole_s = first if at == 0 else last, last[0] - first[0]
        rate = (last[1] - first[1]) / whole_s if whole_s > 0 else 1.0
        return near[1] + (t - near[0]) * (1.0 if abs(rate - 1.0) < REAL_TIME else rate)

    def speed(self) -> float | None:
        """How many seconds of the session went by in one of the machine's clock; None where that was a session in real
        time, or nothing tells."""
        if len(self.wall) < 2:
            return None
        first, last = self.wall[0], self.wall[-1]
        real_s = last[1] - first[1]
        speed = (last[0] - first[0]) / real_s if real_s > 0 else 1.0
        return None if abs(1.0 / speed - 1.0) < REAL_TIME else speed

    # -- facts ------------------------------------------------------------------------------------------------

    def _prepared(self, event: ev.SessionPrepared) -> None:
        self.setup = event
        self.cars = {car: CarNotes() for car in sorted(event.setup.plans)}

    def _position(self, event: ev.CarPositioned) -> None:
        car = self.cars.get(event.car)
        if car is None or (car.at_s and event.t <= car.at_s[-1] - OVERTAKEN_S):
            return
        at = bisect_left(car.at_s, event.t)  # one that later ones overtook on their way stands where it belongs
        if at == len(car.at_s) or car.at_s[at] != event.t:
            car.at_s.insert(at, event.t)
            car.at_m.insert(at, event.distance_m)
            car.at_mps.insert(at, event.speed_mps)

    def _crossing(self, event: ev.CarCrossed) -> None:
        car = self.cars.get(event.car)
        if car is not None and event.speed_mps is not None:
            car.trap_mps[event.loop, event.t] = event.speed_mps

    def _switch(self, event: ev.SwitchReported) -> None:
        car = self.cars.get(event.car)
        if car is not None:
            car.positions.setdefault(event.switch, []).append((event.t, event.position, "measured"))

    def _channel(self, event: ev.ChannelReported) -> None:
        car = self.cars.get(event.car)
        if car is not None:
            car.channel.append((event.t, event.talking))

    def _gap(self, event: ev.Restarted | ev.Resumed) -> None:
        self.restarts += event.type == "restarted"
        if event.gap_s > 0:
            self.gaps.append((event.t, event.gap_s))

    # -- outputs ----------------------------------------------------------------------------------------------

    def _answered(self, command: ev.CommandGiven, answer: out.Answered) -> None:
        """A command was carried out."""
        car = self.cars.get(command.car)
        entered = Entered(answer.t, command.by, answer.effect, (command.text or "").strip())
        of_all = command.command == "undo" and answer.effect.startswith(TAKEN_BACK)
        if command.command in OF_ALL or of_all:
            self.entered.append(entered)
        if car is not None and command.command in ENTERED:
            car.entered.append(entered)

    def _prompt(self, prompt: out.Prompt) -> None:
        car = self.cars.get(prompt.car)
        if car is None:
            return
        notes = car.calls.get(prompt.call)
        if notes is None:
            notes = car.calls[prompt.call] = CallNotes(prompt, prompt, first_t=prompt.t)
        spoken_s, before = self._spoken_s(prompt), notes.last.state
        if prompt.parts_said > notes.last.parts_said:
            # What remains has no parts any more where the channel has room for all of it: these were told before.
            rest = prompt.parts or notes.last.parts[1:]
            notes.pieces.append(Piece(notes.last.text, notes.last.spoken_s, spoken_s, tuple(one.text for one in rest)))
        notes.last = prompt
        if prompt.state not in DOUBTFUL:
            notes.worded = prompt
        if prompt.state in STILL_OPEN:
            notes.offered = prompt
        if prompt.state == "due" and notes.due_s is None:
            notes.due_s = prompt.t
        if prompt.state == "said" and (before != "said" or notes.said_s is None):
            notes.before = (notes.said_s, notes.told_s)
            notes.said_s = spoken_s
        if prompt.state in ("said", "done", "late", "unconfirmed") and notes.told_s is None:
            notes.told_s = spoken_s
        if before == "said" and (prompt.state == "withdrawn" or (prompt.state == "due" and prompt.because is None)):
            # The key was a slip: a call that was said is taken back in no other way, and due once more for nobody's
            # command. Before a repeat it may have been said all the same.
            notes.said_s, notes.told_s = notes.before
        notes.doubted |= prompt.state in ("late", "unconfirmed")

    def _spoken_s(self, prompt: out.Prompt) -> float:
        """When a call was spoken that is told to be: the key may come in later than it was pressed, or be told later
        (``--at``), and its own moment counts, as it does in the engine."""
        key = self._key
        return prompt.t if key is None or key.id != prompt.because else min(key.t, prompt.t)

    def _alert(self, alert: out.Alert) -> None:
        standing = self._standing.get(alert.id)
        if standing is None:
            if not alert.active:
                self._noted_afterwards(alert)
                return
            standing = self._standing[alert.id] = AlertNotes(alert, alert)
            self.alerts.append(standing)
        standing.follow(alert)
        if alert.acknowledged and standing.acknowledged_s is None:
            standing.acknowledged_s = alert.t
        if not alert.active:
            standing.over_s = alert.t
            del self._standing[alert.id]

    def _noted_afterwards(self, alert: out.Alert) -> None:
        """It was over when the hand took note of it."""
        last = next((one for one in reversed(self.alerts) if one.raised.id == alert.id), None)
        if last is not None and alert.acknowledged and last.acknowledged_s is None:
            last.acknowledged_s = alert.t

    def _corrected(self, corrected: out.Corrected) -> None:
        car = self.cars.get(corrected.car) if corrected.car is not None else None
        (self.corrections if car is None else car.corrections).append(corrected)

    def _plan(self, plan: out.PlanState) -> None:
        car = self.cars.get(plan.car)
        if car is not None and car.first_plan is None:
            car.first_plan = plan
