"""What a plan is worth for those who look again: what is optional is left out, or given up, when a must needs its time.

A plan is judged as it is written, in every future. But nobody drives a should on when the must behind it runs out of
time: as the car is ready for it, and when a red flag has sent the car back in the middle of it, somebody decides. Here
it is decided by what is known at that moment, never by what comes later in that future:

* There is a latest moment to go for a run: with the wanted confidence it, its work and the musts behind it still fit,
  if nothing interrupts them (``_Car.latest``). A car that is ready later leaves the run out.
* A car that a red flag sends back gives up what is left of the run when a flag of the usual length ends later than
  that. What it has done counts, and the crew goes to work at once.

So the order that has the should before the must may be as sure as the other one, and worth more. Crews that cars share
are left aside: what looking again brings is reckoned car by car, and added to what the whole plan brings as written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitwall.forecast.advice_driving import Counts, drive
from pitwall.forecast.advice_outcome import TeamPlan
from pitwall.forecast.advice_pieces import Piece
from pitwall.forecast.advice_rules import Sequel
from pitwall.forecast.advice_search import CarSearch
from pitwall.forecast.advice_team import TeamSearch
from pitwall.forecast.calendar import Calendar
from pitwall.forecast.pert import Floats


def looked_at_again(team: TeamSearch, plan: TeamPlan, confidence: float) -> TeamPlan:
    """The same plan with the worth and the chance that it has for those who look again.

    Args:
        team: The search that the plan comes from; of a session in one piece.
        plan: As judged.
        confidence: With this chance the musts behind a run shall fit for the car to go for it.
    """
    cars = [_Car(search, sequel, confidence) for search, sequel in zip(team.searches, plan.sequels, strict=True)]
    if not any(car.decides for car in cars):
        return plan
    blind, seeing = (
        team.summed(plan.sequels, [shares for car in cars for shares in car.driven(looks=looks)])
        for looks in (False, True)
    )
    return replace(
        plan, worth=plan.worth + seeing.worth - blind.worth, net=plan.net + seeing.net - blind.net,
        chance=min(max(plan.chance + seeing.chance - blind.chance, 0.0), 1.0),
    )


@dataclass
class _Car:
    """One car's pieces in order, and what stands behind each."""

    search: CarSearch
    sequel: Sequel
    confidence: float

    def __post_init__(self) -> None:
        self.pieces = [self.search.model.pieces[number] for number in self.sequel]
        self.calendar: Calendar = self.search.calendar
        self.latest = [self._latest(place) for place in range(len(self.pieces))]
        red, begins = self.calendar.red, self.search.root().ready.min()
        to_come = red.lengths[np.isfinite(red.starts) & (red.starts > begins)]  # one that stands is no usual one
        self._usual_red_s = float(np.median(to_come)) if to_come.size else 0.0

    @property
    def decides(self) -> bool:
        """There is a run that may be left out for the sake of a must."""
        return any(latest is not None for latest in self.latest)

    def _is_must(self, piece: Piece) -> bool:
        model = self.search.model
        return any(model.choices[model.runs.index(run)].want == "must" for run in piece.runs)

    def _is_optional(self, piece: Piece) -> bool:
        model = self.search.model
        choices = [model.choices[model.runs.index(run)] for run in piece.runs]
        named = {choice.same_as for choice in model.choices}
        return all(one.want != "must" and one.group is None and one.run not in named for one in choices)

    def _latest(self, place: int) -> float | None:
        """Until when it goes for this piece; None where no must hangs on that."""
        behind = [piece for piece in self.pieces[place + 1 :] if self._is_must(piece)]
        piece = self.pieces[place]
        if not behind or not self._is_optional(piece):
            return None
        *others, last = behind
        needed = sum((one.length + one.work for one in others), piece.length + piece.work)
        marks = last.until_mark[-1]
        needed = needed + (marks[-1] if len(marks) else last.length)
        return float(np.quantile(self.calendar.session_end - needed, 1.0 - self.confidence))

    def driven(self, *, looks: bool) -> list[tuple[int, Floats]]:
        """By run, the share of its worth that is done in each future; ``looks``: runs may be left out or given up."""
        ready, found = self.search.root().ready[0], list[tuple[int, Floats]]()
        for piece, latest in zip(self.pieces, self.latest, strict=True):
            driven = drive(piece, ready[None, :], self.calendar)
            parked, counts = driven.parked[0], [count[0] for count in driven.counts]
            after = parked + piece.work
            if looks and latest is not None:
                after, counts = self._decided(piece, latest, ready, after, counts)
            found += [(part.run, part.shares[count]) for part, count in zip(piece.parts, counts, strict=True)]
            ready = after
        return found

    def _decided(
        self, piece: Piece, latest: float, ready: Floats, after: Floats, counts: Sequence[Counts]
    ) -> tuple[Floats, list[Counts]]:
        """When the car is ready for what follows, and what of the piece is done."""
        begins, ends = self._flag_after(ready)
        leaves = np.where(begins <= ready, ends, ready)
        left_out = (leaves > latest) & (not piece.chain.under_way)
        begins, _ = self._flag_after(leaves)
        cut = ~left_out & (begins > leaves) & (begins < leaves + piece.length)
        sent_back = begins + piece.chain.durations[-1]
        given_up = cut & (sent_back + self._usual_red_s > latest)
        lap_ends = piece.chain.durations.cumsum(axis=0)
        done = []
        for part, count in zip(piece.parts, counts, strict=True):
            by_then = (leaves + lap_ends[list(part.marks)] <= begins).sum(axis=0)
            done.append(np.where(left_out, 0, np.where(given_up, np.minimum(by_then, count), count)))
        after = np.where(given_up, np.minimum(sent_back + piece.work, after), after)
        return np.where(left_out, ready, after), done

    def _flag_after(self, moment: Floats) -> tuple[Floats, Floats]:
        """Beginning and end of the first red flag that is not over by then; infinity where none comes."""
        red = self.calendar.red
        row = (red.ends <= moment).sum(axis=0)  # the last row is infinity
        futures = np.arange(moment.size)
        return red.starts[row, futures], red.ends[row, futures]
