"""The other cars: random runs whose lengths and stops follow what was measured (see the scenario's defaults)."""

from __future__ import annotations

from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.control import Notice, RaceControl
from pitwall.rehearsal.draws import Rng, happens, long_tailed
from pitwall.rehearsal.pacing import CarPace
from pitwall.rehearsal.pilot import LapIntent, OpenLap, Stop
from pitwall.rehearsal.racing import RacingCar
from pitwall.rehearsal.scenario import FieldHabits
from pitwall.rehearsal.truth import DrivenLap, FieldTruth

COMPOUNDS = ("soft", "medium", "hard")


class Rival:
    """Pilot, engineer and garage of one of the other cars."""

    def __init__(self, car: RacingCar, pace: CarPace, habits: FieldHabits, control: RaceControl, agenda: Agenda,
                 rng: Rng) -> None:
        self._car, self._pace, self._habits = car, pace, habits
        self._control, self._agenda, self._rng = control, agenda, rng
        self._timed_left = 0
        self._cool_next = False
        self._home_s: float | None = None
        self._laps: list[DrivenLap] = []
        self._stops: list[float] = []
        car.attach(self)

    def start(self) -> None:
        """Choose when to go out first."""
        self._leave_at(long_tailed(self._rng, self._habits.first_out_s))

    def truth(self) -> FieldTruth:
        """What this car did."""
        times = [lap.time_s for lap in self._laps if lap.kind == "timed"]
        return FieldTruth(car=self._car.number, best_s=round(min(times), 3) if times else None, laps=tuple(self._laps),
                          garage_stops_s=tuple(self._stops))

    def _leave_at(self, t: float) -> None:
        if t < self._control.flag_s:
            self._agenda.at(t, self._try_leaving)

    def _try_leaving(self, t: float) -> None:
        if self._control.over or self._control.flag_after(t) - t < 1.5 * self._pace.best_s:
            opens = self._control.opens_after(t)
            if opens is not None:
                self._leave_at(opens + long_tailed(self._rng, self._habits.first_out_s))
            return  # no time left for a timed lap: this window is over, or the day
        wait = float(self._rng.uniform(2.0, 50.0))
        if not self._control.running:
            self._leave_at(t + wait)
            return
        rng = self._rng
        self._timed_left = max(1, round(long_tailed(rng, self._habits.timed_laps)))
        self._cool_next = False
        self._car.compound = COMPOUNDS[int(rng.integers(3))]
        self._car.tyre_age = 0 if happens(rng, 0.5) else int(rng.integers(1, 8))
        if self._home_s is not None:
            self._stops.append(round(t - self._home_s, 1))
        self._car.leave(t)

    # -- pilot -------------------------------------------------------------------------------------

    def out_lap(self, t: float) -> LapIntent:
        """See :class:`~pitwall.rehearsal.pilot.Pilot`."""
        return self._pace.out(t, self._car.ground.exit)

    def next_lap(self, t: float) -> LapIntent:
        """Timed laps with the odd cool-down lap between, until the run is used up."""
        ground = self._car.ground
        if self._control.over or self._control.status == "red" or self._timed_left <= 0:
            return self._pace.into_pits(t, ground.entry, ground.lane_s * ground.line_part)
        if self._cool_next:
            self._cool_next = False
            return self._pace.cool(t)
        self._timed_left -= 1
        self._cool_next = self._timed_left > 0 and happens(self._rng, self._habits.cool_after_timed)
        return self._pace.timed(t, tyre_laps=self._car.tyre_age)

    def comes_in(self, t: float) -> bool:
        """In on an in-lap, and at once under red; a lap begun before the flag is finished first."""
        lap = self._car.lap
        if lap is None:
            return False
        return lap.meant == "in" or self._control.status == "red" or (self._control.over and lap.meant != "timed")

    def in_lane(self, t: float) -> Stop:
        """Straight to the garage."""
        return Stop()

    def in_garage(self, t: float) -> None:
        """Work, then out again."""
        self._home_s = t
        self._leave_at(t + long_tailed(self._rng, self._habits.garage_s))

    def lap_ended(self, lap: OpenLap, t: float, entry_s: float | None) -> None:
        """Keep the record."""
        time_s = t - lap.start_s
        kind = lap.kind
        if kind == "timed" and time_s > 1.12 * self._pace.best_s:
            kind = "cool"
        self._laps.append(
            DrivenLap(
                car=self._car.number, number=lap.number, kind=kind, meant=lap.meant, start_s=round(lap.start_s, 3),
                end_s=round(t, 3), time_s=round(time_s, 3), entry_s=entry_s, flags=lap.flags, spoilt=lap.spoilt,
                tyre_laps=self._car.tyre_age,
            )
        )  # fmt: skip

    def sees(self, t: float, notice: Notice) -> None:
        """Nothing beyond what the car itself does: at the next line the status is read again."""
