"""Data windows of a recorded session, reckoned again from laps, positions and moves of switches."""

from __future__ import annotations

from tests.recount.own import Own, name, near, plan
from tests.recount.own import numbers as figures
from tests.recount.second_holds import held
from tests.recount.second_instead import planned_kinds
from tests.recount.second_laps import HOME, ON_THE_WAY, Lap, loops_of, map_of, moment
from tests.recount.sessions import Row, Told

LONGEST_LANE_S, USUAL_LANE_S = 180.0, 30.0
SEEN_S, AT_LOOP_M, SET_WITHIN_S = 0.02, 2.0, 8.0
Interval = dict[str, Own | None]


def interval(value: float, low: float, high: float, places: int, kind: str = "facts") -> Interval:
    """A value with both ends of its interval."""
    return {"value": near(value, places, kind), "low": near(low, places, kind), "high": near(high, places, kind)}


def windows(told: Told, car: str, laps: list[Lap], rows: list[Row], moves: list[Row]) -> list[Row]:
    """A window for each of the debrief's; which item was done on which lap is its word, all numbers are ours."""
    found = []
    for actual in told.debrief.car(car).data_windows:  # type: ignore[union-attr]
        lap = laps[actual.lap_number - 1]
        if actual.what == "hold":
            numbers = held(told, car, lap, actual)
        elif actual.what == "lane":
            numbers = lane(told, car, lap, laps)
        else:
            numbers = whole(told, car, lap, rows[lap.number - 1])
            if lap.kind == "timed":  # where it was done badly, that stands first
                off = [float(one) for text in rows[lap.number - 1]["switches_wrong"] for one in figures(text.value)]
                numbers["evidence_text"] = Own([*off, *numbers["evidence_text"].value])
                numbers["spoilt"] = Own(off)
        begin, end = actual.from_s.value, actual.to_s.value  # these are compared with ours beside
        inside = SET_WITHIN_S if actual.what == "lap" else 0.0
        found.append(numbers | {
            "item": name(actual.item), "do": name(actual.do), "run": name(lap.run), "lap_number": lap.number,
            "lap": Own([float(one)]) if (one := _count(lap, laps)) else None, "place": plan(actual.place),
            "from_time": moment(told, begin), "to_time": moment(told, end),
            "switches": stood(told, car, begin + inside, end - inside, moves),
        })
    return found


def _count(lap: Lap, laps: list[Lap]) -> int | None:
    """Which timed or cool-down lap of its run it is; of one that was to be another lap, as the plan has it."""
    planned = planned_kinds(laps)
    if planned[lap.number] in ("cool", "in") and lap.kind == "timed":
        same = sum(one.run == lap.run and planned[one.number] == "cool" for one in laps[: lap.number])
        return same if planned[lap.number] == "cool" else None
    if lap.kind not in ("timed", "cool"):
        return None
    return sum(one.run == lap.run and one.kind == lap.kind for one in laps[: lap.number])


def whole(told: Told, car: str, lap: Lap, row: Row) -> Row:
    """From the lap's beginning to its end; the mean speed follows from its length."""
    found: Row = {"from_s": interval(lap.begin, lap.begin - SEEN_S, lap.begin + SEEN_S, 3),
                  "to_s": interval(lap.end, lap.end - SEEN_S, lap.end + SEEN_S, 3)}
    circuit, pit = told.setup["circuit"], told.setup["circuit"]["pit"]
    if circuit.get("segments"):
        first = pit["exit_m"] if lap.kind in ON_THE_WAY else 0.0
        last = pit["entry_m"] if lap.kind in HOME else sum(one["length_m"] for one in circuit["segments"])
        took = lap.end - lap.begin
        mean = (last - first) / took
        off = 2 * AT_LOOP_M / took + mean * 2 * SEEN_S / took
        found |= {"from_m": interval(first, first - AT_LOOP_M, first + AT_LOOP_M, 1),
                  "to_m": interval(last, last - AT_LOOP_M, last + AT_LOOP_M, 1),
                  "speed_mps": interval(mean, mean - off, mean + off, 2)}
    seen = [loop for loop in loops_of(told) if loop in lap.passed or (loop == "line" and not lap.home)]
    return found | {"evidence_text": Own([float(one) for one in seen if one.isdigit()])}


def lane(told: Told, car: str, lap: Lap, laps: list[Lap]) -> Row:
    """From the pit entry to the next pit exit."""
    after = laps[lap.number]
    begins = interval(lap.end, lap.end - SEEN_S, lap.end + SEEN_S, 3)
    if after.begin - lap.end > LONGEST_LANE_S:
        # It stood in its garage: how long it drove before is only known from the length of the lane.
        took = map_of(told, car).pit_lane_s(told.setup["regulations"]["pit_limit_kph"]) or USUAL_LANE_S
        ends = (lap.end + share * took for share in (1.0, 0.4, 2.0))
        return {"from_s": begins, "to_s": interval(*ends, 3)}
    length = told.setup["circuit"]["pit"]["lane_length_m"]
    mean = length / (after.begin - lap.end)
    return {"from_s": begins, "to_s": interval(after.begin, after.begin - SEEN_S, after.begin + SEEN_S, 3),
            "speed_mps": interval(mean, 0.9 * mean, 1.1 * mean, 2)}


def stood(told: Told, car: str, begin: float, end: float, moves: list[Row]) -> list[Row]:
    """Where each switch stood as the window began, since when, and its moves inside."""
    found = []
    for switch in told.setup["cars"][car]["switches"]:
        own = [move for move in moves if move["switch"] == switch["switch"]]
        before = [move for move in own if move["t"] <= begin] or own[:1]
        if before:
            last = before[-1]
            found.append({"moved": any(begin < move["t"] < end for move in own),
                          "evidence": _evidence(told, car, switch["switch"], last, begin),
                          "switch": name(switch["switch"]), "word": plan(switch["word"]), "position": last["position"],
                          "since_s": None if last["before"] is None else near(last["t"], 3)})
    return found


def _evidence(told: Told, car: str, switch: str, last: Row, begin: float) -> str:
    """Measured is a switch as soon as telemetry has spoken of it, be it only where it was taken to stand."""
    seen = [one["t"] for one in told.facts("switch_reported", car) if one["switch"] == switch]
    first = min(seen, default=None)
    return "measured" if first is not None and first <= begin else str(last["evidence"])
