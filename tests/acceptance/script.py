"""Scripts on virtual time: what happens, when, and what pitwall must and must not say to it.

    play = Script(saltmarsh(PLAN))
    play.at(0).push(status("green"))
    car = play.car()
    car.leaves(100).lap(112).lap(91)
    play.at(230).push(command("box"))
    play.want(prompt(kind="box", state="due"), between(230, 245))
    play.never(prompt(state="missed"))
    play.run(until=600)

The real engine, host, codec and in-memory bus stand behind it, put together as in any other composition; the script is
a client of the bus. Expectations are judged once the script has run, and a failed one prints the timeline around it.
"""

from __future__ import annotations

import asyncio
import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pitwall.app.clients import Onlooker
from pitwall.app.daemon import Daemon, offline_message
from pitwall.app.debrief_live import noted_session
from pitwall.app.loading import load_setup
from pitwall.bus.codec import message_for_fact
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.forecast.futures import forecast as forecast_of
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import Fact, Stamped
from pitwall.model.outputs import ForecastAnswer, ForecastWanted, Health, Output, Prompt
from pitwall.model.plan import Plan
from pitwall.model.setup import SessionSetup
from pitwall.runtime.adviser import AdviceFunction, InlineAdviser
from pitwall.runtime.forecaster import ForecastFunction, InlineForecaster
from pitwall.runtime.virtual_clock import VirtualClock
from pitwall.track.lapmap import LapMap, lap_map
from tests.acceptance.script_car import Car
from tests.acceptance.script_patterns import AlertCleared, Heard, Pattern, Told, status, switch

CONFIG = Path(__file__).resolve().parents[2] / "config"
FORECAST_LATENCY_S = 0.5
AROUND_S = 45.0
MOST_LINES = 60
TELLING = ("prompt", "alert", "alert_cleared", "answered", "refused", "lap_judged", "forecast_wanted", "advice_state",
           "ladder_state")


@functools.cache
def _demo() -> SessionSetup:
    return load_setup(CONFIG / "event.yaml")


def demo_hour() -> SessionSetup:
    """The demo event as it is shipped, both cars, with few simulated futures."""
    return _demo().model_copy(update={"forecast": _demo().forecast.model_copy(update={"futures": 400})})


def saltmarsh(plan: dict[str, Any], duration_s: float = 3600.0, **changes: Any) -> SessionSetup:
    """The demo event with one car, 41, and a plan of the script's own; few simulated futures.

    Args:
        plan: fields of the plan over a sensible head.
        duration_s: scheduled length of the session.
        changes: fields of the setup to replace.
    """
    demo = _demo()
    head = {"plan": 1, "car": "41", "driver": "ines", "session": demo.session}
    windows = tuple(one.model_copy(update={"duration_s": duration_s}) for one in demo.regulations.sessions)
    values: dict[str, Any] = {
        "plans": {"41": Plan.model_validate(head | plan)},
        "cars": {"41": demo.cars["41"]},
        "field_cars": (),
        "regulations": demo.regulations.model_copy(update={"sessions": windows}),
        "forecast": demo.forecast.model_copy(update={"futures": 400}),
    }
    return demo.model_copy(update=values | changes)


@dataclass(frozen=True)
class Span:
    """A stretch of session seconds."""

    begin: float
    end: float

    def __contains__(self, t: float) -> bool:
        return self.begin - 1e-6 <= t <= self.end + 1e-6

    def __str__(self) -> str:
        return f"between {self.begin:.1f} and {self.end:.1f} s"


def between(begin: float, end: float) -> Span:
    """From ``begin`` to ``end``, both included."""
    return Span(begin, end)


ALWAYS = Span(float("-inf"), float("inf"))


@dataclass(frozen=True)
class Line:
    """One line of the timeline: when it went over the bus, which way, and what."""

    t: float
    sent: bool
    what: Heard

    def __str__(self) -> str:
        return f"{self.t:9.2f} {'->' if self.sent else '<-'} {_words(self.what)}"


def _words(what: Heard) -> str:
    if isinstance(what, Prompt):
        window = f"say {what.say_from_s:.1f} to {what.say_by_s:.1f}"
        return f"{what.kind} {what.state:<11} {what.call} | {what.text} | {window} | {what.reason or ''}"
    if isinstance(what, AlertCleared):
        return f"alert over: {what.alert}"
    if isinstance(what, ForecastWanted):
        return f"forecast asked, question {what.revision}"
    shown = what.model_dump(mode="json", exclude_none=True, exclude={"id", "t", "since_s", "help", "setup"})
    return " ".join(f"{name}={value}" for name, value in shown.items() if value not in ([], {}, "all"))


