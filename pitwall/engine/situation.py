"""What a rule may look at: one car, the run it is on or leaves for next, and the laps ahead laid out in time.

A *leg* is one planned lap of the run with its expected start and end. The running lap's leg follows the car's real
crossings; later legs follow one another at the expected lap times. In the garage the legs are those of the next run,
from the expected release.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from pitwall.engine.car import CarTrack
from pitwall.engine.gaps import passing
from pitwall.engine.owed import Question
from pitwall.engine.progress import PlanProgress, RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.straying import Straying, from_loop_to_loop
from pitwall.engine.switches import SwitchBoard
from pitwall.engine.trail import least_slower
from pitwall.model.plan import LapKind, Plan
from pitwall.model.procedure import Procedure
from pitwall.model.record import altered, record
from pitwall.model.setup import CallTiming
from pitwall.model.subjects import Subject
from pitwall.radio.pending import Spans
from pitwall.radio.placing import SayWindow, place_call
from pitwall.radio.speech import spoken_s
from pitwall.radio.ways import Room
from pitwall.track.lapmap import LapMap

DOUBT_TIMED, DOUBT_OTHER, MOST_DOUBT_S = 0.01, 0.08, 8.0  # p90 of early arrivals is about this (common practice)
UNSURE = 0.08  # a lap goes so much quicker than it seems, at most by much (common practice, no source)
HOPE = 0.12  # of the reference lap time; the load falls with its square, by a quarter (a choice of ours)
FLAG_PACE = {"slow": 1.3, "red": 1.4}
"""Times the reference lap, at least. Under red: the tenth of the cars that slowed least, from five seconds to a minute
after it (measured over the two red flags of three recorded sessions: 1.25 to 1.7, half of the cars 1.5 and more)."""


@record
class Leg:
    """One planned lap in time. ``at(phase)`` is the session second at which the car is at that phase of it.

    ``again``: the same planned lap once more, for a slow or red period has spoilt the running one.
    ``as_it_goes`` makes such a function of the running lap for many phases at one moment: cheaper, and good until the
    next fact. The legs of a ``Situation`` have it for their ``at``. ``at_ends`` is ``at`` for both ends of stretches
    between line and line: cheaper, of a lap that begins at the line and has not begun yet.
    """

    index: int
    kind: LapKind
    start_s: float
    end_s: float
    start_phase: float
    at: Callable[[float], float]
    running: bool = False
    as_it_goes: Callable[[], Callable[[float], float]] | None = None
    again: bool = False
    at_ends: Callable[[Spans], list[tuple[float, float]]] | None = None


@dataclass(frozen=True)
class StatusNews:
    """A change of status that the driver must hear: number, when, what. ``again``: how often it was told anew."""

    number: int
    t: float
    status: str
    sectors: tuple[str, ...] = ()
    again: int = 0


def news_key(news: StatusNews) -> str:
    """Key of the call that tells this news."""
    return f"session-{news.number}-{news.status}"


@dataclass
class Situation:
    """One car's situation at ``now``; rules read it and change nothing.

    ``sharp``: positions come at 5 Hz or better. ``holding``: key of the item whose hold they show, and when it is over.
    ``tyres``: kind of tyre alert and axle, with the moment since which telemetry shows it.
    ``recalls``, ``fire_ups``: the last time that the car was called again, and told again to fire up; 0: not yet.
    ``feedback``: what the driver is still to comment on of this run.
    ``called_in``: by how many calls the driver was, who is to go on after all, and since when that is known.
    ``words_per_minute``: how fast this engineer was heard to speak; None: as the settings believe.
    ``leave_by_s``: until when the next run may leave and still be one; ``too_late``: it is none any more;
    ``block``: what comes after the flag, for which the car is to leave then, or to be on track as it falls.
    ``begins_within_s``: nine calls in ten are begun so soon after they may be, as far as the radio desk reports talk.
    """

    now: float
    car: str
    track: CarTrack
    plan: Plan
    progress: PlanProgress
    clock: SessionClock
    switches: SwitchBoard
    procedures: Mapping[str, Procedure]
    lap_map: LapMap
    timing: CallTiming
    run: RunState | None
    legs: tuple[Leg, ...]
    release_s: float | None
    news: tuple[StatusNews, ...]
    kept_in: bool
    since_s: float
    recalls: int
    fire_ups: int
    feed_speaks: bool
    driver: str = ""
    driver_out: str | None = None
    change_s: float = 0.0
    others: tuple[CarTrack, ...] = ()
    sharp: bool = False
    holding: tuple[str, float] | None = None
    questions: tuple[Question, ...] = ()
    feedback: tuple[Subject, ...] = ()
    words_per_minute: float | None = None
    begins_within_s: float = 0.0
    tyres: Mapping[tuple[str, str], float] = field(default_factory=dict)
    called_in: tuple[int, float] | None = None
    leave_by_s: float | None = None
    too_late: bool = False
    block: RunState | None = None
    _strays: Straying | None = None
    _stretches: dict[tuple[tuple[int, bool], ...], Spans] = field(default_factory=dict)

    @property
    def stopped_by_flag(self) -> bool:
        """Red or over: everything but session and safety calls is silent."""
        return self.clock.status in ("red", "finished", "closed")

    @property
    def boxes_silent(self) -> bool:
        """Under red everybody comes in anyway, by the officials' word; after the flag the in-lap is called as any."""
        return self.clock.status in ("red", "closed")

    def over_at(self, item: str) -> float | None:
        """When the hold of this item, which positions show, is over; None when none is seen."""
        return self.holding[1] if self.holding is not None and self.holding[0] == item else None

    def spoken(self, text: str) -> float:
        """Seconds to say this text at the engineer's rate."""
        return spoken_s(text, self.words_per_minute or self.timing.words_per_minute)

    def hopeful(self, legs: tuple[Leg, ...]) -> Spans | None:
        """Stretches of these laps on which a driver listens who stands more than the settings count on, or goes more
        slowly than can be relied on; None where there are no ``stretches``."""
        if self.stretches(legs) is None:
            return None
        return tuple(_joined(sorted(itertools.chain(*(self._found_at(leg, self._slower(leg) + HOPE) for leg in legs)))))

    def stretches(self, legs: tuple[Leg, ...]) -> Spans | None:
        """Listening stretches of these laps in session seconds; None where the circuit gives none."""
        if self.lap_map.listening is None or (self.clock.status == "slow" and self.track.sighted is None):
            return None  # in a slow period nobody knows where the car is, and the driver has little to do
        if len(legs) == 1:
            return self._stretches_of(legs[0])
        key = tuple([(leg.index, leg.again) for leg in legs])
        found = self._stretches.get(key)
        if found is None:
            each = [self._stretches_of(leg) for leg in legs]
            found = self._stretches[key] = tuple(_joined(sorted(itertools.chain(*each))))
        return found

    def _stretches_of(self, leg: Leg) -> Spans:
        key = ((leg.index, leg.again),)
        known = self._stretches.get(key)
        if known is None:
            known = self._stretches[key] = tuple(_joined(sorted(self._found_at(leg, self._slower(leg)))))
        return known

    def _found_at(self, leg: Leg, slower: float) -> list[tuple[float, float]]:
        at, start, stretches = leg.at, leg.start_phase, self.lap_map.listening_at(slower) or ()
        if leg.at_ends is not None:
            return leg.at_ends(stretches)
        return [(at(begin if begin > start else start), at(end)) for begin, end in stretches if end > start]

    def _slower(self, leg: Leg) -> float:
        """How many times the reference lap time this lap takes at least, as far as can be relied on."""
        floor = FLAG_PACE.get(self.clock.status)
        told = leg.running and (leg.kind != "timed" or floor is not None)
        of_late = least_slower(self.track) if told else None
        if floor is not None:
            return floor if of_late is None else max(floor, of_late - UNSURE)
        if leg.kind == "timed":
            return 1.0
        last = max(self.lap_map.last_chance, leg.start_phase + 1e-6)  # beyond it an in-lap is slow for another reason
        whole = (leg.at(last) - leg.start_s) / (last - leg.start_phase) / self.lap_map.lap_s
        return (whole if of_late is None else min(whole, of_late)) - UNSURE

    def leg(self, index: int, counts: bool = False) -> Leg | None:
        """The leg of that planned lap, None when it lies behind. ``counts``: a spoilt one that is driven again does not
        count, the next one does."""
        found = [leg for leg in self.legs if leg.index == index]
        return None if not found else found[-1 if counts else 0]

    def doubt(self, act_at_s: float, leg: Leg) -> float:
        """Seconds by which the car may come early: a share of the way still to go, larger off the pace."""
        share = DOUBT_TIMED if leg.kind == "timed" else DOUBT_OTHER
        return min(MOST_DOUBT_S, share * max(0.0, act_at_s - max(self.now, leg.start_s)))

    def window(
        self, act_at_s: float, text: str, reaction_s: float, leg: Leg, kind: str, begin_by_s: float | None = None
    ) -> SayWindow:
        """Where to say ``text`` so that the driver can act at ``act_at_s`` on ``leg``.

        Laps on which this kind of call may be spoken are preferred; where the last such lap ends before a timed lap on
        which nothing may be said, the call is made on the timed lap all the same: it has nowhere else to go.
        """
        allowed = self.laps_for(kind, leg)
        earliest = max(allowed[0].start_s, self.track.lap.start_t if self.track.lap is not None else allowed[0].start_s)
        length = self.spoken(text)
        return place_call(
            act_at_s - self.doubt(act_at_s, leg),
            length,
            reaction_s,
            self.stretches(allowed),
            earliest,
            self.timing.window_s,
            begin_by_s,
        )


    @property
    def loops_tell_more(self) -> bool:
        """True on the out-lap of a car without positions: each loop ahead makes an end of what is unknown till then."""
        first = self.legs[0]
        return first.running and first.kind == "out" and self.track.sighted is None

    def strays(self, t: float) -> float:
        """By how many seconds the car may come sooner or later than expected at a moment ahead (10th to 90th
        percentile): it grows evenly from where the car was seen to the end of the lap, and stays so.

        Where loops tell more: as it will be known shortly before that moment, see ``straying``.
        """
        if self._strays is None:
            here, first = self.track.sighted, self.legs[0]
            if self.loops_tell_more:
                self._strays = from_loop_to_loop(self.track, first, self.doubt)
            else:
                seen = max(self.track.seen_t, first.start_s, here.t if here is not None else first.start_s)
                known = self.track.spread(1.0) if first.running else None
                whole = known if known is not None else self.doubt(first.end_s, first)
                rate = whole / max(first.end_s - seen, 1e-6)
                self._strays = Straying((seen, first.end_s), (rate, 0.0), (0.0, whole), (0.0, 0.0))
        return self._strays.at(t)

    def laps_for(self, kind: str, leg: Leg) -> tuple[Leg, ...]:
        """The lap of the action and the one before, as far as this kind of call may be spoken on them.

        Where it may be spoken on neither, both: it has nowhere else to go.
        """
        laps: tuple[Leg, ...] = (leg,)
        before: Leg | None = None
        for one in self.legs:
            if one is leg:
                laps = (leg,) if before is None else (before, leg)
                break
            before = one
        return tuple([one for one in laps if self.plan.may_say(kind, one.kind)]) or laps

    def room(self, laps: tuple[Leg, ...], from_s: float, end_by_s: float) -> Room:
        """Room for a call on these laps: not begun before ``from_s`` or before the first of them, over by ``end_by_s``.

        With listening stretches where the circuit gives them: then the channel plan chooses among them.
        """
        stretches = self.stretches(laps)
        return Room(stretches, max(from_s, laps[0].start_s), end_by_s)


