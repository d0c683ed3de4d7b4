"""The engine: one session, driven by stamped facts. Dispatch only; what a fact means is written in the parts.

Pure and synchronous: the same facts in the same order give the same outputs, on any machine, at any speed. "Now" is the
``received_t`` of the fact in hand.
"""

from __future__ import annotations

from pitwall.engine import advising_commands, flags, hand, holds, lookout, proposals, taking_back, timetable, windows
from pitwall.engine import standing as stands
from pitwall.engine.advising import BY_DESK, Advising
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.calls import CallBook
from pitwall.engine.car import CarTrack, Happening
from pitwall.engine.channel import channels_of
from pitwall.engine.commands import Answer, Refusal, answer
from pitwall.engine.field import Field, judge
from pitwall.engine.forecasts import Questions
from pitwall.engine.hands import Hands
from pitwall.engine.notices import Notices
from pitwall.engine.positions import positioned
from pitwall.engine.progress import PlanProgress
from pitwall.engine.refused_last import noting
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.switch_watch import look_at_switches, moments_ahead, switch_measured, switches_ahead
from pitwall.engine.switches import SwitchBoard
from pitwall.engine.team import TeamCar
from pitwall.errors import InternalError
from pitwall.model import events as ev
from pitwall.model import outputs as out
from pitwall.model.setup import SessionSetup

REST_AFTER_CLOSE_S = 30.0


