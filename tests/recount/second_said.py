"""What was said to the driver and by him, and the alerts of a recorded session, reckoned again."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise
from typing import Any

from tests.recount import second_calls
from tests.recount.own import Own, engine, name, near, plan
from tests.recount.second_laps import Lap, laps_of
from tests.recount.sessions import Row, Told

HEARD, DOUBTED = ("said", "done"), ("late", "unconfirmed")
HAND = ("undo", "set_car", "set_switch", "set_tyres", "set_fuel", "quiet", "keep_in", "let_go")
BAD_ENDS = ("late", "missed", "unconfirmed")
FINDINGS = {"us": ("balance", "understeer"), "os": ("balance", "oversteer"), "snap": ("balance", "snap"),
            "hot": ("tyres", "hot"), "lock": ("braking", "locking"), "harsh": ("ride", "stiff_over_bumps"),
            "good": ("tyres", "good")}
SIDES = {"fl": ("front", "left"), "fronts": ("front", None), "rears": ("rear", None)}
PLACES_OF_SPEED = ("slow", "medium", "fast")
SLOW_BELOW_MPS, FAST_FROM_MPS, AIR_KG_M3 = 33.0, 50.0, 1.2


def calls(told: Told, car: str) -> list[Row]:
    """Every call from its prompts: in the order in which they were shown first."""
    found = []
    for call, told_of in _history(told, car).items():
        last, worded, due = told_of[-1], _worded(told_of), [one["t"] for one in told_of if one["state"] == "due"]
        said = [one for one in told_of if one["state"] == "said"]
        pieces = [one for one in _pieces(told, told_of) if worded["text"] in one["rest"]]
        found.append((told_of[0]["t"], call, {
            "call": name(call), "text": engine(" ".join([*(one["text"] for one in pieces), worded["text"]])),
            "run": name(last["run"]),
            "lap": engine(last["lap"]),
            "say_from_s": engine(_offered(told_of)["say_from_s"]), "say_by_s": engine(_offered(told_of)["say_by_s"]),
            "spoken_s": near(worded["spoken_s"] + sum(one["spoken_s"] for one in pieces), 3, "engine") if pieces else
            second_calls.length(told, worded), "reason": engine(last["reason"] or ""),
            "state": last["state"], "kind": last["kind"],
            "first_due_s": near(due[0], 3, "engine") if due else None,
            "begun_s": near(begun_at(told, car, told_of), 3, "engine"),
            "said_s": second_calls.said_at(told, said[-1]) if said else None}))
    return [row for _, _, row in sorted(found, key=lambda one: one[:2])]


def _pieces(told: Told, told_of: list[Row]) -> list[Row]:
    """The pieces of a call that were said one by one before its last: the words that stood there until then."""
    return [{"text": before["text"], "spoken_s": before["spoken_s"], "at": second_calls.moment(told, after),
             "rest": " ".join(part["text"] for part in after["parts"]) or after["text"]}
            for before, after in pairwise(told_of) if after["parts_said"] > before["parts_said"]]


def _worded(told_of: list[Row]) -> Row:
    """The prompt with the words for the driver: the last one before the call was in doubt."""
    return next((one for one in reversed(told_of) if one["state"] not in BAD_ENDS), told_of[0])


def _offered(told_of: list[Row]) -> Row:
    """The prompt with the window: of a call that was in doubt at any time the last one that could still be said."""
    states = {one["state"] for one in told_of}
    open_yet = [one for one in told_of if one["state"] in ("planned", "shown", "due")]
    in_doubt = states & {*DOUBTED} or told_of[-1]["state"] in BAD_ENDS
    return open_yet[-1] if in_doubt and open_yet else told_of[-1]


def _history(told: Told, car: str) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for prompt in told.said("prompt", car):
        found.setdefault(prompt["call"], []).append(prompt)
    return found


def voices(told: Told, car: str) -> list[tuple[float, float]]:
    """When the engineer spoke: as the radio desk told it, else up to the key for as long as the words take."""
    reports = sorted(told.facts("channel_reported", car), key=lambda one: one["t"])
    if reports:
        found, since = [], None
        for one in reports:
            if since is not None and one["talking"] != "engineer":
                found.append((since, one["t"]))
                since = None
            elif one["talking"] == "engineer" and since is None:
                since = one["t"]
        return found
    found = []
    for history in _history(told, car).values():
        found += [(one["at"] - one["spoken_s"], one["at"]) for one in _pieces(told, history)]
        if history[-1]["state"] in HEARD:
            key = second_calls.moment(told, next(one for one in history if one["state"] in (*HEARD, *DOUBTED)))
            found.append((key - _worded(history)["spoken_s"], key))
    return found


def begun_at(told: Told, car: str, told_of: list[Row]) -> float | None:
    """When a call was begun: with the last talk of the engineer before it was told, else by the length of its words."""
    said = [second_calls.moment(told, one) for one in told_of if one["state"] == "said"]
    if not said:
        return None
    talks = voices(told, car) if told.facts("channel_reported", car) else []
    return next((begin for begin, end in reversed(talks) if begin < said[-1] <= end + 5),
                said[-1] - float(_worded(told_of)["spoken_s"]))


def begun(told: Told, car: str, calls: set[str]) -> Row:
    """Of these calls: begun in their window, beside it, and how many nobody said when."""
    found: Counter[str] = Counter()
    for call in calls:
        told_of = _history(told, car)[call]
        at, last = begun_at(told, car, told_of), told_of[-1]
        near = at is not None and last["say_from_s"] - 1 <= at <= last["say_by_s"] + 1
        found["shown" if at is None else "in_window" if near else "beside_window"] += 1
    return {key: found[key] for key in ("in_window", "beside_window", "shown")}


def untold_news(told: Told, car: str) -> set[str]:
    """News whose call ended unconfirmed, though the radio desk reports talk: from when it was due until five seconds
    after its last window it heard no engineer. A board is not heard."""
    if not told.facts("channel_reported", car) or told.setup["plans"][car]["medium"] == "board":
        return set()
    talks, found = voices(told, car), set()
    for call, told_of in _history(told, car).items():
        due = [one["t"] for one in told_of if one["state"] == "due"]
        if (told_of[-1]["kind"], told_of[-1]["state"]) == ("session", "unconfirmed") and due:
            by = 5 + max(told_of[-1]["say_by_s"], _offered(told_of)["say_by_s"])
            if all(end <= due[0] or begin >= by for begin, end in talks):
                found.add(call)
    return found


def radio(told: Told, car: str) -> Row:
    """Counts of the calls, and the load on the driver."""
    history = _history(told, car)
    ends = {call: one[-1] for call, one in history.items()}
    count = Counter(one["state"] for one in ends.values())
    untold = len(untold_news(told, car))
    doubted = {call for call, one in history.items() if any(each["state"] in DOUBTED for each in one)}
    heard = {call for call, one in ends.items() if one["state"] in HEARD}
    spoken, laps = voices(told, car), laps_of(told, car) if told.setup["plans"][car]["medium"] != "board" else []
    minutes = sorted({minute for lap in laps for minute in range(int(lap.begin // 60), int(lap.end // 60) + 1)})
    load = []
    for minute in minutes:
        parts = [min(end, 60.0 * minute + 60) - max(begin, 60.0 * minute) for begin, end in spoken
                 if begin < 60.0 * minute + 60 and end > 60.0 * minute]
        load.append((60.0 * minute, sum(parts), len(parts)))
    reasons = Counter(one["reason"] or "no reason given" for one in ends.values() if one["state"] in BAD_ENDS)
    return {
        "calls": len(history), "in_time": len(heard - doubted), "settled": len(heard & doubted),
        **begun(told, car, heard - doubted),
        **{state: count[state] for state in ("late", "skipped", "withdrawn")},
        "missed": count["missed"] + untold, "unconfirmed": count["unconfirmed"] - untold,
        "open": count["planned"] + count["shown"] + count["due"],
        "by_kind": dict(Counter(one["kind"] for one in ends.values())), "reasons": dict(reasons),
        "medium": told.setup["plans"][car]["medium"], "spoken_s": near(sum(end - begin for begin, end in spoken), 1),
        "load": [{"from_s": begin, "spoken_s": near(length, 2), "calls": many} for begin, length, many in load],
        "mean_load_s": near(sum(one[1] for one in load) / len(load), 2) if load else 0.0,
        "most_load_s": near(max((one[1] for one in load), default=0.0), 2),
    }


def alerts(told: Told) -> tuple[Row, list[Row]]:
    """The figures of the alerts, and each from its beginning to its end."""
    rows: list[Row] = []
    standing: dict[str, Row] = {}
    taken: dict[str, float] = {}
    for one in told.said("alert"):
        if one["active"]:
            if one["id"] not in standing:
                standing[one["id"]] = {"raised": one}
                rows.append(standing[one["id"]])
            standing[one["id"]] |= {"last": one, "of": standing[one["id"]].get("of", {}) | one["switches"]}
            if one["acknowledged"]:
                standing[one["id"]].setdefault("seen", one["t"])
        elif one["id"] in standing:
            standing.pop(one["id"]).update({"last": one, "over": one["t"]})
    assert not taken
    times = [row["raised"]["t"] for row in rows]
    first, last = told.rows[0]["received_t"], max(row["received_t"] for row in told.rows)
    begins = [first + 600 * at for at in range(int(-(-(last - first) // 600)))]
    within = [sum(t <= one < t + 600 or (one == last < t + 600) for one in times) for t in begins]
    figures = {
        "raised": len(rows), "by_kind": dict(Counter(row["raised"]["kind"] for row in rows)),
        "by_priority": dict(Counter(row["raised"]["priority"] for row in rows)),
        "held_back": len(told.said("held_back")),
        "held_reasons": dict(Counter(one["reason"] for one in told.said("held_back"))),
        "acknowledged": sum("seen" in row for row in rows),
        "rates": [{"from_s": near(t, 3), "raised": many} for t, many in zip(begins, within, strict=True)],
        "mean_rate": near(len(rows) * 600 / (last - first), 3),
        "most_in_ten": max((sum(t <= one < t + 600 for one in times) for t in times), default=0),
        "share_over_ten": near(sum(many > 10 for many in within) / len(within), 3) if within else 0.0,
    }
    return figures, [{
        "alert": name(row["raised"]["id"]), "car": name(row["raised"]["car"]),
        "text": engine(_alert_words(row["of"], row["last"]["text"])),
        "from_s": near(row["raised"]["t"], 3, "engine"), "to_s": near(row.get("over"), 3, "engine"),
        "acknowledged_s": near(row.get("seen"), 3, "engine"), "kind": row["raised"]["kind"],
        "priority": row["raised"]["priority"]} for row in rows]  # fmt: skip


def _alert_words(of: dict[str, str], last: str) -> str:
    """All that an alert was ever about; one that came and went as it ended still says so."""
    comes_and_goes = " (comes and goes)" if last.endswith(" (comes and goes)") else ""
    return "; ".join(of.values()) + comes_and_goes if of else last


def questions(told: Told, car: str) -> list[Row]:
    """What was asked and when it was answered."""
    keys = told.facts("command_given", car)
    answers = {one["question"]: one for one in keys if one["command"] == "answered"}
    asked = [one for one in keys if one["command"] == "asked"]
    return [{"question": number, "asked_s": near(one["t"], 3), "text": plan(one["text"]),
             "answered_s": near(answers[number]["t"], 3) if number in answers else None}
            for number, one in enumerate(asked, 1)]


def changes(told: Told, car: str) -> list[Row]:
    """Each command of the desk that changed the plan, each correction, and what a hand set or took back: of the plan
    where the engine tells it among the plan's changes."""
    every = told.facts("command_given", car)
    words = {(one["t"], one["by"]): one for one in told.plans[car]["changes"]}
    by_hand = [one for one in every if one["command"] in HAND]
    keys = [one for one in every if one["command"] in ("drop", "extend", "switch_plan")]
    keys += [one for one in by_hand if (one["t"], one["by"]) in words]
    found = [{"t": near(one["t"], 3), "why": plan(one["text"]), "what": engine(words[one["t"], one["by"]]["what"]),
              "revision": engine(words[one["t"], one["by"]]["revision"])} for one in keys]
    found += [{"t": near(one["t"], 3), "what": engine(one["text"])} for one in told.said("corrected", car)]
    answers = {one["because"]: one for one in told.said("answered", car)}
    found += [{"t": near(answers[one["id"]]["t"], 3), "what": engine(answers[one["id"]]["effect"]),
               "why": plan(one["text"])} for one in by_hand if one not in keys and one["id"] in answers]
    return sorted(found, key=lambda one: one["t"].value)


