"""The host and questions for advice: asked of the adviser, answered as a stored fact, asked again after a restart."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from pitwall.journal.memory import MemoryJournal
from pitwall.model.advice import AdviceAnswer
from pitwall.model.events import AdviceReady, CarCrossed, ForecastReady
from pitwall.model.outputs import AdviceWanted
from pitwall.runtime.adviser import InlineAdviser
from pitwall.runtime.host import Host
from pitwall.runtime.virtual_clock import VirtualClock
from pitwall.testing import RecordingSink, ScriptedDecider, SilentForecaster
from tests.unit.advice_stage import answer_of, stage

CROSSED = CarCrossed(id="x", t=1.0, car="41", loop="line")


def question() -> AdviceWanted:
    """A question as the engine asks it."""
    made = stage()
    made.command("advise")
    return made.asked()[-1]


def answers(asked: AdviceWanted) -> AdviceAnswer:
    """What comes back."""
    return answer_of(asked.question, {"41": ["main"]})


async def lived(decider: ScriptedDecider, journal: MemoryJournal, adviser: InlineAdviser | None, clock: VirtualClock
                ) -> tuple[Host, RecordingSink]:
    """A host that took one crossing, and the seconds after it."""
    sink = RecordingSink()
    host = Host(decider, journal, clock, SilentForecaster(), [sink], adviser=adviser)
    if await host.recover() is None:
        host.submit(CROSSED)
    await clock.run_to(clock.now() + 10, host.drain)
    return host, sink


def decider_of(wanted: AdviceWanted) -> ScriptedDecider:
    """Asks for advice when a car crosses."""
    return ScriptedDecider(lambda stamped: [wanted] if stamped.event.type == "car_crossed" else [])


def ready(journal: MemoryJournal) -> list[AdviceReady]:
    """The answers in the journal."""
    events = asyncio.run(journal.read())
    return [one.event for one in events if isinstance(one.event, AdviceReady)]


def test_advice_leaves_as_a_question_and_comes_back_as_a_fact() -> None:
    """Under the question's number, after the adviser's time; the question itself goes to no sink."""
    wanted, clock, journal = question(), VirtualClock(0.0), MemoryJournal()
    adviser = InlineAdviser(lambda asked: answers(wanted), clock, 2.0)
    _, sink = asyncio.run(lived(decider_of(wanted), journal, adviser, clock))
    (found,) = ready(journal)
    assert (found.id, found.revision, found.t, found.answer) == ("advice:1", wanted.revision, 2.0, answers(wanted))
    assert sink.taken == []


def test_an_open_question_is_asked_again_after_a_restart() -> None:
    """The first host died before the answer; the second asks what the engine still waits for. Ids go on."""
    wanted, clock, journal = question(), VirtualClock(0.0), MemoryJournal()
    asyncio.run(lived(decider_of(wanted), journal, None, clock))
    assert ready(journal) == []
    again = decider_of(wanted)
    again.wishes = (wanted,)
    asyncio.run(lived(again, journal, InlineAdviser(lambda asked: answers(wanted), clock), clock))
    assert [one.revision for one in ready(journal)] == [wanted.revision]


def test_an_adviser_that_fails_stops_nobody() -> None:
    """It is counted; the session goes on without an answer."""
    wanted, clock, journal = question(), VirtualClock(0.0), MemoryJournal()

    class Broken(InlineAdviser):
        def ask(self, wanted: AdviceWanted, answer: Callable[[AdviceAnswer], None]) -> None:
            raise RuntimeError("no process")

    host, _ = asyncio.run(lived(decider_of(wanted), journal, Broken(answers, clock), clock))  # type: ignore[arg-type]
    assert ready(journal) == []
    assert (host.health().forecast_failures, host.health().poisoned) == (1, 0)
    assert not [one for one in asyncio.run(journal.read()) if isinstance(one.event, ForecastReady)]
