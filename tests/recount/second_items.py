"""Which items were done badly on a whole lap, reckoned again: a lap that was not clean or began with a switch out of
place is no lap to learn from, and neither is one on which the item's own switch stood elsewhere; what is compared with
no other lap tells nothing."""

from __future__ import annotations

from typing import Any

from tests.recount.second_clean import verdict
from tests.recount.second_instead import default_of
from tests.recount.second_laps import Lap, laps_of, runs_of, statuses_of, switches_off
from tests.recount.second_windows import SET_WITHIN_S, stood
from tests.recount.sessions import Row, Told

SPOILT = ("traffic", "mistake", "yellow", "aborted", "told")
DONE = ("done", "probably_done", "called")


def whole_lap_outcomes(told: Told, car: str, moves: list[Row]) -> dict[str, bool]:
    """By item whose data are a whole timed lap, and that the engine took for done: was it done badly?"""
    found, laps, spans = {}, laps_of(told, car), statuses_of(told)
    state = {item["item"]: item for run in told.plans[car]["runs"] for item in run["items"]}
    windows = {one.item: one.lap_number for one in told.debrief.car(car).data_windows}  # type: ignore[union-attr]
    for item, number in windows.items():
        lap, procedure = laps[number - 1], told.setup["procedures"][state[item]["do"]]
        if procedure["data_window"] != "lap" or lap.kind != "timed" or state[item]["state"] not in DONE:
            continue
        word = verdict(told, car, lap, spans)
        own = word == f"told {state[item]['do']}"  # what it cost itself spoils none of its data
        found[item] = ((word.split()[0] in SPOILT and not own) or bool(switches_off(told, car, lap, "switch_wrong"))
                       or _elsewhere(told, car, lap, item, moves)
                       or _with_nothing(told, car, lap, item, laps, moves))
    return found


def _with_nothing(told: Told, car: str, own: Lap, item: str, laps: list[Lap], moves: list[Row]) -> bool:
    """A comparison: is every other timed lap of its run, on which the item's switches stood elsewhere, spoilt? One for
    which the plan has no other timed lap is compared elsewhere."""
    run, spans = runs_of(told, car)[str(own.run)], statuses_of(told)
    procedure = told.setup["procedures"][next(one["do"] for one in run["items"] if f"-{one['do']}-" in item)]
    if (not procedure["by"] and procedure["needs_lap"] != "reference") or run["laps"].count("timed") < 2:
        return False
    wanted = _wants(told, car, own, item)
    others = [lap for lap in laps if (lap.run, lap.kind) == (own.run, "timed") and lap.number != own.number
              and any(row["position"] != wanted[row["switch"].value] or row["moved"]
                      for row in stood(told, car, lap.begin + SET_WITHIN_S, lap.end - SET_WITHIN_S, moves)
                      if row["switch"].value in wanted)]
    return all(verdict(told, car, lap, spans).split()[0] in SPOILT or switches_off(told, car, lap, "switch_wrong")
               for lap in others)


def _elsewhere(told: Told, car: str, lap: Lap, item: str, moves: list[Row]) -> bool:
    """Was a switch that the item asks for measured elsewhere, or moved in the middle of the lap?"""
    wanted = _wants(told, car, lap, item)
    rows = [row for row in stood(told, car, lap.begin + SET_WITHIN_S, lap.end - SET_WITHIN_S, moves)
            if row["switch"].value in wanted]
    return any((row["evidence"] == "measured" and row["position"] != wanted[row["switch"].value]) or row["moved"]
               for row in rows)


def _wants(told: Told, car: str, lap: Lap, item: str) -> dict[str, Any]:
    """Positions that the item asks for, by the words of the plan and of the procedure file."""
    run = runs_of(told, car)[str(lap.run)]
    written = run["items"][int(item.removeprefix(f"{run['run']}-").split("-")[0]) - 1]
    procedure = told.setup["procedures"][written["do"]]
    given = {key: one.get("default") for key, one in procedure["arguments"].items()} | written["arguments"]
    filled = {key.strip("{}"): to for key, to in procedure["switches"].items()}
    found = {str(given.get(key, key)): given[to.strip("{}")] if isinstance(to, str) and "{" in to else to
             for key, to in filled.items()}
    if procedure.get("by"):
        switch = next(one for one in told.setup["cars"][car]["switches"] if one["switch"] == given["switch"])
        base = run["switches"].get(given["switch"], default_of(told, car, switch))
        found[given["switch"]] = base + given[procedure["by"]]
    return found
