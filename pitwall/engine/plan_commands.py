"""The desk changes the plan: ``amend``, ``adopt``, ``decline``, ``switch_plan``. Each says who and why.

Two seats may ask at once. Who saw an older plan is told what was changed since and by whom; who asks for what holds
already hears so, and nothing is done twice.
"""

from __future__ import annotations

from pitwall.engine.amending import amended
from pitwall.engine.answers import Answer, Handler, Refusal
from pitwall.engine.differences import differences
from pitwall.engine.merging import merged
from pitwall.engine.plan_desk import Offer, Settled
from pitwall.engine.proposals import close, holds_still
from pitwall.engine.replan import DRY_ONLY, Taken, in_use, setup_now, states_of, take_plan, without_dry_only
from pitwall.engine.team import TeamCar
from pitwall.model.events import CommandGiven
from pitwall.model.plan import Alternate, Plan
from pitwall.model.units import clock_text


def demand_current(command: CommandGiven, car: TeamCar) -> None:
    """The desk saw the plan as it is, as far as people changed it.

    Raises:
        Refusal: naming who changed what since.
    """
    told = car.desk.since_in_words(command.revision) if command.revision is not None else ""
    if told:
        raise Refusal(f"the plan changed since revision {command.revision} ({told}): look at it and ask again")


def _why(command: CommandGiven, needed_for: str) -> str:
    why = (command.text or "").strip()
    if not why:
        raise Refusal(f"{needed_for} needs its reason in 'text'")
    return why


