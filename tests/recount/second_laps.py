"""Laps, statuses and times of day of a recorded session, reckoned from the journal's rows."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from statistics import median
from zoneinfo import ZoneInfo

from pitwall.model.setup import SessionSetup
from pitwall.track.lapmap import LapMap, lap_map
from tests.recount.own import Own, engine, name, near, plan
from tests.recount.second_instead import planned_kinds, wrong_at_the_line
from tests.recount.sessions import Row, Told

COUNTS_FROM = 0.006
IN_EARNEST, GIVEN_UP = 1.03, 1.12
ON_THE_WAY = ("out", "installation")
HOME = ("in", "installation")


@dataclass
class Lap:
    """A lap between pit signals and lines, with what the plan put into it."""

    number: int
    begin: float
    end: float
    passed: dict[str, float]
    first: bool
    home: bool
    kind: str = ""
    run: str | None = None
    of_run: int = 0
    planned: Row = field(default_factory=dict)
    tyres: str = ""
    age: int = 0
    fuel_kg: float = 0.0
    official_s: float | None = None

    @property
    def time_s(self) -> float | None:
        """Only of a lap from line to line: as the feed has it, else from line to line."""
        if self.first or self.home:
            return None
        return self.end - self.begin if self.official_s is None else self.official_s


@lru_cache(maxsize=64)
def _map(key: tuple[str, str]) -> LapMap:
    from tests.recount.sessions import told

    setup = SessionSetup.model_validate(told(key[0]).setup)
    return lap_map(setup.circuit, setup.cars[key[1]], setup.calls)


def map_of(told: Told, car: str) -> LapMap:
    """The circuit as the track package has it: where a place lies in time and metres."""
    return _map((told.name, car))


def loops_of(told: Told) -> list[str]:
    """Labels of the loops in the order of the lap, the line last."""
    loops = [one for one in told.setup["circuit"]["loops"] if one["loop"] != "line"]
    at = sorted(loops, key=lambda one: one["at_m"] if one.get("at_m") is not None else one["at_share"])
    return [*(one["loop"] for one in at), "line"]


def runs_of(told: Told, car: str) -> dict[str, Row]:
    """Every run that any plan of the car has; a run that is the same as another has what that has."""
    plans = [told.setup["plans"][car]]
    for key in told.facts("command_given", car):
        if key["command"] == "switch_plan":
            plans.insert(0, told.setup["alternates"][car][key["alternate"]])
    found: dict[str, Row] = {}
    for one in plans:
        for run in one["runs"]:
            like = next((other for other in one["runs"] if other["run"] == run["same_as"]), run)
            carried = {key: run[key] if run[key] is not None else like[key] for key in ("tyres", "fuel_kg")}
            people = {"driver": run["driver"] or one["driver"], "sets": one["tyre_sets"]}
            found.setdefault(run["run"], run | people | carried)
    return found


def laps_of(told: Told, car: str, *, running: bool = False) -> list[Lap]:
    """The laps of a car in order; with the one that still runs, if asked for."""
    seen = sorted({(one["t"], one.get("where") or one["loop"]) for kind in ("car_crossed", "car_pitted")
                   for one in told.facts(kind, car)})  # fmt: skip
    begins = {round(t, 2) for t, _ in seen}
    # A line that the feed lost: where it must have been is the engine's word.
    seen = sorted([*seen, *((one["start_s"], "line") for one in told.said("lap_judged", car)
                            if one["at"] != "loop" and round(one["start_s"], 2) not in begins)])
    found: list[Lap] = []
    begun, passed, first = None, dict[str, float](), False
    for t, what in seen:
        if what == "exit":
            begun, passed, first = t, {}, True
        elif begun is not None and what in ("line", "entry"):
            found.append(Lap(len(found) + 1, begun, t, passed, first, what == "entry"))
            begun, passed, first = (t if what == "line" else None), {}, False
        elif begun is not None:
            passed[what] = t
    if running and begun is not None:
        found.append(Lap(len(found) + 1, begun, float("inf"), passed, first, home=False))
    official = {one["t"]: one.get("lap_time_s") for one in told.facts("car_crossed", car) if one["loop"] == "line"}
    for lap in found:
        lap.official_s = official.get(lap.end)
    judged = {one["lap_number"]: one for one in told.said("lap_judged", car)}
    judged |= {one["lap_number"]: one for one in told.said("lap_judged", car) if one["at"] != "loop"}
    _carried(told, car, found, judged)
    return found


def _carried(told: Told, car: str, laps: list[Lap], judged: dict[int, Row]) -> None:
    """Kind and run as the engine judged, and what the car carried by plan and laps."""
    runs = runs_of(told, car)
    ages: dict[str, int] = {}
    burn = told.setup["cars"][car]["fuel_per_lap_kg"]
    out_share = 1.0 - map_of(told, car).pit_exit
    last = fuel = None
    for lap in laps:
        word = judged[lap.number]
        lap.kind, lap.run, lap.planned = word["kind"], word["run"], runs.get(word["run"], {})
        lap.of_run = 1 + sum(judged[one.number]["run"] == word["run"] for one in laps[: lap.number - 1])
        if lap.first and lap.run != last:
            fuel, last = lap.planned["fuel_kg"], lap.run
        lap.tyres, lap.fuel_kg = lap.planned["tyres"], fuel or 0.0
        lap.age = ages.setdefault(lap.tyres, lap.planned["sets"][lap.tyres]["laps"])
        ages[lap.tyres] += 1
        fuel = lap.fuel_kg - burn * (out_share if lap.first else 1.0)


def statuses_of(told: Told) -> list[tuple[str, float, float, tuple[str, ...]]]:
    """Status, from, to, sectors under yellow; from when each report was received."""
    now: tuple[str, tuple[str, ...]] = ("waiting", ())
    changes = [(told.rows[0]["received_t"], *now)]
    waits = [{"received_t": t, "status": "waiting", "scope": "all"} for t in told.waited]
    for one in sorted([*told.facts("status_changed"), *waits], key=lambda row: row["received_t"]):
        if one.get("status") is None:
            continue
        status, sectors = now
        if one["scope"] == "all":
            status, sectors = one["status"], ()
        elif one["status"] == "yellow":
            sectors = (*sectors, *one["scope"])
        else:
            sectors = tuple(sector for sector in sectors if sector not in one["scope"])
        if (status, sectors) != now:
            now = (status, sectors)
            changes.append((one["received_t"], *now))
    ends = [*(one[0] for one in changes[1:]), max(row["received_t"] for row in told.rows)]
    return [(status, t, end, sectors) for (t, status, sectors), end in zip(changes, ends, strict=True)]


def moment(told: Told, t: float) -> Own | None:
    """The time of day of a session second: by the clock of the machine as the fact next to it was received, else as
    the session was to open; on the clock of the event's place."""
    opens = next(one["opens_at"] for one in told.setup["regulations"]["sessions"]
                 if one["session"] == told.setup["session"])
    place = told.setup.get("time_zone")
    stamped = [row for row in told.rows if row.get("wall_s") is not None]
    if not stamped:
        if opens is None:
            return None
        then = datetime.fromisoformat(opens) + timedelta(seconds=t)
    else:
        row = min(stamped, key=lambda one: abs(one["received_t"] - t))
        then = datetime.fromtimestamp(row["wall_s"] + t - row["received_t"], ZoneInfo("UTC"))
        then = then if opens is None else then.astimezone(datetime.fromisoformat(opens).tzinfo)
    return Own(then.astimezone(ZoneInfo(place)) if place else then, off=0.0012)


