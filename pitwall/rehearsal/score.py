"""Judging the truth: which positions a timed lap may have, and the figures of a report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from pitwall.model.base import Frozen
from pitwall.model.car import Car, Position, same_position
from pitwall.model.plan import Item, LapKind, Plan, Run, Scalar
from pitwall.model.procedure import Procedure
from pitwall.rehearsal.truth import CarTruth, WorldOutcome, WrongSwitch


def sits_on(item: Item, kind: LapKind, number: int, procedure: Procedure | None) -> bool:
    """True when the plan puts the item on the ``number``-th lap of this kind."""
    if not item.on:
        return procedure is None or not procedure.laps or kind in procedure.laps
    return any(choice.kind == kind and (not choice.numbers or number in choice.numbers) for choice in item.on)


def _filled(value: Scalar, arguments: Mapping[str, Scalar]) -> Scalar | None:
    if isinstance(value, str) and value.startswith("{") and value.endswith("}"):
        return arguments.get(value[1:-1])
    return value


def item_positions(item: Item, procedure: Procedure, base: Mapping[str, Position]) -> dict[str, Position]:
    """Where this item wants which switches; ``by`` steps from ``base``."""
    arguments = {name: given.default for name, given in procedure.arguments.items() if given.default is not None}
    arguments.update(item.arguments)
    found: dict[str, Position] = {}
    for name, position in sorted(procedure.switches.items()):
        switch, wanted = _filled(name, arguments), _filled(position, arguments)
        if isinstance(switch, str) and wanted is not None:
            found[switch] = wanted
    switch, step = arguments.get("switch"), arguments.get(procedure.by) if procedure.by else None
    if isinstance(switch, str) and isinstance(step, int | float) and switch in base:
        found[switch] = float(base[switch]) + float(step)
    return found


class LapRule:
    """What a timed lap's switches may be, straight from the files: default, run, items of that lap."""

    def __init__(self, car: Car, plan: Plan, procedures: Mapping[str, Procedure], wet: bool) -> None:
        self._car, self._plan, self._procedures, self._wet = car, plan, procedures, wet

    def run_positions(self, run: Run | None) -> dict[str, Position]:
        """The positions for a timed lap of this run without its items."""
        driver = self._plan.driver_of(run)
        base = {switch.switch: switch.wanted("timed", driver, self._wet) for switch in self._car.switches}
        if run is not None:
            base.update(self._plan.original(run).switches)
            base.update(run.switches)
        return base

    def wrong(
        self, run: Run | None, number: int, positions: Mapping[str, Position],
        before: Sequence[tuple[int, Mapping[str, Position]]] = (),
    ) -> tuple[WrongSwitch, ...]:
        """Switches that must not stand where they stand as the ``number``-th timed lap of the run begins.

        ``before``: number, and positions as it began, of each timed lap of this run that was driven before; not of one
        that a flag spoilt or that was broken off, on which nothing is compared. An item whose own lap began without its
        position may be made up for once: nobody sends a car home for a call that found no place.
        """
        base = self.run_positions(run)
        allowed: dict[str, list[Position]] = {name: [position] for name, position in base.items()}
        for item in run.items if run is not None else ():
            procedure = self._procedures.get(item.do)
            if procedure is None:
                continue
            on_this = sits_on(item, "timed", number, procedure)
            earlier = any(sits_on(item, "timed", n, procedure) for n in range(1, number))
            wanted = item_positions(item, procedure, base)
            if on_this or (earlier and (not item.put_back or _still_to_do(item, procedure, wanted, before))):
                for name, position in wanted.items():
                    allowed.setdefault(name, []).append(position)
        watched = self._car.forbidden_on_timed or tuple(sorted(base))
        found = [
            WrongSwitch(switch=name, position=positions[name], allowed=tuple(allowed[name]))
            for name in watched
            if name in positions and not self._may_stand(name, positions[name], allowed.get(name, []))
        ]
        return tuple(found)

    def _may_stand(self, name: str, position: Position, allowed: list[Position]) -> bool:
        switch = self._car.switch(name)
        if switch is None or switch.kind in ("momentary", "stationary"):
            return True
        if any(same_position(position, wanted) for wanted in allowed):
            return True
        if switch.kind == "bias" and switch.free_range:
            return any(abs(float(position) - float(wanted)) <= switch.free_range + 1e-9 for wanted in allowed)
        return False


