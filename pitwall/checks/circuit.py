"""A circuit file against itself: loops whose places contradict their order, stretches that go the wrong way round.

Both are read as they stand, for both can be meant: a stretch may span the line, and loops may be listed in any order.
But two figures that were exchanged make cars jump over the lap, and a driver who is spoken to in every corner.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from pitwall.checks.codes import finding
from pitwall.errors import FilePath, Finding
from pitwall.model.circuit import Circuit, ListeningStretch, Loop, MarshalSector

MOST_OF_A_LAP = 0.5
"""A stretch over the line that is longer than this share of the lap is taken for one with its ends exchanged."""


def check_circuit(circuit: Circuit) -> Iterator[Finding]:
    """Everything of a circuit file that can be read and is doubtful."""
    yield from _loops(circuit)
    for key, what, stretches in (("listening", "listening stretch", circuit.listening),
                                 ("marshal_sectors", "marshal sector", circuit.marshal_sectors)):
        yield from _reversed(circuit, key, what, stretches)


def _loops(circuit: Circuit) -> Iterator[Finding]:
    unit, lap = _unit(circuit)
    listed = [(index, loop, _at(loop, unit)) for index, loop in enumerate(circuit.loops) if loop.loop != "line"]
    for at, (index, loop, place) in enumerate(listed):
        same = next((other for _, other, there in listed[:at] if there == place), None)
        path: FilePath = ("loops", index, f"at_{unit}")
        if same is not None or place % lap == 0.0:
            there = "the line" if same is None else f"loop {same.loop!r}"
            yield finding("PW151", path=path, expected="a place of its own for each loop",
                          found=f"loop {loop.loop!r} at {place:g}, where {there} is")
    if _goes_round([place for _, _, place in listed]) or _rises_by_label([loop for _, loop, _ in listed], unit):
        return
    for (_, before, further), (index, loop, place) in pairwise(listed):
        if place < further:
            yield finding("PW151", path=("loops", index, f"at_{unit}"),
                          found=f"loop {loop.loop!r} at {place:g}, listed after {before.loop!r} at {further:g}",
                          expected="loops in the order in which a car passes them",
                          suggestion="are two figures exchanged?")


def _goes_round(places: Sequence[float]) -> bool:
    """Guard: in the order of the lap, from wherever the list begins; of two alone that would be any order."""
    begins = range(len(places)) if len(places) > 2 else (0,)
    return any(_rises([*places[at:], *places[:at]]) for at in begins)


def _rises(places: Sequence[float]) -> bool:
    return list(places) == sorted(places)


def _rises_by_label(loops: Sequence[Loop], unit: str) -> bool:
    """Guard: the loops are numbered, and their numbers follow the lap, in whatever order they are listed."""
    if not all(loop.loop.isdigit() for loop in loops):
        return False
    return _rises([_at(loop, unit) for loop in sorted(loops, key=lambda one: int(one.loop))])


def _reversed(
    circuit: Circuit, key: str, what: str, stretches: Sequence[ListeningStretch | MarshalSector]
) -> Iterator[Finding]:
    unit, lap = _unit(circuit)
    for index, stretch in enumerate(stretches):
        begin, end = getattr(stretch, f"from_{unit}"), getattr(stretch, f"to_{unit}")
        name = stretch.sector if isinstance(stretch, MarshalSector) else str(index + 1)
        share = (lap - begin + end) / lap
        if begin == end:
            yield finding("PW152", path=(key, index, f"to_{unit}"), expected="a stretch with a beginning and an end",
                          found=f"{what} {name} from {begin:g} to {end:g}, which is no stretch")
        elif begin > end and share > MOST_OF_A_LAP:
            yield finding("PW152", path=(key, index, f"from_{unit}"),
                          found=f"{what} {name} from {begin:g} over the line to {end:g}, {share:.0%} of the lap",
                          expected="a stretch over the line of less than half the lap",
                          suggestion=f"is it from {end:g} to {begin:g}?")


def _unit(circuit: Circuit) -> tuple[str, float]:
    return ("share", 1.0) if circuit.timing_only else ("m", circuit.length_m or 1.0)


def _at(loop: Loop, unit: str) -> float:
    return float(getattr(loop, f"at_{unit}") or 0.0)
