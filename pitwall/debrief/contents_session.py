"""What concerns all cars: the session's course, its alerts, and what this debrief rests on."""

from __future__ import annotations

from pitwall import __version__
from pitwall.debrief import wording as say
from pitwall.debrief.document import Block, Column, Row, Section, Table, Words, table
from pitwall.debrief.model import AlertRow, AlertStatistics, Debrief, SessionSummary

COURSE = (Column("status", 2.0), Column("from", 1.2, right=True), Column("to", 1.2, right=True),
          Column("for", 1.4, right=True), Column("marshal sectors", 3.0))
ALERTS = (Column("alert", 6.0), Column("car", 0.8), Column("kind", 2.2), Column("priority", 1.2),
          Column("from", 1.2, right=True), Column("to", 1.2, right=True), Column("acknowledged", 1.9, right=True))
CHANGES = (Column("change", 6.0), Column("session time", 1.5, right=True), Column("by", 1.4), Column("why", 3.0))
RATES = (Column("ten minutes from", 2.0, right=True), Column("alerts raised", 2.0, right=True))


def session_chapter(debrief: Debrief) -> tuple[Section, ...]:
    """The chapter of the session."""
    return (
        Section("The session", 2, (*_course(debrief.session), _changes(debrief)), new_page=True),
        *closing_sections(debrief),
    )


def closing_sections(debrief: Debrief) -> tuple[Section, ...]:
    """The alerts, and what all this rests on."""
    return (
        Section("Alerts", 3, _alerts(debrief)),
        Section("What this rests on", 3, _sources(debrief)),
    )


def _course(session: SessionSummary) -> tuple[Block, ...]:
    rows = [(say.LOCAL_YELLOW if one.status == "green" and one.sectors else say.STATUSES[one.status],
             say.session_clock(one.from_s), say.session_clock(one.to_s),
             say.duration(one.to_s - one.from_s), ", ".join(one.sectors) or say.NOTHING) for one in session.statuses]
    windows = [(name, say.session_clock(start), say.session_clock(end)) for name, start, end in session.windows]
    course = table("The session's course", COURSE, rows, "No status was ever told.", share=0.75)
    if not windows:
        return (course,)
    columns = (Column("window", 2.0), Column("from", 1.2, right=True), Column("to", 1.2, right=True))
    return (table("Windows of the day", columns, windows, "", share=0.5), course)


def _changes(debrief: Debrief) -> Table:
    rows = [(one.what, say.session_clock(one.t), one.by or "pitwall", one.why) for one in debrief.changes]
    return table("Entered by hand of the whole session, and corrected", CHANGES, rows,
                 "Nothing was entered or corrected.", bold=False)


def _alerts(debrief: Debrief) -> tuple[Block, ...]:
    figures = debrief.alerts
    every = table("Every alert", ALERTS, [_alert(one) for one in debrief.alert_rows], "No alert was raised.",
                  bold=False)
    if figures is None:
        return (every,)
    rates = [(say.session_clock(one.from_s), str(one.raised)) for one in figures.rates]
    return (
        *_alert_words(figures),
        table("Alerts raised, ten minutes at a time", RATES, rates, "No ten minutes have passed.", share=0.4),
        every,
    )


def _alert_words(figures: AlertStatistics) -> tuple[Words, ...]:
    words = [Words(f"{figures.raised} raised, {figures.acknowledged} of them acknowledged; {figures.mean_rate:.1f} in "
                   f"ten minutes on average, at most {figures.most_in_ten} in any ten, wherever they begin; "
                   f"{100 * figures.share_over_ten:.0f} % of the ten minutes of the table had more than ten. As a "
                   "measure: about one in ten minutes can be worked with, more than ten are a flood (EEMUA 191).",
                   "Alerts:")]
    for lead, counts in (("By priority:", dict(figures.by_priority)), ("By kind:", figures.by_kind),
                         (f"Held back, {figures.held_back}:", figures.held_reasons)):
        if counts:
            told = "; ".join(f"{say.plain(name)} ({count})" for name, count in counts.items())
            words.append(Words(f"{told}.", lead))
    return tuple(words)


def _alert(one: AlertRow) -> Row:
    return (one.text, one.car or "all", one.kind.replace("_", " "), one.priority, say.session_clock(one.from_s),
            "stands" if one.to_s is None else say.session_clock(one.to_s), say.maybe_clock(one.acknowledged_s))


def _sources(debrief: Debrief) -> tuple[Block, ...]:
    session = debrief.session
    words = [Words(f"{session.journal}, {say.plural(session.facts, 'fact')}, session time "
                   f"{say.span_clock(session.began_s, session.ended_s)}; made by pitwall {__version__}.", "Journal:")]
    if session.restarts:
        words.append(Words(f"{say.plural(session.restarts, 'time')}.", "The daemon was started again:"))
    if session.gaps_s:
        gaps = "; ".join(f"at {say.session_clock(at)} for {say.duration(length)}" for at, length in session.gaps_s)
        words.append(Words(f"{gaps}.", "Nobody listened:"))
    if session.failed_facts:
        words.append(Words(f"{session.failed_facts}.", "Facts on which the program failed, left out:"))
    words += [Words(one) for one in debrief.notes]
    words.append(Words("● done: seen or confirmed. ◐ probably done: called, and the lap went by. ▲ done badly: done, "
                       "but its data are spoilt. ○ not done. · to come.", "Outcomes:"))
    return tuple(words)