class Session:
    """One session of one team. The first fact must be ``SessionPrepared``; everything else follows from the facts."""

    setup: SessionSetup
    clock: SessionClock
    field: Field
    hands: Hands
    questions: Questions
    advising: Advising
    _armed: float | None

    def __init__(self) -> None:
        self.prepared = self.rain = False
        self.now = self._refresh_t = self._advanced_t = float("-inf")
        self.team: dict[str, TeamCar] = {}
        self.alerts, self.notices, self.lookout = AlertBook(), Notices(), lookout.Lookout()
        self._outputs: list[out.Output] = []
        self._dirty: set[str] = set()
        self.wakes, self._armed = True, None  # False where a journal is gone over to its end, and nobody is woken

    # -- the port ---------------------------------------------------------------------------------------------------

    def handle(self, stamped: ev.Stamped) -> tuple[out.Output, ...]:
        """Advance by one fact; returns what was decided, in order.

        Raises:
            InternalError: when the first fact is not ``SessionPrepared``, or a second one follows.
        """
        event = stamped.event
        if self.prepared == isinstance(event, ev.SessionPrepared):
            wrong = "a second session_prepared" if self.prepared else f"{event.type!r} before session_prepared"
            raise InternalError(f"the journal has {wrong}")
        self._outputs = []
        self.now = max(self.now, stamped.received_t)
        if isinstance(event, ev.TimetableReached):
            return self._timetable(event)
        if self._armed is not None and self.now >= self._armed:
            self._armed = None
        self._dispatch(event)
        if isinstance(event, ev.PromptDelivered) and self.now == self._advanced_t:
            return ()  # it tells nothing, and all was looked at this very moment
        self._take_hands()
        self._advance()
        self._advanced_t = self.now
        return tuple(self._outputs)

    def _timetable(self, event: ev.TimetableReached) -> tuple[out.Output, ...]:
        """A moment of the day: it is told, and nothing else is looked at, so no call is decided at another time."""
        self._outputs += timetable.reached(event, self.setup.session, self.alerts, self.clock, self.now)
        if self._over():
            self._arm()
        return tuple(self._outputs)

    def standing(self) -> tuple[out.Output, ...]:
        """Every retained state and outstanding prompt as it stands, and the last word on calls that ended just now."""
        if not self.prepared:
            return ()
        parts = self.clock, self.team, self.questions, self.advising, self.alerts, self.field
        return tuple(stands.standing(*parts, self.now))

    def open_wishes(self) -> tuple[out.Output, ...]:
        """The wake-up and the unanswered questions that a restarted host must ask for again."""
        wishes: list[out.Output] = []
        if self._armed is not None:
            wishes.append(out.WakeAt(t=self._armed))
        if self.prepared and self.questions.awaited is not None:
            wishes.append(self.questions.awaited)
        return (*wishes, *(self.advising.open_wishes() if self.prepared else ()))

    @property
    def at_rest(self) -> bool:
        """True when the session closed, and no call can change any more."""
        return self.prepared and self._over()

    # -- facts --------------------------------------------------------------------------------------------------------

    def _dispatch(self, event: ev.Event) -> None:  # noqa: C901 - one flat case for each fact reads better than a table
        match event:
            case ev.TimeReached() | ev.LinkChanged():
                """Time passes, or evidence is kept in the journal for others to read. First, as most facts are that."""
            case ev.SessionPrepared():
                self._prepare(event.setup)
            case ev.CarCrossed() | ev.CarPitted():
                self._hears_the_feed()
                self._seen(event)
            case ev.StatusChanged():
                self._hears_the_feed()
                self.field.heard_t = self.now
                if (taken := self.hands.feed_status(event, self.now)) is not None:
                    self._status(taken)
            case ev.ClockReported():
                self._hears_the_feed()
                self.hands.feed_clock(event, self.now)
                if self.clock.report(event):
                    self._all_dirty()
            case ev.WeatherReported():
                self.rain = holds.rain(event.rain, self.rain, self.team.values(), self.now)
            case ev.SwitchReported():
                self._switch(event)
            case ev.CommandGiven():
                self._command(event)
            case ev.CommentRead():
                self.hands.comment_read(event)
            case ev.PlanFileRead():
                self._plan_file(event)
            case ev.ForecastReady():
                self._outputs += self.advising.forecast(
                    event, self.questions, self.team, self.alerts, self.clock, self.now
                )
            case ev.AdviceReady():
                self._outputs += self.advising.answered(event, self.team, self.alerts, self.clock, self.now)
            case ev.PromptDelivered():
                self._delivered(event)
            case ev.Restarted():
                self._restarted(event)
            case ev.Resumed():
                self._resumed(event)
            case ev.CarPositioned() | ev.CarSighted():
                if positioned(self.field, self.team.get(event.car), event, self.now):
                    self._dirty.add(event.car)
            case ev.ChannelReported():
                if (car := self.team.get(event.car)) is not None and car.channel.heard(event, car.book):
                    self._dirty.add(event.car)
            case ev.TyreReported():
                self._outputs += self.lookout.tyre(event, self.team, self.clock, self.alerts, self.now)

    def _hears_the_feed(self) -> None:
        """The first word of timing: until then nobody knows when the session begins, and nobody is called out."""
        self.hands.hears(self.now)

    def _prepare(self, setup: SessionSetup) -> None:
        self.setup, self.prepared, self.rain = setup, True, setup.wet
        self.clock = SessionClock(setup.regulations, setup.duration_s, setup.windows)
        self.field, self.questions, self.advising = Field(setup), Questions(setup), Advising(setup)
        channels = channels_of(setup)
        for name, plan in sorted(setup.plans.items()):
            track = self.field.track(name)
            switches = SwitchBoard(setup.cars[name], plan, setup.procedures, setup.wet)
            book = CallBook(name, setup.calls.unconfirmed_after_s)
            self.team[name] = TeamCar(
                name, setup, plan, track, track.lap_map, PlanProgress(plan), switches, book, since_s=self.now,
                field_tracks=self.field.tracks, channel=channels[name],
            )
        self.hands = Hands(self.clock, self.field, self.team, self._followed, self._status)
        self._all_dirty()
        self.notices.plan.update(self.team)

    def _followed(self, track: CarTrack, happenings: list[Happening]) -> None:
        car = self.team.get(track.car)
        for happening in happenings:
            if car is not None and happening.what != "ignored":
                revision = car.progress.revision
                car.happened(happening, self.clock, self.now)
                self._dirty.add(track.car)
                if happening.what in ("left", "came_in", "lap_done") or car.progress.revision != revision:
                    self.notices.plan.add(track.car)
                if happening.what == "lap_done":
                    self._outputs += look_at_switches(car, self.alerts, self.clock.status, self.now)
            judged = judge(track, happening, car.progress.current if car is not None else None, self.now)
            if judged is not None:
                self._outputs.append(judged)

    def _seen(self, event: ev.CarCrossed | ev.CarPitted) -> None:
        if isinstance(event, ev.CarCrossed) and event.car in self.team:
            holds.at_loop(self.team[event.car], event)
        happenings = self.hands.feed_saw(event, self.now)
        if happenings is not None:
            self._followed(self.field.track(event.car), happenings)

    def _status(self, event: ev.StatusChanged, by: str | None = None) -> None:
        self.hands.clocks.note(event, self.now, by)
        before, sectors = self.clock.status, self.clock.yellow_sectors
        changed = self.clock.change(event)
        if not changed:
            return
        for name, car in self.team.items():
            self.hands.note_flag(name, event, changed, before, sectors, self.now, by)
            flags.apply(car, self.clock, changed, before, sectors, self.now)
            self.notices.plan.add(name)
        if "status" in changed and self.clock.disturbed:
            self.field.disturb()
        if "status" in changed and self.clock.status == "closed":
            self._outputs += self.alerts.all_over(self.now, keep=timetable.KINDS)
        self._all_dirty()

    def _switch(self, event: ev.SwitchReported) -> None:
        car = self.team.get(event.car)
        if car is None:
            return
        switch = car.switches.known(event.switch)
        if switch is None:
            self._refuse(event.id, event.car, f"car {event.car} has no switch {event.switch!r}")
        elif not switch.allows(event.position):
            known = switch.positions_text()
            self._refuse(event.id, event.car, f"{event.switch!r} cannot stand at {event.position!r}, only at {known}")
        elif not car.switches.overtaken(event.switch, event.t):
            self.hands.feed_switch(event.car, event.switch, event.position, event.id, self.now)
            self._outputs += switch_measured(car, event, self.alerts, self.clock.alert_status, self.now)
            self._dirty.add(event.car)

    def _command(self, event: ev.CommandGiven) -> None:
        car = self.team.get(event.car)
        if car is None:
            ours = ", ".join(sorted(self.team)) or "none"
            self._refuse(event.id, event.car, f"no plan for car {event.car}; ours: {ours}")
            return
        ended = self._over() or (self.clock.status == "closed" and event.command == "repeat")
        if ended and event.command not in ("comment", "acknowledge"):
            self._refuse(event.id, event.car, "the session is closed")
            return
        try:
            result = noting(event, car, self.now,
                            lambda: hand.answer(event, self.hands, self.now) or self._answer(event, car))
        except Refusal as refusal:
            self._refuse(event.id, event.car, str(refusal))
            return
        self._outputs += (*result.outputs, *car.comments.take_news())
        name = f"answer-{event.id}"[:128]
        self._outputs.append(out.Answered(id=name, t=self.now, because=event.id, car=event.car, effect=result.effect))
        if result.plan_changed:
            self._plan_changed(event, result)
        elif event.command == "seen":
            self.notices.plan.add(event.car)
        if event.command not in windows.MOVE_NOTHING:
            self._dirty.add(event.car)

    def _plan_changed(self, event: ev.CommandGiven, result: Answer) -> None:
        why = (event.text or "").strip()
        for name in (event.car, *result.also):
            car = self.team[name]
            car.desk.note(car.progress.revision, self.now, event.by, result.effect, why, event.changes, event.id,
                          result.takes_back_t)
            self.notices.plan.add(name)
            self._dirty.add(name)
        self.questions.hurry()
        if advising_commands.changed_by_desk(event):
            self.advising.wish(BY_DESK)

    def _plan_file(self, event: ev.PlanFileRead) -> None:
        car = self.team.get(event.car)
        if car is not None and not self._over():
            self._outputs += proposals.file_read(event, car, self.alerts, self.clock.status, self.now)

    def _answer(self, event: ev.CommandGiven, car: TeamCar) -> Answer:
        before = taking_back.before(car, event, self.team, self.now)
        result = advising_commands.answer(event, self.advising, self.hands, self.now)
        result = result or answer(event, car, self.alerts, self.now)
        taking_back.note(self.hands, event, before, result.plan_changed, self.now)
        return result

    def _refuse(self, because: str, car: str | None, reason: str) -> None:
        name = f"refused-{because}"[:128]
        self._outputs.append(out.Refused(id=name, t=self.now, because=because, car=car, reason=reason))

    def _delivered(self, event: ev.PromptDelivered) -> None:
        for car in self.team.values():
            if (call := car.book.find(event.prompt.rpartition(".")[0])) is not None and call.delivered_t is None:
                call.delivered_t = event.t

    def _restarted(self, event: ev.Restarted) -> None:
        for car in self.team.values():
            car.book.after_gap(self.now - event.gap_s, self.now)
        self._armed = None
        # Nothing is laid out anew for it: a restart that took no time must decide what no restart would have decided.
        self.notices.desk.update(self.team)

    def _resumed(self, event: ev.Resumed) -> None:
        """The machine slept: what should have been said meanwhile is late or missed, never due now."""
        for car in self.team.values():
            car.book.after_gap(self.now - event.gap_s, self.now, "stood still")
        self.notices.desk.update(self.team)

    def _take_hands(self) -> None:
        """What was entered by hand, or thought over because of it, is news like any other."""
        if not self.prepared:
            return
        outputs, changed = self.hands.take_news()
        self._outputs += outputs
        for name in changed:
            self._dirty.add(name)
            self.notices.plan.add(name)
            self.questions.hurry()

    # -- after every fact ---------------------------------------------------------------------------------------------

    def _advance(self) -> None:
        if self.clock.flag_is_due(self.now):
            self._by_time("finished")
        if self.clock.closing_is_due(self.now):
            self._by_time("closed")
        if self.now >= self._refresh_t + self._look_s:
            self._refresh_t = self.now
            self._look_around()
            awake = [name for name, car in self.team.items() if not windows.can_wait(car, self.clock, self.now)]
            self.notices.desk.update(awake)
        for name, car in self.team.items():
            if windows.stale(car, self.clock, self.now):
                self._dirty.add(name)
            if (name in self._dirty or car.channel.lapsed(car.book, self.now)) and not self._over():
                car.refresh(self.clock, self.now)
                self.notices.desk.add(name)
            car.channel.tick(car.book, self.now)
            changed = car.book.take_changed()
            if changed:
                self.hands.note_calls(name, changed, self.now)
                car.follow_calls(changed, self.now)
                self._outputs += [call.prompt(self.now) for call in changed]
                self.notices.desk.add(name)
            self._outputs += proposals.follow(car, self.clock.status, self.now)
            self._outputs += switches_ahead(car, self.alerts, self.clock.alert_status, self.now)
        self._outputs += self.advising.follow(self.clock, self.team, self.alerts, self.now)
        self._dirty.clear()
        self._outputs += timetable.fade(self.alerts, self.clock, self.now)
        self._outputs += self.notices.due(self.clock, self.team, self.field.tracks.values(), self.now, self._over())
        if self.clock.status != "closed":
            question = self.questions.ask(self.clock, list(self.team.values()), self.now)
            self._outputs += [question] if question is not None else []
        self._arm()

    def _by_time(self, status: out.Status) -> None:
        """Time alone says that the flag fell, or that nobody will close the session."""
        self._status(ev.StatusChanged(id=f"by-time-{status}", t=self.now, status=status))

    def _look_around(self) -> None:
        """Every few seconds: cars that parked or fell silent, calls to settle, feeds that went stale."""
        for track, happenings in self.field.look_around(self.clock, self.now, dict(self.hands.patience_s())):
            self.hands.note_time(track.car, happenings, self.now)
            self._followed(track, happenings)
        self.lookout.timing(self.field, self.setup.calls, self.now)
        for car in self.team.values():
            recalls = car.recalls
            car.settle(self.clock, self.now)
            if car.recalls != recalls:
                self.hands.note_recall(car.car, self.now)
            self._outputs += self.lookout.around(car, self.clock, self.alerts, self.now)
        self._outputs += self.lookout.feed(self.field, self.setup.calls.feed_stale_s, self.clock, self.alerts, self.now)

    def _arm(self) -> None:
        if not self.wakes:
            return
        if self._over():
            # The day goes on: what its timetable shows must still end.
            ends = timetable.next_end(self.alerts)
            moments = [] if ends is None else [ends]
        else:
            moments = [self.notices.tick_t + self.notices.tick_s, self._refresh_t + self._look_s]
            moments += [moment for car in self.team.values() for moment in moments_ahead(car, self.now)]
        if not moments:
            return
        wish = max(min(moments), self.now + 0.001)
        if self._armed is None or wish < self._armed - 1e-6:
            self._armed = wish
            self._outputs.append(out.WakeAt(t=wish))

    @property
    def _look_s(self) -> float:
        return windows.REST_LOOK_S if windows.resting(self.clock, self.now) else windows.LOOK_S

    def _over(self) -> bool:
        closed = self.clock.closed_t
        return closed is not None and self.now >= closed + REST_AFTER_CLOSE_S

    def _all_dirty(self) -> None:
        self._dirty.update(self.team)
        self.notices.desk.update(self.team)
