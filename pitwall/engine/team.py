"""One of our cars: its track, plan, switches and calls together, and how a fact about one moves the others."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

from pitwall.engine import called_in, calling_again, drivers, item_times, items, lap_behind, last_release, stayed_out
from pitwall.engine.boards_read import acted_on, is_ahead
from pitwall.engine.brief_laps import keep_true
from pitwall.engine.call import Call
from pitwall.engine.calls import CallBook
from pitwall.engine.car import CarTrack, Happening
from pitwall.engine.carried import Carried, at_the_start
from pitwall.engine.channel import ChannelBook
from pitwall.engine.comment_book import CommentBook
from pitwall.engine.driven_on import last_timed_lap_spent
from pitwall.engine.for_the_flag import came_in, next_leaving, over_the_line, run_left_for, run_of
from pitwall.engine.holds import HoldWatch
from pitwall.engine.media import convey
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.engine.owed import OwedAnswers
from pitwall.engine.plan_desk import PlanDesk
from pitwall.engine.progress import PlanProgress, RunState
from pitwall.engine.rules import RULES
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.settled import settled_words
from pitwall.engine.situation import Leg, StatusNews, garage_legs, running_legs
from pitwall.engine.switches import SwitchBoard
from pitwall.engine.untold_news import still_news, tell_again
from pitwall.engine.view import situation
from pitwall.engine.windows import cut_by_flag
from pitwall.model.car import Position, same_position
from pitwall.model.plan import Plan, ThreePoint
from pitwall.model.setup import SessionSetup
from pitwall.track.lapmap import LapMap

SETTLE_S = 60.0  # a call that was said, and whose place is this far behind, is taken as acted on
QUIET = "quiet"
STAYED_OUT_LAPS = 2
STANDS_S = 45.0
STRAYED_S, FELT_S = 0.3, 20.0  # at the places that it reaches within so long
NEAR_S = 10.0  # where no call begins sooner, nor is the line nearer, the next look is soon enough
GARAGE_ACTIONS = ("leave", "fire_up")


@dataclass
class TeamCar:
    """Mutable state of one team car."""

    car: str
    setup: SessionSetup
    plan: Plan
    track: CarTrack
    lap_map: LapMap
    progress: PlanProgress
    switches: SwitchBoard
    book: CallBook
    legs: tuple[Leg, ...] = ()
    release_s: float | None = None
    release_floor: float = 0.0
    crew_floor: float = 0.0
    desk: PlanDesk = field(init=False)
    since_s: float = 0.0
    news: list[StatusNews] = field(default_factory=list)
    quiet: bool = False
    kept_in: bool = False
    comments: CommentBook = field(init=False)
    told: int = 0
    tyres_told: dict[tuple[str, str], float] = field(default_factory=dict)
    tyres_laid: tuple[tuple[str, str], ...] = ()
    work: ThreePoint | None = None
    seated: str = ""
    drove: dict[int, str] = field(default_factory=dict)
    engineer: str | None = None
    quiet_plan: tuple[Plan, str, Plan] | None = None
    put_off: tuple[str, float] | None = None
    watched: tuple[int, int, str] | None = None
    watched_t: float = 0.0
    refreshed_t: float = float("-inf")
    called_in: tuple[int, float] | None = None
    flag_run: RunState | None = None
    recalls: int = 0
    fire_ups: int = 0
    recalled: bool = False
    heard: bool = False
    first_release_s: float | None = None
    told_finish_s: float | None = None
    ahead: dict[int, tuple[float, float]] = field(default_factory=dict)
    carried: Carried = field(default_factory=Carried)
    by_hand: Callable[[], bool] = bool  # asked of its history, once it has one
    field_tracks: Mapping[str, CarTrack] = field(default_factory=dict)
    holds: HoldWatch = field(default_factory=HoldWatch)
    boards_ahead: dict[str, Call] = field(default_factory=dict)
    owed: OwedAnswers = field(default_factory=OwedAnswers)
    channel: ChannelBook = field(default_factory=ChannelBook)

    def __post_init__(self) -> None:
        self.carried, self.comments = at_the_start(self.plan), CommentBook(self.car)
        self.desk = PlanDesk.of(self.plan, self.setup.alternates.get(self.car, {}))
        first = self.progress.next
        self.seated = self.plan.driver_of(first.run if first is not None else None)

    # -- facts --------------------------------------------------------------------------------------------------

    def happened(self, happening: Happening, clock: SessionClock, now: float) -> None:
        """Something happened to the car: plan, items, switches and calls follow."""
        if happening.what in ("loop", "lap_done") and self.track.compound is not None:
            was, found = self.progress.current, self.progress.see_tyres(self.track.compound, now)
            if was is not None and found is not None:
                self.carried.leaves(found, self.plan, self.track, self.progress.left_t)
                self._is_on(found, was, now)
        if happening.what == "left":
            self._left(happening.t, clock, now)
        elif happening.what == "came_in":
            self._came_in(happening, clock, now)
        elif happening.what == "lap_done":
            self._lap_done(happening, now)
            self._flag_is_out(clock, now)
        run = self.progress.current
        if not self.track.on_track or run is None:
            return
        if run.expected_kind == "in":
            self.track.move("called_in")
        elif run.expected_kind == "cool" and happening.what == "lap_done" and self.track.lap is not None:
            # Nothing of the lap is seen yet: the plan is the best guess.
            self.track.move("judged_cool")
            self.track.lap.kind = "cool"

    def _left(self, t: float, clock: SessionClock, now: float) -> None:
        run = run_left_for(self, clock, t, self._told_to_leave())
        drivers.gets_in(self, run)
        if self.track.lap is not None:
            self.track.lap.run = run.run.run if run else None
        last = {call.spec.ask.action: call.id for call in self.book.calls.values()}
        for call in list(self.book.calls.values()):
            if call.spec.lap == "garage" and call.state in ("shown", "due", "said", "unconfirmed", "late"):
                if call.spec.ask.action in GARAGE_ACTIONS and last[call.spec.ask.action] == call.id:
                    self.signal(call, "evidence", now, "the car left")
                elif call.state == "shown":
                    self.signal(call, "withdraw", now, "the car left before")
                elif call.state == "due":
                    self.signal(call, "expired", now, "the car left; no word that it was said")
        self.switches.left()
        self.kept_in, self.crew_floor = False, 0.0
        if run is not None:
            self.progress.revision += 1
            self.carried.leaves(run, self.plan, self.track)
            run.left_as, run.left_wet = None, self.switches.wet

    def _told_to_leave(self) -> str | None:
        """The run that the car was told to leave for since it came in, by somebody's word."""
        since = self.since_s if self.progress.parked_t is None else self.progress.parked_t
        calls = reversed(self.book.asking("leave"))
        return next((call.spec.run for call in calls if call.said_t is not None and call.said_t >= since), None)

    def _came_in(self, happening: Happening, clock: SessionClock, now: float) -> None:
        spoilt = happening.lap is not None and happening.lap.disturbed
        red = clock.status == "red" or (spoilt and clock.status != "green")
        run = self.progress.current
        if happening.lap is not None and run is not None:
            happening.lap.run = run.run.run
        for call in list(self.book.calls.values()):
            if (
                (call.spec.ask.action in ("box", "return_to_pits") and not call.at_rest)
                or (call.spec.ask.action == "return_to_pits" and call.state in ("unconfirmed", "late"))
                or (
                    call.spec.ask.action == "box"
                    and call.state in ("unconfirmed", "late")
                    and run is not None
                    and call.spec.run == run.run.run
                    and (call.spec.lap_number or call.spec.pass_number) in (None, self.track.lap_number)
                )
            ):
                signal, reason = call.at_the_pits()
                self.signal(call, signal, now, reason)
        flag = clock.between_windows
        ended = self.progress.come_in(happening.t, red or flag)
        if ended is not None:
            if flag and ended.state in ("cut", "next"):
                ended.reason = ended.reason if red else "chequered flag"
                cut_by_flag(self, clock, ended, now)
            lap_behind.in_the_pits(self, ended, happening.lap, now)
            self._owe(ended)
        self.work = ended.run.after_garage_s if ended is not None else None
        self.since_s, self.release_floor, self.recalled = now, 0.0, False
        came_in(self)
        last_release.note(self, clock, ended, now)
        self.progress.revision += 1

    def _lap_done(self, happening: Happening, now: float) -> None:
        run, lap = self.progress.current, happening.lap
        if run is None or lap is None:
            return over_the_line(self)
        lap.run, leg = run.run.run, run.pointer
        self.progress.lap_done(lap.kind)
        drivers.on_lap(self)
        if self.track.lap is not None:
            self.track.lap.run = run.run.run
        lap_behind.at_the_line(self, run, leg, lap, now)
        if run.stayed_out >= STAYED_OUT_LAPS + run.out_in and not self._box_was_said(run):
            found = stayed_out.another_run(self, run, now)
            if found is not None:
                self._is_on(found, run, now)
                run = found
        for call in list(self.book.calls.values()):
            wanted = call.spec.ask.lap_kind
            tells = call.spec.ask.action == "lap_kind" and wanted == lap.kind
            if tells and call.spec.leg == leg and call.spec.run == lap.run:
                self.signal(call, "evidence", now, f"the lap was a {wanted} lap")

    def _is_on(self, found: RunState, was: RunState, now: float) -> None:
        """The car is on another run than was thought: what was still to be said of that one is not said any more."""
        if self.track.lap is not None:
            self.track.lap.run = found.run.run
        for call in list(self.book.calls.values()):
            if call.spec.run == was.run.run and call.open:
                self.signal(call, "withdraw", now, f"the car is on {found.run.run}, not on {was.run.run}")

    def _flag_is_out(self, clock: SessionClock, now: float) -> None:
        """A lap that the flag had allowed to be finished is finished: this one is the in-lap."""
        if clock.status != "finished":
            return
        run = self.progress.current
        if run is not None and run.expected_kind != "in":
            run.boxed_from, run.pointer = run.pointer, len(run.laps) - 1  # the laps between are left of it
        self.news = [news for news in self.news if news.status != "flag_out"]
        if all(news.status != "finished" for news in self.news) and self.told_finish_s is None:
            self.told_finish_s = now
            self.told += 1
            self.news.append(StatusNews(self.told, now, "finished"))

    def _box_was_said(self, run: RunState) -> bool:
        """Guard: somebody says that this run's box call was made, so the car is disobedient and not on another run."""
        calls = (call for call in self.book.calls.values() if call.spec.run == run.run.run and call.spec.kind == "box")
        return any(call.said_t is not None and not call.unfounded for call in calls)

    def _owe(self, run: RunState) -> None:
        """The run is over: what its items changed and nothing showed to be back is owed at the next release check."""
        base = self.switches.wanted(run, 0) if run.laps else {}
        for call in self.book.calls.values():
            if call.spec.run != run.run.run or call.state not in ("said", "unconfirmed", "late", "done"):
                continue
            for name, position in call.spec.asked.items():
                if call.spec.ask.action == "set_switch" and name in base and not same_position(position, base[name]):
                    self.switches.owe(name, base[name])

    def measured(self, name: str, position: Position, now: float) -> None:
        """Telemetry gave a position: calls that asked for it are done."""
        self.switches.measure(name, position, now)
        self.see_positions(now)

    def see_positions(self, now: float) -> None:
        """Calls whose every position telemetry shows are done, whoever said them."""
        for call in list(self.book.calls.values()):
            # Not while it is only shown: a switch stands where a later put-back wants it until it has been moved.
            if call.state not in ("due", "said", "unconfirmed", "late"):
                continue
            asked = call.spec.asked
            if not asked or call.spec.ask.action == "procedure":
                continue
            if all(same_position(self.switches.measured.get(one), to) for one, to in asked.items()):
                self.signal(call, "evidence", now, "telemetry shows the position")

    @property
    def strayed(self) -> bool:
        """The car is not where the laps ahead were laid out from, nor soon will be: they must be laid out anew.

        What it is early or late by grows along the lap, so early on a lap less of it is felt by the next calls; and by
        none of them where all are far ahead.
        """
        here = self.track.sighted
        seen_t = self.track.seen_t if here is None else here.t
        if not self.legs or min(self.legs[0].end_s, self.book.begins_s) > seen_t + NEAR_S:
            return False
        first, line = self.legs[0], self.track.arrival(1.0)
        if line is None:
            return False
        felt = (seen_t + FELT_S - first.start_s) / max(first.end_s - first.start_s, 1e-6)
        return abs(line - first.end_s) * min(felt, 1.0) > STRAYED_S

    # -- calls --------------------------------------------------------------------------------------------------

    def signal(self, call: Call, signal: str, now: float, reason: str | None = None,
               because: str | None = None) -> bool:
        """Give a call a signal, and let its item and switches follow."""
        return self.book.signal(call, signal, now, reason, because)

    def follow_calls(self, changed: list[Call], now: float) -> None:
        """Calls changed state: items and the switch board follow."""
        self.follow_items(changed, now)
        self.owed.follow(changed, now)
        for call in changed:
            check = call.spec.key.rpartition("-")[0] if call.spec.ask.action == "check_switches" else None
            if self.channel.never_spoken(call):
                self.switches.unheard(call.spec.asked)
            elif is_ahead(call, self.track):
                self.boards_ahead[call.id] = call
            elif call.state in ("said", "done", "unconfirmed", "late"):
                self.boards_ahead.pop(call.id, None)
                if call.confirmed and call.spec.kind == "brief":
                    self.switches.answered(call.id)  # who answers briefs is silent behind a check list for a reason
                self.switches.told(call.spec.asked, call.confirmed, call.said_t, check, now)

    def follow_items(self, changed: list[Call], now: float) -> None:
        """Calls changed state: their items follow."""
        run = self.progress.current
        leg_now = run.pointer if run is not None else 0
        to_come = partial(items.change_to_come, self.switches, self.book)
        for call in changed:
            if run is not None:
                items.switched(run, call, self.switches, now)
            items.call_moved(self.progress.runs, call, self.setup.procedures, leg_now, now, to_come,
                             self.book.keys >= FEW_KEYS)

    def settle(self, clock: SessionClock, now: float) -> None:
        """Calls that were said, and whose place is far behind, are taken as acted on; a car that did not leave is
        called again."""
        calling_again.look(self, clock, now)
        among = self.book.calls.values() if self.book.said else ()
        for call in [call for call in among if call.state == "said"]:
            if now >= max(call.spec.act_at_s or 0.0, call.said_t or 0.0) + SETTLE_S:
                self.signal(call, "settle", now, settled_words(self, call))

    # -- the situation -------------------------------------------------------------------------------------------

    def release_estimate(self, clock: SessionClock) -> float | None:
        """When the next run is expected to leave the garage, session seconds; None when nothing is left to run."""
        release = self.earliest_release()
        if release is None:
            return None
        release = max(release, self.crew_floor)
        if clock.pit_exit == "closed" and clock.pit_exit_opens_s is not None:
            release = max(release, clock.pit_exit_opens_s)
        return release

    def earliest_release(self) -> float | None:
        """When work and plan let the next run leave, whatever the pit exit does and the crew must know before."""
        run = self.progress.next
        if run is None or self.track.on_track:
            return None
        base = 0.0 if self.progress.parked_t is None else self.progress.parked_t + drivers.stop(self).likely_s
        return max(base, run.run.release.not_before or 0.0, self.release_floor)

    def lay_out(self, clock: SessionClock, now: float) -> None:
        """Lay the laps ahead out in time anew."""
        self.ahead = clock.windows_ahead(now)
        following, run = next_leaving(self, clock, now), run_of(self)
        self.release_s = last_release.release_s(self, clock, now, self.release_estimate(clock))
        if self.release_s is None:
            self.first_release_s = None
        elif not self.recalled:
            # What the stop was planned to take; being called again does not make the car less late.
            self.first_release_s = self.release_s
        if run is not None and self.track.on_track:
            self.legs = running_legs(self.track, run, self.lap_map, last_timed_lap_spent(self, run))
        elif following is not None and self.release_s is not None:
            # While the car stands here, its first lap is always still to come, however late it is.
            leaves = max(self.release_s, now + STANDS_S)
            self.legs = garage_legs(self.track, following, leaves, self.lap_map)
        else:
            self.legs = ()

    def refresh(self, clock: SessionClock, now: float) -> None:
        """Ask every rule what should be said now, and bring the book in line."""
        self.refreshed_t, self.tyres_laid = now, tuple(self.tyres_told)
        for call in acted_on(self.boards_ahead, self.track):
            self.switches.told(call.spec.asked, call.confirmed, call.said_t, None)
        self.lay_out(clock, now)
        keep_true(self, clock, now)
        called_in.look(self, now)
        tell_again(self, clock, now)
        at = situation(self, clock, now)
        item_times.follow(at)
        said = convey(at, (spec for rule in RULES for spec in rule(at) if self._may(spec.kind)), self.book)
        specs = self.channel.place(at, said, self.book)
        gone = {"red": "red flag", "finished": "chequered flag", "closed": "session closed"}.get(clock.status, "")
        gone = gone or last_release.why_not(self, clock, now)
        if self.quiet and self.track.on_track:
            gone = gone or QUIET
        yellow = clock.status in ("yellow", "slow") or bool(clock.yellow_sectors)
        leg = self.legs[0].index if self.legs and self.track.on_track else -1
        run = at.run.run.run if at.run is not None else None
        left_out = at.run.left_out if at.run is not None and self.track.on_track else range(0)
        self.book.reconcile(specs, now, gone, yellow, (run, leg, self.track.lap_number), left_out)
        self.news = still_news(self, now)

    def _may(self, kind: str) -> bool:
        # On track only: in the garage the driver's ear is not at stake, and a car that nobody calls does not leave.
        return not self.quiet or not self.track.on_track or kind in ("session", "safety", "stop", "box")

    def extra_s(self, run: RunState, leg: int) -> float:
        """Time that procedures add to a planned lap, seconds."""
        found = 0.0
        for item in run.items:
            procedure = self.setup.procedures.get(item.item.do)
            if item.leg == leg and procedure is not None and item.state in ("planned", "called"):
                found += procedure.extra_s * item.item.times
        return found
