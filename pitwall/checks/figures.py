"""Figures of a plan: holds against the straights, fuel against the laps, the runs against the clock and the flag."""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.items import Placed, placed_items
from pitwall.checks.order import original
from pitwall.checks.spans import spans_of
from pitwall.errors import FilePath, Finding
from pitwall.model.car import Car
from pitwall.model.plan import Plan, Run
from pitwall.model.units import clock_text
from pitwall.track.likely import Span, fits
from pitwall.track.places import plain


def check_holds(plan: Plan, around: Around) -> Iterator[Finding]:
    """Does each hold fit on the straight after its place?"""
    if around.lap is None:
        return
    for placed in placed_items(plan, around):
        place, hold = placed.item.after or placed.item.at, placed.procedure.hold if placed.procedure else None
        if hold is None or place is None or plain(place) not in around.lap.places:
            continue
        seconds, speed = placed.figure(hold.seconds), placed.hold_mps
        if seconds is None or speed is None or seconds <= 0 or speed <= 0:
            continue
        checked = around.lap.hold_fits(place, seconds, speed, hold.settle_s)
        if checked.fits is False:
            key = "after" if placed.item.after is not None else "at"
            yield finding("PW501", path=(*placed.path, key), expected="one that fits on the straight",
                          found=f"a hold of {seconds:g} s at {speed:g} m/s after {place}", suggestion=checked.reason)


def check_gears(plan: Plan, around: Around) -> Iterator[Finding]:
    """Can the car go as fast as each hold asks in the gear that it names?"""
    if around.car is None or not around.car_figures or not around.car.gears:
        return
    car = around.car
    for placed in placed_items(plan, around):
        hold = placed.procedure.hold if placed.procedure is not None else None
        speed = placed.hold_mps
        told = _gear_of(placed, hold.gear) if hold is not None else None
        if hold is None or speed is None or told is None:
            continue
        given = isinstance(hold.gear, str) and hold.gear in placed.item.arguments
        path: FilePath = (*placed.path, "with", str(hold.gear)) if given else placed.path
        gear = round(told)
        top = min(car.gears.get(gear, 0.0), car.top_speed_mps)
        if gear not in car.gears:
            yield finding("PW508", path=path, found=f"gear {told:g}", expected=f"a gear of {around.car_file}: "
                          f"{', '.join(str(one) for one in sorted(car.gears))}")
        elif top < speed - 1e-9:
            yield finding("PW508", path=path, found=f"a hold at {speed:g} m/s in gear {gear}, whose top speed is "
                          f"{top:g} m/s", expected=f"{top:g} m/s or less, or a higher gear",
                          suggestion=_gear_for(car, speed))


def _gear_of(placed: Placed, gear: str | int | None) -> float | None:
    """The gear of a hold; None when none is told, or one that the procedure's own limits refuse already."""
    told = placed.figure(gear) if gear is not None else None
    known = placed.procedure.arguments.get(str(gear)) if placed.procedure is not None else None
    if told is None or known is None:
        return told
    beyond = (known.low is not None and told < known.low) or (known.high is not None and told > known.high)
    return None if beyond else told


def _gear_for(car: Car, speed: float) -> str | None:
    fit = [gear for gear in sorted(car.gears) if min(car.gears[gear], car.top_speed_mps) >= speed]
    return f"gear {fit[0]} reaches {min(car.gears[fit[0]], car.top_speed_mps):g} m/s" if fit else None


def laps_on_fuel(run: Run) -> int:
    """Laps that burn fuel: out and straight in is one lap, whatever it is called."""
    return 1 if run.out_in else len(run.laps)


def check_fuel(plan: Plan, around: Around) -> Iterator[Finding]:
    """Laps times burn plus reserve against what the run has; without fuel_kg it goes on with what is left."""
    if around.car is None or not around.car_figures:
        return
    burn, reserve = around.car.fuel_per_lap_kg, around.car.fuel_reserve_kg
    aboard = plan.starts_with.fuel_kg
    asked = False
    for index, run in enumerate(plan.runs):
        given = run.fuel_kg if run.fuel_kg is not None else original(plan, run).fuel_kg
        aboard = given if given is not None else aboard
        if not run.laps:
            continue
        if aboard is None:
            if not asked:
                yield finding("PW507", path=("runs", index), found=f"no fuel_kg for {run.run!r}",
                              expected="a load in kg")
            asked = True
            continue
        needed = laps_on_fuel(run) * burn + reserve
        if needed > aboard + 1e-9:
            yield _short(("runs", index), run, aboard, needed, given is not None, around)
        aboard = max(0.0, aboard - laps_on_fuel(run) * burn)


