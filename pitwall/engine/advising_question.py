"""The question for advice: what is left of every car's plan, and what may be changed of each run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from pitwall.engine.advising_late_red import last_restart_s
from pitwall.engine.crew import Upcoming, notice, upcoming
from pitwall.engine.forecasts import snapshot
from pitwall.engine.plan_guards import run_faults
from pitwall.engine.progress import RunState
from pitwall.engine.refit import driven
from pitwall.engine.replan import in_use, setup_now, states_of
from pitwall.engine.run_state import legs_of
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.advice import AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity, CarSnapshot
from pitwall.model.plan import Plan, Run
from pitwall.model.setup import SessionSetup

RUNG_S, RUNGS = 240.0, 3
"""Under a red flag: restarts after 4, 8 and 12 min of it (most are over within 4 to 10 min); those ahead count."""
SEED_STRIDE = 1_000_003


def question(
    setup: SessionSetup, clock: SessionClock, team: Mapping[str, TeamCar], number: int, red_s: float | None, now: float
) -> AdviceQuestion:
    """Everything that the answer depends on.

    Args:
        setup: the session's.
        clock: the session's clock.
        team: our cars; each is laid out in time anew.
        number: of the question: other futures are drawn for each.
        red_s: when the red flag that stands came; None when there is none.
        now: session second.
    """
    cars = list(team.values())
    for car in cars:
        car.lay_out(clock, now)
    # Plans are compared as if everybody leaves as the pit exit opens: what they lose there is nearly the same for each.
    shot = snapshot(setup, clock, cars, now).model_copy(update={"reopening_s": 0.0})
    parts = {part.car: part for part in shot.cars}
    return AdviceQuestion(
        snapshot=shot,
        choices=tuple(choice for car in cars for choice in choices(car, parts[car.car], team, now)),
        confidence=setup.forecast.confidence,
        seed=setup.forecast.seed * SEED_STRIDE + number,
        restart_s=tuple(_in_time(restarts(now - red_s), cars, clock, now)) if red_s is not None else (),
    )


def restarts(stands_s: float) -> tuple[float, ...]:
    """The next restarts to plan for, seconds from now, under a red flag that has stood for so long."""
    first = int(stands_s // RUNG_S) + 1
    return tuple((first + rung) * RUNG_S - stands_s for rung in range(RUNGS))


def _in_time(restarts_s: tuple[float, ...], cars: list[TeamCar], clock: SessionClock, now: float) -> Iterator[float]:
    """Those of the restarts after which the session still goes on for long enough to drive anything."""
    last = last_restart_s(cars, clock, now)
    return (seconds for seconds in restarts_s if last is None or now + seconds < last)


def choices(car: TeamCar, part: CarSnapshot, team: Mapping[str, TeamCar], now: float) -> Iterator[RunChoice]:
    """What is left of one car's plan, in its order."""
    plan, states, rest = in_use(car), states_of(car), car.progress.rest()
    names = {state.run.run for state in rest}
    prepared = upcoming(plan, states)
    for state in rest:
        run, following = plan.find(state.run.run), state is not rest[-1]
        if run is None:
            continue
        origin, timed = plan.original(run), state.timed_wanted
        work = run.after_garage_s
        needed_s = 0.0 if state.state == "running" else notice(car.setup.crew, prepared, _as_upcoming(plan, run))[0]
        same_as = run.same_as if run.same_as in names else None
        yield RunChoice(
            run=run.run, car=car.car, want=run.want, value=run.value,
            activities=tuple(one for one in part.activities if one.run == run.run),
            work=Activity(run=None, kind="garage", low_s=work.low_s, likely_s=work.likely_s, high_s=work.high_s)
            if run.laps or following else None,
            crew=run.crew, timed=timed, done=min(state.timed_done, timed), fewest=fewest(state, run),
            under_way=state.state == "running", before=tuple(name for name in run.before if name in names),
            same_as=same_as, group=run.group, tyres=run.tyres or origin.tyres,
            equal_age_with=same_as if run.tyres is not None else None, tyre_laps_left=_tyre_laps_left(car, plan, run),
            not_before_s=run.release.not_before, not_after_s=run.release.not_after,
            ready_s=now + needed_s if needed_s > 0 else None, after_flag=run.after_flag is not None,
            merges_with=tuple(_may_follow(car, plan, run, rest)), also_on=tuple(_also_on(car, run, team)),
            possible=not (run.dry_only and car.switches.wet),
        )  # fmt: skip


