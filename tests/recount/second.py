"""The whole debrief of a recorded session, reckoned a second time: the same shape as its JSON, with our own numbers.

From the journal's rows, and from what the engine put out as plain data. The package that makes debriefs has no part in
it. Where a circuit's places lie in time and metres is asked of ``pitwall.track``.
"""

from __future__ import annotations

from functools import cache
from itertools import groupby
from statistics import median
from typing import Any

from tests.recount import second_said as said
from tests.recount.own import Own, engine, name, near, plan
from tests.recount.second_calls import item_label
from tests.recount.second_clean import kinds, wanted_and_clean
from tests.recount.second_instead import beyond
from tests.recount.second_laps import Lap, lap_rows, laps_of, moment, runs_of, statuses_of
from tests.recount.second_planned import planned
from tests.recount.second_windows import windows
from tests.recount.sessions import Row, Told, told


@cache
def second(which: str) -> Row:
    """Our own debrief of a recorded session."""
    return second_of(told(which))


def second_of(told: Told) -> Row:
    """The same of a session that was gone over."""
    figures, rows = said.alerts(told)
    return {"debrief": Own(1, "fixed"), "session": session(told), "alerts": figures, "alert_rows": rows,
            "changes": said.changes_of_all(told),
            "cars": [car_of(told, car) for car in sorted(told.setup["plans"])]}


def session(told: Told) -> Row:
    """The session in figures."""
    setup, rows = told.setup, told.rows
    window = next(one for one in setup["regulations"]["sessions"] if one["session"] == setup["session"])
    segments = setup["circuit"].get("segments") or []
    gaps = [one for kind in ("restarted", "resumed") for one in told.facts(kind) if one["gap_s"] > 0]
    return {
        "event": name(setup["event"]), "session": name(setup["session"]), "circuit": name(setup["circuit"]["name"]),
        "team": name(setup["team"]), "journal": name(told.name),
        "circuit_length_m": near(sum(one["length_m"] for one in segments), 3) if segments else None,
        "scheduled_s": window["duration_s"], "began_s": near(rows[0]["received_t"], 3),
        "ended_s": near(max(row["received_t"] for row in rows), 3), "green_time": moment(told, 0.0),
        "ended_time": moment(told, max(row["received_t"] for row in rows)),
        "facts": len(rows), "restarts": len(told.facts("restarted")), "failed_facts": 0,
        "gaps_s": [[near(one["t"], 3), near(one["gap_s"], 3)] for one in gaps],
        "statuses": [{"from_s": near(since, 3), "to_s": near(until, 3), "sectors": [name(one) for one in sectors],
                      "status": status} for status, since, until, sectors in statuses_of(told)],
        "windows": [[name(one["window"]), one["from_s"], one["to_s"]] for one in window["windows"]],
    }


def car_of(told: Told, car: str) -> Row:
    """One car's part."""
    laps, rows = laps_of(told, car), lap_rows(told, car)
    moves = [own for row in told.debrief.car(car).switches if (own := move_of(told, car, row)) is not None]  # type: ignore[union-attr]
    plain = [{key: one.value if isinstance(one, Own) else one for key, one in move.items()} for move in moves]
    times = [lap.time_s for lap in laps if lap.time_s is not None]
    items = item_rows(told, car)
    found = windows(told, car, laps, rows, plain)
    return {
        "car": name(car), "laps": rows, "items": items,
        "drivers": [name(one) for one in dict.fromkeys(lap.planned["driver"] for lap in laps)],
        "best_lap_s": near(min(times), 3) if times else None, "runs": run_rows(told, car, laps, items),
        "switches": moves, "calls": said.calls(told, car), "radio": said.radio(told, car), "data_windows": found,
        "questions": said.questions(told, car), "changes": said.changes(told, car),
        "comments": said.comments(told, car), "said": said.findings(told, car, plain),
    }


def shorthand(kinds: list[str]) -> str:
    """``out, 3 timed, in``."""
    if kinds == ["out", "in"]:
        return "out-in"
    runs = [(kind, len(list(group))) for kind, group in groupby(kinds)]
    return ", ".join(f"{many} {kind}" if kind == "timed" or many > 1 else kind for kind, many in runs)


