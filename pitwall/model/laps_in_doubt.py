"""Timed laps that began with a switch out of place, in words: the same on paper, at the terminal and on the wire."""

from __future__ import annotations

from collections.abc import Sequence

from pitwall.model.debrief_rows import LapRow

WRONG, UNVERIFIED = "switch wrong", "switch unverified"


def switch_words(lap: LapRow | None) -> list[str]:
    """``switch wrong``, ``switch unverified``: what was not as it must be as the timed lap began."""
    if lap is None:
        return []
    return [*([WRONG] if lap.switches_wrong else []), *([UNVERIFIED] if lap.switches_unverified else [])]


def best_lap_doubts(best_s: float | None, laps: Sequence[LapRow]) -> str:
    """What speaks against the best of these laps, in brackets; nothing where nothing does."""
    lap = next((one for one in laps if best_s is not None and one.lap_time_s == best_s), None)
    doubts = switch_words(lap)
    return f" ({', '.join(doubts)})" if doubts else ""


def counted_in_doubt(laps: Sequence[LapRow]) -> str:
    """``, 2 with switch wrong``: how many of the timed laps began so, to stand behind their number; or nothing."""
    found = [word for lap in laps if lap.kind == "timed" for word in switch_words(lap)]
    return "".join(f", {found.count(word)} with {word}" for word in (WRONG, UNVERIFIED) if word in found)


def laps_in_doubt(laps: Sequence[LapRow]) -> list[tuple[str, str]]:
    """``(mark, which laps and what stood where)``, what was seen to be wrong first; laps with the same are told
    together: ``("switch wrong", "laps 9, 10 (engine stands at 4, this timed lap needs 2)")``."""
    timed = [lap for lap in laps if lap.kind == "timed"]
    marked = [(WRONG, _listed([(lap.number, lap.switches_wrong) for lap in timed if lap.switches_wrong])),
              (UNVERIFIED, _listed([(lap.number, lap.switches_unverified) for lap in timed
                                    if lap.switches_unverified]))]
    return [(mark, words) for mark, words in marked if words]


def _listed(laps: Sequence[tuple[int, tuple[str, ...]]]) -> str:
    together: dict[tuple[str, ...], list[int]] = {}
    for number, texts in laps:
        together.setdefault(texts, []).append(number)
    return "; ".join(f"{'lap' if len(numbers) == 1 else 'laps'} {', '.join(str(one) for one in numbers)} "
                     f"({'; '.join(texts)})" for texts, numbers in together.items())
