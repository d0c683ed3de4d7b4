"""One car's chapter: its runs, items, data windows, laps, switches and changes."""

from __future__ import annotations

from datetime import datetime

from pitwall.debrief import wording as say
from pitwall.debrief.contents_figures import lap_figure, moved_switches, plan_figure, switch_figure
from pitwall.debrief.document import Block, Column, Group, Row, Section, Table, Words, table
from pitwall.debrief.figures_timeline import Stretch
from pitwall.debrief.model import (
    CarDebrief,
    ChangeRow,
    DataWindow,
    ItemRow,
    LapRow,
    RunRow,
    SessionSummary,
    SwitchAt,
    SwitchMove,
)

RUNS = (Column("run", 2.0), Column("purpose", 3.4), Column("planned laps", 2.6), Column("changed to", 2.6),
        Column("driver", 1.5), Column("tyres, fuel", 1.7), Column("planned", 2.0), Column("on track", 2.0),
        Column("clean laps, median", 2.0, right=True))
ITEMS = (Column("item", 3.0), Column("lap", 2.4), Column("wanted", 1.2), Column("with", 2.9), Column("outcome", 2.2),
         Column("noted at", 1.4, right=True), Column("how it is known, or why not", 3.8))
WINDOWS = (Column("item and lap", 3.0), Column("session time, from and to", 4.05, whole=True),
           Column("time of day", 1.95, whole=True), Column("on the lap, m", 2.65, whole=True),
           Column("speed, km/h", 2.15, whole=True), Column("switches", 2.8), Column("known from", 2.2))
LAPS = (Column("lap", 2.2, right=True), Column("kind", 4.9, whole=True), Column("time", 4.5, right=True),
        Column("to each loop, s", 7.7), Column("tyres, laps", 6.4), Column("fuel, kg", 2.8, right=True),
        Column("status", 4.4), Column("clean", 5.7), Column("ahead, s", 3.7, right=True),
        Column("expected", 8.9, whole=True))
MOVES = (Column("switch", 2.2), Column("session time", 1.5, right=True), Column("from", 1.4), Column("to", 1.4),
         Column("known", 1.4), Column("run and lap", 2.6))
CHANGES = (Column("change", 6.0), Column("session time", 1.5, right=True), Column("by", 1.4), Column("why", 4.4),
           Column("plan", 0.9, right=True))


def car_chapter(car: CarDebrief, session: SessionSummary, over: Stretch | None = None) -> tuple[Section, ...]:
    """Everything about the car but its radio; of one run, which was driven ``over`` this while."""
    name = f"Car {car.car}"
    chapters: list[Section] = [
        Section(f"{name}: plan and runs", 2, (*_some(plan_figure(car, session, over)), _runs(car)), new_page=True),
        Section(f"{name}: laps", 3, (*_some(lap_figure(car)), _laps(car))),
        Section(f"{name}: data windows", 3, _windows(car, session)),
        Section(f"{name}: items", 3, (_items(car),)),
        Section(f"{name}: switches", 3, (*_some(switch_figure(car, session, over)), *_switches(car, over))),
        Section(f"{name}: what was changed", 3, (_changes(car),)),
    ]
    if car.notes:
        chapters.append(Section(f"{name}: what could not be told", 3, tuple(Words(one) for one in car.notes)))
    return tuple(chapters)


def _some(block: Block | None) -> tuple[Block, ...]:
    return () if block is None else (block,)


def _runs(car: CarDebrief) -> Table:
    plan = f" (by the {car.alternate} plan)" if car.alternate else ""
    return table(f"Car {car.car}: runs, planned and driven{plan}", RUNS, [_run(one) for one in car.runs],
                 "The plan has no run.")


def _run(run: RunRow) -> Row:
    planned = say.NOTHING if run.planned_span_s is None else say.span_clock(*run.planned_span_s)
    fuel = f"\n{say.number(run.fuel_kg, 0, 'kg')}" if run.fuel_kg is not None else ""
    if run.otherwise:
        planned_on = [run.planned_tyres, run.planned_fuel_kg and say.number(run.planned_fuel_kg, 0, "kg")]
        fuel += f"\nplanned: {', '.join(one for one in planned_on if one)}"
    clean = f"{run.clean_laps}\n{say.lap_time(run.median_clean_s)}" if run.clean_laps else say.NOTHING
    return (run.run, run.purpose, run.planned_laps, say.NOTHING if run.laps == run.planned_laps else run.laps,
            run.driver or say.NOTHING, f"{run.tyres or say.NOTHING}{fuel}", planned,
            "\n".join(say.span_clock(one.from_s, one.to_s) for one in run.stints) or say.NOTHING, clean)


def _items(car: CarDebrief) -> Table:
    groups = [Group(tuple(_item(one) for one in car.items if one.run == run), f"Run {run}")
              for run in dict.fromkeys(one.run for one in car.items)]
    return Table(f"Car {car.car}: items and what became of them", ITEMS, tuple(groups), "The plan has no item.")


def _item(item: ItemRow) -> Row:
    arguments = [say.argument(name, value) for name, value in item.arguments.items() if value != item.place]
    where = [f"at {item.place}"] if item.place else []
    return (say.plain(item.do), item.lap, item.want, ", ".join([*where, *arguments]), say.OUTCOMES[item.outcome],
            say.maybe_clock(item.t), item.reason)