@dataclass(frozen=True)
class Expectation:
    """Something that must come, or must not."""

    pattern: Pattern
    span: Span
    times: int | None
    wanted: bool

    def judge(self, script: Script) -> None:
        """Raise with the timeline when it did not hold."""
        __tracebackhide__ = True
        found = script.heard(self.pattern, self.span)
        if not self.wanted:
            assert not found, self._failure(script, f"never expected, but came {len(found)} times", found)
        elif self.times is None:
            assert found, self._failure(script, "expected, and did not come", ())
        else:
            assert len(found) == self.times, self._failure(
                script, f"expected {self.times} times, came {len(found)} times", found
            )

    def _failure(self, script: Script, what: str, found: list[Line] | tuple[()]) -> str:
        span = self.span if self.span is not ALWAYS else ALWAYS
        if found:
            span = Span(found[0].t, found[0].t)
        where = "" if self.span is ALWAYS else f" {self.span}"
        return f"{self.pattern}{where}: {what}\n{script.timeline(Span(span.begin - AROUND_S, span.end + AROUND_S))}"


@dataclass
class Moment:
    """A moment of the script: what is sent then."""

    script: Script
    t: float

    def push(self, *told: Told) -> Moment:
        """Send these facts, in this order."""
        for one in told:
            self.script.schedule(self.t, one)
        return self

    def do(self, action: Callable[[], None]) -> Moment:
        """Call a function of the test then, for what is no message: cutting a link, looking at a state."""
        self.script.actions.append((self.t, action))
        return self


@dataclass
class Reaction:
    """People and telemetry answer what they hear."""

    pattern: Pattern
    delay_s: float
    make: Callable[[Any], list[Told]]


