"""One car's part of a debrief: what the engine followed of it, as rows."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Any

from pitwall.app.debrief_items import items_of
from pitwall.app.debrief_laps import lap_rows
from pitwall.app.debrief_left import with_what_is_left
from pitwall.app.debrief_watch import CarWatch, NotedSession
from pitwall.comments.changes import findings
from pitwall.debrief.model import CarDebrief, QuestionRow, StatusSpan
from pitwall.debrief.notes import Notes
from pitwall.debrief.radio import call_rows, radio_statistics
from pitwall.debrief.session import time_of_day
from pitwall.engine.feedback import unsaid
from pitwall.engine.owed import TAKEN_BACK
from pitwall.engine.planned import planned_spans
from pitwall.engine.run_state import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.debrief_rows import ChangeRow, DataWindow, ItemRow, LapRow, RunRow, Stint, SwitchMove
from pitwall.model.plan import Run, write_laps
from pitwall.track.speedclass import speed_classes


def car_debrief(noted: NotedSession, name: str, spans: tuple[StatusSpan, ...], *, over: bool) -> CarDebrief:
    """Everything that is said of one car; ``over``: the session was closed."""
    car, watch, notes = noted.session.team[name], noted.cars.get(name, CarWatch()), noted.notes.cars[name]
    laps = lap_rows(noted, name, spans)
    moves = switch_moves(car, watch)
    items = items_of(car, watch, noted.notes, laps, moves, over=over)
    laps, rows = items.laps, with_what_is_left(car, items.rows)
    runs = run_rows(noted, car, laps, rows)
    return CarDebrief(
        car=name,
        drivers=tuple(dict.fromkeys(lap.driver for lap in laps if lap.driver is not None)) or (car.seated,),
        alternate=car.desk.driven,
        runs=runs,
        items=rows,
        data_windows=tuple(_on_the_clock(one, noted.notes) for one in items.windows),
        laps=laps,
        best_lap_s=min((lap.lap_time_s for lap in laps if lap.lap_time_s is not None), default=None),
        switches=moves,
        calls=call_rows(notes),
        radio=radio_statistics(notes, laps, car.plan.medium),
        questions=questions(car),
        changes=changes(noted, car),
        comments=tuple(car.comments.comments),
        said=findings(car.comments.comments, laps, moves, speed_classes(car.lap_map, car.setup.circuit.turns)),
        notes=() if laps else ("The car drove no lap.",),
    )


def _on_the_clock(window: DataWindow, notes: Notes) -> DataWindow:
    """With the time of day of its ends: data loggers that know nothing of the session are searched by that."""
    return window.model_copy(update={"from_time": time_of_day(notes, window.from_s.value),
                                     "to_time": time_of_day(notes, window.to_s.value)})


def run_rows(
    noted: NotedSession, car: TeamCar, laps: Sequence[LapRow], items: Sequence[ItemRow]
) -> tuple[RunRow, ...]:
    """Every run of the plan in use, with those that the first plan had and that are gone."""
    first = car.setup.plans[car.car]
    spans = planned_spans(car, first)
    found = []
    for state in car.progress.runs:
        run, before = state.run, first.find(state.run.run)
        own = [lap for lap in laps if lap.run == run.run]
        clean = [lap.lap_time_s for lap in own if lap.lap_time_s and of_the_car_as_wanted(lap)]
        timed = [lap.lap_time_s for lap in own if lap.lap_time_s is not None]
        of_run = [item for item in items if item.run == run.run]
        found.append(RunRow(
            run=run.run, purpose=run.purpose, want=run.want, state=state.state,
            reason=state.reason or _stayed_out(state),
            planned_laps=write_laps(before.laps) if before is not None and before.laps else "",
            laps=write_laps(state.laps) if state.laps else "", timed_wanted=state.timed_wanted,
            timed_done=state.timed_own, driver=car.plan.driver_of(run), **_carried(car, run, own),
            planned_span_s=spans.get(run.run), stints=stints(laps, run.run),
            best_lap_s=min(timed, default=None), clean_laps=len(clean),
            median_clean_s=round(median(clean), 3) if clean else None,
            items_done=sum(item.outcome in ("done", "probably_done") for item in of_run), items=len(of_run),
            items_probably=sum(item.outcome == "probably_done" for item in of_run),
            counts=state.counts, laps_left=state.laps_left, only_in=car.desk.left_with(run.run),
            unsaid=unsaid(car, state),
            musts_left=sum(item.wanted == "must" and item.outcome in ("not_done", "done_badly") for item in of_run),
        ))
    return tuple(found)


def _carried(car: TeamCar, run: Run, own: Sequence[LapRow]) -> dict[str, Any]:
    """Tyres and fuel of a run as its first lap began, and as planned: a car that stayed out and was taken for the run
    has what it left the garage with."""
    origin = car.plan.original(run)
    tyres, fuel_kg = run.tyres or origin.tyres, run.fuel_kg if run.fuel_kg is not None else origin.fuel_kg
    first = own[0] if own else None
    return {"planned_tyres": tyres, "planned_fuel_kg": fuel_kg,
            "tyres": tyres if first is None or first.tyres is None else first.tyres,
            "fuel_kg": fuel_kg if first is None or first.fuel_kg is None else first.fuel_kg}


def _stayed_out(state: RunState) -> str:
    """Why a run that was not cut short has more laps than planned; nothing where it has not."""
    beyond = state.stayed_out
    return f"the car stayed out {beyond} {'lap' if beyond == 1 else 'laps'} beyond the in-lap" if beyond else ""


def of_the_car_as_wanted(lap: LapRow) -> bool:
    """Guard: a clean timed lap on which no switch was seen to be wrong: another one tells of another car's pace."""
    return lap.kind == "timed" and lap.clean == "clean" and not lap.switches_wrong


