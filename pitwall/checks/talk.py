"""More to say on a lap than its listening windows hold: procedures and switch changes, at the engineer's own rate."""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.flow.stakes import calls_of
from pitwall.checks.flow.story import lap_name
from pitwall.checks.items import placed_items
from pitwall.checks.saying import ON_THE_LAP, step_spoken_s
from pitwall.errors import Finding
from pitwall.model.plan import Plan, Run
from pitwall.model.procedure import Step
from pitwall.radio.speech import spoken_s
from pitwall.radio.wording import switch_words
from pitwall.track.lapmap import LapMap
from pitwall.track.likely import LAP_FACTORS, lap_indices

GAP_S = 2.5
"""Between two calls, for the readback (common practice, no source)."""


def check_talk(plan: Plan, around: Around) -> Iterator[Finding]:
    """Sum of what is said on each lap against its windows. Nobody knows them on a timing-only circuit."""
    lap = around.lap
    if lap is None or lap.listening is None or plan.medium == "board":
        return
    said: dict[tuple[int, int], list[float]] = {}
    for placed in placed_items(plan, around):
        for number, step in enumerate(placed.procedure.steps if placed.procedure is not None else ()):
            length = step_spoken_s(placed, step, around)
            for index in lap_indices(placed.run, placed.item.on) if length is not None else ():
                if step.where in ON_THE_LAP and (number == 0 or step.repeat == "each_lap"):
                    host = _host(plan, placed.run, step, index)
                    said.setdefault((placed.index, host), []).append(length or 0.0)
    for at, length in _switch_calls(plan, around):
        said.setdefault(at, []).append(length)
    for (index, host), lengths in sorted(said.items()):
        run = plan.runs[index]
        needed, there = sum(lengths) + GAP_S * (len(lengths) - 1), _window_s(run, host, lap)
        if needed > there:
            found = f"{len(lengths)} calls of {needed:.0f} s in all on the {lap_name(run, host)} of {run.run!r}"
            yield finding("PW212", path=("runs", index), found=found,
                          expected=f"{there:.0f} s or less, the listening windows of the lap")



def _host(plan: Plan, run: Run, step: Step, index: int) -> int:
    """The lap on which a step is said: what is for the start of a lap on the one before, if that may hear it."""
    if run.out_in or index == 0 or step.where != "lap_start" or step.offset_s > 0:
        return 0 if run.out_in else index
    return index - 1 if plan.may_say(step.kind, run.laps[index - 1]) else index


def _switch_calls(plan: Plan, around: Around) -> Iterator[tuple[tuple[int, int], float]]:
    if around.car is None:
        return
    indices = [index for index, run in enumerate(plan.runs) if run.laps]
    for call in calls_of(plan, around.car, around.procedures, around.wet, around.lap):
        if call.lap is None:
            continue
        run = plan.runs[indices[call.run]]
        after = run.laps[call.next_lap] != "timed" and plan.changes_wait(run.laps[call.lap])
        words = []
        for name, to in zip(call.names, call.to, strict=True):
            switch = around.car.switch(name)
            if switch is not None:
                words.append(switch_words(switch, to, None)[0])
        text = f"{'Now' if after else 'Before the line'}: {', '.join(words)}."
        yield (indices[call.run], call.next_lap if after else call.lap), spoken_s(text, around.calls.words_per_minute)


def _window_s(run: Run, index: int, lap: LapMap) -> float:
    """Seconds of listening windows on a lap, from the pit exit and to the pit entry where it begins or ends there."""
    kind = run.laps[index]
    windows = lap.listening if kind == "timed" else lap.listening_easy
    first = lap.pit_exit if index == 0 else 0.0
    last = lap.pit_entry if kind == "in" or run.out_in else 1.0
    share = sum(max(0.0, min(end, last) - max(begin, first)) for begin, end in windows or ())
    return share * LAP_FACTORS[kind] * lap.lap_s
