"""When the forecast is asked for advice, what becomes of its answer, and the ladder under a red flag.

Asked is when a must is in danger, when a red flag comes and when it is over, when the desk changed the plan, when a car
is about to leave for what is optional while a must behind it is not sure enough, and when somebody asks; never
otherwise. What it advises only waits: nothing happens without ``adopt``. A proposal is withdrawn as soon as taking it
would do something else than what was shown.
"""

from __future__ import annotations

from collections.abc import Mapping

from pitwall.engine import advising_offers as offered
from pitwall.engine.advising_late_red import too_late_rung
from pitwall.engine.advising_offers import AdviceOffer
from pitwall.engine.advising_question import RUNG_S, RUNGS, question
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.forecasts import Questions
from pitwall.engine.must_watch import MustWatch, Remedy
from pitwall.engine.plan_desk import Settled
from pitwall.engine.remedy_words import Sureness, remedy
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.advice import AdviceAnswer, LadderStep
from pitwall.model.events import AdviceReady, ForecastReady
from pitwall.model.outputs import AdviceState, AdviceWanted, LadderState, Output, Rung, Status
from pitwall.model.setup import SessionSetup

IN_DANGER, RED, RED_OVER, BY_DESK = "musts in danger", "red flag", "red flag over", "the plan was changed"
LEAVES = "about to leave, with a must behind"
LEAVES_S = 40.0
"""So long before it is expected to leave: the search takes its time, and so does the desk."""
AGAIN_S, MOVED_ON_S = 300.0, 60.0
"""While a must stays in danger and nobody answered, advice is worked out anew this often; sooner when runs moved on,
but not within a minute."""
OVER: tuple[Status, ...] = ("finished", "closed")
PITWALL = "pitwall"


