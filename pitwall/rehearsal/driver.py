"""The driver's ears and hands: hears what was said, reads it back, forgets some of it, and does the rest."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from pitwall.model.outputs import Ask
from pitwall.model.plan import Scalar
from pitwall.model.procedure import Procedure
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.channel import PAUSE_S, Channel
from pitwall.rehearsal.draws import Rng, between, happens
from pitwall.rehearsal.holding import hold_order, hold_path, hold_seconds
from pitwall.rehearsal.listening import Listening
from pitwall.rehearsal.scenario import DriverHabits, Talks
from pitwall.rehearsal.speech import Speech
from pitwall.rehearsal.teamcar import TeamCar
from pitwall.rehearsal.truth import DoneProcedure
from pitwall.rehearsal.unasked import Unasked

HOLD_LOSS = 0.4        # seconds lost per second held at constant speed
SAY_AGAIN_S = 0.8      # "say again"
BEFORE_LINE_S = 4.0    # a change "before the line" is made so long before it
NEAR_LINE_S = 4.0      # a moment so near the line, as the driver feels it, means the line


@dataclass(frozen=True)
class _Draws:
    """Everything chance has to say about one call, drawn at once so that the stream never depends on the outcome."""

    reaction: float
    forgets: bool
    mishears: bool
    leaves_wrong: bool
    readback: bool
    readback_s: float
    pick: float


@dataclass
class _Waiting:
    """A procedure that waits for the pit lane or the pit exit."""

    speech: Speech
    procedure: Procedure


class Driver:
    """The driver of one team car, and where several drive it, whoever sits in it: each with habits of their own."""

    def __init__(self, team: TeamCar, procedures: Mapping[str, Procedure], habits: Mapping[str, DriverHabits],
                 talks: Talks, medium: str, channel: Channel, agenda: Agenda, listening: Listening, rng: Rng,
                 talk_rng: Rng, hold_rng: Rng | None = None) -> None:
        self._team, self._procedures, self._every = team, procedures, habits
        self._medium, self._channel, self._agenda, self._listening = medium, channel, agenda, listening
        self._rng, self._hold_rng = rng, hold_rng
        self._unasked = Unasked(team, habits, talks, medium, channel, agenda, rng, talk_rng)
        self._lane: list[_Waiting] = []
        self._exit: list[_Waiting] = []
        self._line: list[Callable[[float], None]] = []
        self._paid: set[tuple[str, str | None, int]] = set()
        self.done: list[DoneProcedure] = []
        self._obey: dict[str, Callable[[Speech, float, _Draws], str]] = {
            "box": lambda speech, t, _: team.told_to_box(speech.prompt, t),
            "stay_out": lambda _, __, ___: team.told_to_stay_out(),
            "leave": lambda speech, t, _: team.told_to_leave(speech.prompt, t),
            "fire_up": self._fire_up,
            "lap_kind": lambda speech, t, _: team.told_lap_kind(speech.prompt, t),
            "set_switch": self._set_switch,
            "check_switches": self._switches,
            "procedure": self._procedure,
        }
        team.on_lap, team.on_lane, team.on_exit, team.on_garage = self._lap, self._in_lane, self._at_exit, self._home
        team.on_eased = self._unasked.eased

    @property
    def _habits(self) -> DriverHabits:
        return self._every[self._team.seated]

    # -- hearing -----------------------------------------------------------------------------------

    def hears(self, speech: Speech, t: float) -> None:
        """The call ended at ``t``. A pit board is read when the car next passes the line."""
        if self._medium == "board" and self._team.car.where == "track":
            self._line.append(lambda at: self._takes(speech, at))
        else:
            self._takes(speech, t)

    def _takes(self, speech: Speech, t: float) -> None:
        drawn, record = self._draw(), speech.record
        calm = self._listening.share(record.start_s, record.end_s)
        heard = self._medium == "board" or self._listening.enough(calm)
        speech.note(calm=None if calm is None or self._medium == "board" else round(calm, 3))
        if not heard:
            self._say_again(speech, t, drawn)
            return
        # In the garage half a dozen people hear the radio: nothing is lost between the ear and the hand.
        crewed = speech.prompt.ask.action in ("leave", "fire_up")
        misheard, forgets = drawn.mishears and not crewed, drawn.forgets and not crewed
        speech.note(misheard=misheard, forgotten=forgets and not misheard)
        reads = drawn.readback and self._medium == "two_way"
        if reads:
            self._read_back(speech, t, drawn, wrongly=misheard)
        if misheard:
            if not reads:
                self._agenda.at(t + drawn.reaction, lambda at: self._does_wrong(speech, at, drawn))
            else:
                speech.note(outcome="heard wrongly, and the readback showed it")
        elif forgets:
            speech.note(outcome="heard and forgotten")
        else:
            self._agenda.at(t + drawn.reaction, lambda at: self._acts(speech, at, drawn))

    def _say_again(self, speech: Speech, t: float, drawn: _Draws) -> None:
        """Too much of it fell into braking or a corner: with two-way radio the driver asks for it once more."""
        speech.note(outcome="lost: the driver was braking or in a corner")
        if self._medium == "two_way":
            begin = self._channel.free_from(t + PAUSE_S)
            end = self._channel.take("driver", begin, SAY_AGAIN_S, speech.prompt.call)
            self._agenda.at(end, lambda at: speech.ended(False, at))

    def _draw(self) -> _Draws:
        rng, habits = self._rng, self._habits
        return _Draws(
            between(rng, habits.reaction_s), happens(rng, habits.forgets), happens(rng, habits.mishears),
            happens(rng, habits.leaves_wrong), happens(rng, habits.readback), between(rng, habits.readback_s),
            float(rng.random()),
        )  # fmt: skip

    def _read_back(self, speech: Speech, t: float, drawn: _Draws, wrongly: bool) -> None:
        begin = self._channel.free_from(t + PAUSE_S)
        end = self._channel.take("driver", begin, drawn.readback_s, speech.prompt.call)
        speech.note(read_back=True)
        self._agenda.at(end, lambda at: speech.ended(not wrongly, at))

    def _acts(self, speech: Speech, t: float, drawn: _Draws) -> None:
        if speech.prompt.kind == "question" and self._medium == "two_way":
            self._unasked.answer(t, speech.prompt.call)
        if speech.prompt.kind == "brief":
            self._team.told_next_run(speech.prompt.run, t)
        action = self._obey.get(speech.prompt.ask.action)
        speech.note(outcome=action(speech, t, drawn) if action is not None else "understood")

    def _does_wrong(self, speech: Speech, t: float, drawn: _Draws) -> None:
        ask = speech.prompt.ask
        names = [ask.switch] if ask.switch else sorted(ask.positions)
        if not names:
            speech.note(outcome="heard wrongly, nothing was done")
            return
        name = names[int(drawn.pick * len(names))]
        position = self._team.wheel.neighbour(name, self._rng)
        if position is not None:
            self._team.wheel.put(t, name, position, "misheard", moving=self._moving())
        speech.note(outcome=f"heard wrongly: moved {name} to something else")

    # -- doing -------------------------------------------------------------------------------------

    def _fire_up(self, speech: Speech, t: float, drawn: _Draws) -> str:
        self._team.fire_up()
        return "engine running"

    def _set_switch(self, speech: Speech, t: float, drawn: _Draws) -> str:
        """At once; but what a timed lap's end is meant for waits for its end: the lap itself must not suffer."""
        car = self._team.car
        if car.where == "track" and car.lap is not None and car.lap.kind == "timed" and speech.prompt.place == "line":
            moment = car.when_at(1.0) - BEFORE_LINE_S
            if moment > t:
                self._agenda.at(moment, lambda at: speech.note(outcome=self._switches(speech, at, drawn)))
                return "waits for the end of the lap"
        return self._switches(speech, t, drawn)

    def _switches(self, speech: Speech, t: float, drawn: _Draws) -> str:
        ask = speech.prompt.ask
        wanted = _positions(ask)
        left = sorted(wanted)[int(drawn.pick * len(wanted))] if drawn.leaves_wrong and wanted else None
        refused: list[str] = []
        for name in sorted(wanted):
            if name == left:
                self._team.wheel.refuse(t, name)
            elif not self._team.wheel.put(t, name, wanted[name], "asked", moving=self._moving()):
                refused.append(name)
        if refused:
            return f"could not move {', '.join(refused)}"
        return f"left {left} where it was" if left else "switches as asked"

    def _procedure(self, speech: Speech, t: float, drawn: _Draws) -> str:
        """A step of a procedure: the call's place says where it is to be done."""
        ask = speech.prompt.ask
        procedure = self._procedures.get(ask.procedure or "")
        if procedure is None:
            return "no such procedure on the driver's card"
        if _positions(ask):
            self._switches(speech, t, drawn)
        if ask.lap_kind is not None:
            self._team.told_lap_kind(speech.prompt, t)
        where, place = self._team.car.where, (speech.prompt.place or "").strip().lower()
        if where == "track":
            return self._on_track(speech, procedure, t, place)
        if place == "garage" or (place == "pit lane" and where == "lane"):
            return self._carry_out(speech, procedure, t)
        if place in ("pit exit", "pit lane", "lap start"):
            self._exit.append(_Waiting(speech, procedure))
            return "waits for the pit exit"
        self._write(speech, procedure, t, 0.0, "the car was not on track")
        return "not on track"

    def _on_track(self, speech: Speech, procedure: Procedure, t: float, place: str) -> str:
        if place in ("pit entry", "pit lane"):
            self._lane.append(_Waiting(speech, procedure))
            self._team.drives_through = True
            return "waits for the pit lane"
        if place in ("lap start", "line"):
            return self._at_line(speech, procedure, t)
        phase = self._team.car.ground.phase_of(f"after {place.removeprefix('after ')}")
        if phase is None:
            return self._carry_out(speech, procedure, t)
        if phase <= 0.0:  # the grid: at the line
            return self._at_line(speech, procedure, t)
        if self._team.car.call_at_phase(t, phase, partial(self._later, speech, procedure)):
            return "waits for the place"
        self._write(speech, procedure, t, 0.0, "the place was already behind the car")
        return "the place was already behind the car"

    def _at_line(self, speech: Speech, procedure: Procedure, t: float) -> str:
        """Something for the start or the end of a lap: the moment of the call tells which lap is meant."""
        act_at = speech.prompt.act_at_s if speech.prompt.act_at_s is not None else t
        if act_at >= self._team.car.when_at(1.0) - NEAR_LINE_S:
            self._line.append(partial(self._later, speech, procedure))
            return "waits for the line"
        if act_at > t:
            self._agenda.at(act_at, partial(self._later, speech, procedure))
            return "waits for the moment"
        return self._carry_out(speech, procedure, t)

    def _later(self, speech: Speech, procedure: Procedure, t: float) -> None:
        speech.note(outcome=self._carry_out(speech, procedure, t))

    def _carry_out(self, speech: Speech, procedure: Procedure, t: float) -> str:
        car = self._team.car
        length = hold_seconds(procedure, speech.prompt.ask.arguments) if car.where == "track" else 0.0
        if length and self._hold_rng is not None:
            held = self._holds(speech, procedure, t, length, self._hold_rng)
            if held is not None:
                return held
        self._write(speech, procedure, t, length, None)
        lost = self._extra(speech, procedure) + HOLD_LOSS * length
        if lost > 0:
            car.hold_up(t, lost)
        return "done"

    def _holds(self, speech: Speech, procedure: Procedure, t: float, length: float, rng: Rng) -> str | None:
        """Really drive the hold; None where it cannot be driven here."""
        car, ask, key = self._team.car, speech.prompt.ask, (procedure.name, speech.prompt.ask.item)
        if (*key, car.lap_number) in self._paid:
            return "goes on"
        order, metres, habits = hold_order(procedure, ask.arguments), car.metres_at(t), self._habits
        if order is None or metres is None:
            return None
        path = car.hold(lambda phases, lap_s: hold_path(order, car.ground, phases, lap_s, (t, metres), habits, rng))
        if path is None:
            return None
        self._paid.add((*key, car.lap_number))
        self._write(speech, procedure, t, length, None)
        held = path.truth()
        self.done[-1] = self.done[-1].model_copy(update={"t": held.from_s, "until_s": held.to_s, "held": held})
        return "done"

    def _extra(self, speech: Speech, procedure: Procedure) -> float:
        """What the procedure costs: once a lap, however many calls its steps need."""
        key = (procedure.name, speech.prompt.ask.item, self._team.car.lap_number)
        if key in self._paid:
            return 0.0
        self._paid.add(key)
        return procedure.extra_s

    def _write(self, speech: Speech, procedure: Procedure, t: float, length: float, reason: str | None) -> None:
        car, ask = self._team.car, speech.prompt.ask
        phase = car.phase_at(t)
        self.done.append(
            DoneProcedure(
                car=car.number, procedure=procedure.name, item=ask.item, call=speech.prompt.call, run=speech.prompt.run,
                done=reason is None, t=round(t, 3), until_s=round(t + length, 3), lap=car.lap_number,
                lap_kind=car.lap.kind if car.lap is not None else car.where, place=speech.prompt.place,
                phase=None if phase is None else round(phase, 4), reason=reason,
            )
        )  # fmt: skip

    # -- places that the car comes to --------------------------------------------------------------

    def _in_lane(self, t: float) -> float:
        """Pit-lane items: seconds they cost in the lane."""
        waiting, self._lane = self._lane, []
        return sum(self._in_passing(item, t) for item in waiting)

    def _at_exit(self, t: float) -> float:
        """Items at the pit exit: seconds they cost."""
        waiting, self._exit = self._exit, []
        return sum(self._in_passing(item, t) for item in waiting)

    def _in_passing(self, item: _Waiting, t: float) -> float:
        lost = self._extra(item.speech, item.procedure)
        self._write(item.speech, item.procedure, t, lost, None)
        item.speech.note(outcome="done")
        return lost

    def _home(self, t: float) -> None:
        """Back in the garage: what was told for this run is off."""
        self._line, self._exit, self._lane = [], [], []

    def _lap(self, t: float, kind: str, lap_s: float) -> None:
        waiting, self._line = self._line, []
        for action in waiting:
            # After the line: the new lap must have begun before anything changes its pace.
            self._agenda.at(t + 0.01, action)
        self._unasked.lap(t, kind, lap_s)

    def _moving(self) -> bool:
        return self._team.car.where in ("track", "lane")


def _positions(ask: Ask) -> dict[str, Scalar]:
    """Every switch that the call names, with the position to go to."""
    found = dict(ask.positions)
    if ask.switch is not None and ask.position is not None:
        found[ask.switch] = ask.position
    return found
