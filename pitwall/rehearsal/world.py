"""The rehearsed world: two or so team cars, a field, race control, a feed, an engineer and a driver for each team car.

A client like any other: facts go out through ``send``, prompts come in through ``hear``. It knows the session's files
as a real garage does, and nothing of what the daemon believes. Every actor draws from a stream of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from pitwall.errors import UserError
from pitwall.model.car import Car
from pitwall.model.events import Fact
from pitwall.model.outputs import AdviceState, Alert, Answered, Output, Prompt, Refused
from pitwall.model.plan import Plan
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.agenda import Agenda, WorldClock
from pitwall.rehearsal.channel import Channel
from pitwall.rehearsal.control import Notice, RaceControl
from pitwall.rehearsal.crews import Crews
from pitwall.rehearsal.draws import Streams, between, pick, shifted
from pitwall.rehearsal.driver import Driver
from pitwall.rehearsal.engineer import Engineer
from pitwall.rehearsal.faults import Faults
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.ground import Ground, lay_ground
from pitwall.rehearsal.listening import Listening, ears
from pitwall.rehearsal.pacing import CarPace, Track, car_pace
from pitwall.rehearsal.positions import Positions
from pitwall.rehearsal.racing import QUEUE_S, RacingCar
from pitwall.rehearsal.rivals import Rival
from pitwall.rehearsal.scenario import Scenario
from pitwall.rehearsal.score import LapRule
from pitwall.rehearsal.teamcar import TeamCar
from pitwall.rehearsal.truth import CarTruth, WorldOutcome
from pitwall.rehearsal.wheel import Wheel

CAUSE_S = 10.0  # a car stops so long before the red flag that it causes


class World:
    """One rehearsed session.

    Args:
        scenario: the day that is wanted.
        setup: the session's files, as the daemon has them (``scenario.fitted(setup)`` for both).
        seed: everything random follows from it; the scenario's own unless the person asks for another.
        clock: session seconds; shared with the daemon in virtual time, the world's own otherwise.
        send: takes every fact; called from within the clock.
        rate: session seconds per real second, told in the clock message.
    """

    def __init__(self, scenario: Scenario, setup: SessionSetup, seed: int, clock: WorldClock,
                 send: Callable[[Fact], None], *, rate: float = 1.0) -> None:
        self._scenario, self._setup, self._seed = scenario, setup, seed
        self._agenda = Agenda(clock)
        self._streams = Streams(seed)
        self._prefix = f"w{seed}"
        self._feed = Feed(scenario.feed, self._agenda, send, self._streams)
        self._control = RaceControl(scenario, setup, self._agenda, self._feed, self._streams, self._prefix, rate)
        self._faults = Faults(scenario.faults, self._control.flag_s, self._agenda, self._feed, self._streams,
                              self._prefix, self._feed.at_once)
        self._exit_free_s = float("-inf")
        self._track = Track(scenario.pace, self._streams.stream("track"))
        self._grounds: list[tuple[Car, Ground]] = []
        if not setup.cars:
            raise UserError("a rehearsal needs a car file: the event names no car of the team")
        self._field_ground = self._ground(sorted(setup.plans or setup.cars)[0])
        self._engineers: dict[str, Engineer] = {}
        self._drivers: dict[str, Driver] = {}
        self._teams: dict[str, TeamCar] = {}
        self._crews = Crews()
        self._channels: dict[str, Channel] = {}
        self._listening: dict[str, Listening] = {}
        self._cars: dict[str, RacingCar] = {}
        self._rivals: list[Rival] = []
        for number in sorted(setup.plans):
            self._enter_team(number)
        for number in self._field_numbers():
            self._enter_rival(number)
        self._control.watch(self._boards)
        self._control.close_when(self._all_in)

    # -- the interface -----------------------------------------------------------------------------

    def start(self) -> None:
        """Arm everything. Call it once, at or before the scenario's ``starts_at_s``."""
        self._control.start()
        begin = self._scenario.starts_at_s
        for number in sorted(self._teams):
            self._agenda.at(begin, self._teams[number].wheel.report_all)
            self._report_positions(number, begin)
        self._faults.start(begin)
        for rival in self._rivals:
            rival.start()
        for incident in self._scenario.incidents:
            car = self._cars.get(incident.car)
            if car is not None:
                self._agenda.at(incident.at, partial(car.stops_from, incident.lasts))
        for flag in self._control.flags:
            if flag.status == "red" and flag.start_s > CAUSE_S and not self._scripted(flag.start_s):
                self._agenda.at(flag.start_s - CAUSE_S, self._cause)

    def hear(self, output: Output) -> None:
        """What the daemon published: prompts, alerts, advice and answers reach an engineer, nothing else does."""
        if isinstance(output, Prompt | Answered | Alert):
            engineers = [self._engineers[output.car]] if output.car in self._engineers else []
        elif isinstance(output, Refused | AdviceState):
            engineers = [self._engineers[number] for number in sorted(self._engineers)]
        else:
            return
        for engineer in engineers:
            engineer.hear(output, self._agenda.now())

    @property
    def finished(self) -> bool:
        """True once the session is closed and the clock has run on for as long as the scenario wants."""
        closed = self._control.closed_s
        return closed is not None and self._agenda.now() >= closed + self._scenario.wake_after_s

    @property
    def ends_by_s(self) -> float:
        """The session second by which the world is over, whatever happens."""
        return self._control.flag_s + max(420.0, self._scenario.close_after_s) + 10.0 + self._scenario.wake_after_s

    def outcome(self) -> WorldOutcome:
        """The truth so far."""
        return WorldOutcome(
            scenario=self._scenario.name, seed=self._seed, ended_s=round(self._agenda.now(), 3),
            flag_s=self._control.flag_s, finished=self.finished, reference_lap_s=round(self._field_ground.lap_s, 3),
            cars={number: self._truth(number) for number in sorted(self._teams)},
            field=tuple(rival.truth() for rival in self._rivals), flags=tuple(self._control.flags),
            feed=self._feed.counts(), faults=self._faults.shown(self._agenda.now()),
        )  # fmt: skip

    # -- entering cars -----------------------------------------------------------------------------

    def _ground(self, number: str) -> Ground:
        """The circuit for this car's file; cars with equal files share it, so that both drive in one world."""
        car = self._setup.cars[number]
        for other, ground in self._grounds:
            if other == car:
                return ground
        limit, rng = self._setup.regulations.pit_limit_kph, self._streams.stream("ground")
        ground = lay_ground(self._setup.circuit, car, limit, self._scenario.pace, rng)
        self._grounds.append((car, ground))
        return ground

    def _enter_team(self, number: str) -> None:
        scenario, setup, plan = self._scenario, self._setup, self._setup.plans[number]
        ground = self._ground(number)
        car = self._racing(number, ground)
        paces = self._paces(number, plan, ground)
        wheel = Wheel(number, setup.cars[number], plan, setup.wet, self._feed, scenario.feed.switches, self._prefix)
        rule = LapRule(setup.cars[number], plan, setup.procedures, setup.wet)
        team = TeamCar(car, setup.cars[number], plan, paces, wheel, rule, self._control, self._agenda, scenario.pace,
                       self._streams.stream("team", number), self._change_time(number))
        team.crews = self._crews
        channel = Channel(number, self._agenda, self._feed, scenario.feed.channel, self._prefix)
        habits = {name: scenario.drivers.get(name, scenario.driver) for name in paces}
        own = ears(scenario.hearing, self._streams.stream("hearing", number))
        listening = self._listening[number] = Listening(car, ground, own)
        driver = Driver(team, setup.procedures, habits, scenario.talks, plan.medium, channel, self._agenda, listening,
                        self._streams.stream("driver", number), self._streams.stream("talk", number),
                        self._streams.stream("holds", number) if scenario.holds == "driven" else None)
        self._engineers[number] = Engineer(
            team, driver, scenario.engineer, channel, self._agenda, self._feed.at_once, self._prefix,
            self._streams.stream("engineer", number), self._streams.stream("keys", number),
            self._streams.stream("speech", number))
        self._teams[number], self._drivers[number], self._channels[number] = team, driver, channel
        self._faults.enter(number, team)

    def _paces(self, number: str, plan: Plan, ground: Ground) -> dict[str, CarPace]:
        """The pace of each driver in this car; the plan's own first."""
        pace, spread = self._scenario.pace, self._scenario.driver_pace
        own = self._streams.stream("pace", number)
        paces = {plan.driver: car_pace(ground.lap_s, pace.lap / 2, pace, self._track, own)}
        for driver in sorted({plan.driver_of(run) for run in plan.runs} - {plan.driver}):
            rng = self._streams.stream("pace", number, driver)
            paces[driver] = CarPace(paces[plan.driver].best_s, max(0.98, shifted(rng, spread)), pace, self._track, rng)
        return paces

    def _change_time(self, number: str) -> Callable[[], float]:
        rng = self._streams.stream("change", number)
        return lambda: between(rng, self._scenario.driver_change_s)

    def _enter_rival(self, number: str) -> None:
        scenario = self._scenario
        ground = self._field_ground
        pace: CarPace = car_pace(ground.lap_s, scenario.field.pace, scenario.pace, self._track,
                                 self._streams.stream("pace", number))
        self._rivals.append(Rival(self._racing(number, ground), pace, scenario.field, self._control, self._agenda,
                                  self._streams.stream("rival", number)))

    def _racing(self, number: str, ground: Ground) -> RacingCar:
        car = RacingCar(number, ground, self._control, self._feed, self._agenda, self._prefix, self._exit_turn)
        self._cars[number] = car
        return car

    def _field_numbers(self) -> list[str]:
        """The event's own list first; further numbers are invented when the scenario wants more cars."""
        wanted = self._scenario.field.cars
        listed = list(self._setup.field_cars)[:wanted]
        taken = {*listed, *self._setup.plans}
        spare = (str(number) for number in range(101, 1000) if str(number) not in taken)
        return listed + [next(spare) for _ in range(wanted - len(listed))]

    # -- the session -------------------------------------------------------------------------------

    def _exit_turn(self, t: float) -> float:
        """The next free moment at the pit exit: cars in the queue leave one after the other."""
        self._exit_free_s = max(self._exit_free_s + QUEUE_S, t)
        return self._exit_free_s

    def _all_in(self) -> bool:
        return all(car.where in ("garage", "stopped", "exit") for car in self._cars.values())

    def _boards(self, t: float, notice: Notice) -> None:
        if notice.status == "closed":
            for number in sorted(self._engineers):
                self._engineers[number].off_duty = True
        if notice.status == "waiting" and t > 0:
            for number in sorted(self._cars):
                self._cars[number].recovered(t)
            for number in sorted(self._engineers):
                self._engineers[number].hand_over(t)

    def _report_positions(self, number: str, begin: float) -> None:
        rate, length = self._scenario.feed.positions_hz, self._setup.circuit.length_m
        if rate > 0 and length is not None:
            Positions(self._cars[number], 1.0 / rate, length, self._agenda, self._feed, self._prefix,
                      self._streams.stream("positions", number),
                      speeds=self._scenario.holds == "driven").start(begin)

    def _scripted(self, start_s: float) -> bool:
        return any(flag.at == start_s for flag in self._scenario.flags.scripted)

    def _cause(self, t: float) -> None:
        """A car of the field stops on track: a random red flag has a reason."""
        ours = set(self._teams)
        running = [name for name, car in sorted(self._cars.items()) if name not in ours and car.where == "track"]
        chosen = pick(self._streams.stream("cause", f"{t:.3f}"), running)
        if chosen is not None:
            self._cars[chosen].stops_from(None, t)

    def _truth(self, number: str) -> CarTruth:
        team, engineer, channel = self._teams[number], self._engineers[number], self._channels[number]
        return CarTruth(
            car=number, laps=tuple(team.laps), calls=engineer.spoken(), never_spoken=engineer.never_spoken(),
            boxes=tuple(team.boxes), procedures=tuple(self._drivers[number].done), releases=tuple(team.releases),
            switches=tuple(team.wheel.moved), driver_changes=tuple(team.changes), voices=tuple(channel.heard),
            listening=self._listening[number].spans(self._scenario.starts_at_s, self._agenda.now()),
            chances=tuple(team.chances),
            keys_pressed=engineer.keys_pressed, refusals=tuple(engineer.refusals),
            driver_spoke_s=round(channel.spoke_s["driver"], 1), engineer_spoke_s=round(channel.spoke_s["engineer"], 1),
        )  # fmt: skip
