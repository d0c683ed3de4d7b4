"""What a debrief says, in the order in which it is read: two minutes first, then everything.

The first page answers for each car what was done and not done and why, where the data are, what has to be done next,
and what the driver complained of. Then one chapter a car, the alerts, how all this came to be known, and last every
call. Every row of the debrief is in a table.
"""

from __future__ import annotations

from datetime import datetime

from pitwall.debrief import wording as say
from pitwall.debrief.contents_car import car_chapter
from pitwall.debrief.contents_figures import run_span
from pitwall.debrief.contents_radio import every_call, radio_sections
from pitwall.debrief.contents_session import closing_sections, session_chapter
from pitwall.debrief.contents_summary import summary_sections
from pitwall.debrief.document import Document, Section, Words
from pitwall.debrief.figures_timeline import Stretch
from pitwall.debrief.model import Debrief, SessionSummary

STATES = {"closed": "over", "flag_out": "the flag is out, not closed yet", "running": "the journal ends while it runs",
          "not_begun": "it never began"}


def document_of(debrief: Debrief) -> Document:
    """The whole debrief as a document; that of one run, where it is cut to one."""
    if debrief.run is not None:
        return _of_run(debrief, debrief.run)
    session = debrief.session
    sections: list[Section] = [part for car in debrief.cars for part in summary_sections(car, debrief)]
    for car in debrief.cars:
        sections += [*car_chapter(car, session), *radio_sections(car, session)]
    sections += session_chapter(debrief)
    sections += [every_call(car) for car in debrief.cars]
    title = f"Debrief of {session.session}, {session.event}"
    return Document(title, _running(debrief), _facts(debrief), tuple(sections))


def _running(debrief: Debrief) -> str:
    session, cars = debrief.session, ", ".join(one.car for one in debrief.cars)
    day = f", {session.green_time:%Y-%m-%d}" if session.green_time is not None else ""
    named = f"car{'s' if len(debrief.cars) > 1 else ''} {cars}"
    return f"{session.event}, {session.session}{day} · {session.team}, {named}"


def _of_run(debrief: Debrief, run: str) -> Document:
    """The same parts for the one car and the one run, and time over which that run was driven."""
    session, (car,) = debrief.session, debrief.cars
    over = run_span(car)
    sections = (*summary_sections(car, debrief), *car_chapter(car, session, over), *radio_sections(car, session, over),
                *closing_sections(debrief), every_call(car))
    title = f"Debrief of run {run}, car {car.car}, {session.session}, {session.event}"
    return Document(title, f"{_running(debrief)}, run {run}", (_run_fact(debrief), *_facts(debrief, over)), sections)


def _run_fact(debrief: Debrief) -> Words:
    """When it was out, and what else than its rows is told of it."""
    (run,) = debrief.cars[0].runs
    out = "; ".join(say.span_clock(one.from_s, one.to_s) for one in run.stints)
    still = ", and nobody has seen it come back" if run.stints and run.stints[-1].to_s is None else ""
    return Words(f"{f'{run.purpose}; ' if run.purpose else ''}out {out}{still}. Changes are those from the coming back "
                 "before it to the next leaving, alerts those from its leaving to the next; calls of no run, such as a "
                 "red flag, are told where they came while it was out.", f"Run {run.run} alone:")


def _facts(debrief: Debrief, over: Stretch | None = None) -> tuple[Words, ...]:
    session = debrief.session
    crews = "; ".join(f"{one.car} {', '.join(one.drivers)}".strip() for one in debrief.cars)
    facts = [
        Words(f"{session.session} of {session.event} at {session.circuit}{', wet' if session.wet else ''}; "
              f"{say.duration(session.scheduled_s)}, {STATES[session.state]}.", "Session:"),
        Words(f"{session.team}; {crews}.", "Team, cars and drivers:"),
        Words(_when(session), "When:"),
        Words("numbered through the session, each car's own; a lap of a run has a name, such as in-lap.", "Laps:"),
    ]
    stops = [f"{say.STATUSES[one.status]} {say.span_clock(one.from_s, one.to_s)} "
             f"({say.duration(one.to_s - one.from_s)})" for one in session.statuses if one.status in ("red", "slow")
             and (over is None or (one.from_s < over.end_s and one.to_s > over.start_s))]
    while_out = "" if over is None else " while it was out"
    facts.append(Words(f"{'; '.join(stops) or 'none'}.", f"Red flags and slow periods{while_out}:"))
    return tuple(facts)


def _when(session: SessionSummary) -> str:
    if session.green_time is None:
        return "no time of day is known; all times are session time from the green light."
    source = {"journal": "by the clock of the machine that kept the journal",
              "schedule": "as scheduled, in a rehearsal", "none": ""}[session.time_of_day_from]
    at = f"{say.time_of_day(session.green_time)} ({say.zone_words(session.green_time)}), {source}."
    if session.state == "not_begun":
        return f"{session.green_time:%A %d %B %Y}; no green light came. Session time counts to {at}"
    return (f"{session.green_time:%A %d %B %Y}, green light at {at} Session time counts from the green light."
            f"{_other_clock(session.green_time, session.ended_time)}")


def _other_clock(green: datetime, ended: datetime | None) -> str:
    """What stands behind a time of day that is of another day, or by another offset."""
    if ended is None:
        return ""
    words = " Times of day with +1 d are of the day after." if ended.date() > green.date() else ""
    if ended.utcoffset() == green.utcoffset():
        return words
    return words + f" The clocks changed meanwhile: times of day with {say.zone_words(ended)} are by the new one."