def _short(path: FilePath, run: Run, aboard: float, needed: float, given: bool, around: Around) -> Finding:
    assert around.car is not None
    where: FilePath = (*path, "fuel_kg") if run.fuel_kg is not None else path
    left = "" if given else " left from the run before"
    return finding(
        "PW502", path=where, found=f"{aboard:g} kg of fuel{left} for {run.run!r}",
        expected=f"{needed:g} kg or more ({laps_on_fuel(run)} laps of {around.car.fuel_per_lap_kg:g} kg and "
                 f"{around.car.fuel_reserve_kg:g} kg reserve)",
    )


def check_fuel_sense(plan: Plan, around: Around) -> Iterator[Finding]:
    """A load that no run of this session could be meant to have."""
    session_s = duration_of(plan, around)
    if around.car is None or not around.car_figures or around.lap is None or session_s is None:
        return
    most = around.car.most_fuel_kg(session_s, around.lap.lap_s)
    loads: list[tuple[FilePath, float | None]] = [(("starts_with", "fuel_kg"), plan.starts_with.fuel_kg)]
    loads += [(("runs", index, "fuel_kg"), run.fuel_kg) for index, run in enumerate(plan.runs)]
    for path, load in loads:
        if load is not None and load > most:
            yield finding("PW515", path=path, found=f"{load:g} kg of fuel",
                          expected=f"{most:.0f} kg or less, burnt by laps without a stop in twice the session")


def duration_of(plan: Plan, around: Around) -> float | None:
    """Length of the plan's session, seconds; None when it is unknown."""
    window = around.regulations.window(plan.session) if around.regulations is not None else None
    return window.duration_s if window is not None else None


def check_clock(plan: Plan, around: Around) -> Iterator[Finding]:
    """By likely times, does what must and should be done fit? A ``could`` that does not is normal."""
    duration = duration_of(plan, around)
    if duration is None or around.lap is None or around.regulations is None:
        return
    spans = spans_of(plan, around.lap.lap_s, around)
    for index, span in enumerate(spans):
        if span.run.want == "could" or fits(span, duration, around.regulations.finish_started_lap):
            continue
        yield finding("PW506" if span.run.want == "must" else "PW503", path=("runs", index),
                      found=f"{span.run.run!r} {_when(span)}",
                      expected=f"it before the flag at {clock_text(duration if span.flag_s is None else span.flag_s)}")


def _when(span: Span) -> str:
    if span.last_timed_s is not None:
        return f"starting its last timed lap at {clock_text(span.last_timed_s)} by likely times"
    return f"back at {clock_text(span.end_s)} by likely times"


def check_release(plan: Plan, around: Around) -> Iterator[Finding]:
    """Release windows that lie outside the session."""
    duration = duration_of(plan, around)
    if duration is None:
        return
    for index, run in enumerate(plan.runs):
        window = run.release
        if window.not_before is not None and window.not_before >= duration and run.after_flag is None:
            yield finding("PW504", path=("runs", index, "release", "not_before"), found=clock_text(window.not_before),
                          expected=f"a time before the flag at {clock_text(duration)}")
        if window.not_after is not None and window.not_after < 0:
            yield finding("PW504", path=("runs", index, "release", "not_after"), found=clock_text(window.not_after),
                          expected="a time after the green light")


def check_turn(plan: Plan, around: Around) -> Iterator[Finding]:
    """Release windows that are over before the runs above leave time for them."""
    duration = duration_of(plan, around)
    if duration is None or around.lap is None:
        return
    for index, span in enumerate(spans_of(plan, around.lap.lap_s, around)):
        latest = span.run.release.not_after
        if latest is not None and latest >= 0 and not span.after_flag and span.start_s > latest:
            yield finding("PW514", path=("runs", index, "release", "not_after"), found=clock_text(latest),
                          expected=f"{clock_text(span.start_s)} or later, its turn by likely times",
                          suggestion=f"move {span.run.run!r} up, or shorten what comes before it")


def check_after_flag(plan: Plan, around: Around) -> Iterator[Finding]:
    """Items after the flag that the regulations do not allow."""
    if around.regulations is None:
        return
    allowed = around.regulations.after_flag_items
    for placed in placed_items(plan, around):
        flag = placed.run.after_flag
        if flag is None or (flag == "allowed" and placed.run.laps) or placed.item.do in allowed:
            continue
        yield finding("PW505", path=(*placed.path, "do"), found=f"{placed.item.do!r} after the flag",
                      expected=f"one of: {', '.join(allowed)}" if allowed else "nothing, the regulations allow none")
