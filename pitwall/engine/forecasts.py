"""The question to the forecaster: what is left of each car's plan, as three-point durations in order."""

from __future__ import annotations

from pitwall.engine import remaining, windows
from pitwall.engine.ahead import comparisons, limits_ahead
from pitwall.engine.progress import RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.events import ForecastReady
from pitwall.model.outlook import Activity, CarSnapshot, ForecastSnapshot, RunPace
from pitwall.model.outputs import ForecastState, ForecastWanted
from pitwall.model.setup import SessionSetup

RATE_SPREAD = 0.8
"""By how much sessions differ in how often they are stopped: a deviation over the mean (common practice, no source)."""


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
        cars=tuple(_car(setup, car, now, sorted(ahead), team) for car in team),
        windows=tuple(ahead[index] for index in sorted(ahead)),
        rate_spread=RATE_SPREAD,
        seen_s=0.0 if clock.status == "waiting" else max(0.0, now),
        reds_seen=clock.reds,
        slows_seen=clock.slows,
        red_lengths_s=tuple(clock.lengths["red"]),
        slow_lengths_s=tuple(clock.lengths["slow"]),
        status_since_s=clock.since_s if clock.disturbed else None,
        reopening_s=max(map(remaining.leaves_after_red_s, team), default=0.0),
        clock_uncertainty_s=setup.regulations.clock_uncertainty_s,
        slowest_in_lap_s=setup.regulations.slowest_in_lap_s,
    )


def _car(setup: SessionSetup, car: TeamCar, now: float, ahead: list[int], team: list[TeamCar]) -> CarSnapshot:
    activities: list[Activity] = []
    rest = list(car.progress.rest())
    pace: dict[str, RunPace] = {}
    t = now if car.release_s is None else max(now, car.release_s)
    for number, run in enumerate(rest):
        more = any(other.laps for other in rest[number + 1 :])
        if run.state == "running":
            found, pace[run.run.run] = remaining.running(car, run, now, more)
        elif run.laps:
            found, pace[run.run.run] = remaining.to_come(car, run, now, t, more)
            if run.state == "next" and not car.track.on_track:
                activities += remaining.wait(car, now, team)
        else:
            found = _block(setup, car, run)
        t += sum(one.likely_s for one in found)
        activities += found
    fewest = {
        run.run.run: max(run.run.shorten_to - run.timed_done, 0) for run in rest if run.run.shorten_to is not None
    }
    return CarSnapshot(
        car=car.car,
        from_s=now,
        on_track=car.track.on_track,
        activities=tuple(activities),
        wants={run.run.run: run.run.want for run in rest},
        after_flag=tuple(run.run.run for run in rest if run.run.after_flag is not None),
        minimum_laps=fewest,
        windows=_bound(setup, rest, ahead),
        pace=pace,
        lap_s=car.track.pace.lap_s("timed"),
        lap_began_s=car.track.lap.start_t if car.track.on_track and car.track.lap is not None else None,
        limits=limits_ahead(car, rest),
        comparisons=comparisons(car),
        to_track_s=remaining.to_the_track_s(car),
        cut_work={run.run.run: remaining.cut_work(car, run) for run in rest if run.laps},
    )


def _bound(setup: SessionSetup, rest: list[RunState], ahead: list[int]) -> dict[str, int]:
    """Runs that may be done in one window only, by its place among those ahead."""
    bound = {run.run.run: windows.bound_to(setup, run.run) for run in rest}
    places = {index: place for place, index in enumerate(ahead)}
    return {name: places.get(index, -1) for name, index in bound.items() if index is not None}


def _block(setup: SessionSetup, car: TeamCar, run: RunState) -> list[Activity]:
    """A block without laps, such as starts on the grid: as long as its procedures say."""
    seconds = sum(
        setup.procedures[item.item.do].extra_s * item.item.times
        for item in run.items
        if item.item.do in setup.procedures
    )
    if not seconds:
        return []
    keys = tuple(item.key for item in run.items if item.state in ("planned", "called"))
    points = {"low_s": seconds * 0.8, "likely_s": seconds, "high_s": seconds * 1.5}
    return [Activity(run=run.run.run, kind="item", items=keys, **points)]


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
        revision = sum([car.progress.revision for car in team])
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
                musts_lost=_lost(team[outlook.car]),
            )
            for outlook in event.answer.cars
            if outlook.car in team
        ]
        self.answers.update({state.car: state for state in made})
        return made


def _lost(car: TeamCar) -> tuple[str, ...]:
    """What was asked of is still to come: must-runs that are over and do not count."""
    return tuple(run.run.run for run in car.progress.runs if run.run.want == "must" and not run.counts)
