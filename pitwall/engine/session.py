"""The engine: one session, driven by stamped facts. Dispatch only; what a fact means is written in the parts.

Pure and synchronous: the same facts in the same order give the same outputs, on any machine, at any speed. "Now" is the
``received_t`` of the fact in hand.
"""

from __future__ import annotations

from pitwall.engine import forecasts, publish, watch
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.calls import CallBook
from pitwall.engine.car import CarTrack, Happening, LapRecord
from pitwall.engine.commands import Refusal, answer
from pitwall.engine.progress import PlanProgress
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.situation import StatusNews
from pitwall.engine.switches import SwitchBoard
from pitwall.engine.team import TeamCar
from pitwall.errors import InternalError
from pitwall.model import events as ev
from pitwall.model import outputs as out
from pitwall.model.plan import LapKind
from pitwall.model.setup import SessionSetup
from pitwall.pace.laptimes import CarPace, FieldPace
from pitwall.track.lapmap import LapMap, lap_map

TICK_S = 1.0
REFRESH_S = 5.0
FIELD_S = 5.0
REST_AFTER_CLOSE_S = 30.0


class Session:
    """One session of one team. The first fact must be ``SessionPrepared``; everything else follows from the facts."""

    def __init__(self) -> None:
        self.setup: SessionSetup | None = None
        self.now = float("-inf")
        self.team: dict[str, TeamCar] = {}
        self.tracks: dict[str, CarTrack] = {}
        self.alerts = AlertBook()
        self.rain = False
        self.feed_t: float | None = None
        self._outputs: list[out.Output] = []
        self._dirty: set[str] = set()
        self._plan_dirty: set[str] = set()
        self._desk_dirty: set[str] = set()
        self._armed: float | None = None
        self._tick_t = float("-inf")
        self._refresh_t = float("-inf")
        self._field_t = float("-inf")
        self._desk_t: dict[str, float] = {}
        self._asked_t: float | None = None
        self._wanted: out.ForecastWanted | None = None
        self._revision = 0
        self._forecasts: dict[str, out.ForecastState] = {}
        self._plans: dict[str, out.PlanState] = {}
        self._asked_revision = -1

    # -- the port -------------------------------------------------------------------------------------------------

    def handle(self, stamped: ev.Stamped) -> tuple[out.Output, ...]:
        """Advance by one fact; returns what was decided, in order.

        Raises:
            InternalError: when the first fact is not ``SessionPrepared``.
        """
        event = stamped.event
        if self.setup is None and not isinstance(event, ev.SessionPrepared):
            raise InternalError(f"the journal starts with {event.type!r}, not with session_prepared")
        self._outputs = []
        self.now = max(self.now, stamped.received_t)
        if self._armed is not None and self.now >= self._armed:
            self._armed = None
        self._dispatch(event)
        self._advance()
        return tuple(self._outputs)

    def standing(self) -> tuple[out.Output, ...]:
        """Every retained state and outstanding prompt as it stands."""
        if self.setup is None:
            return ()
        found: list[out.Output] = [publish.clock_state(self.clock, self.now)]
        for car in self.team.values():
            found.append(publish.desk_state(car, self.clock, self.now))
            found.append(publish.plan_state(car, self.now))
            found += [call.prompt(self.now) for call in car.book.outstanding() if call.state in ("shown", "due")]
        found += list(self._forecasts.values())
        found += list(self.alerts.active.values())
        found.append(publish.field_state(self.tracks.values(), self.now))
        return tuple(found)

    def open_wishes(self) -> tuple[out.Output, ...]:
        """The wake-up and the unanswered forecast that a restarted host must ask for again."""
        wishes: list[out.Output] = []
        if self._armed is not None:
            wishes.append(out.WakeAt(t=self._armed))
        if self._wanted is not None:
            wishes.append(self._wanted)
        return tuple(wishes)

    @property
    def at_rest(self) -> bool:
        """True when the session closed, and no call can change any more."""
        return self.setup is not None and self._over()

    def _dispatch(self, event: ev.Event) -> None:
        match event:
            case ev.SessionPrepared():
                self._prepared(event)
            case ev.CarCrossed():
                self._crossed(event)
            case ev.CarPitted():
                self._pitted(event)
            case ev.StatusChanged():
                self._status(event)
            case ev.ClockReported():
                self._clock(event)
            case ev.WeatherReported():
                self._weather(event)
            case ev.SwitchReported():
                self._switch(event)
            case ev.CommandGiven():
                self._command(event)
            case ev.ForecastReady():
                self._forecast(event)
            case ev.PromptDelivered():
                self._delivered(event)
            case ev.Restarted():
                self._restarted(event)
            case ev.TimeReached() | ev.CarPositioned() | ev.TyreReported() | ev.ChannelReported() | ev.LinkChanged():
                """Time passes, or evidence is kept in the journal for others to read."""

    # -- facts ------------------------------------------------------------------------------------------------------

    def _prepared(self, event: ev.SessionPrepared) -> None:
        setup = event.setup
        self.setup = setup
        self.clock = SessionClock(setup.regulations, setup.duration_s)
        reference = next(iter(setup.cars.values()), None)
        self.lap_map: LapMap = lap_map(setup.circuit, reference, setup.calls)
        self.field_pace = FieldPace(self.lap_map.lap_s)
        for car, plan in sorted(setup.plans.items()):
            own_map = lap_map(setup.circuit, setup.cars[car], setup.calls)
            track = self._track(car, own_map)
            switches = SwitchBoard(setup.cars[car], plan, setup.procedures, setup.wet)
            book = CallBook(car, setup.calls.unconfirmed_after_s)
            self.team[car] = TeamCar(
                car, setup, plan, track, own_map, PlanProgress(plan), switches, book, since_s=self.now
            )
        for car in setup.field_cars:
            self._track(car, self.lap_map)
        self.rain = setup.wet
        self._all_dirty()
        self._plan_dirty.update(self.team)

    def _track(self, car: str, own_map: LapMap) -> CarTrack:
        if car not in self.tracks:
            assert self.setup is not None
            pace = CarPace(dict(own_map.loops.items()), self.field_pace)
            self.tracks[car] = CarTrack(car, own_map, pace, self.setup.circuit.pit.line_in_lane)
        return self.tracks[car]

    def _crossed(self, event: ev.CarCrossed) -> None:
        self._fed()
        track = self._track(event.car, self.lap_map)
        track.compound, track.tyre_age = event.compound or track.compound, event.tyre_age
        self._happenings(track, track.cross(event.loop, event.t, self.clock.disturbed, event.lap_time_s))

    def _pitted(self, event: ev.CarPitted) -> None:
        self._fed()
        track = self._track(event.car, self.lap_map)
        self._happenings(track, track.leave(event.t) if event.where == "exit" else track.come_in(event.t))

    def _happenings(self, track: CarTrack, happenings: list[Happening]) -> None:
        car = self.team.get(track.car)
        for happening in happenings:
            if car is not None and happening.what != "ignored":
                car.happened(happening, self.clock, self.now)
                self._dirty.add(track.car)
                if happening.what in ("left", "came_in", "lap_done"):
                    self._plan_dirty.add(track.car)
            if happening.what == "lap_done" and car is not None:
                self._outputs += watch.lap_began(car, self.alerts, self.clock.status, self.now)
            self._judge(track, happening, car)

    def _judge(self, track: CarTrack, happening: Happening, car: TeamCar | None) -> None:
        """Say which kind of lap it is, or was."""
        run = car.progress.current if car is not None else None
        if happening.what == "loop" and track.lap is not None:
            track.judge(run.expected_kind if run is not None else "timed")
            self._signal_kind(track)
            kind = track.lap_kind
            if kind is not None:
                self._lap_judged(track, track.lap, "loop", happening.loop, kind)
        elif happening.lap is not None and happening.what in ("lap_done", "came_in"):
            self._lap_judged(
                track, happening.lap, "line" if happening.what == "lap_done" else "pit", None, happening.lap.kind
            )

    def _signal_kind(self, track: CarTrack) -> None:
        lap = track.lap
        if lap is not None and lap.start_phase == 0.0 and track.state in ("timed", "cool"):
            track.move("judged_cool" if lap.kind == "cool" else "judged_timed")

    def _lap_judged(self, track: CarTrack, lap: LapRecord, at: str, loop: str | None, kind: LapKind) -> None:
        self._outputs.append(
            out.LapJudged(
                id=f"lap-{track.car}-{lap.number}-{loop or at}-{self.now:.3f}",
                t=self.now,
                car=track.car,
                lap_number=lap.number,
                at=at,
                loop=loop,
                kind=kind,
                lap_time_s=lap.lap_time_s,
                run=lap.run,
                start_s=lap.start_t,
            )
        )

    def _status(self, event: ev.StatusChanged) -> None:
        self._fed()
        before, sectors = self.clock.status, self.clock.yellow_sectors
        changed = self.clock.change(event)
        self._status_changed(changed, before, sectors)

    def _status_changed(self, changed: tuple[str, ...], before: str, sectors: tuple[str, ...]) -> None:
        if not changed:
            return
        status = self.clock.status
        for car in self.team.values():
            if "status" in changed and not (before == "waiting" and status == "green"):
                self._news(car, status)
            elif "sectors" in changed:
                new = tuple(sector for sector in self.clock.yellow_sectors if sector not in sectors)
                gone = tuple(sector for sector in sectors if sector not in self.clock.yellow_sectors)
                self._news(car, "yellow" if new else "green", new or gone)
            elif "ending" in changed:
                self._news(car, "ending")
            opened = self.clock.pit_exit == "open" and ("pit_exit" in changed or "status" in changed)
            if opened and before not in ("waiting", "yellow", "slow", "green") and not car.track.on_track:
                car.hold_release(self.now)
            if "status" in changed:
                car.progress.revision += 1
                self._plan_dirty.add(car.car)
        if "status" in changed and self.clock.disturbed:
            for track in self.tracks.values():
                if track.lap is not None:
                    track.lap.disturbed = True
        if status == "closed":
            self._close()
        self._all_dirty()

    def _news(self, car: TeamCar, status: str, sectors: tuple[str, ...] = ()) -> None:
        if status in ("waiting", "closed"):
            return
        number = len(car.book.calls) + len(car.news)
        car.news.append(StatusNews(number, self.now, status, sectors))

    def _clock(self, event: ev.ClockReported) -> None:
        if self.clock.report(event):
            self._all_dirty()

    def _weather(self, event: ev.WeatherReported) -> None:
        if event.rain is not None:
            self.rain = event.rain

    def _switch(self, event: ev.SwitchReported) -> None:
        car = self.team.get(event.car)
        if car is None:
            return
        if car.switches.known(event.switch) is None:
            self._refuse(event.id, event.car, f"car {event.car} has no switch {event.switch!r}")
            return
        car.measured(event.switch, event.position, self.now)
        self._dirty.add(event.car)

    def _command(self, event: ev.CommandGiven) -> None:
        car = self.team.get(event.car)
        if car is None:
            self._refuse(
                event.id, event.car, f"no plan for car {event.car}; ours: {', '.join(sorted(self.team)) or 'none'}"
            )
            return
        if self._over() and event.command != "comment":
            self._refuse(event.id, event.car, "the session is closed")
            return
        try:
            result = answer(event, car, self.alerts, self.now)
        except Refusal as refusal:
            self._refuse(event.id, event.car, str(refusal))
            return
        self._outputs += result.outputs
        self._outputs.append(
            out.Answered(
                id=f"answer-{event.id}"[:128], t=self.now, because=event.id, car=event.car, effect=result.effect
            )
        )
        if result.plan_changed:
            self._plan_dirty.add(event.car)
            self._asked_t = None
        self._dirty.add(event.car)

    def _refuse(self, because: str, car: str | None, reason: str) -> None:
        self._outputs.append(
            out.Refused(id=f"refused-{because}"[:128], t=self.now, because=because, car=car, reason=reason)
        )

    def _forecast(self, event: ev.ForecastReady) -> None:
        if self._wanted is None or event.revision != self._wanted.revision:
            return  # an answer to an older question
        self._wanted = None
        for outlook in event.answer.cars:
            car = self.team.get(outlook.car)
            if car is None:
                continue
            state = out.ForecastState(
                id=f"forecast-{outlook.car}-{event.revision}",
                t=self.now,
                car=outlook.car,
                plan_revision=car.progress.revision,
                outlook=outlook,
            )
            self._forecasts[outlook.car] = state
            self._outputs.append(state)
            assert self.setup is not None
            self._outputs += watch.overrun(outlook, self.alerts, self.setup.forecast, self.clock.status, self.now)

    def _delivered(self, event: ev.PromptDelivered) -> None:
        call_id, _, _ = event.prompt.rpartition(".")
        for car in self.team.values():
            call = car.book.find(call_id)
            if call is not None and call.delivered_t is None:
                call.delivered_t = event.t

    def _restarted(self, event: ev.Restarted) -> None:
        for car in self.team.values():
            car.book.after_gap(self.now - event.gap_s, self.now)
        self._armed = None
        self._all_dirty()

    # -- after every fact -----------------------------------------------------------------------------------------

    def _advance(self) -> None:
        if self.clock.flag_is_due(self.now):
            self._status_by_time("finished")
        if self.clock.closing_is_due(self.now):
            self._status_by_time("closed")
        if self.now >= self._refresh_t + REFRESH_S:
            self._refresh_t = self.now
            self._look_around()
            self._all_dirty()
        for name, car in self.team.items():
            if name in self._dirty and not self._over():
                car.refresh(self.clock, self.now, self.rain)
            car.book.tick(self.now)
            self._publish_calls(car)
        self._dirty.clear()
        self._publish_states()
        self._ask_forecast()
        self._arm()

    def _status_by_time(self, status: str) -> None:
        """Time alone says that the flag fell, or that nobody will close the session."""
        event = ev.StatusChanged(id=f"by-time-{status}", t=self.now, status=status)
        before, sectors = self.clock.status, self.clock.yellow_sectors
        self._status_changed(self.clock.change(event), before, sectors)

    def _look_around(self) -> None:
        """Every few seconds: cars that parked or fell silent, calls to settle, feeds that went stale."""
        assert self.setup is not None
        timing = self.setup.calls
        for track in self.tracks.values():
            if track.state == "pit_lane" and self.now - (track.pit_entry_t or self.now) >= timing.garage_after_s:
                self._happenings(track, track.park(self.now))
            quiet_for = self.now - track.seen_t
            if (
                track.on_track
                and track.state != "stopped"
                and self.clock.status != "red"
                and quiet_for >= timing.silent_after_s
            ):
                self._happenings(track, track.fall_silent(self.now))
        for car in self.team.values():
            car.settle(self.now)
            self._outputs += watch.around(car, self.alerts, self.clock.status, self.now)
        on_track = any(track.on_track for track in self.tracks.values())
        self._outputs += watch.feed(
            self.feed_t, on_track, timing.feed_stale_s, self.alerts, self.clock.status, self.now
        )

    def _publish_calls(self, car: TeamCar) -> None:
        changed = car.book.take_changed()
        if not changed:
            return
        car.follow_calls(changed, self.now)
        self._outputs += [call.prompt(self.now) for call in changed]
        self._desk_dirty.add(car.car)

    def _publish_states(self) -> None:
        if self.now >= self._tick_t + TICK_S:
            self._tick_t = float(int(self.now)) if self.now >= 0 else -float(int(-self.now) + 1)
            self._outputs.append(publish.clock_state(self.clock, self.now))
        for name, car in self.team.items():
            if name in self._plan_dirty:
                self._plan_dirty.discard(name)
                self._outputs.append(publish.plan_state(car, self.now))
                self._desk_dirty.add(name)
            if name in self._desk_dirty and self.now >= self._desk_t.get(name, float("-inf")) + TICK_S / 2:
                self._desk_t[name] = self.now
                self._desk_dirty.discard(name)
                self._outputs.append(publish.desk_state(car, self.clock, self.now))
        if self.now >= self._field_t + FIELD_S and not self._over():
            self._field_t = self.now
            self._outputs.append(publish.field_state(self.tracks.values(), self.now))
            self._desk_dirty.update(self.team)

    def _ask_forecast(self) -> None:
        assert self.setup is not None
        if self._over() or self.clock.status == "closed" or not self.team:
            return
        revision = sum(car.progress.revision for car in self.team.values())
        stale = self._asked_t is None or self.now >= self._asked_t + self.setup.forecast.every_s
        if not stale and revision == self._asked_revision:
            return
        self._asked_t, self._asked_revision = self.now, revision
        self._revision += 1
        for car in self.team.values():
            car.lay_out(self.clock, self.now)
        question = forecasts.snapshot(self.setup, self.clock, list(self.team.values()), self.now)
        seed = self.setup.forecast.seed * 1_000_003 + self._revision
        self._wanted = out.ForecastWanted(t=self.now, revision=self._revision, seed=seed, snapshot=question)
        self._outputs.append(self._wanted)

    def _arm(self) -> None:
        if self._over():
            return
        moments = [self._tick_t + TICK_S, self._refresh_t + REFRESH_S]
        moments += [moment for car in self.team.values() if (moment := car.book.next_moment(self.now)) is not None]
        wish = max(min(moments), self.now + 0.001)
        if self._armed is None or wish < self._armed - 1e-6:
            self._armed = wish
            self._outputs.append(out.WakeAt(t=wish))

    def _close(self) -> None:
        for car in self.team.values():
            for call in list(car.book.calls.values()):
                if call.open:
                    car.signal(call, "withdraw", self.now, "session closed")
                elif call.state == "said":
                    car.signal(call, "settle", self.now, "session closed")
            car.progress.skip_what_cannot_be(self.now)
            self._plan_dirty.add(car.car)
        self._outputs += self.alerts.all_over(self.now)

    def _over(self) -> bool:
        closed = self.clock.closed_t
        return closed is not None and self.now >= closed + REST_AFTER_CLOSE_S

    def _fed(self) -> None:
        self.feed_t = self.now

    def _all_dirty(self) -> None:
        self._dirty.update(self.team)
        self._desk_dirty.update(self.team)
