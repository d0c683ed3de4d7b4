"""Why there was no time left for a run: what red flags took, runs that were made longer, and a late leaving."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pitwall.debrief import wording as say
from pitwall.debrief.model import CarDebrief, ChangeRow, RunRow, SessionSummary
from pitwall.model.plan import parse_laps

NAMED_FROM_S = 60.0
"""Less than a minute decides nothing that a plan says."""
NOW = re.compile(r"^run (?P<run>[\w-]+): now (?P<laps>\d+) timed laps?$")
BECOME = re.compile(r"^(?:.*: )?(?P<run>[\w-]+): \d+ timed laps? becomes? (?P<laps>\d+)$")
"""As the engine has them (a test compares)."""
ENDED = ("finished", "closed")
OVER = ("flag_out", "closed")


@dataclass(frozen=True)
class Longer:
    """A run that a change of the plan gave more timed laps, and from how many to how many."""

    run: str
    before: int
    laps: int
    change: ChangeRow


def time_lost(run: RunRow, car: CarDebrief, session: SessionSummary) -> str:
    """In sentences that go on behind others; nothing of a run that is no must, that counts as it was driven, or that
    may still be driven. Only what was driven took time."""
    if run.want != "must" or run.finished or session.state not in OVER:
        return ""
    driven = {one.run for one in car.runs if one.stints and one.run != run.run}
    longer = [one for one in made_longer(car) if one.run in driven]
    words = [_red(session), *(_longer(one) for one in longer), _left_late(run, car, session)]
    return "".join(f" {one}" for one in words if one)


def made_longer(car: CarDebrief) -> tuple[Longer, ...]:
    """Each change of the plan that stands and gave a run more timed laps than it had then."""
    laps = {one.run: parse_laps(one.planned_laps).count("timed") if one.planned_laps else 0 for one in car.runs}
    found = []
    for change in (one for one in car.changes if one.about == "plan" and one.stands):
        for part in change.what.split("; "):
            match = NOW.match(part) or BECOME.match(part)
            if match is None or match["run"] not in laps:
                continue
            before, laps[match["run"]] = laps[match["run"]], int(match["laps"])
            if laps[match["run"]] > before:
                found.append(Longer(match["run"], before, laps[match["run"]], change))
    return tuple(found)


def _longer(one: Longer) -> str:
    who, why = f", by {one.change.by}" if one.change.by else "", f" ({one.change.why})" if one.change.why else ""
    return (f"Made longer at {say.session_clock(one.change.t)}: {one.run}, {say.plural(one.before, 'timed lap')} to "
            f"{one.laps}{who}{why}.")


def _red(session: SessionSummary) -> str:
    """What red flags took of the session: where the clock stood under them, the flag fell so much later."""
    reds = [(one.from_s, one.to_s) for one in session.statuses if one.status == "red"]
    flag = next((one.from_s for one in session.statuses if one.status in ENDED), None)
    if flag is None or not reds:
        return ""
    lost_s = sum(to - since for since, to in reds) - max(flag - session.scheduled_s, 0.0)
    spans = ", ".join(say.span_clock(*one) for one in reds)
    return f"Red flag{'s' if len(reds) > 1 else ''} took {say.duration(lost_s)} ({spans})." \
        if lost_s >= NAMED_FROM_S else ""


def _left_late(run: RunRow, car: CarDebrief, session: SessionSummary) -> str:
    """How much later it left than the first plan had it, and how much longer than planned the car stood before it: a
    red flag is told beside it."""
    if not run.stints or run.planned_span_s is None:
        return ""
    left_s, planned_s = run.stints[0].from_s, run.planned_span_s[0]
    if left_s - planned_s < NAMED_FROM_S:
        return ""
    words = f"It left at {say.session_clock(left_s)}, {say.duration(left_s - planned_s)} later than first planned"
    stood = _stood(run, left_s, planned_s, car, session)
    return f"{words}{stood}."


def _stood(run: RunRow, left_s: float, planned_s: float, car: CarDebrief, session: SessionSummary) -> str:
    before = max(_ends_before(left_s, car.runs), key=lambda one: one[0], default=None)
    if before is None or before[1].planned_span_s is None:
        return ""
    begins = [one.planned_span_s[0] for one in car.runs if one.planned_span_s is not None]
    wanted_s = planned_s - before[1].planned_span_s[1]
    if wanted_s < 0 or any(before[1].planned_span_s[1] <= one < planned_s for one in begins):
        return ""
    red_s = sum(max(min(one.to_s, left_s) - max(one.from_s, before[0]), 0.0) for one in session.statuses
                if one.status == "red")
    stood_s = left_s - before[0] - red_s
    if stood_s - wanted_s < NAMED_FROM_S:
        return ""
    return f"; the car stood in the pits for {say.duration(stood_s)} before it, {say.duration(wanted_s)} were planned"


def _ends_before(t: float, runs: Sequence[RunRow]) -> Iterator[tuple[float, RunRow]]:
    for run in runs:
        for stint in run.stints:
            if stint.to_s is not None and stint.to_s <= t:
                yield stint.to_s, run
