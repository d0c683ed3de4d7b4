"""The numbers that the sentences of a debrief's page have to have, in the order in which they stand there."""

from __future__ import annotations

from collections import Counter
from typing import Any

from pitwall import __version__
from tests.recount.own import Own
from tests.recount.printed import Printed, clock, count, decimal, duration, lap_time, text, time_of_day, zone
from tests.recount.second_laps import statuses_of
from tests.recount.sessions import Row, Told

LEFT = ("not_done", "done_badly", "to_come")
MOST_WINDOWS = 8


def sentences(told: Told, own: Row) -> list[Printed]:
    """Every sentence of the page with a number in it."""
    found = _head(told, own)
    for car in own["cars"]:
        found += _summary(told, own, car)
    for car in own["cars"]:
        found += [_plan(car), _laps(told, car), *_windows(car), *_switches(car), *_radio(car)]
    found += _alerts(own) + _sources(told, own)
    return [one for one in found if one]


def _value(one: Any) -> Any:
    return one.value if isinstance(one, Own) else one


def _actual(told: Told, car: Row) -> Any:
    return told.debrief.car(_value(car["car"]))


def _head(told: Told, own: Row) -> list[Printed]:
    session, green = own["session"], own["session"]["green_time"]
    crews = [one for car in own["cars"] for one in (*text(car["car"], "name"), *text(car["drivers"], "name"))]
    stops = [one for status, since, until, _ in statuses_of(told) if status in ("red", "slow")
             for one in (*clock(since), *clock(until), *duration(until - since))]  # fmt: skip
    when: Printed = []
    if green is not None:
        moment = green.value
        when = [Own(moment.day), Own(moment.year), *time_of_day(green), *zone(moment)]
        ended = session["ended_time"].value
        when += [Own(1, "fixed")] if ended.date() > moment.date() else []
        when += zone(ended) if ended.utcoffset() != moment.utcoffset() else []
    names = [*text(session["session"]), *text(session["event"]), *text(session["circuit"])]
    return [names + duration(session["scheduled_s"]), text(session["team"]) + crews, when, stops]


def _summary(told: Told, own: Row, car: Row) -> list[Printed]:
    actual, green = _actual(told, car), own["session"]["green_time"]
    runs, left = actual.runs, {_value(run["run"]) for run in car["runs"] if not run["owed"]}
    left -= {run.run for run in runs if run.stints or run.finished}
    counted = [item for item in car["items"] if _value(item["run"]) not in left]
    items = Counter(item["outcome"] for item in counted)
    begun = [run for run in runs if run.stints and not run.finished]
    whole = [ours["musts_left"] + ours["laps_left"] == 0 for run, ours in zip(runs, car["runs"], strict=True)
             if run.finished]
    in_part = len(whole) - sum(whole)
    outcome = [*count(sum(whole)), *count(len(runs) - len(left)), *(count(in_part) if in_part else []),
               *(count(len(begun)) if begun else []),
               *count(len(counted)), *count(items["done"]), *count(items["probably_done"]),
               *count(items["done_badly"]), *count(items["not_done"]),
               *(count(items["to_come"]) if items["to_come"] else [])]  # fmt: skip
    if car["laps"]:
        outcome += count(len(car["laps"])) + lap_time(car["best_lap_s"])
    data: Printed = []
    for window in car["data_windows"][:MOST_WINDOWS]:
        moment = window["from_time"]
        data += time_of_day(moment, 0, green) if moment is not None else clock(window["from_s"]["value"])
        data += count(window["lap_number"])
    more = len(car["data_windows"]) - MOST_WINDOWS
    data += count(more) if more > 0 else []
    return [outcome, *_off(car), data, *_to_do(told, car), *_open(own, car)]


def _off(car: Row) -> list[Printed]:
    """How many timed laps began with a switch out of place, then those that nothing showed; laps alike together."""
    timed, found = [lap for lap in car["laps"] if lap["kind"] == "timed"], []
    for key in ("switches_wrong", "switches_unverified"):
        together: dict[str, list[Row]] = {}
        for lap in timed:
            if lap[key]:
                together.setdefault(str([_value(one) for one in lap[key]]), []).append(lap)
        told = [one for laps in together.values()
                for one in (*(Own(lap["number"]) for lap in laps), *text(laps[0][key]))]  # fmt: skip
        if told:
            found.append([*count(sum(len(laps) for laps in together.values())), *count(len(timed)), *told])
    return found


