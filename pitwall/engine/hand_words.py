"""What is said of an entry by hand: where and when it was seen, and why it cannot be."""

from __future__ import annotations

from pitwall.engine.history import Entry
from pitwall.engine.team import TeamCar
from pitwall.model.plan import LapKind


def why_not(car: TeamCar, entry: Entry) -> str:
    """Why the car cannot have been seen there then, and what to do about it."""
    track, seen_there = car.track, f"{place_words(entry)} at {tenths(entry.t or 0.0)}"
    if entry.what == "pit" and entry.place == "entry" and not track.on_track:
        return f"car {car.car} is in the pits already: enter the pit exit first, or 'set_car'"
    if track.lap is not None and track.on_track:
        after_s = (entry.t or 0.0) - track.lap.start_t
        since = f"began at {tenths(track.lap.start_t)}"
        if entry.place == "line" and after_s > 0:
            since += f", and {after_s:.0f} s are too short for a lap"
        return f"{seen_there} cannot be: lap {track.lap_number} {since}; give its time (--at), or 'undo' that one"
    if track.state != "pit_lane":
        return in_garage(car, seen_there)
    return f"{seen_there} cannot be: car {car.car} is in the pit lane; enter the pit exit first ('pit' with where=exit)"


def in_garage(car: TeamCar, seen_there: str) -> str:
    """Why a line cannot be of a car that nobody saw leave, and what to do about it."""
    garage = f"car {car.car} is in its garage and nobody saw it leave"
    return f"{seen_there} cannot be: {garage}; enter the pit exit first ('pit' with where=exit), or 'set_car'"


def lap_words(kind: LapKind) -> str:
    """A lap as the trade calls it: ``out-lap``, ``timed lap``, ``cool-down lap``."""
    return {"out": "out-lap", "in": "in-lap", "cool": "cool-down lap"}.get(kind, f"{kind} lap")


def place_words(entry: Entry) -> str:
    """``line``, ``loop 2``, ``pit entry``: where something was seen."""
    if entry.what == "pit":
        return f"pit {entry.place}"
    return entry.place if entry.place == "line" else f"loop {entry.place}"


def tenths(t: float) -> str:
    """A session second as people say it: ``12:03.4``."""
    sign, whole = ("-" if t < 0 else ""), round(abs(t), 1)
    minutes, seconds = divmod(whole, 60)
    hours, minutes = divmod(int(minutes), 60)
    return f"{sign}{hours}:{minutes:02d}:{seconds:04.1f}" if hours else f"{sign}{minutes}:{seconds:04.1f}"
