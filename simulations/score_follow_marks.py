"""Marks for what was believed: every case once, so that sessions can be added up; and the figures made of the cases."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from pitwall.model.setup import SessionSetup
from simulations.score_follow_calls import (
    VERDICTS,
    Entry,
    Verdict,
    judge_calls,
    judge_entries,
    leavings_without_prompt,
    stayed_out,
)
from simulations.score_follow_rows import Row
from simulations.score_follow_truth import COMPLETE, Stint, TrueLap, Truth

PLACES = ("sector 1", "sector 2", "line")
SAME_LAP_S = 2.0
SAME_LEAVING_S = 5.0


@dataclass(frozen=True)
class KindCase:
    """The kind of one complete lap as it was believed at one place."""

    lap: TrueLap
    at: str
    believed: str
    planned_car: bool

    @property
    def right(self) -> bool:
        """True when it was the kind that hindsight gives."""
        return self.believed == self.lap.label


@dataclass(frozen=True)
class RunCase:
    """One driven run of a planned car, and the planned run that it was taken for at two moments."""

    stint: Stint
    on_leaving: str | None
    on_coming_in: str | None


@dataclass(frozen=True)
class ArrivalCase:
    """One expected arrival: believed where, for which place, on what kind of lap, and how much later the car came."""

    car: str
    t: float
    believed_at: str
    place: str
    label: str
    error_s: float


@dataclass
class Marks:
    """Every case of one or more sessions."""

    sessions: list[str] = field(default_factory=list)
    kinds: list[KindCase] = field(default_factory=list)
    runs: list[RunCase] = field(default_factory=list)
    calls: list[Verdict] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    stayed_out: list[tuple[TrueLap, Row]] = field(default_factory=list)
    unprompted: list[TrueLap] = field(default_factory=list)
    leavings: int = 0
    arrivals: list[ArrivalCase] = field(default_factory=list)

    def add(self, other: Marks) -> None:
        """Take the cases of another session too."""
        for name in ("sessions", "kinds", "runs", "calls", "entries", "stayed_out", "unprompted", "arrivals"):
            getattr(self, name).extend(getattr(other, name))
        self.leavings += other.leavings


def mark(rows: Sequence[Row], truth: Truth, setup: SessionSetup) -> Marks:
    """Judge the rows of one session."""
    unprompted, leavings = leavings_without_prompt(rows, truth)
    return Marks(
        [truth.session], list(_kinds(rows, truth)), list(_runs(rows, truth)), judge_calls(rows, truth, setup.calls),
        judge_entries(rows, truth, setup.calls), stayed_out(rows, truth), unprompted, leavings,
        list(_arrivals(rows, truth)),
    )


def _kinds(rows: Sequence[Row], truth: Truth) -> Iterable[KindCase]:
    by_car: dict[str, list[Row]] = {}
    for row in rows:
        if row.what == "lap_kind":
            by_car.setdefault(row.car, []).append(row)
    for car, laps in truth.laps.items():
        for lap in laps:
            if lap.label not in COMPLETE or lap.begin_s is None or lap.end_s is None:
                continue
            mine = [row for row in by_car.get(car, ())
                    if row.start_s is not None and abs(row.start_s - lap.begin_s) < SAME_LAP_S]
            for at in PLACES:
                found = [str(row.value) for row in mine if row.at == at]
                yield KindCase(lap, at, found[-1] if found else "nothing", car in truth.stints)


def _runs(rows: Sequence[Row], truth: Truth) -> Iterable[RunCase]:
    for car, stints in truth.stints.items():
        mine = [row for row in rows if row.what == "run" and row.car == car and row.value == "running"]
        for stint in stints:
            begin, end = stint.laps[0].start_s, stint.laps[-1].off_s
            if begin is None:
                continue
            # A run that is resumed keeps the second of its first leaving: what counts is when it was believed.
            here = [row.about for row in mine if begin - SAME_LEAVING_S <= row.t < (end or float("inf"))]
            yield RunCase(stint, here[0] if here else None, here[-1] if here else None)


def _arrivals(rows: Sequence[Row], truth: Truth) -> Iterable[ArrivalCase]:
    places = {"loop 1": "1", "loop 2": "2", "line": "line"}
    for row in rows:
        lap = truth.lap_at(row.car, row.t) if row.what == "arrival" else None
        if lap is None:
            continue
        true = lap.in_s if row.about == "pit entry" else lap.passed.get(places.get(row.about, ""))
        if true is None or (row.about == "line" and lap.in_s is not None):
            continue
        yield ArrivalCase(row.car, row.t, row.at, row.about, lap.label, round(true - float(row.value), 3))


def figures(marks: Marks) -> dict[str, Any]:
    """Every figure of these cases, ready for JSON."""
    planned = [case for case in marks.kinds if case.planned_car]
    return {
        "kinds_all_cars": _kind_figures(marks.kinds), "kinds_planned_cars": _kind_figures(planned),
        "runs": _run_figures(marks.runs), "calls": _call_figures(marks), "box": _box_figures(marks),
        "arrivals": _arrival_figures(marks.arrivals),
    }


def _kind_figures(cases: list[KindCase]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for at in PLACES:
        here = [case for case in cases if case.at == at]
        right = sum(case.right for case in here)
        confusion = {label: dict(sorted(Counter(case.believed for case in here if case.lap.label == label).items()))
                     for label in COMPLETE}
        found[at] = {"right": right, "laps": len(here), "share": _share(right, len(here)),
                     "believed_by_truth": confusion}
    return found


def _run_figures(cases: list[RunCase]) -> dict[str, Any]:
    planned = [case for case in cases if case.stint.made_into is not None]
    others = [case for case in cases if case.stint.made_into is None]
    found: dict[str, Any] = {"driven": len(cases), "planned": len(planned)}
    for moment in ("on_leaving", "on_coming_in"):
        right = sum(getattr(case, moment) == case.stint.made_into for case in planned)
        found[f"right_{moment}"] = right
        found[f"share_{moment}"] = _share(right, len(planned))
    found["driven_not_planned"] = len(others)
    found["not_planned_and_taken_for_none"] = sum(case.on_coming_in is None for case in others)
    return found


def _call_figures(marks: Marks) -> dict[str, Any]:
    found: dict[str, Any] = {}
    kinds = sorted({verdict.kind for verdict in marks.calls})
    for kind in kinds:
        mine = [verdict for verdict in marks.calls if verdict.kind == kind and not verdict.under_red]
        found[kind] = {name: sum(verdict.verdict == name for verdict in mine) for name in VERDICTS}
    totals = {name: sum(of_kind[name] for of_kind in found.values()) for name in VERDICTS}
    red = sum(verdict.under_red for verdict in marks.calls)
    return {"by_kind": found, "in_all": totals, "under_red": red,
            "leavings": marks.leavings, "leavings_without_a_prompt": len(marks.unprompted)}


def _box_figures(marks: Marks) -> dict[str, Any]:
    def counts(entries: list[Entry]) -> dict[str, int]:
        return {"entries": len(entries)} | {
            verdict: sum(entry.verdict == verdict for entry in entries)
            for verdict in ("in time", "early", "too late", "missing")
        }

    calm = [entry for entry in marks.entries if entry.lap.status != "red"]
    leads = sorted(entry.lead_s for entry in calm if entry.lead_s is not None)
    quiet = [lap for lap, _ in marks.stayed_out if lap.status != "red"]
    return {
        **counts(calm), "wrong_car_stayed_out": len(quiet),
        "where_the_plan_was_right": counts([entry for entry in calm if entry.as_planned]),
        "where_the_plan_was_wrong": counts([entry for entry in calm if not entry.as_planned]),
        "under_red": counts([entry for entry in marks.entries if entry.lap.status == "red"])
        | {"wrong_car_stayed_out": len(marks.stayed_out) - len(quiet)},
        "lead_s": {f"p{share}": _quantile(leads, share / 100) for share in (0, 10, 50, 90, 100)},
    }


def _arrival_figures(cases: list[ArrivalCase]) -> dict[str, Any]:
    groups: dict[str, list[float]] = {}
    for case in cases:
        if case.place != "line":
            continue
        groups.setdefault(f"{case.believed_at} to line", []).append(abs(case.error_s))
        if case.label == "timed":
            groups.setdefault(f"{case.believed_at} to line, timed laps", []).append(abs(case.error_s))
    return {name: {"forecasts": len(errors), "median_s": round(median(errors), 2),
                   "p90_s": _quantile(sorted(errors), 0.9)} for name, errors in sorted(groups.items())}


def _share(part: int, whole: int) -> float | None:
    return round(part / whole, 4) if whole else None


def _quantile(ordered: list[float], share: float) -> float | None:
    """The value below which this share of the ordered values lies (nearest rank)."""
    if not ordered:
        return None
    return round(ordered[min(len(ordered) - 1, int(share * len(ordered)))], 1)
