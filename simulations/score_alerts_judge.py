"""Faults and alerts of one rehearsal: which fault had to be told by when, which alert had none behind it, and the load.

A fault counts when it could be known: telemetry showed it plainly for long enough, the car stood for longer than it
may go unseen, the feed was really silent (by what was received), and the session's status lets it be told. The truth
of the world decides; what the product believes is never asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pitwall.app.wiring import Evidence
from pitwall.model.events import CarCrossed, CarPitted, StatusChanged
from pitwall.model.outputs import Alert
from pitwall.rehearsal.truth import CarTruth, DrivenLap, FaultShown, Span
from simulations.score_radio_truth import setup_of

SEEN_S = 15.0     # plainly beyond a limit for so long: told by then (on-delay, a report each 3 s, 2 s on the way)
LOOK_S = 10.0     # conditions are looked at every 5 s; the rest is the way of a message
LATE_LINE_S = 8.0  # a line so much later than the flag can be foreseen at the last loop
MOMENTS_S = 60.0  # without any message of the timing: a feed that is called stale is truly silent
EASY_KG, DOUBT_KG = 1.75, 0.5
AFTER_UPSET_S = 600.0
ALERT_OF = {"tyre_hot": "tyre-hot", "pressure_loss": "tyre-pressure-low", "stopped": "car-silent",
            "fuel_short": "fuel-short", "feed_silence": "feed-stale", "misses_flag": "misses-flag"}  # fmt: skip
JUDGED = frozenset({"tyre_hot", "tyre_cold", "tyre_pressure_low", "tyre_pressure_high", "car_silent", "fuel_short",
                    "feed_stale", "misses_flag"})  # fmt: skip


@dataclass(frozen=True)
class JudgedFault:
    """One fault that had to be told: by how much the alert came after it had to; ``late_s`` None: it never came."""

    what: str
    car: str | None
    start_s: float
    due_s: float
    told: bool
    late_s: float | None


@dataclass(frozen=True)
class AlertDay:
    """Faults, false alarms and load of one rehearsal. The load is that of one engineer: a car's own and everybody's."""

    faults: tuple[JudgedFault, ...]
    false: tuple[str, ...]
    false_kinds: tuple[str, ...]
    raised: tuple[tuple[str, str, float], ...]
    engineer_minutes: float
    after_upset: tuple[int, ...]


def alert_day(evidence: Evidence) -> AlertDay:
    """Everything about faults and alerts from one rehearsal."""
    raised = sorted({(alert.id, alert.since_s): alert for alert in evidence.recorder.alert_changes if alert.active}
                    .values(), key=lambda one: one.since_s)  # fmt: skip
    spans = standing(evidence.recorder.alert_changes)
    faults = [*_faults(evidence, spans)]
    false = [alert for alert in raised if alert.kind in JUDGED and not _explained(evidence, alert)]
    cars = sorted(evidence.outcome.cars)
    heard = [(car, alert) for car in cars for alert in raised if alert.car in (None, car)]
    return AlertDay(
        tuple(faults), tuple(f"{alert.id} at {alert.since_s:.1f} s: {alert.text}" for alert in false),
        tuple(alert.kind for alert in false), tuple((alert.kind, alert.priority, alert.since_s) for _, alert in heard),
        evidence.outcome.flag_s / 60 * len(cars), tuple(_after_upsets(evidence, heard, cars)),
    )  # fmt: skip


def standing(changes: Sequence[Alert]) -> dict[str, list[Span]]:
    """When each alert stood, by its id."""
    found: dict[str, list[Span]] = {}
    open_: dict[str, float] = {}
    for alert in changes:
        if alert.active:
            open_.setdefault(alert.id, alert.t)
        elif alert.id in open_:
            found.setdefault(alert.id, []).append((open_.pop(alert.id), alert.t))
    for name, begin in open_.items():
        found.setdefault(name, []).append((begin, float("inf")))
    return found


# -- faults that had to be told ----------------------------------------------------------------------------------------


def _faults(evidence: Evidence, spans: dict[str, list[Span]]) -> Iterator[JudgedFault]:
    for fault in evidence.outcome.faults:
        for begin, due, end in _due(evidence, fault):
            yield _judged(fault.what, fault.car, begin, due, end, spans)
    for truth in evidence.outcome.cars.values():
        for lap in _short_laps(evidence, truth):
            yield _judged("fuel_short", truth.car, lap.start_s, lap.end_s, lap.end_s, spans)
        for lap in _too_late_laps(evidence, truth):
            flag = evidence.outcome.flag_s
            yield _judged("misses_flag", truth.car, lap.start_s - 60.0, flag, flag, spans)


def _judged(
    what: str, car: str | None, begin: float, due: float, end: float, spans: dict[str, list[Span]]
) -> JudgedFault:
    name = "-".join(part for part in (ALERT_OF[what], car) if part)
    stood = [span for span in spans.get(name, []) if span[1] > begin and span[0] <= end + 60.0]
    first = min((span[0] for span in stood), default=None)
    told = first is not None and first <= due
    return JudgedFault(what, car, begin, due, told, None if first is None else max(0.0, first - due))


def _due(evidence: Evidence, fault: FaultShown) -> Iterator[tuple[float, float, float]]:
    """From when, by when it had to be told, and until when it lasted."""
    if fault.what in ("tyre_hot", "pressure_loss"):
        spans = [span for span in fault.plain if span[1] - span[0] >= SEEN_S and _calm(evidence, *span)]
        yield from ((begin, max(begin, _lap_known(evidence, fault, begin)) + SEEN_S, end) for begin, end in spans[:1])
    elif fault.what == "stopped":
        after = setup_of(evidence).calls.silent_after_s
        if fault.end_s - fault.start_s >= after + LOOK_S and _calm(evidence, fault.start_s, fault.start_s + after):
            yield fault.start_s, fault.start_s + after + LOOK_S, fault.end_s
    elif fault.what == "feed_silence":
        stale = setup_of(evidence).calls.feed_stale_s
        for begin, end in _gaps(evidence, fault):
            driven = any(lap.start_s <= begin and lap.end_s >= begin + stale for lap in _all_laps(evidence))
            if end - begin >= stale + LOOK_S and driven and _calm(evidence, begin, begin + stale):
                yield begin, begin + stale + LOOK_S, end


def _lap_known(evidence: Evidence, fault: FaultShown, t: float) -> float:
    """When the lap of this moment could be known: an out-lap has lower limits, and its end may be told late."""
    seen = [(stamped.event.t, stamped.received_t) for stamped in evidence.events
            if isinstance(stamped.event, CarCrossed) and stamped.event.car == fault.car
            and stamped.event.loop == "line" and t - SEEN_S < stamped.event.t <= t]
    return max(seen, default=(t, t))[1]


def _calm(evidence: Evidence, begin: float, end: float) -> bool:
    """No red flag, and not over: what is wrong is told."""
    red = any(flag.status == "red" and flag.start_s < end and flag.end_s + 5.0 > begin
              for flag in evidence.outcome.flags)
    return not red and begin > 0.0 and end + LOOK_S < evidence.outcome.flag_s


def _silent(evidence: Evidence, begin: float, end: float) -> bool:
    """The feed fell silent in this time: nobody could know."""
    return any(one.what == "feed_silence" and one.start_s < end and one.end_s > begin
               for one in evidence.outcome.faults)


def _gaps(evidence: Evidence, fault: FaultShown) -> Iterator[Span]:
    """Spans in which nothing of the timing was received, by the moments of receipt."""
    heard = _heard(evidence)
    for before, after in pairwise(heard):
        if before < fault.end_s and after > fault.start_s and after - before > 1.0:
            yield before, after


def _heard(evidence: Evidence) -> list[float]:
    """When anything of the timing was received."""
    return sorted(stamped.received_t for stamped in evidence.events
                  if isinstance(stamped.event, CarCrossed | CarPitted | StatusChanged))


def _all_laps(evidence: Evidence) -> Iterator[DrivenLap]:
    """Laps of any car that were really driven then."""
    for truth in (*evidence.outcome.cars.values(), *evidence.outcome.field):
        yield from truth.laps


def _short_laps(evidence: Evidence, truth: CarTruth) -> Iterator[DrivenLap]:
    """The first lap of each run that ends with less than the reserve, plainly, on a run that was filled short."""
    car = setup_of(evidence).cars[truth.car]
    for fault in evidence.outcome.faults:
        if fault.what != "fuel_short" or fault.car != truth.car:
            continue
        laps = [lap for lap in truth.laps if lap.run == fault.detail and lap.start_s >= fault.start_s]
        for lap in laps:
            left = (lap.fuel_kg or 0.0) - 0.75 * car.fuel_per_lap_kg
            told_of = not _silent(evidence, fault.start_s, lap.end_s)  # laps that nobody saw cannot be counted
            if left < car.fuel_reserve_kg - DOUBT_KG and told_of and _calm(evidence, lap.start_s, lap.end_s):
                yield lap
                break


def _too_late_laps(evidence: Evidence, truth: CarTruth) -> Iterator[DrivenLap]:
    """Out-laps of runs with timed laps that reached the line well after the flag: the timed lap never started."""
    flag, plan = evidence.outcome.flag_s, setup_of(evidence).plans[truth.car]
    for lap in truth.laps:
        run = plan.find(lap.run) if lap.run else None
        timed = run is not None and any(kind == "timed" for kind in run.laps)
        late = lap.start_s < flag - 20.0 and lap.end_s > flag + LATE_LINE_S
        if lap.meant == "out" and timed and late and not _silent(evidence, lap.start_s, flag):
            yield lap


# -- alerts with nothing behind them -----------------------------------------------------------------------------------


def _explained(evidence: Evidence, alert: Alert) -> bool:
    """True when the truth has a reason for this alert."""
    faults = [one for one in evidence.outcome.faults if one.car in (None, alert.car)]
    t = alert.since_s

    def near(*kinds: str, before: float = 1.0, after: float = 30.0) -> bool:
        return any(one.what in kinds and one.start_s - before <= t <= one.end_s + after for one in faults)

    if alert.kind == "tyre_hot":
        return near("tyre_hot")
    if alert.kind in ("tyre_pressure_low", "tyre_cold"):
        return alert.kind == "tyre_pressure_low" and near("pressure_loss")
    if alert.kind == "feed_stale":
        return t - max((one for one in _heard(evidence) if one < t), default=t) > MOMENTS_S
    if alert.kind == "car_silent":
        return near("stopped", "feed_silence", after=120.0)
    truth = evidence.outcome.cars.get(alert.car or "")
    if truth is None or alert.kind == "tyre_pressure_high":
        return False
    if alert.kind == "fuel_short":
        reserve = setup_of(evidence).cars[truth.car].fuel_reserve_kg
        return any(lap.start_s <= t <= lap.end_s + 5 and (lap.fuel_kg or 0) - EASY_KG < reserve + DOUBT_KG
                   for lap in truth.laps)
    return _was_too_late(evidence, truth, t)


def _was_too_late(evidence: Evidence, truth: CarTruth, t: float) -> bool:
    """False when the lap that was to begin did begin before the flag, as it was driven."""
    flag = evidence.outcome.flag_s
    lap = next((lap for lap in truth.laps if lap.meant in ("out", "cool", "out_in") and lap.end_s > t), None)
    return lap is None or lap.end_s > flag - setup_of(evidence).regulations.clock_uncertainty_s


def _after_upsets(evidence: Evidence, heard: Sequence[tuple[str, Alert]], cars: Sequence[str]) -> Iterator[int]:
    """Alerts that each engineer was told in the ten minutes after each upset: a red or slow flag, a fault."""
    outcome = evidence.outcome
    upsets = [flag.start_s for flag in outcome.flags if flag.status in ("red", "slow")]
    upsets += [fault.start_s for fault in outcome.faults]
    for begin in upsets:
        for car in cars:
            yield sum(one == car and begin <= alert.since_s < begin + AFTER_UPSET_S for one, alert in heard)
