"""How sure a listening stretch is: less a margin at both ends, for the car is not exactly where it is expected."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from pitwall.engine.call import CallSpec
from pitwall.engine.situation import Situation
from pitwall.radio.pending import Spans

T = TypeVar("T")
_Margins = tuple[float, float, float, float]
MOST_MARGIN_S, MOST_BEFORE_LOOP_S = 1.5, 5.0  # rather after a loop ahead that ends the doubt than before it
AFTER_CORNER_S, BEFORE_BRAKING_S = 0.5, 0.15  # drivers differ more in when a corner is over than in when braking begins


class Sure:
    """The stretches of one moment less a margin; each worked out once."""

    def __init__(self, at: Situation) -> None:
        self._at = at
        self._found: dict[tuple[int, float], Spans] = {}
        self._margins: dict[int, tuple[Spans, list[_Margins]]] = {}
        self._once: dict[tuple[str, int, int], tuple[CallSpec, Any]] = {}

    def once(self, what: str, spec: CallSpec, which: int, work_out: Callable[[], T]) -> T:
        """What was worked out of this very spec at this moment: the situation stands still, so it stays the same."""
        found = self._once.get((what, id(spec), which))
        if found is None:
            found = self._once[what, id(spec), which] = spec, work_out()  # the spec is held: its id stays its own
        made: T = found[1]
        return made

    def of(self, stretches: Spans, share: float) -> Spans:
        """The stretches that are not behind, less so large a share of the margin."""
        found = self._found.get((id(stretches), share))
        if found is None:
            cut = [(begin + share * after, end - share * before)
                   for begin, end, after, before in self._margins_of(stretches)]
            found = self._found[id(stretches), share] = tuple([span for span in cut if span[0] < span[1]])
        return found

    def _margins_of(self, stretches: Spans) -> list[_Margins]:
        """Each that is not behind, and the whole margin after its beginning and before its end."""
        known = self._margins.get(id(stretches))
        if known is None:
            strays = self._at.strays
            most = MOST_BEFORE_LOOP_S if self._at.loops_tell_more else MOST_MARGIN_S
            now = self._at.now  # what is behind serves nobody: of a running lap that is half of it
            margins = [
                (begin, end, min(most, AFTER_CORNER_S + strays(begin)), min(most, BEFORE_BRAKING_S + strays(end)))
                for begin, end in stretches if end > now
            ]
            known = self._margins[id(stretches)] = stretches, margins  # held, so that its id stays its own
        return known[1]
