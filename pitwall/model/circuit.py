"""A circuit, either measured (segments with length and radius) or timing-only (shares of the lap).

Distances run from the finish line in the direction of travel, 0 <= m < length. A *place* is a named point of
the lap; ``turn N`` is made from the segments, or named by hand on a timing-only circuit.
"""

from __future__ import annotations

import re
from typing import Literal, Self

from pydantic import Field, model_validator

from pitwall.model.base import Frozen, Label
from pitwall.model.laptimes import LapTimes
from pitwall.model.units import Duration, Share


class Segment(Frozen):
    """A stretch of constant curvature; no radius means a straight. Turns are numbered by the circuit."""

    length_m: float = Field(gt=0, le=5000)
    radius_m: float | None = Field(default=None, gt=5, le=5000)
    direction: Literal["left", "right"] | None = None
    turn: int | None = Field(default=None, ge=1, le=60)


class Loop(Frozen):
    """A timing loop in the track surface; ``line`` is the finish line and needs no position."""

    loop: Label
    at_m: float | None = Field(default=None, ge=0)
    at_share: Share | None = None


class NamedPlace(Frozen):
    """A place people name that is not a turn: a bridge, a board, a marshal post."""

    place: str = Field(min_length=1, max_length=40)
    at_m: float | None = Field(default=None, ge=0)
    at_share: Share | None = None


class PitLane(Frozen):
    """Where the pit lane leaves and joins the lap.

    ``last_chance_*`` is the place after which a car can no longer take the pit entry. The finish line often lies
    beside the pit lane, so a car that came in may still be seen crossing it (``line_in_lane``).
    """

    entry_m: float | None = Field(default=None, ge=0)
    exit_m: float | None = Field(default=None, ge=0)
    last_chance_m: float | None = Field(default=None, ge=0)
    entry_share: Share | None = None
    exit_share: Share | None = None
    last_chance_share: Share | None = None
    lane_length_m: float | None = Field(default=None, gt=0, le=3000)
    lane_s: Duration | None = None
    line_in_lane: bool = True


class MarshalSector(Frozen):
    """A flag post's stretch of track. ``from`` may lie beyond ``to``: the sector then spans the line."""

    sector: Label
    from_m: float | None = Field(default=None, ge=0)
    to_m: float | None = Field(default=None, ge=0)
    from_share: Share | None = None
    to_share: Share | None = None


class ListeningStretch(Frozen):
    """A stretch on which the driver can listen, whatever the speed profile says. It may span the line."""

    from_m: float | None = Field(default=None, ge=0)
    to_m: float | None = Field(default=None, ge=0)
    from_share: Share | None = None
    to_share: Share | None = None


