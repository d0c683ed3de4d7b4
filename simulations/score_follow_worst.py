"""The worst cases of following, each with why, as far as the recording and the plan tell it."""

from __future__ import annotations

from simulations.score_follow_calls import Entry, Verdict
from simulations.score_follow_marks import PLACES, ArrivalCase, KindCase, Marks, RunCase

SEVERITY = ("too late", "wrong", "too early")


def worst(marks: Marks, most: int) -> dict[str, list[str]]:
    """At most ``most`` cases each of lap kinds, runs, box prompts, other calls and arrivals, the worst first."""
    kinds = [case for case in marks.kinds if not case.right]
    kinds.sort(key=lambda case: (-PLACES.index(case.at), case.lap.begin_s or 0.0))
    runs = [case for case in marks.runs if case.stint.made_into not in (None, case.on_coming_in)]
    entries = [entry for entry in marks.entries if entry.verdict != "in time" and entry.lap.status != "red"]
    entries.sort(key=lambda entry: (not entry.as_planned, entry.lap.in_s or 0.0))
    calls = [verdict for verdict in marks.calls if verdict.verdict in SEVERITY and not verdict.under_red]
    calls.sort(key=lambda verdict: (SEVERITY.index(verdict.verdict), verdict.margin_s or 0.0))
    arrivals = sorted((case for case in marks.arrivals if case.place == "line"), key=lambda case: -abs(case.error_s))
    return {
        "lap kinds": [_kind(case) for case in kinds[:most]],
        "runs": [_run(case) for case in runs[:most]],
        "box prompts": [_entry(entry) for entry in entries[:most]],
        "calls": [_call(verdict) for verdict in calls[:most]],
        "arrivals": [_arrival(case) for case in arrivals[:most]],
    }


def _kind(case: KindCase) -> str:
    lap = case.lap
    begin, end = lap.begin_s or 0.0, lap.end_s or 0.0
    passed = sorted(lap.passed.items(), key=lambda one: one[1])
    times = ", ".join(f"{name} after {t - begin:.1f} s" for name, t in passed)
    ratio = f", {lap.ratio:.3f} times the reference" if lap.ratio is not None else ""
    return (f"car {lap.car}, lap {begin:.0f} to {end:.0f} s ({lap.status}): {case.believed} at {case.at}, "
            f"was {lap.label}{ratio}; passed {times or 'no loop'}")


def _run(case: RunCase) -> str:
    stint, begin = case.stint, case.stint.laps[0].start_s or 0.0
    return (f"car {stint.car}, driven run {stint.name} from {begin:.0f} s ({stint.timed} timed): "
            f"was {stint.made_into}, taken for {case.on_leaving} on leaving, {case.on_coming_in} on coming in")


def _entry(entry: Entry) -> str:
    stint = entry.stint
    why = "as planned" if entry.as_planned else "the plan had it otherwise" if stint.made_into else "not in the plan"
    labels = " ".join(lap.label for lap in stint.laps)
    return (f"car {stint.car}, entry at {entry.lap.in_s:.0f} s: {entry.verdict}; driven run {stint.name} was {labels} "
            f"({stint.made_into or 'no planned run'}, {why})")


def _call(verdict: Verdict) -> str:
    return f"car {verdict.car}, {verdict.call} at {verdict.t:.0f} s ({verdict.kind}): {verdict.verdict}: {verdict.why}"


def _arrival(case: ArrivalCase) -> str:
    side = "later" if case.error_s > 0 else "sooner"
    return (f"car {case.car} at {case.t:.0f} s, from {case.believed_at} to {case.place} on {case.label} lap: "
            f"came {abs(case.error_s):.1f} s {side}")