def stints(laps: Sequence[LapRow], run: str) -> tuple[Stint, ...]:
    """Leavings and comings back of one run, from all laps of the car in order. Where nobody saw it come back, it was
    over when the next run began."""
    found: list[Stint] = []
    for lap in laps:
        if lap.run != run:
            if lap.run is not None and found and found[-1].to_s is None:
                found[-1] = Stint(from_s=found[-1].from_s, to_s=lap.start_s)
            continue
        ends = lap.kind in ("in", "installation")
        goes_on = found and found[-1].to_s is None
        if goes_on:
            found[-1] = Stint(from_s=found[-1].from_s, to_s=lap.end_s if ends else None)
        else:
            found.append(Stint(from_s=lap.start_s, to_s=lap.end_s if ends else None))
    return tuple(found)


def switch_moves(car: TeamCar, watch: CarWatch) -> tuple[SwitchMove, ...]:
    """Where each switch stood at first, then every move that was noted."""
    words = {switch.switch: switch.word for switch in car.switches.car.switches}
    return tuple(
        SwitchMove(t=round(one.t, 3), switch=one.switch, word=words.get(one.switch, one.switch), position=one.position,
                   before=one.before, evidence=one.evidence, run=one.run, lap_number=one.lap)
        for one in watch.moves
    )


def questions(car: TeamCar) -> tuple[QuestionRow, ...]:
    """What the driver asked; not what was noted of it by a slip and taken back."""
    return tuple(
        QuestionRow(question=one.number, asked_s=round(one.t, 3), text=one.text or "",
                    answered_s=round(one.closed_t, 3) if one.state == "answered" and one.closed_t is not None else None,
                    by=one.closed_by or "")
        for one in car.owed.questions if one.state != TAKEN_BACK
    )


def changes(noted: NotedSession, car: TeamCar) -> tuple[ChangeRow, ...]:
    """Changes of the plan, and corrections of what was believed, in order of time; an entry by hand that changed the
    plan is a change of the plan."""
    planned, notes = {(one.t, one.by, one.what) for one in car.desk.changes}, noted.notes.cars[car.car]
    found = [ChangeRow(t=round(one.t, 3), what=one.what, by=one.by, why=one.why, about="plan", revision=one.revision,
                       stands=stands)
             for one, stands in zip(car.desk.changes, car.desk.standing, strict=True)]
    found += [ChangeRow(t=round(one.t, 3), what=one.text, about="correction")
              for one in notes.corrections]
    found += [ChangeRow(t=round(one.t, 3), what=one.what, by=one.by, why=one.why, about="correction")
              for one in notes.entered if (one.t, one.by, one.what) not in planned]
    return tuple(sorted(found, key=lambda one: one.t))
