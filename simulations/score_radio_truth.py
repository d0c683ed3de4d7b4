"""From the evidence of one rehearsal to plain truth for the judge: what had to be said, when it was known, by when.

Deadlines are the world's own: the real crossing of the line, the real last chance for the pit entry, less what a driver
needs from the end of a call to the action. What was known when comes from the journal, by the moment of receipt.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pitwall.app.wiring import Evidence
from pitwall.model.car import same_position
from pitwall.model.events import CarCrossed, CarPitted, CommandGiven, SessionPrepared, StatusChanged, SwitchReported
from pitwall.model.outputs import Prompt
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.teamcar import SPOILS
from pitwall.rehearsal.truth import CarTruth, DrivenLap, WrongSwitch
from simulations.score_radio_judge import OPEN, CarDay, Duty, Voice

SWITCH_S = 2.0    # from the end of a call to a switch changed (practice: 1.5 to 2)
BOX_S = 3.0       # and to the turn into the pit entry (practice: 2 to 3)
REMINDS_S = 35.0  # said earlier, the second box call reminds of nothing (common practice, no source)
USEFUL_S = 75.0   # said earlier, what is to be done before the line is forgotten (common practice, no source)
SESSION_S = 20.0  # news from race control is told within this (common practice, no source)
NEAR_S = 45.0     # a call belongs to the lap whose moment is nearest to its own, and no further away than this
SLOWER = 1.05     # real speech against the expected length, the world's median
UNSAID_S = 3.5    # length of a call that was never made
ASKED = ("asked", "start", "preset")
FLAG_NEWS = ("flag_out", "finished")  # of one flag: finish this lap, and, once over the line, bring it back


def car_days(evidence: Evidence) -> dict[str, CarDay]:
    """The truth of each team car, by number."""
    return {number: _Car(evidence, truth).day() for number, truth in sorted(evidence.outcome.cars.items())}


def setup_of(evidence: Evidence) -> SessionSetup:
    """The session's files, as the daemon took them."""
    return next(stamped.event.setup for stamped in evidence.events if isinstance(stamped.event, SessionPrepared))


def base(call: str) -> str:
    """Id of a call without the number of its attempt."""
    return call.split("~")[0]


def planned(evidence: Evidence, truth: CarTruth, lap: DrivenLap) -> bool:
    """False for a timed lap that was not to be one, or that came after such a one: the driver had not heard it so.

    Nobody can know at the line that such a lap is a timed one; what was not heard counts as a miss of its own. A timed
    lap that was too slow, or that a flag spoilt, is driven again. A run that was cut goes on at the lap that was broken
    off, without a cool-down lap straight after the out-lap; in the garage everybody has heard what is to come.
    """
    run = setup_of(evidence).plans[truth.car].find(lap.run) if lap.run else None
    if run is None or not run.laps:
        return True
    ahead, heard, leavings = list(run.laps[1:]), True, 0
    for one in (one for one in truth.laps if one.run == lap.run):
        if one.meant == "out":
            leavings += 1
            ahead, heard = _resumed(ahead) if leavings > 1 else ahead, True
            continue
        heard = heard and bool(ahead) and not (one.meant == "timed" and ahead[0] != "timed")
        if one.number == lap.number:
            return heard and ahead[0] == "timed"
        if not SPOILS.intersection(one.flags):
            ahead = _driven(ahead, one.kind)
    return False


def _resumed(ahead: Sequence[str]) -> list[str]:
    """What is left of a run as the car leaves for it once more."""
    return list(itertools.dropwhile(lambda kind: kind == "cool", ahead))


def _driven(ahead: list[str], kind: str) -> list[str]:
    """What is left after a lap of this kind: a timed one in place of a cool-down lap counts as the one after it."""
    if ahead[:1] == ["cool"] and kind == "timed":
        return ahead[2:] if ahead[1:2] == ["timed"] else ahead[1:]
    return ahead[1:] if ahead[:1] == [kind] else ahead


