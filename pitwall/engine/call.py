"""One call: what a rule wants said, and the history of saying it."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.engine.transitions import CALL_OPEN, CALL_REST
from pitwall.model.car import Position
from pitwall.model.outputs import Ask, CallPart, CallState, CallWay, Prompt
from pitwall.model.plan import CallClass, Medium
from pitwall.model.record import altered, record
from pitwall.radio.ways import Room

READS_S = 1.5  # nobody reads a lap time and begins to say it in less (common practice, no source)
SAID_GRACE_S = 1.0  # the key comes after the mouth: said this late still counts as in time

PRIORITY: dict[CallClass, int] = {
    "stop": 100,
    "session": 95,
    "safety": 93,
    "box": 90,
    "release": 80,
    "switch": 70,
    "procedure": 60,
    "brief": 55,
    "run": 50,
    "ruling": 45,
    "answer": 40,
    "care": 35,
    "traffic": 30,
    "question": 20,
    "pace": 10,
}


NOTHING_ASKED = Ask(action="none")


@record
class CallSpec:
    """What a rule wants said. Times are session seconds; ``leg`` is the planned lap on which the driver acts."""

    key: str
    kind: CallClass
    text: str
    short: str
    say_from_s: float
    say_by_s: float
    spoken_s: float
    lead_s: float
    ask: Ask = NOTHING_ASKED
    place: str | None = None
    act_at_s: float | None = None
    run: str | None = None
    lap: str | None = None
    leg: int | None = None
    lap_number: int | None = None
    item: str | None = None
    caution: str | None = None
    against: str | None = None  # why it is better not made now; nobody says it: held back, and tried on another lap
    medium: Medium = "two_way"
    board: tuple[str, ...] = ()  # its lines, where it is shown and not spoken
    pass_number: int | None = None  # of a board: the session's lap that begins where the car passes it
    breaks_off: str | None = None  # why it ends what the driver is doing: once said, the item was not done
    late_text: str | None = None
    not_done: bool = False  # telemetry of this lap, or its silence, shows that nothing was changed
    unanswered: bool = False  # told before, and the driver has not answered though answers are entered here
    waits: bool = False  # belongs after the line: not to be said before the car is seen to start that lap
    latest_s: float | None = None  # begin by then and the driver can still act, if not where it is best said
    room: Room | None = None  # where it may go at all; none: its own window is all there is
    way: CallWay = "full"  # as the channel plan has it
    way_reason: str | None = None
    parts: tuple[CallPart, ...] = ()
    until_s: float | None = None  # the last moment that the channel plan has for it, perhaps in a later stretch
    early_or_not: bool = False  # it is dropped rather than that news waits for it, or that it is said in a corner
    soon_over: bool = False  # of use in the next seconds only: said at once, in one breath, in short rather than late

    @property
    def asked(self) -> dict[str, Position]:
        """Every switch that it names, with the position to go to; a copy."""
        found: dict[str, Position] = dict(self.ask.positions)
        if self.ask.switch is not None and self.ask.position is not None:
            found[self.ask.switch] = self.ask.position
        return found

    @property
    def last_moment_s(self) -> float:
        """Begun by then, the call is in time; one with a late text holds for as long as it can be acted on."""
        by = max(self.say_by_s, self.until_s or self.say_by_s)
        if self.late_text is None or self.latest_s is None:
            return by
        return max(by, self.latest_s)


@dataclass
class Call:
    """One call and its history."""

    id: str
    car: str
    spec: CallSpec
    state: CallState = "planned"
    revision: int = 0
    reason: str | None = None
    because: str | None = None
    shown_t: float | None = None
    due_t: float | None = None
    said_t: float | None = None
    said_by: str | None = None
    confirmed: bool = False
    delivered_t: float | None = None
    ended_t: float | None = None
    told: bool = False
    again: bool = False
    repeated: bool = False
    hurried: bool = False
    unfounded: bool = False  # it ended for what did not happen: wanted again, it is made anew
    deferred_s: float = 0.0
    parts_said: int = 0
    begun: tuple[str, str] | None = None  # all its words, and what remains of them once a part was said
    _shown: tuple[tuple[object, ...], Prompt] | None = field(default=None, init=False, repr=False, compare=False)

    @property
    def open(self) -> bool:
        """True while it may still be said."""
        return self.state in CALL_OPEN

    @property
    def at_rest(self) -> bool:
        """True in a state in which it may be left for ever."""
        return self.state in CALL_REST

    def at_the_pits(self) -> tuple[str, str]:
        """The signal, and why, of a call home whose car came in. News that nobody says he told was not done: the driver
        may have seen the flags. A box call is told by nothing but the radio, so the car itself shows that it was."""
        unsaid = self.said_t is None
        if self.state in ("planned", "shown") or (self.spec.against is not None and unsaid and self.state == "due"):
            return "withdraw", "the car is in already"
        if self.spec.ask.action == "return_to_pits" and unsaid and self.state != "late":
            return "came_in", "not confirmed; the car came in"
        return "evidence", "the car came in"

    def prompt(self, t: float) -> Prompt:
        """The published form, as it stands at ``t``; while the call is open it is made anew only when something on it
        changed."""
        if not self.open:
            return self._prompt(t)
        made_of = (self.spec, self.state, self.revision, self.reason, self.because, self.parts_said)
        if self._shown is None or any(was is not now for was, now in zip(self._shown[0], made_of, strict=True)):
            # Kept without the moment at which it was first asked for: a restart moves that moment.
            self._shown = made_of, self._prompt(0.0)
        return self._shown[1].model_copy(update={"t": t})

    def forget_prompt(self) -> None:
        """The call ended: it is shown once or never again, so what was last shown of it is not kept."""
        self._shown = None

    def _prompt(self, t: float) -> Prompt:
        spec = self.spec
        text = spec.late_text if spec.late_text and self.state in ("unconfirmed", "late", "missed") else spec.text
        return Prompt(
            id=f"{self.id}.{self.revision}",
            t=t,
            car=self.car,
            call=self.id,
            revision=self.revision,
            kind=spec.kind,
            text=text,
            short=spec.short,
            place=spec.place,
            run=spec.run,
            lap=spec.lap,
            say_from_s=round(spec.say_from_s, 3),
            say_by_s=round(spec.say_by_s, 3),
            act_at_s=None if spec.act_at_s is None else round(spec.act_at_s, 3),
            spoken_s=spec.spoken_s,
            priority=PRIORITY[spec.kind],
            state=self.state,
            reason=self.reason,
            because=self.because,
            caution=spec.caution,
            against=spec.against,
            after_line=spec.waits and self.open,
            way=spec.way,
            way_reason=spec.way_reason,
            parts=spec.parts,
            parts_said=self.parts_said,
            medium=spec.medium,
            board=spec.board,
            ask=spec.ask,
        )


def still_in_time(spec: CallSpec, now: float) -> CallSpec:
    """A call that became known late: not where it is best said, but at once, while the driver can still act."""
    if spec.say_by_s < now and spec.latest_s is not None and spec.latest_s > now:
        return altered(spec, say_from_s=now, say_by_s=spec.latest_s)
    return spec


def pointless(spec: CallSpec, now: float) -> bool:
    """Guard: its time is over and nothing is lost: a lap time is old news, the last box call is still to come, and a
    switch has its alert."""
    reads_s = READS_S if spec.kind == "pace" else 0.0
    over = max(spec.say_by_s, spec.latest_s or spec.say_by_s) <= now + reads_s
    # A question that hangs on no place may become possible when its time is over: nobody missed it.
    # A switch that comes off its place so late stands wrong as the lap begins: that is an alert, and no call.
    old_news = (spec.kind in ("pace", "box") or (spec.kind == "question" and spec.act_at_s is None)
                or spec.ask.action == "set_switch")
    return over and old_news and spec.late_text is None


def too_late(spec: CallSpec, now: float) -> bool:
    """Guard: a change before the line that became known when it could not be said in time any more. The alert of the
    lap that begins wrong is what tells it."""
    return spec.kind == "switch" and spec.place == "line" and max(spec.say_by_s, spec.latest_s or now) <= now


def later(spec: CallSpec, by_s: float) -> CallSpec:
    """The same call with its window moved back."""
    return altered(spec, say_from_s=spec.say_from_s + by_s, say_by_s=spec.say_by_s + by_s)
