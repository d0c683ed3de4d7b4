"""A car in motion: where it is on the lap, the loops it passes, the pit lane and the garage. A pilot decides the rest.

Motion is piecewise linear in *phase* (share of the lap time): a lap begins with a pace in seconds a lap, flags and
mistakes change the pace or add a delay, and the next point ahead is armed again. The truth is the moment a point is
reached; what the feed makes of it is the feed's affair.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Literal

import numpy as np

from pitwall.model.events import CarCrossed, CarPitted
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.control import Notice, RaceControl
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.ground import Ground
from pitwall.rehearsal.holding import HeldPath, speed_of
from pitwall.rehearsal.motion import Point, Steady
from pitwall.rehearsal.pilot import LapIntent, OpenLap, Pilot
from pitwall.rehearsal.truth import DrivenKind

Where = Literal["garage", "lane", "exit", "track", "stopped"]
PULLS_IN_S = 6.0      # from the lane into the garage
PULLS_OUT_S = 5.0     # from the garage into the lane
QUEUE_S = 2.5         # cars in the queue at the pit exit leave so far apart
BEYOND_LINE = 0.55    # the garage's place in the lane: so far along the part that lies beyond the line
RED_PACE, SLOW_PACE = 1.55, 1.35


class RacingCar:
    """One car. ``where`` and ``lap`` may be read by its pilot; everything else is moved by the agenda."""

    def __init__(self, number: str, ground: Ground, control: RaceControl, feed: Feed, agenda: Agenda, prefix: str,
                 exit_turn: Callable[[float], float]) -> None:
        self.number, self.ground = number, ground
        self._control, self._feed, self._agenda, self._prefix = control, feed, agenda, prefix
        self._exit_turn = exit_turn
        self._pilot: Pilot
        self.where: Where = "garage"
        self.lap: OpenLap | None = None
        self.lap_number = 1
        self.compound: str | None = None
        self.tyre_age = 0
        self.loops_seen: list[tuple[str, float]] = []
        self.way: list[Steady] | None = None  # kept where somebody wants to know it afterwards
        self.stop_at: float | None = None
        self.stop_lasts: float | None = None
        self.halts: list[tuple[float, float]] = []  # stops on track: from, until (without end: infinity)
        self._phase, self._since, self._pace, self._factor, self._bend = 0.0, 0.0, 90.0, 1.0, 0.0
        self._bent_kept: tuple[np.ndarray, float, np.ndarray] | None = None
        self._ahead: list[Point] = []
        self._held: HeldPath | None = None  # a hold that is being driven: until its end the car moves along it
        self._token = self._order = 0
        self._turning_in = False
        self._entry_s: float | None = None
        self._last_line: float | None = None
        self._facts = 0
        self._lane_until = float("-inf")
        self._garage_part = ground.line_part + (1 - ground.line_part) * BEYOND_LINE
        control.watch(self._boards)

    def attach(self, pilot: Pilot) -> None:
        """Seat the pilot; before the world starts."""
        self._pilot = pilot

    # -- the garage and the lane -------------------------------------------------------------------

    def leave(self, t: float) -> None:
        """Drive out of the garage now."""
        if self.where != "garage":
            return
        self.where = "lane"
        self._agenda.at(t + PULLS_OUT_S + self.ground.lane_s * (1 - self._garage_part), self._at_exit)

    def _at_exit(self, t: float) -> None:
        self.where = "exit"
        turn = self._exit_turn(t)
        if self._control.pit_exit == "open":
            self._agenda.at(max(t, turn), self._out)

    def _out(self, t: float) -> None:
        if self.where != "exit" or self._control.pit_exit != "open":
            return  # it closed while the car stood there: the boards call again when it opens
        self.where = "track"
        self._turning_in = False
        self._entry_s = None
        self._feed.crossing(CarPitted(id=self._id("out"), t=round(t, 3), car=self.number, where="exit"))
        self.loops_seen = []
        intent = self._pilot.out_lap(t)
        self._factor = {"red": RED_PACE, "slow": SLOW_PACE}.get(self._control.status, 1.0)
        self.lap = OpenLap(self.lap_number, "out", "out", t, intent.spoilt, self._flags_now())
        self._drive(t, self.ground.exit, intent)

    def _enter_lane(self, t: float) -> None:
        self.where = "lane"
        self._off(t)
        self._entry_s = round(t, 3)
        self._token += 1
        if self.lap is not None:
            self.lap = replace(self.lap, kind="out_in" if self.lap.meant == "out" else "in")
        self._feed.crossing(CarPitted(id=self._id("in"), t=round(t, 3), car=self.number, where="entry"))
        stop = self._pilot.in_lane(t)
        lane = self.ground.lane_s
        if self.ground.line_in_lane and self.ground.entry > self.ground.exit:
            self._agenda.at(t + lane * self.ground.line_part, self._line_in_lane)
        else:
            self._agenda.at(t + lane * 0.5, self._close_in_lap)
        way = lane if stop.through else lane * self._garage_part + PULLS_IN_S
        self._lane_until = t + way + stop.standing_s
        self._agenda.at(self._lane_until, partial(self._leave_lane, stop.through))

    def _line_in_lane(self, t: float) -> None:
        self._cross_line(t)
        self._end_lap(t)
        self.lap_number += 1

    def _close_in_lap(self, t: float) -> None:
        self._end_lap(t)

    def _leave_lane(self, through: bool, t: float) -> None:
        if t < self._lane_until - 1e-9:
            self._agenda.at(self._lane_until, partial(self._leave_lane, through))
        elif through:
            self._at_exit(t)
        else:
            self.where = "garage"
            self._pilot.in_garage(t)

    # -- the lap -----------------------------------------------------------------------------------

    def phase_at(self, t: float) -> float | None:
        """Share of the lap at ``t``; None off the track."""
        if self.where != "track":
            return None
        if self._held is not None and t < self._held.end_s:
            return float(np.interp(t, self._held.t, self._held.phase))
        gone = max(0.0, t - self._since) / (self._pace * self._factor)
        limit = self._ahead[0].phase if self._ahead else 1.0
        return min(self._phase + gone, limit)

    def metres_at(self, t: float) -> float | None:
        """Metres from the line at ``t``; None off the track, or where the circuit has no geometry."""
        phase, strain = self.phase_at(t), self.ground.strain
        if phase is None or strain is None:
            return None
        return float(np.interp(phase, self.bent_all(strain.phase), strain.at_m))

    def speed_at(self, t: float) -> float | None:
        """Metres a second at ``t``; None off the track, or where the circuit has no geometry."""
        phase, strain = self.phase_at(t), self.ground.strain
        if phase is None or strain is None:
            return None
        if self._held is not None and t < self._held.end_s:
            return self._held.speed(t)
        return speed_of(self.bent_all(strain.phase), strain.at_m, phase) / (self._pace * self._factor)

    def hold(self, path_at: Callable[[np.ndarray, float], HeldPath | None]) -> HeldPath | None:
        """Drive the way that ``path_at`` makes of this lap's phases and pace, and go on at that pace from its end."""
        if self.ground.strain is None:
            return None
        path = path_at(self.bent_all(self.ground.strain.phase), self._pace * self._factor)
        if path is not None:
            self._held, self._phase, self._since = path, float(path.phase[-1]), path.end_s
            self._arm()
        return path

    def bent_all(self, phases: np.ndarray) -> np.ndarray:
        """Phases of a good lap as this lap counts them; kept, as a lap asks for the same some hundred times."""
        kept = self._bent_kept
        if kept is None or kept[0] is not phases or kept[1] != self._bend:
            kept = self._bent_kept = phases, self._bend, phases + self._bend * phases * (1.0 - phases)
        return kept[2]

    def when_at(self, phase: float) -> float:
        """When this lap reaches that place at the pace of now, session seconds."""
        return self._since + (self._bent(phase) - self._phase) * self._pace * self._factor

    def call_at_phase(self, t: float, phase: float, action: Callable[[float], None]) -> bool:
        """Call ``action`` when the car gets to this place of this lap; False when it lies behind."""
        here = self.phase_at(t)
        bent = self._bent(phase)
        if here is None or bent <= here or phase >= 1.0:
            return False
        self._order += 1
        insort(self._ahead, Point(bent, self._order, "call", action=action))
        self._settle(t)
        return True

    def hold_up(self, t: float, seconds: float) -> None:
        """Lose this time here and now, on the track or in the pit lane."""
        if self.where == "lane":
            self._lane_until += seconds
        elif self.where == "track":
            self._settle(t)
            self._since += seconds
            self._arm()

    def change_pace(self, t: float, lap_s: float) -> None:
        """Drive the rest of the lap at this pace."""
        if self.where == "track":
            self._settle(t)
            self._pace = lap_s
            self._arm()

    def rename_lap(self, kind: DrivenKind) -> None:
        """The lap turned into another kind."""
        if self.lap is not None:
            self.lap = replace(self.lap, kind=kind)

    def _drive(self, t: float, phase: float, intent: LapIntent) -> None:
        self._bend = intent.bend
        self._phase, self._since, self._pace = self._bent(phase), t, intent.lap_s
        points = [("loop", name, at) for name, at in self.ground.loops]
        points += [("chance", "", self.ground.last_chance), ("entry", "", self.ground.entry), ("line", "", 1.0)]
        self._ahead = []
        for what, name, at in points:
            if at > phase or what == "line":
                self._order += 1
                insort(self._ahead, Point(self._bent(at), self._order, what, name))
        self._arm()

    def _bent(self, phase: float) -> float:
        return phase + self._bend * phase * (1.0 - phase)

    def _settle(self, t: float) -> None:
        if self._held is None or t >= self._held.end_s:
            here = self.phase_at(t)
            assert here is not None
            self._phase, self._since = here, max(t, self._since)
        self._arm()

    def _arm(self) -> None:
        self._token += 1
        token = self._token
        if self.way is not None:
            self.way.append(Steady(self._since, self._phase, self._pace * self._factor, self._bend))
        due = self._since + max(0.0, self._ahead[0].phase - self._phase) * self._pace * self._factor
        if self._held is not None and self._ahead[0].phase < self._phase:
            due = float(np.interp(self._ahead[0].phase, self._held.phase, self._held.t))
        self._agenda.at(due, lambda t: self._reach(t, token))

    def _reach(self, t: float, token: int) -> None:
        if token != self._token or self.where != "track":
            return
        point = self._ahead.pop(0)
        if self._held is None or t >= self._held.end_s:
            self._phase, self._since, self._held = point.phase, t, None
        # For a while it stops only between two points of one lap: at the line and the pit entry the next one begins.
        stays = self.stop_lasts is None or point.what not in ("line", "entry")
        if self.stop_at is not None and t >= self.stop_at and stays and self._halt(t):
            return
        if point.what == "line":
            self._at_line(t)
            return
        if point.what == "loop":
            self._at_loop(t, point.name)
        elif point.what == "chance":
            self._turning_in = self._pilot.comes_in(t)
        elif point.what == "entry" and self._turning_in:
            self._enter_lane(t)
            return
        elif point.action is not None:
            point.action(t)
        if self.where == "track":
            self._arm()

    def _at_line(self, t: float) -> None:
        self._cross_line(t)
        self._end_lap(t)
        self.lap_number += 1
        self.loops_seen = []
        intent = self._pilot.next_lap(t)
        self.lap = OpenLap(self.lap_number, intent.meant, intent.meant, t, intent.spoilt, self._flags_now())
        self._drive(t, 0.0, intent)

    def _at_loop(self, t: float, name: str) -> None:
        before = self.loops_seen[-1][1] if self.loops_seen else self._lap_start_line()
        sector = t - before if before is not None else None
        self.loops_seen.append((name, t))
        self._feed.crossing(
            CarCrossed(id=self._id(name), t=round(t, 3), car=self.number, loop=name, lap=self.lap_number,
                       sector_time_s=_thousandths(sector), speed_mps=self._speed(name), compound=self.compound,
                       tyre_age=self.tyre_age)
        )

    def _lap_start_line(self) -> float | None:
        return self._last_line if self.lap is not None and self.lap.meant != "out" else None

    def _cross_line(self, t: float) -> None:
        before = self.loops_seen[-1][1] if self.loops_seen else None
        lap_time = t - self._last_line if self._last_line is not None else None
        self._last_line = t
        self._feed.crossing(
            CarCrossed(id=self._id("line"), t=round(t, 3), car=self.number, loop="line", lap=self.lap_number,
                       lap_time_s=_thousandths(lap_time), sector_time_s=_thousandths(t - before if before else None),
                       speed_mps=self._speed("line") if self.where == "track" else None, compound=self.compound,
                       tyre_age=self.tyre_age)
        )

    def _end_lap(self, t: float) -> None:
        if self.lap is not None:
            ended, self.lap = self.lap, None
            # Tyres are as old as the laps they were driven, out-laps and in-laps too; recorded feeds state it so.
            self.tyre_age += 1
            self._pilot.lap_ended(ended, t, self._entry_s)

    def _speed(self, loop: str) -> float | None:
        good = self.ground.speeds.get(loop)
        return round(good * self.ground.lap_s / (self._pace * self._factor), 1) if good else None

    # -- flags and trouble -------------------------------------------------------------------------

    def _flags_now(self) -> tuple[str, ...]:
        return (self._control.status,) if self._control.status in ("red", "slow") else ()

    def _boards(self, t: float, notice: Notice) -> None:
        if self.where == "track" and self.lap is not None:
            self._obey(t, notice)
        elif self.where == "exit" and self._control.pit_exit == "open":
            self._agenda.at(max(t, self._exit_turn(t)), self._out)
        self._pilot.sees(t, notice)

    def _obey(self, t: float, notice: Notice) -> None:
        if notice.status == "yellow":
            if not notice.over:
                self._slow_for(t, notice.sectors)
            return
        factor = {"red": RED_PACE, "slow": SLOW_PACE}.get(notice.status, 1.0)
        if factor != self._factor:
            self._settle(t)
            self._factor = factor
            self._arm()
        if factor > 1.0:
            self._mark(notice.status)

    def _slow_for(self, t: float, sectors: tuple[str, ...]) -> None:
        for sector in sectors:
            span = self.ground.sectors.get(sector)
            if span is None:
                continue
            here = self.phase_at(t) or 0.0
            inside = span[0] <= here <= span[1] if span[0] <= span[1] else (here >= span[0] or here <= span[1])
            if inside:
                self._mark("yellow")
                self.hold_up(t, 2.0)
            else:
                self.call_at_phase(t, span[0], partial(self._into_yellow, sector))

    def _into_yellow(self, sector: str, t: float) -> None:
        if sector in self._control.yellow:
            self._mark("yellow")
            self._since += 2.0

    def _mark(self, flag: str) -> None:
        if self.lap is not None and flag not in self.lap.flags:
            self.lap = replace(self.lap, flags=(*self.lap.flags, flag))

    def stops_from(self, lasts: float | None, t: float) -> None:
        """The car comes to a halt at the next point it passes after ``t``."""
        self.stop_at, self.stop_lasts = t, lasts

    def _halt(self, t: float) -> bool:
        self.stop_at = None
        self.halts.append((t, t + (self.stop_lasts if self.stop_lasts is not None else float("inf"))))
        if self.stop_lasts is not None:
            self._since += self.stop_lasts
            return False
        self.where = "stopped"
        self._off(t)
        self._token += 1
        self.rename_lap("incomplete")
        self._end_lap(t)
        return True

    def _off(self, t: float) -> None:
        if self.way is not None:
            self.way.append(Steady(t, 0.0, None))

    def recovered(self, t: float) -> None:
        """In the break a car that stopped on track is brought back through the pit lane to its garage."""
        if self.where == "stopped":
            self.where, self._entry_s = "garage", None
            self._feed.crossing(CarPitted(id=self._id("in"), t=round(t, 3), car=self.number, where="entry"))
            self.lap_number += 1
            self._pilot.in_garage(t)

    def _id(self, what: str) -> str:
        # Counted, not made from the lap number: where the line is not in the pit lane one lap can hold two visits.
        self._facts += 1
        return f"{self._prefix}-{self.number}-{self._facts}-{what}"


def _thousandths(value: float | None) -> float | None:
    return round(value, 3) if value is not None and value > 0 else None
