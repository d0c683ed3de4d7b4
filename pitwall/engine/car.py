"""Follows one car from its crossings and pit signals, whatever the feed loses, repeats or delivers late.

The car is always somewhere on a lap or in the pits. Facts move it through the CAR table; facts that come too late to
move it still mend the record. What the feed did not say is inferred and marked, so that a late truth can replace it.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitwall.engine.laps import Happening, LapRecord
from pitwall.engine.transitions import CAR, allowed, step
from pitwall.engine.whereabouts import Whereabouts
from pitwall.model.plan import LapKind
from pitwall.pace.kinds import judge_complete

__all__ = ["CarTrack", "Happening", "LapRecord"]

DOUBLE_S = 8.0  # two crossings of one loop within this are one; no lap is that short
LANE_LINE_S = 90.0  # after the pit entry, the line beside the lane is passed within this
REORDER_S = 45.0  # messages may arrive out of order by this much (worst seen: tens of seconds)


@dataclass
class CarTrack(Whereabouts):
    """Mutable state of one car. ``pace`` learns from every lap that ends."""

    def move(self, signal: str) -> bool:
        """Take a signal through the table; False where an inside signal does not apply."""
        if not allowed(CAR, self.state, signal):
            return False
        self.state = step("car", self.state, signal)  # type: ignore[assignment]  # the table holds car states only
        return True

    # -- pit signals ------------------------------------------------------------------------------------------

    def leave(self, t: float) -> list[Happening]:
        """The car passed the pit exit."""
        on_lap = self.on_track and self.lap is not None
        if on_lap and self._exit_of_this_lap(t):
            return self._mend_exit(t)
        if (
            on_lap
            and self.lap is not None
            and self.lap.start_phase > 0
            and t <= max(self.lap.start_t + DOUBLE_S, self.seen_t if self.state == "out" else self.lap.start_t)
        ):
            return [Happening("ignored", t)]
        if t < self.seen_t - REORDER_S or (self.pit_entry_t is not None and t < self.pit_entry_t):
            return [Happening("ignored", t)]
        found: list[Happening] = []
        if on_lap:
            found += self.come_in(max(self.seen_t, t - 30.0), inferred=True)
        self.move("pit_exit")
        self._begin(t, self.lap_map.pit_exit, "out")
        self.pit_exit_t = t
        return [*found, Happening("left", t, self.lap)]

    def _exit_of_this_lap(self, t: float) -> bool:
        """Guard: the running lap began in the pits, and this is the exit that was not seen then."""
        lap = self.lap
        assert lap is not None
        if lap.from_pits:
            # The line beside the lane was passed on the way out, and taken for the line on the track.
            return not lap.crossings and 0 <= t - lap.start_t <= LANE_LINE_S
        first = min(lap.crossings.values(), default=lap.start_t)
        return lap.inferred_start and lap.start_phase > 0 and lap.start_t - REORDER_S <= t < first

    def _mend_exit(self, t: float) -> list[Happening]:
        lap = self.lap
        assert lap is not None
        self.pit_exit_t = t
        lap.start_t, lap.inferred_start = t, False
        if lap.from_pits:
            self.move("pit_exit")
            lap.start_phase, lap.kind, lap.from_pits = self.lap_map.pit_exit, "out", False
            self.seen_t, self.seen_phase = t, lap.start_phase
        return [Happening("mended", t, lap)]

    def come_in(self, t: float, inferred: bool = False) -> list[Happening]:
        """The car passed the pit entry."""
        if not self.on_track:
            if self.state == "garage" and (self.pit_entry_t is None or t > self.pit_entry_t + DOUBLE_S):
                self.move("pit_entry")
                self.pit_entry_t = t
            return [Happening("ignored", t)]
        lap = self.lap
        if lap is not None and t < lap.start_t:
            return self._came_in_before_the_line(t)
        self.move("pit_entry")
        self.pit_entry_t = t
        if lap is None:
            return [Happening("came_in", t)]
        lap.kind = "installation" if lap.start_phase > 0 else "in"
        lap.inferred_end = inferred
        self._end(lap, t, "pit")
        self.lap = None
        return [Happening("came_in", t, lap)]

    def _came_in_before_the_line(self, t: float) -> list[Happening]:
        # The line beside the lane was reported before the pit entry: the lap thought complete was an in-lap.
        if not self.laps or self.lap is None or self.lap.start_t - t > LANE_LINE_S or t < self.laps[-1].start_t:
            return [Happening("ignored", t)]
        last = self.laps[-1]
        if self.lap.start_phase > 0 or self.lap.from_pits:
            # The car is out again already: the entry that was inferred takes its true time.
            if not last.inferred_end:
                return [Happening("ignored", t)]
            last.end_t, last.inferred_end, self.pit_entry_t = t, False, t
            return [Happening("mended", t, last)]
        last.kind, last.ended_at, last.end_t = ("installation" if last.start_phase > 0 else "in"), "pit", t
        self.lap, self.lap_number = None, last.number
        self.move("pit_entry")
        self.pit_entry_t = t
        return [Happening("came_in", t, last)]

    def park(self, t: float) -> list[Happening]:
        """So long in the pit lane that the car is taken to stand in its garage."""
        return [Happening("parked", t)] if self.move("parked") else []

    def fall_silent(self, t: float) -> list[Happening]:
        """Unseen for so long that the car is taken to have stopped on track."""
        before = self.state
        self.move("silence")
        return [Happening("silent", t, self.lap)] if self.state != before else []

    # -- crossings --------------------------------------------------------------------------------------------

    def cross(self, loop: str, t: float, disturbed: bool, lap_time_s: float | None = None) -> list[Happening]:
        """The car passed a loop; ``line`` ends the lap.

        Args:
            loop: label; one the circuit does not know is ignored.
            t: when.
            disturbed: a slow or red period holds now.
            lap_time_s: the feed's own lap time, taken where the lap's beginning was seen too.
        """
        if loop not in self.lap_map.loops:
            return [Happening("ignored", t, loop=loop)]
        if self.lap is not None and t < self.lap.start_t:
            return self._late(loop, t)
        if loop == "line":
            return self._line(t, disturbed, lap_time_s)
        return self._loop(loop, t, disturbed)

    def _loop(self, loop: str, t: float, disturbed: bool) -> list[Happening]:
        found: list[Happening] = []
        phase = self.lap_map.loops[loop]
        if not self.on_track:
            if self.pit_entry_t is not None and t <= self.pit_entry_t:
                return self._file_with_last(loop, t)
            self.move("loop")
            # The exit was not seen: the lap is taken to have begun where a usual out-lap would have.
            started = t - max(5.0, (phase - self.lap_map.pit_exit) * self.pace.lap_s("out"))
            self._begin(max(started, self.pit_entry_t or started), self.lap_map.pit_exit, "out")
            assert self.lap is not None
            self.lap.inferred_start = True
            found.append(Happening("left", t, self.lap))
        elif self.state == "stopped":
            self.move("loop" if self.lap is not None and self.lap.start_phase > 0 else "judged_timed")
        lap = self.lap
        assert lap is not None
        if loop in lap.crossings:
            if t - lap.crossings[loop] < self._shortest_lap_s():
                return [Happening("ignored", t, lap, loop)]
            found += self._infer_line(t, phase, disturbed)
        elif phase < self.seen_phase and t > self.seen_t:
            # Behind the place where it was last seen: round again, or a wrong label.
            if t - self.seen_t < self._shortest_lap_s() * (1.0 - self.seen_phase + phase):
                return [Happening("ignored", t, lap, loop)]
            found += self._infer_line(t, phase, disturbed)
        elif not self._in_order(lap, phase, t):
            return [Happening("ignored", t, lap, loop)]
        lap = self.lap
        assert lap is not None
        lap.crossings[loop] = t
        lap.disturbed |= disturbed
        lap.slow_at = (*lap.slow_at, loop) if disturbed else lap.slow_at
        if t >= self.seen_t:
            self.seen_t, self.seen_phase = t, phase
        return [*found, Happening("loop", t, lap, loop)]

    def _line(self, t: float, disturbed: bool, lap_time_s: float | None) -> list[Happening]:
        if not self.on_track:
            if self.pit_entry_t is not None and t <= self.pit_entry_t:
                return [Happening("ignored", t, loop="line")]
            if self._line_beside_lane(t):
                self.move("lane_line")
                return [Happening("ignored", t, loop="line")]
            self.move("line")
            self._begin(t, 0.0, "timed")
            assert self.lap is not None
            self.lap.from_pits = True
            return [Happening("left", t, self.lap), Happening("lap_started", t, self.lap)]
        lap = self.lap
        assert lap is not None
        if t - lap.start_t < DOUBLE_S or (lap.start_phase == 0.0 and t - lap.start_t < self._shortest_lap_s() * 0.5):
            if lap.inferred_start and lap.start_phase == 0.0 and t < min(lap.crossings.values(), default=t + 1.0):
                return self._mend_line(t)
            return [Happening("ignored", t, lap, "line")]
        after = {loop: when for loop, when in lap.crossings.items() if when > t}
        lap.crossings = {loop: when for loop, when in lap.crossings.items() if when <= t}
        lap.disturbed |= disturbed
        if lap.start_phase == 0.0:
            own = t - lap.start_t
            lap.lap_time_s = lap_time_s if lap_time_s is not None and abs(lap_time_s - own) < 2.0 else own
            lap.kind = judge_complete(self.pace, lap.lap_time_s, t, lap.disturbed, self.on, lap.word)
        else:
            lap.kind, lap.lap_time_s = "out", None
        self._end(lap, t, "line")
        self.move("line")
        self._begin(t, 0.0, "timed", disturbed)
        for loop, when in sorted(after.items(), key=lambda passed: passed[1]):
            # The line was reported after loops of the lap that it began: they move over, as far as they can be true.
            if when - t >= self._shortest_lap_s() * self.lap_map.loops[loop]:
                self._loop(loop, when, disturbed)
        return [Happening("lap_done", t, lap, "line")]

    def _infer_line(self, t: float, phase: float, disturbed: bool) -> list[Happening]:
        """The same loop again and no line between: the line was missed. Place it by the shares of the lap."""
        lap = self.lap
        assert lap is not None
        whole = max(t - self.seen_t, 1.0)
        ahead = (1.0 - self.seen_phase) + phase
        line_t = self.seen_t + whole * (1.0 - self.seen_phase) / max(ahead, 1e-6)
        lap.disturbed |= disturbed
        lap.inferred_end = True
        if lap.start_phase == 0.0:
            lap.kind = judge_complete(self.pace, line_t - lap.start_t, line_t, lap.disturbed, self.on, lap.word)
            lap.lap_time_s = line_t - lap.start_t
        self._end(lap, line_t, "line")
        self.move("line")
        self._begin(line_t, 0.0, "timed")
        assert self.lap is not None
        self.lap.inferred_start = True
        return [Happening("lap_done", line_t, lap, "line")]

    def _late(self, loop: str, t: float) -> list[Happening]:
        """A crossing from before the running lap: it mends the record, and moves nothing."""
        assert self.lap is not None
        started_at_line = self.lap.start_phase == 0.0 and self.lap.inferred_start
        if loop == "line" and started_at_line and self.lap.start_t - t < REORDER_S:
            return self._mend_line(t)
        return [Happening("ignored", t, loop=loop)] if loop == "line" else self._file_with_last(loop, t)

    def _mend_line(self, t: float) -> list[Happening]:
        """The line that was inferred is seen after all."""
        lap, last = self.lap, self.laps[-1] if self.laps else None
        assert lap is not None
        if last is not None and (t <= last.start_t or t < max(last.crossings.values(), default=t)):
            return [Happening("ignored", t, lap, "line")]
        lap.start_t, lap.inferred_start = t, False
        if last is not None and last.inferred_end:
            last.end_t, last.inferred_end = t, False
            last.lap_time_s = t - last.start_t if last.start_phase == 0.0 else None
        return [Happening("mended", t, lap, "line")]

    def _file_with_last(self, loop: str, t: float) -> list[Happening]:
        """A loop of the lap that has ended: it is filed there, where it can be true."""
        last = self.laps[-1] if self.laps else None
        if last is None or t < last.start_t or loop in last.crossings:
            return [Happening("ignored", t, loop=loop)]
        if not self._in_order(last, self.lap_map.loops[loop], t) or (last.end_t is not None and t > last.end_t):
            return [Happening("ignored", t, loop=loop)]
        last.crossings[loop] = t
        return [Happening("mended", t, last, loop)]

    # -- guards and small steps -----------------------------------------------------------------------------------

    def _line_beside_lane(self, t: float) -> bool:
        """Guard: the line was passed in the pit lane, not on the track."""
        return self.line_in_lane and self.pit_entry_t is not None and t - self.pit_entry_t <= LANE_LINE_S

    def _in_order(self, lap: LapRecord, phase: float, t: float) -> bool:
        """Guard: among the crossings of this lap, this one lies in time where it lies on the lap."""
        if phase < lap.start_phase:
            return False
        return all(when <= t if self.lap_map.loops[loop] < phase else when >= t for loop, when in lap.crossings.items())

    def _shortest_lap_s(self) -> float:
        return 0.6 * self.pace.quick_s()

    def _begin(self, t: float, phase: float, kind: LapKind, slow: bool = False) -> None:
        self.lap_number += 1
        self.lap = LapRecord(self.lap_number, t, phase, kind, slow_at=("line",) if slow else ())
        if t >= self.seen_t or self.seen_t - t < REORDER_S:
            self.seen_t, self.seen_phase = t, phase

    def _end(self, lap: LapRecord, t: float, at: str) -> None:
        lap.end_t, lap.ended_at = t, at
        self.laps.append(lap)
        self.fuel_laps += 1.0 - lap.start_phase
        self.seen_t = max(self.seen_t, t)
        lap.usual = self.pace.usual_times()
        at_phase = 1.0 if at == "line" else self.lap_map.pit_entry
        self.pace.lap_over(lap.as_ended(t, at_phase, self.tyre_age, self.on, self.flag_s))
        lap_time = t - lap.start_t
        if lap.inferred_start or lap.inferred_end or lap.disturbed or lap_time <= 0:
            return
        if at == "line" or lap.kind == "in":
            at_loops = {loop: when - lap.start_t for loop, when in lap.crossings.items()}
            whole = lap.lap_time_s or lap_time
            if lap.kind == "in":
                whole = lap_time / max(self.lap_map.pit_entry, 0.5)
            self.pace.learn_lap(lap.kind, whole, t, at_loops)
