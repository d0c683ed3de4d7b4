"""What each role of the crew has seen of a plan that changes: told by the role itself, from a phone in the garage."""

from __future__ import annotations

from pitwall.engine.answers import Answer, Refusal
from pitwall.engine.plan_guards import meant
from pitwall.engine.team import TeamCar
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import RoleSeen
from pitwall.model.plan import Plan


def roles(plan: Plan) -> tuple[str, ...]:
    """The roles of the crew that the plan's runs name, by name."""
    return tuple(sorted({role for run in plan.runs for role in run.crew}))


def seen(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    """``seen``: a role has seen the plan, as of the revision that was shown to it.

    Raises:
        Refusal: when no role is named, or one that the plan does not know.
    """
    known = roles(car.plan)
    if command.role is None:
        raise Refusal("name the role of the crew in 'role'")
    if command.role not in known:
        hint = meant(command.role, known) or (f": there are {', '.join(known)}" if known else ": its runs name none")
        raise Refusal(f"no role {command.role!r} in the plan of car {car.car}{hint}")
    shown = car.progress.revision if command.revision is None else min(command.revision, car.progress.revision)
    car.desk.seen[command.role] = RoleSeen(role=command.role, revision=shown, by=command.by, t=command.t)
    behind = len(car.desk.since(shown))
    return Answer(f"{command.role} has seen the plan" + (f" but for {behind} later changes" if behind else ""))


def of_roles(car: TeamCar) -> tuple[RoleSeen, ...]:
    """Each role of the plan, and what it has seen."""
    return tuple(car.desk.seen.get(role, RoleSeen(role=role)) for role in roles(car.plan))
