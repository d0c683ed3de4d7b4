"""Score what is said: is every must-say call spoken where the driver can listen, and is no switch left behind?

    python simulations/score_radio.py                       # 500 rehearsals of simulations/radio, two at a time
    python simulations/score_radio.py --rehearsals 50 --json
    python simulations/score_radio.py --scenarios FOLDER --worst 10

The world of each rehearsal has cars, drivers and an engineer of its own; the score comes from what really happened
there, never from what the product believes. On a circuit whose listening stretches are unknown nothing is judged but
overlaps, talk over the driver and switches. What counts as possible, in window and a person's fault:
``score_radio_judge.py``. The load of alerts and the recall of injected faults have a script of their own,
``score_alerts.py``; ``--alerts`` runs it beside, at a twelfth and a sixtieth of the rehearsals.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import structlog

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.memory import few_collections
from pitwall.app.wiring import Evidence
from pitwall.errors import UserError
from simulations.evidence import evidence_of
from simulations.score_alerts import alerts_scored
from simulations.score_radio_alerts import AlertFigures, alert_figures
from simulations.score_radio_judge import CarDay, Verdict, judge
from simulations.score_radio_lengths import lengths, shares_of
from simulations.score_radio_truth import car_days

FOLDER = Path(__file__).parent / "radio"
KINDS = ("box", "put_back", "session")


@dataclass
class Day:
    """What one rehearsal gave."""

    scenario: str
    seed: int
    verdicts: list[tuple[str, Verdict]] = field(default_factory=list)
    not_judged: int = 0
    overlaps: int = 0
    over_driver: int = 0
    talk: dict[str, tuple[float, float]] = field(default_factory=dict)
    alerts: AlertFigures | None = None
    minutes: float = 0.0
    cars: int = 0
    stories: dict[str, list[str]] = field(default_factory=dict)
    poisoned: int = 0
    cpu_s: float = 0.0
    lengths: list[list[float]] = field(default_factory=list)


def rehearse(order: tuple[str, int]) -> Day:
    """One rehearsal and its verdicts."""
    scenario, seed = order
    began = time.process_time()
    with few_collections():
        evidence = evidence_of(scenario, seed)
        day = score_day(Path(scenario).stem, seed, evidence)
        del evidence  # before the search for garbage: it is cheap once nothing of the day is held any more
    day.cpu_s = time.process_time() - began
    return day


def score_day(scenario: str, seed: int, evidence: Evidence) -> Day:
    """The verdicts on one rehearsal."""
    day = Day(scenario, seed, poisoned=evidence.host.poisoned, minutes=evidence.outcome.flag_s / 60,
              cars=len(evidence.outcome.cars), alerts=alert_figures(evidence))
    for number, car in car_days(evidence).items():
        day.overlaps += overlaps(car)
        day.over_driver += over_driver(car)
        if car.listening is None:
            day.not_judged += len(car.duties)
            continue
        for verdict in judge(car):
            day.verdicts.append((number, verdict))
            if verdict.possible and not verdict.in_window:
                day.stories[f"{number} {verdict.duty.key}"] = story(car, verdict)
    day.lengths = shares_of(evidence)
    _talk(day, evidence)
    return day


def overlaps(car: CarDay) -> int:
    """Pairs of calls that were on the channel at once."""
    said = sorted(car.said, key=lambda voice: voice.start_s)
    return sum(after.start_s < before.end_s - 1e-3 for before, after in pairwise(said))


def over_driver(car: CarDay) -> int:
    """Calls that began while the driver was already talking."""
    return sum(voice.start_s + 1e-3 < call.start_s < voice.end_s - 1e-3 for call in car.said for voice in car.driver)


def _talk(day: Day, evidence: Evidence) -> None:
    """Share of each kind of lap on which the driver talked without being asked."""
    for truth in evidence.outcome.cars.values():
        for lap in truth.laps:
            end = lap.entry_s if lap.entry_s is not None else lap.end_s
            talked = sum(max(0.0, min(voice.end_s, end) - max(voice.start_s, lap.start_s))
                         for voice in truth.voices if voice.who == "driver" and not voice.about)
            before = day.talk.get(lap.kind, (0.0, 0.0))
            day.talk[lap.kind] = (before[0] + talked, before[1] + end - lap.start_s)


def story(car: CarDay, verdict: Verdict) -> list[str]:
    """What happened around a miss, line by line."""
    duty = verdict.duty
    best = "" if verdict.best_s is None else f", possible at {verdict.best_s:.1f}"
    lines = [f"{duty.kind}: {duty.about}", f"  {verdict.cause}; known {duty.known_s:.1f}, "
             f"deadline {duty.deadline_s:.1f}, {duty.length_s:.1f} s long{best}"]
    happened: list[tuple[float, str]] = []
    for call in duty.calls:
        for prompt in car.prompts.get(call, ()):
            why = f" ({prompt.reason})" if prompt.reason else ""
            happened.append((prompt.t, f"prompt {call} {prompt.state}, say {prompt.say_from_s:.1f} to "
                                       f"{prompt.say_by_s:.1f} {prompt.way}{why}"))
    low, high = duty.known_s - 5, duty.deadline_s + 10
    happened += [(voice.start_s, f"engineer until {voice.end_s:.1f}: {voice.call}") for voice in car.said
                 if low < voice.start_s < high]
    happened += [(voice.start_s, f"driver until {voice.end_s:.1f} {voice.call or 'unasked'}") for voice in car.driver
                 if low < voice.start_s < high]
    calm = ", ".join(f"{begin:.1f}-{end:.1f}" for begin, end in car.listening or () if end > low and begin < high)
    return [*lines, *(f"  {t:8.1f}  {what}" for t, what in sorted(happened)), f"  could listen: {calm}"]


# -- all rehearsals together -------------------------------------------------------------------------------------------


def summary(days: Sequence[Day]) -> dict[str, Any]:
    """The figures of all rehearsals."""
    verdicts = [verdict for day in days for _, verdict in day.verdicts]
    alerts = [day.alerts for day in days if day.alerts is not None]
    hours = sum(day.minutes * day.cars for day in days) / 60
    return {
        "rehearsals": len(days),
        **_must_say(verdicts),
        "by_kind": {kind: _must_say([one for one in verdicts if one.duty.kind == kind]) for kind in KINDS},
        "causes": {kind: _causes([one for one in verdicts if one.duty.kind == kind]) for kind in KINDS},
        "by_scenario": {name: _must_say([one for day in days if day.scenario == name for _, one in day.verdicts])
                        for name in sorted({day.scenario for day in days})},
        "not_judged": sum(day.not_judged for day in days),
        "overlaps": sum(day.overlaps for day in days),
        "over_driver": sum(day.over_driver for day in days),
        **_switches(alerts),
        "alerts_per_10_min": _share(sum(figures.raised for figures in alerts), 6 * hours),
        "driver_talk": _talk_shares(days),
        "spoken_length": lengths(day.lengths for day in days),
        "poisoned": sum(day.poisoned for day in days),
        "cpu_s": round(sum(day.cpu_s for day in days), 1),
    }


def _must_say(verdicts: Sequence[Verdict]) -> dict[str, Any]:
    possible = [one for one in verdicts if one.possible and not one.person]
    met = sum(one.in_window for one in possible)
    return {
        "must_say_possible": len(possible),
        "must_say_in_window": _share(met, len(possible)),
        "missed": len(possible) - met,
        "persons_fault": sum(one.person for one in verdicts),
        "not_possible": sum(not one.possible for one in verdicts),
    }


def _causes(verdicts: Sequence[Verdict]) -> dict[str, int]:
    return dict(Counter(one.cause for one in verdicts if one.possible and not one.in_window and not one.person)
                .most_common())


def _switches(alerts: Sequence[AlertFigures]) -> dict[str, Any]:
    every = [one for figures in alerts for one in figures.wrong]
    wrong = [one for one in every if one.knowable]
    laps: dict[tuple[int, str, int], list[bool]] = {}
    for number, figures in enumerate(alerts):
        for one in (one for one in figures.wrong if one.knowable):
            laps.setdefault((number, one.car, one.lap), []).append(one.told)
    measured = [one for one in wrong if one.measured]
    other = [one for one in wrong if not one.measured]
    knocked = sum(figures.knocked for figures in alerts)
    told = sum(one.told for one in wrong) + sum(figures.knocks_told for figures in alerts)
    return {
        "forbidden_starts": len(laps),
        "forbidden_starts_told": sum(all(told) for told in laps.values()),
        "wrong_switches": {
            "measured": len(measured), "measured_told": sum(one.told for one in measured),
            "unmeasured": len(other), "unmeasured_shown": sum(one.told for one in other),
            "not_knowable": len(every) - len(wrong),
            "why": dict(Counter(one.why for one in wrong).most_common()),
        },
        "knocked_on_timed_laps": {"measured": knocked, "told": sum(figures.knocks_told for figures in alerts)},
        "recall": _share(told, len(wrong) + knocked),
        "false_alarms": {"switch_wrong": sum(len(figures.false_wrong) for figures in alerts),
                         "switch_unverified": sum(figures.false_unverified for figures in alerts),
                         "of_unverified": sum(figures.unverified for figures in alerts)},
    }


def _talk_shares(days: Sequence[Day]) -> dict[str, float | None]:
    kinds = sorted({kind for day in days for kind in day.talk})
    return {kind: _share(sum(day.talk.get(kind, (0, 0))[0] for day in days),
                         sum(day.talk.get(kind, (0, 0))[1] for day in days)) for kind in kinds}


def _share(part: float, whole: float) -> float | None:
    return round(part / whole, 5) if whole else None


def orders(folder: Path, rehearsals: int, first: int = 1) -> list[tuple[str, int]]:
    """Which scenario with which seed: the scenarios in turn, each with seeds of its own.

    Raises:
        UserError: when the folder holds no scenario.
    """
    files = [path for path in sorted(folder.glob("*.yaml")) if "\nscenario:" in f"\n{path.read_text(encoding='utf-8')}"]
    if not files:
        raise UserError(f"{folder}: no scenario file (a .yaml file with 'scenario: 1') lies there")
    return [(str(files[number % len(files)]), first + number // len(files)) for number in range(rehearsals)]


def run(folder: Path, rehearsals: int, jobs: int, first: int = 1) -> list[Day]:
    """Every rehearsal, in order."""
    wanted = orders(folder, rehearsals, first)
    if jobs == 1:
        return [rehearse(order) for order in wanted]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(rehearse, wanted))


def _text(found: dict[str, Any], took_s: float) -> str:
    share = found["must_say_in_window"]
    lines = [f"{found['rehearsals']} rehearsals in {took_s:.0f} s, {found['cpu_s']} s of the processors",
             f"  must-say     {found['must_say_possible']} possible, {share:.2%} in window" if share is not None else
             "  must-say     none possible"]
    for kind, figures in found["by_kind"].items():
        share = figures["must_say_in_window"]
        lines.append(f"    {kind:<10} {figures['must_say_possible']} possible, {figures['missed']} missed, "
                     f"{'-' if share is None else format(share, '.2%')}; {figures['persons_fault']} a person's, "
                     f"{figures['not_possible']} not possible")
        lines += [f"               {count} x {cause}" for cause, count in found["causes"][kind].items()]
    for name, figures in found["by_scenario"].items():
        share = figures["must_say_in_window"]
        in_window = "-" if share is None else format(share, ".2%")
        lines.append(f"    {name:<12} {figures['must_say_possible']} possible, {in_window}")
    lines.append(f"  channel      {found['overlaps']} overlaps, {found['over_driver']} begun over the driver; "
                 f"{found['not_judged']} not judged")
    lines += [f"  {name:<12} {found[name]}" for name in ("forbidden_starts", "forbidden_starts_told", "wrong_switches",
              "knocked_on_timed_laps", "recall", "false_alarms", "alerts_per_10_min", "alert_load",
              "fault_recall", "driver_talk", "spoken_length", "poisoned") if name in found]
    return "\n".join(lines)


def worst(days: Sequence[Day], count: int) -> list[str]:
    """The stories of the first misses of each cause in turn, so that the rare ones are seen too."""
    by_cause: dict[tuple[str, str], list[str]] = {}
    for day in days:
        for car, verdict in day.verdicts:
            key = f"{car} {verdict.duty.key}"
            if key in day.stories and not verdict.person:
                text = "\n".join([f"{day.scenario}, seed {day.seed}, car {key}", *day.stories[key]])
                by_cause.setdefault((verdict.duty.kind, verdict.cause), []).append(text)
    turns = [texts[number] for number in range(count) for texts in by_cause.values() if number < len(texts)]
    return turns[:count]


def short_of(found: dict[str, Any], share: float) -> list[str]:
    """What of these figures must not be: talk over talk, a switch left behind unseen, fewer calls in their window than
    this share."""
    told = found["wrong_switches"]
    lines = [f"{name} is {found[name]}, wanted is 0" for name in ("overlaps", "over_driver", "poisoned") if found[name]]
    lines += [f"{told[shown]} of {told[kind]} {kind} switches that were wrong at the line were told" for kind, shown in
              (("measured", "measured_told"), ("unmeasured", "unmeasured_shown")) if told[shown] < told[kind]]
    if not found["must_say_possible"] or found["must_say_in_window"] < share:
        lines.append(f"must_say_in_window is {found['must_say_in_window']} of {found['must_say_possible']}, wanted are "
                     f"{share} at least")
    return lines


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; 0 when it ran."""
    parser = argparse.ArgumentParser(description="score the radio calls of many rehearsals against the truth")
    parser.add_argument("--scenarios", type=Path, default=FOLDER, metavar="FOLDER", help="default: simulations/radio")
    parser.add_argument("--rehearsals", type=int, default=500, metavar="N", help="how many in all (default 500)")
    parser.add_argument("--first", type=int, default=1, metavar="N", help="the first seed (default 1)")
    parser.add_argument("--jobs", type=int, default=2, metavar="N", help="rehearsals at a time (default 2)")
    parser.add_argument("--alerts", action="store_true",
                        help="also rehearse normal hours and faults beside them, as score_alerts.py does")
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")
    parser.add_argument("--at-least", type=float, metavar="SHARE", help="end with 1 where fewer must-say calls are in "
                        "their window, calls overlap, or a wrong switch was not told")
    parser.add_argument("--worst", type=int, default=0, metavar="K", help="tell the stories of so many misses")
    args = parser.parse_args(arguments)
    began = time.perf_counter()
    try:
        days = run(args.scenarios, args.rehearsals, max(1, args.jobs), args.first)
    except UserError as problem:
        print(problem, file=sys.stderr)
        return 2
    found = summary(days)
    if args.alerts:
        found |= alerts_scored(args.rehearsals, max(1, args.jobs), args.first)
    took = time.perf_counter() - began
    print(json.dumps(found | {"took_s": round(took, 1)}, indent=2) if args.json else _text(found, took))
    for text in worst(days, args.worst):
        print(f"\n{text}")
    if args.at_least is None:
        return 0
    short = short_of(found, args.at_least)
    print("\n".join(f"NOT GOOD ENOUGH: {line}" for line in short), file=sys.stderr)
    return 1 if short else 0


if __name__ == "__main__":
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    sys.exit(main())
