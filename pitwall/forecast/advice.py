"""Which changed plan keeps most: the answer to an ``AdviceQuestion``.

All plans are driven through the same futures. ``advice_may_do`` says which pieces a car may do, ``advice_rules`` in
which order, ``advice_driving`` what comes of it; ``advice_search`` finds the best of one car, ``advice_team`` of all.
``advice_look`` says what to search for, ``advice_telling`` what to tell of it: the best plan, and the best of those
that do other runs and beat the plan as it stands. ``advice_ladder`` does all of it for each restart after a red flag.
"""

from __future__ import annotations

from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_ladder import ladder
from pitwall.forecast.advice_look import bolder, look
from pitwall.forecast.advice_outcome import FULL, Effort
from pitwall.forecast.advice_problems import standing
from pitwall.forecast.advice_telling import proposals, told, unreached_of
from pitwall.forecast.advice_words import Wording, percent
from pitwall.model.advice import Advice, AdviceAnswer, AdviceQuestion

BESIDE_LADDER = Effort(3000, 10_000, 1200, 20)
"""For the plan of the moment when a ladder is to follow: all of it has to stand some seconds after the red flag."""


def advise(question: AdviceQuestion) -> AdviceAnswer:
    """Find what to change. Pure: the same question gives the same answer, in any process.

    Args:
        question: What is left, and what may be changed of it.

    Returns:
        The plan as it stands and up to three proposals, best first. ``problem`` says what cannot be done; there are no
        proposals when nothing can. No input that the model admits raises.
    """
    if not question.snapshot.cars:
        nothing = Advice(cars=(), musts_chance=1.0, worth=0.0, sentence="There is no car to plan for.")
        return AdviceAnswer(as_planned=nothing, best=(), exact=True, bound=0.0, problem=standing(question).sentence)
    desk = Desk.of(question)
    team = desk.team(desk.calendar(), effort=BESIDE_LADDER if question.restart_s else FULL)
    base = team.judge(desk.as_it_stands)
    wording = Wording(desk.models)
    if desk.standing.fatal is not None:
        text = f"The plan as it stands: all musts fit in {percent(base.chance)} of futures."
        return AdviceAnswer(as_planned=told(desk, base, text), best=(), exact=True, bound=base.net,
                            problem=desk.standing.sentence, reachable=base.chance)
    search = bolder(desk, look(desk, team, base))
    problem = " ".join(one for one in (desk.standing.sentence, desk.broken) if one) or None
    unreached = unreached_of(question, search)
    best = proposals(desk, search, wording, unreached)
    return AdviceAnswer(
        as_planned=told(desk, base, wording.as_planned(base)),
        best=best,
        ladder=ladder(desk, search, wording),
        exact=search.outcome.exact,
        bound=round(search.outcome.bound + desk.after_flag_worth, 6),
        reachable=search.reachable,
        problem=problem,
    )
