"""Where the named places lie: from the circuit file to stretches of the lap, in the circuit's own measure.

A turn is a stretch, every other place a point (a stretch whose end is its start). The measure is metres on a circuit
with segments and share of the lap time on a timing-only one; ``lapmap`` turns both into phase.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

from pitwall.errors import UserError
from pitwall.model.circuit import Circuit


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of the lap from ``start`` to ``end``; it spans the line when ``end`` lies below ``start``."""

    start: float
    end: float

    def holds(self, value: float) -> bool:
        """True when the value lies in the stretch; the end itself is outside."""
        if self.start <= self.end:
            return self.start <= value < self.end
        return value >= self.start or value < self.end


@dataclass(frozen=True, slots=True)
class Bend:
    """A stretch of constant radius, metres, with the name of its turn if it has one."""

    start_m: float
    end_m: float
    radius_m: float
    name: str


def plain(name: str) -> str:
    """A place name as it is compared: one space between words, no capitals."""
    return " ".join(name.lower().split())


def bends(circuit: Circuit) -> tuple[Bend, ...]:
    """The circuit's curved segments in lap order."""
    found, at = [], 0.0
    for segment in circuit.segments:
        if segment.radius_m is not None:
            name = f"turn {segment.turn}" if segment.turn is not None else f"the bend at {at:.0f} m"
            found.append(Bend(at, at + segment.length_m, segment.radius_m, name))
        at += segment.length_m
    return tuple(found)


def turn_stretches(circuit: Circuit) -> dict[str, Stretch]:
    """Start and end of each numbered turn, metres; a turn of several segments runs from the first to the last."""
    found: dict[str, Stretch] = {}
    at, length = 0.0, circuit.length_m or 0.0
    for segment in circuit.segments:
        if segment.turn is not None:
            name, end = f"turn {segment.turn}", at + segment.length_m
            known = found.get(name)
            if known is None:
                found[name] = Stretch(at, end)
            elif abs(known.end - at) < 1e-6:
                found[name] = Stretch(known.start, end)
            else:
                # The model admits only neighbours, so this is the part of a turn that lies before the line.
                found[name] = Stretch(at, known.end)
        at += segment.length_m
    return {name: Stretch(stretch.start, stretch.end % length) for name, stretch in found.items()}


def stretches(circuit: Circuit) -> dict[str, Stretch]:
    """Every place of the circuit by its plain name, in the circuit's own measure."""
    unit = "share" if circuit.timing_only else "m"
    found = {"line": Stretch(0.0, 0.0)}
    points = [("pit entry", getattr(circuit.pit, f"entry_{unit}")), ("pit exit", getattr(circuit.pit, f"exit_{unit}"))]
    points += [(item.place, getattr(item, f"at_{unit}")) for item in circuit.places]
    points += [(f"loop {item.loop}", getattr(item, f"at_{unit}")) for item in circuit.loops if item.loop != "line"]
    for name, at in points:
        found[plain(name)] = Stretch(at, at)
    found.update({plain(name): stretch for name, stretch in turn_stretches(circuit).items()})
    return found


def unknown_place(name: str, known: Iterable[str], circuit_name: str) -> UserError:
    """The error for a place that is not on the circuit, with what was probably meant."""
    names = list(known)
    near = difflib.get_close_matches(plain(name), names, n=2, cutoff=0.6)
    hint = f"did you mean {' or '.join(repr(item) for item in near)}?" if near else f"known places: {', '.join(names)}"
    return UserError(f"unknown place {name!r} on {circuit_name}: {hint}")
