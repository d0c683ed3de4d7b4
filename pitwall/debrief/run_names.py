"""Names of runs above their laps: whole ones, as long as there is room in one of a few rows.

A run of one lap in a full day is narrower than its name. Such a name stands in a row above, with a line down to its
laps, where no other name is in its way; where no row has room it is shortened.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from pitwall.debrief.lettering import drawable, short

SIZE_PT = 6.5
ROWS = 4  # of names; a test day has some fifteen runs
GAP_PT = 5.0  # between two names
LETTER_PT = 4.4  # room for one letter of a name that is shortened
FEWEST_LETTERS = 3


@dataclass(frozen=True)
class RunName:
    """A name where it stands: middle and left edge in points from the left of the axes, and its row from below."""

    text: str
    middle_pt: float
    left_pt: float
    wide_pt: float
    row: int

    @property
    def right_pt(self) -> float:
        """Its right edge, in points."""
        return self.left_pt + self.wide_pt


def run_names(runs: Sequence[str], width_pt: float, lap_pt: float, before_pt: float) -> list[RunName]:
    """Where each run's name stands, in the order driven; one without room for three letters is left out.

    Args:
        runs: the run of each lap, in the order driven.
        width_pt: of the axes.
        lap_pt: of one lap.
        before_pt: from the left of the axes to the first lap.
    """
    found: list[RunName] = []
    first = 0
    for run, laps in groupby(runs):
        count = len(list(laps))
        placed = _placed(drawable(run), before_pt + (first + count / 2) * lap_pt, count * lap_pt, width_pt, found)
        found += [] if placed is None else [placed]
        first += count
    return found


def _placed(text: str, middle: float, own: float, width: float, there: Sequence[RunName]) -> RunName | None:
    """In the lowest row that has room for all of it; the lowest one is for names that fit over their own laps."""
    wide = _wide(text)
    for row in range(ROWS):
        one = RunName(text, middle, min(max(middle - wide / 2, 0.0), max(width - wide, 0.0)), wide, row)
        if wide <= (own if row == 0 else width) and all(_clear(one, other) for other in there):
            return one
    letters = int(own / LETTER_PT)
    if letters < FEWEST_LETTERS:
        return None
    text = short(text, letters)
    return RunName(text, middle, middle - _wide(text) / 2, _wide(text), 0)


def _clear(one: RunName, other: RunName) -> bool:
    """Guard: neither is on the other, nor on the line that leads from the higher one down to its laps."""
    if one.row == other.row:
        return one.left_pt >= other.right_pt + GAP_PT or one.right_pt + GAP_PT <= other.left_pt
    low, high = (one, other) if one.row < other.row else (other, one)
    return not low.left_pt - GAP_PT / 2 < high.middle_pt < low.right_pt + GAP_PT / 2


def _wide(text: str) -> float:
    """How wide it is drawn, in points."""
    from matplotlib.textpath import TextPath

    return float(TextPath((0, 0), text, size=SIZE_PT).get_extents().x1) if text.strip() else 0.0
