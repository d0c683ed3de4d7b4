"""The question to the forecaster: what is left of each car's plan, as three-point durations in order."""

from __future__ import annotations

from pitwall.engine import windows
from pitwall.engine.progress import RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.events import ForecastReady
from pitwall.model.outputs import Activity, CarSnapshot, ForecastSnapshot, ForecastState, ForecastWanted
from pitwall.model.plan import LapKind
from pitwall.model.setup import SessionSetup

SPREAD: dict[str, tuple[float, float]] = {
    "out": (0.9, 1.13),
    "timed": (0.99, 1.03),
    "cool": (0.88, 1.12),
    "in": (0.9, 1.25),
}
"""Shortest and longest over likely lap time (out, cool, in: quantiles in TRADE's measured base rates, narrowed by
what was learned; timed: common practice, no source)."""
PIT_LANE_S = 20.0


def snapshot(setup: SessionSetup, clock: SessionClock, team: list[TeamCar], now: float) -> ForecastSnapshot:
    """The whole team's rest of session as one question. In a break the next window's green light is waited for."""
    ahead = clock.windows_ahead(now)
    return ForecastSnapshot(
        t=now,
        remaining_s=clock.remaining(now) if not clock.between_windows else clock.windows[min(ahead)].length_s,
        clock_running=clock.running or clock.status == "waiting",
        status="waiting" if clock.between_windows else clock.status,
        red_clock=setup.regulations.red_clock,
        finish_started_lap=setup.regulations.finish_started_lap,
        interruptions=setup.regulations.interruptions,
        futures=setup.forecast.futures,
        confidence=setup.forecast.confidence,
        cars=tuple(_car(setup, car, now, sorted(ahead)) for car in team),
        windows=tuple(ahead[index] for index in sorted(ahead)),
    )


def _car(setup: SessionSetup, car: TeamCar, now: float, ahead: list[int]) -> CarSnapshot:
    activities: list[Activity] = []
    rest = list(car.progress.rest())
    from_s = now
    for run in rest:
        if run.state == "running":
            activities += _running(car, run, now)
        elif run.laps:
            activities += _to_come(car, run, now)
        else:
            activities += _block(setup, car, run)
    wants = {run.run.run: run.run.want for run in rest}
    fewest = {
        run.run.run: max(run.run.shorten_to - run.timed_done, 0) for run in rest if run.run.shorten_to is not None
    }
    after = tuple(run.run.run for run in rest if run.run.after_flag is not None)
    return CarSnapshot(
        car=car.car,
        from_s=from_s,
        on_track=car.track.on_track,
        activities=tuple(activities),
        wants=wants,
        after_flag=after,
        minimum_laps=fewest,
        windows=_bound(setup, rest, ahead),
    )


def _bound(setup: SessionSetup, rest: list[RunState], ahead: list[int]) -> dict[str, int]:
    """Runs that may be done in one window only, by its place among those ahead."""
    bound = {run.run.run: windows.bound_to(setup, run.run) for run in rest}
    places = {index: place for place, index in enumerate(ahead)}
    return {name: places.get(index, -1) for name, index in bound.items() if index is not None}


def _lap(car: TeamCar, run: RunState, kind: LapKind, part: float = 1.0, extra_s: float = 0.0) -> Activity:
    likely = car.track.pace.lap_s(kind) * part + extra_s
    low, high = SPREAD.get(kind, (0.9, 1.3))
    name = kind if kind in ("out", "timed", "cool", "in") else "out"
    return Activity(run=run.run.run, kind=name, low_s=likely * low, likely_s=likely, high_s=likely * high)


def _running(car: TeamCar, run: RunState, now: float) -> list[Activity]:
    found: list[Activity] = []
    for leg in car.legs:
        whole = max(leg.end_s - leg.start_s, 1.0)
        part = min(1.0, max(0.0, (leg.end_s - max(now, leg.start_s)) / whole)) if leg.running else 1.0
        extra = 0.0 if leg.running else car.extra_s(run, leg.index)
        found.append(_lap(car, run, leg.kind, part, extra))
    return [*found, *_stop(car, run)]