def changes_of_all(told: Told) -> list[Row]:
    """Each status and each clock that a hand entered, and each correction of no one car."""
    answers = {one["because"]: one for one in told.said("answered")}
    found = [{"t": near(one["t"], 3), "what": engine(one["text"])} for one in told.said("corrected") if not one["car"]]
    found += [{"t": near(answers[one["id"]]["t"], 3), "what": engine(answers[one["id"]]["effect"]),
               "why": plan(one["text"])} for one in told.facts("command_given")
              if one["id"] in answers and (one["command"] in ("status", "clock", "pit_exit") or (
                  one["command"] == "undo" and re.match("taken back: (status|clock|pit exit) ",
                                                        answers[one["id"]]["effect"])))]
    return sorted(found, key=lambda one: one["t"].value)


# -- comments ---------------------------------------------------------------------------------------------------------


def remarks_of(typed: str) -> list[Row]:
    """The remarks of a typed comment, for the words that the recorded ones have."""
    found: list[Row] = []
    for part in re.split(r"[,;]", typed.split(":")[0]):
        words = part.split()
        turn = [int(one[1:]) for one in words if re.fullmatch(r"t\d+", one)]
        if not turn and found and ";" not in typed[: typed.index(part)][-2:] and {"exit", "mid"} & set(words):
            turn = [found[-1]["turn"]]
        speed = [one for one in words if one in PLACES_OF_SPEED]
        phase = [one for one in words if one in ("entry", "mid", "exit")]
        side = next((SIDES[one] for one in words if one in SIDES), (None, None))
        about, what = next(FINDINGS[one] for one in words if one in FINDINGS)
        severity = [int(one) for one in words if one.isdigit()]
        found.append({"turn": turn[0] if turn else None, "phase": phase[0] if phase else None,
                      "speed": speed[0] if speed else None, "about": about, "what": what, "axle": side[0],
                      "side": side[1], "severity": severity[0] if severity else None})
    return found


