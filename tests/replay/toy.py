"""A small deterministic engine and the people around a host: enough to test the host without the real engine.

The toy counts crossings per car, answers each, reminds of each crossing five seconds later, asks for a forecast at
every third one, and raises when it is told to ("boom"), half way through a change of state.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pitwall.model.events import (
    CarCrossed,
    CommandGiven,
    Event,
    ForecastReady,
    PromptDelivered,
    Restarted,
    Stamped,
    TimeReached,
)
from pitwall.model.outputs import Answered, ForecastAnswer, ForecastSnapshot, ForecastWanted, Output, WakeAt
from pitwall.model.rules import Interruptions

REMIND_S = 5.0


def told(event_id: str, t: float, effect: str, car: str = "41") -> Answered:
    """An output of the toy, its id made from the fact behind it."""
    return Answered(id=event_id, t=t, because=event_id, car=car, effect=effect)


def wanted(revision: int, t: float) -> ForecastWanted:
    """A question to the forecaster."""
    snapshot = ForecastSnapshot(
        t=t, remaining_s=600, clock_running=True, status="green", red_clock="runs", finish_started_lap=True,
        interruptions=Interruptions(), futures=100, confidence=0.9, cars=(),
    )
    return ForecastWanted(t=t, revision=revision, seed=revision, snapshot=snapshot)


def answer_of(asked: ForecastWanted) -> ForecastAnswer:
    """The toy forecast: a function of the question alone."""
    return ForecastAnswer(cars=(), futures=asked.snapshot.futures, seed=asked.seed * 7)


class Toy:
    """The engine (``ports.Decider``)."""

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.reminders: list[tuple[float, str]] = []
        self.asked: ForecastWanted | None = None
        self.revision = 0
        self.handled: list[Stamped] = []

    def handle(self, stamped: Stamped) -> tuple[Output, ...]:
        """Advance by one fact."""
        self.handled.append(stamped)
        event, t = stamped.event, stamped.received_t
        match event:
            case CarCrossed():
                return self._crossed(event, t)
            case CommandGiven(text="boom"):
                self.counts["boom"] = self.counts.get("boom", 0) + 1
                raise RuntimeError("the toy broke")
            case CommandGiven() | Restarted() | PromptDelivered():
                return (told(f"took:{event.id}", t, event.type),)
            case TimeReached():
                due = [reminder for reminder in self.reminders if reminder[0] <= t]
                self.reminders = [reminder for reminder in self.reminders if reminder[0] > t]
                return (*(told(f"remind:{name}", t, "reminder") for _, name in due), *self._wake())
            case ForecastReady():
                if event.revision != self.revision:
                    return ()
                self.asked = None
                return (told(f"forecast:{event.revision}", t, f"seed {event.answer.seed}"),)
        return ()

    def standing(self) -> tuple[Output, ...]:
        """One line for each car."""
        return tuple(told(f"stands:{car}:{count}", 0.0, "standing") for car, count in sorted(self.counts.items()))

    def open_wishes(self) -> tuple[Output, ...]:
        """The next reminder and the question without an answer."""
        return (*self._wake(), *((self.asked,) if self.asked else ()))

    def _crossed(self, event: CarCrossed, t: float) -> tuple[Output, ...]:
        count = self.counts[event.car] = self.counts.get(event.car, 0) + 1
        self.reminders.append((t + REMIND_S, event.id))
        outputs: list[Output] = [told(f"lap:{event.car}:{count}", t, "crossing", event.car), *self._wake()]
        if sum(self.counts.values()) % 3 == 0:
            self.revision += 1
            self.asked = wanted(self.revision, t)
            outputs.append(self.asked)
        return tuple(outputs)

    def _wake(self) -> tuple[Output, ...]:
        return (WakeAt(t=min(self.reminders)[0]),) if self.reminders else ()


class Ear:
    """A sink that writes down what it gets."""

    def __init__(self) -> None:
        self.taken: list[Output] = []
        self.restated: list[tuple[Output, ...]] = []

    def take(self, outputs: Sequence[Output]) -> None:
        """Write down."""
        self.taken += outputs

    def restate(self, standing: Sequence[Output]) -> None:
        """Write down."""
        self.restated.append(tuple(standing))

    @property
    def ids(self) -> list[str]:
        """Ids of what was taken, in order."""
        return [output.id for output in self.taken if isinstance(output, Answered)]


class Deaf:
    """A sink that always fails."""

    def take(self, outputs: Sequence[Output]) -> None:
        """Fail."""
        raise OSError("no broker")

    def restate(self, standing: Sequence[Output]) -> None:
        """Fail."""
        raise OSError("no broker")


class Desk:
    """A forecaster that answers when the test says so."""

    def __init__(self) -> None:
        self.asked: list[tuple[ForecastWanted, Callable[[ForecastAnswer], None]]] = []

    def ask(self, wanted: ForecastWanted, answer: Callable[[ForecastAnswer], None]) -> None:
        """Keep the question."""
        self.asked.append((wanted, answer))

    def answer_all(self) -> None:
        """Answer what was asked, in order."""
        asked, self.asked = self.asked, []
        for question, answer in asked:
            answer(answer_of(question))


def crossing(number: int, t: float, car: str = "41") -> CarCrossed:
    """A crossing of the line."""
    return CarCrossed(id=f"x:{car}:{number}", t=t, car=car, loop="line")


def command(name: str, t: float, text: str | None = None) -> CommandGiven:
    """A comment from the desk."""
    return CommandGiven(id=name, t=t, car="41", command="comment", by="desk", text=text)


def script() -> list[tuple[float, Event]]:
    """A small session: what is submitted, and when. Two cars, commands between, one that breaks the toy."""
    events: list[tuple[float, Event]] = []
    for lap in range(12):
        t = 10.0 + 7.3 * lap
        events.append((t, crossing(lap, t - 0.4, "41")))
        if lap % 2:
            events.append((t + 1.0, crossing(lap, t + 0.9, "58")))
        if lap % 4 == 2:
            events.append((t + 2.0, command(f"c:{lap}", t + 2.0, "boom" if lap == 6 else "fine")))
    return events
