"""Does the driver hold the speed? Seen from positions at 5 Hz or better, guessed from a speed at a loop, else unknown.

With such positions the moment at which a hold begins is known: its end can be counted down and called, and it is done
when the speed stayed where it should for as long as it should. Without them nobody on the wall knows, so the call says
"count five", no countdown is shown, and the item is *probably done* until the driver confirms it. A loop within the
hold that shows about the speed is told as the reason.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pitwall.engine.run_state import ItemState
from pitwall.engine.switches import item_arguments
from pitwall.model.events import CarCrossed, CarPositioned
from pitwall.model.plan import Scalar
from pitwall.model.procedure import Procedure
from pitwall.track.hold_passing import BEFORE_M, REACH_S, Passing

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

RATE_HZ = 5.0
RATE_OVER_S, RATE_SLACK, FRESH_S = 2.0, 0.9, 0.6  # over so long, one in ten may be missing, the last one is this young
STEADY_MPS = 1.5  # a speed this close is held (common practice, no source)
AT_LOOP_MPS = 3.0  # a speed trap and a hold may differ by this much (common practice, no source)
ANNOUNCED_AFTER_S = 0.6  # a car that only passes through the speed is not holding it
SHOWN_BY = "positions:"  # so the reason of an item begins whose hold they showed
KEPT_S = 5.0  # what was a hold is remembered so long after its end, for the end call


@dataclass(frozen=True, slots=True)
class HoldWish:
    """What the item on this lap asks for: from ``place`` (a phase) on, ``seconds`` of ``speed_mps`` after settling."""

    item: ItemState
    place: float
    speed_mps: float
    seconds: float
    settle_s: float

    @property
    def length_s(self) -> float:
        """Settling and holding."""
        return self.settle_s + self.seconds


@dataclass
class HoldWatch:
    """The last positions of one car, and the hold that they show."""

    seen: deque[tuple[float, float, float]] = field(default_factory=lambda: deque(maxlen=120))
    item: str | None = None
    since: float | None = None
    over_at: float | None = None
    range_mps: tuple[float, float] = (0.0, 0.0)
    proven: dict[str, tuple[float, str]] = field(default_factory=dict)
    passings: dict[tuple[str, int], Passing] = field(default_factory=dict)
    """By key of an item and number of a lap: how the car passed its place."""
    comparable_t: float = float("-inf")
    """When the car went over to wet or dry, or the weather did: laps before that are no measure for those behind
    (``hold_evidence.py``)."""

    def sharp(self, now: float) -> bool:
        """Guard: positions come at 5 Hz or better, and still do."""
        since = now - RATE_OVER_S
        latest_first = itertools.takewhile(lambda t: t > since, (t for t, _, _ in reversed(self.seen)))
        recent = [t for t in latest_first if t <= now]
        return len(recent) >= RATE_SLACK * RATE_HZ * RATE_OVER_S and recent[0] >= now - FRESH_S

    def holding(self) -> tuple[str, float] | None:
        """``(key of the item, session second at which it is over)`` of a hold that was seen to begin."""
        if self.item is None or self.since is None or self.over_at is None or not self.seen:
            return None
        return (self.item, self.over_at) if self.seen[-1][0] - self.since >= ANNOUNCED_AFTER_S else None

    def let_go(self) -> None:
        """Nothing is held any more."""
        self.item = self.since = self.over_at = None


def wish(car: TeamCar) -> HoldWish | None:
    """The hold that is to be done on the running lap; None when there is none."""
    run = car.progress.current
    if run is None or not car.track.on_track:
        return None
    for item in run.items:
        procedure = car.setup.procedures.get(item.item.do)
        named = item.item.after or item.item.at
        if procedure is None or procedure.hold is None or named is None or item.leg != run.pointer:
            continue
        if item.state in ("planned", "called", "probably_done", "done"):
            found = figures(car, item, procedure, named)
            if found is not None:
                return found
    return None


def figures(car: TeamCar, item: ItemState, procedure: Procedure, named: str) -> HoldWish | None:
    """What a hold at this place asks for; None where its file leaves the speed or the time open."""
    assert procedure.hold is not None
    arguments = item_arguments(procedure, item)
    _, speed, to_mps = procedure.hold.speed()
    mps, seconds = _number(speed, arguments), _number(procedure.hold.seconds, arguments)
    if mps is None or seconds is None:
        return None
    return HoldWish(item, car.lap_map.phase_of(named), mps * to_mps, seconds, procedure.hold.settle_s)


def _number(value: str | float, arguments: dict[str, Scalar]) -> float | None:
    given = arguments.get(value) if isinstance(value, str) else value
    return float(given) if isinstance(given, int | float) and not isinstance(given, bool) else None


def position(car: TeamCar, event: CarPositioned, now: float) -> bool:
    """A position came. True when a hold began, broke off or was completed by it: the calls must be looked at anew."""
    watch = car.holds
    if watch.seen and event.t <= watch.seen[-1][0]:
        return False
    before = watch.holding()
    watch.seen.append((event.t, event.distance_m, _speed(watch, event)))
    wanted = wish(car)
    _pass(car, watch, event, wanted)
    _follow(car, watch, event, wanted)
    for key, (t, reason) in watch.proven.items():
        # Belief may have been rebuilt since: what positions showed stays shown.
        _done(car, key, t, reason)
    return watch.holding() != before


def _speed(watch: HoldWatch, event: CarPositioned) -> float:
    if event.speed_mps is not None or not watch.seen:
        return event.speed_mps or 0.0
    t, distance, _ = watch.seen[-1]
    return max(0.0, (event.distance_m - distance) / (event.t - t))


def _pass(car: TeamCar, watch: HoldWatch, event: CarPositioned, wanted: HoldWish | None) -> None:
    place_m = car.lap_map.distance_at_phase(wanted.place) if wanted is not None else None
    if wanted is None or place_m is None or car.lap_map.profile is None or event.speed_mps is None:
        return
    beyond = (event.distance_m - place_m + BEFORE_M) % car.lap_map.profile.length_m - BEFORE_M
    passing = Passing.of(wanted.speed_mps, wanted.length_s)
    if beyond <= passing.reach_m:
        key = wanted.item.key, car.track.lap_number
        watch.passings.setdefault(key, passing).see(event.t, beyond, event.speed_mps)


def _follow(car: TeamCar, watch: HoldWatch, event: CarPositioned, wanted: HoldWish | None) -> None:
    speed = watch.seen[-1][2]
    if watch.over_at is not None and event.t > watch.over_at:
        if event.t > watch.over_at + KEPT_S:
            watch.let_go()
        return
    place_m = car.lap_map.distance_at_phase(wanted.place) if wanted is not None else None
    if wanted is None or place_m is None or car.lap_map.profile is None or wanted.item.key in watch.proven:
        watch.let_go()
        return
    beyond = (event.distance_m - place_m) % car.lap_map.profile.length_m
    held = beyond <= wanted.speed_mps * (wanted.length_s + REACH_S) and watch.sharp(event.t)
    if not held or abs(speed - wanted.speed_mps) > STEADY_MPS:
        watch.let_go()
        return
    if watch.since is None:
        watch.item, watch.since, watch.over_at = wanted.item.key, event.t, event.t + wanted.length_s
        watch.range_mps = (speed, speed)
    low, high = watch.range_mps
    watch.range_mps = (min(low, speed), max(high, speed))
    assert watch.over_at is not None
    if event.t >= watch.over_at - 1.0 / RATE_HZ:
        reason = f"{SHOWN_BY} {watch.range_mps[0]:.1f} to {watch.range_mps[1]:.1f} m/s for {wanted.seconds:g} s"
        watch.proven[wanted.item.key] = (event.t, reason)


def _done(car: TeamCar, key: str, t: float, reason: str) -> None:
    for run in car.progress.runs:
        for item in run.items:
            if item.key == key and item.state in ("planned", "called", "probably_done"):
                item.signal("call", t)
                item.signal("confirm", t, reason)
            elif item.key == key and item.state == "done":
                item.reason = reason  # somebody said so before it was over: what showed it is the better reason


def at_loop(car: TeamCar, event: CarCrossed) -> None:
    """A loop within the hold gave a speed: about the right one is the reason for which it was probably done."""
    wanted, phase = wish(car), car.lap_map.loops.get(event.loop)
    if wanted is None or phase is None or event.speed_mps is None or wanted.item.state != "called":
        return
    share = (wanted.length_s + REACH_S) / car.lap_map.lap_s
    if (phase - wanted.place) % 1.0 <= share and abs(event.speed_mps - wanted.speed_mps) <= AT_LOOP_MPS:
        wanted.item.reason = f"{event.speed_mps:.0f} m/s at loop {event.loop}"


def rain(reported: bool | None, was: bool, cars: Iterable[TeamCar], now: float) -> bool:
    """Whether it rains by what was reported last; with each change laps before it are no measure any more."""
    if reported is None or reported == was:
        return was
    for car in cars:
        car.holds.comparable_t = now
    return reported