def _joined(stretches: list[tuple[float, float]]) -> list[tuple[float, float]]:
    # A stretch that runs over the line is one stretch.
    joined: list[tuple[float, float]] = []
    for begin, end in stretches:
        if joined and begin - joined[-1][1] < 0.05:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _laps_after(run: RunState, spoilt: bool, spent: bool) -> tuple[LapKind, ...]:
    """The planned laps that follow the running one."""
    if run.out_in:
        return ()
    if spoilt:
        return run.laps[run.pointer :]  # it counts for nothing, and is driven again
    if run.pointer == 0 and run.resume_at > 1:
        return run.laps[run.resume_at :]
    if spent:
        return run.laps[run.pointer + 2 :]  # at the line this lap counts as the timed one that was to follow it
    return run.laps[run.pointer + 1 :]


def running_legs(track: CarTrack, run: RunState, lap_map: LapMap, spent: bool = False) -> tuple[Leg, ...]:
    """Legs of the run that the car is on, from the lap it is on to the in-lap. ``spent``: the running lap is driven in
    place of a cool-down lap, and is the last timed lap of the run (``driven_on.py``)."""
    lap = track.lap
    if lap is None or not run.laps:
        return ()
    pace, state_kind = track.pace, track.lap_kind or "out"

    def as_it_goes() -> Callable[[float], float]:
        ahead, here, since = track.going_on(), track.sighted, max(track.seen_t, lap.start_t)
        behind = passing(track)

        def at(phase: float) -> float:
            if phase <= track.seen_phase:
                return track.seen_t if phase >= track.seen_phase else behind(phase) or lap.start_t
            if here is not None and phase < here.phase:
                # Behind the place where it was seen; an outlook from before that would put it ahead of the car.
                way = (pace.bend(phase) - pace.bend(track.seen_phase)) / _way(track, here.phase)
                return since + way * (here.t - since)
            return ahead(phase) or track.seen_t

        return at

    def at_now(phase: float) -> float:
        return as_it_goes()(phase)

    kind: LapKind = run.expected_kind if run.expected_kind == "in" else state_kind
    if state_kind == "installation" or (run.out_in and run.pointer == 0):
        kind = "installation"
    first = Leg(run.pointer, kind, lap.start_t, at_now(1.0), lap.start_phase, at_now, True, as_it_goes)
    legs, start = [first], first.end_s
    spoilt = lap.disturbed and run.expected_kind == "timed" and not run.out_in
    later = _laps_after(run, spoilt, spent)
    base = len(run.laps) - len(later)
    if run.boxed_early and run.pointer == 0:
        later = ()
    for offset, planned in enumerate(later):
        leg = _leg_at(base + offset, planned, start, 0.0, pace.lap_s(planned), track)
        legs.append(altered(leg, again=True) if spoilt and offset == 0 else leg)
        start = leg.end_s
    return tuple(legs)


