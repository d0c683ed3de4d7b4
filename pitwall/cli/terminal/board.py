"""What a terminal knows of one session: the last word on each thing the daemon publishes. Pure; no clock, no bus."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.app.call_words import in_words
from pitwall.model.outputs import (
    AdviceState,
    Alert,
    Answered,
    ClockState,
    Corrected,
    DeskState,
    ForecastState,
    Health,
    LadderState,
    Output,
    Prompt,
    Proposal,
    Refused,
    RunDebrief,
)

Message = Output | Health
"""What a terminal hears."""

OPEN = ("planned", "shown", "due", "said")
"""States in which the engineer may still have something to do with a prompt."""

IN_THE_PITS = ("pit_lane", "garage")
ENDED_SHOWN_FOR_S = 20.0
NOTES_KEPT = 3
TO_SAY = ("planned", "shown", "due")
DESPITE_QUIET = ("session", "safety", "stop", "box")
"""What still comes to a car on the track that is kept quiet."""
SAID_FOR_S = 600.0
"""Nobody waits so long for what a said call is to bring: its end was not heard."""
STACK = 16
"""So many calls the daemon lists at most."""
_URGENCY = {"high": 0, "medium": 1, "low": 2}


@dataclass
class Board:
    """The state of one session as seen from a terminal; feed it with :meth:`take`."""

    clock: ClockState | None = None
    health: Health | None = None
    desks: dict[str, DeskState] = field(default_factory=dict)
    forecasts: dict[str, ForecastState] = field(default_factory=dict)
    alerts: dict[str, Alert] = field(default_factory=dict)
    proposals: dict[str, Proposal] = field(default_factory=dict)
    """Changed plans from files that wait for an answer, by car."""
    advice: AdviceState | None = None
    ladder: LadderState | None = None
    debriefs: dict[str, RunDebrief] = field(default_factory=dict)
    """What came of the run that each car drove last."""
    turns: tuple[int, ...] = ()
    """The turns that the circuit has; none while the daemon has not told them."""
    notes: list[str] = field(default_factory=list)
    hint: str = ""
    """Why the last key did nothing; empty when it did something."""
    _prompts: dict[str, Prompt] = field(default_factory=dict)

    def standing(self) -> list[Alert]:
        """Alerts in the order of the page: what nobody noted before the rest, then those that ask most, then the
        oldest."""
        return sorted(self.alerts.values(),
                      key=lambda one: (one.acknowledged, _URGENCY[one.priority], one.since_s, one.id))

    def take(self, message: Message) -> None:
        """Note one message; an older revision of a prompt than the one known changes nothing."""
        match message:
            case Prompt():
                self._take_prompt(message)
            case DeskState():
                self.desks[message.car] = message
                self._end_unlisted(message)
                for prompt in message.prompts:
                    self._take_prompt(prompt)
            case Alert():
                self._take_alert(message)
            case Proposal():
                self._take_proposal(message)
            case AdviceState() | LadderState() | ForecastState() | RunDebrief():
                self._take_standing(message)
            case ClockState():
                self.clock = message
            case Health():
                self.health = message
                self.turns = message.turns or self.turns
            case Refused():
                self.note(f"refused: {in_words(message.reason, self.words())}")
            case Answered():
                effect = in_words(message.effect, self.words())
                self.note(effect if f"car {message.car}" in effect.lower() else f"car {message.car}: {effect}")
            case Corrected():
                self.note(message.text)
            case _:
                pass  # plans, laps and the field are for bigger screens

    def _take_alert(self, alert: Alert) -> None:
        if alert.active:
            self.alerts[alert.id] = alert
        else:
            self.alerts.pop(alert.id, None)

    def _take_standing(self, message: AdviceState | LadderState | ForecastState | RunDebrief) -> None:
        if isinstance(message, ForecastState):
            self.forecasts[message.car] = message
        elif isinstance(message, RunDebrief):
            self.debriefs[message.car] = message
        elif isinstance(message, AdviceState):
            self.advice = message if message.active else None
        else:
            self.ladder = message if message.active else None

    def _take_proposal(self, proposal: Proposal) -> None:
        if proposal.active:
            self.proposals[proposal.car] = proposal
        else:
            self.proposals.pop(proposal.car, None)

    def must_lost(self) -> bool:
        """Guard: a must of any car is over, so a chance of the musts is that of the others."""
        return any(one.musts_lost for one in self.forecasts.values())

    def over(self) -> bool:
        """Guard: no run can be begun or ended any more, so no chance means anything."""
        clock = self.clock
        return clock is not None and (
            clock.status == "closed" or (clock.status == "finished" and clock.window is None))

    def waiting(self, car: str) -> tuple[Proposal, ...]:
        """The changed plans that wait for this car: its file's first, then those of the forecast, best first."""
        from_file = [self.proposals[car]] if car in self.proposals else []
        advised = self.advice.proposals if self.advice is not None else ()
        return (*from_file, *(one for one in advised if car in one.cars))

    def of_the_run(self, car: str | None) -> RunDebrief | None:
        """What came of this car's last run, while it stands in the pits after it."""
        desk = self.desks.get(car or "")
        return self.debriefs.get(desk.car) if desk is not None and desk.state in IN_THE_PITS else None

    def words(self) -> dict[str, str]:
        """Call id -> the words that an engineer knows it by."""
        return {call: prompt.short for call, prompt in self._prompts.items()}

    def clear_alert(self, alert_id: str) -> None:
        """The retained alert was cleared with an empty message: it is over."""
        self.alerts.pop(alert_id, None)

    def cars(self) -> tuple[str, ...]:
        """The team's cars, in order."""
        known = set(self.desks) | {prompt.car for prompt in self._prompts.values()}
        return tuple(sorted(known, key=lambda car: (len(car), car)))

    def prompts(self, car: str, now: float) -> tuple[Prompt, ...]:
        """The prompts of one car: what is to be said now, what comes, what was said, then what ended a moment ago."""
        mine = [prompt for prompt in self._prompts.values() if prompt.car == car]
        waiting = [prompt for prompt in mine if prompt.state in OPEN and prompt.state != "planned"]
        ended = [p for p in mine if p.state not in OPEN and now - p.t <= ENDED_SHOWN_FOR_S]
        waiting.sort(key=_in_turn)
        ended.sort(key=lambda prompt: (-prompt.t, prompt.call))
        return (*waiting, *ended)

    def to_come(self, car: str, now: float) -> tuple[Prompt, ...]:
        """What the plan holds next for this car, and comes, by the moment it is expected."""
        desk = self.desks.get(car)
        planned = [prompt for prompt in desk.prompts if prompt.state == "planned"] if desk is not None else []
        ahead = [prompt for prompt in planned if prompt.say_by_s > now and not (desk and desk.quiet and _muted(prompt))]
        return tuple(sorted(ahead, key=lambda prompt: (prompt.say_from_s, -prompt.priority, prompt.call)))

    def _end_unlisted(self, desk: DeskState) -> None:
        """A word that ends a call may be lost on the way: the desk's state lists every call that is still to be said,
        so one that it does not list any more was said or is over. A list as long as it may be says nothing of the
        rest."""
        if len(desk.prompts) >= STACK:
            return
        listed = {prompt.call for prompt in desk.prompts}
        gone = [call for call, one in self._prompts.items()
                if one.car == desk.car and call not in listed
                and ((one.state in TO_SAY and one.t < desk.t) or (one.state == "said" and one.t < desk.t - SAID_FOR_S))]
        for call in gone:
            del self._prompts[call]

    def _take_prompt(self, prompt: Prompt) -> None:
        known = self._prompts.get(prompt.call)
        if known is None or prompt.revision >= known.revision:
            self._prompts[prompt.call] = prompt

    def note(self, text: str) -> None:
        """Show a line for the person at this terminal; the last few are kept."""
        self.notes = [*self.notes[-(NOTES_KEPT - 1) :], text]


def _muted(prompt: Prompt) -> bool:
    """Guard: it does not come to a car on the track that is kept quiet; what is called in the garage does."""
    return prompt.place != "garage" and prompt.kind not in DESPITE_QUIET


def _in_turn(prompt: Prompt) -> tuple[int, float, int, str]:
    """What is to be said now, then what comes, each by the moment it must be said. A said call waits for the driver,
    not for the engineer: it stands below those, and those that are better not said between."""
    below = 3 if prompt.state == "said" else 2 if prompt.against is not None else int(prompt.state != "due")
    return (below, prompt.say_by_s, -prompt.priority, prompt.call)
