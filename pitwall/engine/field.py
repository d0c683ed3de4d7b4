"""Every car of the session as followed: ours and the others', with what the whole field teaches about pace."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping

from pitwall.engine.car import CarTrack, Happening, LapRecord
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.model import events as ev
from pitwall.model.outputs import LapJudged
from pitwall.model.plan import LapKind
from pitwall.model.setup import SessionSetup
from pitwall.pace.cleanliness import Passings, YellowTimes
from pitwall.pace.field_pace import FieldPace
from pitwall.pace.laptimes import CarPace
from pitwall.track.lapmap import LapMap, lap_map

SLOWEST = 1.7
"""An out- or cool-down lap takes so many times a lap at the pace, at most (common practice, no source)."""


class Field:
    """Mutable state of the field. A car unknown so far is followed from its first message on."""

    def __init__(self, setup: SessionSetup) -> None:
        self._line_in_lane = setup.circuit.pit.line_in_lane
        self._setup = setup
        reference = setup.cars[min(setup.cars)] if setup.cars else None
        self.lap_map: LapMap = lap_map(setup.circuit, reference, setup.calls)
        self.pace = FieldPace(self.lap_map.lap_s, first=setup.circuit.lap_times)
        self.tracks: dict[str, CarTrack] = {}
        self.passings, self.yellows = Passings(), YellowTimes()
        self.heard_t: float | None = None
        self.red_t = float("-inf")
        """When a red flag was out last, as somebody looked: until then no car had to send anything."""
        for car in sorted(setup.plans):
            self.track(car, lap_map(setup.circuit, setup.cars[car], setup.calls))
        for car in setup.field_cars:
            self.track(car)

    def track(self, car: str, own_map: LapMap | None = None) -> CarTrack:
        """The car's track, made on first sight."""
        if car not in self.tracks:
            chosen = own_map if own_map is not None else self.lap_map
            pace = CarPace(dict(chosen.loops), self.pace, car=car)
            self.tracks[car] = CarTrack(car, chosen, pace, self._line_in_lane)
        return self.tracks[car]

    def crossed(self, event: ev.CarCrossed, clock: SessionClock, now: float) -> tuple[CarTrack, list[Happening]]:
        """A crossing, and what it meant."""
        self.heard_t = now
        track = self.track(event.car)
        track.compound = event.compound or track.compound
        track.tyre_age = event.tyre_age if event.tyre_age is not None else track.tyre_age
        self.passings.note(event.loop, event.t, event.car)
        self.yellows.note(now, clock.status == "yellow" or bool(clock.yellow_sectors))
        track.flag_s, track.red = clock.end_s(now), clock.status == "red"
        found = track.cross(event.loop, event.t, clock.disturbed, event.lap_time_s)
        if clock.disturbed and track.lap is not None:
            track.lap.disturbed = True  # the lap that begins here begins slow, even if all is green at its first loop
        return track, found

    def pitted(self, event: ev.CarPitted, now: float) -> tuple[CarTrack, list[Happening]]:
        """A pit signal, and what it meant."""
        self.heard_t = now
        track = self.track(event.car)
        found = track.leave(event.t) if event.where == "exit" else track.come_in(event.t)
        track.compound = None  # tyres are changed in the pits: the feed must say anew which are on
        return track, found

    def disturb(self) -> None:
        """A slow or red period began: no lap that is running can count as timed."""
        for track in self.tracks.values():
            if track.lap is not None:
                track.lap.disturbed = True

    def look_around(
        self, clock: SessionClock, now: float, patience_s: Mapping[str, float]
    ) -> Iterator[tuple[CarTrack, list[Happening]]]:
        """Cars that by now stand in their garage, and cars not seen moving for so long that they have stopped.

        ``patience_s``: cars that may go unseen for longer than others, by name.
        """
        timing = self._setup.calls
        self.red_t = now if clock.status == "red" else self.red_t
        resting = clock.between_windows and clock.status == "waiting"
        for track in self.tracks.values():
            if resting and track.on_track and now - track.moving_t >= self.silent_after_s:
                # Race control waits for the next window, so nobody is out there: how it came in was not seen.
                yield track, track.come_in(now, inferred=True)
            entered = track.pit_entry_t if track.pit_entry_t is not None else now
            if track.state == "pit_lane" and now - entered >= timing.garage_after_s:
                yield track, track.park(now)
            # Under red many cars send nothing until the pit entry.
            running = track.on_track and track.state != "stopped" and clock.status != "red"
            unseen_s = now - max(track.moving_t, self.red_t)
            if running and unseen_s >= max(self.silent_after_s, patience_s.get(track.car, 0.0)):
                yield track, track.fall_silent(now)

    @property
    def apart_s(self) -> float:
        """So long a car that runs is seen at no loop, at most, seconds at reference pace."""
        phases = sorted({0.0, 1.0, *self.lap_map.loops.values()})
        return self.lap_map.lap_s * max(later - phase for phase, later in itertools.pairwise(phases))

    @property
    def silent_after_s(self) -> float:
        """A car on track that is unseen for so long has stopped: as the settings have it, and never sooner than a slow
        lap takes from loop to loop. Where only the line sees a car that may be longer."""
        return max(self._setup.calls.silent_after_s, SLOWEST * self.apart_s)

    def any_due(self, now: float) -> bool:
        """True once a car that is out should have been seen again, at the slowest: one that ran as timing was last
        heard, for one that had stopped by then tells it nothing."""
        heard, missed_s = self.heard_t, SLOWEST * self.apart_s
        return heard is not None and any(
            track.on_track and heard - track.moving_t < self.silent_after_s and now - track.moving_t >= missed_s
            for track in self.tracks.values())

    @property
    def any_on_track(self) -> bool:
        """True while at least one car is out."""
        return any(track.on_track for track in self.tracks.values())


def judge(track: CarTrack, happening: Happening, run: RunState | None, now: float) -> LapJudged | None:
    """Which kind of lap it is, or was, after this happening; None where it says nothing new about it.

    ``run`` is the run of the plan that the car is on, if any; without one a lap is expected to be timed.
    """
    track.word = run.word if run is not None else "none"
    if happening.what == "loop" and track.lap is not None:
        track.judge(run.expected_kind if run is not None else "timed")
        if track.lap.start_phase == 0.0 and track.state in ("timed", "cool"):
            track.move("judged_cool" if track.lap.kind == "cool" else "judged_timed")
        kind = track.lap.kind if track.state == "in" else track.lap_kind
        return None if kind is None else lap_judged(track, track.lap, "loop", happening.loop, kind, now)
    if happening.what in ("left", "lap_done"):
        track.outlook()  # what is forecast where a lap begins is judged where it ends
    if happening.lap is not None and happening.what in ("lap_done", "came_in"):
        at = "line" if happening.what == "lap_done" else "pit"
        return lap_judged(track, happening.lap, at, None, happening.lap.kind, now)
    return None


def lap_judged(track: CarTrack, lap: LapRecord, at: str, loop: str | None, kind: LapKind, now: float) -> LapJudged:
    """What is published of a lap."""
    return LapJudged(
        id=f"lap-{track.car}-{lap.number}-{loop or at}-{now:.3f}",
        t=now,
        car=track.car,
        lap_number=lap.number,
        at=at,
        loop=loop,
        kind=kind,
        lap_time_s=lap.lap_time_s,
        run=lap.run,
        start_s=lap.start_t,
    )
