"""What is looked at every few seconds, and after telemetry of the tyres: the conditions of alerts, all in one place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pitwall.engine import cool_lap_spent, drivers, flag_watch, hold_evidence, noted_by_talk, watch
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.alerts.kinds import IDLE_UNDER
from pitwall.engine.field import Field
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.engine.tyre_watch import TyreWatch
from pitwall.model.events import TyreReported
from pitwall.model.outputs import Output
from pitwall.model.setup import CallTiming


@dataclass
class Lookout:
    """Mutable: what has been seen and belongs to no single part of a car."""

    tyres: TyreWatch = field(default_factory=TyreWatch)
    stood_t: float = float("-inf")
    """When the session was seen to stand last: until then no car had to send anything."""

    def around(self, car: TeamCar, clock: SessionClock, alerts: AlertBook, now: float) -> list[Output]:
        """Every few seconds."""
        status = clock.alert_status
        noted_by_talk.look(car, now)
        return [
            *watch.around(car, alerts, clock, now),
            *self.tyres.look(car, alerts, status, now),
            *flag_watch.look(car, clock, alerts, now, self.tyres.silent),
            *drivers.watch(car, clock, alerts, now),
            *hold_evidence.look(car, alerts, status, now),
            *cool_lap_spent.look(car, alerts, clock, now),
        ]

    def tyre(
        self, event: TyreReported, team: Mapping[str, TeamCar], clock: SessionClock, alerts: AlertBook, now: float
    ) -> list[Output]:
        """Telemetry spoke of a tyre."""
        return self.tyres.reported(event, team, alerts, clock.alert_status, now)

    def timing(self, cars: Field, calls: CallTiming, now: float) -> None:
        """Every few seconds, before the cars are looked at: whether the timing of all cars is silent."""
        self.tyres.timing(cars.heard_t, cars.apart_s, calls.silent_after_s, now)

    def feed(self, cars: Field, stale_s: float, clock: SessionClock, alerts: AlertBook, now: float) -> list[Output]:
        """Every few seconds: the feed of all cars, and whether a flood of alerts is over. A feed is not missed while
        no car is due: one that is alone on a lap, where only the line sees it, has nothing to tell for long."""
        if clock.alert_status in IDLE_UNDER["feed_stale"]:
            self.stood_t = now
        since = None if cars.heard_t is None else max(cars.heard_t, self.stood_t)
        stale = watch.feed(since, cars.any_due(now), stale_s, alerts, clock.alert_status, now)
        return [*alerts.calm(now), *stale, *watch.clock(clock, cars.any_on_track, alerts, now)]