def _stop(car: TeamCar, run: RunState) -> list[Activity]:
    work = run.run.after_garage_s
    rest = car.progress.rest()
    if not any(other.laps for other in rest[rest.index(run) + 1 :]):
        return []
    return [Activity(run=None, kind="garage", low_s=work.low_s, likely_s=work.likely_s, high_s=work.high_s)]


def _to_come(car: TeamCar, run: RunState, now: float) -> list[Activity]:
    found: list[Activity] = []
    not_before = run.run.release.not_before
    if run.state == "next" and not car.track.on_track and car.release_s is not None:
        wait = max(0.0, car.release_s - now)
        found.append(
            Activity(run=None, kind="wait", low_s=wait * 0.8, likely_s=wait, high_s=wait * 1.4, not_before_s=None)
        )
    if run.out_in:
        # One lap holds both halves, and what is to be done on either.
        laps = [_lap(car, run, "installation", extra_s=car.extra_s(run, 0) + car.extra_s(run, 1))]
    else:
        legs = (0, *range(run.resume_at, len(run.laps)))
        laps = [_lap(car, run, run.laps[leg], extra_s=car.extra_s(run, leg)) for leg in legs]
    if not_before is not None and laps:
        laps[0] = laps[0].model_copy(update={"not_before_s": not_before})
    return [*found, *laps, *_stop(car, run)]


def _block(setup: SessionSetup, car: TeamCar, run: RunState) -> list[Activity]:
    """A block without laps, such as starts on the grid: as long as its procedures say."""
    seconds = sum(
        setup.procedures[item.item.do].extra_s * item.item.times
        for item in run.items
        if item.item.do in setup.procedures
    )
    return (
        [Activity(run=run.run.run, kind="item", low_s=seconds * 0.8, likely_s=seconds, high_s=seconds * 1.5)]
        if seconds
        else []
    )


class Questions:
    """When the forecaster is asked, which answer is awaited, and what was answered last."""

    def __init__(self, setup: SessionSetup) -> None:
        self._setup = setup
        self._asked_t: float | None = None
        self._asked_revision = -1
        self._number = 0
        self.awaited: ForecastWanted | None = None
        self.answers: dict[str, ForecastState] = {}

    def hurry(self) -> None:
        """The desk changed the plan: ask at once."""
        self._asked_t = None

    def ask(self, clock: SessionClock, team: list[TeamCar], now: float) -> ForecastWanted | None:
        """A new question when the plan changed or the last one is old; None otherwise."""
        revision = sum(car.progress.revision for car in team)
        stale = self._asked_t is None or now >= self._asked_t + self._setup.forecast.every_s
        if clock.between_windows and self._asked_t is not None:
            stale = False  # in a break nothing changes but by the desk
        if not team or (not stale and revision == self._asked_revision):
            return None
        self._asked_t, self._asked_revision, self._number = now, revision, self._number + 1
        for car in team:
            car.lay_out(clock, now)
        seed = self._setup.forecast.seed * 1_000_003 + self._number
        question = snapshot(self._setup, clock, team, now)
        self.awaited = ForecastWanted(t=now, revision=self._number, seed=seed, snapshot=question)
        return self.awaited

    def answered(self, event: ForecastReady, team: dict[str, TeamCar], now: float) -> list[ForecastState]:
        """The states that an answer makes; none when it answers an older question."""
        if self.awaited is None or event.revision != self.awaited.revision:
            return []
        self.awaited = None
        made = [
            ForecastState(
                id=f"forecast-{outlook.car}-{event.revision}",
                t=now,
                car=outlook.car,
                plan_revision=team[outlook.car].progress.revision,
                outlook=outlook,
            )
            for outlook in event.answer.cars
            if outlook.car in team
        ]
        self.answers.update({state.car: state for state in made})
        return made
