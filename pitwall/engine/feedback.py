"""What the driver is still to comment on of the run that he is on: its own wish, and those of what was done in it.

What was asked once is not asked again, whoever asked it: a call of this kind, or an item of the plan whose question
names it. What he commented on by himself need not be asked.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from pitwall.comments.wanted import missing, names
from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.progress import ItemState, RunState
from pitwall.model.subjects import Subject
from pitwall.radio.wording import fill

if TYPE_CHECKING:  # the car asks for its own view
    from pitwall.engine.team import TeamCar

KEY = "feedback"
DONE = ("called", "done", "probably_done")
NOT_ASKED = ("missed", "withdrawn")


def call_key(run: RunState, leg: int) -> str:
    """Key of the call that asks for comments on this lap of the run."""
    return f"{run.run.run}-{run.leavings}-{leg}-{KEY}"


def wanted(car: TeamCar) -> tuple[Subject, ...]:
    """What is to be asked now; nothing while the car is on no run, or has not yet driven what it is asked about."""
    run = car.progress.current
    if run is None or not car.track.on_track or not (run.timed_done or run.out_in):
        return ()
    wishes = _wishes(car, run)
    if not wishes:
        return ()
    of_run = [one for one in car.comments.comments if one.run == run.run.run and one.t >= (run.start_t or 0.0)]
    asked = set(_asked(car, run))
    return tuple(
        subject for subject in missing(wishes, of_run)
        if subject not in asked and not any(_asks(car, item, subject) for item in run.items)
    )  # fmt: skip


def unsaid(car: TeamCar, run: RunState) -> tuple[Subject, ...]:
    """What a run was for the driver to comment on, and he has not, asked or not; nothing before it drove what for."""
    if not (run.timed_done or run.out_in):
        return ()
    return missing(_wishes(car, run), [one for one in car.comments.comments if one.run == run.run.run])


def _wishes(car: TeamCar, run: RunState) -> list[Subject]:
    """What the run itself is for, and what was done in it."""
    wishes = list(run.run.feedback)
    for item in run.items:
        procedure = car.setup.procedures.get(item.item.do)
        if procedure is not None and item.state in DONE:
            wishes += procedure.feedback
    return wishes


def _asked(car: TeamCar, run: RunState) -> Iterator[str]:
    """Subjects for which a call of this run asked, or may have asked, on whichever leaving of it."""
    for call in car.book.calls.values():
        ours = call.spec.run == run.run.run and call.spec.key.endswith(KEY)
        if ours and not call.open and call.state not in NOT_ASKED:
            yield from str(call.spec.ask.arguments.get(KEY, "")).split(", ")


def _asks(car: TeamCar, item: ItemState, subject: Subject) -> bool:
    """True for an item of the plan that asks for this comment, or has asked for it."""
    procedure = car.setup.procedures.get(item.item.do)
    if procedure is None or item.state in ("dropped", "not_done"):
        return False
    arguments = item_arguments(procedure, item)
    return any(step.kind == "question" and names(subject, fill(step.say, arguments)) for step in procedure.steps)