def run_rows(told: Told, car: str, laps: list[Lap], items: list[Row]) -> list[Row]:
    """The runs in the order of the plan in use."""
    written, found = runs_of(told, car), []
    first = {run["run"] for run in told.setup["plans"][car]["runs"]}
    spans = planned(told, car)
    kind, clean = kinds(told, car), wanted_and_clean(told, car)
    for run in told.plans[car]["runs"]:
        own, paper = [lap for lap in laps if lap.run == run["run"]], written[run["run"]]
        times = [round(lap.time_s, 3) for lap in own if lap.time_s is not None]
        good = [round(lap.time_s, 3) for lap in own if kind[lap.number] == "timed" and clean[lap.number] and lap.time_s]
        of_run = [item for item in items if item["run"].value == run["run"]]
        span, wanted = spans.get(run["run"]), wanted_laps(told, car, paper)
        found.append({
            "run": name(run["run"]), "purpose": plan(paper["purpose"]), "reason": _reason(laps, run),
            "planned_laps": plan(shorthand(paper["laps"]) if run["run"] in first else ""),
            "laps": Own(shorthand(wanted)), "timed_wanted": wanted.count("timed"),
            "timed_done": sum(kind[lap.number] == "timed" for lap in own), "planned_tyres": name(paper["tyres"]),
            "planned_fuel_kg": None if paper["fuel_kg"] is None else plan(paper["fuel_kg"]),
            "tyres": name(own[0].tyres if own else paper["tyres"]),
            "fuel_kg": near(own[0].fuel_kg, 2) if own else None if paper["fuel_kg"] is None else plan(paper["fuel_kg"]),
            "driver": name(paper["driver"]), "want": run["want"],
            "planned_span_s": None if span is None else [near(one, 1) for one in span], "stints": stints(own),
            "best_lap_s": near(min(times), 3) if times else None, "clean_laps": len(good),
            "median_clean_s": near(median(good), 3) if good else None,
            "owed": is_owed(told, car, run["run"]), "laps_left": laps_left(run, paper, wanted, own, kind),
            "items_done": sum(item["done"] for item in of_run), "items": len(of_run),
            "items_probably": sum(item["outcome"] == "probably_done" for item in of_run),
            "musts_left": sum(item["outcome"] in ("not_done", "done_badly") for item in of_run
                              if item["next_want"] == "must"),
        })
    return found


def is_owed(told: Told, car: str, run: str) -> bool:
    """A run of the first plan, of the plan that was gone over to last, or of no file at all; not one of another."""
    gone_to = [key["alternate"] for key in told.facts("command_given", car) if key["command"] == "switch_plan"]
    files = told.setup["alternates"].get(car, {})
    wanted = [told.setup["plans"][car], *(files[kind] for kind in gone_to[-1:] if kind in files)]
    named = [{one["run"] for one in plan["runs"]} for plan in wanted]
    return any(run in names for names in named) or not any(
        run in {one["run"] for one in plan["runs"]} for plan in files.values())


def laps_left(run: Row, paper: Row, wanted: list[str], own: list[Lap], kind: dict[int, str]) -> int:
    """Timed laps that a run that is over still wants: half of them or more were driven, and its plan names no fewer.
    Whether a flag ended it, so that it does not count at all, is the engine's word."""
    missing = wanted.count("timed") - sum(kind[lap.number] == "timed" for lap in own)
    enough = 2 * missing <= wanted.count("timed") and run["counts"]
    return missing if run["state"] == "done" and paper["shorten_to"] is None and missing > 0 and enough else 0


def _reason(laps: list[Lap], run: Row) -> Own:
    """Why a run is as it is: the engine's word, or how many laps the car drove on from where it was to come in."""
    more = beyond(laps, run["run"])
    if run["reason"] or not more:
        return engine(run["reason"] or "")
    return Own(f"the car stayed out {more} lap{'' if more == 1 else 's'} beyond the in-lap")


def wanted_laps(told: Told, car: str, paper: Row) -> list[str]:
    """The laps of a run as people wrote them, one timed lap more in its last stretch for each key that said so."""
    laps: list[str] = list(paper["laps"])
    for key in told.facts("command_given", car):
        if key["command"] == "extend" and key["run"] == paper["run"]:
            laps.insert(len(laps) - laps[::-1].index("timed"), "timed")
    return laps


def stints(laps: list[Lap]) -> list[Row]:
    """From a leaving to the coming back."""
    found: list[Row] = []
    for lap in laps:
        if lap.first or not found:
            found.append({"from_s": near(lap.begin, 3), "to_s": None})
        if lap.home:
            found[-1]["to_s"] = near(lap.end, 3)
    return found


