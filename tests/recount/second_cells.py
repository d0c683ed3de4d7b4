"""The numbers that the cells of the tables on a debrief's page have to have, table by table."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.recount.own import Own
from tests.recount.printed import Printed, clock, count, decimal, duration, lap_time, text, time_of_day, within
from tests.recount.second_laps import statuses_of
from tests.recount.second_sentences import shared
from tests.recount.sessions import Row, Told

KMH = 3.6
ENDS = ("in_window", "beside_window", "shown", "settled", "unconfirmed", "late", "missed", "skipped",
        "withdrawn")
Cells = list[list[Printed]]


def cells_of(told: Told, own: Row, caption: str) -> Cells | None:
    """What each cell of a table has to have; None for a table that we do not know."""
    for name, make in OF_SESSION.items():
        if caption == name:
            return make(told, own)
    for car in own["cars"]:
        head = f"Car {car['car'].value}: "
        for name, of_car in OF_CAR.items():
            if caption.startswith(head + name):
                return of_car(told, own, car)
    return None


def _value(one: Any) -> Any:
    return one.value if isinstance(one, Own) else one


def _what_became(told: Told, own: Row, car: Row) -> Cells:
    rows = []
    for actual, run in zip(told.debrief.car(_value(car["car"])).runs, car["runs"], strict=True):  # type: ignore[union-attr]
        laps = [*count(run["timed_done"]), *count(run["timed_wanted"])]
        left = count(run["laps_left"]) if run["laps_left"] else []
        left += count(run["musts_left"]) if actual.finished and run["musts_left"] else []
        rows.append([text(run["run"]), [], laps if actual.timed_wanted and actual.stints else [],
                     _items_done(run), lap_time(run["best_lap_s"]),
                     [*text(run["reason"]), *left]])
    return rows


def _items_done(run: Row) -> Printed:
    """Those that are sure, all of them, and those that are only probable where there are any."""
    unsure = count(run["items_probably"]) if run["items_probably"] else []
    return [*count(run["items_done"] - run["items_probably"]), *count(run["items"]), *unsure] if run["items"] else []


def _runs(told: Told, own: Row, car: Row) -> Cells:
    rows = []
    for run in car["runs"]:
        same = _value(run["planned_laps"]) == _value(run["laps"])
        on_track = [one for stint in run["stints"] for one in (*clock(stint["from_s"]), *clock(stint["to_s"]))]
        planned = [] if run["planned_span_s"] is None else [one for t in run["planned_span_s"] for one in clock(t)]
        rows.append([text(run["run"]), text(run["purpose"]), text(run["planned_laps"]),
                     [] if same else text(run["laps"]), text(run["driver"]),
                     [*text(run["tyres"]), *decimal(run["fuel_kg"], 0), *_otherwise(run)], planned, on_track,
                     [Own(run["clean_laps"]), *lap_time(run["median_clean_s"])] if run["clean_laps"] else []])
    return rows


def _otherwise(run: Row) -> list[Own]:
    """What was planned, where a run was driven on another set or with other fuel (by more than a kilogram)."""
    (on, kg), (wanted, wanted_kg) = ([_value(run[f"{which}tyres"]), _value(run[f"{which}fuel_kg"])]
                                     for which in ("", "planned_"))
    if on == wanted and (kg is None or wanted_kg is None or abs(kg - wanted_kg) <= 1):
        return []
    return [*text(run["planned_tyres"]), *decimal(run["planned_fuel_kg"], 0)]


def _laps(told: Told, own: Row, car: Row) -> Cells:
    rows = []
    for actual, lap in zip(told.debrief.car(_value(car["car"])).laps, car["laps"], strict=True):  # type: ignore[union-attr]
        expected: Printed = []
        if lap["expected"] is not None:
            middle, low, high = (lap["expected"][key] for key in ("median_s", "low_s", "high_s"))
            expected = lap_time(middle) + [Own(end.value - middle.value, "engine", 0.0062) for end in (low, high)]
        lost = actual.lost_s is not None and actual.clean not in ("clean", "unknown")
        clean = [*text(lap["clean_at"] if actual.clean_at else ""), *(decimal(lap["lost_s"], 1) if lost else [])]
        rows.append([count(lap["number"]), [], lap_time(lap["lap_time_s"]),
                     [one for sector in lap["sectors"] for one in decimal(sector["seconds"], 2)],
                     [*text(lap["tyres"]), *text(lap["compound"]), Own(lap["tyre_laps"])], decimal(lap["fuel_kg"], 1),
                     [], clean, decimal(lap["car_ahead_s"], 1), expected])
    return rows


def _windows(told: Told, own: Row, car: Row) -> Cells:
    told_once = [one["switch"].value for one in shared(car)] if len(car["data_windows"]) > 1 else []
    rows, green = [], own["session"]["green_time"]
    for window in car["data_windows"]:
        order = ("measured", "confirmed", "told", "unconfirmed", "assumed")
        switches = sorted((one for one in window["switches"] if one["switch"].value not in told_once),
                          key=lambda one: order.index(one["evidence"]))
        place: Printed = text(window["place"]) if "from_m" not in window else []
        if "from_m" in window:
            place = within(window["from_m"], 0) + within(window["to_m"], 0)
        label = [] if window["lap"] is None else [Own(value) for value in window["lap"].value]
        rows.append([
            [*text(window["do"]), *text(window["run"]), *label, Own(window["lap_number"])],
            within(window["from_s"], 2) + within(window["to_s"], 2),
            time_of_day(window["from_time"], 2, green) + time_of_day(window["to_time"], 2, green), place,
            within(window["speed_mps"], 1, KMH) if "speed_mps" in window else [],
            text([one["position"] for one in switches], "facts"), evidence(window),
        ])
    return rows


def evidence(window: Row) -> Printed:
    """The numbers of the words in which the evidence is told."""
    own = window.get("evidence_text") or Own([])
    return [Own(value, own.kind, own.off) for value in own.value]


def _items(told: Told, own: Row, car: Row) -> Cells:
    rows = []
    for item in car["items"]:
        place = _value(item["place"])
        given = [one for one in item["arguments"].values() if _value(one) != place]
        reason = [Own(value, item["reason"].kind) for value in item["reason"].value] if isinstance(
            _value(item["reason"]), list) else text(item["reason"])
        rows.append([text(item["do"]), text(item["lap"]), [], [*text(place, "plan"), *text(given, "plan")], [],
                     clock(item["t"]), reason])
    return rows


def _moves(told: Told, own: Row, car: Row) -> Cells:
    first = [move for move in car["switches"] if move["before"] is None]
    moved = [move for move in car["switches"] if move["before"] is not None]
    return [[text(one["word"]), clock(one["t"]), text(one["before"], "facts"), text(one["position"], "facts"), [],
             [*text(one["run"]), *(count(one["lap_number"]) if one["lap_number"] is not None else [])]]
            for one in (*first, *moved)]


def _changes(told: Told, own: Row, car: Row) -> Cells:
    return [[text(one["what"]), clock(one["t"]), [], text(one.get("why")),
             count(one["revision"]) if one.get("revision") is not None else []] for one in car["changes"]]


def _became_of_calls(told: Told, own: Row, car: Row) -> Cells:
    radio = car["radio"]
    ended = radio["calls"] - radio["open"]
    rows = [[[], [Own(radio[key])], [Own(100 * radio[key] / ended, off=0.501)] if ended else []] for key in ENDS]
    return [*rows, [[], [Own(radio["open"])], []]]


def _calls(told: Told, own: Row, car: Row) -> Cells:
    return [[text(one["text"]), [], [*text(one["run"]), *text(one["lap"])],
             [*clock(one["say_from_s"]), *clock(one["say_by_s"])], clock(one["said_s"]), decimal(one["spoken_s"], 1),
             [], text(one["reason"])] for one in car["calls"]]


# -- what the driver said ---------------------------------------------------------------------------------------------


def _matrix(told: Told, own: Row, car: Row) -> Cells:
    found = []
    for matrix in (*car["said"]["matrices"], *car["said"]["by_speed"]):
        for row in matrix["rows"]:
            place = [] if row.get("place") is None else [Own(value) for value in row["place"].value]
            found.append([place, *([Own(value) for value in cell["short"].value] for cell in row["cells"])])
    return found


def _said(one: Row) -> Printed:
    return [*text(one["run"]), *clock(one["t"]), *(Own(value) for value in one["words"].value)]


def _between(rows: list[Row]) -> Printed:
    return [Own(value, each["text"].kind, each["text"].off) for each in rows for value in each["text"].value]


def _place(one: Row) -> Printed:
    return [] if one["place"] is None else [Own(value) for value in one["place"].value]


def _from_run_to_run(told: Told, own: Row, car: Row) -> Cells:
    return [[_place(one), _said(one["before"]), _said(one["after"]), [], _between(one["between"])]
            for one in car["said"]["changes"]]


def _against(told: Told, own: Row, car: Row) -> Cells:
    return [[_place(one), _said(one["first"]), _said(one["second"]), [], _between(one["between"])]
            for one in car["said"]["contradictions"]]


def _comments(told: Told, own: Row, car: Row) -> Cells:
    rows = []
    for one in car["comments"]:
        remarks = [Own(value) for each in one["remarks"] for value in (each["turn"], each["severity"])
                   if value is not None]
        label = [] if one["lap"] is None else [Own(value) for value in one["lap"].value]
        words = one["typed"] if one["typed"].value else one["text"]
        rows.append([text(words), remarks, clock(one["t"]), [*text(one["run"]), *label], text(one["driver"]),
                     text(one["by"])])
    return rows


def _questions(told: Told, own: Row, car: Row) -> Cells:
    return [[text(one["text"]), clock(one["asked_s"]), clock(one["answered_s"]), []] for one in car["questions"]]


# -- the session ------------------------------------------------------------------------------------------------------


def _course(told: Told, own: Row) -> Cells:
    return [[[], clock(since), clock(until), duration(until - since), text(list(sectors), "name")]
            for _, since, until, sectors in statuses_of(told)]


def _entered(told: Told, own: Row) -> Cells:
    return [[text(one["what"]), clock(one["t"]), [], text(one.get("why"))] for one in own["changes"]]


def _day(told: Told, own: Row) -> Cells:
    return [[text(name), clock(since), clock(until)] for name, since, until in own["session"]["windows"]]


def _rates(told: Told, own: Row) -> Cells:
    return [[clock(one["from_s"]), count(one["raised"])] for one in own["alerts"]["rates"]]


def _alerts(told: Told, own: Row) -> Cells:
    return [[text(one["text"]), text(one["car"]), [], [], clock(one["from_s"]), clock(one["to_s"]),
             clock(one["acknowledged_s"])] for one in own["alert_rows"]]


OF_SESSION: dict[str, Callable[[Told, Row], Cells]] = {
    "The session's course": _course, "Windows of the day": _day, "Alerts raised, ten minutes at a time": _rates,
    "Every alert": _alerts, "Entered by hand of the whole session": _entered}
OF_CAR: dict[str, Callable[[Told, Row, Row], Cells]] = {
    "runs and what became of them": _what_became, "runs, planned and driven": _runs, "laps by run": _laps,
    "where the data are": _windows, "items and what became of them": _items, "switches, where each stood": _moves,
    "changes of the plan": _changes, "what became of": _became_of_calls, "calls in the order": _calls,
    "comments by place": _matrix, "what the same driver said": _from_run_to_run, "comments that cannot": _against,
    "comments": _comments, "questions": _questions}
