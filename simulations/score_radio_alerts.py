"""Timed laps that began with a switch where it must not be, and what the alerts made of them.

For a switch that telemetry measures the alert must stand within half a second of the moment at which pitwall could know
it: the receipt of the first fact that shows that the lap began, or of the position, whichever came later. For any other
switch it must have been shown as unverified before the line. An alert that stands for a switch that was right all along
is a false alarm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pitwall.app.wiring import Evidence
from pitwall.model.car import Position, Switch, same_position
from pitwall.model.events import CarCrossed, CarPitted, SwitchReported
from pitwall.model.outputs import Alert
from pitwall.rehearsal.score import LapRule, item_positions, sits_on
from pitwall.rehearsal.teamcar import SPOILS
from pitwall.rehearsal.truth import CarTruth, DrivenLap, Span, WrongSwitch
from simulations.score_alerts_judge import standing
from simulations.score_radio_truth import confirmed, planned, reported, setup_of

WITHIN_S = 0.5
KNOCK_WITHIN_S = 5.0  # a switch moved in mid-lap: told so soon after its telemetry


@dataclass(frozen=True)
class WrongStart:
    """One switch of one timed lap that began wrong. ``told``: in time, by the rule of its kind.

    ``knowable`` is False where nobody on the wall can know: it is not measured, and the driver knocked it or had last
    confirmed the position that the lap needs.
    """

    car: str
    lap: int
    start_s: float
    switch: str
    measured: bool
    told: bool
    why: str
    late_s: float | None
    knowable: bool = True


@dataclass(frozen=True)
class AlertFigures:
    """Alerts of one rehearsal."""

    wrong: tuple[WrongStart, ...]
    raised: int
    false_wrong: tuple[str, ...]
    unverified: int
    false_unverified: int
    knocked: int
    knocks_told: int


def alert_figures(evidence: Evidence) -> AlertFigures:
    """Everything about alerts from one rehearsal."""
    changes = by_switch(evidence.recorder.alert_changes)
    spans, raised = standing(changes), _raised(changes)
    wrong = [found for truth in evidence.outcome.cars.values() for found in _wrong_starts(evidence, truth, spans)]
    false_wrong, unverified, false_unverified = list[str](), 0, 0
    for (name, begin), alert in sorted(raised.items()):
        truth = evidence.outcome.cars.get(alert.car or "")
        if truth is None or alert.kind not in ("switch_wrong", "switch_unverified"):
            continue
        switch = name.removeprefix(f"{alert.kind.replace('_', '-')}-{alert.car}-")
        right = _right_at(evidence, truth, switch, begin)
        unverified += alert.kind == "switch_unverified"
        false_unverified += right and alert.kind == "switch_unverified"
        if right and alert.kind == "switch_wrong":
            false_wrong.append(f"{name} at {begin:.1f} s")
    knocks = [told for truth in evidence.outcome.cars.values() for told in _knocks(evidence, truth, spans)]
    return AlertFigures(tuple(wrong), len(_raised(evidence.recorder.alert_changes)), tuple(false_wrong), unverified,
                        false_unverified, len(knocks), sum(knocks))


def by_switch(changes: Sequence[Alert]) -> list[Alert]:
    """The same changes with each switch that an alert lists as an alert of its own, from when to when it was listed.

    A switch that is told with others is told; one that the alert no longer lists is not.
    """
    found: list[Alert] = []
    listed: dict[str, dict[str, float]] = {}
    for alert in changes:
        if alert.kind not in ("switch_wrong", "switch_unverified"):
            found.append(alert)
            continue
        before = listed.get(alert.id, {})
        now = {name: before.get(name, alert.t) for name in alert.switches} if alert.active else {}
        for name, since in {**before, **now}.items():
            key = f"{alert.kind.replace('_', '-')}-{alert.car}-{name}"
            found.append(alert.model_copy(update={"id": key, "active": name in now, "since_s": since}))
        listed[alert.id] = now
    return found


def _raised(changes: Sequence[Alert]) -> dict[tuple[str, float], Alert]:
    return {(alert.id, alert.since_s): alert for alert in changes if alert.active}


def _wrong_starts(evidence: Evidence, truth: CarTruth, spans: dict[str, list[Span]]) -> Iterator[WrongStart]:
    for lap in truth.laps:
        for found in lap.wrong if planned(evidence, truth, lap) else ():
            measured = reported(evidence, truth.car, found.switch)
            known = _known(evidence, truth.car, lap, found)
            if known is None:
                continue  # no fact of this lap ever reached the daemon
            if measured:
                name, due = f"switch-wrong-{truth.car}-{found.switch}", known + WITHIN_S
            else:
                name, due = f"switch-unverified-{truth.car}-{found.switch}", lap.start_s
            stood = [span for span in spans.get(name, []) if span[1] > lap.start_s]
            first = min(stood, default=None)
            told = first is not None and first[0] <= due + 1e-6
            why = _why(truth, found.switch, lap.start_s)
            knowable = measured or (why != "knocked" and not confirmed(evidence, truth.car, lap, found))
            yield WrongStart(truth.car, lap.number, lap.start_s, found.switch, measured, told, why,
                             None if first is None else first[0] - due, knowable)


def _known(evidence: Evidence, car: str, lap: DrivenLap, found: WrongSwitch) -> float | None:
    """When pitwall could know that this lap began, and, where it is measured, with what."""
    crossed = [stamped.received_t for stamped in evidence.events
               if isinstance(stamped.event, CarCrossed | CarPitted) and stamped.event.car == car
               and lap.start_s - 0.002 <= stamped.event.t <= lap.end_s]
    moved = [stamped.received_t for stamped in evidence.events
             if isinstance(stamped.event, SwitchReported) and stamped.event.car == car
             and stamped.event.switch == found.switch and stamped.event.t <= lap.start_s]
    if not crossed:
        return None
    return max(min(crossed), max(moved, default=min(crossed)))


def _why(truth: CarTruth, switch: str, t: float) -> str:
    moves = [move for move in truth.switches if move.switch == switch and move.t <= t]
    return moves[-1].why if moves else "start"


def _right_at(evidence: Evidence, truth: CarTruth, switch: str, t: float) -> bool:
    """True when the switch stood where the plan wants it on the timed lap of this moment, or on the next one.

    A lap that is not timed does not need it there: an alert on it is as false as one for a switch in its place.
    """
    lap = next((lap for lap in truth.laps if lap.end_s > t), None)
    if lap is None or lap.meant != "timed":
        after = next((lap for lap in truth.laps if lap.start_s >= t), None)
        if after is None or after.meant != "timed" or lap is None:
            return True
        t, lap = after.start_s, after
    return _in_place(evidence, truth, lap, switch, t)


def _in_place(evidence: Evidence, truth: CarTruth, lap: DrivenLap, switch: str, t: float) -> bool:
    """True when the switch stood at ``t`` where the plan has it on this lap, as a timed one."""
    known = setup_of(evidence).cars[truth.car].switch(switch)
    stands = _stands(truth, switch, t)
    # A timed lap that a flag spoilt may count as one or not: an alert that is right by either count is no false one.
    before = [one for one in truth.laps if one.run == lap.run and one.start_s < lap.start_s and one.kind == "timed"]
    numbers = {len(before) + 1, sum(not SPOILS.intersection(one.flags) for one in before) + 1}
    wanted = [_wanted(evidence, truth, lap, number, switch) for number in sorted(numbers)]
    return known is not None and stands is not None and all(_same(known, stands, one) for one in wanted)


def _same(switch: Switch, stands: Position, wanted: Position | None) -> bool:
    if wanted is not None and switch.kind == "bias" and switch.free_range:
        return abs(float(stands) - float(wanted)) <= switch.free_range + 1e-9
    return same_position(stands, wanted)


def _stands(truth: CarTruth, switch: str, t: float) -> Position | None:
    moves = [move for move in truth.switches if move.switch == switch and move.t <= t]
    return moves[-1].position if moves else None


def _wanted(evidence: Evidence, truth: CarTruth, lap: DrivenLap, number: int, switch: str) -> Position | None:
    """Where the plan has this switch on the run's ``number``-th timed lap: by an item of the lap, else by the run."""
    setup = setup_of(evidence)
    plan = setup.plans[truth.car]
    run = plan.find(lap.run) if lap.run else None
    base = LapRule(setup.cars[truth.car], plan, setup.procedures, setup.wet).run_positions(run)
    for item in run.items if run is not None else ():
        procedure = setup.procedures.get(item.do)
        if procedure is not None and sits_on(item, "timed", number, procedure):
            base = base | item_positions(item, procedure, base)
    return base.get(switch)


