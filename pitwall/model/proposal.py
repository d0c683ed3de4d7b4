"""Changed plans that wait for a person, what stands under a red flag, and the question for advice.

``model/outputs.py`` names them all among the decisions.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pitwall.model.advice import AdviceQuestion
from pitwall.model.base import Frozen, Slug


class Proposal(Frozen):
    """A changed plan that waits for ``adopt`` or ``decline``.

    One from a file stands on ``plan/<car>/proposal``, retained, then cleared. Those of the forecast stand together in
    ``advice``, best first; one that changes several cars is adopted for all of them at once.
    """

    type: Literal["proposal"] = "proposal"
    id: str = Field(description="what adopt and decline name in 'proposal'")
    t: float
    car: Slug
    active: bool
    source: str = Field(description="where it comes from: a file by its name, or the forecast")
    lines: tuple[str, ...] = Field(description="what would change, one sentence each, in the trade's words")
    warnings: tuple[str, ...] = Field(default=(), description="what to think of before taking it")
    plan_revision: int
    because: str | None = None
    cars: tuple[Slug, ...] = Field(default=(), description="whose plans it changes, where it may be several")
    sentence: str | None = Field(default=None, description="what it changes, costs and buys")
    costs: tuple[str, ...] = Field(default=(), description="what would not be done, or only in part")
    musts_chance: float | None = Field(default=None, ge=0, le=1, description="all musts of all cars fit then")
    flips: str | None = Field(
        default=None, description="which 20 per cent change of a value would prefer another plan"
    )


class AdviceState(Frozen):
    """``advice``: what the forecast advises the team to change; retained, cleared when nothing of it stands."""

    type: Literal["advice_state"] = "advice_state"
    id: str
    t: float
    active: bool
    asked: str = Field(description="why it was asked for")
    musts_chance: float = Field(ge=0, le=1, description="all musts of all cars fit with the plan as it stands")
    proposals: tuple[Proposal, ...] = Field(default=(), description="at most three, best first")
    problem: str | None = Field(default=None, description="why nothing is proposed, in a sentence")
    exact: bool = Field(default=True, description="False: better plans may exist, the search was cut short")
    because: str | None = None


class Rung(Frozen):
    """The best plan if the session goes on at one moment."""

    restart_s: float = Field(description="seconds from the red flag to the restart")
    at_s: float = Field(description="session second of that restart")
    musts_chance: float = Field(ge=0, le=1, description="all musts of all cars fit then")
    sentence: str = Field(description="what the best plan then changes, costs and buys")
    lines: tuple[str, ...] = Field(default=(), description="what would change; none: the plan as it stands")
    work: str | None = Field(default=None, description="garage work worth pulling forward for it, in a sentence")
    too_late: bool = Field(default=False, description="from then on no restart leaves time for a timed lap")


class LadderState(Frozen):
    """``ladder``: under a red flag, the best plan for a restart at several moments; retained, cleared at its end."""

    type: Literal["ladder_state"] = "ladder_state"
    id: str
    t: float
    active: bool
    red_s: float = Field(description="session second of the red flag")
    rungs: tuple[Rung, ...] = ()


class AdviceWanted(Frozen):
    """Internal: ask the adviser. The answer comes back as ``AdviceReady`` with the same revision."""

    type: Literal["advice_wanted"] = "advice_wanted"
    t: float
    revision: int
    question: AdviceQuestion
