"""Truth by hand beside the feed: later and better evidence wins, and says so.

* **One crossing.** What a hand and the feed saw of one car at one place within ``SAME_S`` is one crossing. The feed's
  time takes the place of the hand's, lap times follow, and ``Corrected`` says so. A hand that comes after the feed is
  told that the feed has it. Two hands, or one hand twice, within ``DOUBLE_S``: the first stands.
* **In its time.** A crossing by hand with an earlier ``t`` is put in where it belongs, and what followed is thought
  over.
* **A car that was set** (kind of lap, run, lap) stays so until a loop, the line or the pit lane says otherwise: those
  are inputs after it, and later inputs win.
* **Status and clock**: see ``engine/hand_clock.py``.
* **Switches**: telemetry wins where it measured a switch within ``MEASURED_S``. A hand counts where it did not; the
  next measurement takes its place, and says so when it shows another position.
* **Undo** takes an input out of the history and thinks over what followed. What was said was said.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from pitwall.engine import field_flags, flags, joining
from pitwall.engine.belief import put
from pitwall.engine.call import Call
from pitwall.engine.calling_again import recall
from pitwall.engine.car import DOUBLE_S, CarTrack, Happening, LapRecord
from pitwall.engine.field import Field, lap_judged
from pitwall.engine.hand_clock import SAME_CHANGE_S, ClockHistory, ClockInput
from pitwall.engine.hand_words import place_words, tenths, why_not
from pitwall.engine.history import Entry, History, follow, others_misjudged, see, seen
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.set_run import choose_run
from pitwall.engine.team import TeamCar
from pitwall.model.car import Position, same_position
from pitwall.model.events import CarCrossed, CarPitted, ClockReported, CommandGiven, CommentRead, StatusChanged
from pitwall.model.outputs import Corrected, Output
from pitwall.model.units import clock_text

SAME_S = 20.0
"""No hand is later than this, and no car is back at the same place so soon (common practice, no source)."""
MEASURED_S = 60.0
"""Telemetry that spoke of a switch within this is fresh (common practice, no source)."""
LAPS_BY_HAND = 2.6
"""So many laps a car may be unseen that is followed from the line alone: one press may be forgotten."""
DONE_KEPT = 100


@dataclass
class Done:
    """A command that may be taken back: by whom, for which car (None: for all), what in words, and how.

    ``back`` returns what holds then, in words; it raises ``Refusal`` when that cannot be any more.
    """

    id: str
    by: str
    car: str | None
    what: str
    back: Callable[[float], str]
    call: str | None = None
    """The call that was said by a slip of the hand: only an undo that names it means it."""
    planned: bool = False
    """It changed the plan; so does its undo. What was only entered and is taken back was no change of the plan."""
    comment: int | None = None
    """The comment that was noted or changed."""
    passed: bool = False
    """Something was taken back since, and this comment was not: only an undo that names it means it."""
    refused: bool = False  # it cannot be taken back, as was told: only an undo that names it means it
    command: str = ""
    t: float = 0.0
    """Which command it was, and when it was given."""


class Hands:
    """What was entered by hand, beside what the feed says. ``done`` holds what can be taken back, the latest last;
    ``given_t`` is when the command was given that is carried out."""

    def __init__(
        self,
        clock: SessionClock,
        field: Field,
        team: dict[str, TeamCar],
        followed: Callable[[CarTrack, list[Happening]], None],
        status: Callable[[StatusChanged, str | None], None],
    ) -> None:
        """Begin with nothing entered.

        Args:
            clock, field, team: the session's own.
            followed, status: the session's ways of taking what happened to a car, and a status.
        """
        self.clock, self.field, self.team = clock, field, team
        self.followed, self.status = followed, status
        self.clocks = ClockHistory(clock)
        self.histories = {name: History(car) for name, car in team.items()}
        for name, history in self.histories.items():
            team[name].by_hand = history.by_hand
        self.done: list[Done] = []
        self.positions: dict[tuple[str, str], tuple[Position, str]] = {}
        self.given_t = 0.0
        self._heard_t: float | None = None
        self._outputs: list[Output] = []
        self._changed: set[str] = set()

    def take_news(self) -> tuple[list[Output], list[str]]:
        """Outputs, and cars of which something else is believed now, since this was last asked."""
        outputs, changed = self._outputs, sorted(self._changed)
        self._outputs, self._changed = [], set()
        return outputs, changed

    def correct(self, because: str, text: str, now: float, car: str | None = None) -> None:
        """Say that better evidence replaced what was believed."""
        self._outputs.append(Corrected(id=f"corrected-{because}"[:128], t=now, car=car, because=because, text=text))

    # -- the feed -----------------------------------------------------------------------------------------------------

    def feed_saw(self, event: CarCrossed | CarPitted, now: float) -> list[Happening] | None:
        """A crossing or pit signal from the feed; None when a hand had it, and all that follows is done already."""
        history = self.histories.get(event.car)
        what, place = ("cross", event.loop) if isinstance(event, CarCrossed) else ("pit", event.where)
        if history is None:
            return self._seen_by_field(event, now)[1]
        had = history.near(what, place, event.t, SAME_S)
        if had is not None and had.by is not None:
            self._better_time(history, had, event, now)
            return None
        if what == "cross":
            self._join(event, now)
        entry = history.note(Entry(event.id, what, now, copy.copy(self.clock), see, event.t, place))
        if isinstance(event, CarCrossed):
            entry.lap_time_s, entry.compound = event.lap_time_s, event.compound
        happenings = self._seen_by_field(event, now)[1]
        entry.taken = any(happening.what != "ignored" for happening in happenings)
        return happenings

    def _join(self, event: CarCrossed | CarPitted, now: float) -> None:
        """A car that is out already when timing is first heard is on the run that its plan has for now."""
        car = self.team[event.car]
        name = joining.run_in_progress(car, self.clock, self._heard_t, now)
        if name is None or car.progress.next is car.progress.find(name):
            return

        def act(one: TeamCar, entry: Entry) -> None:
            choose_run(one, name, entry.now)

        entry = Entry(f"{event.id}-joined", "joined", now, copy.copy(self.clock), act)
        act(car, self.histories[event.car].note(entry))
        self._changed.add(event.car)
        self.correct(event.id, joining.words(car, name, self.clock, now), now, event.car)

    def _seen_by_field(self, event: CarCrossed | CarPitted, now: float) -> tuple[CarTrack, list[Happening]]:
        if isinstance(event, CarCrossed):
            return self.field.crossed(event, self.clock, now)
        return self.field.pitted(event, now)

    def _better_time(self, history: History, had: Entry, event: CarCrossed | CarPitted, now: float) -> None:
        self.field.heard_t = now
        by, t = had.by, had.t or 0.0
        had.by, had.id, had.guessed = None, event.id, False
        if isinstance(event, CarCrossed):
            had.lap_time_s, had.compound = event.lap_time_s, event.compound
        if self._mend(event.car, now, lambda: history.retime(had, event.t)):
            text = f"{place_words(had)} at {tenths(event.t)} by the feed, not at {tenths(t)} as {by} had it"
            self.correct(event.id, f"Car {event.car}: {text}", now, event.car)

    def feed_status(self, event: StatusChanged, now: float) -> StatusChanged | None:
        """A status from the feed: what is to be taken of it, None when a hand's newer word stands."""
        last = self.clocks.last_status()
        if last is None or last.by is None or event.status is None or event.scope != "all":
            return event
        given = last.event
        assert isinstance(given, StatusChanged)
        if event.status == given.status and abs(event.t - given.t) <= SAME_CHANGE_S and event.status != "waiting":
            if event.pit_exit is None:
                event = event.model_copy(update={"pit_exit": given.pit_exit})
            self._true_time(last, event, now)
            return event
        if event.t < given.t:
            late = f"{event.status} at {tenths(event.t)} from the feed came late"
            text = f"{late}: {given.status}, by {last.by}, is newer"
            self.correct(event.id, text[0].upper() + text[1:], now)
            return None
        if event.status != self.clock.status:
            text = f"{event.status} from the feed replaces {given.status}, which {last.by} had entered"
            self.correct(event.id, text[0].upper() + text[1:], now)
        return event

    def _true_time(self, last: ClockInput, event: StatusChanged, now: float) -> None:
        by, given = last.by, last.event
        self.clocks.replace(last, event)
        for history in self.histories.values():
            entry = history.find(given.id)
            if entry is not None:
                entry.id, entry.by = event.id, None
            for one in history.entries:
                if one.now >= last.now:
                    one.clock = self.clocks.at(one.now)
        self._changed |= set(self.team)
        self.correct(event.id, f"Status {event.status} at {tenths(event.t)} by the feed, not at {tenths(given.t)} "
                               f"as {by} had it", now)

    def feed_clock(self, event: ClockReported, now: float) -> None:
        """An official clock report: a clock by hand yields to it."""
        last = self.clocks.last_clock()
        self.clocks.note(event, now)
        if last is not None and last.by is not None:
            shown = f"{clock_text(self.clock.remaining(event.t))}, which {last.by} had entered"
            self.correct(event.id, f"The official clock says {clock_text(event.remaining_s)}, not {shown}", now)

    def feed_switch(self, car: str, switch: str, position: Position, because: str, now: float) -> None:
        """A measurement takes the place of what a hand had entered."""
        entered = self.positions.pop((car, switch), None)
        if entered is not None and not same_position(entered[0], position):
            self.correct(because, f"Car {car}: telemetry shows {switch} at {position}, not at {entered[0]} as "
                                  f"{entered[1]} had it", now, car)

    # -- what else moves a car, noted so that it can be gone back over ------------------------------------------------

    def note_flag(self, car: str, event: StatusChanged, changed: tuple[str, ...], before: str,
                  sectors: tuple[str, ...], now: float, by: str | None) -> None:
        """A changed status is about to change a car."""

        def act(one: TeamCar, entry: Entry) -> None:
            flags.apply(one, entry.clock, changed, before, sectors, entry.now)

        self.histories[car].note(Entry(event.id, "status", now, copy.copy(self.clock), act, by=by))

    def note_calls(self, car: str, changed: list[Call], now: float) -> None:
        """Calls changed, and their items follow: what was said stays said of whichever lap it is."""
        calls = [copy.copy(call) for call in changed]
        entry = Entry("calls", "calls", now, self.clock, lambda one, entry: one.follow_items(calls, entry.now))
        self.histories[car].note(entry, keep=False)

    def note_time(self, car: str, happenings: list[Happening], now: float) -> None:
        """A car parked, or fell silent, by time alone."""
        history = self.histories.get(car)
        if history is None or not happenings:
            return
        what = happenings[0].what

        def act(one: TeamCar, entry: Entry) -> None:
            track = one.track
            if what == "parked":
                follow(one, track.park(entry.now), entry.clock, entry.now)
            elif track.seen_t + SAME_S < entry.now:
                follow(one, track.fall_silent(entry.now), entry.clock, entry.now)

        history.note(Entry(what, what, now, copy.copy(self.clock), act), keep=False)

    def note_recall(self, car: str, now: float) -> None:
        """The car did not leave, and is called anew."""

        def act(one: TeamCar, entry: Entry) -> None:
            recall(one, entry.now)

        self.histories[car].note(Entry("recall", "recall", now, self.clock, act), keep=False)

    def patience_s(self) -> Iterator[tuple[str, float]]:
        """Cars that are followed by hand, and how long they may go unseen."""
        for name, history in self.histories.items():
            if history.by_hand():
                track = self.team[name].track
                yield name, LAPS_BY_HAND * track.pace.lap_s(track.lap_kind or "timed")

    # -- the hand -----------------------------------------------------------------------------------------------------

    def saw(
        self, command: CommandGiven, what: str, place: str, t: float, now: float, guessed: bool = False
    ) -> str | None:
        """A hand saw the car at a place; why not, in words, when that cannot be."""
        car, history = self.team[command.car], self.histories[command.car]
        entry = Entry(command.id, what, now, copy.copy(self.clock), see, t, place, command.by, guessed=guessed)
        at = history.place_of(t)
        if at is None:
            history.note(entry)
            before = entry.before
            happenings = seen(car, entry)
            if not entry.taken and before is not None:
                put(car, before)
                history.entries.remove(entry)
                return why_not(car, entry)
            self.followed(car.track, happenings)
            return None
        entry.clock = copy.copy(history.entries[at].clock)
        if not self._mend(command.car, now, lambda: history.put_in(entry, at)):
            return f"{tenths(t)} lies too far back to be put in: say where the car is with 'set_car'"
        if not entry.taken:
            self._mend(command.car, now, lambda: history.take_out(entry))
            return why_not(car, entry)
        return None

    def had(self, car: str, what: str, place: str, t: float) -> Entry | None:
        """The input that says the same already."""
        found = self.histories[car].near(what, place, t, SAME_S)
        close = found is not None and (found.by is None or abs((found.t or 0.0) - t) <= DOUBLE_S)
        return found if close else None

    def left_after(self, car: str, t: float) -> float | None:
        """When the car passed the pit exit, where that is the next that was seen of it after ``t`` and it was in the
        pits until then; else None."""
        history = self.histories[car]
        at = history.place_of(t)
        later = [] if at is None else [one for one in history.entries[at:] if one.t is not None and one.taken]
        if not later or (later[0].what, later[0].place) != ("pit", "exit") or later[0].before is None:
            return None
        return None if later[0].before.track.on_track else later[0].t

    def stood_in_garage(self, car: str, t: float) -> bool:
        """Guard: by all that was seen until ``t`` the car was in its garage then. A line of the feed says that it left
        and the exit was missed; a line by hand is more likely a press for another car, or too early."""
        history = self.histories[car]
        at = history.place_of(t)
        before = None if at is None else history.entries[at].before
        return (self.team[car].track if before is None else before.track).state == "garage"

    def hears(self, now: float) -> None:
        """Somebody says how things stand: the garage calls begin, as they do when a feed first speaks."""
        self._heard_t = now if self._heard_t is None else self._heard_t
        for car in self.team.values():
            if not car.heard:
                entry = Entry("heard", "heard", now, self.clock, _heard)
                _heard(car, self.histories[car.car].note(entry, keep=False))
                self._changed.add(car.car)

    def all_changed(self) -> None:
        """Every car is to be looked at anew."""
        self._changed |= set(self.team)

    def comment_read(self, event: CommentRead) -> None:
        """The shorthand of a command that is about to come was read so."""
        if event.car in self.team:
            self.team[event.car].comments.readings[event.command] = event

    def act(self, command: CommandGiven, what: str, act: Callable[[TeamCar, Entry], None], now: float) -> None:
        """Something else by hand that changes what is believed of a car; it can be taken back."""
        entry = Entry(command.id, what, now, copy.copy(self.clock), act, by=command.by)
        self.histories[command.car].note(entry)
        act(self.team[command.car], entry)
        self._changed.add(command.car)

    def remember(
        self, command: CommandGiven, what: str, back: Callable[[float], str], *, all_cars: bool = False,
        call: str | None = None, planned: bool = False, comment: int | None = None,
    ) -> None:
        """This command can be taken back."""
        car = None if all_cars else command.car
        self.done.append(Done(command.id, command.by, car, what, back, call, planned, comment,
                              command=command.command, t=self.given_t))
        del self.done[: max(0, len(self.done) - DONE_KEPT)]

    def take_out(self, car: str, entry: Entry, now: float) -> bool:
        """Believe as if this input of the car had never come; False when that lies too far back."""
        if entry not in self.histories[car].entries:
            return False
        quick = list(self.histories[car].pace.field_pace.quick)
        if not self._mend(car, now, lambda: self.histories[car].take_out(entry)):
            return False
        for other, again in others_misjudged(self.histories, car, quick, entry.now):
            self._mend(other, now, again)
        for call in self.team[car].book.calls.values():
            if call.state == "done" and call.ended_t == entry.now and call.said_t is None and not call.confirmed:
                call.unfounded = True  # it was taken as done for what did not happen
        return True

    def take_out_of_clock(self, given: ClockInput, now: float) -> None:
        """The status or the clock as if this had never been entered; every car follows."""
        before = (self.clock.status, self.clock.yellow_sectors, self.clock.slow_ending)
        gone = self.clocks.take_out(given)
        for name, history in self.histories.items():
            for entry in history.entries:
                if entry.now >= given.now:
                    entry.clock = self.clocks.at(entry.now)
            self._mend(name, now, partial(history.without, gone, given.now))
        self._outputs += field_flags.taken_back(self.field, self.histories, self.clocks, given.now, now)
        if (self.clock.status, self.clock.yellow_sectors, self.clock.slow_ending) != before:
            for car in self.team.values():
                flags.taken_back(car, self.clock, given.now, now)
        self._changed |= set(self.team)

    def _mend(self, car: str, now: float, again: Callable[[], bool]) -> bool:
        """Think over what is believed of a car, and publish the laps that turn out otherwise."""
        track = self.team[car].track
        before = {lap.number: _shown(lap) for lap in track.laps}
        if not again():
            return False
        for lap in track.laps:
            if before.get(lap.number) != _shown(lap):
                at = "line" if lap.ended_at == "line" else "pit"
                self._outputs.append(lap_judged(track, lap, at, None, lap.kind, now))
        self._changed.add(car)
        return True


def _heard(car: TeamCar, entry: Entry) -> None:
    car.heard, car.since_s = True, entry.now


def _shown(lap: LapRecord) -> tuple[object, ...]:
    return (lap.kind, lap.start_t, lap.end_t, lap.lap_time_s, lap.run)
