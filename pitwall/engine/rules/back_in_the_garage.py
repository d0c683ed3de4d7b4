"""What is told and asked in the garage once the car is back from its run and stands.

With a pit board nobody can be asked on track: what was to be asked on a lap is asked in the garage after it, face to
face. What an item has for the garage and the car had left without, or brings home on its in-lap, waits for the garage
with any medium: in the pit lane the car rolls, and the driver has a speed limit and a place to halt to look after.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.items import NO_CALL
from pitwall.engine.run_state import ItemState, RunState
from pitwall.engine.situation import Situation
from pitwall.model.outputs import Ask
from pitwall.model.procedure import Procedure, Step
from pitwall.radio.wording import fill

STANDS_S, APART_S, OPEN_S = 15.0, 15.0, 120.0
"""Out of the cockpit's noise; from one question to the next; and to begin in (common practice, no source)."""


def calls(at: Situation) -> Iterable[CallSpec]:
    """What is still to be asked and told of the run that the car came in from, in the order of the plan. Every step is
    a call of its own."""
    if at.track.state != "garage" or at.clock.status == "closed":
        return
    run = next((one for one in at.progress.runs if one.end_t is not None and one.end_t == at.progress.parked_t), None)
    if run is None:
        return
    number = 0
    for item in run.items:
        procedure = at.procedures.get(item.item.do)
        if procedure is None or not still_to_ask(item):
            continue
        here = [step for step in procedure.steps if _belongs_here(at, run, item, step)]
        for of_item, step in enumerate(here):
            yield _asked(at, run, item, procedure, step, of_item, number)
            number += 1


def still_to_ask(item: ItemState) -> bool:
    """Guard: its lap was driven and nobody asked, or it was asked here and the answer is not entered yet."""
    return (item.state == "not_done" and item.reason == NO_CALL) or item.state == "called"


def _belongs_here(at: Situation, run: RunState, item: ItemState, step: Step) -> bool:
    """Guard: a question that no board can ask; or a step for the garage of the run's last lap, which of a run of one
    lap is its first as well."""
    if step.kind == "question" and at.plan.medium == "board":
        return True
    last = bool(run.laps) and (run.out_in or item.leg == len(run.laps) - 1)
    return step.where == "garage" and last and (step.kind == "question" or not at.stopped_by_flag)


def _asked(
    at: Situation, run: RunState, item: ItemState, procedure: Procedure, step: Step, of_item: int, number: int
) -> CallSpec:
    arguments = item_arguments(procedure, item)
    text = fill(step.say, arguments)
    begin = (at.progress.parked_t or at.since_s) + at.timing.garage_after_s + STANDS_S + number * APART_S
    turns = max(0, int((at.now - begin) // OPEN_S))  # told anew until somebody asks, or the car leaves
    return CallSpec(
        key=f"{item.key}-{run.leavings}-back{f'-{of_item + 1}' if of_item else ''}",
        kind=step.kind,
        text=text,
        short=fill(step.short, arguments),
        place="garage",
        say_from_s=begin,
        say_by_s=begin + (turns + 1) * OPEN_S,
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        run=run.run.run,
        lap="garage",
        item=item.key,
        ask=Ask(action="procedure", procedure=procedure.name, item=item.key, arguments=arguments),
    )
