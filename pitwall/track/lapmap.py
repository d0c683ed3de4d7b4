"""The lap as the rest of pitwall sees it: places, loops and windows in **phase**, the share of the lap time, 0 to 1.

Phase is time, not distance, so that one number serves measured circuits and timing-only ones alike, and a slower lap
is to first order the same lap stretched. On a measured circuit phase comes from the reference speed profile; on a
timing-only one the circuit file gives it, and everything that needs physics is None: unknown, not guessed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pitwall.errors import UserError
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.setup import CallTiming
from pitwall.model.units import KPH_PER_MPS
from pitwall.track.hold_room import HoldCheck, hold_room
from pitwall.track.listening import Window, listening_windows, named_windows
from pitwall.track.places import Bend, Stretch, bends, plain, stretches, unknown_place
from pitwall.track.profile import SpeedProfile, speed_profile

EASY = 1.15
"""Out-, cool-down and in-laps take at least so many times the quick lap as a rule (p10 of eight practice sessions: 1.07
to 1.22); taken small on purpose, so that a window found on them is one."""

SAME_PHASE = 1e-9
PACE_STEP = 0.05


@dataclass(frozen=True, slots=True)
class Calm:
    """What makes a stretch of a measured circuit one to listen in; see ``listening_windows``."""

    lateral_limit_mps2: float
    least_s: float
    quiet: tuple[Stretch, ...]
    always: tuple[Stretch, ...]


@dataclass(frozen=True, eq=False, slots=True)
class LapMap:
    """One circuit at reference pace. Every position is a phase; build it with :func:`lap_map`.

    Attributes:
        circuit: name of the circuit.
        lap_s: reference lap time, seconds.
        places: start and end of every place, by plain name, in the order of ``circuit.place_names()``.
        loops: phase of each timing loop; the line is 0.0 (a caller may treat it as 1.0).
        loop_order: loops in lap order, the line last.
        pit_entry, pit_exit, last_chance: phases; past ``last_chance`` the pit entry cannot be taken.
        sectors: marshal sectors.
        listening: windows where a call may be spoken, cut at the line; None: unknown.
        listening_easy: the same on a lap driven ``EASY`` times slower, such as an out-, cool-down or in-lap.
        calm: how the windows were found, so that ``listening_at`` can find them for any other pace.
        profile: the reference speed profile; None on a timing-only circuit.
        bends: the curved segments, metres.
        lane_length_m, lane_s: what is known about the pit lane.
    """

    circuit: str
    lap_s: float
    places: Mapping[str, Stretch]
    loops: Mapping[str, float]
    loop_order: tuple[str, ...]
    pit_entry: float
    pit_exit: float
    last_chance: float
    sectors: tuple[tuple[str, Stretch], ...]
    listening: tuple[Window, ...] | None
    listening_easy: tuple[Window, ...] | None
    calm: Calm | None
    profile: SpeedProfile | None
    bends: tuple[Bend, ...]
    lane_length_m: float | None
    lane_s: float | None

    @property
    def timing_only(self) -> bool:
        """True when there is no geometry."""
        return self.profile is None

    def stretch_of(self, place: str) -> Stretch:
        """Start and end of a place in phase.

        Raises:
            UserError: when the circuit has no such place; it names near matches.
        """
        found = self.places.get(plain(place))
        if found is None:
            raise unknown_place(place, self.places, self.circuit)
        return found

    def phase_of(self, place: str) -> float:
        """Phase of a place, 0 <= phase < 1; for a turn its *end*, as in "after turn 4". Errors as ``stretch_of``."""
        return self.stretch_of(place).end

    def turn_start(self, place: str) -> float:
        """Phase at which a turn begins; a place without extent (any, on a timing-only circuit) is its own start."""
        return self.stretch_of(place).start

    def marshal_sectors_at(self, phase: float) -> tuple[str, ...]:
        """Labels of the marshal sectors that hold this phase; sectors may overlap or leave gaps."""
        here = phase % 1.0
        return tuple(label for label, stretch in self.sectors if stretch.holds(here))

    def phase_at_distance(self, distance_m: float) -> float | None:
        """Phase at a distance from the line (taken round the lap); None on a timing-only circuit."""
        if self.profile is None:
            return None
        return (self.profile.time_at(distance_m) / self.lap_s) % 1.0

    def distance_at_phase(self, phase: float) -> float | None:
        """Distance from the line at a phase (taken round the lap), metres; None on a timing-only circuit."""
        return None if self.profile is None else self.profile.distance_at((phase % 1.0) * self.lap_s)

    def speed_at_phase(self, phase: float) -> float | None:
        """Reference speed at a phase, m/s; None on a timing-only circuit."""
        distance = self.distance_at_phase(phase)
        return None if distance is None or self.profile is None else self.profile.speed_at(distance)

    def travel_s(self, from_phase: float, to_phase: float, lap_s: float) -> float:
        """Seconds from one phase forward to another, on a lap of ``lap_s``, over the line if need be.

        Equal phases are zero seconds apart; from 0.0 to 1.0 is a whole lap.
        """
        share = to_phase - from_phase
        if abs(share) < SAME_PHASE:
            return 0.0
        if not 0.0 < share <= 1.0:
            share %= 1.0
        return share * lap_s

    def may_listen(self, phase: float) -> bool | None:
        """True inside a listening window, None when windows are unknown."""
        if self.listening is None:
            return None
        here = phase % 1.0
        return any(start <= here < end for start, end in self.listening)

    def listening_at(self, slower: float) -> tuple[Window, ...] | None:
        """Listening windows on a lap that takes ``slower`` times the reference lap; None when unknown.

        Rounded down to ``PACE_STEP``: the windows found are there for sure if the pace is right. A lap that is quicker
        than the reference has the reference's.
        """
        if self.calm is None or self.profile is None:
            return self.listening
        return _windows_at(self, max(0, math.floor((slower - 1.0) / PACE_STEP + SAME_PHASE)))

    def windows_between(self, start: float, end: float) -> tuple[Window, ...] | None:
        """Listening windows from one *unrolled* phase to a later one (1.2 is a fifth into the next lap).

        Windows that meet at the line are joined again; the first and last are clipped. None when unknown.
        """
        if self.listening is None:
            return None
        found: list[Window] = []
        for lap in range(int(np.floor(start)), int(np.ceil(end))):
            for first, last in self.listening:
                begins, ends = max(first + lap, start), min(last + lap, end)
                if begins >= ends:
                    continue
                if found and begins - found[-1][1] < SAME_PHASE:
                    found[-1] = (found[-1][0], ends)
                else:
                    found.append((begins, ends))
        return tuple(found)

    def pit_lane_s(self, limit_kph: float) -> float | None:
        """Seconds through the pit lane at the limit without a halt; None when neither length nor time is known.

        Raises:
            ValueError: when the limit is not a positive speed.
        """
        if not limit_kph > 0:
            raise ValueError(f"the pit-lane limit must be a positive speed, got {limit_kph} km/h")
        if self.lane_length_m is not None:
            return self.lane_length_m / (limit_kph / KPH_PER_MPS)
        return self.lane_s

    def hold_fits(self, place: str, seconds: float, speed_mps: float, settle_s: float) -> HoldCheck:
        """Does holding a speed for so long fit on the straight after a place, until braking is needed?

        While the hold speed is below the reference speed the car can keep it; it has to brake exactly where the
        reference lap brakes through that speed, because braking depends on what follows only.

        Raises:
            UserError: unknown place.
            ValueError: when a figure is not positive (settling may be zero).
        """
        if not (seconds > 0 and speed_mps > 0 and settle_s >= 0):
            raise ValueError("a hold needs a positive length and speed, and a settling time that is not negative")
        self.stretch_of(place)
        if self.profile is None:
            return HoldCheck(None, None, None, f"{self.circuit} has no geometry: nobody can say whether a hold fits")
        begin = self.distance_at_phase(self.phase_of(place)) or 0.0
        return hold_room(self.profile, self.bends, place, begin, seconds, speed_mps, settle_s)


@lru_cache(maxsize=512)
def _windows_at(lap: LapMap, steps: int) -> tuple[Window, ...]:
    assert lap.calm is not None
    assert lap.profile is not None
    return listening_windows(
        lap.profile,
        lateral_limit_mps2=lap.calm.lateral_limit_mps2,
        least_s=lap.calm.least_s,
        quiet=lap.calm.quiet,
        always=lap.calm.always,
        slower=1.0 + steps * PACE_STEP,
    )


def lap_map(circuit: Circuit, car: Car | None, timing: CallTiming) -> LapMap:
    """Build the map of a lap.

    Args:
        circuit: measured or timing-only.
        car: figures for the reference lap; not needed on a timing-only circuit.
        timing: the lateral limit and least length of listening windows.

    Raises:
        UserError: a measured circuit without a car.
    """
    return _lap_map(_Files(circuit, car, timing))


class _Files:
    """What a map is made from; equal when the files say the same, so that many sessions on one circuit share a map."""

    def __init__(self, circuit: Circuit, car: Car | None, timing: CallTiming) -> None:
        self.circuit, self.car, self.timing = circuit, car, timing
        self._text = tuple(None if one is None else one.model_dump_json() for one in (circuit, car, timing))

    def __hash__(self) -> int:
        return hash(self._text)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Files) and self._text == other._text


@lru_cache(maxsize=16)
def _lap_map(files: _Files) -> LapMap:
    circuit, car, timing = files.circuit, files.car, files.timing
    own = stretches(circuit)
    if circuit.timing_only:
        assert circuit.lap_s is not None  # the model demands it
        named = [Stretch(item.from_share, item.to_share) for item in circuit.listening]  # type: ignore[arg-type]  # model
        silent = [own[plain(name)] for name in circuit.quiet_places]
        told = named_windows(named, circuit.lap_s, timing.listen_min_s, silent) if named else None
        return _assemble(circuit, circuit.lap_s, own, None, (told, told), None)
    if car is None:
        raise UserError(f"{circuit.name} is measured in metres: its lap times need a car file")
    profile = speed_profile(circuit, car)
    quiet = [own[plain(name)] for name in circuit.quiet_places]
    always = [Stretch(item.from_m, item.to_m) for item in circuit.listening]  # type: ignore[arg-type]  # by the model
    calm = Calm(timing.lateral_limit_mps2, timing.listen_min_s, tuple(quiet), tuple(always))
    windows, easy = (
        listening_windows(
            profile,
            lateral_limit_mps2=calm.lateral_limit_mps2,
            least_s=calm.least_s,
            quiet=calm.quiet,
            always=calm.always,
            slower=slower,
        )
        for slower in (1.0, EASY)
    )
    return _assemble(circuit, profile.lap_s, own, profile, (windows, easy), calm)


def _assemble(
    circuit: Circuit, lap_s: float, own: Mapping[str, Stretch], profile: SpeedProfile | None,
    listening: tuple[tuple[Window, ...] | None, tuple[Window, ...] | None], calm: Calm | None,
) -> LapMap:
    unit = "share" if profile is None else "m"

    def phase(value: float) -> float:
        return value % 1.0 if profile is None else (profile.time_at(value) / lap_s) % 1.0

    names = [plain(name) for name in circuit.place_names()]
    places = {name: Stretch(phase(own[name].start), phase(own[name].end)) for name in names}
    loops = {item.loop: 0.0 if item.loop == "line" else phase(getattr(item, f"at_{unit}")) for item in circuit.loops}
    order = sorted((label for label in loops if label != "line"), key=lambda label: (loops[label], label))
    sectors = tuple((item.sector, Stretch(phase(getattr(item, f"from_{unit}")), phase(getattr(item, f"to_{unit}"))))
                    for item in circuit.marshal_sectors)
    return LapMap(
        circuit=circuit.name,
        lap_s=lap_s,
        places=places,
        loops=loops,
        loop_order=(*order, "line"),
        pit_entry=phase(getattr(circuit.pit, f"entry_{unit}")),
        pit_exit=phase(getattr(circuit.pit, f"exit_{unit}")),
        last_chance=phase(getattr(circuit.pit, f"last_chance_{unit}")),
        sectors=sectors,
        listening=listening[0],
        listening_easy=listening[1],
        calm=calm,
        profile=profile,
        bends=bends(circuit),
        lane_length_m=circuit.pit.lane_length_m,
        lane_s=circuit.pit.lane_s,
    )