def _knocks(evidence: Evidence, truth: CarTruth, spans: dict[str, list[Span]]) -> Iterator[bool]:
    """Measured switches that were knocked out of place on a timed lap: told soon, and stood so for long enough?

    A lap that was not to be a timed one, but whose driver had not heard so at the line, needs no switch in place. A
    switch that was out of place, and was knocked into it, needs no word: an alert then would be a false one.
    """
    car = setup_of(evidence).cars[truth.car]
    for move in truth.switches:
        lap = next((lap for lap in truth.laps if lap.start_s <= move.t < lap.end_s and lap.kind == "timed"), None)
        if move.why != "knocked" or lap is None or move.switch not in car.forbidden_on_timed:
            continue
        if not planned(evidence, truth, lap):
            continue
        switch = car.switch(move.switch)
        before = lap.switches.get(move.switch)
        if switch is None or switch.free_range or before is None or same_position(before, move.position):
            continue
        reports = [stamped.received_t for stamped in evidence.events
                   if isinstance(stamped.event, SwitchReported) and stamped.event.car == truth.car
                   and stamped.event.switch == move.switch and abs(stamped.event.t - move.t) < 0.01]
        if not reports or reports[0] + KNOCK_WITHIN_S > lap.end_s:
            continue
        if _in_place(evidence, truth, lap, move.switch, move.t):
            continue
        name = f"switch-wrong-{truth.car}-{move.switch}"
        yield any(begin <= reports[0] + KNOCK_WITHIN_S and end > move.t for begin, end in spans.get(name, []))
