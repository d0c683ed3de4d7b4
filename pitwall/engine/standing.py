"""What stands: every retained state and outstanding prompt, for who comes new or was away."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial

from pitwall.engine import publish
from pitwall.engine.advising import Advising
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.drawing import drawn
from pitwall.engine.field import Field
from pitwall.engine.forecasts import Questions
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.outputs import Output

JUST_ENDED_S = 120.0


def standing(
    clock: SessionClock, team: Mapping[str, TeamCar], questions: Questions, advising: Advising, alerts: AlertBook,
    field: Field, now: float,
) -> Iterable[Output]:
    """Everything that stands, and the last word on calls that ended just now.

    What ended while the link was down, or in the gap of a restart, was heard by nobody: it is told once more under
    its own id.
    """
    yield drawn("clock", None, now, lambda: publish.clock_state(clock, now))
    for name, car in team.items():
        yield drawn("desk state", name, now, partial(publish.desk_state, car, clock, now))
        yield drawn("plan state", name, now, partial(publish.plan_state, car, now))
        if car.desk.offer is not None:
            yield car.desk.offer.shown
        yield from (call.prompt(now) for call in car.book.outstanding() if call.state in ("shown", "due"))
        yield from (call.prompt(ended) for call, ended in car.book.ended_since(now - JUST_ENDED_S))
    yield from questions.answers.values()
    yield from advising.standing()
    yield from alerts.active.values()
    yield drawn("field", None, now, lambda: publish.field_state(field.tracks.values(), now))
