"""The run sheet of one plan: what stands on the page that driver and crew take with them, however it is drawn."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pitwall.app.loading import EVENT_FILE, Loaded, find_event, read_plan
from pitwall.app.plan_sheets import YAML, read_with_notes, write_any
from pitwall.app.resources import demo_event
from pitwall.app.run_sheet_calls import PlannedCalls, SheetLap
from pitwall.checks.around import Around
from pitwall.checks.figures import duration_of, laps_on_fuel
from pitwall.checks.order import original
from pitwall.checks.spans import spans_of
from pitwall.checks.tyres import ages
from pitwall.engine.run_state import RunState
from pitwall.errors import UserError
from pitwall.model.plan import Plan, ReleaseWindow, Run, ThreePoint, write_laps
from pitwall.model.units import clock_text
from pitwall.track.likely import Span, fits

CAUTION = "Officials' signals, the event's regulations and the release controller come first."
QUIET_ALWAYS = ("session", "safety", "stop")


@dataclass(frozen=True)
class SheetRun:
    """One run.

    Attributes:
        head: number and name; ``facts`` what is to be seen at a glance: class, driver, tyres, fuel.
        laps_text: the laps as the plan writes them.
        purpose: what it is for.
        lines: times and ties to other runs.
        laps: the laps with their calls.
        after: garage work after it; empty for the last.
    """

    head: str
    facts: tuple[str, ...]
    laps_text: str
    purpose: str
    lines: tuple[str, ...]
    laps: tuple[SheetLap, ...]
    after: str


@dataclass(frozen=True)
class RunSheet:
    """The page."""

    title: str
    event: str
    lines: tuple[str, ...]
    runs: tuple[SheetRun, ...]
    foot: str


def read_run_sheet(
    plan_path: Path, event_path: Path | None = None, runs: Sequence[str] = ()
) -> tuple[RunSheet, tuple[str, ...]]:
    """The sheet of a plan in any form, and what a person should know of how it was read.

    Args:
        plan_path: as :func:`pitwall.app.plan_sheets.read_any` takes it.
        event_path: the event file; when left out it is looked for, as ``pitwall check`` does.
        runs: only these; all when empty.

    Raises:
        UserError: when the plan has no run of such a name.
        FileProblem: when the plan cannot be read. Faults that ``pitwall check`` finds are noted on the sheet instead.
    """
    plan, notes = read_with_notes(plan_path)
    unknown = [name for name in runs if plan.find(name) is None]
    if unknown:
        raise UserError(f"{plan_path}: no run {unknown[0]!r}: there are {', '.join(run.run for run in plan.runs)}")
    event = event_path or find_event(plan_path)
    if plan_path.suffix.lower() in YAML:
        loaded = read_plan(plan_path, event)
    else:
        with tempfile.TemporaryDirectory() as folder:
            written = Path(folder) / f"{plan_path.stem}.yaml"
            write_any(written, plan)
            loaded = read_plan(written, event)
    whole = run_sheet(plan, loaded)
    if event_path is None and event == demo_event() and not plan_path.resolve().is_relative_to(event.parent.resolve()):
        whole = replace(whole, event=f"{whole.event} (the demo event: no {EVENT_FILE} was found near the plan)")
        notes += (f"no {EVENT_FILE} beside {plan_path} or up to two folders above it: read with the demo event, whose "
                  "circuit, car and procedures are not yours; name your event file with --event",)
    chosen = tuple(one for one, run in zip(whole.runs, plan.runs, strict=True) if not runs or run.run in runs)
    return replace(whole, runs=chosen), notes


def run_sheet(plan: Plan, loaded: Loaded) -> RunSheet:
    """The sheet of a plan that was read with its event."""
    around = loaded.around.get(plan.car, Around())
    calls = PlannedCalls(plan, around)
    spans = _spans(plan, around)
    worn, duration = ages(plan), duration_of(plan, around)
    runs = []
    for index, state in enumerate(calls.states):
        likely = _likely(spans[index], duration, around) if spans and duration is not None else ""
        lines = tuple(_lines(plan, state.run, likely))
        last = index == len(calls.states) - 1
        runs.append(SheetRun(
            head=f"{index + 1}  {state.run.run}", facts=tuple(_facts(plan, state, around, *worn[index])),
            laps_text=write_laps(state.laps) if state.laps else "no laps", purpose=state.run.purpose, lines=lines,
            laps=calls.laps(state),
            after="" if last or not state.laps else _work(state.run.after_garage_s, state.run.crew),
        ))  # fmt: skip
    length = f", {duration / 60:g} min" if duration is not None else ""
    errors = len(loaded.errors)
    faults = f"pitwall check finds {errors} error{'' if errors == 1 else 's'} in this plan. " if errors else ""
    return RunSheet(
        title=f"Car {plan.car} \u00b7 {plan.session}{length} \u00b7 {_driver(plan.driver, around)}",
        event=loaded.event.name if loaded.event is not None else "",
        lines=tuple(_head(plan)), runs=tuple(runs), foot=f"{faults}Times are session time. {CAUTION}",
    )  # fmt: skip


def _driver(name: str, around: Around) -> str:
    known = around.people.get(name)
    return known.spoken if known is not None else name


def _spans(plan: Plan, around: Around) -> tuple[Span, ...]:
    return spans_of(plan, around.lap.lap_s, around) if around.lap is not None else ()


def _likely(span: Span, duration_s: float, around: Around) -> str:
    if span.after_flag:
        return "after the flag"
    flag_s = duration_s if span.flag_s is None else span.flag_s
    finish = around.regulations.finish_started_lap if around.regulations is not None else True
    beyond = "" if fits(span, flag_s, finish) else f", beyond the flag at {clock_text(flag_s)}"
    return f"likely {clock_text(span.start_s)} to {clock_text(span.end_s)}{beyond}"


def _head(plan: Plan) -> Iterator[str]:
    start = plan.starts_with
    words = [f"tyres {start.tyres}"] if start.tyres else []
    words += [f"{start.fuel_kg:g} kg"] if start.fuel_kg is not None else []
    if words:
        yield f"Starts with {', '.join(words)}"
    if plan.tyre_sets:
        sets = [f"{label} {one.compound}{f' ({one.laps} laps)' if one.laps else ''}"
                + (f", at most {one.most_laps}" if one.most_laps else "") for label, one in plan.tyre_sets.items()]
        yield f"Sets: {'; '.join(sets)}"
    for kind, rule in plan.quiet.items():
        if rule != "all" and plan.medium != "board":
            said = ", ".join(dict.fromkeys((*rule, *QUIET_ALWAYS)))
            yield f"On {kind} laps only: {said}"
    yield from (f"Note: {line.strip()}" for line in plan.notes.splitlines() if line.strip())


def _facts(plan: Plan, state: RunState, around: Around, tyres: str | None, age: int) -> Iterator[str]:
    run = state.run
    yield run.want
    yield _driver(run.driver or plan.driver, around)
    if tyres is not None:
        known = plan.tyre_sets.get(tyres)
        compound = f" {known.compound}" if known is not None else ""
        yield f"tyres {tyres}{compound}, {f'{age} laps old' if age else 'new'}"
    fuel = run.fuel_kg if run.fuel_kg is not None else original(plan, run).fuel_kg
    if fuel is not None:
        left = ""
        if around.car is not None and run.laps:
            left = f", {fuel - laps_on_fuel(run) * around.car.fuel_per_lap_kg:.3g} kg at the end"
        yield f"fuel {fuel:g} kg{left}"


def _lines(plan: Plan, run: Run, likely: str) -> Iterator[str]:
    mates = [one.run for one in plan.runs if run.group is not None and one.group == run.group and one is not run]
    times = [likely] if likely else []
    release = run.release
    times += [f"leaves {_between(release)}"] if _between(release) else []
    times += [f"gap ahead {release.gap_ahead_s:g} s"] if release.gap_ahead_s is not None else []
    times += [f"window {run.window}"] if run.window is not None else []
    times += [f"counts from {run.shorten_to} timed laps on"] if run.shorten_to is not None else []
    times += ["only in the dry"] if run.dry_only else []
    times += [f"only together with {' and '.join(mates)}"] if mates else []
    times += [f"fuel and switches as on {run.same_as}"] if run.same_as is not None else []
    times += [f"comes before {' and '.join(run.before)}"] if run.before else []
    times += [f"comment on {', '.join(run.feedback)}"] if run.feedback else []
    yield from times


def _between(release: ReleaseWindow) -> str:
    earliest, latest = release.not_before, release.not_after
    if earliest is not None and latest is not None:
        return f"from {clock_text(earliest)} to {clock_text(latest)}"
    return f"from {clock_text(earliest)}" if earliest is not None else f"by {clock_text(latest)}" if latest else ""


def _work(work: ThreePoint, crew: tuple[str, ...]) -> str:
    minutes = [f"{seconds / 60:.3g}" for seconds in (work.low_s, work.likely_s, work.high_s)]
    who = f", {', '.join(crew)}" if crew else ""
    return f"Garage: {minutes[1]} min ({minutes[0]} to {minutes[2]}){who}"


def sheet_text(sheet: RunSheet) -> str:
    """The sheet as plain text."""
    lines = [f"{sheet.title}{f'   {sheet.event}' if sheet.event else ''}", *sheet.lines]
    for run in sheet.runs:
        lines += ["", f"{run.head}: {'; '.join(run.facts)}: {run.laps_text}"]
        lines += [f"   {line}" for line in (run.purpose, "; ".join(run.lines)) if line]
        width = max(len(lap.name) for lap in run.laps)
        for lap in run.laps:
            for number, call in enumerate(lap.calls):
                name = lap.name if number == 0 else ""
                lines.append(f"   {name:{width}}  {call_words(call.where, call.text, call.condition)}")
            if not lap.calls:
                lines.append(f"   {lap.name:{width}}  -")
        lines += [f"   {run.after}"] if run.after else []
    return "\n".join([*lines, "", sheet.foot])


def call_words(where: str, text: str, condition: str) -> str:
    """``turn 4: ...``, with what it waits for in brackets."""
    return f"{f'[{where}] ' if where else ''}{text}{f' ({condition})' if condition else ''}"