def fewest(state: RunState, run: Run) -> int:
    """With how many timed laps the run still counts: never fewer than are begun, and none is left out on which, or
    after the cool-down lap before which, something must be done."""
    least = run.timed_laps if run.shorten_to is None else run.shorten_to
    if state.start_t is not None:
        begun = run.laps[: driven(state)].count("timed")
        least = max(least, begun if state.state == "running" else begun + 1)  # a run is not resumed for nothing
    for item in run.items:
        for leg in legs_of(item, run.laps) if item.want == "must" and run.laps else ():
            on_cool = run.laps[leg] == "cool"
            if on_cool or run.laps[leg] == "timed":
                least = max(least, run.laps[: leg + 1].count("timed") + on_cool)
    return min(least, run.timed_laps)


def _as_upcoming(plan: Plan, run: Run) -> Upcoming | None:
    return upcoming(plan.model_copy(update={"runs": (run,)}), {}) if run.laps else None


def _tyre_laps_left(car: TeamCar, plan: Plan, run: Run) -> int | None:
    label = run.tyres or plan.original(run).tyres
    allowed = plan.tyre_sets.get(label or "")
    if label is None or allowed is None or allowed.most_laps is None:
        return None
    fitted = car.carried.tyre_laps(car.track) if label == car.carried.tyres else None
    laps = fitted if fitted is not None else car.carried.ages.get(label, allowed.laps)
    return max(0, allowed.most_laps - laps)


# -- without a stop ----------------------------------------------------------------------------------------------------


def _may_follow(car: TeamCar, plan: Plan, run: Run, rest: Iterable[RunState]) -> Iterator[str]:
    """The runs that this one may follow without a stop: the car needs nothing done in between."""
    states = states_of(car)
    if not _stands_alone(plan, run) or states[run.run].start_t is not None or run.release.not_before is not None:
        return
    for state in rest:
        first = plan.find(state.run.run)
        if first is not None and first is not run and _stands_alone(plan, first) and _alike(car, plan, first, run):
            yield first.run


def _stands_alone(plan: Plan, run: Run) -> bool:
    """Guard: a run of laps to which no other is tied."""
    named = any(run.run == one.same_as or run.run in one.before for one in plan.runs)
    return bool(run.laps) and not run.out_in and run.group is None and run.same_as is None and not named


def _alike(car: TeamCar, plan: Plan, first: Run, second: Run) -> bool:
    """Guard: same driver, tyres, fuel that lasts for both, switches, window; nothing new on the first and last lap."""
    burn, reserve = car.switches.car.fuel_per_lap_kg, car.switches.car.fuel_reserve_kg
    laps = len(first.laps) + len(second.laps) - 2
    lasts = first.fuel_kg is None or first.fuel_kg >= burn * laps + reserve
    return (
        plan.driver_of(first) == plan.driver_of(second)
        and second.tyres in (None, first.tyres)
        and second.fuel_kg in (None, first.fuel_kg)
        and lasts
        and first.switches == second.switches
        and (first.window, first.dry_only, first.after_flag) == (second.window, second.dry_only, second.after_flag)
        and not second.before
        and all(item in first.items for item in second.items if _at_an_end(item.on))
    )


def _at_an_end(on: Iterable[object]) -> bool:
    kinds = [getattr(choice, "kind", None) for choice in on]
    return not kinds or any(kind not in ("timed", "cool") for kind in kinds)


# -- by another car ----------------------------------------------------------------------------------------------------


def _also_on(car: TeamCar, run: Run, team: Mapping[str, TeamCar]) -> Iterator[str]:
    """The other cars that could do this run: named in the plan, with all that it names, and nothing of that name."""
    states, plan = states_of(car), in_use(car)
    tied = run.before or run.same_as or run.group or any(run.run in (one.same_as, *one.before) for one in plan.runs)
    if tied or states[run.run].start_t is not None:
        return
    for name in run.also_on:
        other = team.get(name)
        if other is None or other is car or other.progress.find(run.run) is not None:
            continue
        taken = run.model_copy(update={"driver": None})
        known = run.tyres is None or run.tyres in other.plan.tyre_sets
        if known and not any(run_faults(other.plan, taken, setup_now(other))):
            yield name
