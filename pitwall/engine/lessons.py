"""What all cars taught about lap times, told again without what one of them turned out not to have driven.

The lap model of the field learns from every timed lap and forgets none by itself. When a hand's line is taken back, or
given its true time, the laps on both sides of it were other laps. So the model is copied before each end of an own
car's lap, every lesson since is kept, and the model is taught anew from the copy: the lessons of the other cars as they
were, those of this car as its inputs are gone over once more.
"""

from __future__ import annotations

import copy
import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pitwall.pace.believing import Lesson, teach
from pitwall.pace.laptimes import CarPace, FieldPace
from pitwall.pace.runpace import FieldLaps


@dataclass(frozen=True)
class Taught:
    """How many lessons there had been before an input; ``laps``: the model as it was, where the input may end a lap."""

    lessons: int
    laps: FieldLaps | None

    def __deepcopy__(self, _memo: object) -> Taught:
        """Itself: the model in it is only ever copied."""
        return self


def taught_until_now(pace: CarPace, *, ends_lap: bool) -> Taught:
    """What the field has taught, before an input of this car is acted on."""
    field_pace = pace.field_pace
    laps = copy.deepcopy(field_pace.believing(pace.labels).laps) if ends_lap else None
    return Taught(field_pace.lessons_count, laps)


class Retaught:
    """The model of a field's pace, brought back to where it was before an input, and taught anew from there."""

    def __init__(self, pace: CarPace, before: Sequence[Taught | None]) -> None:
        """Bring it back.

        Args:
            pace: of the car whose inputs are gone over, with a field's pace that nothing else holds.
            before: what had been taught before each of its inputs, the one to begin with last.
        """
        self._field = pace.field_pace
        self._later: deque[Lesson] = deque()
        base = before[-1] if before else None
        known = next((one for one in reversed(before) if one is not None and one.laps is not None), None)
        self.done = False
        if base is None or known is None or known.laps is None or known.lessons < self._field.lessons_lost:
            return  # too far back: what was taught stays taught
        self.done = True
        belief = self._field.believing(pace.labels)
        belief.laps = copy.deepcopy(known.laps)
        kept = [one for one in self._field.lessons if one.number <= base.lessons]
        self._teach(one for one in kept if one.number > known.lessons)
        self._later += (one for one in self._field.lessons if one.number > base.lessons and one.car != pace.car)
        self._field.lessons = deque(kept)

    def until(self, t: float) -> None:
        """Teach what other cars did up to session second ``t``."""
        while self._later and self._later[0].lap.end_t <= t:
            lesson = self._later.popleft()
            self._teach([lesson])
            self._field.lessons.append(lesson)

    def give(self, field_pace: FieldPace) -> None:
        """All that is left, and then the model to the field's pace that everybody holds."""
        self.until(math.inf)
        if self.done and field_pace.belief is not None and self._field.belief is not None:
            field_pace.belief.laps, field_pace.lessons = self._field.belief.laps, self._field.lessons
            field_pace.lessons_count, field_pace.lessons_lost = self._field.lessons_count, self._field.lessons_lost

    def _teach(self, lessons: Iterable[Lesson]) -> None:
        belief = self._field.belief
        assert belief is not None, "there are lessons, so there is what they taught"
        for lesson in lessons:
            teach(belief.laps, lesson)
