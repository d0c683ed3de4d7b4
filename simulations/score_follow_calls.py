"""Calls and box prompts against what really happened.

A call is judged by when it was first offered (state ``shown`` or ``due``), against the moment it is tied to, which is
read off the recording and not off our forecast of it. Its *last moment* is that moment less the time to say it and the
reaction. A call offered at least ``NOTICE_S`` before the last moment, and not more than a lap before the moment, is
**in time**; else it is **too late** or **too early**. **wrong** is a call for something that did not happen.

=====================  ================================  =====================================================
kind, what it asks     moment                            wrong when
=====================  ================================  =====================================================
box                    the last place for the pit entry  the car came in neither on that lap nor on the next
                       on the lap (the true entry less
                       the stretch before it)
run, next lap timed    the line at the end of that lap   the next lap was not a timed one
run, cool-down lap     loop 1 of the lap just begun      that lap was not a cool-down lap
run, number of laps    the line at the end of the        that lap was no out-lap, or the car came straight in
                       out-lap
procedure              the line at the end of the        the car did not leave again
                       out-lap on which it is done
pace                   loop 1 of the lap just begun      the lap before was not a timed one
brief                  the true leaving less             the car did not leave again
                       ``BELTS_S``
release                the true leaving                  the car did not leave again
session, a status      ``NEWS_S`` after the change       there was no such change
session, the flag on   ``FLAG_S`` after the line         the flag did not fall on that lap
this lap
=====================  ================================  =====================================================

Garage calls are counted down by the plan: they are too early when they came more than a lap before the countdown from
the *true* leaving would have shown them. Calls of a car nobody can place in the recording are ``not judged``. What was
never offered cannot be found among the calls: pit entries and leavings without a prompt are counted as missing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from pitwall.model.setup import CallTiming
from simulations.score_follow_rows import Row
from simulations.score_follow_truth import Stint, TrueLap, Truth

NOTICE_S = 5.0  # to look up, read and press (common practice, no source)
BELTS_S = 60.0
NEWS_S = 5.0
FLAG_S = 15.0
VERDICTS = ("in time", "too early", "too late", "wrong", "not judged")
OFFERED = ("shown", "due")


@dataclass(frozen=True)
class Verdict:
    """One call judged. ``margin_s`` is how long before its last moment it was offered; ``why`` is in words."""

    car: str
    call: str
    kind: str
    t: float
    verdict: str
    margin_s: float | None = None
    why: str = ""
    under_red: bool = False


def offered(rows: Iterable[Row]) -> list[Row]:
    """The row of each call with which it was first offered."""
    first: dict[tuple[str, str], Row] = {}
    for row in rows:
        if row.what in ("box", "call") and row.value in OFFERED:
            first.setdefault((row.car, row.about), row)
    return list(first.values())


def judge_calls(rows: Iterable[Row], truth: Truth, timing: CallTiming) -> list[Verdict]:
    """Every call that was offered, judged."""
    return [_judged(row, truth, timing) for row in offered(rows)]


def _judged(row: Row, truth: Truth, timing: CallTiming) -> Verdict:
    lap = truth.lap_at(row.car, row.t)
    red = lap is not None and lap.status == "red"
    moment, wrong, early_s = _tied_to(row, lap, truth, timing)
    if moment is None:
        verdict = "wrong" if wrong else "not judged"
        return Verdict(row.car, row.about, _kind(row), row.t, verdict, None, wrong, red)
    reaction = {"box": timing.box_reaction_s, "run": timing.switch_reaction_s}.get(row.kind, 0.0)
    session = row.kind == "session"
    last = moment if session else moment - (row.spoken_s or 0.0) - reaction
    margin = last - row.t
    if margin < (0.0 if session else NOTICE_S):
        return Verdict(row.car, row.about, _kind(row), row.t, "too late", margin, f"{margin:.1f} s were left", red)
    if moment - row.t > early_s:
        why = f"offered {moment - row.t:.0f} s before its moment"
        return Verdict(row.car, row.about, _kind(row), row.t, "too early", margin, why, red)
    return Verdict(row.car, row.about, _kind(row), row.t, "in time", margin, "", red)


def _kind(row: Row) -> str:
    return f"{row.kind} {row.asks}" if row.kind in ("run", "release") and row.asks != "none" else row.kind


Tied = tuple[float | None, str, float]


def _tied_to(row: Row, lap: TrueLap | None, truth: Truth, timing: CallTiming) -> Tied:
    """``(moment or None, what is wrong with it, how long before the moment is not too early)``."""
    if row.kind in ("brief", "release") or (row.kind == "procedure" and lap is None):
        return _leaving(row, truth, timing)
    if row.kind == "session":
        return _news(row, lap, truth)
    if lap is None:
        return None, "", 0.0
    a_lap = max(truth.lap_s * 1.12, (lap.off_s or 0.0) - (lap.start_s or 0.0))
    after = truth.lap_after(lap)
    if row.kind == "box":
        return _box_place(row, lap, after, truth, a_lap)
    if row.kind == "procedure" or (row.kind == "run" and row.asks == "none"):
        if lap.label != "out":
            return None, f"offered on {_a(lap.label)} lap", 0.0
        return lap.off_s, "", a_lap
    if row.kind == "run" and row.asks == "timed":
        if lap.in_s is not None or after is None or after.label != "timed":
            return None, f"the next lap was {_a(after.label) if after is not None else 'none: the car came in'}", 0.0
        return lap.off_s, "", a_lap
    if row.kind in ("run", "pace"):
        wanted = lap.label == "cool" if row.kind == "run" else _timed_before(lap, truth)
        if not wanted:
            return None, f"on {_a(lap.label)} lap" if row.kind == "run" else "the lap before was not timed", 0.0
        return lap.passed.get("1", lap.off_s), "", a_lap
    return None, "", 0.0


def _a(label: str) -> str:
    return f"an {label}" if label[:1] in "aeio" else f"a {label}"


def _timed_before(lap: TrueLap, truth: Truth) -> bool:
    mine = truth.laps[lap.car]
    at = mine.index(lap)
    return at > 0 and mine[at - 1].label == "timed"


def last_place(lap: TrueLap, truth: Truth) -> float | None:
    """When the car was at the last place from which the pit entry can be taken."""
    if lap.in_s is not None:
        return lap.in_s - max(0.0, truth.pit_entry - truth.last_chance) * truth.lap_s
    return lap.at_share(truth.last_chance)


def _box_place(row: Row, lap: TrueLap, after: TrueLap | None, truth: Truth, a_lap: float) -> Tied:
    if lap.in_s is None and after is not None and after.in_s is not None and (row.act_at_s or 0.0) > (lap.off_s or 0.0):
        return last_place(after, truth), "", a_lap
    if lap.in_s is None:
        return None, f"the car stayed out on {_a(lap.label)} lap", 0.0
    return last_place(lap, truth), "", a_lap


def _leaving(row: Row, truth: Truth, timing: CallTiming) -> Tied:
    lap = truth.leaving_after(row.car, row.t)
    if lap is None or lap.out_s is None:
        return None, "the car did not leave again", 0.0
    counted = {"brief": timing.brief_s, "fire_up": timing.fire_up_s}.get(
        row.asks if row.kind == "release" else row.kind, timing.release_check_s if row.kind != "release" else 0.0
    )
    early = counted + timing.lead_s + truth.lap_s
    if row.kind == "brief":
        return lap.out_s - BELTS_S, "", early
    if row.kind == "procedure":
        return lap.off_s, "", early + truth.lap_s
    # "Leave" may be said until the car goes, and it takes no words that the car must wait for.
    return lap.out_s + (row.spoken_s or 0.0) + NOTICE_S, "", early


def _news(row: Row, lap: TrueLap | None, truth: Truth) -> Tied:
    if "last-lap" in row.about:
        flag = next((t for t, status, _ in truth.changes if status == "finished" and t > row.t - FLAG_S), None)
        if lap is None or flag is None or lap.begin_s is None or not lap.begin_s < flag < (lap.off_s or 0.0):
            return None, "the flag did not fall on that lap", 0.0
        return lap.begin_s + FLAG_S, "", truth.lap_s
    moments = [t for t, *_ in truth.changes]
    if re.search(r"finished$", row.about):
        # To a car that finished its lap the flag is told as news of the in-lap, which itself may never have ended.
        moments += [lap.end_s for lap in truth.laps.get(row.car, ()) if lap.end_s is not None]
    before = [t for t in moments if t <= row.t + NEWS_S]
    if not before or row.t - max(before) > 60.0:
        return None, "there was no such change", 0.0
    return max(before) + NEWS_S, "", 60.0


@dataclass(frozen=True)
class Entry:
    """One true pit entry of a planned car, and how it was prompted."""

    lap: TrueLap
    stint: Stint
    verdict: str
    lead_s: float | None
    as_planned: bool


def judge_entries(rows: Iterable[Row], truth: Truth, timing: CallTiming) -> list[Entry]:
    """Each true pit entry: prompted in time, early (for another lap, more than a lap before), too late, or missing."""
    boxes = [row for row in offered(rows) if row.what == "box"]
    found = []
    for car, stints in truth.stints.items():
        mine = [row for row in boxes if row.car == car]
        for stint in stints:
            lap = stint.laps[-1]
            place = last_place(lap, truth)
            if lap.in_s is None or place is None or lap.start_s is None:
                continue
            here = [row for row in mine if lap.holds(row.t)]
            early = [row for row in mine if lap.start_s - truth.lap_s <= row.t < lap.start_s - 0.5
                     and (row.act_at_s or 0.0) >= lap.start_s]
            verdict, lead = "missing", None
            for row in (here + early)[:1]:
                lead = place - (row.spoken_s or 0.0) - timing.box_reaction_s - row.t
                verdict = "too late" if lead < NOTICE_S else "early" if row in early else "in time"
            found.append(Entry(lap, stint, verdict, lead, truth.as_planned(stint)))
    return found


def stayed_out(rows: Iterable[Row], truth: Truth) -> list[tuple[TrueLap, Row]]:
    """Laps of planned cars with a box prompt for that lap on which the car stayed out, each with its first prompt."""
    found: dict[tuple[str, int], tuple[TrueLap, Row]] = {}
    for row in offered(rows):
        lap = truth.lap_at(row.car, row.t) if row.what == "box" else None
        if lap is not None and lap.in_s is None and (row.act_at_s or 0.0) <= (lap.off_s or 0.0) + NOTICE_S:
            found.setdefault((lap.car, lap.number), (lap, row))
    return list(found.values())


def leavings_without_prompt(rows: Iterable[Row], truth: Truth) -> tuple[list[TrueLap], int]:
    """True leavings with no call to leave offered since the car came in, and how many leavings there were."""
    calls = [row for row in offered(rows) if row.asks == "leave"]
    missing, count = [], 0
    for car, stints in truth.stints.items():
        since = float("-inf")
        for stint in stints:
            out_s = stint.laps[0].out_s
            if out_s is None:
                continue
            count += 1
            if not any(row.car == car and since < row.t <= out_s for row in calls):
                missing.append(stint.laps[0])
            since = stint.laps[-1].off_s or out_s
    return missing, count