def _to_do(told: Told, car: Row) -> list[Printed]:
    """Whole runs, then what is lacking of others, then items: musts, then shoulds; coulds are counted."""
    runs = list(zip(_actual(told, car).runs, car["runs"], strict=True))
    gone = {actual.run for actual, ours in runs if not ours["owed"]}
    runs = [(actual, ours) for actual, ours in runs if ours["owed"]]
    whole = [(actual, ours) for actual, ours in runs if not actual.stints and not actual.finished]
    untouched = {actual.run for actual, _ in whole} | gone
    left_items = [item for item in car["items"] if item["outcome"] in LEFT and _value(item["run"]) not in untouched]
    items = [item for item in left_items if not item["too_late"]]
    points: list[Printed] = []
    for want in ("must", "should"):
        points += [[*text(ours["run"]), *text(ours["purpose"]), *text(ours["laps"]), *text(ours["reason"])]
                   for actual, ours in whole if actual.want == want]
        for actual, ours in runs:
            lacking = _value(ours["timed_wanted"]) - ours["timed_done"]
            open_laps = lacking > 0 and actual.stints and not actual.finished
            if actual.want == want and (open_laps or ours["laps_left"]):
                points.append([*text(ours["run"]), Own(lacking, "engine"), *count(ours["timed_wanted"]),
                               *text(ours["reason"])])
        together: dict[tuple[Any, ...], list[Row]] = {}
        for item in items:
            if item["next_want"] == want:
                key = (_value(item["run"]), _value(item["do"]), item["outcome"], str(_value(item["reason"])))
                together.setdefault(key, []).append(item)
        for group in together.values():
            laps = list(dict.fromkeys(_value(item["lap"]) for item in group))
            points.append([*text(group[0]["do"]), *text(group[0]["run"]), *text(laps), *text(group[0]["reason"])])
    coulds = [ours for actual, ours in whole if actual.want == "could"]
    left = list(dict.fromkeys((_value(item["do"]), _value(item["run"])) for item in items
                              if item["next_want"] == "could"))
    short = [_value(ours["run"]) for actual, ours in runs if actual.want == "could" and actual.stints
             and (ours["laps_left"] or (not actual.finished and ours["timed_done"] < _value(ours["timed_wanted"])))]
    if coulds or left or short:
        names = [one for pair in left for one in pair]
        points.append([*text([ours["run"] for ours in coulds]), *text(short), *text(names)])
    unsure = [item for item in car["items"] if item["outcome"] == "probably_done"
              and _value(item["run"]) not in untouched]  # fmt: skip
    for left_out in (unsure, [item for item in left_items if item["too_late"]]):
        by_name: dict[tuple[Any, ...], list[Any]] = {}
        for item in left_out:
            by_name.setdefault((_value(item["do"]), _value(item["run"])), []).append(_value(item["lap"]))
        if by_name:
            points.append([one for names, laps in by_name.items() for one in text([*names, *dict.fromkeys(laps)])])
    return points


def _open(own: Row, car: Row) -> list[Printed]:
    found: list[Printed] = []
    for one in car["said"]["open"]:
        place = [*text(one["run"]), *(count(one["lap_number"]) if one["lap_number"] is not None else [])]
        found.append([*place, *_said_words(one), *text(one["text"]), *text(one["driver"]), *clock(one["t"]),
                      *text(one["by"])])
    for one in car["comments"]:
        if not one["remarks"]:
            found.append([*text(one["run"]), *_lap_label(one), *text(one["text"]), *text(one["driver"]),
                          *clock(one["t"]), *text(one["by"])])
    rated, most = len(car["said"]["open"]), 8
    if len(found) > most:
        more = [max(rated - most, 0), len(found) - max(rated, most)]
        found = [*found[:most], [*(Own(many) for many in more if many), *text(car["car"])]]
    found += [[*text(one["text"]), *clock(one["asked_s"])] for one in car["questions"] if one["answered_s"] is None]
    found += [[*text(row["text"]), *clock(row["from_s"])] for row in own["alert_rows"]
              if row["to_s"] is None and _value(row["car"]) == _value(car["car"])]
    return found


def _said_words(one: Row) -> Printed:
    return [Own(value) for value in one["words"].value]