def at_one_moment(legs: tuple[Leg, ...]) -> tuple[Leg, ...]:
    """The same legs for one moment: where the running lap goes from here is worked out once for all its places."""
    if not legs or legs[0].as_it_goes is None:
        return legs
    return altered(legs[0], at=legs[0].as_it_goes()), *legs[1:]


def _way(track: CarTrack, phase: float) -> float:
    """From the last crossing to there, as a share of the lap time."""
    return max(track.pace.bend(phase) - track.pace.bend(track.seen_phase), 1e-6)


def garage_legs(track: CarTrack, run: RunState, release_s: float, lap_map: LapMap) -> tuple[Leg, ...]:
    """Legs of the next run if it leaves at ``release_s``."""
    if not run.laps:
        return ()
    kind: LapKind = "installation" if run.out_in else "out"
    legs = [_leg_at(0, kind, release_s, lap_map.pit_exit, track.pace.lap_s(kind), track)]
    for index in range(run.resume_at, len(run.laps)) if not run.out_in else ():
        planned = run.laps[index]
        legs.append(_leg_at(index, planned, legs[-1].end_s, 0.0, track.pace.lap_s(planned), track))
    return tuple(legs)


def _leg_at(index: int, kind: LapKind, start_s: float, start_phase: float, lap_s: float, track: CarTrack) -> Leg:
    pace = track.pace
    bend, begin = pace.bend, pace.bend(start_phase)
    whole = max(1.0 - begin, 1e-6)

    def at(phase: float) -> float:
        return start_s + lap_s * (bend(phase) - begin) / whole

    def at_ends(stretches: Spans) -> list[tuple[float, float]]:
        return [(start_s + lap_s * (first - begin) / whole, start_s + lap_s * (last - begin) / whole)
                for first, last in pace.bend_spans(stretches)]

    return Leg(index, kind, start_s, start_s + lap_s, start_phase, at, at_ends=None if start_phase else at_ends)