def _amend(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    if not command.changes:
        raise Refusal("name what is to change in 'changes'")
    why = _why(command, "a change of the plan")
    desk = car.desk
    seen = len(desk.changes) - len(desk.since(command.revision)) if command.revision is not None else len(desk.changes)
    if command.changes in desk.asked[seen:]:
        return Answer(f"holds already: {_last_by(car, command)}")
    before = in_use(car)
    try:
        new = amended(before, states_of(car), setup_now(car), command.changes)
    except Refusal:
        demand_current(command, car)  # a change that no longer fits because of another is told as that
        raise
    if new == before:
        return Answer("the plan is so already")
    demand_current(command, car)
    taken = take_plan(car, new, now, f"{command.by}: {why}")
    return Answer(_told(differences(before, in_use(car)), taken), plan_changed=True)


def _last_by(car: TeamCar, command: CommandGiven) -> str:
    """Who had asked for the same, and what it did."""
    change = car.desk.changes[max(at for at, asked in enumerate(car.desk.asked) if asked == command.changes)]
    return f"{change.what}, by {change.by} at {clock_text(change.t)}"


def _told(lines: tuple[str, ...], taken: Taken) -> str:
    crew = (taken.crew,) if taken.crew is not None else ()
    return "; ".join((*lines, *taken.left, *crew)) or "nothing that can still be changed"


# -- proposals ---------------------------------------------------------------------------------------------------------


def _adopt(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    if _answered_before(command, car, "adopted"):
        return Answer(f"{command.proposal} is adopted already, by {car.desk.settled[command.proposal or ''].by}")
    desk, offer = car.desk, _declined(command, car) or car.desk.offer
    assert offer is not None
    demand_current(command, car)
    before = in_use(car)
    taken = take_plan(car, offer.plan, now, f"{offer.shown.source}, adopted by {command.by}")
    desk.base[offer.alternate] = desk.latest[offer.alternate]
    desk.offer, desk.declined = offer, None
    outputs = close(car, "adopted", command.by, now, command.id)
    told = _told(differences(before, in_use(car)), taken)
    return Answer(f"{offer.shown.source} adopted: {told}", tuple(outputs), plan_changed=True)


def _decline(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    if _answered_before(command, car, "declined"):
        return Answer(f"{command.proposal} is declined already, by {car.desk.settled[command.proposal or ''].by}")
    offer = car.desk.offer
    assert offer is not None
    car.desk.declined = offer
    outputs = close(car, "declined", command.by, now, command.id)
    told = f"the plan stays; a changed file is proposed anew; to take this one after all: {_after_all(offer.shown.id)}"
    return Answer(f"{offer.shown.source} declined: {told}", tuple(outputs))


def _after_all(name: str) -> str:
    return f"'adopt' with proposal={name} and why in 'text'"


def _declined(command: CommandGiven, car: TeamCar) -> Offer | None:
    """The proposal meant, when it was declined and may be taken after all: by its name and with a reason, so that
    nobody overrules another seat who only answered a moment later."""
    offer = car.desk.declined
    if offer is None or offer.shown.id != command.proposal or not (command.text or "").strip():
        return None
    return offer if car.desk.offer is None and holds_still(car, offer) else None


def _answered_before(command: CommandGiven, car: TeamCar, how: str) -> bool:
    """True when the proposal meant was answered so already.

    Raises:
        Refusal: when none stands, another one stands, or it was answered otherwise.
    """
    desk, name = car.desk, command.proposal
    known = desk.settled.get(name) if name is not None else None
    if known is not None and known.how == how:
        return True
    if known is not None and how == "adopted" and _declined(command, car) is not None:
        return False
    if known is not None:
        raise Refusal(_otherwise(str(name), known, car))
    if desk.offer is None:
        raise Refusal(f"no proposal waits for car {car.car}{_last_declined(car)}")
    if name is not None and name != desk.offer.shown.id:
        raise Refusal(f"no proposal {name!r} for car {car.car}; {desk.offer.shown.id} waits")
    return False


def _otherwise(name: str, known: Settled, car: TeamCar) -> str:
    """Why the proposal that a seat saw cannot be answered so, who made that so, and what to do."""
    offer, told = car.desk.offer, f"the changed plan that you saw ({name}) was {known.how} at {clock_text(known.t)}"
    if known.how == "adopted":
        return f"{told} by {known.by}"
    if known.how == "declined":
        return f"{told} by {known.by}{_way_back(name, car)}"
    why = f" ({known.why})" if known.why else ""
    if offer is None:
        return f"{told}{why}: it changes nothing any more"
    return f"{told}{why}: look at the one that waits now (p in watch; {offer.shown.id}) and answer that"


def _way_back(name: str, car: TeamCar) -> str:
    offer = car.desk.declined
    if offer is None or offer.shown.id != name or car.desk.offer is not None or not holds_still(car, offer):
        return ", and the plan or its file has changed since: save the file with the change that is wanted"
    return f"; to take it after all: {_after_all(name)}"


def _last_declined(car: TeamCar) -> str:
    offer = car.desk.declined
    if offer is None:
        return ""
    known = car.desk.settled[offer.shown.id]
    return f"; {offer.shown.id} was declined at {clock_text(known.t)} by {known.by}{_way_back(offer.shown.id, car)}"


# -- alternates --------------------------------------------------------------------------------------------------------


def _switch_plan(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    desk, wished = car.desk, command.alternate
    known = [kind for kind in ("dry", "wet", "short") if kind == "dry" or kind in desk.latest]
    if wished is None:
        raise Refusal(f"say which plan in 'alternate': {', '.join(known)}")
    if wished not in known:
        raise Refusal(f"car {car.car} has no {wished} plan (there are: {', '.join(known)})")
    target: Alternate | None = wished if wished in desk.latest else None
    wet = {"wet": True, "dry": False}.get(wished, car.switches.wet)
    if target == desk.driven and wet == car.switches.wet:
        return Answer(f"car {car.car} is on its {wished} plan already")
    why = _why(command, "another plan")
    demand_current(command, car)
    return _go_over(car, target, wished, wet, f"{command.by}: {why}", now, command.id)


def _go_over(
    car: TeamCar, target: Alternate | None, wished: str, wet: bool, why: str, now: float, because: str
) -> Answer:
    desk, before = car.desk, in_use(car)
    outputs = close(car, "withdrawn", "pitwall", now, because)
    desk.aside[desk.driven] = before
    file = desk.latest[target]
    base = desk.base.get(target, file)
    plan = merged(base, file, desk.aside.get(target, base))
    desk.base[target], desk.driven = file, target
    if wet != car.switches.wet:
        car.holds.comparable_t = now
    car.switches.wet = wet
    plan, wet_out = without_dry_only(plan) if wet else (plan, ())
    reasons = dict.fromkeys(wet_out, f"{DRY_ONLY} ({why})")
    taken = take_plan(car, _with_what_was_driven(car, plan), now, f"not in the {wished} plan ({why})", reasons)
    told = _told(_runs_told(before, in_use(car)), taken)
    return Answer(f"the {wished} plan is driven: {told}", tuple(outputs), plan_changed=True)


def _runs_told(before: Plan, after: Plan) -> tuple[str, ...]:
    """Which runs come and go between two plans: what differs inside them is in the plan state."""
    gone = [run.run for run in before.runs if after.find(run.run) is None]
    new = [run.run for run in after.runs if before.find(run.run) is None]
    return tuple(f"{word} {', '.join(names)}" for word, names in (("new:", new), ("left out:", gone)) if names)


def _with_what_was_driven(car: TeamCar, plan: Plan) -> Plan:
    """Runs that are done, or on track, stay as they were driven, whatever the other plan says of them."""
    states = states_of(car)
    driven = {run.run: run for run in in_use(car).runs if states[run.run].state in ("done", "skipped")}
    return plan.model_copy(update={"runs": tuple(driven.get(run.run, run) for run in plan.runs)})


HANDLERS: dict[str, Handler] = {
    "amend": _amend,
    "adopt": _adopt,
    "decline": _decline,
    "switch_plan": _switch_plan,
}
