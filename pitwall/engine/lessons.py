"""What all cars taught about lap times, told again without what one of them turned out not to have driven.

The lap model of the field learns from every timed lap and forgets none by itself. When a hand's line is taken back, or
given its true time, the laps on both sides of it were other laps. So the model is copied before each end of an own
car's lap, every lesson since is kept, and the model is taught anew from the copy: the lessons of the other cars as they
were, those of this car as its inputs are gone over once more.

What is taught anew gets new numbers, higher than all given before. So a number always means the same lessons, and it
shows whether a copy that another own car keeps still holds laps that were told otherwise since. That is not gone back
to, but the one before it.
"""

from __future__ import annotations

import copy
import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from pitwall.pace.beliefs import Lesson
from pitwall.pace.believing import teach
from pitwall.pace.field_pace import FieldPace
from pitwall.pace.laptimes import CarPace
from pitwall.pace.runpace import FieldLaps


@dataclass(frozen=True)
class Taught:
    """How many lessons there had been before an input; ``laps``: the model as it was, where the input may end a lap.

    ``own_t``: when the last lap of this car that had taught ended, session seconds.
    """

    lessons: int
    own_t: float
    laps: FieldLaps | None

    def __deepcopy__(self, _memo: object) -> Taught:
        """Itself: the model in it is only ever copied."""
        return self


def taught_until_now(pace: CarPace, *, ends_lap: bool) -> Taught:
    """What the field has taught, before an input of this car is acted on."""
    field_pace = pace.field_pace
    laps = copy.deepcopy(field_pace.believing(pace.labels).laps) if ends_lap else None
    own_t = next((one.lap.end_t for one in reversed(field_pace.lessons) if one.car == pace.car), -math.inf)
    return Taught(field_pace.lessons_count, own_t, laps)


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
        known = next((one for one in reversed(before) if one is not None and self._goes_back_to(one)), None)
        self.done = False
        if base is None or known is None or known.laps is None:
            return  # too far back: what was taught stays taught
        self.done = True
        belief = self._field.believing(pace.labels)
        belief.laps = copy.deepcopy(known.laps)
        lessons = list(self._field.lessons)
        count, last = self._kept(pace.car, lessons, base, known)
        self._later += (one for one in lessons[count:] if one.car != pace.car)
        for lesson in lessons[:count]:
            if lesson.number > known.lessons:
                teach(belief.laps, lesson)
        self._field.lessons = deque(lessons[:count])
        self._field.lessons_retold += ((last, self._field.lessons_count),)
        self._field.lessons_count += 1  # no lesson has this one: whoever is at it knows what is taught from here

    def until(self, t: float) -> None:
        """Teach what other cars did up to session second ``t``."""
        while self._later and self._later[0].lap.end_t <= t:
            lesson, belief = self._later.popleft(), self._field.belief
            assert belief is not None, "there are lessons, so there is what they taught"
            teach(belief.laps, lesson)
            self._field.taught(lesson.car, lesson.belief, lesson.lap)

    def give(self, field_pace: FieldPace) -> None:
        """All that is left, and then the model to the field's pace that everybody holds."""
        self.until(math.inf)
        mine = self._field
        if self.done and field_pace.belief is not None and mine.belief is not None:
            field_pace.belief.laps, field_pace.lessons = mine.belief.laps, mine.lessons
            field_pace.lessons_count, field_pace.lessons_lost = mine.lessons_count, mine.lessons_lost
            lost = mine.lessons_lost
            field_pace.lessons_retold = tuple(one for one in mine.lessons_retold if one[1] >= lost)

    def _goes_back_to(self, taught: Taught) -> bool:
        enough = taught.laps is not None and taught.lessons >= self._field.lessons_lost
        return enough and not self._told_otherwise(taught)

    def _told_otherwise(self, taught: Taught) -> bool:
        return any(after < taught.lessons <= last for after, last in self._field.lessons_retold)

    def _kept(self, car: str, lessons: list[Lesson], base: Taught, known: Taught) -> tuple[int, int]:
        """How many of the lessons came before the input to begin with, and the number up to which those go.

        Where they were told otherwise since, all up to the car's own last one: ``until`` tells the others in time.
        """
        if not self._told_otherwise(base):
            return sum(one.number <= base.lessons for one in lessons), base.lessons
        before = (
            at for at, one in enumerate(lessons, 1)
            if one.number <= known.lessons or (one.car == car and one.lap.end_t <= base.own_t)
        )  # fmt: skip
        count = max(before, default=0)
        return count, max(known.lessons, lessons[count - 1].number if count else 0)
