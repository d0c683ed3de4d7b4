"""Switches of a car on track, watched lap by lap: does one stand, or may it stand, where it spoils a timed lap?

*Wrong* is what telemetry shows out of place on a timed lap, whoever moved it: from the moment at which that is known,
or from the moment at which the car must be over the line. On an out-lap or a cool-down lap it is told some seconds
before the line already, once its call is over and the driver would have acted on it. *Unverified* is what has no
telemetry, was moved, and nothing shows to be back: told some seconds before the line of a timed lap, while there is
time to ask, and until something shows it. What this lap's own call has changed for the lap to come is judged by that
lap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.call import Call
from pitwall.engine.driven_instead import stayed_out, timed_instead, wanted_instead
from pitwall.engine.offered_again import acted_by, to_be_asked_again
from pitwall.engine.progress import RunState
from pitwall.engine.rules.switch import USEFUL_S
from pitwall.engine.situation import Leg
from pitwall.engine.team import TeamCar
from pitwall.model.car import Position, position_text, same_position
from pitwall.model.events import SwitchReported
from pitwall.model.outputs import Output, Status

AHEAD_S = 12.0  # before the line: time for a question, its answer and a hand (common practice, no source)
STAYS_TOLD_S = 2 * AHEAD_S  # the expected line moves to and fro: what is told of it is not taken back for that
AWAITED_S = 5.0  # while the call is still to be made or to be read back it is given until then
READBACK_S = 8.0  # so long after the words a driver may still be about to answer
LATE_SHARE, LATE_S = 0.03, 1.0  # give or take of a predicted line: of the way since the car was seen, and at least
SETTLES_S = 10.0  # after the line: what became of the calls before it may change what the lap wants
NOBODY_ANSWERS = "Show the position at the next pass of the pit wall; have it read in the garage."
SHOWN_NEXT = "Show it at the next pass of the pit wall, where a timed lap begins; else box."
BEFORE_THE_ENGINEER = ("shown", "due")
HEARD = ("said", "done", "late", "unconfirmed")
THIS, AHEAD, INSTEAD = "this timed lap", "the timed lap ahead", "this lap is driven as a timed one, which"


@dataclass
class _Lap:
    """The lap that the car is on: is it timed, by the plan or ``instead`` of what the plan has, the next one, when this
    one ends."""

    car: TeamCar
    run: RunState
    timed: bool
    instead: bool
    following: Leg | None
    end_s: float
    now: float

    @cached_property
    def wanted(self) -> dict[str, Position]:
        """Where every switch is wanted on this lap, as it is driven."""
        return wanted_instead(self.car, self.run) if self.instead else self.planned

    @cached_property
    def planned(self) -> dict[str, Position]:
        """Where the plan wants every switch on this lap."""
        return self.car.switches.wanted(self.run, self.run.pointer)

    def excused(self, name: str) -> bool:
        """Guard: why it stands so is known, and it is told nobody: this lap's own call asked for that position for the
        lap to come; or the plan wants it so on this lap, or calls for it now, and the plan may still come true; or
        it is right for any timed lap, and only what the lap that was to come has of its own wants it elsewhere; or the
        box call of this in-lap is about to be made: no switch gains anything on it."""
        asked, stands = self.asked(name), self.car.switches.stands(name)
        if asked is not None and same_position(stands, asked) and not same_position(asked, self.wanted[name]):
            return True
        if not self.instead or stayed_out(self.car):
            return False
        plain = self.car.switches.wanted(self.run, self.run.pointer, instead="timed")[name]
        in_place = not self.car.switches.changes({name: stands}, {name: plain}, free=True)
        return in_place or same_position(stands, self.planned[name]) or self.awaited(name) or self.called_in_soon

    @cached_property
    def called_in_soon(self) -> bool:
        """Guard: the call that brings the car in on this lap stands before the engineer."""
        return self.run.expected_kind == "in" and self.car.plan.medium != "board" and any(
            call.state in BEFORE_THE_ENGINEER and (call.spec.run, call.spec.leg) == (self.run.run.run, self.run.pointer)
            for call in self.car.book.asking("box"))

    @cached_property
    def off(self) -> tuple[list[str], list[str]]:
        """Which switches are measured off their place on this lap, and which may be."""
        return self.car.switches.wrong(self.wanted)

    @cached_property
    def calls(self) -> list[Call]:
        """Switch calls that were to be made on this lap."""
        return [call for call in self.car.book.asking("set_switch")
                if call.spec.run == self.run.run.run and call.spec.leg == self.run.pointer]

    def asked(self, name: str) -> Position | None:
        """Where this lap's calls, as far as they were made, asked for the switch; None where they did not.

        What was told on a lap that a flag spoilt, and that is driven again, was told for the lap after that one.
        """
        lap = self.car.track.lap
        begun = lap.start_t if lap is not None else float("-inf")
        found = [call.spec.asked.get(name) for call in self.calls
                 if call.state in HEARD and (call.spec.pass_number == self.car.track.lap_number  # read as it began
                                             or (call.said_t or call.due_t or float("inf")) > begun)]
        return next((position for position in reversed(found) if position is not None), None)

    def acting(self, name: str, to: Position) -> bool:
        """Guard: a call on this lap for this position may still be made, or telemetry may still show it obeyed."""
        return any(call.open or (call.state in HEARD and self.now < acted_by(call))
                   for call in self.calls if same_position(call.spec.asked.get(name), to))

    def turned(self, name: str, to: Position) -> bool:
        """Guard: where the lap to come needs this switch counts from now on: the call for it is out; or the line is
        near; or it stands there already, moved on this lap or too late for this one. What stands right for a timed lap
        is not wrong because the next call may be heard: there only a switch that was told and moved counts."""
        board, lap = self.car.switches, self.car.track.lap
        there = not board.changes({name: board.stands(name)}, {name: to}, free=True)
        if self.timed:
            asked = self.asked(name)
            return there and asked is not None and same_position(asked, to)
        out = any(call.due_t is not None or call.said_t is not None
                  for call in self.calls if same_position(call.spec.asked.get(name), to))
        moved = board.measured_before.get(name)
        just = moved is not None and lap is not None and moved[1] > lap.start_t
        return out or self.now >= self.end_s - AHEAD_S or (there and (just or self.now >= self.end_s - USEFUL_S))

    def awaited(self, name: str) -> bool:
        """Guard: a call for this switch is still to be made on this lap, or to be read back; or, where nothing measures
        it, the driver may be asked once more."""
        shown = name in self.car.switches.measured
        return any(call.open or (call.said_t is not None and self.now < call.said_t + READBACK_S)
                   or (not shown and to_be_asked_again(call, self.now))
                   for call in self.calls if name in call.spec.asked)


def look_at_switches(car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """Every switch of the car, now: alerts that begin, go on and end."""
    lap = _lap(car, status, now)
    wrong = {} if lap is None else dict(_wrong(car, lap, alerts, now))
    unsure = {} if lap is None else dict(_unsure(car, lap, alerts, now))
    on_board = car.plan.medium == "board"  # nobody can tell the driver, or ask, between two passes
    return [
        *alerts.found("switch_wrong", car.car, wrong, now, status, SHOWN_NEXT if on_board else None),
        *alerts.found("switch_unverified", car.car, unsure, now, status, NOBODY_ANSWERS if on_board else None),
    ]


def wanted_shown(car: TeamCar, status: Status, now: float) -> dict[str, Position] | None:
    """Where each switch is wanted for the screens: on the running lap, and from when a change for the lap to come is on
    its way, on that one; None where no planned lap runs.

    Judged by the lap that ends in a moment alone, a switch in place for the timed lap ahead is red, and one that spoils
    it is among the good ones.
    """
    lap = _lap(car, status, now)
    if lap is None:
        return None
    shown = dict(lap.planned)
    if lap.instead:
        shown.update({name: lap.wanted[name] for names in lap.off for name in names if not lap.excused(name)})
    if lap.following is not None:
        coming = car.switches.wanted(lap.run, lap.following.index, lap.following.again)
        shown.update({name: to for name, to in coming.items()
                      if not same_position(shown.get(name), to) and lap.turned(name, to)})
    return shown


def switch_measured(
    car: TeamCar, event: SwitchReported, alerts: AlertBook, status: Status, now: float
) -> list[Output]:
    """Telemetry gave a position: on a timed lap an accidental change is told at once, and put right it is over."""
    car.measured(event.switch, event.position, now)
    return look_at_switches(car, alerts, status, now) if _timed(car) or timed_instead(car) else []


def switches_ahead(car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """After every fact: the line of a timed lap is near, must be behind the car, or was so just now."""
    lap = car.track.lap
    begun = lap is not None and now < lap.start_t + SETTLES_S and _timed(car)
    near = begun or ((line := _line_ahead(car)) is not None and now >= line - AHEAD_S) or timed_instead(car)
    return look_at_switches(car, alerts, status, now) if near else []


def moments_ahead(car: TeamCar, now: float) -> list[float]:
    """Session seconds after ``now`` at which the car is looked at again: for its next call, for what was said without
    a key, and by ``switches_ahead``."""
    line, found = _line_ahead(car), [car.book.next_moment(now), car.channel.times.next_moment(car.book)]
    found += [] if line is None else [line - AHEAD_S, line - AWAITED_S, line + _late(car, line)]
    return [moment for moment in found if moment is not None and moment > now]


def _line_ahead(car: TeamCar) -> float | None:
    """When the car is expected at the line at which a timed lap begins; None when the next lap is another."""
    following = _following(car)
    return car.legs[0].end_s if following is not None and following.kind == "timed" else None


def _following(car: TeamCar) -> Leg | None:
    """The planned lap after the running one; None where there is none, or the laps ahead are yet to be laid out."""
    # Asked several times with every fact: what most often says no comes first.
    if len(car.legs) < 2 or not car.legs[0].running or not car.track.on_track:
        return None
    first, run, lap = car.legs[0], car.progress.current, car.track.lap
    if run is None or lap is None:
        return None
    return car.legs[1] if first.index == run.pointer and first.start_s == lap.start_t else None


def _timed(car: TeamCar) -> bool:
    """Guard: the lap is planned as a timed one, and by all that was seen of it it is one."""
    run = car.progress.current
    return run is not None and run.expected_kind == "timed" and car.track.lap_kind == "timed"


def _late(car: TeamCar, line: float) -> float:
    return max(LATE_S, LATE_SHARE * (line - car.track.seen_t))


def _lap(car: TeamCar, status: Status, now: float) -> _Lap | None:
    run, following = car.progress.current, _following(car)
    if run is None or not car.track.on_track:
        return None
    if status == "finished":
        # Only the timed lap that had begun as the flag fell is driven to its end; no other one follows.
        return _Lap(car, run, _timed(car), instead=False, following=None, end_s=float("inf"), now=now)
    end_s = car.legs[0].end_s if following is not None else float("inf")
    instead = timed_instead(car)
    return _Lap(car, run, instead or _timed(car), instead, following, end_s, now)


def _wrong(car: TeamCar, lap: _Lap, alerts: AlertBook, now: float) -> Iterator[tuple[str, str]]:
    """Measured switches that stand where they spoil this lap, the one that must have begun, or the one whose line is
    near, each with its text."""
    board = car.switches
    if lap.timed:
        for name in lap.off[0]:
            if not lap.excused(name):
                yield name, _off(car, name, lap.wanted[name], INSTEAD if lap.instead else THIS)
    # On a lap that a flag has spoilt nobody knows when, or whether, the car is at the line.
    calm = car.track.lap is not None and not car.track.lap.disturbed
    if lap.following is None or lap.following.kind != "timed" or not calm:
        return
    must_have_begun = now >= lap.end_s + _late(car, lap.end_s)
    wanted = board.wanted(lap.run, lap.following.index, lap.following.again)
    if must_have_begun:
        for name in board.wrong(wanted)[0]:
            yield name, _off(car, name, wanted[name])
    # On a timed lap the change is made at its end; with a board nobody can be told before the line.
    elif not lap.timed and car.plan.medium != "board" and now >= lap.end_s - STAYS_TOLD_S:
        in_time = lap.end_s - AHEAD_S <= now < lap.end_s - AWAITED_S  # later nobody acts before the line
        for name in board.wrong(wanted)[0]:
            told = alerts.switch_words("switch_wrong", car.car, name) is not None
            if told or (in_time and not lap.acting(name, wanted[name])):
                yield name, _off(car, name, wanted[name], AHEAD)


def _unsure(car: TeamCar, lap: _Lap, alerts: AlertBook, now: float) -> Iterator[tuple[str, str]]:
    """Switches without telemetry that nothing shows to be in place for this lap or the one near, each with its text."""
    board = car.switches
    near = lap.following is not None and lap.following.kind == "timed" and now >= lap.end_s - AHEAD_S
    if lap.timed:
        for name in lap.off[1]:
            if not lap.excused(name):
                yield name, _doubt(car, name, lap.wanted[name])
    elif not near:
        # No timed lap is near: what was told stands for as long as nothing shows it.
        for name in board.wrong(board.wanted(lap.run, lap.run.pointer))[1]:
            told = alerts.switch_words("switch_unverified", car.car, name)
            if told is not None:
                yield name, told
    if near and lap.following is not None:
        wanted = board.wanted(lap.run, lap.following.index, lap.following.again)
        for name in board.wrong(wanted)[1]:
            if not lap.awaited(name) or now >= lap.end_s - AWAITED_S:
                yield name, _doubt(car, name, wanted[name])


def _off(car: TeamCar, name: str, wanted: Position, lap: str = THIS) -> str:
    stands = car.switches.stands(name)
    shown = position_text(stands) if stands is not None else "unknown"
    return f"{_word(car, name)} stands at {shown}, {lap} needs {position_text(wanted)}"


def _doubt(car: TeamCar, name: str, wanted: Position) -> str:
    return f"{_word(car, name)}: nothing shows that it is at {position_text(wanted)}"


def _word(car: TeamCar, name: str) -> str:
    switch = car.switches.known(name)
    return switch.word if switch is not None else name
