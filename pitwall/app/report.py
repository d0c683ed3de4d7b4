"""The report of a rehearsal: what was planned and what came of it. The same seed gives the same report, to the byte.

Calls, procedures, alerts and forecasts are counted as the daemon knows them (from its outputs); laps and the ``truth``
part come from the world, which the daemon never sees. Timing of the machine stays out of what was rehearsed at an
instant; a rehearsal on the real clock says at the end whether the machine kept up, for if not its figures mean little.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pitwall.model.outputs import Alert, ForecastState, Output, PlanState, Prompt
from pitwall.model.units import clock_text, timed_laps
from pitwall.rehearsal.score import score
from pitwall.rehearsal.truth import WorldOutcome

RESTING = ("done", "unconfirmed", "late", "missed", "skipped", "withdrawn")
"""States in which a call may be left for ever."""
TOLD = ("said", "done")
LOST = ("not_done", "dropped")
FELL_BEHIND_S = 2.0


@dataclass(frozen=True)
class MachinePace:
    """How a machine kept up with a rehearsal on the real clock, in session seconds.

    Attributes:
        rate: session seconds in a real second.
        late_s: one prompt in twenty reached the rehearsed people so long after it was decided, or later.
        most_s: the one that came latest.
    """

    rate: float
    late_s: float
    most_s: float

    @property
    def fell_behind(self) -> bool:
        """True where calls came seconds late that would not have in life."""
        return self.late_s > FELL_BEHIND_S

    def facts(self) -> dict[str, Any]:
        """As the report has it."""
        return {"speed": self.rate, "late_s": round(self.late_s, 1), "most_late_s": round(self.most_s, 1),
                "fell_behind": self.fell_behind}


class Recorder:
    """A sink that keeps what the report needs."""

    def __init__(self) -> None:
        self.calls: dict[str, list[Prompt]] = {}
        self.plans: dict[str, PlanState] = {}
        self.alerts: list[Alert] = []
        self.alert_changes: list[Alert] = []
        self.forecasts: list[ForecastState] = []
        self._raised: set[str] = set()
        self._forecast_ids: set[str] = set()

    def take(self, outputs: Sequence[Output]) -> None:
        """Note these."""
        for output in outputs:
            match output:
                case Prompt():
                    self._note_prompt(output)
                case PlanState():
                    self.plans[output.car] = output
                case Alert():
                    self._note_alert(output)
                case ForecastState():
                    self._note_forecast(output)
                case _:
                    pass

    def restate(self, standing: Sequence[Output]) -> None:
        """What stands was noted when it was said; a recorder that begins late notes it now."""
        self.take(standing)

    def _note_prompt(self, prompt: Prompt) -> None:
        history = self.calls.setdefault(prompt.call, [])
        if not history or prompt.revision > history[-1].revision:
            history.append(prompt)

    def _note_forecast(self, forecast: ForecastState) -> None:
        if forecast.id not in self._forecast_ids:
            self._forecast_ids.add(forecast.id)
            self.forecasts.append(forecast)

    def _note_alert(self, alert: Alert) -> None:
        self.alert_changes.append(alert)
        if alert.active and alert.id not in self._raised:
            self._raised.add(alert.id)
            self.alerts.append(alert)
        elif not alert.active:
            self._raised.discard(alert.id)


def make_report(
    recorder: Recorder, outcome: WorldOutcome, *, event: str, plans: Mapping[str, str], session_s: float,
    digest: str | None, machine: MachinePace | None = None,
) -> dict[str, Any]:
    """Put the report together.

    Args:
        recorder: what the daemon said.
        outcome: what really happened in the world.
        event: name of the event.
        plans: car -> name of its plan file.
        session_s: scheduled length of the session.
        digest: of the journal; None when it is somebody else's.
        machine: how it kept up; None at an instant, for the same seed must give the same report on any machine.
    """
    kept_up = {} if machine is None else {"machine": machine.facts()}
    return {
        **kept_up,
        "scenario": outcome.scenario,
        "seed": outcome.seed,
        "event": event,
        "plans": dict(plans),
        "session_s": session_s,
        "ended_s": outcome.ended_s,
        "calls": _calls(recorder),
        "runs": _runs(recorder),
        "procedures": _procedures(recorder),
        "laps": _laps(outcome),
        "alerts": dict(sorted(Counter(alert.kind for alert in recorder.alerts).items())),
        "forecast": _forecast(recorder),
        "truth": {car: made.model_dump(mode="json") for car, made in sorted(score(outcome).items())},
        "flags": [flag.model_dump(mode="json") for flag in outcome.flags],
        "digest": digest,
    }


def as_json(report: dict[str, Any]) -> str:
    """The report as text, always in the same order."""
    return json.dumps(report, indent=2, sort_keys=True, ensure_ascii=False)


def as_text(report: dict[str, Any]) -> str:
    """The report for a person: a few lines."""
    calls, procedures, laps = report["calls"], report["procedures"], report["laps"]
    lines = [
        f"{report['scenario']}, seed {report['seed']}: {clock_text(report['session_s'])} session",
        f"  event       {report['event']}",
        f"  plans       {', '.join(f'car {car} {name}' for car, name in report['plans'].items())}",
        f"  calls       {calls['planned']} planned: {calls['in_time']} in time, "
        f"{calls['withdrawn']} withdrawn, {calls['skipped']} skipped,",
        f"              {calls['settled']} late or unconfirmed at first, settled by what happened,",
        f"              {calls['unconfirmed']} unconfirmed, {calls['late']} late and {calls['missed']} missed "
        "to the end",
    ]
    lines += [f"              {count} x {state}: {reason}" for state in ("late", "missed")
              for reason, count in calls["reasons"][state].items()]
    lines += _runs_text(report["runs"])
    unsure = procedures["by_state"].get("probably_done", 0)
    lines.append(f"  procedures  {procedures['done']} of {procedures['planned']} done"
                 + (f", {unsure} of them only probably" if unsure else "") + " (as the calls went;")
    lines.append("              which of them their laps spoilt the debrief tells)")
    lines.append(f"  laps        {laps['timed']} timed, {laps['forbidden_switch']} with a switch that it must not have "
                 "(as the world had them;")
    lines.append("              the debrief counts what was known of them)")
    alerts = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in report["alerts"].items())
    lines.append(f"  alerts      {alerts or 'none'}")
    lines += [f"  forecast    car {car}: chance that every must-run fits: {first:.0%} at the start, "
              f"{last:.0%} at the end" for car, first, last in _ends(report["forecast"])]
    if "machine" in report:
        lines.append(f"  machine     {_machine(report['machine'])}")
    if report["digest"]:
        lines.append(f"  digest      {report['digest'][:16]}")
    return "\n".join(lines)


def _machine(kept: Mapping[str, Any]) -> str:
    late = f"one prompt in twenty was {kept['late_s']:g} s of the session late or more, one {kept['most_late_s']:g} s"
    if kept["fell_behind"]:
        return (f"fell behind at {kept['speed']:g} times life: {late}. Calls came late that would not in life: take a "
                "lower --speed, or --instant, for figures that mean something")
    return f"kept up at {kept['speed']:g} times life: {late}"


def _calls(recorder: Recorder) -> dict[str, Any]:
    ends: Counter[str] = Counter()
    reasons: dict[str, Counter[str]] = {state: Counter() for state in ("unconfirmed", "late", "missed", "withdrawn")}
    in_time = settled = 0
    by_kind: Counter[str] = Counter()
    for call in sorted(recorder.calls):
        history = recorder.calls[call]
        last = history[-1]
        ends[last.state] += 1
        by_kind[last.kind] += 1
        if last.state in reasons:
            reasons[last.state][last.reason or "no reason given"] += 1
        if last.state in TOLD:
            # What followed may settle a call that was late or unconfirmed: it was done, but nobody told it in time.
            doubted = any(prompt.state in ("late", "unconfirmed") for prompt in history)
            in_time, settled = in_time + (not doubted), settled + doubted
    return {
        "planned": len(recorder.calls),
        "in_time": in_time,
        "settled": settled,
        **{state: ends[state] for state in ("unconfirmed", "late", "missed", "skipped", "withdrawn")},
        "open": sum(count for state, count in ends.items() if state not in (*RESTING, "said")),
        "by_kind": dict(sorted(by_kind.items())),
        "reasons": {state: dict(sorted(found.items())) for state, found in reasons.items()},
    }


def _runs(recorder: Recorder) -> dict[str, list[dict[str, Any]]]:
    """Car -> its runs in the order of the plan, each with how it ended: ``done`` is one that counts."""
    return {
        car: [{"run": run.run, "state": run.ended_as, "want": run.want, "timed_done": run.timed_done,
               "timed_wanted": run.timed_wanted, "reason": run.reason or None,
               "musts_left": sum(item.want == "must" and item.state in LOST for item in run.items)}
              for run in recorder.plans[car].runs]
        for car in sorted(recorder.plans)
    }  # fmt: skip


def _runs_text(runs: Mapping[str, list[dict[str, Any]]]) -> list[str]:
    """What was run and what was not, by name; a run that does not count has a line of its own, with the reason."""
    lines = []
    for car, own in runs.items():
        done = [_done_text(run) for run in own if run["state"] == "done"]
        named = f": {', '.join(done)}" if done else ""
        lines.append(f"  runs        car {car}: {len(done)} of {len(own)} done{named}")
        for run in own:
            if run["state"] != "done":
                cut = "cut, " if run["state"] == "cut" else ""
                timed = timed_laps(run["timed_done"], run["timed_wanted"])
                laps = f"{cut}{timed}" if cut or run["timed_done"] else "not run"
                why = f": {run['reason']}" if run["reason"] else ""
                lines.append(f"              {run['run']} ({run['want']}): {laps}{why}")
    return lines


def _done_text(run: Mapping[str, Any]) -> str:
    """The name of a run that counts, with its timed laps where they are not as many as were wanted, and with must items
    that were not done."""
    left = run["musts_left"]
    told = [timed_laps(run["timed_done"], run["timed_wanted"])] if run["timed_done"] != run["timed_wanted"] else []
    told += [f"{left} must item{'s' if left != 1 else ''} not done"] if left else []
    return f"{run['run']} ({'; '.join(told)})" if told else f"{run['run']}"


def _procedures(recorder: Recorder) -> dict[str, Any]:
    items = [item for car in sorted(recorder.plans) for run in recorder.plans[car].runs for item in run.items]
    states = Counter(item.state for item in items)
    reasons = Counter(item.reason or "no reason given" for item in items if item.state in ("not_done", "dropped"))
    return {
        "planned": len(items),
        "done": states["done"] + states["probably_done"],
        "by_state": dict(sorted(states.items())),
        "reasons": dict(sorted(reasons.items())),
    }


def _laps(outcome: WorldOutcome) -> dict[str, Any]:
    laps = [lap for car in sorted(outcome.cars) for lap in outcome.cars[car].laps]
    timed = [lap for lap in laps if lap.kind == "timed"]
    wrong = Counter(found.switch for lap in timed for found in lap.wrong)
    return {
        "timed": len(timed),
        "forbidden_switch": sum(bool(lap.wrong) for lap in timed),
        "switches": dict(sorted(wrong.items())),
        "all": len(laps),
    }


def _forecast(recorder: Recorder) -> list[dict[str, Any]]:
    by_time: dict[float, dict[str, float]] = {}
    for state in recorder.forecasts:
        chance = 0.0 if state.musts_lost else state.outlook.musts_chance
        by_time.setdefault(round(state.t, 3), {})[state.car] = round(chance, 4)
    return [{"t": t, "musts_chance": dict(sorted(cars.items()))} for t, cars in sorted(by_time.items())]


def _ends(forecast: list[dict[str, Any]]) -> list[tuple[str, float, float]]:
    chances: dict[str, list[float]] = {}
    for entry in forecast:
        for car, chance in entry["musts_chance"].items():
            chances.setdefault(car, []).append(chance)
    return [(car, found[0], found[-1]) for car, found in sorted(chances.items())]