def _still_to_do(
    item: Item, procedure: Procedure, wanted: Mapping[str, Position],
    before: Sequence[tuple[int, Mapping[str, Position]]],
) -> bool:
    """True when laps of this item were driven, and neither they nor any lap since had its positions."""
    own = [number for number, _ in before if sits_on(item, "timed", number, procedure)]
    since = [positions for number, positions in before if own and number >= own[0]]
    return bool(since) and not any(all(same_position(positions.get(name), position)
                                       for name, position in wanted.items()) for positions in since)


class CallScore(Frozen):
    """Calls as spoken, against their windows."""

    spoken: int
    in_window: int
    early: int
    late: int
    repeated: int
    misheard: int
    read_back: int
    never_spoken: dict[str, int]


class BoxScore(Frozen):
    """Box calls as heard."""

    heard: int
    in_time: int
    too_late: int


class LapScore(Frozen):
    """Laps as driven."""

    timed: int
    forbidden_switch: int
    by_kind: dict[str, int]
    by_driver: dict[str, int]


class ProcedureScore(Frozen):
    """Procedures as carried out."""

    told: int
    done: int
    by_name: dict[str, int]
    not_done: dict[str, int]


class CarScore(Frozen):
    """One car's session in figures, from the truth alone."""

    calls: CallScore
    boxes: BoxScore
    laps: LapScore
    procedures: ProcedureScore
    releases: int
    keys_pressed: int
    keys_refused: int


def score_car(truth: CarTruth) -> CarScore:
    """The figures of one car."""
    first = [call for call in truth.calls if not call.repeat]
    kinds = Counter(lap.kind for lap in truth.laps)
    # A procedure of several steps is told in several calls: what counts is that it was done on that lap.
    done = {(item.procedure, item.item, item.lap) for item in truth.procedures if item.done}
    told = {(item.procedure, item.item, item.lap) for item in truth.procedures}
    failed = Counter(item.reason or "no reason" for item in truth.procedures if not item.done)
    boxes = truth.boxes
    return CarScore(
        calls=CallScore(
            spoken=len(first), in_window=sum(call.in_window for call in first),
            early=sum(call.start_s < call.say_from_s - 1e-6 for call in first),
            late=sum(call.start_s > call.say_by_s + 1e-6 for call in first),
            repeated=len(truth.calls) - len(first), misheard=sum(call.misheard for call in truth.calls),
            read_back=sum(call.read_back for call in truth.calls),
            never_spoken=dict(sorted(Counter(call.reason for call in truth.never_spoken).items())),
        ),
        boxes=BoxScore(heard=len(boxes), in_time=sum(box.in_time for box in boxes),
                       too_late=sum(not box.in_time for box in boxes)),
        laps=LapScore(timed=kinds["timed"], forbidden_switch=sum(bool(lap.wrong) for lap in truth.laps),
                      by_kind=dict(sorted(kinds.items())),
                      by_driver=dict(sorted(Counter(lap.driver or "nobody" for lap in truth.laps).items()))),
        procedures=ProcedureScore(told=len(told), done=len(done),
                                  by_name=dict(sorted(Counter(name for name, _, _ in done).items())),
                                  not_done=dict(sorted(failed.items()))),
        releases=sum(release.exit_s is not None for release in truth.releases),
        keys_pressed=truth.keys_pressed, keys_refused=len(truth.refusals),
    )  # fmt: skip


def score(outcome: WorldOutcome) -> dict[str, CarScore]:
    """The figures of every team car, by number."""
    return {number: score_car(truth) for number, truth in sorted(outcome.cars.items())}
