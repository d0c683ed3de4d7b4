"""The figures of one car's debrief: what each shows, and what it tells in words."""

from __future__ import annotations

from pitwall.debrief import wording as say
from pitwall.debrief.document import Picture
from pitwall.debrief.figures_laps import LapMark, lap_times
from pitwall.debrief.figures_timeline import (
    Minute,
    RunBars,
    Slip,
    Stretch,
    SwitchLane,
    plan_against_actual,
    radio_load,
    switches_over_time,
)
from pitwall.debrief.model import INTERVAL, CallRow, CarDebrief, LapRow, RunRow, SessionSummary, SwitchMove

INTERRUPTS = ("red", "slow")
NOT_DRIVEN = {"planned": "not driven", "next": "not driven", "skipped": "skipped", "dropped": "dropped"}
SHORTEST_WORDS_SHARE = 0.02  # of the axis: an interruption shorter than this has a band, no words


def span_of(session: SessionSummary) -> Stretch:
    """From the green light to the last flag, in session seconds."""
    return Stretch(0.0, flags_of(session)[-1])


def driven_span(car: CarDebrief, session: SessionSummary) -> Stretch:
    """From the green light until the car is back after the last flag, in session seconds."""
    return Stretch(0.0, max([span_of(session).end_s, *(one.end_s for one in car.laps)]))


def run_span(car: CarDebrief) -> Stretch:
    """From the first lap to the end of the last, of a car whose debrief is of one run, in session seconds."""
    return Stretch(car.laps[0].start_s, car.laps[-1].end_s)


def flags_of(session: SessionSummary) -> tuple[float, ...]:
    """When the flag came, or is to come: once, or at the end of each window of the day."""
    seen = [one.from_s for one in session.statuses if one.status == "finished"]
    planned = [end for _, _, end in session.windows] or [session.scheduled_s]
    return tuple(sorted([*seen, *planned[len(seen):]]))


def interruptions_of(session: SessionSummary, over: Stretch | None = None) -> tuple[Stretch, ...]:
    """Red flags, slow periods and breaks between windows, with a word for each that is long enough to carry one."""
    span = span_of(session) if over is None else over
    shortest = SHORTEST_WORDS_SHARE * (span.end_s - span.start_s)
    stops = [Stretch(one.from_s, min(one.to_s, span.end_s), say.STATUSES[one.status])
             for one in session.statuses if one.status in INTERRUPTS and one.from_s < span.end_s]
    stops += [Stretch(before[2], after[1], "break")
              for before, after in zip(session.windows, session.windows[1:], strict=False) if after[1] > before[2]]
    if over is not None:
        stops = [Stretch(max(one.start_s, over.start_s), min(one.end_s, over.end_s), one.words) for one in stops
                 if one.end_s > over.start_s and one.start_s < over.end_s]
    return tuple(Stretch(one.start_s, one.end_s, one.words if one.end_s - one.start_s >= shortest else "")
                 for one in sorted(stops, key=lambda one: one.start_s))


def plan_figure(car: CarDebrief, session: SessionSummary, over: Stretch | None = None) -> Picture | None:
    """Every run as planned and as driven, over the session or of one run ``over`` this while; none for a plan without
    runs."""
    if not car.runs:
        return None
    last = max([session.ended_s, *(one.end_s for one in car.laps)])
    runs = [_run_bars(run, car, last) for run in car.runs]
    driven = [one for one in car.runs if one.stints]
    told = "; ".join(f"{one.run} {' and '.join(say.span_clock(stint.from_s, stint.to_s) for stint in one.stints)}"
                     for one in driven)
    without = ", ".join(one.run for one in car.runs if not one.stints and one.finished)
    span, flags = over or span_of(session), flags_of(session)
    if over is not None:
        span = Stretch(min([over.start_s, *(one.planned.start_s for one in runs if one.planned is not None)]),
                       max([over.end_s, *(one.planned.end_s for one in runs if one.planned is not None)]))
        flags = tuple(one for one in flags if span.start_s < one <= span.end_s)
    bands = interruptions_of(session, over and span)
    not_driven = ", ".join(one.run for one in car.runs if not one.stints and not one.finished) or "none"
    return Picture(
        f"plan-{car.car}", "Plan against what was driven",
        f"A row for each run: above as planned, below as driven. Driven: {told or 'nothing'}. "
        + (f"Done without a lap: {without}. " if without else "")
        + ("" if over is not None else f"Not driven: {not_driven}."),
        lambda: plan_against_actual(runs, bands, span, flags),
    )