def comments(told: Told, car: str) -> list[Row]:
    """The comments that were noted, each on its lap."""
    keys = [one for one in told.facts("command_given", car) if one["command"] == "comment"]
    keys = sorted(keys, key=lambda one: one["received_t"])
    return [_comment(told, car, number, one) for number, one in enumerate(keys, 1)]


def lap_at(laps: list[Lap], t: float) -> Lap | None:
    """The lap on which the car was."""
    return next((lap for lap in laps if lap.begin <= t < lap.end), None)


def _comment(told: Told, car: str, number: int, key: Row) -> Row:
    typed = key.get("shorthand") or ""
    lap = lap_at(laps_of(told, car, running=True), key["t"])
    of_kind = None
    if lap is not None and lap.kind in ("timed", "cool"):
        before = laps_of(told, car, running=True)[: lap.number]
        of_kind = sum(one.kind == lap.kind and one.run == lap.run for one in before)
    return {
        "comment": number, "t": key["t"], "text": plan(key.get("text") or typed.partition(":")[2].strip()),
        "typed": plan(typed),
        "run": name(None if lap is None else lap.run), "because": name(key["id"]), "by": name(key["by"]),
        "driver": name(lap.planned["driver"]) if lap else None,
        "lap_number": None if lap is None else lap.number,
        "lap": None if of_kind is None else Own([float(of_kind)]), "remarks": remarks_of(typed) if typed else [],
    }