def ahead_of(told: Told, car: str, place: str, t: float) -> float | None:
    """Seconds since another car passed there."""
    others = [one["t"] for one in told.facts("car_crossed") if one["car"] != car and one["loop"] == place
              and one["t"] < t]  # fmt: skip
    return t - max(others) if others else None


def lost(told: Told, car: str, lap: Lap) -> tuple[float | None, str]:
    """Seconds lost on the worst stretch of a whole lap against what is usual there, at the level of the lap; and the
    place at its end. Less than six thousandths of a lap are nothing. Of one that was given up on its way: on the first
    stretch on which it was, against what is usual."""
    usual = told.usual.get((car, lap.number), ())
    places = {"": lap.begin} | lap.passed | ({} if lap.home else {"line": lap.end})
    shares = dict(zip(["", *loops_of(told)], usual, strict=False))
    known = [place for place in ["", *loops_of(told)] if place in places]
    if lap.first or len(shares) != len(loops_of(told)) + 1:
        return None, ""
    own = [places[after] - places[before] for before, after in pairwise(known)]
    wont = [shares[after] - shares[before] for before, after in pairwise(known)]
    if lap.kind in ("cool", "in"):
        slow = [one / other for one, other in zip(own, wont, strict=True)]
        at = next((at for at, one in enumerate(slow) if one >= GIVEN_UP), 0)
        flagged = any(status in ("slow", "red") and since < lap.end and until > lap.begin
                      for status, since, until, _ in statuses_of(told))
        given_up = at and max(slow[:at]) <= IN_EARNEST and not flagged
        return (own[at] - wont[at], known[at + 1]) if given_up else (None, "")
    level = median(one / other for one, other in zip(own, wont, strict=True))
    worst = max((one - level * other, place) for one, other, place in zip(own, wont, known[1:], strict=True))
    return worst if lap.kind == "timed" and worst[0] >= COUNTS_FROM * shares["line"] else (None, "")