def confirmed(evidence: Evidence, car: str, lap: DrivenLap, found: WrongSwitch) -> bool:
    """True when the last answer of the driver about this switch was that it stands where the lap needs it."""
    asked = None
    for stamped in evidence.events:
        event = stamped.event
        if (not isinstance(event, CommandGiven) or event.command != "confirm" or event.car != car
                or stamped.received_t > lap.start_s or event.call not in evidence.recorder.calls):
            continue
        ask = evidence.recorder.calls[event.call][-1].ask
        positions = ask.positions | ({ask.switch: ask.position} if ask.switch is not None else {})
        asked = positions.get(found.switch, asked)
    return asked is not None and any(same_position(asked, one) for one in found.allowed)


def reported(evidence: Evidence, car: str, switch: str) -> bool:
    """True when telemetry speaks of this switch."""
    return any(isinstance(stamped.event, SwitchReported) and stamped.event.car == car
               and stamped.event.switch == switch for stamped in evidence.events)


@dataclass(frozen=True)
class _News:
    known_s: float
    status: str
    sectors: tuple[str, ...]


class _Car:
    def __init__(self, evidence: Evidence, truth: CarTruth) -> None:
        self._evidence, self._truth, self._number = evidence, truth, truth.car
        plan = setup_of(evidence).plans[truth.car]
        self._timed_wanted = {run.run: run.laps.count("timed") for run in plan.runs}
        self._lengths = {call.call: call.end_s - call.start_s for call in truth.calls}
        self._calls: dict[str, list[str]] = {}
        self._prompts: Mapping[str, tuple[Prompt, ...]] = {
            call: tuple(history) for call, history in sorted(evidence.recorder.calls.items())
            if history[0].car == self._number
        }
        for call in self._prompts:
            self._calls.setdefault(base(call), []).append(call)
        self._seen = [(stamped.event.t, stamped.received_t) for stamped in evidence.events
                      if isinstance(stamped.event, CarCrossed | CarPitted) and stamped.event.car == self._number]
        self._news = [_News(stamped.received_t, _status(stamped.event), _sectors(stamped.event))
                      for stamped in evidence.events
                      if isinstance(stamped.event, StatusChanged) and stamped.event.status is not None]

    def day(self) -> CarDay:
        truth = self._truth
        return CarDay(
            duties=tuple(sorted((*self._boxes(), *self._put_backs(), *self._told()), key=lambda duty: duty.key)),
            said=tuple(Voice(call.start_s, call.end_s, call.call) for call in truth.calls),
            driver=tuple(Voice(voice.start_s, voice.end_s, voice.about) for voice in truth.voices
                         if voice.who == "driver"),
            listening=truth.listening, prompts=self._prompts,
        )  # fmt: skip

    # -- what the duties share ---------------------------------------------------------------------------------

    def _received(self, t: float) -> float:
        """When the daemon heard of what happened at ``t``, or of the next thing that shows it."""
        later = [(happened, received) for happened, received in self._seen if happened >= t - 0.002]
        first = min(later, default=None)
        if first is None:
            return t
        return min(received for _, received in later) if first[0] > t + 0.002 else first[1]

    def _length(self, calls: Sequence[str]) -> float:
        real = [self._lengths[call] for call in calls if call in self._lengths]
        return real[0] if real else SLOWER * self._prompts[calls[0]][-1].spoken_s

    def _least(self, calls: Sequence[str]) -> float | None:
        """How long the short form takes at this pace of speech, by its share of the words."""
        prompt = self._prompts[calls[0]][-1]
        share = len(prompt.short.split()) / max(1, len(prompt.text.split()))
        return self._length(calls) * share if share < 1 else None

    def _shown(self, kind: str) -> Iterator[tuple[list[str], Prompt]]:
        """Calls of a kind that were ever shown: their attempts, and the last prompt that was open."""
        for calls in self._calls.values():
            opened = [prompt for prompt in self._prompts[calls[0]] if prompt.state in OPEN]
            if opened and opened[-1].kind == kind:
                yield calls, opened[-1]

    def _unsaid(self, calls: Sequence[str]) -> bool:
        return not any(call in self._lengths for call in calls)

    def _stopped(self, from_s: float, to_s: float) -> bool:
        """Race control stopped or ended the session in this time, or had before: everybody comes in by its word."""
        before = [news for news in self._news if news.known_s <= from_s and not news.sectors]
        within = [news for news in self._news if from_s < news.known_s <= to_s]
        return any(news.status in ("red", "finished") for news in (*before[-1:], *within))

    # -- box -----------------------------------------------------------------------------------------------------

    def _boxes(self) -> Iterator[Duty]:
        told: set[int] = set()
        for calls, prompt in self._shown("box"):
            if prompt.act_at_s is None:
                continue
            chance = min(self._truth.chances, key=lambda one: abs(one.t - (prompt.act_at_s or 0.0)), default=None)
            if chance is None or abs(chance.t - prompt.act_at_s) > NEAR_S:
                continue
            told.add(chance.lap)
            lap = next((lap for lap in self._truth.laps if lap.number == chance.lap and lap.start_s <= chance.t), None)
            first = self._prompts[calls[0]][0].t
            known = min(first, self._received(lap.start_s)) if lap is not None else first
            useful = chance.t - BOX_S - REMINDS_S if base(calls[0]).endswith("-again") else known
            if self._stopped(known, chance.t):
                continue
            yield Duty(f"box {chance.lap} {calls[0]}", "box", known, chance.t - BOX_S, self._length(calls),
                       tuple(calls), self._least(calls), prompt.text, useful)
        yield from self._never_boxed(told)

    def _never_boxed(self, told: set[int]) -> Iterator[Duty]:
        """A lap that the plan wanted to be the last of its run, and for which no box call was ever made."""
        for lap in self._truth.laps:
            missed = lap.meant == "timed" and lap.kind in ("timed", "in") and lap.number not in told
            chance = next((one for one in self._truth.chances if one.lap == lap.number), None)
            if missed and chance is not None and self._over(lap) and not self._stopped(lap.start_s, chance.t):
                yield Duty(f"box {lap.number} none", "box", self._received(lap.start_s), chance.t - BOX_S, UNSAID_S, (),
                           None, "no box call on a lap beyond the plan")

    def _over(self, lap: DrivenLap) -> bool:
        """True when the run had driven all its timed laps before this one began."""
        wanted = self._timed_wanted.get(lap.run or "")
        driven = [one for one in self._truth.laps if one.run == lap.run and one.kind == "timed"
                  and not SPOILS.intersection(one.flags) and one.end_s <= lap.start_s + 0.01]
        return wanted is not None and len(driven) >= wanted  # one that a slow period spoilt is driven again

    # -- put-backs -------------------------------------------------------------------------------------------------

    def _put_backs(self) -> Iterator[Duty]:
        asked: set[tuple[int, str]] = set()
        lines = [lap for lap in self._truth.laps if lap.meant in ("timed", "cool", "in")]
        for calls, prompt in self._shown("switch"):
            if prompt.ask.action != "set_switch" or prompt.place != "line" or prompt.act_at_s is None:
                continue
            lap = min(lines, key=lambda one: abs(one.start_s - (prompt.act_at_s or 0.0)), default=None)
            if lap is None or abs(lap.start_s - prompt.act_at_s) > NEAR_S:
                continue
            names = {prompt.ask.switch} if prompt.ask.switch else set(prompt.ask.positions)
            asked |= {(lap.number, name) for name in names if name}
            wrong = {found.switch for found in lap.wrong}
            if lap.meant != "timed" or (self._unsaid(calls) and not wrong & names):
                continue
            known = max([self._known(lap), *(self._knocked(name, lap.start_s) for name in sorted(names & wrong))])
            if not self._stopped(known, lap.start_s):
                yield Duty(f"put-back {lap.number} {calls[0]}", "put_back", known, lap.start_s - SWITCH_S,
                           self._length(calls), tuple(calls), self._least(calls), prompt.text, lap.start_s - USEFUL_S)
        yield from self._never_asked(asked)

    def _never_asked(self, asked: set[tuple[int, str]]) -> Iterator[Duty]:
        for lap in self._truth.laps:
            if not planned(self._evidence, self._truth, lap):
                continue
            left = [found.switch for found in lap.wrong
                    if (lap.number, found.switch) not in asked and self._why(found.switch, lap.start_s) in ASKED
                    and self._knowable(lap, found)]
            if left:
                yield Duty(f"put-back {lap.number} none", "put_back", self._known(lap), lap.start_s - SWITCH_S,
                           UNSAID_S, (), None, f"nobody was told to put back {', '.join(left)}")

    def _knowable(self, lap: DrivenLap, found: WrongSwitch) -> bool:
        """Without telemetry nobody on the wall knows that a switch, which the driver said stands right, does not."""
        return (reported(self._evidence, self._number, found.switch)
                or not confirmed(self._evidence, self._number, lap, found))

    def _why(self, switch: str, t: float) -> str:
        moves = [move for move in self._truth.switches if move.switch == switch and move.t <= t]
        return moves[-1].why if moves else ""

    def _knocked(self, switch: str, t: float) -> float:
        """When it was knocked to where it stood at ``t``: before that nobody could know. Minus infinity if it was not.

        Where nothing measures it, nobody ever knows; then what the plan says counts as known, as for any other.
        """
        moves = [move for move in self._truth.switches if move.switch == switch and move.t <= t]
        if not moves or moves[-1].why != "knocked":
            return float("-inf")
        told = [stamped.received_t for stamped in self._evidence.events
                if isinstance(stamped.event, SwitchReported) and stamped.event.car == self._number
                and stamped.event.switch == switch and stamped.event.t >= moves[-1].t - 0.01]
        return min(told, default=float("-inf"))

    def _known(self, lap: DrivenLap) -> float:
        """What a lap needs is known from the plan: at the latest as the lap before it begins."""
        before = [one for one in self._truth.laps if one.end_s <= lap.start_s + 0.01 and one.run == lap.run]
        return self._received(before[-1].start_s) if before else lap.start_s

    # -- race control ----------------------------------------------------------------------------------------------

    def _told(self) -> Iterator[Duty]:
        for number, news in enumerate(self._news):
            track = self._on_track(news.known_s)
            if track is None or news.status in ("waiting", "closed") or not self._heard_of(news, number):
                continue
            by = [news.known_s + SESSION_S, track, *(later.known_s for later in self._news[number + 1 :]
                                                     if _supersedes(later, news))]
            calls = [call for call, history in self._prompts.items()
                     if history[0].kind == "session" and "last-lap" not in call
                     and abs(history[0].t - news.known_s) < 1.0]
            if news.status in FLAG_NEWS and calls:
                # A car that is over the line before it was told hears the second call of the same flag, not the first.
                calls += [call for call, history in self._prompts.items() if call not in calls
                          and base(call).rpartition("-")[2] in FLAG_NEWS and history[0].t <= news.known_s + SESSION_S]
            length = self._length(calls) if calls else UNSAID_S
            yield Duty(f"session {number} {news.status}", "session", news.known_s, min(by), length, tuple(calls),
                       self._least(calls) if calls else None,
                       self._prompts[calls[0]][-1].text if calls else f"nothing was told of {news.status}")

    def _heard_of(self, news: _News, number: int) -> bool:
        """False for the clear of a sector whose yellow was over before the driver was told: there is nothing to clear.

        The yellow is a duty of its own, and a miss where it could have been said.
        """
        if news.status != "green" or not news.sectors:
            return True
        yellow = next((one for one in reversed(self._news[:number])
                       if one.status == "yellow" and _supersedes(news, one)), None)
        if yellow is None:
            return True
        told = [call for call, history in self._prompts.items() if history[0].kind == "session"
                and base(call).endswith("-yellow") and abs(history[0].t - yellow.known_s) < 1.0]
        return any(call.call in told and call.start_s < news.known_s for call in self._truth.calls)

    def _on_track(self, t: float) -> float | None:
        """When the car leaves the track again; None when it is not on it."""
        for lap in self._truth.laps:
            ends = lap.entry_s if lap.entry_s is not None else lap.end_s
            if lap.start_s <= t < ends:
                later = [one for one in self._truth.laps if one.start_s >= lap.start_s]
                return next((one.entry_s for one in later if one.entry_s is not None), later[-1].end_s)
        return None


def _supersedes(later: _News, news: _News) -> bool:
    """A change for the whole track ends all earlier news; one of a sector the earlier news of that sector."""
    return not later.sectors or bool(set(later.sectors) & set(news.sectors))


def _status(event: StatusChanged) -> str:
    return "ending" if event.ending else str(event.status)


def _sectors(event: StatusChanged) -> tuple[str, ...]:
    return () if event.scope == "all" else tuple(event.scope)

