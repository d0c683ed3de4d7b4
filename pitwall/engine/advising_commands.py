"""The desk and what the forecast advises: ``advise`` asks, ``adopt`` takes a proposal, ``decline`` turns it down.

Proposals of files are answered in ``plan_commands.py``. One of the forecast may change several cars: it is adopted for
all of them at once, or for none.
"""

from __future__ import annotations

from pitwall.engine import taking_back
from pitwall.engine.advising import Advising
from pitwall.engine.advising_offers import SOURCE, AdviceOffer, plans_of
from pitwall.engine.answers import Answer, Refusal
from pitwall.engine.hands import Hands
from pitwall.engine.must_watch import SAME_MOMENT_S, percent
from pitwall.engine.plan_commands import demand_current
from pitwall.engine.plan_desk import Settled
from pitwall.engine.replan import take_plan
from pitwall.model.events import CommandGiven
from pitwall.model.units import clock_text

CHANGES_THE_PLAN = frozenset({"extend", "shorten", "drop", "amend", "adopt", "switch_plan"})
"""After these of the desk the forecast is asked what it would advise now."""


def answer(command: CommandGiven, advising: Advising, hands: Hands, now: float) -> Answer | None:
    """Carry out a command on what the forecast advises; None for any other command.

    Raises:
        Refusal: with the reason in words.
    """
    car = hands.team[command.car]
    if command.command == "advise":
        return _advise(command, advising, hands)
    if command.command not in ("adopt", "decline"):
        return None
    if command.proposal is None and (car.desk.offer is not None or not advising.offers):
        return None
    if command.proposal is not None and command.proposal in advising.settled:
        return _answered_before(command, advising)
    offer = _meant(command, advising)
    if offer is None:
        return None
    if command.car not in offer.shown.cars:
        raise Refusal(f"{offer.shown.id} changes the plan of car {', '.join(offer.shown.cars)}: answer it there")
    if command.command == "decline":
        advising.turned_down.add(offer.mark)
        outputs = advising.stop_showing(offer, "declined", command.by, now, command.id)
        return Answer(f"{offer.shown.id} declined: the plan stays", tuple(outputs))
    return _adopt(command, offer, advising, hands, now)


def _advise(command: CommandGiven, advising: Advising, hands: Hands) -> Answer:
    if hands.clock.status in ("finished", "closed"):
        raise Refusal("the flag is out: nothing is left to be changed")
    if not any(car.progress.rest() for car in hands.team.values()):
        raise Refusal("no run is left: nothing can be advised")
    advising.wish(f"asked by {command.by}")
    return Answer("asked the forecast what it would change; the answer comes in some seconds")


def _meant(command: CommandGiven, advising: Advising) -> AdviceOffer | None:
    if command.proposal is not None:
        return next((offer for offer in advising.offers if offer.shown.id == command.proposal), None)
    ours = [offer for offer in advising.offers if command.car in offer.shown.cars]
    if len(ours) > 1:
        raise Refusal(f"say which in 'proposal': {', '.join(offer.shown.id for offer in ours)}")
    return ours[0] if ours else None


def _answered_before(command: CommandGiven, advising: Advising) -> Answer:
    name = command.proposal or ""
    known = advising.settled[name]
    if known.how == {"adopt": "adopted", "decline": "declined"}[command.command]:
        return Answer(f"{name} is {known.how} already, by {known.by}")
    raise Refusal(_otherwise(name, known, advising))


def _otherwise(name: str, known: Settled, advising: Advising) -> str:
    by = f" by {known.by}" if known.how in ("adopted", "declined") else f" ({known.why})" if known.why else ""
    waits = ", ".join(offer.shown.id for offer in advising.offers)
    after = f"; {waits} waits now" if waits else "; 'advise' asks anew"
    return f"{name} was {known.how} at {clock_text(known.t)}{by}{after}"


def _adopt(command: CommandGiven, offer: AdviceOffer, advising: Advising, hands: Hands, now: float) -> Answer:
    plans = plans_of(hands.team, offer)
    demand_current(command, hands.team[command.car])
    told = list(offer.shown.lines)
    before = {name: taking_back.before(hands.team[name], command, hands.team, now) for name in plans}
    for name in sorted(plans):
        car = hands.team[name]
        taken = take_plan(car, plans[name], now, f"{SOURCE}, adopted by {command.by}")
        more = (*taken.left, *((taken.crew,) if taken.crew is not None else ()))
        told += [f"car {name}: {words}" if len(plans) > 1 else words for words in more]
        if name != command.car:
            taking_back.note(hands, command.model_copy(update={"car": name}), before[name], True, now)
    outputs = advising.stop_showing(offer, "adopted", command.by, now, command.id)
    others = tuple(name for name in sorted(plans) if name != command.car)
    effect = f"{offer.shown.id} of the {SOURCE} adopted: {'; '.join([*told, *_reckoned(offer, now)])}"
    return Answer(effect, tuple(outputs), plan_changed=True, also=others)


def _reckoned(offer: AdviceOffer, now: float) -> list[str]:
    """What a proposal promised minutes ago need not hold any more, so it says of when it is; the forecast follows."""
    shown = offer.shown
    if shown.musts_chance is None or now - shown.t <= SAME_MOMENT_S:
        return []
    return [f"its {percent(shown.musts_chance)} for the musts was reckoned at {clock_text(shown.t)}, how it is now the "
            "forecast says next"]


def changed_by_desk(command: CommandGiven) -> bool:
    """Guard: the desk changed what is left of a plan."""
    return command.command in CHANGES_THE_PLAN

