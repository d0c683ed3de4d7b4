"""Changed plans that wait for a person: made when a plan file was read, kept in line with the session, taken or not.

A proposal shows what would change *now*: when the plan or the state of its runs moves on, it is made anew under another
id, so nobody takes what they did not see. One that changes nothing any more is withdrawn.
"""

from __future__ import annotations

from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.crew import notice, upcoming
from pitwall.engine.differences import differences
from pitwall.engine.merging import merged
from pitwall.engine.plan_desk import Offer, Settled
from pitwall.engine.plan_guards import promises_broken
from pitwall.engine.replan import in_use, left_out, states_of, takes, without_dry_only
from pitwall.engine.team import TeamCar
from pitwall.model.events import PlanFileRead
from pitwall.model.outputs import Output, Proposal, Status
from pitwall.model.plan import Plan

NOTHING_LEFT = "nothing that can still be changed"
PITWALL = "pitwall"


def file_read(event: PlanFileRead, car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """The daemon found a plan file changed: propose what it changes, or raise an alert that it cannot be used."""
    desk, detail = car.desk, event.alternate or ""
    outputs = alerts.over("plan_file", car.car, now, detail)
    problem = event.problem
    if event.plan is not None and event.plan.car != car.car:
        problem = f"{event.file}: it is the plan of car {event.plan.car}, expected car {car.car}"
    if event.plan is None or problem is not None:
        text = problem or f"{event.file} cannot be read"
        outputs += alerts.hold("plan_file", car.car, text, now, status, detail)
        if desk.offer is not None and desk.offer.alternate == event.alternate:
            outputs += close(car, "withdrawn", PITWALL, now, event.id)
        return outputs
    desk.latest[event.alternate] = event.plan
    if event.alternate != desk.driven:
        return outputs  # the next switch_plan goes to it as it is now
    return outputs + _propose(car, event.file, event.warnings, now, event.id, f"{event.file} was saved again")


def wanted_by_file(car: TeamCar) -> Plan:
    """The plan in use with the changes of its file put on it."""
    desk = car.desk
    plan = merged(desk.base[desk.driven], desk.latest[desk.driven], in_use(car))
    return without_dry_only(plan)[0] if car.switches.wet else plan


def would_change(car: TeamCar, plan: Plan, doubts: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
    """What this plan would change now, and what to think of; None when nothing."""
    lines, missed = differences(in_use(car), takes(car, plan)), left_out(car, plan)
    if not lines and not missed:
        return None
    return lines or (NOTHING_LEFT,), (*missed, *_warnings(car, plan), *doubts)


def holds_still(car: TeamCar, offer: Offer) -> bool:
    """True while taking this proposal, declined or not, would do exactly what was shown of it."""
    if offer.alternate != car.desk.driven:
        return False
    return would_change(car, wanted_by_file(car), offer.doubts) == (offer.shown.lines, offer.shown.warnings)


def _propose(car: TeamCar, source: str, doubts: tuple[str, ...], now: float, because: str, why: str) -> list[Output]:
    """Show what would change; a proposal that stands makes room."""
    plan = wanted_by_file(car)
    would = would_change(car, plan, doubts)
    if would is None:
        return close(car, "withdrawn", PITWALL, now, because, why)
    desk, before, (shown, warnings) = car.desk, car.desk.offer, would
    if before is not None and (before.shown.lines, before.shown.warnings) == would:
        return []
    if before is not None:
        desk.settled[before.shown.id] = Settled("replaced", PITWALL, now, why)
    desk.offers += 1
    proposal = Proposal(
        id=f"{car.car}-plan-{desk.offers}", t=now, car=car.car, active=True, source=source, lines=shown,
        warnings=warnings, plan_revision=car.progress.revision, because=because,
    )  # fmt: skip
    desk.offer = Offer(proposal, desk.driven, plan, doubts)
    return [proposal]


def _warnings(car: TeamCar, plan: Plan) -> list[str]:
    """What to think of before this plan is taken."""
    used, states = in_use(car), states_of(car)
    found = [
        f"{run.run} falls out, and it is a must"
        for run in used.runs
        if run.want == "must" and plan.find(run.run) is None and states[run.run].state in ("planned", "next", "cut")
    ]
    running = car.progress.current
    if running is not None:
        new, old = plan.find(running.run.run), used.find(running.run.run)
        if new is not None and new != old:
            found.append(f"it changes {running.run.run}, which is on track")
    seconds, what = notice(car.setup.crew, upcoming(used, states), upcoming(plan, states))
    if seconds > 0:
        found.append(f"the crew needs {seconds:g} s for {what}")
    found += sorted(promises_broken(plan, states) - promises_broken(used, states))
    base = car.desk.base[car.desk.driven]
    if plan.starts_with != base.starts_with:
        found.append("starts_with is read when the session is prepared: it changes nothing now")
    if plan.alternates != base.alternates:
        found.append("alternates are read when the daemon starts: they change nothing now")
    return found


def follow(car: TeamCar, status: Status, now: float) -> list[Output]:
    """The plan or its runs moved on: keep the proposal true, or withdraw it."""
    offer = car.desk.offer
    if offer is not None and status == "closed":
        return close(car, "withdrawn", PITWALL, now, offer.shown.because or "")
    if offer is None or offer.shown.plan_revision == car.progress.revision:
        return []
    why = car.desk.since_in_words(offer.shown.plan_revision) or "the runs moved on"
    outputs = _propose(car, offer.shown.source, offer.doubts, now, offer.shown.because or "", why)
    if not outputs and car.desk.offer is offer:
        kept = offer.shown.model_copy(update={"plan_revision": car.progress.revision})
        car.desk.offer = Offer(kept, offer.alternate, wanted_by_file(car), offer.doubts)
    return outputs


def close(car: TeamCar, how: str, by: str, now: float, because: str, why: str = "") -> list[Output]:
    """The proposal that stands is over: adopted, declined or withdrawn. Its topic is cleared."""
    offer = car.desk.offer
    if offer is None:
        return []
    car.desk.offer = None
    car.desk.settled[offer.shown.id] = Settled(how, by, now, why)
    return [offer.shown.model_copy(update={"active": False, "t": now, "because": because})]
