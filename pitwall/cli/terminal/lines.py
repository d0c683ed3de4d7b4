"""The plain line log: one line when something changes that an engineer would act on or look back for."""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.app.call_words import in_words
from pitwall.cli.terminal.advice import ladder_lines, musts_words
from pitwall.cli.terminal.board import Message
from pitwall.cli.terminal.detail import advice_words, warnings_of
from pitwall.cli.terminal.run_told import run_words
from pitwall.cli.terminal.words import (
    STATUS_WORDS,
    alert_line,
    by_words,
    lag_words,
    state_word,
    store_words,
)
from pitwall.model.outlook import CarOutlook
from pitwall.model.outputs import (
    AdviceState,
    Alert,
    Answered,
    ClockState,
    Corrected,
    DeskState,
    ForecastState,
    Health,
    LadderState,
    Prompt,
    Proposal,
    Refused,
    RunDebrief,
)
from pitwall.model.units import clock_text

QUIET_STATES = ("planned", "done")


class LineLog:
    """Turns messages into lines; remembers just enough not to say a thing twice."""

    def __init__(self) -> None:
        self._revision: dict[str, int] = {}
        self._words: dict[str, str] = {}
        self._told: dict[str, tuple[str | None, ...]] = {}
        self._alerts: dict[str, tuple[bool, bool]] = {}
        self._status: tuple[str, str, bool] | None = None
        self._health: str | None = None
        self._store = ""
        self._lagging, self._rate = False, 1.0
        self._chance: dict[str, tuple[int, tuple[str, ...]]] = {}
        self._musts_told: dict[str, float] = {}
        self._resolves: dict[str, tuple[str, ...]] = {}
        self._proposed: dict[str, str] = {}
        self._advised: tuple[str, ...] = ()
        self._debriefs: dict[tuple[str, str], tuple[str, ...]] = {}

    def lines(self, message: Message) -> tuple[str, ...]:
        """What to print for this message; often nothing."""
        text: str | None = None
        match message:
            case Prompt():
                text = self._prompt(message)
            case Alert():
                text = self._alert(message)
            case ClockState():
                text = self._clock(message)
            case Health():
                return tuple(_timed(message, line) for line in self._health_lines(message))
            case ForecastState():
                return tuple(_timed(message, line) for line in self._forecast(message))
            case Proposal():
                return tuple(self._proposal(message))
            case AdviceState():
                return tuple(_timed(message, line) for line in self._advice(message))
            case RunDebrief():
                return tuple(_timed(message, line) for line in self._of_the_run(message))
            case LadderState():
                lines = ladder_lines(message, message.t, self._must_lost()) if message.active else []
                return tuple(_timed(message, f"LADDER  {line}") for line in lines)
            case DeskState():
                # Not told, but answers name calls that are still to come.
                self._words |= {prompt.call: prompt.short for prompt in message.prompts}
            case Refused() | Answered() | Corrected():
                text = self._answer(message)
            case _:
                pass
        return (_timed(message, text),) if text else ()

    def alert_over(self, alert_id: str) -> None:
        """The alert was cleared: if it comes back it is told again."""
        self._alerts.pop(alert_id, None)

    def _of_the_run(self, told: RunDebrief) -> Iterator[str]:
        """What came of a run; of one that is told again only what is other since."""
        key, words = (told.car, told.run.run if told.run is not None else ""), run_words(told)
        before = self._debriefs.get(key, ())
        self._debriefs[key] = words
        yield from (f"{'car ' + told.car:<7} {line}" for line in words if line not in before)

    def _answer(self, message: Refused | Answered | Corrected) -> str | None:
        if isinstance(message, Refused):
            return f"refused: {in_words(message.reason, self._words)}"
        if isinstance(message, Corrected):
            return f"corrected: {message.text}"
        if message.effect.partition(" ")[0] in self._revision:
            return None  # an answer about a call is told by the call itself
        effect = in_words(message.effect, self._words)
        return f"{'car ' + message.car:<7} {effect.removeprefix(f'car {message.car} ')}"

    def _prompt(self, prompt: Prompt) -> str | None:
        if self._revision.get(prompt.call, -1) >= prompt.revision:
            return None
        self._revision[prompt.call], self._words[prompt.call] = prompt.revision, prompt.short
        if prompt.state in QUIET_STATES:
            return None
        # Calls are timed anew all the time; only another state or other words are news.
        waiting = prompt.state in ("shown", "due")
        news = (prompt.state, *((prompt.text, prompt.caution) if waiting else (prompt.short, prompt.reason)))
        if self._told.get(prompt.call) == news:
            return None
        self._told[prompt.call] = news
        word = state_word(prompt)
        why = f"  ({prompt.reason})" if prompt.reason else ""
        if prompt.state == "due":
            why += f"  {by_words(prompt)}"
            if prompt.caution:
                why += f"  caution: {prompt.caution}"
            if prompt.way_reason:
                why += f"  {prompt.way_reason}"
            if prompt.against:
                why += f"  {prompt.against}"
        text = prompt.text if waiting else prompt.short
        return f"{'car ' + prompt.car:<7} {word:<12}{prompt.kind:<10}{text}{why}"

    def _alert(self, alert: Alert) -> str | None:
        now = (alert.active, alert.acknowledged)
        if self._alerts.get(alert.id) == now:
            return None
        self._alerts[alert.id] = now
        return f"ALERT   {alert_line(alert)}" if alert.active else f"ALERT   over: {alert.text}"

    def _health_lines(self, health: Health) -> Iterator[str]:
        if health.state != self._health:
            self._health = health.state
            yield f"pitwall {health.version} {health.state}"
        if health.state == "offline":
            return
        store = store_words(health)
        if store != self._store:
            self._store = store
            yield store or "store takes what comes again; decisions go on"
        lag = lag_words(health, self._rate)
        if bool(lag) != self._lagging:
            self._lagging = bool(lag)
            yield f"{lag}: events wait that long to be decided ({health.queued} queued)" if lag else "lag is over"

    def _clock(self, clock: ClockState) -> str | None:
        self._rate = clock.rate
        now = (clock.status, clock.pit_exit, clock.running)
        if now == self._status:
            return None
        self._status = now
        running = "" if clock.running else ", clock stopped"
        window = f" ({clock.window})" if clock.window is not None else ""
        return (
            f"SESSION {STATUS_WORDS[clock.status]}{window}, {clock_text(clock.remaining_s)} left{running}, "
            f"pit exit {clock.pit_exit}"
        )

    def _proposal(self, proposal: Proposal) -> Iterator[str]:
        if not proposal.active or self._proposed.get(proposal.car) == proposal.id:
            return
        self._proposed[proposal.car] = proposal.id
        yield _timed(proposal, f"{'car ' + proposal.car:<7} changed plan, from {_answered_by(proposal)}")
        for line in proposal.lines:
            yield _timed(proposal, f"{'':<8}{line}")
        for warning in proposal.warnings:
            yield _timed(proposal, f"{'':<8}! {warning}")

    def _advice(self, state: AdviceState) -> Iterator[str]:
        """Told once for each set of proposals: the same ones with other chances are no news."""
        named = tuple(one.id for one in state.proposals) or ((state.problem,) if state.problem else ())
        if named == self._advised:
            return
        self._advised = named
        if not state.active:
            return
        yield f"ADVICE  ({state.asked}) {musts_words(self._must_lost())} {state.musts_chance:.0%} of futures as planned"
        if state.problem is not None:
            yield f"{'':<8}{state.problem}"
        for one in state.proposals:
            texts = (*advice_words(one, self._must_lost()), *one.lines, *(f"! {text}" for text in warnings_of(one)))
            yield f"{'car ' + ', '.join(one.cars):<7} changed plan, from {_answered_by(one)}"
            yield from (f"{'':<8}{text}" for text in texts)

    def _must_lost(self) -> bool:
        return any(lost for _, lost in self._chance.values())

    def _forecast(self, forecast: ForecastState) -> Iterator[str]:
        # Tenths: a forecast wobbles by a percent or two each time and is news to nobody.
        car, outlook = forecast.car, forecast.outlook
        told = (round(outlook.musts_chance * 10), forecast.musts_lost)
        if self._chance.get(car) != told:
            was = self._chance.get(car, told)
            before = f", {self._musts_told[car]:.0%} before" if was[0] != told[0] and _asks(outlook) else ""
            self._chance[car] = told
            yield f"{'car ' + car:<7} {'forecast':<12}{_musts(forecast)}{before}"
            self._musts_told[car] = outlook.musts_chance
        texts = tuple(one.text for one in outlook.comparisons)
        if texts != self._resolves.get(car, ()):
            self._resolves[car] = texts
            yield from (f"{'car ' + car:<7} {'enough data?':<14}{text}" for text in texts)


def _answered_by(proposal: Proposal) -> str:
    """Who proposes it, and with which words a command adopts or declines it."""
    return f"{proposal.source} (adopt or decline proposal={proposal.id})"


def _musts(forecast: ForecastState) -> str:
    """The chance of the musts; those that are lost first, and nothing is asked of others where there are none."""
    outlook, lost = forecast.outlook, ", ".join(forecast.musts_lost)
    if lost and not _asks(outlook):
        return f"must-run lost: {lost}"
    every = f"must-run lost: {lost}; chance that every other one" if lost else "chance that every must-run"
    return f"{every} fits: {outlook.musts_chance:.0%}"


def _asks(outlook: CarOutlook) -> bool:
    """Guard: a must is still to come."""
    return any(run.want == "must" for run in outlook.runs)


def _timed(message: Message, text: str) -> str:
    return f"{clock_text(message.t):>8}  {text}"