def item_rows(told: Told, car: str) -> list[Row]:
    """The items of every run, in plan order."""
    found = []
    outcomes = {item.item: item for item in told.debrief.car(car).items}  # type: ignore[union-attr]
    for run in told.plans[car]["runs"]:
        for item in run["items"]:
            written = next(one for one in runs_of(told, car)[run["run"]]["items"]
                           if f"{run['run']}-{runs_of(told, car)[run['run']]['items'].index(one) + 1}-" in item["item"])
            procedure = told.setup["procedures"][item["do"]]
            given = {key: one["default"] for key, one in procedure["arguments"].items()
                     if one.get("default") is not None}
            place = written["after"] or written["at"]
            given |= written["arguments"] | dict.fromkeys(("place", "after", "at"), place)
            actual = outcomes[item["item"]]
            reason: Own = engine(item["reason"] or "")
            if item["state"] == "dropped":
                words = item["reason"]  # the desk's own words say that it was dropped
                reason = engine(words if words.startswith("dropped") else f"dropped: {words}")
            elif actual.outcome == "done_badly":
                reason = Own(actual.reason, "engine")
            elif actual.reason.startswith("comment "):
                asked = [one["t"] for one in told.said("prompt", car) if one["ask"]["item"] == item["item"]
                         and one["state"] in ("said", "done")]  # fmt: skip
                reason = Own([float(next(one["comment"] for one in said.comments(told, car)
                                         if one["run"].value == run["run"] and one["t"] >= min(asked)))])
            found.append({
                "item": name(item["item"]), "run": name(run["run"]),
                "lap": item_label(told, car, run["run"], item["item"], item["lap"]),
                "place": plan(place), "arguments": {key: plan(value) for key, value in given.items()},
                "reason": reason, "t": near(item["t"], 3, "engine"), "do": name(item["do"]),
                "done": actual.outcome in ("done", "probably_done"), "outcome": actual.outcome, "want": item["want"],
                "next_want": item["want"], "too_late": actual.too_late,
            })
        if run["want"] == "must":
            timed = "timed" in wanted_laps(told, car, runs_of(told, car)[run["run"]])
            for item in brought_nothing(told, [one for one in found if one["run"].value == run["run"]], timed):
                item["next_want"] = "must"
    return found


def brought_nothing(told: Told, items: list[Row], timed: bool) -> list[Row]:
    """What a run was for, where it brought nothing of it: its comparisons, or without timed laps all that yields data;
    not what could be done, what makes ready for another lap, or what somebody took out of it altogether."""
    files = told.setup["procedures"]
    compares = [one for one in items if one["want"] != "could" and (
        files[one["do"].value].get("by") or files[one["do"].value].get("needs_lap") == "reference")]
    data = [one for one in items if one["want"] != "could" and files[one["do"].value]["data_window"] != "none"
            and files[one["do"].value].get("needs_lap") != "next"]
    was_for = compares if compares or timed else data
    bad = all(one["outcome"] in ("not_done", "done_badly") for one in was_for)
    taken_out = all(str(one["reason"].value).startswith("dropped") for one in was_for)
    return was_for if bad and not taken_out else []


def move_of(told: Told, car: str, row: Any) -> Row | None:
    """Our own of a move of a switch: a report of telemetry, a call that asked for it, or where it stands at first."""
    switch = next(one for one in told.setup["cars"][car]["switches"] if one["switch"] == row.switch)
    began = near(told.rows[0]["received_t"], 3)
    if row.evidence == "assumed":
        stands = [switch["default"], *(one["position"] for one in switch["defaults"])]
        position = next((one for one in stands if one == row.position), None)
        seen: Row | None = {"t": began, "position": plan(position), "before": None}
    elif row.evidence == "measured":
        seen = next(({"t": near(one["t"], 3), "position": one["position"]}
                     for one in told.facts("switch_reported", car)
                     if one["switch"] == row.switch and abs(one["t"] - row.t) < 0.001), None)
    else:
        seen = next(({"t": near(one["t"], 3, "engine"), "position": engine(_asked(one, row.switch))}
                     for one in told.said("prompt", car)
                     if _asked(one, row.switch) == row.position and abs(one["t"] - row.t) < 0.001
                     and _never_said(told, one) == (row.evidence == "unconfirmed")), None)
    if seen is None:
        return None
    before = [one for one in told.debrief.car(car).switches if one.switch == row.switch and one.t < row.t]  # type: ignore[union-attr]
    on_it = said.lap_at(laps_of(told, car, running=True), row.t)
    return seen | {"switch": row.switch, "before": None if not before or row.before is None else before[-1].position,
                   "run": name(row.run), "word": plan(switch["word"]), "evidence": row.evidence,
                   "lap_number": on_it.number if on_it else None}


def _never_said(told: Told, prompt: Row) -> bool:
    """Whether nobody has told until then, by a key, by talk or by an answer of the driver, that the call was made."""
    history = [one for one in told.said("prompt", prompt["car"]) if one["call"] == prompt["call"]]
    keys = {one["id"] for one in told.facts("command_given") if one["command"] in ("said", "answered", "confirm")}
    return prompt["state"] in ("unconfirmed", "late", "done") and prompt["because"] not in keys and all(
        one["state"] != "said" for one in history if one["t"] <= prompt["t"])


def _asked(prompt: Row, switch: str) -> Any:
    ask = prompt["ask"]
    return ask["position"] if ask["switch"] == switch else ask["positions"].get(switch)