class Circuit(Frozen):
    """The circuit file. With ``segments`` positions are metres; without, shares of the lap time."""

    circuit: Literal[1]
    name: str = Field(min_length=1, max_length=60)
    segments: tuple[Segment, ...] = ()
    lap_s: Duration | None = Field(default=None, description="timing-only: a good lap time, seconds")
    loops: tuple[Loop, ...] = Field(min_length=1)
    places: tuple[NamedPlace, ...] = ()
    pit: PitLane
    marshal_sectors: tuple[MarshalSector, ...] = ()
    quiet_places: tuple[str, ...] = Field(
        default=(), description="places where nothing is said, whatever physics allows"
    )
    listening: tuple[ListeningStretch, ...] = Field(
        default=(),
        description="stretches on which the driver can listen, whatever physics says; "
        "on a timing-only circuit these are all that are known",
    )
    lap_times: LapTimes = Field(default=LapTimes(), description="what is known of lap times before anybody drove")

    @property
    def timing_only(self) -> bool:
        """True when there is no geometry: listening windows are unknown."""
        return not self.segments

    @property
    def length_m(self) -> float | None:
        """Length of the lap in metres, None on a timing-only circuit."""
        return sum(segment.length_m for segment in self.segments) if self.segments else None

    @property
    def turns(self) -> tuple[int, ...]:
        """The numbers of its turns, those of places named ``turn N`` too; none where nobody numbered them."""
        named = [re.fullmatch(r"turn (\d{1,2})", place.place.lower().strip()) for place in self.places]
        found = {segment.turn for segment in self.segments if segment.turn is not None}
        return tuple(sorted(found | {int(match.group(1)) for match in named if match is not None}))

    @property
    def all_turns(self) -> tuple[int, ...]:
        """Its turns where its segments number them; none elsewhere, for places may be named at some turns only."""
        return self.turns if any(segment.turn is not None for segment in self.segments) else ()

    @model_validator(mode="after")
    def _one_measure(self) -> Self:
        unit, other = ("share", "m") if self.timing_only else ("m", "share")
        if self.timing_only and not self.lap_s:
            raise ValueError("a timing-only circuit needs lap_s, a good lap time in seconds")
        limit = 1.0 if self.timing_only else (self.length_m or 0.0)
        for what, holder, fields in self._positions():
            for field in fields:
                value, wrong = getattr(holder, f"{field}_{unit}"), getattr(holder, f"{field}_{other}")
                if wrong is not None:
                    raise ValueError(f"{what}: {field}_{other} does not fit this circuit, give {field}_{unit}")
                if value is None and what != "loop 'line'":
                    raise ValueError(f"{what}: {field}_{unit} is missing")
                if value is not None and value > limit:
                    raise ValueError(f"{what}: {field}_{unit} {value:g} lies beyond the lap ({limit:g})")
        if "line" not in {loop.loop for loop in self.loops}:
            raise ValueError("loops need one called 'line', the finish line")
        return self

    @model_validator(mode="after")
    def _names_once(self) -> Self:
        for what, names in (
            ("loop", [item.loop for item in self.loops]),
            ("marshal sector", [item.sector for item in self.marshal_sectors]),
            ("place", self._all_place_names()),
        ):
            plain = [" ".join(name.lower().split()) for name in names]
            twice = sorted({name for name in plain if plain.count(name) > 1})
            if twice:
                raise ValueError(f"{what} named twice: {', '.join(twice)}")
        known = {" ".join(name.lower().split()) for name in self._all_place_names()}
        strange = [name for name in self.quiet_places if " ".join(name.lower().split()) not in known]
        if strange:
            raise ValueError(f"quiet_places: no such place: {', '.join(strange)} (known: {', '.join(sorted(known))})")
        return self

    @model_validator(mode="after")
    def _turns_in_one_piece(self) -> Self:
        numbers = [segment.turn for segment in self.segments]
        for number in sorted({number for number in numbers if number is not None}):
            # A turn may span the line: then its pieces meet round the end of the list.
            pieces = sum(a == number and b != number for a, b in zip(numbers, [*numbers[1:], numbers[0]], strict=True))
            if pieces > 1:
                raise ValueError(f"turn {number} is in {pieces} pieces: number each turn once, "
                                 "along neighbouring segments")
        return self

    @model_validator(mode="after")
    def _last_chance_before_entry(self) -> Self:
        unit, lap = ("share", 1.0) if self.timing_only else ("m", self.length_m or 1.0)
        entry, last = getattr(self.pit, f"entry_{unit}"), getattr(self.pit, f"last_chance_{unit}")
        if entry is not None and last is not None and (entry - last) % lap > lap / 2:
            raise ValueError(f"pit: last_chance_{unit} {last:g} lies after entry_{unit} {entry:g}; "
                             "it is the last place from which the entry can still be taken")
        return self

    def _positions(self) -> list[tuple[str, Frozen, tuple[str, ...]]]:
        found: list[tuple[str, Frozen, tuple[str, ...]]] = []
        found += [(f"loop {item.loop!r}", item, ("at",)) for item in self.loops]
        found += [(f"place {item.place!r}", item, ("at",)) for item in self.places]
        found += [(f"marshal sector {item.sector!r}", item, ("from", "to")) for item in self.marshal_sectors]
        found += [(f"listening stretch {number}", item, ("from", "to"))
                  for number, item in enumerate(self.listening, start=1)]
        return [*found, ("pit", self.pit, ("entry", "exit", "last_chance"))]

    def place_names(self) -> tuple[str, ...]:
        """Every name an item may give for a place, in lap order of their kind."""
        return tuple(self._all_place_names())

    def _all_place_names(self) -> list[str]:
        turns = dict.fromkeys(f"turn {segment.turn}" for segment in self.segments if segment.turn is not None)
        loops = [f"loop {item.loop}" for item in self.loops if item.loop != "line"]
        return ["line", "pit entry", "pit exit", *turns, *(item.place for item in self.places), *loops]
