"""A timed lap that can no longer start before the flag: told while the driver can still push, box or stay in.

On track the car's own estimate of when it reaches the line stands against the flag, each with its doubt: the alert is
raised once the line comes later than the flag by more than both together, and over when it is expected before it. In
the garage, from the brief on, even a quick out-lap must come too late; where the forecast has told of an overrun, that
says it already, until the last moment to leave for a timed lap is past: that it is past is told in any case. A car that
was to leave while the timing was silent may be out, and nothing is said of it before it would have been seen.

Where not even the quickest lap from here is at the line before the flag, the lap is the in-lap from that moment on, as
it would be once the flag has fallen: nobody is told of timed laps that are none, or to set switches for them. What a
person then decides, such as one lap more, stands. Where the clock is put right, or the session made longer, so that a
timed lap can begin after all, the car goes on.
"""

from __future__ import annotations

import math

from pitwall.engine.alerts.book import AlertBook, alert_key
from pitwall.engine.last_release import (
    after_this_flag,
    last_release_s,
    needs_a_timed_lap,
    none_before_flag,
    on_track_by_s,
    take_back_note,
    too_late,
    waits_for,
)
from pitwall.engine.remaining import SPREAD
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import RUNNING, SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.outputs import Output
from pitwall.model.units import clock_text

KIND = "misses_flag"
QUICK_OUT = SPREAD["out"][0]  # the quickest usual out-lap over the likely one
FEED_SPEAKS_S, MESSAGE_LATE_S = 20.0, 5.0  # another car was seen so lately; messages later than this are rare
UNKNOWN_SHARE = 0.08  # of the way still to go, where nothing is known of the spread (common practice, no source)


def look(
    car: TeamCar, clock: SessionClock, alerts: AlertBook, now: float, silent: tuple[float, float] | None = None
) -> list[Output]:
    """Every few seconds: does the timed lap that comes next still begin before the flag?

    ``silent``: from when to when the timing of all cars was silent last, session seconds.
    """
    flag_s, held = clock.end_s(now), alert_key(KIND, car.car) in alerts.active
    on_track = car.track.on_track
    take_back_note(car, clock, now)
    if not on_track and _may_be_out(car, silent, now):
        return alerts.over(KIND, car.car, now)
    text = _on_track(car, clock, held, now) if on_track else _in_garage(car, clock, held, now)
    run = car.progress.current
    if run is not None and run.called_for_flag and run.called_in and on_track and clock.status in RUNNING:
        if flag_s <= run.flag_was_s + car.setup.regulations.clock_uncertainty_s or _too_late(car, flag_s, now):
            return []  # it stands as it was told, until the car is in
        _let_go_on(car, run)
        return alerts.over(KIND, car.car, now)
    if text is None:
        return alerts.over(KIND, car.car, now)
    if on_track and clock.status in RUNNING and _surely(car, flag_s, now):
        _call_in(car, flag_s)
    explained = () if on_track or _last_moment_past(car, clock, now) else ("overrun",)
    return alerts.hold(KIND, car.car, text, now, clock.alert_status, explained_by=explained)


def _on_track(car: TeamCar, clock: SessionClock, held: bool, now: float) -> str | None:
    track, arrival, flag_s = car.track, car.track.arrival(1.0), clock.end_s(now)
    if arrival is None or track.state not in ("out", "cool", "stopped") or not _timed_next(car):
        return None
    least = _not_before(car, now) + _must_last(car)
    arrival = max(arrival + _must_last(car), least)
    spread = track.spread(1.0)
    spread = UNKNOWN_SHARE * max(0.0, arrival - now) if spread is None else spread
    unsure = car.setup.regulations.clock_uncertainty_s
    if least - flag_s <= unsure and arrival - flag_s <= (0.0 if held else math.hypot(spread, unsure)):
        return None
    earliest = max((track.earliest(1.0) or arrival) + _must_last(car), least)
    does = "reaches the line" if car.setup.regulations.finish_started_lap else "would end its timed lap"
    late = f"Car {car.car} {does} at {clock_text(arrival)}, the flag falls at {clock_text(flag_s)}"
    if earliest + unsure < flag_s and track.state != "stopped":
        return f"{late}: push to start another timed lap, or box"
    block = after_this_flag(car, clock)
    then = "box" if block is None else f"stay out for {block.run.run} after it, or box"
    return f"{late}: no timed lap any more, {then}"


def _surely(car: TeamCar, flag_s: float, now: float) -> bool:
    """Guard: the car goes, and however quick it is from here on, the flag falls before the timed lap begins."""
    return car.track.state in ("out", "cool") and _too_late(car, flag_s, now)


def _too_late(car: TeamCar, flag_s: float, now: float) -> bool:
    earliest = car.track.earliest(1.0)
    if earliest is None:
        return False
    return max(earliest, _not_before(car, now)) + _must_last(car) > flag_s + car.setup.regulations.clock_uncertainty_s


