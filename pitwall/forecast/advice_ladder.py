"""Under a red flag: the best plan for each moment at which the session may go on, and work to pull forward.

Each step holds the calendar of a session that goes on then and not earlier; what was drawn for the runs stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_look import Search, bolder, look
from pitwall.forecast.advice_outcome import Effort, TeamPlan
from pitwall.forecast.advice_telling import told, unreached_of
from pitwall.forecast.advice_words import NOTABLE, Wording, percent
from pitwall.forecast.calendar import Calendar, Spans
from pitwall.forecast.draws import stream
from pitwall.forecast.futures import CALENDAR_STREAM
from pitwall.forecast.interruptions import draw_calendar
from pitwall.model.advice import LadderStep

WORTH_SAYING = 0.1
"""Work that brings less is left where it is: a tenth of a could (a choice of ours)."""

RUNG = Effort(2000, 5000, 300, 10)
"""What the search for one restart may take: it begins with the best plan of the step before."""

STOPS_AHEAD = 2
"""So many of a car's next stops are looked at."""


def ladder(desk: Desk, search: Search, wording: Wording) -> tuple[LadderStep, ...]:
    """One step for each restart of the question; none when the session is not stopped."""
    if desk.question.snapshot.status != "red":
        return ()
    found, known = [], [] if search.outcome.best is None else [search.outcome.best.sequels]
    for restart in desk.question.restart_s:
        team = desk.team(calendar_from(desk, restart), effort=RUNG)
        step = bolder(desk, look(desk, team, team.judge(desk.as_it_stands), tuple(known)))
        best = step.outcome.best if step.outcome.best is not None else step.base
        known = [best.sequels]
        proven = step.outcome.exact and step.outcome.best is not None
        sentence = wording.sentence(best, step.base, unreached_of(desk.question, step), proven)
        found.append(LadderStep(restart_s=restart, best=told(desk, best, sentence),
                                pull_forward=pull_forward(desk, step, best, restart, wording)))
    return tuple(found)


def calendar_from(desk: Desk, restart_s: float) -> Calendar:
    """The futures of a session that is stopped now and goes on ``restart_s`` seconds from now."""
    snapshot, count = desk.question.snapshot, desk.question.futures
    stops = snapshot.red_clock == "stops"
    later = snapshot.model_copy(update={
        "t": snapshot.t + restart_s, "status": "green", "futures": count,
        "remaining_s": max(snapshot.remaining_s - (0.0 if stops else restart_s), 0.0),
    })
    calendar = draw_calendar(stream(desk.question.seed, CALENDAR_STREAM), later)
    now, then = np.full((1, count), snapshot.t), np.full((1, count), snapshot.t + restart_s)
    red = Spans(np.concatenate([now, calendar.red.starts]), np.concatenate([then, calendar.red.ends]))
    if not calendar.windows or not stops:
        return Calendar(red, calendar.slow, calendar.session_end, calendar.windows)
    (begin, flag), *rest = calendar.windows
    windows = ((begin, flag + restart_s), *rest)
    return Calendar(red, calendar.slow, windows[-1][1], windows)


@dataclass(frozen=True)
class _Offer:
    """Work of one stop pulled forward, and what comes of it with one plan."""

    gain: float
    after: TeamPlan
    plan: TeamPlan
    number: int
    place: int
    lasts_s: float
    chance: float


def pull_forward(desk: Desk, step: Search, best: TeamPlan, restart_s: float, wording: Wording) -> str | None:
    """The work of a later stop that is best done while the cars stand, when that brings enough: with the step's best
    plan, or with the plan as it stands, which may fit again by it."""
    plans = [best] if best.sequels == step.base.sequels or desk.broken else [best, step.base]
    ends = desk.question.snapshot.t + restart_s
    offers = [offer for plan in plans for offer in _offers(desk, step, plan, best, ends)]
    best_offer = max(offers, key=lambda one: (round(one.gain, 6), -one.number, -one.place), default=None)
    if best_offer is None or best_offer.gain < WORTH_SAYING:
        return None
    plan, number = best_offer.plan, best_offer.number
    piece = desk.models[number].pieces[plan.sequels[number][best_offer.place]]
    car, run = desk.models[number].car, wording.name(piece.runs[-1])
    who = f" ({', '.join(piece.crew)})" if piece.crew else ""
    sure = ""
    if best_offer.chance - best.chance >= NOTABLE:
        sure = f", all musts fit in {percent(best_offer.chance)} of futures"
    then = "" if plan is best else "; then keep to the plan as it stands"
    gained = wording.gained(best_offer.after, best)[:1] if not sure else []
    gain = f", {gained[0]}" if gained else ""
    return (f"Do now on car {car}, as far as it can be, the work after {run}{who}: it takes "
            f"{best_offer.lasts_s / 60:.0f} min that would be missing later{gain}{sure}{then}.")


def _offers(desk: Desk, step: Search, plan: TeamPlan, best: TeamPlan, ends: float) -> Iterator[_Offer]:
    """Each work of the cars' next stops that there is time for while they stand."""
    for number, (model, sequel) in enumerate(zip(desk.models, plan.sequels, strict=True)):
        if not sequel or desk.question.choices[model.pieces[sequel[0]].runs[0]].under_way:
            continue
        free = ends - max(step.team.ready(number), model.pieces[sequel[0]].earliest_s)
        for place, piece in enumerate(model.pieces[n] for n in sequel[: min(STOPS_AHEAD, len(sequel) - 1)]):
            lasts = float(np.median(piece.work))
            if 0 < lasts <= free:
                spared = tuple(place if other == number else -1 for other in range(len(desk.models)))
                after = step.team.judge(plan.sequels, spared)
                yield _Offer(after.net - best.net, after, plan, number, place, lasts, after.chance)
