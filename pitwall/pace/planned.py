"""What the plan's word about a lap is worth: whether it is timed, a cool-down lap or an in-lap.

A plan of the night before says how many timed laps a run has. It does not know cool-down laps, a run is cut or goes on
as the day wants, and a stop is put in that nobody had planned; so its word only shifts what the pace and the habits of
the field say. How far is learned for each word: of the laps under it that ended, how many were of a kind, over how many
were expected by pace and habits alone. A few laps' worth of common practice (no source) stand there first; old laps
count less and less.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

PlanWord = Literal["none", "more", "last", "in", "beyond", "cool", "called"]
"""What the plan says of a lap: nothing; timed, and more of them to come; the last timed lap of its run; in; nothing,
the run is over and the car stays out; cool-down; in, as somebody has called the car in."""
Chances = tuple[float, float, float]

FIRST: dict[PlanWord, Chances] = {
    "none": (1.0, 1.0, 1.0), "more": (1.2, 1.2, 0.4), "last": (1.2, 1.2, 0.4), "in": (0.6, 0.6, 5.0),
    "beyond": (1.0, 1.0, 1.0), "cool": (0.5, 3.0, 0.4), "called": (0.3, 0.3, 30.0),
}  # fmt: skip
WORTH, FADES = 3.0, 0.98
NOTHING: Chances = (0.0, 0.0, 0.0)


@dataclass
class PlanRecord:
    """How many laps of each kind there were under each word, and how many were expected without it."""

    _were: dict[PlanWord, Chances] = field(default_factory=dict)
    _expected: dict[PlanWord, Chances] = field(default_factory=dict)

    def odds(self, word: PlanWord) -> Chances:
        """How much likelier than without the plan a lap is timed, a cool-down lap, an in-lap."""
        if word == "none":
            return FIRST[word]
        were, expected = self._were.get(word, NOTHING), self._expected.get(word, NOTHING)
        timed, cool, coming_in = (
            (WORTH * first + seen) / (WORTH + without)
            for first, seen, without in zip(FIRST[word], were, expected, strict=True)
        )
        return timed, cool, coming_in

    def learn(self, word: PlanWord, without: Chances, kind: int) -> None:
        """Take a lap that is over.

        Args:
            word: what the plan had said of it.
            without: the probabilities of its kind without the plan, when it was seen last.
            kind: 0 timed, 1 cool-down, 2 in.
        """
        if word == "none":
            return
        were, expected = self._were.get(word, NOTHING), self._expected.get(word, NOTHING)
        self._were[word] = _added(were, tuple(float(at == kind) for at in range(3)))
        self._expected[word] = _added(expected, without)


def _added(before: Chances, more: tuple[float, ...]) -> Chances:
    timed, cool, coming_in = (FADES * old + new for old, new in zip(before, more, strict=True))
    return timed, cool, coming_in
