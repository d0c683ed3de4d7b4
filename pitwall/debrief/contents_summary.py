"""The first page: for a reader who has two minutes."""

from __future__ import annotations

from collections.abc import Sequence

from pitwall.debrief import wording as say
from pitwall.debrief.contents_comments import open_complaints
from pitwall.debrief.contents_late import time_lost
from pitwall.debrief.contents_lost import items_lost_to, lost_to, sentence
from pitwall.debrief.document import Block, Column, Points, Section, Words, table
from pitwall.debrief.model import CarDebrief, DataWindow, Debrief, ItemRow, LapRow, RunRow, SessionSummary
from pitwall.model.laps_in_doubt import UNVERIFIED, WRONG, laps_in_doubt, switch_words
from pitwall.model.units import items_done

LEFT = ("not_done", "done_badly", "to_come")
MOST_POINTS = 9
OPEN, OPEN_WORDS = "Open: what the driver said and asked", "Open complaints and questions of the driver:"
MOST_WINDOWS = 8
OUT_OF_PLACE = {WRONG: "out of place", UNVERIFIED: "that nothing showed to be in place"}
WANTS = ("must", "should", "could")
RUN_COLUMNS = (Column("run", 2.2), Column("wanted", 1.1), Column("outcome", 3.3), Column("items done", 1.3, right=True),
               Column("best lap", 2.8, right=True), Column("why", 3.9))


def summary_sections(car: CarDebrief, debrief: Debrief) -> tuple[Section, ...]:
    """What was done, what comes next, and the open complaints of one car."""
    rows = [(one.run, one.want, say.run_state(one), _items_done(one),
             say.best_lap(one.best_lap_s, [lap for lap in car.laps if lap.run == one.run]), say.why(one))
            for one in car.runs]
    said = _complaints(car, debrief)
    done: tuple[Block, ...] = (
        Words(_outcome(car)),
        table(f"Car {car.car}: runs and what became of them", RUN_COLUMNS, rows, "The plan has no run."),
        *_switches(car),
        _data(car, debrief),
    )
    none = () if said else (Words("none was noted.", OPEN_WORDS),)
    return (
        Section(f"Car {car.car}: what was done", 2, done),
        Section("To do next", 3, (*_to_do(car, debrief.session, debrief.run), *none)),
        *((Section(OPEN, 3, (Points(said),)),) if said else ()),
    )


def _items_done(run: RunRow) -> str:
    return items_done(run.items_done, run.items_probably, run.items) if run.items else say.NOTHING


def _data(car: CarDebrief, debrief: Debrief) -> Words:
    """When the data windows begin, on the clock on the wall where that is known, and on which laps; and what speaks
    against their data."""
    green, found = debrief.session.green_time, []
    for one in car.data_windows[:MOST_WINDOWS]:
        known = one.from_time is not None
        at = say.time_of_day(one.from_time, 0, green) if known else say.session_clock(one.from_s.value)
        lap = next((lap for lap in car.laps if lap.number == one.lap_number), None)
        found.append(f"{say.plain(one.do)} {at} ({', '.join((f'lap {one.lap_number}', *_doubts(one, lap)))})")
    more = len(car.data_windows) - len(found)
    found += [f"{more} more"] if more else []
    return Words(f"{'; '.join(found) or 'no item left any'}.", "Data from:")


def _doubts(window: DataWindow, lap: LapRow | None) -> tuple[str, ...]:
    """Why these data are not to be taken as they are: done badly, spoilt, not sure, or with a switch in doubt."""
    outcome = {"done_badly": "done badly", "not_done": "not done", "probably_done": "probably done"}.get(window.outcome)
    bad = outcome or ("spoilt" if window.spoilt else None)
    return (*((bad,) if bad is not None else ()), *switch_words(lap))


def _switches(car: CarDebrief) -> tuple[Words, ...]:
    """Timed laps that cannot be compared as they are: which, and what stood where; measured and unverified apart."""
    timed = [lap for lap in car.laps if lap.kind == "timed"]
    all_of, found = say.plural(len(timed), "timed lap"), []
    for mark, words in laps_in_doubt(timed):
        count = sum(mark in switch_words(lap) for lap in timed)
        found.append(Words(f"{words}.", f"{count} of {all_of} began with a switch {OUT_OF_PLACE[mark]}:"))
    return tuple(found)


def _outcome(car: CarDebrief) -> str:
    told = [one for one in car.runs if one.told]
    left = {one.run for one in car.runs} - {one.run for one in told}
    items = [one for one in car.items if one.run not in left]
    runs = [one for one in car.runs if one.finished and not one.in_part]
    in_part = [one for one in car.runs if one.in_part]
    short = [one for one in car.runs if one.stints and not one.finished]
    count = {one: sum(1 for item in items if item.outcome == one) for one in say.OUTCOMES}
    words = f"{len(runs)} of {say.plural(len(told), 'run')} done"
    words += f", {len(in_part)} done in part" if in_part else ""
    words += f", {len(short)} begun and not finished. " if short else ". "
    words += f"Of {say.plural(len(items), 'item')} {count['done']} done, {count['probably_done']} probably done, " \
             f"{count['done_badly']} done badly, {count['not_done']} not done"
    words += f", {count['to_come']} still to come. " if count["to_come"] else ". "
    laps = f"{say.plural(len(car.laps), 'lap')}; best {say.best_lap(car.best_lap_s, car.laps)}."
    return words + (laps if car.laps else "No lap was driven.")