def lap_rows(told: Told, car: str) -> list[Row]:
    """The lap table."""
    spans = statuses_of(told)
    return [_row(told, car, lap, spans) for lap in laps_of(told, car)]


def _row(told: Told, car: str, lap: Lap, spans: list[tuple[str, float, float, tuple[str, ...]]]) -> Row:
    ends = lap.passed | ({} if lap.home else {"line": lap.end})
    gaps = [gap for loop, t in ends.items() if (gap := ahead_of(told, car, loop, t)) is not None]
    closest = min((gap for gap in gaps if gap <= lap.end - lap.begin), default=None)
    lost_s, where = lost(told, car, lap)
    awaited = told.awaited.get((car, round(lap.begin, 3))) if lap.kind == "timed" else None
    touched = ["yellow" if status == "green" and sectors else status for status, since, until, sectors in spans
               if since < lap.end and until > lap.begin]
    wrong, unverified = (switches_off(told, car, lap, kind) for kind in ("switch_wrong", "switch_unverified"))
    return {
        "switches_wrong": wrong, "switches_unverified": unverified,
        "car": name(car), "number": lap.number, "run": name(lap.run), "lap_of_run": lap.of_run,
        "start_s": near(lap.begin, 3), "end_s": near(lap.end, 3), "start_time": moment(told, lap.begin),
        "lap_time_s": near(lap.time_s, 3), "sectors": _sectors(told, car, lap, ends),
        "tyres": name(lap.tyres), "tyre_laps": lap.age, "fuel_kg": near(lap.fuel_kg, 2), "kind": lap.kind,
        "compound": plan(lap.planned["sets"][lap.tyres]["compound"]), "status": list(dict.fromkeys(touched)),
        "lost_s": near(lost_s, 3), "car_ahead_s": near(closest, 2), "clean_at": name(where),
        "expected": None if awaited is None else {
            key: near(value, 3, "engine") for key, value in zip(("median_s", "low_s", "high_s"), awaited, strict=True)},
    }


def switches_off(told: Told, car: str, lap: Lap, kind: str) -> list[Own]:
    """What the alerts said that stood ten seconds after the line of a timed lap, or until a switch was moved or a flag
    fell; not those that a move after the line brought about. Of a lap that was to be another one, those of the whole
    lap; where none was raised, what telemetry had shown."""
    if lap.kind != "timed":
        return []
    planned = planned_kinds(laps_of(told, car))[lap.number]
    flags = [since for _, since, _, _ in statuses_of(told)]
    heard = max(lap.begin, next((one["received_t"] for one in told.facts("car_crossed", car)
                                 if one["loop"] == "line" and one["t"] == lap.begin), lap.begin))
    known_by = heard + 10 if planned == "timed" else lap.end
    found: list[Own] = []
    for switch in told.setup["cars"][car]["switches"]:
        before = len(found)
        at = [one.t for one in told.debrief.car(car).switches if one.switch == switch["switch"]]  # type: ignore[union-attr]
        words: list[Row] = []
        for one in told.said("alert", car):
            if one["kind"] != kind:
                continue
            if one["active"] and switch["switch"] in one["switches"]:
                words.append(one)
                continue
            if not words or one["id"] != words[0]["id"]:
                continue
            since, until = words[0]["t"], one["t"]
            moved = [t for t in at if t > lap.begin]
            lasted = until > heard + 10 or any(t <= until for t in moved)
            lasted |= any(heard < t <= until <= t + 0.5 for t in flags)
            if since <= known_by and until > heard and lasted and not any(t <= since for t in moved):
                found.append(engine(words[-1]["switches"][switch["switch"]]))
            words = []
        if words and words[0]["t"] <= known_by and not any(lap.begin < t <= words[0]["t"] for t in at):
            found.append(engine(words[-1]["switches"][switch["switch"]]))
        seen = wrong_at_the_line(told, car, lap, planned, switch) if kind == "switch_wrong" else None
        if len(found) == before and seen is not None:
            found.append(Own(seen))
    return found


def _sectors(told: Told, car: str, lap: Lap, ends: dict[str, float]) -> list[Row]:
    found: list[Row] = []
    before = None if lap.first else lap.begin
    for loop in loops_of(told):
        if loop != "line" and lap.first and map_of(told, car).loops[loop] < map_of(told, car).pit_exit:
            continue
        t = ends.get(loop)
        found.append({"loop": name(loop), "t": near(t, 3),
                      "seconds": None if t is None or before is None else near(t - before, 3)})
        before = t
    return found