def said(told: Told, car: str) -> list[Row]:
    """Every remark with whose it is, in the order in which the driver said them."""
    found = []
    for one in sorted(comments(told, car), key=lambda row: (row["t"], row["comment"])):
        for remark in one["remarks"]:
            shown = [remark["turn"], remark["severity"]]
            found.append({key: one[key] for key in ("comment", "t", "run", "lap_number", "driver", "by")}
                         | {"text": one["typed"], "remark": remark,
                            "words": Own([float(value) for value in shown if value is not None])})
    return found


def speed_of(told: Told, car: str, turn: int | None) -> str | None:
    """Slow, medium or fast, by the speed at which grip carries a car around a radius: m v2 / r = mu (m g + lift), the
    balance of forces of any textbook on vehicle dynamics."""
    radius = {one.get("turn"): one["radius_m"] for one in told.setup["circuit"].get("segments") or []}.get(turn)
    if turn is None or radius is None:
        return None
    of = told.setup["cars"][car]
    left = of["mass_kg"] / radius - 0.5 * AIR_KG_M3 * of["grip"] * of["downforce_area_m2"]
    speed = (of["grip"] * of["mass_kg"] * 9.81 / left) ** 0.5 if left > 0 else of["top_speed_mps"]
    return "slow" if speed < SLOW_BELOW_MPS else "medium" if speed < FAST_FROM_MPS else "fast"


