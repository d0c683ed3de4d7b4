"""What a car keeps of its plan's history: which alternate is driven, what its files hold, what waits for an answer, and
every change with who and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pitwall.model.changes import PlanChange
from pitwall.model.outputs import PlanChanged, Proposal, RoleSeen
from pitwall.model.plan import Alternate, Plan
from pitwall.model.units import clock_text

SHOWN = 12  # changes that are published; the journal has them all


@dataclass(frozen=True)
class Offer:
    """A changed plan that waits for an answer: what is shown of it, and the plan that it would make.

    ``alternate`` says which of the car's plans it changes; ``doubts`` are the warnings that came with it.
    """

    shown: Proposal
    alternate: Alternate | None
    plan: Plan
    doubts: tuple[str, ...]


@dataclass(frozen=True)
class Settled:
    """How a proposal ended: adopted, declined, replaced or withdrawn, by whom, when, and what made it end, if that was
    no answer to it."""

    how: str
    by: str
    t: float
    why: str = ""


@dataclass
class PlanDesk:
    """Mutable. Plans are kept by alternate; None is the plan itself.

    ``base``: as it was last taken over from its file; ``latest``: as its file was last read; ``aside``: as it was in
    use when the car went over to another; ``declined``: what was declined last, which may be taken after all.
    """

    base: dict[Alternate | None, Plan]
    latest: dict[Alternate | None, Plan]
    aside: dict[Alternate | None, Plan] = field(default_factory=dict)
    driven: Alternate | None = None
    offer: Offer | None = None
    declined: Offer | None = None
    offers: int = 0
    settled: dict[str, Settled] = field(default_factory=dict)
    changes: list[PlanChanged] = field(default_factory=list)
    asked: list[tuple[PlanChange, ...]] = field(default_factory=list)
    because: list[str] = field(default_factory=list)
    """The commands that made the changes, each beside its change."""
    refused: dict[str, tuple[str, float]] = field(default_factory=dict)
    """The last command of each hand where it was refused: its name, and when."""
    undone: set[str] = field(default_factory=set)
    """Commands whose change was taken back, and those that took it back."""
    seen: dict[str, RoleSeen] = field(default_factory=dict)
    """By role of the crew: who of it has seen the plan, and when."""

    @classmethod
    def of(cls, plan: Plan, alternates: Mapping[Alternate, Plan]) -> PlanDesk:
        """As the session is prepared."""
        plans: dict[Alternate | None, Plan] = {None: plan}
        plans.update(alternates.items())
        return cls(dict(plans), plans)

    def left_with(self, run: str) -> Alternate | None:
        """Which alternate alone has this run, where the car went over to another plan since; None for every other run.
        Nobody is owed what only the wet plan asks for once the car is back on the dry one."""
        if any(plan.find(run) for plan in self._of(None)) or any(plan.find(run) for plan in self._of(self.driven)):
            return None
        others = [kind for kind in self.latest if kind != self.driven]
        return next((kind for kind in others if any(plan.find(run) for plan in self._of(kind))), None)

    def _of(self, kind: Alternate | None) -> list[Plan]:
        """This plan as its file was read and as it was in use."""
        kept = (self.base.get(kind), self.latest.get(kind), self.aside.get(kind))
        return [plan for plan in kept if plan is not None]

    def note(
        self, revision: int, t: float, by: str, what: str, why: str, asked: tuple[PlanChange, ...] = (),
        because: str = "", takes_back_t: float | None = None,
    ) -> None:
        """Keep a change of the plan: who made it, when, what it was and why; ``because`` is the command's id,
        ``takes_back_t`` when the change was made that it takes back, session seconds."""
        changed = PlanChanged(revision=revision, t=t, by=by, what=what, why=why, takes_back_t=takes_back_t)
        self.changes.append(changed)
        self.asked.append(asked)
        self.because.append(because)

    @property
    def standing(self) -> list[bool]:
        """Of each change whether it stands: False where it was taken back, and for the taking back itself."""
        return [one not in self.undone for one in self.because]

    def since(self, revision: int) -> list[PlanChanged]:
        """The changes made after that revision, oldest first."""
        return [change for change in self.changes if change.revision > revision]

    def since_in_words(self, revision: int) -> str:
        """Who changed what after that revision, and when; empty when nobody did."""
        return "; ".join(f"{one.by} at {clock_text(one.t)}: {one.what}" for one in self.since(revision))