def _lap_label(one: Row) -> Printed:
    return [] if one["lap"] is None else [Own(value) for value in one["lap"].value]


def _plan(car: Row) -> Printed:
    found: Printed = []
    for run in car["runs"]:
        if run["stints"]:
            found += text(run["run"])
            for stint in run["stints"]:
                found += clock(stint["from_s"]) + clock(stint["to_s"])
    idle = [run["run"] for run in car["runs"] if not run["stints"]]
    return found + text(idle)


def _laps(told: Told, car: Row) -> Printed:
    timed = [lap for lap in car["laps"] if lap["lap_time_s"] is not None]
    if not timed:
        return []
    foreseen = [lap for lap in timed if lap["expected"] is not None]
    held = sum(lap["expected"]["low_s"].value <= lap["lap_time_s"].value <= lap["expected"]["high_s"].value
               for lap in foreseen)
    return [*count(len(timed)), *lap_time(car["best_lap_s"]), *([Own(held), Own(len(foreseen))] if foreseen else [])]


def _windows(car: Row) -> list[Printed]:
    """Switches that stood the same in every window are told once."""
    if len(car["data_windows"]) < 2:
        return []
    return [[one for switch in shared(car) for one in text(switch["position"])]]


def shared(car: Row) -> list[Row]:
    """Switches that stood alike, and as surely, in all windows; those that were measured first."""
    rows = [{one["switch"].value: one for one in window["switches"]} for window in car["data_windows"]]
    same = [one for name, one in rows[0].items() if not one["moved"] and all(
        name in row and str(_value(row[name]["position"])) == str(_value(one["position"])) and not row[name]["moved"]
        and row[name]["evidence"] == one["evidence"] for row in rows)]  # fmt: skip
    order = ("measured", "confirmed", "told", "unconfirmed", "assumed")
    return sorted(same, key=lambda one: order.index(one["evidence"]))


def _switches(car: Row) -> list[Printed]:
    stood: dict[str, list[Any]] = {}
    for move in car["switches"]:
        stood.setdefault(move["switch"], []).append(move["position"])
    moved = [one for one in stood.values() if len({str(_value(each)) for each in one}) > 1]
    still = [one[0] for one in stood.values() if len({str(_value(each)) for each in one}) == 1]
    return [text([each for one in moved for each in one], "facts"), text(still, "plan")]


def _radio(car: Row) -> list[Printed]:
    radio = car["radio"]
    if not radio["calls"]:
        return []
    load = [*decimal(radio["mean_load_s"], 1), *decimal(radio["most_load_s"], 1)]
    spoken = any(_value(one["spoken_s"]) > 0.005 for one in radio["load"])
    kinds = sorted(radio["by_kind"].items(), key=lambda one: (-one[1], one[0]))
    reasons = sorted(radio["reasons"].items(), key=lambda one: (-one[1], one[0]))
    in_time = [*count(radio["in_time"]), *count(radio["calls"] - radio["open"])]
    told = load if radio["medium"] != "board" else []
    return [load if spoken else [], decimal(radio["spoken_s"], 0) + told, in_time, [Own(many) for _, many in kinds],
            [each for reason, many in reasons for each in (*text(reason), Own(many))]]


def _alerts(own: Row) -> list[Printed]:
    figures = own["alerts"]
    share = figures["share_over_ten"]
    words = [*count(figures["raised"]), *count(figures["acknowledged"]), *decimal(figures["mean_rate"], 1),
             *count(figures["most_in_ten"]), *decimal(share, 0, 100.0), Own(191, "fixed")]  # fmt: skip
    held = [Own(figures["held_back"])] if figures["held_reasons"] else []
    for reason, many in sorted(figures["held_reasons"].items()):
        held += [*text(reason), Own(many)]
    priorities = [Own(many) for _, many in sorted(figures["by_priority"].items())]
    return [words, priorities, [Own(many) for _, many in sorted(figures["by_kind"].items())], held]


def _sources(told: Told, own: Row) -> list[Printed]:
    session = own["session"]
    journal = [*text(session["journal"]), *count(session["facts"]), *clock(session["began_s"]),
               *clock(session["ended_s"]), *text(__version__, "fixed")]
    gaps = [one for at, length in session["gaps_s"] for one in (*clock(at), *duration(length.value))]
    return [journal, count(session["restarts"]) if session["restarts"] else [], gaps]