def findings(told: Told, car: str, moves: list[Row]) -> Row:
    """The comments by turn and phase, from run to run, and against each other."""
    every = said(told, car)
    runs = list(dict.fromkeys(one["run"].value for one in every))
    matrices = [{"rows": _rows(every)}]
    if len(runs) > 1:
        matrices += [{"run": name(run), "rows": _rows([one for one in every if one["run"].value == run])}
                     for run in runs]
    return {"said": every, "matrices": matrices if every else [], "by_speed": _by_speed(told, car, every),
            "changes": _changes(told, car, every, moves), "contradictions": _contradictions(told, car, every, moves),
            "open": _open(every)}


def _rows(every: list[Row]) -> list[Row]:
    places = {(one["remark"]["turn"], one["remark"]["speed"]) for one in every}
    found = []
    for turn, speed in sorted(places, key=lambda one: (one[0] or 99, PLACES_OF_SPEED.index(one[1] or "fast"))):
        own = [one for one in every if (one["remark"]["turn"], one["remark"]["speed"]) == (turn, speed)]
        found.append({"turn": turn, "place": Own([float(turn)]) if turn else None, "cells": _cells(own)})
    return found


def _cells(every: list[Row]) -> list[Row]:
    found = []
    for phase in ("entry", "mid", "exit", None):
        own = [one for one in every if one["remark"]["phase"] == phase]
        rated: dict[tuple[Any, ...], int] = {}
        for one in own:
            key = tuple(one["remark"][part] for part in ("about", "what", "axle", "side"))
            rated[key] = max(rated.get(key, 0), one["remark"]["severity"] or 0)
        bad = [one["remark"]["severity"] for one in own if one["remark"]["what"] != "good"]
        found.append({"said": own, "worst": max((one for one in bad if one), default=None),
                      "short": Own([float(one) for one in rated.values() if one])})
    return found


def _by_speed(told: Told, car: str, every: list[Row]) -> list[Row]:
    rows = []
    classed = [(one, one["remark"]["speed"] or speed_of(told, car, one["remark"]["turn"])) for one in every]
    for speed in PLACES_OF_SPEED:
        own = [one for one, known in classed if known == speed]
        if own:
            rows.append({"speed": speed, "cells": _cells(own)})
    return [{"rows": rows}] if rows and any(one["remark"]["turn"] for one, known in classed if known) else []


