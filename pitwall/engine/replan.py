"""The plan in use, and a changed plan taken over into the running session.

Every change goes the same way, whoever asks for it: a new plan is made beside the one in use (``amending.py`` from the
desk's changes, ``proposals.py`` from a file), compared with it (``differences.py``), and taken over here, run by run
(``refit.py``). Calls, switch wishes and forecast follow from the changed state by themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitwall.engine.crew import Upcoming, hold_for_crew, tell_anew, upcoming
from pitwall.engine.refit import as_it_stands, end_without_resuming, refit
from pitwall.engine.run_state import RunState, item_states
from pitwall.engine.team import TeamCar
from pitwall.model.plan import Plan, Run
from pitwall.model.setup import SessionSetup

DRY_ONLY = "it is for the dry only"


@dataclass(frozen=True)
class Taken:
    """What there is to know of a plan that was taken over: what could not be changed, and when the car may leave."""

    left: tuple[str, ...]
    crew: str | None


def in_use(car: TeamCar) -> Plan:
    """The plan as it stands: with every change that was made to it, without the runs and items that were dropped."""
    runs = tuple(as_it_stands(state) for state in car.progress.runs if state.state != "dropped")
    return car.plan.model_copy(update={"runs": runs})


def states_of(car: TeamCar) -> dict[str, RunState]:
    """How each run stands, by name."""
    return {state.run.run: state for state in car.progress.runs}


def setup_now(car: TeamCar) -> SessionSetup:
    """What the car's session was set up with, in the weather for which it is driven now."""
    return car.setup.model_copy(update={"wet": car.switches.wet})


def without_dry_only(plan: Plan) -> tuple[Plan, tuple[str, ...]]:
    """The plan without the runs that make sense in the dry only, and their names."""
    out = tuple(run.run for run in plan.runs if run.dry_only)
    return plan.model_copy(update={"runs": tuple(run for run in plan.runs if not run.dry_only)}), out


def takes(car: TeamCar, new: Plan) -> Plan:
    """What is left of a changed plan once what cannot be changed any more is put back; nothing is touched."""
    runs: list[Run] = []
    states = states_of(car)
    for run in new.runs:
        state = states.get(run.run)
        if state is not None and (state.state != "dropped" or state.start_t is not None):
            trial = _copy(state)
            refit(trial, run, 0.0, "")
            if trial.state != "dropped":
                runs.append(as_it_stands(trial))
        else:
            runs.append(run)
    names = {run.run for run in new.runs}
    begun = [state for state in car.progress.runs if state.run.run not in names and state.state in ("done", "running")]
    return new.model_copy(update={"runs": (*(as_it_stands(state) for state in begun), *runs)})


def _copy(state: RunState) -> RunState:
    copied = RunState(**{name: getattr(state, name) for name in RunState.__dataclass_fields__})
    copied.highest = state.highest
    copied.items = [type(item)(**vars(item)) for item in state.items]
    return copied


def left_out(car: TeamCar, new: Plan) -> tuple[str, ...]:
    """What of a changed plan cannot be taken now, a sentence each; nothing is touched."""
    found: list[str] = []
    states = states_of(car)
    for run in new.runs:
        state = states.get(run.run)
        if state is None:
            continue
        if state.state == "dropped" and state.start_t is not None:
            found.append(_given_up(run.run))
        elif state.state != "dropped":
            found += refit(_copy(state), run, 0.0, "")
    names = {run.run for run in new.runs}
    for state in car.progress.runs:
        if state.run.run not in names and state.state == "running":
            found.append(f"run {state.run.run} is on track: it ends when the car comes in")
    return tuple(found)


def _given_up(name: str) -> str:
    return f"run {name} was driven in part and dropped: give it another name to do it again"


def take_plan(car: TeamCar, new: Plan, now: float, why: str, reasons: dict[str, str] | None = None) -> Taken:
    """Take a changed plan over.

    Args:
        car: whose plan it is; changed in place.
        new: the whole plan as it is to be.
        now: session second.
        why: the reason given to runs and items that fall out.
        reasons: a reason of its own for some runs that fall out, by name.
    """
    before, wanted_before = upcoming(in_use(car), states_of(car)), _wanted(car)
    called_in = car.progress.current is not None and car.progress.current.expected_kind == "in"
    left = _rearrange(car, new, now, why, reasons or {})
    everything = tuple(state.run for state in car.progress.runs)
    car.plan = new.model_copy(update={"runs": everything})
    car.progress.plan = car.switches.plan = car.plan
    if called_in and car.progress.current is not None and car.progress.current.expected_kind != "in":
        car.track.move("let_run")
    after = upcoming(in_use(car), states_of(car))
    crew = hold_for_crew(car, before, after, now)
    _follow_garage_calls(car, before, after, wanted_before, now, moved=crew is not None)
    return Taken(tuple(left), crew)


def _wanted(car: TeamCar) -> dict[str, object]:
    following = car.progress.next
    return dict(car.switches.wanted(following, 0)) if following is not None else {}


def _follow_garage_calls(
    car: TeamCar, before: Upcoming | None, after: Upcoming | None, wanted_before: dict[str, object], now: float,
    *, moved: bool,
) -> None:
    following = car.progress.next
    if following is None or after is None or car.track.on_track:
        return
    other_run = before is None or before.run != after.run
    brief = other_run or before is None or before.told != after.told
    tell_anew(car, following, brief=brief, check=other_run or _wanted(car) != wanted_before, release=moved)
    if other_run or brief:
        car.since_s = now


def _rearrange(car: TeamCar, new: Plan, t: float, why: str, reasons: dict[str, str]) -> list[str]:
    states, left, order = states_of(car), [], list[RunState]()
    for run in new.runs:
        state = states.get(run.run)
        if state is None or (state.state == "dropped" and state.start_t is None):
            order.append(RunState(run, run.laps, items=item_states(run, run.laps)))
        elif state.state == "dropped":
            left.append(_given_up(run.run))
        else:
            left += refit(state, run, t, why)
            order.append(state)
    kept = {state.run.run for state in order}
    previous: str | None = None
    for state in car.progress.runs:
        name = state.run.run
        if name not in kept:
            told = end_without_resuming(state, t, reasons.get(name, why))
            left += [told] if told else []
            names = [one.run.run for one in order]
            order.insert(names.index(previous) + 1 if previous is not None else 0, state)
            kept.add(name)
        previous = name
    car.progress.rearrange(order, t)
    return left
