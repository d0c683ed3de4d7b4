"""When each run of the first plan was to be driven, laid out again from the plan, the library and the regulations."""

from __future__ import annotations

from pitwall.track.likely import LAP_FACTORS
from tests.recount.second_laps import map_of
from tests.recount.sessions import Row, Told


def planned(told: Told, car: str) -> dict[str, tuple[float, float]]:
    """Lap by lap at the usual share of the reference lap, items with what they take beside it, stops at their likely
    length, a change of drivers in them; the shares of each kind of lap are those of the track package."""
    session = next(one for one in told.setup["regulations"]["sessions"] if one["session"] == told.setup["session"])
    plan, found, t = told.setup["plans"][car], dict[str, tuple[float, float]](), 0.0
    for number, run in enumerate(plan["runs"]):
        if not run["laps"]:
            continue
        lengths = lap_lengths(told, car, run)
        begin = max(t, run["release"]["not_before"] or 0.0)
        if session["windows"]:
            begin = in_window(told, session["windows"], run | {"car": car}, lengths, begin)
        end = begin + sum(lengths)
        found[run["run"]] = (begin, end)
        behind = plan["runs"][number + 1] if number + 1 < len(plan["runs"]) else None
        changes = behind is not None and behind["laps"] and _driver(plan, behind) != _driver(plan, run)
        work, change = run["after_garage_s"]["likely_s"], told.setup["garage"]["driver_change_s"]["likely_s"]
        t = end + (max(work, change) if changes else work)
    return found


def lap_lengths(told: Told, car: str, run: Row) -> list[float]:
    """Likely seconds of each lap of a run."""
    kinds = ["installation"] if run["laps"] == ["out", "in"] else run["laps"]
    found = [LAP_FACTORS[kind] * map_of(told, car).lap_s for kind in kinds]
    for item in run["items"]:
        procedure = told.setup["procedures"][item["do"]]
        times = item["times"] if procedure["stationary"] else 1
        on: set[int] = set() if item["on"] else {0}
        for choice in item["on"]:
            same = [at for at, kind in enumerate(run["laps"]) if kind == choice["kind"]]
            on |= {same[number - 1] for number in choice["numbers"]} if choice["numbers"] else set(same)
        for at in sorted(on)[: 1 if item["when"] else None]:
            found[min(at, len(found) - 1)] += procedure["extra_s"] * times
    return found


def in_window(told: Told, windows: list[Row], run: Row, lengths: list[float], ready: float) -> float:
    """The first moment in a window before whose flag the last lap that the run cannot do without is begun, or done."""
    own = [one for at, one in enumerate(windows) if run["window"] in (None, one["window"], str(at + 1))]
    timed = [at for at, kind in enumerate(run["laps"]) if kind == "timed"]
    needed = sum(lengths)
    if timed:
        lap_s = map_of(told, run["car"]).lap_s
        spared = run["laps"][timed[(run["shorten_to"] or (len(timed) + 1) // 2) - 1] : timed[-1]]
        needed = sum(lengths[: timed[-1]]) - sum(LAP_FACTORS[kind] for kind in spared) * lap_s
        if not told.setup["regulations"]["finish_started_lap"]:
            needed += LAP_FACTORS["timed"] * lap_s
    fits = [one for one in own if max(ready, one["from_s"]) + needed < one["to_s"]] or own[-1:]
    return float(max(ready, fits[0]["from_s"]))


def _driver(plan: Row, run: Row) -> str:
    return str(run["driver"] or plan["driver"])