def _call_in(car: TeamCar, flag_s: float) -> None:
    run = car.progress.current
    if run is None or run.called_for_flag or run.called_in:
        return
    run.called_for_flag = run.flag_fell = True
    run.flag_was_s = flag_s
    car.progress.box_now()
    car.track.move("called_in")


def _let_go_on(car: TeamCar, run: RunState) -> None:
    """The flag falls later than it was thought: whoever was called in for it drives on, and may be called in anew."""
    run.called_for_flag = run.flag_fell = False
    car.progress.go_on(run)
    car.track.move("let_run")


def _in_garage(car: TeamCar, clock: SessionClock, held: bool, now: float) -> str | None:
    run, release, flag_s = car.progress.next, car.release_s, clock.end_s(now)
    if not car.kept_in and none_before_flag(car, clock, now):
        return _nothing_but_block(car, clock, now)
    if run is None or release is None or car.kept_in or not car.legs:
        return None
    first = next((leg for leg in car.legs if leg.kind == "timed"), None)
    if first is None or (release > now + car.setup.calls.brief_s and not _last_moment_past(car, clock, now)):
        return None
    if too_late(car, clock, now):
        return f"Car {car.car}: {run.run.run} can no longer start a timed lap, {_what_then(car, clock, now)}"
    # The legs allow for a car that still stands here; what it can do at best is to leave at once.
    begins = first.start_s - car.legs[0].start_s + max(release, now) + _must_last(car)
    saved = 0.0 if held else (1.0 - QUICK_OUT) * (car.legs[0].end_s - car.legs[0].start_s)
    if begins - saved <= flag_s + (0.0 if held else car.setup.regulations.clock_uncertainty_s):
        return None
    begins -= _must_last(car)
    return (f"Car {car.car}: {run.run.run} would start its first timed lap at {clock_text(begins)}, the flag "
            f"falls at {clock_text(flag_s)}: keep it in, or use the time for something else")


def _nothing_but_block(car: TeamCar, clock: SessionClock, now: float) -> str | None:
    """No run is left for this flag, and the car stands in the garage: told as soon as it would be briefed for one."""
    block, by_s = after_this_flag(car, clock), on_track_by_s(car, clock, now)
    if block is None or by_s is None or not by_s - car.setup.calls.brief_s <= now <= by_s:
        return None
    return f"Car {car.car}: {block.run.run} after the flag needs it on track: it has to leave by {clock_text(by_s)}"


def _what_then(car: TeamCar, clock: SessionClock, now: float) -> str:
    block, by_s = waits_for(car, clock, now), on_track_by_s(car, clock, now)
    if block is None or by_s is None:
        return f"the flag falls at {clock_text(clock.end_s(now))}: keep it in"
    return f"but {block.run.run} after the flag needs it on track: it has to leave by {clock_text(by_s)}"


def _last_moment_past(car: TeamCar, clock: SessionClock, now: float) -> bool:
    """Guard: the last moment at which the next run could have left for a timed lap is behind."""
    run = car.progress.next
    last = None if run is None or not needs_a_timed_lap(run) else last_release_s(car, run, clock, now)
    return last is not None and now > last


def _may_be_out(car: TeamCar, silent: tuple[float, float] | None, now: float) -> bool:
    """Guard: it was due to leave while the timing was silent, and has not had the time to be seen since. While nobody
    is out the timing has nothing to tell, and its silence is none."""
    due = car.first_release_s
    if silent is None or due is None or not any(
        track.on_track for name, track in car.field_tracks.items() if name != car.car
    ):
        return False
    return due <= silent[1] and now <= silent[1] + car.track.pace.lap_s("out")


def _not_before(car: TeamCar, now: float) -> float:
    """A car that has not been seen at the next loop cannot be at the line before a quick lap from there, as long as
    other cars show that the feed speaks."""
    track = car.track
    others = [other.seen_t for name, other in car.field_tracks.items() if name != car.car]
    if now - max(others, default=float("-inf")) > FEED_SPEAKS_S:
        return now
    ahead = min((phase for phase in car.lap_map.loops.values() if phase > track.seen_phase + 1e-9), default=1.0)
    way = track.pace.bend(1.0) - track.pace.bend(ahead)
    return max(now, now - MESSAGE_LATE_S + way * track.pace.quick_s())


def _timed_next(car: TeamCar) -> bool:
    """Guard: the plan wants a timed lap after the running one."""
    return len(car.legs) > 1 and car.legs[0].running and car.legs[1].kind == "timed"


def _must_last(car: TeamCar) -> float:
    """What must be done before the flag besides the start: the whole lap where it may not be finished after it."""
    return 0.0 if car.setup.regulations.finish_started_lap else car.track.pace.lap_s("timed")
