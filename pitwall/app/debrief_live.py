"""The debrief of one run, ready when its car is in the pit lane: made beside the engine from what was noted so far."""

from __future__ import annotations

from pathlib import Path

from pitwall.app.debrief_cars import run_rows, switch_moves
from pitwall.app.debrief_items import items_of
from pitwall.app.debrief_laps import lap_rows
from pitwall.app.debrief_left import with_what_is_left
from pitwall.app.debrief_watch import CarWatch, NotedSession
from pitwall.app.debriefing import keep_debrief
from pitwall.app.lifecycle import Lifecycle
from pitwall.debrief.notes import DOUBTFUL
from pitwall.debrief.radio import TOLD
from pitwall.debrief.session import status_spans
from pitwall.model.debrief_rows import RunDebrief


def noted_session(screens: bool = True) -> NotedSession:
    """A fresh engine with notes beside it, that tells what came of each run as its car comes in.

    ``screens``: somebody looks at clock, field and desks, which decide nothing; else they are not drawn up.
    """
    noted = NotedSession(live=run_debrief)
    noted.session.notices.shown = screens
    return noted


async def noted_until_the_end(life: Lifecycle, journal: Path | None, screens: bool = True) -> NotedSession:
    """The same, whose whole debrief is kept with the journal once that is closed: ask for it before that is opened."""
    noted = noted_session(screens)

    async def end() -> None:
        if journal is not None and noted.session.prepared:
            keep_debrief(noted, journal)

    await life.start("kept debrief", None, end)
    return noted


def run_debrief(noted: NotedSession, name: str) -> RunDebrief | None:
    """What came of the run that this car drove last; None before it drove a lap."""
    car, watch, notes = noted.session.team[name], noted.cars.get(name, CarWatch()), noted.notes.cars[name]
    if not car.track.laps:
        return None
    now, run = noted.session.now, car.track.laps[-1].run
    spans = status_spans([(flag.t, flag.status, flag.sectors) for flag in noted.flags], now)
    laps = lap_rows(noted, name, spans)
    moves = switch_moves(car, watch)
    items = items_of(car, watch, noted.notes, laps, moves, over=noted.session.clock.status == "closed")
    laps, rows = items.laps, with_what_is_left(car, items.rows)
    own = tuple(lap for lap in laps if lap.run == run)
    begun_s = own[0].start_s
    row = next((one for one in run_rows(noted, car, laps, rows) if one.run == run), None)
    calls = [call for call in notes.calls.values() if run is not None and call.last.run == run]
    return RunDebrief(
        id=f"debrief-{name}-{own[-1].number}-{now:.3f}", t=now, car=name, run=row,
        items=tuple(item for item in rows if item.run == run),
        data_windows=tuple(window for window in items.windows if window.run == run),
        laps=own,
        switches=tuple(move for move in moves if move.before is not None and move.t >= begun_s and move.run == run),
        comments=tuple(comment for comment in car.comments.comments if run is not None and comment.run == run),
        calls=len(calls), calls_in_time=sum(one.last.state in TOLD and not one.doubted for one in calls),
        calls_doubtful=sum(one.last.state in DOUBTFUL for one in calls),
    )