def _topic(one: Row) -> tuple[Any, ...]:
    remark = one["remark"]
    axle = None if remark["about"] == "balance" else remark["axle"]
    return (remark["turn"], remark["speed"], remark["phase"], remark["about"], axle)


def _changes(told: Told, car: str, every: list[Row], moves: list[Row]) -> list[Row]:
    found = []
    for topic in dict.fromkeys(_topic(one) for one in every):
        last = {one["run"].value: one for one in every if _topic(one) == topic}
        found += [_pair(told, car, before, after, moves) for before, after in pairwise(last.values())]
    return sorted(found, key=lambda one: (one["after"]["t"], one["after"]["comment"]))


def _pair(told: Told, car: str, before: Row, after: Row, moves: list[Row], keys: tuple[str, str] = ("before", "after")
          ) -> Row:
    turn = before["remark"]["turn"]
    return {"place": Own([float(turn)]) if turn else None, keys[0]: before, keys[1]: after,
            "between": _between(told, car, before, after, moves)}


def _about_lap(told: Told, car: str, one: Row) -> Lap | None:
    driven = [lap for lap in laps_of(told, car) if lap.begin <= one["t"] and one["run"].value in (None, lap.run)]
    own = [lap for lap in driven if lap.kind == "timed"] or driven  # a check has no timed lap, but tyres and fuel
    return next((lap for lap in own if lap.number == one["lap_number"]), own[-1] if own else None)


def _between(told: Told, car: str, before: Row, after: Row, moves: list[Row]) -> list[Row]:
    laps = [_about_lap(told, car, one) for one in (before, after)]
    found: list[Row] = []
    if laps[0] is not None and laps[1] is not None and laps[0] is not laps[1]:
        first, second = laps[0], laps[1]
        if first.tyres != second.tyres:
            found.append({"before": name(first.tyres), "after": name(second.tyres), "text": Own([], "name")})
        if first.age != second.age:
            ages = [float(first.age), float(second.age)]
            found.append({"before": first.age, "after": second.age, "text": Own(ages)})
        if abs(first.fuel_kg - second.fuel_kg) >= 3.0:
            loads = [first.fuel_kg, second.fuel_kg]
            found.append({"before": near(loads[0], 1), "after": near(loads[1], 1), "text": Own(loads, off=0.505)})
    stood = []
    for one, lap in zip((before, after), laps, strict=True):
        t = one["t"] if lap is None else min(one["t"], 0.5 * (lap.begin + lap.end))
        at: dict[str, Any] = {}
        for move in moves:
            if move["t"] <= t or (move["before"] is None and move["switch"] not in at):
                at[move["switch"]] = move["position"]
        stood.append(at)
    for switch, position in stood[1].items():
        if stood[0].get(switch, position) != position:
            shown = [float(one) for one in (stood[0][switch], position) if isinstance(one, int | float)]
            found.append({"before": stood[0][switch], "after": position, "text": Own(shown), "switch": switch})
    return found


def _contradictions(told: Told, car: str, every: list[Row], moves: list[Row]) -> list[Row]:
    found = []
    for topic in dict.fromkeys(_topic(one) for one in every):
        own = [one for one in every if _topic(one) == topic]
        found += [_pair(told, car, first, second, moves, ("first", "second")) for at, first in enumerate(own)
                  for second in own[at + 1 :] if first["run"].value == second["run"].value
                  and {first["remark"]["what"], second["remark"]["what"]} == {"understeer", "oversteer"}]
    return found


def _open(every: list[Row]) -> list[Row]:
    last = {_topic(one): one for one in every if one["remark"]["what"] is not None}
    for one in every:
        last.setdefault(_topic(one), one)
    bad = [one for one in last.values() if one["remark"]["what"] != "good" and
           (one["remark"]["what"] or one["remark"]["severity"])]
    return sorted(bad, key=lambda one: (-(one["remark"]["severity"] or 0), one["t"], one["comment"],
                                        one["remark"]["axle"] or "turn"))
