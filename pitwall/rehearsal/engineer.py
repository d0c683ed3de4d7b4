"""The engineer of one car: reads the prompts, speaks them one at a time, and presses keys or does not.

Acts on prompts alone. A call is spoken at the later of ``say_from_s`` and the moment it was seen, plus a reaction; more
important calls first; never over somebody else's voice; never a box call that its prompt or its own deadline calls
too late.
"""

from __future__ import annotations

from collections.abc import Callable

from pitwall.model.events import CommandGiven, Fact
from pitwall.model.outputs import AdviceState, Alert, Answered, Output, Prompt, Proposal, Refused
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.cards import Card, last_moment, rank
from pitwall.rehearsal.channel import Channel
from pitwall.rehearsal.draws import Rng, between, happens
from pitwall.rehearsal.driver import Driver
from pitwall.rehearsal.mouth import speaking_s
from pitwall.rehearsal.scenario import EngineerHabits
from pitwall.rehearsal.speech import Speech
from pitwall.rehearsal.teamcar import TeamCar
from pitwall.rehearsal.truth import NeverSpoken, SpokenCall

LISTENS_S = 0.35          # after another voice ends
SAYABLE = frozenset({"shown", "due"})
NEVER_FORGOTTEN = frozenset({"leave", "fire_up"})
TOO_LATE = "too late"
NO_TIME = "its window had passed before the channel was free"
REPLY_S = 2.5             # what a readback commonly takes of the channel, and the answer to a question
ANSWER_S = 9.0
FORESEEN_S = 3.0          # a call that was shown so long before is awaited
SEES_S = 20.0             # from an alert to a look at the car
LOOKS_S = 3.0             # how often an engineer looks at a car that is not ready
NOT_READY = {"leave": 4.0, "fire_up": 70.0}  # a car whose work takes longer than this yet is not told


