"""All checks of a plan, in the order in which their findings are told."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pitwall.checks import (
    boards,
    day,
    figures,
    items,
    laps,
    media,
    names,
    order,
    overlap,
    reach,
    saying,
    switches,
    talk,
    tyres,
    waiting,
)
from pitwall.checks.around import Around
from pitwall.checks.flow.findings import check_flow
from pitwall.errors import Finding
from pitwall.model.plan import Plan

Check = Callable[[Plan, Around], Iterator[Finding]]

CHECKS: tuple[Check, ...] = (
    names.check_head,
    names.check_tyres,
    names.check_compounds,
    names.check_run_switches,
    items.check_procedures,
    items.check_arguments,
    laps.check_laps,
    laps.check_places,
    reach.check_reach,
    overlap.check_overlap,
    overlap.check_twice,
    waiting.check_waiting,
    saying.check_saying,
    talk.check_talk,
    media.check_medium,
    boards.check_boards,
    media.check_feedback,
    order.check_any_run,
    order.check_references,
    order.check_circles,
    order.check_sequence,
    order.check_groups,
    order.check_other_cars,
    order.check_same_as,
    order.check_weather,
    tyres.check_equal_age,
    tyres.check_compounds,
    switches.check_moving,
    switches.check_steps,
    switches.check_against_itself,
    switches.check_conflicts,
    switches.check_put_back,
    figures.check_holds,
    figures.check_gears,
    figures.check_fuel,
    figures.check_fuel_sense,
    figures.check_clock,
    figures.check_release,
    figures.check_turn,
    tyres.check_tyre_limits,
    figures.check_after_flag,
    day.check_windows,
    day.check_drivers,
    day.check_minimums,
)


def check_plan(plan: Plan, around: Around) -> tuple[Finding, ...]:
    """Everything that is wrong or doubtful in a plan, each finding with its path in the plan file."""
    found = [one for check in CHECKS for one in check(plan, around)]
    if not any(one.severity == "error" for one in found):
        # The proof walks the plan as it would be driven: a plan with errors is not driven.
        found += check_flow(plan, around)
    return tuple(found)
