"""A changed plan in one sentence: what it changes, what is gained by that and how likely, and what is lost.

Worths are figures of ours and say nothing to an engineer: a plan is told by the runs that it makes likelier, by those
that it leaves out or shortens, and by the share that it keeps of what all runs still to be done are worth.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitwall.forecast.advice_outcome import TeamPlan
from pitwall.forecast.advice_pieces import weight
from pitwall.forecast.advice_rules import CarModel, Sequel
from pitwall.model.advice import RunChoice

NOTABLE = 0.015
"""A chance that moves by less is not worth a word."""

MOST_NAMED = 2
"""So many runs are named for what they gain."""


class Wording:
    """Words for the plans of one question."""

    def __init__(self, models: Sequence[CarModel]) -> None:
        self._models = models
        self._choices: dict[int, RunChoice] = {}
        for model in models:
            self._choices.update(zip(model.runs[: model.own], model.choices[: model.own], strict=True))
        names = [choice.run for choice in self._choices.values()]
        self._whole = sum(weight(choice) for choice in self._choices.values())
        self._twice = {name for name in names if names.count(name) > 1}

    def as_planned(self, base: TeamPlan) -> str:
        """One sentence on the plan as it stands, which recommends nothing: a better one may be known."""
        return f"The plan as it stands: {self._as_it_is(base)}."

    def sentence(self, plan: TeamPlan, base: TeamPlan, unreached: str | None, proven: bool | None) -> str:
        """One sentence on this plan, seen from the plan as it stands.

        Args:
            plan: The plan.
            base: The plan as it stands.
            unreached: What to add when no plan is as sure as was wanted.
            proven: For the best plan, whether no other is worth more, or only none was found; None for any other plan.
        """
        changes = self.changes(plan.sequels)
        if not changes:
            text = f"Leave the plan as it is: {self._why_kept(plan, proven)}"
        else:
            text = "; ".join([f"{_capital(join(changes))}: {self._how_sure(plan, base)}", *self.losses(plan, base)])
        return f"{text}{f'; {unreached}' if unreached else ''}."

    def share(self, worth: float) -> str:
        """So much of what all runs still to be done are worth."""
        return percent(worth / self._whole) if self._whole > 0 else percent(1.0)

    def changes(self, sequels: tuple[Sequel, ...]) -> list[str]:
        """What this plan changes, in the trade's words."""
        found: list[str] = []
        elsewhere = {run for model, sequel in zip(self._models, sequels, strict=True)
                     for run in _runs(model, sequel) if run not in model.runs[: model.own]}
        for model, sequel in zip(self._models, sequels, strict=True):
            done = _runs(model, sequel)
            found += [f"drop {self.name(run)}" for run in model.runs[: model.own] if run not in {*done, *elsewhere}]
            found += [f"let car {model.car} do {self.name(run)}" for run in done if run in elsewhere]
            for piece in (model.pieces[number] for number in sequel):
                for part in piece.parts:
                    if part.shortened:
                        found.append(f"shorten {self.name(part.run)} to {_laps(part.timed)}")
                for first, second in zip(piece.runs, piece.runs[1:], strict=False):
                    found.append(f"go on from {self.name(first)} to {self.name(second)} without a stop")
            found += self._moves(model, done)
        return found

    def _moves(self, model: CarModel, done: list[int]) -> list[str]:
        own = [run for run in done if run in model.runs[: model.own]]
        kept = _in_order(own, {run: place for place, run in enumerate(model.runs)})
        found = []
        for place, run in enumerate(own):
            if run not in kept:
                behind = next((other for other in reversed(own[:place])), None)
                found.append(f"do {self.name(run)} first" if behind is None else
                             f"do {self.name(run)} after {self.name(behind)}")
        return found

    def losses(self, plan: TeamPlan, base: TeamPlan) -> list[str]:
        """What is given up: runs left out that might have been done, and laps; then what would not have been done."""
        lost, anyway = [], []
        timed = {part.run: part.timed for model, sequel in zip(self._models, plan.sequels, strict=True)
                 for number in sequel for part in model.pieces[number].parts}
        for run, choice in self._choices.items():
            chance = base.done.get(run, 0.0)
            if run not in timed:
                if chance < NOTABLE:
                    anyway.append(f"{self.name(run)} (a {choice.want})")
                else:
                    why = self._worth_nothing(choice, base)
                    lost.append(f"{self.name(run)} (a {choice.want}, {percent(chance)} as planned{why})")
            elif timed[run] < choice.timed:
                laps = f"{choice.timed - timed[run]} of the {_laps(choice.timed)}"
                lost.append(f"{laps} of {self.name(run)} (a {choice.want}, which still counts)")
        found = [f"lost: {join(lost)}"] if lost else []
        return found + ([f"{join(anyway)} would not have fitted"] if anyway else [])

    def _worth_nothing(self, choice: RunChoice, base: TeamPlan) -> str:
        """Why a run that would have been done is given up all the same: one that does not fit is of its group, and by
        the plan's word they are all or nothing. Else one would read that a must is given for something lesser."""
        missing = [self.name(run) for run, other in self._choices.items()
                   if choice.group is not None and (other.car, other.group) == (choice.car, choice.group)
                   and base.done.get(run, 0.0) < NOTABLE]
        return f", worth nothing without {join(missing)}: group {choice.group}" if missing else ""

    @property
    def _musts(self) -> list[int]:
        return [run for run, choice in self._choices.items() if choice.want == "must"]

    def _as_it_is(self, plan: TeamPlan) -> str:
        return self._all_musts(plan, None) if self._musts else f"{self.share(plan.worth)} of its value is kept"

    def _why_kept(self, plan: TeamPlan, proven: bool | None) -> str:
        if self._musts or proven is None:
            return self._as_it_is(plan)
        return "it is worth most as it stands" if proven else "no better plan was found"

    def _how_sure(self, plan: TeamPlan, base: TeamPlan) -> str:
        musts = self._musts
        better = [run for run in musts if self._rises(run, plan, base)]
        if plan.chance - base.chance >= NOTABLE:
            if len(better) == 1:
                return self._fits(better[0], plan, base)
            return self._all_musts(plan, base)
        parts = self.gained(plan, base) or [self._keeps(plan, base)]
        if base.chance - plan.chance >= NOTABLE:
            return f"{join(parts)}, but {self._all_musts(plan, base)}"
        return f"{join(parts)}; {self._all_musts(plan, None)}" if musts else join(parts)

    def gained(self, plan: TeamPlan, base: TeamPlan) -> list[str]:
        """The runs that become likelier, those first that gain most."""
        gains = sorted((base.done.get(run, 0.0) - plan.done.get(run, 0.0), place, run)
                       for place, run in enumerate(self._choices) if self._rises(run, plan, base))
        return [self._fits(run, plan, base) for _, _, run in gains[:MOST_NAMED]]

    @staticmethod
    def _all_musts(plan: TeamPlan, base: TeamPlan | None) -> str:
        instead = f" instead of {percent(base.chance)}" if base is not None else ""
        return f"all musts fit in {percent(plan.chance)} of futures{instead}"

    def _keeps(self, plan: TeamPlan, base: TeamPlan) -> str:
        now, before = self.share(plan.worth), self.share(base.worth)
        if now == before:
            return f"{now} of the plan's value is kept, as it is without"
        return f"{now} of the plan's value is kept instead of {before}"

    def _rises(self, run: int, plan: TeamPlan, base: TeamPlan) -> bool:
        return plan.done.get(run, 0.0) - base.done.get(run, 0.0) >= NOTABLE

    def _fits(self, run: int, plan: TeamPlan, base: TeamPlan) -> str:
        return (f"{self.name(run)} fits in {percent(plan.done.get(run, 0.0))} of futures instead of "
                f"{percent(base.done.get(run, 0.0))}")

    def name(self, run: int) -> str:
        """The run, with its car where its name alone does not say."""
        choice = self._choices[run]
        return f"{choice.run} (car {choice.car})" if choice.run in self._twice else choice.run


def percent(chance: float) -> str:
    """A chance as the screen writes it."""
    return f"{100 * chance:.0f} %"


def join(parts: Sequence[str]) -> str:
    """One, two, or several parts as a list in words."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _laps(count: int) -> str:
    return f"{count} timed lap{'' if count == 1 else 's'}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _runs(model: CarModel, sequel: Sequel) -> list[int]:
    return [run for number in sequel for run in model.pieces[number].runs]


def _in_order(runs: list[int], place: dict[int, int]) -> set[int]:
    """A longest part of these runs that stands in the order of the plan."""
    best: list[list[int]] = []
    for run in runs:
        ahead = [chain for chain in best if place[chain[-1]] < place[run]]
        best.append([*(_longest(ahead) if ahead else []), run])
    return set(_longest(best)) if best else set()


def _longest(chains: list[list[int]]) -> list[int]:
    most = max(len(chain) for chain in chains)
    return next(chain for chain in chains if len(chain) == most)