def _to_do(car: CarDebrief, session: SessionSummary, cut_to: str | None) -> tuple[Block, ...]:
    """Whole runs first, then items of runs that were driven; musts before shoulds, coulds named."""
    owed = [one for one in car.runs if one.owed]
    whole = [one for one in owed if not one.stints and not one.finished]
    short = [one for one in owed if one.laps_left or (
        one.stints and not one.finished and one.timed_done < one.timed_wanted)]
    untouched = {one.run for one in whole} | {one.run for one in car.runs if not one.owed}
    left_items = [one for one in car.items if one.outcome in LEFT and one.run not in untouched]
    items = [one for one in left_items if not one.too_late]
    points: list[Words] = []
    for want in WANTS[:2]:
        points += [_run_point(one, car, session) for one in whole if one.want == want]
        points += [_laps_point(one, car, session) for one in short if one.want == want]
        points += _item_points([one for one in items if one.wanted == want], car)
    left_over = len(points) - MOST_POINTS
    if left_over > 1:
        points = [*points[:MOST_POINTS], Words(f"{left_over} more are in the tables of runs and items.", "And")]
    coulds = [f"run {one.run}" for one in whole if one.want == "could"]
    coulds += [f"timed laps of {one.run}" for one in short if one.want == "could"]
    coulds += dict.fromkeys(f"{say.plain(one.do)} of {one.run}" for one in items if one.wanted == "could")
    if coulds:
        points.append(Words(f"{', '.join(coulds)}.", "Could, when there is time:"))
    nothing = f"Nothing is left of {cut_to}; other runs are not here." if cut_to else "Nothing is left of the plan."
    left = Points(tuple(points)) if points else Words(nothing)
    unsure = [one for one in car.items if one.outcome == "probably_done" and one.run not in untouched]
    return (left, *_left_out(unsure, "Only probably done, and left out above:"),
            *_left_out([one for one in left_items if one.too_late],
                       "Not done, and left out above, for the laps that it makes the car ready for were driven:"))


def _left_out(items: Sequence[ItemRow], why: str) -> tuple[Words, ...]:
    """What a person has to say something to, who has to know of it: whether what nobody saw is to be done once more,
    and what laps are worth for which the car was not made ready."""
    laps: dict[tuple[str, str], list[str]] = {}
    for one in items:
        laps.setdefault((one.do, one.run), []).append(one.lap)
    told = "; ".join(f"{say.plain(do)} of {run} on {', '.join(dict.fromkeys(on))}" for (do, run), on in laps.items())
    return (Words(f"{told}.", why),) if told else ()


def _run_point(run: RunRow, car: CarDebrief, session: SessionSummary) -> Words:
    purpose = f"{run.purpose}; " if run.purpose else ""
    why = f" {sentence(run.reason)}" if run.reason else ""
    why += time_lost(run, car, session) + lost_to(run, car)
    return Words(f"{purpose}{run.laps}.{why}", f"{run.want.capitalize()}: run {run.run}:")


def _laps_point(run: RunRow, car: CarDebrief, session: SessionSummary) -> Words:
    lacking = run.timed_wanted - run.timed_done
    why = f" {sentence(run.reason)}" if run.reason else ""
    why += time_lost(run, car, session) + lost_to(run, car)
    return Words(f"{lacking} of {say.plural(run.timed_wanted, 'timed lap')} not driven.{why}",
                 f"{run.want.capitalize()}: run {run.run}:")


def _item_points(items: Sequence[ItemRow], car: CarDebrief) -> list[Words]:
    """Items of one kind in one run with one reason are one point."""
    together: dict[tuple[str, str, str, str], list[ItemRow]] = {}
    for one in items:
        together.setdefault((one.run, one.do, one.outcome, one.reason), []).append(one)
    points = []
    for (run, do, outcome, reason), group in together.items():
        laps = ", ".join(dict.fromkeys(one.lap for one in group))
        again = " once more, it was done badly" if outcome == "done_badly" else ""
        why = f" {sentence(reason)}" if reason else ""
        points.append(Words(f"{laps}.{why}{items_lost_to(group, car)}",
                            f"{group[0].wanted.capitalize()}: {say.plain(do)} of {run}{again}:"))
    return points


def _complaints(car: CarDebrief, debrief: Debrief) -> tuple[Words, ...]:
    points = open_complaints(car)
    points += [Words(f"the driver has not commented on {', '.join(one.unsaid)}.", f"To ask, of {one.run}:")
               for one in car.runs if one.unsaid]
    points += [Words(f"{one.text or '(the question was not noted)'}  ({say.session_clock(one.asked_s)})",
                     "Asked and not answered:") for one in car.questions if one.answered_s is None]
    points += [Words(f"{one.text}  (since {say.session_clock(one.from_s)})", f"Alert, {one.priority}:")
               for one in debrief.alert_rows if one.to_s is None and one.car == car.car]
    return tuple(points)