def _windows(car: CarDebrief, session: SessionSummary) -> tuple[Block, ...]:
    """The windows; a switch that stood the same in all of them is told once."""
    windows = car.data_windows
    shared = _shared_switches(windows)
    told = table(f"Car {car.car}: where the data are. In brackets: how much less or more, nine times in ten", WINDOWS,
                 [_window(one, shared, session.green_time) for one in windows], "No item left data to look for.")
    if not shared:
        return (told,)
    return (told, Words(f"{'; '.join(say.switches_at(shared))}.", "The same in every one of these windows:"))


def _shared_switches(windows: tuple[DataWindow, ...]) -> tuple[SwitchAt, ...]:
    if len(windows) < 2:
        return ()
    keys = [{_stood(one) for one in window.switches} for window in windows[1:]]
    return tuple(one for one in windows[0].switches if not one.moved and all(_stood(one) in key for key in keys))


def _stood(one: SwitchAt) -> tuple[object, ...]:
    return (one.switch, str(one.position), one.evidence, one.moved)


def _window(one: DataWindow, shared: tuple[SwitchAt, ...], green: datetime | None) -> Row:
    told = {_stood(switch) for switch in shared}
    own = [switch for switch in one.switches if _stood(switch) not in told]
    return (
        f"{say.plain(one.do)}\n{one.run}, {one.lap}\nsession lap {one.lap_number}\n{say.OUTCOMES[one.outcome]}",
        f"{say.clock_within(one.from_s)}\n{say.clock_within(one.to_s)}",
        f"{say.time_of_day(one.from_time, 2, green)}\n{say.time_of_day(one.to_time, 2, green)}",
        say.window_place(one),
        say.NOTHING if one.speed_mps is None else say.within(one.speed_mps, 1, say.KMH).replace(" (", "\n("),
        "\n".join(say.switches_at(own)) or say.NOTHING,
        "\n".join(say.window_evidence(one)),
    )


def _laps(car: CarDebrief) -> Table:
    groups: list[Group] = []
    rows: list[Row] = []
    for at, lap in enumerate(car.laps):
        rows.append(_lap(lap))
        following = car.laps[at + 1] if at + 1 < len(car.laps) else None
        if following is None or (following.run, following.driver) != (lap.run, lap.driver):
            driver = f", {lap.driver}" if lap.driver else ""
            groups.append(Group(tuple(rows), f"{f'Run {lap.run}' if lap.run else 'No run of the plan'}{driver}"))
            rows = []
    return Table(f"Car {car.car}: laps by run", LAPS, tuple(groups), "No lap was driven.")


def _lap(lap: LapRow) -> Row:
    unseen = {"start": "its start was not seen", "end": "its end was not seen"}
    doubts = [unseen[one] for one in lap.inferred] + (["stopped"] if lap.stopped else [])
    expected = say.NOTHING
    if lap.expected is not None:
        known = lap.expected
        below, above = known.low_s - known.median_s, known.high_s - known.median_s
        expected = f"{say.lap_time(known.median_s)} {below:+.2f} {above:+.2f}"
    return (
        str(lap.number), lap.kind, say.lap_time(lap.lap_time_s),
        " ".join(say.number(one.seconds, 2) for one in lap.sectors) or say.NOTHING, say.tyres_of(lap),
        say.number(lap.fuel_kg), ", ".join(dict.fromkeys(say.STATUSES[one] for one in lap.status)) or say.NOTHING,
        "; ".join([*say.lap_words(lap), *doubts]), say.number(lap.car_ahead_s),
        expected.replace("-", "−"),
    )


def _switches(car: CarDebrief, over: Stretch | None) -> tuple[Block, ...]:
    """Where each stood first, and every move. What stood as a run began may have come there long before it."""
    began = "session" if over is None else "run"
    first = {id(one) for one in car.switches if one.before is None or (over is not None and one.t < over.start_s)}
    moved = {moves[0].switch for moves in moved_switches(car)}
    stood = [f"{one.word} {say.scalar(one.position)}" for one in car.switches if one.switch not in moved]
    groups = (f"As the {began} began", [_move(one) for one in car.switches if id(one) in first]), (
        "Moved", [_move(one) for one in car.switches if id(one) not in first])
    shown = tuple(Group(tuple(rows), title) for title, rows in groups if rows)
    unmoved = (Words(f"{', '.join(dict.fromkeys(stood))}.", "Not moved:"),) if stood else ()
    return (*unmoved, Table(f"Car {car.car}: switches, where each stood and every move", MOVES, shown,
                            "Nothing is known of switches.", share=0.8))


def _move(one: SwitchMove) -> Row:
    return (one.word, say.session_clock(one.t), say.scalar(one.before), say.scalar(one.position),
            say.SWITCH_EVIDENCE[one.evidence], _where(one.run, one.lap_number))


def _where(run: str | None, lap: int | None) -> str:
    return ", ".join([*([run] if run else []), *([f"session lap {lap}"] if lap is not None else [])]) or "garage"


def _changes(car: CarDebrief) -> Table:
    return table(f"Car {car.car}: changes of the plan, and corrections", CHANGES, [_change(one) for one in car.changes],
                 "Nothing was changed.")


def _change(one: ChangeRow) -> Row:
    return (one.what, say.session_clock(one.t), one.by or "pitwall", one.why,
            say.NOTHING if one.revision is None else str(one.revision))
