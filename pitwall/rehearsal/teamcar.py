"""A team car: its crew in the garage, its fuel and tyres, and the laps its driver chooses as long as nobody speaks.

The crew works by the plan of the run that the release call named. The driver knows a briefing only: push, lap after
lap, until told to do something else. What was said reaches this class through the driver's ears (``driver.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pitwall.model.car import Car, Position
from pitwall.model.outputs import Prompt
from pitwall.model.plan import Plan, Run
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.control import Notice, RaceControl
from pitwall.rehearsal.crews import Crews
from pitwall.rehearsal.draws import Rng, between, shifted
from pitwall.rehearsal.pacing import CarPace
from pitwall.rehearsal.pilot import LapIntent, OpenLap, Stop
from pitwall.rehearsal.racing import RacingCar
from pitwall.rehearsal.scenario import PaceOfWorld
from pitwall.rehearsal.score import LapRule
from pitwall.rehearsal.truth import (
    ChancePassed,
    DrivenKind,
    DrivenLap,
    DriverChanged,
    HeardBox,
    Release,
    WrongSwitch,
)
from pitwall.rehearsal.wheel import Wheel

JUST_BEGUN_S = 15.0      # a lap that began so little ago is still "this lap"
ROLLS_S = 2.0            # from the release to the wheels turning
COLD_START_S = 18.0      # a car that was not fired up needs so much longer
COUNTDOWN_S = 90.0       # a release that is counted down is obeyed at its moment, when that is so near
LEAST_LAPS = 3           # an out-lap, a timed lap and an in-lap: with less fuel than for these nobody leaves
EASY_BURN = 0.75         # fuel burnt on a lap that is not timed, as a share of a timed lap's
WRONG_SWITCH_S = 0.35    # a timed lap with a wrong switch loses so much
SPOILS = frozenset({"slow", "red"})  # a timed lap under one of these is driven again
BACKS_OFF_BEFORE = 0.5   # told to come in before this share of the lap, the driver backs off at once


@dataclass
class LapNotes:
    """What the team writes down as a lap begins."""

    run: str | None
    timed_number: int
    fuel_kg: float
    tyre_laps: int
    positions: dict[str, Position]
    wrong: tuple[WrongSwitch, ...]


@dataclass
class BoxOrder:
    """A box call that the driver has heard and means to obey."""

    call: str
    heard_s: float
    lap: int
    record: int


class TeamCar:
    """Pilot and garage of one team car."""

    def __init__(self, car: RacingCar, model: Car, plan: Plan, paces: Mapping[str, CarPace], wheel: Wheel,
                 rule: LapRule, control: RaceControl, agenda: Agenda, world: PaceOfWorld, rng: Rng,
                 change_s: Callable[[], float]) -> None:
        self.car, self.wheel, self.plan = car, wheel, plan
        self.seated = plan.driver_of(next((run for run in plan.runs if run.laps), None))
        self._model, self._rule = model, rule
        self._paces, self._pace = paces, paces[self.seated]
        self._change_s = change_s
        self.changes: list[DriverChanged] = []
        self.entered_s: float | None = None
        self._control, self._agenda, self._world, self._rng = control, agenda, world, rng
        self._burn = model.fuel_per_lap_kg * max(0.5, shifted(rng, world.fuel_burn))
        self._fuel_cost = model.fuel_s_per_kg * max(0.0, shifted(rng, world.fuel_effect))
        start = plan.starts_with
        self.fuel_kg = start.fuel_kg if start.fuel_kg is not None else 20.0
        self._tyres = start.tyres
        self._tyre_laps: dict[str, int] = {name: tyres.laps for name, tyres in plan.tyre_sets.items()}
        self.run: Run | None = None
        self.run_name: str | None = None
        self._timed_ended = 0
        self._timed_driven: list[tuple[int, dict[str, Position]]] = []
        self.drives_through = False
        self._ready_s = float("-inf")
        self.crews = Crews()
        self._fired_up = False
        self._next_kind: str | None = None
        self._box: BoxOrder | None = None
        self._straight_in: Prompt | None = None
        self._release: int | None = None
        self._notes: LapNotes | None = None
        self._last_chance_s: float | None = None
        self.laps: list[DrivenLap] = []
        self.boxes: list[HeardBox] = []
        self.chances: list[ChancePassed] = []
        self.releases: list[Release] = []
        self.on_lap: Callable[[float, str, float], None] = lambda t, kind, lap_s: None
        self.on_eased: Callable[[float, float], None] = lambda t, rest_s: None
        self.on_lane: Callable[[float], float] = lambda t: 0.0
        self.on_exit: Callable[[float], float] = lambda t: 0.0
        self.on_garage: Callable[[float], None] = lambda t: None
        self.fills: Callable[[Run | None, float, float], float] = lambda run, wanted_kg, t: wanted_kg
        self.reserve_kg = model.fuel_reserve_kg
        car.attach(self)

    # -- what was said -----------------------------------------------------------------------------

    def fire_up(self) -> None:
        """The engine runs: the car can leave at once."""
        if self.car.where == "garage":
            self._fired_up = True

    def told_next_run(self, run_name: str | None, t: float) -> None:
        """The garage heard which run comes next: if somebody else drives it, the change is made beside the rest."""
        run = self.plan.find(run_name) if run_name else None
        if run is None or self.car.where != "garage" or self.plan.driver_of(run) == self.seated:
            return
        took = self._change_s()
        self._ready_s = max(self._ready_s, t + took)
        self.seated = self.plan.driver_of(run)
        self._pace = self._paces[self.seated]
        self.changes.append(DriverChanged(car=self.car.number, t=round(t, 3), took_s=round(took, 1),
                                          driver=self.seated))

    def told_to_leave(self, prompt: Prompt, t: float) -> str:
        """The release was said: leave as soon as the work is done, unless race control forbids it."""
        number = len(self.releases)
        reason = self._may_not_leave()
        self.releases.append(Release(car=self.car.number, call=prompt.call, run=prompt.run, said_s=t, reason=reason))
        if reason is not None:
            return reason
        self.told_next_run(prompt.run, t)  # nobody had told the garage before
        moment = t + ROLLS_S
        if prompt.act_at_s is not None and 0 < prompt.act_at_s - t < COUNTDOWN_S:
            moment = max(moment, prompt.act_at_s)
        if not self._fired_up:
            moment += COLD_START_S
        if moment < self._ready_s:
            self._amend(number, reason="the work was not finished")
            moment = self._ready_s
        self._release = number
        self._agenda.at(moment, lambda at: self._roll(at, number, prompt.run))
        return "leaves"

    def told_to_box(self, prompt: Prompt, t: float) -> str:
        """Come in: this lap if the pit entry can still be taken, else the next. In the garage: out and straight in."""
        lap = self.car.lap
        if self.car.where == "garage":
            self._straight_in = prompt
            return "comes straight back in"
        if self.car.where != "track" or lap is None:
            return "not on track"
        phase = self.car.phase_at(t)
        assert phase is not None
        passed = self._last_chance_s
        chance = passed if passed is not None else self.car.when_at(self.car.ground.last_chance)
        in_time = passed is None and t <= chance
        if self._box is None:
            self._box = BoxOrder(prompt.call, t, lap.number, len(self.boxes))
        self.boxes.append(HeardBox(car=self.car.number, call=prompt.call, heard_s=round(t, 3), lap=lap.number,
                                   in_time=in_time, last_chance_s=round(chance, 3)))
        if in_time and lap.kind in ("timed", "cool"):
            self.on_eased(t, max(0.0, chance - t))
        if in_time and phase < BACKS_OFF_BEFORE and lap.kind in ("timed", "cool"):
            self.car.change_pace(t, self._in_lap(t).lap_s)
        return "comes in" if in_time else "too late for this lap: comes in on the next"

    def told_to_stay_out(self) -> str:
        """Go on: he was called in by mistake. A lap on which he has backed off stays slow."""
        was_told, self._box = self._box is not None, None
        return "stays out" if was_told else "understood"

    def _thinks_of_the_garage(self, t: float) -> None:
        told, self._straight_in = self._straight_in, None
        if told is not None:
            self.told_to_box(told, t)

    def told_lap_kind(self, prompt: Prompt, t: float) -> str:
        """The next lap is to be of this kind; said just after the line and meant for this lap, this one."""
        kind = prompt.ask.lap_kind
        if kind == "in":
            return self.told_to_box(prompt, t)
        if kind not in ("timed", "cool"):
            return "understood"
        phase = self.car.phase_at(t)
        lap = self.car.lap
        overdue = prompt.act_at_s is not None and prompt.act_at_s <= t + JUST_BEGUN_S
        if lap is not None and phase is not None and overdue and phase < 0.2 and lap.meant in ("timed", "cool"):
            return self._this_lap(t, kind)
        self._next_kind = kind
        return f"next lap {kind}"

    def _this_lap(self, t: float, kind: str) -> str:
        lap = self.car.lap
        assert lap is not None
        if lap.kind != kind:
            intent = self._pace.cool(t) if kind == "cool" else self._timed_lap(t, 0.0)
            self.car.change_pace(t, intent.lap_s)
            self.car.rename_lap("cool" if kind == "cool" else "timed")
            if kind == "cool":
                self.on_eased(t, max(0.0, self.car.when_at(1.0) - t))
        return f"this lap {kind}"

    @property
    def waits_for_green(self) -> bool:
        """Race control has not opened this window yet, as anybody can see."""
        return self._control.status == "waiting"

    def ready_in(self, t: float) -> float:
        """Seconds until the crew is done, as anybody in the garage can see; never negative."""
        return max(0.0, self._ready_s - t) if self.car.where == "garage" else 0.0

    # -- the garage --------------------------------------------------------------------------------

    def _may_not_leave(self) -> str | None:
        if self.car.where != "garage":
            return "the car is not in the garage"
        if self._release is not None:
            return "already leaving"
        if self._control.status == "red":
            return "red flag"
        if self._control.over:
            return "the session is over"
        return None

    def _roll(self, t: float, number: int, run_name: str | None) -> None:
        reason = None
        if self._control.status == "red":
            reason = "red flag before the wheels turned"
        elif self._control.over:
            reason = "the session ended before the wheels turned"
        if reason is not None:
            self._release = None
            self._amend(number, reason=reason)
            return
        wanted = self.run.laps.count("timed") if self.run is not None else 0
        goes_on = run_name is not None and run_name == self.run_name  # a run that was cut goes on where it was
        if not goes_on or self._timed_ended >= wanted:
            self._timed_ended, self._timed_driven = 0, []
        self.run_name = run_name
        self.run = self.plan.find(run_name) if run_name else None
        if not goes_on or self.fuel_kg < LEAST_LAPS * self._burn + self.reserve_kg:
            self._load(t)
        self._amend(number, left_s=round(t, 3))
        self._next_kind = None
        self._box = None
        self.car.leave(t)

    def _load(self, t: float) -> None:
        """Fuel and tyres by the plan of this run; without figures, enough for its laps.

        A car that goes on with a run has what is left of that run's fuel, as long as that lasts for three laps.
        """
        run = self.run
        # A run that repeats another is fuelled like that, and on its tyres, where it does not say otherwise.
        asked = None if run is None else (run, self.plan.original(run))
        fuel_kg = next((one.fuel_kg for one in asked or () if one.fuel_kg is not None), None)
        if fuel_kg is not None:
            self.fuel_kg = fuel_kg
        else:
            laps = len(run.laps) if run is not None and run.laps else 4
            self.fuel_kg = max(self.fuel_kg, laps * self._model.fuel_per_lap_kg * 1.05 + self._model.fuel_reserve_kg)
        self.fuel_kg = self.fills(run, self.fuel_kg, t)
        self._tyres = next((one.tyres for one in asked or () if one.tyres), self._tyres)
        known = self.plan.tyre_sets.get(self._tyres or "")
        self.car.compound = known.compound if known is not None else None
        self.car.tyre_age = self._tyre_laps.get(self._tyres or "", 0)

    def _amend(self, number: int, **changes: object) -> None:
        self.releases[number] = self.releases[number].model_copy(update=changes)

    # -- pilot -------------------------------------------------------------------------------------

    def out_lap(self, t: float) -> LapIntent:
        """See :class:`~pitwall.rehearsal.pilot.Pilot`."""
        if self._release is not None:
            self._amend(self._release, exit_s=round(t, 3))
            self._release = None
        intent = self._pace.out(t, self.car.ground.exit)
        self._begin(t, "out", intent.lap_s)
        self._agenda.at(t + 0.01, self._thinks_of_the_garage)
        held = self.on_exit(t)
        if held > 0:
            self._agenda.at(t + 0.01, lambda at: self.car.hold_up(at, held))
        return intent

    def next_lap(self, t: float) -> LapIntent:
        """In when told, when the flag is out, under red or with the fuel nearly gone; else as told, else push."""
        asked, self._next_kind = self._next_kind, None
        out_of_fuel = self.fuel_kg < 1.3 * self._burn
        if self._box is not None or self._control.over or self._control.status == "red" or out_of_fuel:
            intent = self._in_lap(t)
        elif asked == "cool":
            intent = self._pace.cool(t)
        else:
            intent = self._timed_lap(t, WRONG_SWITCH_S if self._wrong_now() else 0.0)
        self._begin(t, intent.meant, intent.lap_s)
        return intent

    def comes_in(self, t: float) -> bool:
        """In when a box call was heard by now; a box call heard later is for the next lap."""
        self._last_chance_s = t
        lap = self.car.lap
        if lap is None:
            return False
        self.chances.append(ChancePassed(lap=lap.number, t=round(t, 3)))
        for number, box in enumerate(self.boxes):
            if box.lap == lap.number:  # what was expected as the call was heard becomes what was
                self.boxes[number] = box.model_copy(update={"last_chance_s": round(t, 3)})
        if self._box is not None or lap.meant == "in" or self._control.status == "red" or self.drives_through:
            return True
        if not self._control.over:
            return False
        return lap.kind != "timed" or not self._control.finish_started_lap

    def in_lane(self, t: float) -> Stop:
        """Whatever was told for the lane, then the garage."""
        self.entered_s = round(t, 3)
        for number, box in enumerate(self.boxes):
            if box.entered_s is None:
                self.boxes[number] = box.model_copy(update={"entered_s": round(t, 3)})
        lap = self.car.lap
        boxed = self._box is not None or (lap is not None and lap.meant == "in")
        through = self.drives_through and not boxed and self._control.running
        self._box, self.drives_through = None, False
        return Stop(self.on_lane(t), through)

    def in_garage(self, t: float) -> None:
        """The crew goes to work; how long it takes is this world's affair."""
        work = self.run.after_garage_s if self.run is not None else None
        spread = (work.low_s, work.likely_s, work.high_s) if work is not None else (60.0, 120.0, 240.0)
        # One job in ten beats the plan's optimistic figure and one in ten overruns its pessimistic one, by a little.
        drawn = between(self._rng, spread, high=1.15 * spread[2])
        drawn *= max(0.4, shifted(self._rng, self._world.garage))
        self._ready_s = self.crews.take(self.run.crew if self.run is not None else (), t, drawn)
        self._fired_up = False
        self.on_garage(t)

    def lap_ended(self, lap: OpenLap, t: float, entry_s: float | None) -> None:
        """Write the lap down; the fuel is gone."""
        notes = self._notes
        assert notes is not None
        time_s = t - lap.start_s
        kind: DrivenKind = lap.kind
        if kind == "timed" and time_s > 1.12 * self._pace.best_s:
            kind = "cool"
        if kind == "timed" and not SPOILS.intersection(lap.flags):
            # One that a flag spoilt is driven again, and what was to be compared on it is still to be compared.
            self._timed_ended += 1
            self._timed_driven.append((self._timed_ended, notes.positions))
        self._tyre_laps[self._tyres or ""] = self.car.tyre_age
        self.fuel_kg = max(0.0, self.fuel_kg - self._burn * (1.0 if kind == "timed" else EASY_BURN))
        self.laps.append(
            DrivenLap(
                car=self.car.number, number=lap.number, run=self.run_name, driver=self.seated, kind=kind,
                meant=lap.meant, timed_number=notes.timed_number if lap.kind == "timed" else None,
                start_s=round(lap.start_s, 3), end_s=round(t, 3), time_s=round(time_s, 3), entry_s=entry_s,
                fuel_kg=round(notes.fuel_kg, 2),
                tyre_laps=notes.tyre_laps, flags=lap.flags, spoilt=lap.spoilt, switches=notes.positions,
                wrong=notes.wrong if kind == "timed" else (),
            )
        )  # fmt: skip

    def sees(self, t: float, notice: Notice) -> None:
        """The car itself slows; what it means for the lap is decided at the next place that matters."""

    # -- laps --------------------------------------------------------------------------------------

    def _begin(self, t: float, kind: str, lap_s: float) -> None:
        self._last_chance_s = None
        timed = kind == "timed"
        self._notes = LapNotes(
            self.run_name, self._timed_ended + 1, self.fuel_kg, self.car.tyre_age, dict(self.wheel.positions),
            self._wrong_now() if timed else (),
        )
        self.on_lap(t, kind, lap_s)

    def _wrong_now(self) -> tuple[WrongSwitch, ...]:
        return self._rule.wrong(self.run, self._timed_ended + 1, self.wheel.positions, self._timed_driven)

    def _timed_lap(self, t: float, lost_s: float) -> LapIntent:
        return self._pace.timed(t, self.fuel_kg * self._fuel_cost, self.car.tyre_age, lost_s)

    def _in_lap(self, t: float) -> LapIntent:
        ground = self.car.ground
        return self._pace.into_pits(t, ground.entry, ground.lane_s * ground.line_part)