def lap_figure(car: CarDebrief) -> Picture | None:
    """Every lap's time and what was expected of it; none where no lap has a time."""
    timed = [one for one in car.laps if one.lap_time_s is not None]
    if not timed:
        return None
    marks = [_lap_mark(one) for one in car.laps]
    foreseen = [one for one in timed if one.expected is not None]
    held = sum(1 for one in foreseen
               if one.expected and one.expected.low_s <= (one.lap_time_s or 0) <= one.expected.high_s)
    return Picture(
        f"laps-{car.car}", "Lap times by run, with what was expected of each timed lap as it began",
        f"{say.plural(len(timed), 'lap')} with a time; the best {say.lap_time(car.best_lap_s)}. "
        + (f"{held} of the {len(foreseen)} that were foreseen lie in the interval. " if foreseen else "")
        + "Each lap is in the table of laps.",
        lambda: lap_times(marks, f"expected, {INTERVAL:.0%} interval".replace("%", " %")),
    )


def switch_figure(car: CarDebrief, session: SessionSummary, over: Stretch | None = None) -> Picture | None:
    """The switches that were moved, over session time; none where none was."""
    moved = moved_switches(car)
    if not moved:
        return None
    span = over or driven_span(car, session)
    lanes = [SwitchLane(moves[0].word, _positions(moves, span)) for moves in moved]
    told = "; ".join(f"{moves[0].word} {', '.join(say.scalar(one.position) for one in moves)}" for moves in moved)
    return Picture(f"switches-{car.car}", "Switches over session time", f"Positions in their order: {told}.",
                   lambda: switches_over_time(lanes, interruptions_of(session, over), span))


def moved_switches(car: CarDebrief) -> list[list[SwitchMove]]:
    """The moves of each switch that stood in more than one position, in the order of the switches."""
    by_switch: dict[str, list[SwitchMove]] = {}
    for one in car.switches:
        by_switch.setdefault(one.switch, []).append(one)
    return [moves for moves in by_switch.values() if len({str(one.position) for one in moves}) > 1]


def radio_figure(car: CarDebrief, session: SessionSummary, over: Stretch | None = None) -> Picture | None:
    """How much was spoken to the driver, by the minute; none where nothing was."""
    if not any(one.spoken_s for one in car.radio.load):
        return None
    minutes = [Minute(one.from_s, one.spoken_s) for one in car.radio.load]
    slips = [slip for one in car.calls for slip in _slips(one)]
    driven = over or driven_span(car, session)
    starts = [driven.start_s, *([one.start_s for one in minutes] + [one.t for one in slips] if over else [])]
    span = Stretch(min(starts), max([driven.end_s, *(one.t for one in slips)]))
    return Picture(
        f"radio-{car.car}", "What was spoken to the driver, by the minute",
        f"{car.radio.mean_load_s:.1f} seconds a minute on average with the car on track, {car.radio.most_load_s:.1f} "
        "in the fullest minute.",
        lambda: radio_load(minutes, slips, interruptions_of(session, over and span), span),
    )


def _run_bars(run: RunRow, car: CarDebrief, last_s: float) -> RunBars:
    planned = Stretch(*run.planned_span_s) if run.planned_span_s is not None else None
    driven = tuple(Stretch(one.from_s, last_s if one.to_s is None else one.to_s) for one in run.stints)
    without = "" if run.stints else ", without a lap"
    state = f"done{without}" if run.finished else NOT_DRIVEN.get(run.state, "not finished")
    timed = tuple(one.end_s for one in car.laps if one.run == run.run and one.kind == "timed")
    return RunBars(run.run, planned, driven, state, timed)


def _lap_mark(lap: LapRow) -> LapMark:
    known = lap.expected
    clean = lap.clean in ("clean", "unknown") and not lap.switches_wrong
    return LapMark(lap.run or "no run", lap.kind, lap.lap_time_s, known.median_s if known else None,
                   known.low_s if known else None, known.high_s if known else None, clean)


def _positions(moves: list[SwitchMove], span: Stretch) -> tuple[tuple[Stretch, bool], ...]:
    starts = [max(one.t, span.start_s) for one in moves]
    ends = [*starts[1:], span.end_s]
    return tuple((Stretch(start, end, say.scalar(one.position)), one.evidence in ("measured", "confirmed"))
                 for one, start, end in zip(moves, starts, ends, strict=True) if start < end)


def _slips(call: CallRow) -> list[Slip]:
    at = call.said_s if call.said_s is not None else call.say_by_s
    return [Slip(at, what) for what in ("late", "missed", "unconfirmed") if call.state == what]
