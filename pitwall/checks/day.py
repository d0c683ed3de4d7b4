"""A session in windows and several drivers: windows that exist and are long enough, drivers who get what they must."""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around, meant
from pitwall.checks.codes import finding
from pitwall.checks.figures import laps_on_fuel
from pitwall.errors import FilePath, Finding
from pitwall.model.plan import Plan, Run
from pitwall.model.rules import Window
from pitwall.model.units import clock_text
from pitwall.track.likely import likely_run_s, needed_s, window_of

M_PER_KM = 1000.0


def check_windows(plan: Plan, around: Around) -> Iterator[Finding]:
    """Runs bound to a window that the session does not have, and runs that fit into none."""
    session = around.regulations.window(plan.session) if around.regulations is not None else None
    if session is None:
        return
    for index, run in enumerate(plan.runs):
        if run.window is not None and window_of(session, run) is None:
            yield finding("PW116", path=("runs", index, "window"), found=f"unknown window {run.window!r}",
                          expected=_windows(session.windows) or f"no window: {plan.session!r} is in one piece",
                          suggestion=meant(run.window, [one.window for one in session.windows]))
        elif session.windows and run.laps and around.lap is not None and around.regulations is not None:
            bound = window_of(session, run)
            allowed = session.windows if bound is None else (session.windows[bound],)
            longest = max(allowed, key=lambda window: window.length_s)
            needed = needed_s(run, around.lap.lap_s, around.procedures, around.regulations.finish_started_lap)
            if needed > longest.length_s:
                yield finding("PW509", path=("runs", index, "laps"),
                              found=f"{run.run!r}, which needs {clock_text(needed)} by likely times",
                              expected=f"{clock_text(longest.length_s)} at most, the length of {longest.window!r}")


def _windows(windows: tuple[Window, ...]) -> str:
    return ", ".join(f"{window.window} (or {number})" for number, window in enumerate(windows, start=1))


def check_drivers(plan: Plan, around: Around) -> Iterator[Finding]:
    """Drivers of runs and of minimums whom the event does not have."""
    if around.drivers is None:
        return
    named: list[tuple[FilePath, str]] = [
        (("runs", index, "driver"), run.driver) for index, run in enumerate(plan.runs) if run.driver is not None
    ]
    named += [(("minimum_laps", driver), driver) for driver in plan.minimum_laps]
    for path, driver in named:
        if driver not in around.drivers:
            yield finding("PW105", path=path, found=f"unknown driver {driver!r}",
                          expected="a driver of the event file", suggestion=meant(driver, around.drivers))


def check_minimums(plan: Plan, around: Around) -> Iterator[Finding]:
    """Can every driver of the plan reach the minimum with it, and does nobody go beyond a limit?"""
    for driver in dict.fromkeys([*(plan.driver_of(run) for run in plan.runs), *plan.minimum_laps]):
        known = around.people.get(driver)
        runs = [run for run in plan.runs if plan.driver_of(run) == driver and run.laps]
        laps = sum(laps_on_fuel(run) for run in runs)
        minimum = plan.minimum_laps.get(driver, known.minimum_laps if known is not None else None)
        path: FilePath = ("minimum_laps", driver) if driver in plan.minimum_laps else ("runs",)
        if minimum is not None and laps < minimum:
            yield finding("PW511", path=path, found=f"{laps} laps for {driver}", expected=f"{minimum} or more")
        seconds = _seconds(runs, around)
        if known is not None and known.minimum_s is not None and seconds is not None and seconds < known.minimum_s:
            yield finding("PW511", path=("runs",), found=f"{clock_text(seconds)} on track for {driver} by likely times",
                          expected=f"{clock_text(known.minimum_s)} or more")
        if known is not None and known.most_laps is not None and laps > known.most_laps:
            yield finding("PW512", path=("runs",), found=f"{laps} laps for {driver}",
                          expected=f"{known.most_laps} at most")
        if known is not None and known.most_s is not None and seconds is not None and seconds > known.most_s:
            yield finding("PW512", path=("runs",), found=f"{clock_text(seconds)} on track for {driver} by likely times",
                          expected=f"{clock_text(known.most_s)} at most")
    yield from _car(plan, around)


def _seconds(runs: list[Run], around: Around) -> float | None:
    if around.lap is None:
        return None
    return sum(likely_run_s(run, around.lap.lap_s, around.procedures)[0] for run in runs)


def _car(plan: Plan, around: Around) -> Iterator[Finding]:
    limits, laps = around.limits, sum(laps_on_fuel(run) for run in plan.runs if run.laps)
    if limits is None:
        return
    if limits.most_laps is not None and laps > limits.most_laps:
        yield finding("PW512", path=("runs",), found=f"{laps} laps for car {plan.car}",
                      expected=f"{limits.most_laps} at most")
    metres = around.circuit.length_m if around.circuit is not None else None
    if limits.most_km is not None and metres is not None and laps * metres > limits.most_km * M_PER_KM:
        yield finding("PW512", path=("runs",), found=f"{laps * metres / M_PER_KM:.0f} km for car {plan.car}",
                      expected=f"{limits.most_km:g} km at most")