class Advising:
    """Mutable. One for the session: a question concerns all cars of the team."""

    def __init__(self, setup: SessionSetup) -> None:
        self._setup = setup
        self.musts = MustWatch()
        self.awaited: AdviceWanted | None = None
        self.offers: list[AdviceOffer] = []
        self.settled: dict[str, Settled] = {}
        self.turned_down: set[tuple[str, ...]] = set()
        self._state: AdviceState | None = None
        self._ladder: LadderState | None = None
        self._red_of: float | None = None
        self._ended: LadderState | None = None
        self._number = self._told = 0
        self._wish: str | None = None
        self._asked_for, self._asked_t = "", float("-inf")
        self._asked_at: tuple[object, ...] = ()
        self._status: Status = "waiting"
        self._moved: tuple[object, ...] = ()
        self._musts: dict[str, float] = {}
        self._looked: dict[str, object] = {}

    # -- what makes it ask ------------------------------------------------------------------------------------------

    def wish(self, why: str) -> None:
        """Ask at the next moment; a person who asks goes before what only happened."""
        self._wish = why

    def forecast(
        self, event: ForecastReady, questions: Questions, team: dict[str, TeamCar], alerts: AlertBook,
        clock: SessionClock, now: float,
    ) -> list[Output]:
        """The forecaster answered: publish it, watch the musts, and ask for advice where one is in danger."""
        found: list[Output] = []
        before = set(self.musts.danger)
        for state in questions.answered(event, team, now):
            found.append(state)
            self._musts[state.car] = state.outlook.musts_chance
            found += self.musts.look(state.outlook, alerts, self._setup.forecast, clock.alert_status, now)
        fresh = self.musts.danger - before
        if before and not self.musts.danger and self._asked_for == IN_DANGER:
            self._settle_all("withdrawn", PITWALL, now, "the musts fit again")
            found += self._show(now)
        lost = now >= self._asked_t + AGAIN_S  # whoever searched failed: no answer will come
        if self.musts.danger and (self.awaited is None or lost) and clock.status not in (*OVER, "red"):
            patience_s = MOVED_ON_S if self._asked_at != offered.situation(team) else AGAIN_S
            if fresh or now >= self._asked_t + patience_s:
                self._wish = self._wish or IN_DANGER
        return found

    # -- after every fact -------------------------------------------------------------------------------------------

    def follow(self, clock: SessionClock, team: dict[str, TeamCar], alerts: AlertBook, now: float) -> list[Output]:
        """Keep what stands true, and ask what is to be asked."""
        found = self._follow_status(clock, now)
        moved = tuple([_moved(car) for car in team.values()])
        if moved != self._moved:
            self._moved = moved
            found += self._follow_plans(team, alerts, now)
            if clock.status == "red" and self.awaited is None and self._asked_at != offered.situation(team):
                self._wish = self._wish or RED  # a car came in, or its run was cut: the ladder stands on other ground
        if self.awaited is None and clock.status not in (*OVER, "red", "waiting"):
            self._look_at_who_leaves(team, now)
        if self._wish is None or not team or clock.status in OVER:
            self._wish = None
            return found
        return [*found, *self._ask(clock, team, now)]

    def _look_at_who_leaves(self, team: dict[str, TeamCar], now: float) -> None:
        """The last moment to leave out what is optional for a must behind it: looked at once for each leaving."""
        for name, car in team.items():
            if self._musts.get(name, 1.0) >= self._setup.forecast.confidence or car.track.on_track:
                continue
            if car.release_s is None or now < car.release_s - LEAVES_S:
                continue
            following, *behind = car.progress.rest() or (None,)
            if following is None or following.run.want == "must" or all(one.run.want != "must" for one in behind):
                continue
            leaving = (following.run.run, following.leavings)
            if self._looked.get(name) != leaving:
                self._looked[name] = leaving
                self._wish = self._wish or LEAVES

    def _follow_status(self, clock: SessionClock, now: float) -> list[Output]:
        before, self._status = self._status, clock.status
        same, self._red_of = self._red_of == clock.since_s, clock.since_s if clock.status == "red" else self._red_of
        if before == clock.status:
            return []
        found: list[Output] = []
        if clock.status == "red":
            self._wish = RED
            found += self._ladder_again(now) if same else []  # what had ended it is taken back
            if not same:
                self.musts.red_s = now
                self.turned_down.clear()  # the day is another one
        elif before == "red":
            found += self._end_ladder(now)
            self._wish = RED_OVER
        if clock.status in OVER:
            self.awaited = None
            self._settle_all("withdrawn", PITWALL, now, f"the session is {clock.status}")
            found += self._show(now)
        return found

    def _follow_plans(self, team: dict[str, TeamCar], alerts: AlertBook, now: float) -> list[Output]:
        """Plans or runs moved on: what would now do something else than was shown is withdrawn."""
        stale = [offer for offer in self.offers if not offered.holds_still(team, offer)]
        for offer in stale:
            self.settled[offer.shown.id] = Settled("withdrawn", PITWALL, now, "the plan or its runs moved on")
            self.offers.remove(offer)
        if not stale:
            return []
        return [*self._show(now), *self.musts.advised(self._remedies(), alerts, now)]

    def _ask(self, clock: SessionClock, team: dict[str, TeamCar], now: float) -> list[Output]:
        why, self._wish = self._wish or "", None
        red_s = self.musts.red_s if clock.status == "red" else None
        asked = question(self._setup, clock, team, self._number + 1, red_s, now)
        if not asked.choices:
            return []
        self._number += 1
        self._asked_for, self._asked_t, self._asked_at = why, now, offered.situation(team)
        self.awaited = AdviceWanted(t=now, revision=self._number, question=asked)
        return [self.awaited]

    # -- the answer -------------------------------------------------------------------------------------------------

    def answered(
        self, event: AdviceReady, team: dict[str, TeamCar], alerts: AlertBook, clock: SessionClock, now: float
    ) -> list[Output]:
        """The adviser answered: of an older question, it is dropped; overtaken by the runs, it is asked anew."""
        asked = self.awaited
        if asked is None or event.revision != asked.revision:
            return []
        self.awaited = None
        if self._asked_at != offered.situation(team):
            self._wish = self._asked_for
            return []
        answer = event.answer
        kept = offered.offers_of(answer, team, self._number, self._setup, self._asked_for.startswith("asked"), now)
        kept = [offer for offer in kept if offer.mark not in self.turned_down or self._asked_for.startswith("asked")]
        self._replace(kept, now)
        found = self._show(now, answer, event.id)
        found += self.musts.advised(self._remedies(), alerts, now)
        if clock.status == "red":
            found += self._build_ladder(answer, team, clock, asked.t, now)
        return found

    def _replace(self, fresh: list[AdviceOffer], now: float) -> None:
        """New offers in the place of the old ones; one that is the same keeps its name."""
        known = {offer.mark: offer.shown.id for offer in self.offers}
        marks = {offer.mark for offer in fresh}
        for offer in self.offers:
            if offer.mark not in marks:
                self.settled[offer.shown.id] = Settled("replaced", PITWALL, now, "the forecast advises something else")
        self.offers = [offer.named(known.get(offer.mark, offer.shown.id)) for offer in fresh]

    def _remedies(self) -> dict[str, Remedy]:
        """By car in danger, what the best offer changes and brings."""
        if not self.offers:
            return {}
        best, as_planned = self.offers[0], self._state.musts_chance if self._state is not None else 0.0
        chance = best.shown.musts_chance
        sure = None if chance is None else Sureness(chance, as_planned)
        return {car: remedy(best, sure, car, list(self._setup.plans)) for car in self.musts.danger}

    def _settle_all(self, how: str, by: str, now: float, why: str) -> None:
        for offer in self.offers:
            self.settled[offer.shown.id] = Settled(how, by, now, why)
        self.offers = []

    # -- what is shown ----------------------------------------------------------------------------------------------

    def _show(self, now: float, answer: AdviceAnswer | None = None, because: str | None = None) -> list[Output]:
        """The advice as it stands; nothing when nothing stands and nothing stood."""
        self._told += 1
        before, asked = self._state, self._asked_for
        problem = None if answer is None or self.offers else offered.why_nothing(answer)
        told = problem is not None and (asked.startswith("asked") or bool(self.musts.danger))
        if not self.offers and not told:
            self._state = None
            gone = {"id": f"advice-{self._told}-over", "t": now, "active": False, "proposals": (), "because": because}
            return [] if before is None else [before.model_copy(update=gone)]
        chance = answer.as_planned.musts_chance if answer is not None else before.musts_chance if before else 0.0
        self._state = AdviceState(
            id=f"advice-{self._told}", t=now, active=True, asked=asked, musts_chance=chance, problem=problem,
            proposals=tuple(offer.shown for offer in self.offers), exact=answer.exact if answer else True,
            because=because,
        )  # fmt: skip
        return [self._state]

    def _build_ladder(
        self, answer: AdviceAnswer, team: dict[str, TeamCar], clock: SessionClock, asked_t: float, now: float
    ) -> list[Output]:
        red_s = self.musts.red_s if self.musts.red_s is not None else asked_t
        rungs = [_rung(asked_t + step.restart_s, step, team, red_s) for step in answer.ladder]
        end = too_late_rung(team, clock, red_s, now)
        if end is not None and end.at_s < now + RUNG_S * RUNGS:
            rungs = [*(rung for rung in rungs if rung.at_s < end.at_s), end]
        if not rungs:
            return []
        self._told += 1
        self._ladder = LadderState(id=f"ladder-{self._told}", t=now, active=True, red_s=red_s, rungs=tuple(rungs))
        return [self._ladder]

    def _end_ladder(self, now: float) -> list[Output]:
        shown, self._ladder = self._ladder, None
        self._ended = shown
        if shown is None:
            return []
        return [shown.model_copy(update={"id": f"{shown.id}-over", "t": now, "active": False})]

    def _ladder_again(self, now: float) -> list[Output]:
        """The red flag that stands never ended: its ladder stands there as before, until the question that is asked
        now is answered."""
        if self._ended is None:
            return []
        self._told += 1
        self._ladder = self._ended.model_copy(update={"id": f"ladder-{self._told}", "t": now})
        return [self._ladder]

    def stop_showing(self, offer: AdviceOffer, how: str, by: str, now: float, because: str) -> list[Output]:
        """A person answered an offer. Adopted, the others go as well: they were made for the plan as it was."""
        self.settled[offer.shown.id] = Settled(how, by, now)
        self.offers.remove(offer)
        if how == "adopted":
            self._settle_all("replaced", PITWALL, now, f"{offer.shown.id} was adopted by {by}")
        return self._show(now, because=because)

    def standing(self) -> list[Output]:
        """What is retained."""
        return [one for one in (self._state, self._ladder) if one is not None]

    def open_wishes(self) -> list[Output]:
        """The question that a restarted host must ask again."""
        return [] if self.awaited is None else [self.awaited]


def _moved(car: TeamCar) -> object:
    """What changes whenever a plan, or what of it can still be changed, moves on."""
    run = car.progress.current
    return (car.progress.revision, None if run is None else (run.run.run, run.pointer, run.timed_done))


def _rung(at_s: float, step: LadderStep, team: Mapping[str, TeamCar], red_s: float) -> Rung:
    best = step.best
    return Rung(
        restart_s=round(at_s - red_s, 3), at_s=round(at_s, 3), musts_chance=best.musts_chance, sentence=best.sentence,
        lines=offered.brief_of(team, best.cars), work=step.pull_forward,
    )
