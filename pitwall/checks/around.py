"""What a plan is checked against: the other files, as far as they could be read.

A part that could not be read is None (or named in ``unread_procedures``), and checks that need it hold their tongue:
its own findings are reported already, and guesses about it would bury them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches

from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations
from pitwall.model.setup import CallTiming, CarLimits, Driver, GarageWork
from pitwall.track.lapmap import LapMap


@dataclass(frozen=True)
class Around:
    """The files around one plan.

    Attributes:
        regulations, circuit, car, lap: None when they could not be read (``lap`` is the circuit at the car's pace).
        car_figures: False when the car's switches are known but its other figures are not.
        procedures: the library, by name.
        unread_procedures: names (and file stems) of procedures whose file has errors of its own.
        drivers, cars: names the event file knows; None when it could not be read.
        session: the session the event prepares; a plan for another one is checked against its own.
        wet: which switch defaults apply.
        car_file, circuit_file, library: how messages call these files.
        unread_runs: names of runs that could not be read; nobody complains that they are unknown.
        calls: how calls are timed; the defaults while the settings could not be read.
        garage: what work beside the runs' own takes, likewise.
        people: the drivers of the event with what they must and may drive.
        limits: what the car may do at most; None when nothing is limited.
    """

    regulations: Regulations | None = None
    circuit: Circuit | None = None
    car: Car | None = None
    car_figures: bool = True
    lap: LapMap | None = None
    procedures: Mapping[str, Procedure] = field(default_factory=dict)
    unread_procedures: frozenset[str] = frozenset()
    drivers: tuple[str, ...] | None = None
    cars: tuple[str, ...] | None = None
    wet: bool = False
    car_file: str = "the car file"
    circuit_file: str = "the circuit file"
    library: str = "the library"
    unread_runs: frozenset[str] = frozenset()
    calls: CallTiming = field(default_factory=CallTiming)
    garage: GarageWork = field(default_factory=GarageWork)
    people: Mapping[str, Driver] = field(default_factory=dict)
    limits: CarLimits | None = None


def meant(word: str, known: Iterable[str]) -> str | None:
    """``did you mean 'x'?`` when something known is near, else a list of what there is."""
    names = list(known)
    by_lower = {name.lower(): name for name in names}
    found = get_close_matches(word.lower(), list(by_lower), n=1, cutoff=0.6)
    if found:
        return f"did you mean {by_lower[found[0]]!r}?"
    return f"there are {', '.join(names[:20])}" if names else None


def near_only(word: str, known: Iterable[str]) -> str | None:
    """``did you mean 'x'?`` when something known is near, else nothing: what there is stands in the message already."""
    text = meant(word, known)
    return text if text and text.startswith("did") else None
