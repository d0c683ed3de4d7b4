"""A plan told back in the trade's words, so that the engineer sees that it was understood."""

from __future__ import annotations

from pitwall.checks.around import Around
from pitwall.checks.boards import board_words
from pitwall.checks.comparisons import comparison_words
from pitwall.checks.figures import duration_of, laps_on_fuel
from pitwall.checks.items import hold_speed_mps
from pitwall.checks.order import original
from pitwall.checks.spans import spans_of
from pitwall.model.car import position_text
from pitwall.model.plan import Item, LapChoice, Plan, Run, write_laps
from pitwall.model.procedure import Procedure
from pitwall.model.units import clock_text
from pitwall.track.likely import Span, fits


def plan_summary(plan: Plan, around: Around) -> list[str]:
    """Lines of text: the head of the plan, then each run with its laps, load, likely span and items, and what
    the runs that are compared can tell apart."""
    duration = duration_of(plan, around)
    length = f", {duration / 60:g} min" if duration is not None else ""
    lines = [f"car {plan.car}, {plan.driver}, {plan.session}{length}: {len(plan.runs)} runs"]
    spans: tuple[Span, ...] = ()
    if around.lap is not None and duration is not None:
        spans = spans_of(plan, around.lap.lap_s, around)
    for index, run in enumerate(plan.runs):
        lines.append(f"  {run.run}: {', '.join(_run_words(plan, run, around))}")
        if spans:
            lines.append(f"      {_span_words(spans[index], duration or 0.0, around)}")
        if run.items:
            lines.append(f"      {'; '.join(item_words(item, around.procedures.get(item.do)) for item in run.items)}")
    return [*lines, *(f"  {words}" for words in (*comparison_words(plan, around), *board_words(plan, around)))]


def _run_words(plan: Plan, run: Run, around: Around) -> list[str]:
    words = [str(run.want), write_laps(run.laps) if run.laps else "no laps"]
    words += [f"{run.driver} drives"] if run.driver is not None and run.driver != plan.driver else []
    words += [f"window {run.window}"] if run.window is not None else []
    if run.laps and not run.out_in:
        words[1] += f" ({len(run.laps)} laps)"
    if run.tyres is not None:
        words.append(f"tyres {run.tyres}")
    fuel = run.fuel_kg if run.fuel_kg is not None else original(plan, run).fuel_kg
    if fuel is not None:
        spare = ""
        if around.car is not None and run.laps:
            left = fuel - laps_on_fuel(run) * around.car.fuel_per_lap_kg
            spare = f" ({left:g} left)"
        words.append(f"{fuel:g} kg{spare}")
    held = {**(original(plan, run).switches if run.same_as else {}), **run.switches}
    words += [f"{name} {position_text(position)}" for name, position in held.items()]
    return words


def _span_words(span: Span, duration_s: float, around: Around) -> str:
    duration_s = duration_s if span.flag_s is None else span.flag_s
    if span.after_flag:
        return f"after the flag at {clock_text(duration_s)}"
    text = f"likely {clock_text(span.start_s)} to {clock_text(span.end_s)}"
    finish = around.regulations.finish_started_lap if around.regulations is not None else True
    return text if fits(span, duration_s, finish) else f"{text}: beyond the flag at {clock_text(duration_s)}"


def item_words(item: Item, procedure: Procedure | None = None) -> str:
    """``constant_speed_hold on out and in, after turn 4 (gear 5, seconds 5), held at 55 m/s``.

    A hold tells its speed also where the plan leaves it to the procedure: the checks rest on it.
    """
    text = item.do
    if item.times > 1:
        text += f" {item.times} times"
    if item.on:
        text += f" on {' and '.join(_choice_words(choice) for choice in item.on)}"
    if item.after is not None or item.at is not None:
        text += f", after {item.after}" if item.after is not None else f", at {item.at}"
    if item.when is not None and item.when.not_before is not None:
        text += f", not before {clock_text(item.when.not_before)}"
    if item.when is not None and item.when.after_item is not None:
        text += f", once {item.when.after_item} is done"
    if item.arguments:
        text += f" ({', '.join(f'{name} {position_text(value)}' for name, value in item.arguments.items())})"
    speed = hold_speed_mps(item, procedure)
    if speed is not None:
        text += f", held at {round(speed, 1):g} m/s"
    return text if item.put_back else f"{text}, not put back: {item.why}"


def _choice_words(choice: LapChoice) -> str:
    numbers = " and ".join(str(number) for number in choice.numbers)
    return f"{choice.kind} {numbers}" if numbers else str(choice.kind)
