"""A procedure whose parts are each sound and make no sense together: told twice, never called, never seen as done."""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.codes import finding
from pitwall.errors import Finding
from pitwall.model.procedure import Procedure
from pitwall.track.lapmap import LapMap


def check_steps(procedure: Procedure) -> Iterator[Finding]:
    """The same words for the same moment; said again elsewhere on the lap they are another call."""
    first: dict[tuple[str, str, float], int] = {}
    for index, step in enumerate(procedure.steps):
        told = first.setdefault((" ".join(step.say.casefold().split()), step.where, step.offset_s), index)
        if told != index:
            yield finding("PW145", path=("steps", index), expected="words or a moment of its own",
                          found=f"step {index + 1}, which says what step {told + 1} says")


def check_evidence(procedure: Procedure) -> Iterator[Finding]:
    """What counts as done, where nothing of the procedure can show it."""
    asked = bool(procedure.feedback) or any(step.kind == "question" or "?" in step.say for step in procedure.steps)
    moved = bool(procedure.switches) or procedure.by is not None
    for index, evidence in enumerate(procedure.done_when):
        if evidence == "comment" and not asked:
            yield finding("PW146", path=("done_when", index), found="'comment', and no step asks for one",
                          expected="a step with 'kind: question', or 'feedback'")
        if evidence == "switch" and not moved:
            yield finding("PW146", path=("done_when", index), found="'switch', and no switch is changed",
                          expected="the switch and its position under 'switches', or 'by'")


def check_room_behind(procedure: Procedure, lap: LapMap | None) -> Iterator[Finding]:
    """Who is to have a whole lap free behind has it only when alone on the track."""
    if lap is not None and procedure.clear_behind_s >= lap.lap_s:
        yield finding("PW147", path=("clear_behind_s",), found=f"{procedure.clear_behind_s:g} s",
                      expected=f"less than a lap of {lap.circuit}, {lap.lap_s:.0f} s")