class Engineer:
    """The engineer of one car."""

    def __init__(self, team: TeamCar, driver: Driver, habits: EngineerHabits, channel: Channel, agenda: Agenda,
                 press: Callable[[Fact], None], prefix: str, rng: Rng, key_rng: Rng, rate_rng: Rng) -> None:
        self._team, self._driver, self._habits = team, driver, habits
        self._channel, self._agenda, self._press, self._prefix = channel, agenda, press, prefix
        self._rng, self._key_rng, self._rate_rng = rng, key_rng, rate_rng
        self._rates: dict[str, float] = {}
        self._cards: dict[str, Card] = {}
        self._speeches: list[Speech] = []
        self._never: dict[str, NeverSpoken] = {}
        self._commands: set[str] = set()
        self._keys = 0
        self.refusals: list[str] = []
        self.off_duty = False
        self._advised: str | None = None
        self._looks_s = float("-inf")
        self._name = "engineer"

    # -- what the daemon says ----------------------------------------------------------------------

    def hear(self, output: Output, t: float) -> None:
        """A prompt, an alert, or the answer to a key."""
        if isinstance(output, Prompt):
            self._read(output, t)
        elif isinstance(output, Refused) and output.because in self._commands:
            self.refusals.append(output.reason)
        elif isinstance(output, Answered):
            self._commands.discard(output.because)
        elif isinstance(output, Alert) and output.kind == "car_silent" and output.active:
            self._agenda.at(t + SEES_S, self._mend)
        elif isinstance(output, AdviceState):
            self._read_advice(output.proposals[0] if output.proposals else None, t)

    def _read_advice(self, best: Proposal | None, t: float) -> None:
        """The best of what the forecast advises now: adopted after some thought, if that is the custom and it is for
        this car first."""
        before, self._advised = self._advised, best.id if best is not None else None
        after_s = self._habits.adopts_after_s
        if best is not None and after_s is not None and best.id != before and best.car == self._team.car.number:
            self._agenda.at(t + after_s, lambda at: self._adopt(best.id, at))

    def _adopt(self, name: str, t: float) -> None:
        if self._advised == name:
            self._tell(t, "adopt", proposal=name)

    def _read(self, prompt: Prompt, t: float) -> None:
        card = self._cards.get(prompt.call)
        if card is None:
            rng = self._rng
            reaction, forgets = between(rng, self._habits.reaction_s), happens(rng, self._habits.forgets)
            forgotten = forgets and prompt.ask.action not in NEVER_FORGOTTEN
            card = self._cards[prompt.call] = Card(prompt, reaction, forgotten, ready_s=0.0, seen_s=t)
        elif prompt.revision < card.prompt.revision:
            return  # the bus may deliver an older one late
        card.prompt = prompt
        if card.begun and prompt.parts_said > card.parts_said:
            card.begun, card.parts_said = False, prompt.parts_said  # there is more of it
        if card.begun:
            return
        if prompt.state not in SAYABLE:
            if prompt.state == "said" and self._by_another(prompt):
                self._heard_from_another(card, t)
            elif prompt.state != "said":
                self._give_up(card, self._why_not(card, t))
            return
        if card.forgotten:
            self._give_up(card, "forgotten")
            return
        self._never.pop(prompt.call, None)
        if prompt.after_line and prompt.state != "due":
            card.ready_s = float("inf")  # read and kept in mind until the car begins that lap
            return
        card.ready_s = max(self._ready(card, t), t)
        self._agenda.at(card.ready_s, self._consider)

    def _ready(self, card: Card, t: float) -> float:
        """When the first word can come: a moment that could be seen coming takes less time than one that could not."""
        begin = card.prompt.say_from_s
        if not self._habits.follows:
            return max(begin, t) + card.reaction_s
        foreseen = begin - card.seen_s > FORESEEN_S
        return max(begin, card.seen_s) + card.reaction_s * (0.5 if foreseen else 1.0)

    def _why_not(self, card: Card, t: float) -> str:
        if card.forgotten:
            return "forgotten"
        if self._not_ready(card, t):
            return "the car was not ready"
        return f"{card.prompt.state} before it was spoken"

    def _give_up(self, card: Card, reason: str) -> None:
        self._never[card.prompt.call] = NeverSpoken(call=card.prompt.call, kind=card.prompt.kind, reason=reason)

    # -- speaking ----------------------------------------------------------------------------------

    def _consider(self, t: float) -> None:
        """Speak the most important call that is ready, if the channel is free."""
        if self.off_duty:
            return
        self._drop_stale(t)
        ready = [card for card in self._open() if card.ready_s <= t + 1e-9 and not self._over(card, t)]
        if not ready:
            return
        free = self._channel.free_from(t)
        if free > t:
            self._agenda.at(free + LISTENS_S, self._consider)
            return
        for card in sorted(ready, key=lambda card: rank(card.prompt)):
            if self._not_ready(card, t):
                self._look_again(t)
            elif not self._would_block(card, t):
                self._speak(card, t)
                return

    def _look_again(self, t: float) -> None:
        # One look ahead at a time: two cards that wait would otherwise double the looks with every look.
        if self._looks_s <= t:
            self._looks_s = t + LOOKS_S
            self._agenda.at(self._looks_s, self._consider)

    def _not_ready(self, card: Card, t: float) -> bool:
        """The crew is still at work, or the light at the pit exit never showed green: no engineer lets that car go."""
        if card.prompt.ask.action == "leave" and self._team.waits_for_green:
            return True
        limit = NOT_READY.get(card.prompt.ask.action)
        return limit is not None and self._team.ready_in(t) > limit

    def _open(self) -> list[Card]:
        return [card for card in self._cards.values()
                if not card.begun and not card.forgotten and card.prompt.state in SAYABLE
                and not (card.prompt.medium == "board" and card.prompt.against)]  # the board has no fourth line

    def _drop_stale(self, t: float) -> None:
        for card in self._open():
            prompt = card.prompt
            limit = last_moment(prompt)
            if TOO_LATE in prompt.text.lower() and prompt.kind == "box":
                card.begun = True
                self._give_up(card, "the prompt says too late")
            elif self._over(card, t):
                self._give_up(card, NO_TIME)  # unless its window is moved
            elif t > limit and card.ready_s <= t:
                card.ready_s = float("inf")  # until its prompt is another one: shown anew, it is said after all
                waited = "the car was not ready" if self._not_ready(card, t) else NO_TIME
                self._give_up(card, waited)

    def _over(self, card: Card, t: float) -> bool:
        """For an engineer who keeps to the window: it is behind."""
        return self._habits.follows and t > card.prompt.say_by_s

    def _would_block(self, card: Card, t: float) -> bool:
        """True when speaking this now would make a more important call miss its window."""
        reply = 0.0 if self._team.plan.medium != "two_way" else REPLY_S
        ends = t + card.prompt.spoken_s + LISTENS_S + (ANSWER_S if card.prompt.kind == "question" else reply)
        return any(
            rank(other.prompt) < rank(card.prompt)
            and other.prompt.say_by_s < ends and other.ready_s < ends and other.prompt.say_by_s >= t
            for other in self._open() if other is not card
        )  # fmt: skip

    def _speak(self, card: Card, t: float) -> None:
        prompt = card.prompt
        length = max(0.4, self._usual_s(prompt.text) * between(self._rng, self._habits.speech, low=0.5))
        end = self._channel.take("engineer", t, length, prompt.call)
        speech = self._speech(card, t, end)
        self._agenda.at(end, lambda at: self._spoken(card, speech, at))

    def _by_another(self, prompt: Prompt) -> bool:
        """Guard: a key of somebody else at the desk tells that it was said, and not one of this engineer."""
        own = f"{self._prefix}-{self._team.car.number}-key-"
        return prompt.because is not None and not prompt.because.startswith(own)

    def _heard_from_another(self, card: Card, t: float) -> None:
        """A person sits at the desk of this rehearsal, and has said the call: the driver has heard it from him."""
        speech = self._speech(card, t - self._usual_s(card.prompt.text), t)
        self._driver.hears(speech, t)

    def _speech(self, card: Card, t: float, end: float) -> Speech:
        """The call is spoken from ``t`` to ``end``: it goes into the record."""
        prompt = card.prompt
        card.begun = True
        card.times_spoken += 1
        car = self._team.car
        phase = car.phase_at(t)
        record = SpokenCall(
            car=car.number, call=prompt.call, prompt=prompt.id, kind=prompt.kind, action=prompt.ask.action,
            text=prompt.text, start_s=round(t, 3), end_s=round(end, 3), say_from_s=prompt.say_from_s,
            say_by_s=prompt.say_by_s, in_window=prompt.say_from_s - 1e-6 <= t <= prompt.say_by_s + 1e-6,
            repeat=card.times_spoken > 1, car_was=car.lap.kind if car.lap is not None else car.where,
            lap=car.lap_number, phase=None if phase is None else round(phase, 4),
        )  # fmt: skip
        speech = Speech(prompt, record, lambda right, at: self._read_back(card, right, at))
        self._speeches.append(speech)
        return speech

    def _spoken(self, card: Card, speech: Speech, t: float) -> None:
        self._key(t, "said", card.prompt)
        if len(speech.prompt.parts) < 2:
            self._driver.hears(speech, t)  # the first words of a call are not acted on, nor read back
        self._agenda.at(self._channel.free_from(t) + LISTENS_S, self._consider)

    def _read_back(self, card: Card, right: bool, t: float) -> None:
        """Right: confirmed. Wrong: said once more, unless it is too late for that."""
        if right:
            self._key(t, "confirm", card.prompt)
        elif not card.corrected and t < (card.prompt.act_at_s or card.prompt.say_by_s):
            card.corrected = True
            card.begun = False
            card.ready_s = t + LISTENS_S
            # Said again as soon as it may, whatever the prompt has become meanwhile: the engineer heard the mistake.
            self._agenda.at(card.ready_s, lambda at: self._again(card, at))
        self._agenda.at(t + LISTENS_S, self._consider)

    def _again(self, card: Card, t: float) -> None:
        if card.begun:
            return
        free = self._channel.free_from(t)
        if free > t:
            self._agenda.at(free + LISTENS_S, lambda at: self._again(card, at))
        elif not self._comes_after(card, t):
            self._speak(card, t)
        elif t < (card.prompt.act_at_s or card.prompt.say_by_s):
            self._agenda.at(t + LISTENS_S, lambda at: self._again(card, at))

    def _comes_after(self, card: Card, t: float) -> bool:
        """Said again as well, a call waits for a more important one that is ready: no pace over a flag."""
        return self._would_block(card, t) or any(
            rank(other.prompt) < rank(card.prompt) and other.ready_s <= t and not self._over(other, t)
            for other in self._open() if other is not card
        )  # fmt: skip

    def _usual_s(self, text: str) -> float:
        """How long this engineer usually takes for a text: nobody speaks faster because the screen expects it."""
        if self._name not in self._rates:
            self._rates[self._name] = between(self._rate_rng, self._habits.words_per_minute, low=80.0, high=240.0)
        return speaking_s(text, self._rates[self._name])

    # -- keys --------------------------------------------------------------------------------------

    def _key(self, t: float, command: str, prompt: Prompt) -> None:
        rng, habits = self._key_rng, self._habits
        pressed, delay = happens(rng, habits.key_share), between(rng, habits.key_delay_s)
        if habits.keys == "none" or (habits.keys == "some" and not pressed):
            return
        self._agenda.at(t + delay, lambda at: self._command(at, command, prompt))

    def _command(self, t: float, command: str, prompt: Prompt) -> None:
        if self.off_duty:
            return
        self._keys += 1
        made = CommandGiven(
            id=f"{self._prefix}-{self._team.car.number}-key-{self._keys}", t=round(t, 3), car=self._team.car.number,
            command="said" if command == "said" else "confirm", call=prompt.call, by=self._name,
        )  # fmt: skip
        self._commands.add(made.id)
        self._press(made)

    def _mend(self, t: float) -> None:
        """The desk thinks that the car is out, and it stands in the garage: enter by hand that it came in."""
        entered = self._team.entered_s
        if self._habits.keys != "none" and self._team.car.where == "garage" and entered is not None:
            self._tell(t, "pit", where="entry", t=entered)

    def hand_over(self, t: float) -> None:
        """Another engineer sits down at this car's radio, if that is the custom, and tells the desk."""
        if not self._habits.hands_over or self._habits.keys == "none":
            return
        self._name = "second engineer" if self._name == "engineer" else "engineer"
        self._tell(t, "take_over")

    def _tell(self, now: float, command: str, **more: object) -> None:
        if self.off_duty:
            return
        self._keys += 1
        number = self._team.car.number
        fields = {"id": f"{self._prefix}-{number}-key-{self._keys}", "t": round(now, 3), "car": number,
                  "command": command, "by": self._name, **more}
        made = CommandGiven.model_validate(fields)
        self._commands.add(made.id)
        self._press(made)

    # -- the record --------------------------------------------------------------------------------

    def spoken(self) -> tuple[SpokenCall, ...]:
        """Every call that was spoken, in order."""
        return tuple(speech.record for speech in self._speeches)

    def never_spoken(self) -> tuple[NeverSpoken, ...]:
        """Calls that were shown and never spoken, and why."""
        spoken = {speech.prompt.call for speech in self._speeches}
        return tuple(never for call, never in sorted(self._never.items()) if call not in spoken)

    @property
    def keys_pressed(self) -> int:
        """How many keys were pressed."""
        return self._keys