@dataclass(repr=False)
class Script:
    """One session to be played once."""

    setup: SessionSetup
    starts_at: float = -300.0
    forecast: ForecastFunction = forecast_of
    advise: AdviceFunction | None = None
    feed: bool = True
    lines: list[Line] = field(default_factory=list)
    expectations: list[Expectation] = field(default_factory=list)
    actions: list[tuple[float, Callable[[], None]]] = field(default_factory=list)
    reactions: list[Reaction] = field(default_factory=list)
    screens: list[Callable[[Any], None]] = field(default_factory=list)
    events: tuple[Stamped, ...] = ()
    _facts: int = 0

    def __post_init__(self) -> None:
        self.clock = VirtualClock(self.starts_at)
        broker = MemoryBroker()
        self.journal = MemoryJournal()
        self.noted = noted_session()
        self.session = self.noted.session
        self.daemon = Daemon(
            self.setup,
            self.noted,
            clock=self.clock,
            journal=self.journal,
            bus=MemoryBus(broker, offline_message(self.setup.session)),
            follow_clock=False,
            forecaster=InlineForecaster(self._forecast, self.clock, FORECAST_LATENCY_S),
            adviser=InlineAdviser(self.advise, self.clock) if self.advise is not None else None,
        )
        self.bus = MemoryBus(broker)
        Onlooker(self.bus, self.setup.session, self._hear, self._alert_over)
        self.maps: dict[str, LapMap] = {}

    # -- writing the script ------------------------------------------------------------------------------------

    def at(self, t: float) -> Moment:
        """A moment, in session seconds."""
        return Moment(self, t)

    def want(self, pattern: Pattern, span: Span = ALWAYS, times: int | None = None) -> Script:
        """This must come in that span: at least once, or exactly ``times`` times."""
        self.expectations.append(Expectation(pattern, span, times, wanted=True))
        return self

    def never(self, pattern: Pattern, span: Span = ALWAYS) -> Script:
        """This must not come in that span."""
        self.expectations.append(Expectation(pattern, span, None, wanted=False))
        return self

    def whenever(self, pattern: Pattern, delay_s: float, make: Callable[[Any], list[Told]]) -> Script:
        """Each time this is heard, send what ``make`` makes of it ``delay_s`` later."""
        self.reactions.append(Reaction(pattern, delay_s, make))
        return self

    def telemetry_follows(self, car: str = "41", delay_s: float = 5.0) -> Script:
        """The driver does what a switch call asks, told or shown, and telemetry reports the measured switches."""
        measured = {one.switch for one in self.setup.cars[car].switches if one.measured}

        def reports(heard: Prompt) -> list[Told]:
            asked = dict(heard.ask.positions)
            if heard.ask.switch is not None and heard.ask.position is not None:
                asked[heard.ask.switch] = heard.ask.position
            return [switch(name, asked[name], car) for name in sorted(asked) if name in measured]

        for action in ("set_switch", "check_switches"):
            asks = Pattern("prompt", {"car": car, "state": "due", "ask": functools.partial(_acts, action)})
            self.whenever(asks, delay_s, reports)
        return self

    def car(self, car: str = "41") -> Car:
        """A car to be driven around the lap."""
        if car not in self.maps:
            model = self.setup.cars.get(car, next(iter(self.setup.cars.values())))
            self.maps[car] = lap_map(self.setup.circuit, model, self.setup.calls)
        return Car(self.schedule, car, self.maps[car])

    def schedule(self, t: float, told: Told) -> None:
        """Send a fact at ``t``."""
        self.actions.append((t, functools.partial(self._send, told)))

    # -- playing it ---------------------------------------------------------------------------------------------

    def run(self, until: float) -> Script:
        """Play the script up to ``until`` and judge every expectation."""
        __tracebackhide__ = True
        asyncio.run(self._run(until))
        for expectation in self.expectations:
            expectation.judge(self)
        return self

    async def _run(self, until: float) -> None:
        # The feed is there from the beginning: until it speaks nobody is called out.
        if self.feed:
            self.actions.insert(0, (self.starts_at, functools.partial(self._send, status("waiting"))))
        await self.daemon.prepare(self.starts_at)
        await self.daemon.bus.start()
        await self.bus.start()
        for t, action in sorted(self.actions, key=lambda one: one[0]):
            self.clock.call_at(t, action)
        await self.clock.run_to(until, self.daemon.host.drain)
        assert self.daemon.host.health().poisoned == 0, "the engine raised on an event; see the captured log"
        self.events = await self.journal.read()

    def _send(self, told: Told) -> None:
        self._facts += 1
        self.give(told.made(f"script:{self._facts}", self.clock.now()))

    def give(self, fact: Fact) -> None:
        """Publish a fact now."""
        self.lines.append(Line(self.clock.now(), True, fact))
        message = message_for_fact(self.setup.session, fact)
        self.bus.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)

    def _hear(self, output: Output | Health) -> None:
        for screen in self.screens:
            screen(output)
        self._note(output)

    def _alert_over(self, alert: str) -> None:
        self._note(AlertCleared("alert_cleared", alert))

    def _forecast(self, wanted: ForecastWanted) -> ForecastAnswer:
        self.lines.append(Line(wanted.t, False, wanted))
        return self.forecast(wanted)

    def _note(self, heard: Heard) -> None:
        now = self.clock.now()
        self.lines.append(Line(now, False, heard))
        for reaction in self.reactions:
            if reaction.pattern.matches(heard):
                for told in reaction.make(heard):
                    self.clock.call_at(now + reaction.delay_s, functools.partial(self._send, told))

    # -- looking back ---------------------------------------------------------------------------------------------

    def heard(self, pattern: Pattern, span: Span = ALWAYS) -> list[Line]:
        """Every message that matches, in order. A plan or desk state that repeats one counts each time."""
        return [line for line in self.lines if not line.sent and line.t in span and pattern.matches(line.what)]

    def prompts(self, pattern: Pattern, span: Span = ALWAYS) -> list[Prompt]:
        """Every prompt that matches, in order."""
        return [line.what for line in self.heard(pattern, span) if isinstance(line.what, Prompt)]

    def calls(self) -> dict[str, list[Prompt]]:
        """Each call's prompts, in order of revision."""
        found: dict[str, list[Prompt]] = {}
        for line in self.lines:
            if isinstance(line.what, Prompt):
                history = found.setdefault(line.what.call, [])
                if not history or line.what.revision > history[-1].revision:
                    history.append(line.what)
        return found

    def timeline(self, span: Span = ALWAYS) -> str:
        """What went over the bus, for a person: facts, prompts, alerts, answers, laps."""
        shown = [line for line in self.lines if line.t in span and (line.sent or line.what.type in TELLING)]  # type: ignore[union-attr]  # each has a type
        if len(shown) > MOST_LINES:
            shown = shown[:MOST_LINES]
        return "\n".join(str(line) for line in sorted(shown, key=lambda line: line.t))


def _acts(action: str, ask: Any) -> bool:
    return bool(ask.action == action)
