"""What a search for the team's best plan may cost, and what it brings: plans as they would go, and what is proven."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.forecast.advice_rules import Sequel


@dataclass(frozen=True)
class Effort:
    """How long one search may go on, counted in work and never by the clock: the same question has the same answer.

    Attributes:
        pieces: So many pieces are driven, all cars together; once more, where what they share has to be settled.
        paired: So many plans of all cars are looked at.
        together: So many beginnings of all cars are driven on with shared crews, in all searches of a question.
        whole: So many whole plans are driven with shared crews before that, put together from the cars' own best.
    """

    pieces: int
    paired: int
    together: int
    whole: int


FULL = Effort(6000, 50_000, 7000, 40)
"""Some two seconds of processor time on a slow machine."""


@dataclass(frozen=True)
class TeamPlan:
    """A plan of all cars, as it would go.

    Attributes:
        sequels: Per car its pieces, in order.
        worth: Expected worth.
        net: The same less its changes.
        chance: All musts are done.
        done: By run, the chance that it counts.
        shares: By run, the expected share of its worth, groups and originals considered.
    """

    sequels: tuple[Sequel, ...]
    worth: float
    net: float
    chance: float
    done: dict[int, float] = field(compare=False)
    shares: dict[int, float] = field(compare=False)


@dataclass(frozen=True)
class Outcome:
    """The best plan found, whether that is proven, a bound, and the plans of other substance that were met."""

    best: TeamPlan | None
    exact: bool
    bound: float
    others: tuple[tuple[Sequel, ...], ...] = ()


@dataclass(frozen=True)
class Joined:
    """What the search found: the best plan, whether every other was ruled out, and else what one can be worth."""

    best: TeamPlan | None
    exact: bool
    bound: float
    met: tuple[TeamPlan, ...]
    spent: int
