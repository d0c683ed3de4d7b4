"""The switch card of one car: what each lap needs, what we believe, what telemetry says, and what is still owed.

*Wanted* on a lap = the default for its kind, driver and weather; over it the run's own positions; over that what the
items on that lap ask for. *Believed* = the last position that was said (or read at the release check), *measured* = the
last one that telemetry sent. A put-back whose lap never came (a red flag, a run cut short) stays *owed* until a release
check, a measurement or the driver's word shows the position. One without telemetry that was moved is *doubted* until
then: the driver was told and has not answered, or a preset took it along or let it go.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pitwall.engine.item_arguments import item_switches
from pitwall.engine.progress import ItemState, RunState
from pitwall.model.car import Car, Position, Switch, same_position
from pitwall.model.outputs import SwitchCard
from pitwall.model.plan import LapKind, Plan, Run, lent
from pitwall.model.procedure import Procedure

DONE = ("done", "probably_done")
ANSWERS_ENTERED = 1  # confirmed calls, after which answers are taken to be entered here, and none means something
BRIEFS_ANSWERED = 2  # the same of confirmed briefs: one alone may be a key that somebody tried
OVERTAKEN_S = 5.0  # a report of a change that is older than the newest by more was not overtaken on its way


@dataclass
class SwitchBoard:
    """Mutable switch state of one car."""

    car: Car
    plan: Plan
    procedures: Mapping[str, Procedure]
    wet: bool
    believed: dict[str, Position] = field(default_factory=dict)
    verified: set[str] = field(default_factory=set)
    measured: dict[str, Position] = field(default_factory=dict)
    measured_t: dict[str, float] = field(default_factory=dict)
    measured_before: dict[str, tuple[Position, float]] = field(default_factory=dict)
    reported_t: dict[str, float] = field(default_factory=dict)
    overtaken_t: dict[str, float] = field(default_factory=dict)
    owed: dict[str, Position] = field(default_factory=dict)
    doubted: set[str] = field(default_factory=set)
    told_t: dict[str, float] = field(default_factory=dict)
    told_elsewhere_t: dict[str, float] = field(default_factory=dict)
    """When each switch was last told to leave where it was believed to stand."""
    unsaid: set[str] = field(default_factory=set)
    """Taken to stand where a call asked for, of which nobody said that it was made, and no driver answered."""
    read: dict[str, str] = field(default_factory=dict)
    read_t: dict[str, float] = field(default_factory=dict)
    unanswered: set[str] = field(default_factory=set)
    """Read out at a check list without an answer before the car left: read once more before it leaves again, and in
    doubt where that brings no answer either."""
    unheeded: set[str] = field(default_factory=set)
    """Read out twice to no answer: not a third time before the same leaving."""
    confirms: int = 0
    briefs: set[str] = field(default_factory=set)
    checked_before: bool = False
    driver: str = ""
    _defaults: dict[tuple[LapKind | None, str, bool], dict[str, Position]] = field(default_factory=dict)
    _bases: dict[object, tuple[Plan, Run | None, dict[str, Position]]] = field(default_factory=dict)
    _cards: dict[str, SwitchCard] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._known = {switch.switch: switch for switch in self.car.switches}
        self.driver = self.driver or self.plan.driver
        start = self.plan.starts_with.switches
        for switch in self.car.switches:
            position = switch.wanted(None, self.plan.driver, self.wet)
            if isinstance(start, dict) and switch.switch in start:
                position = start[switch.switch]
            self.believed[switch.switch] = position

    def known(self, name: str) -> Switch | None:
        """The switch of that name."""
        return self._known.get(name)

    def defaults(self, kind: LapKind | None, driver: str, wet: bool) -> dict[str, Position]:
        """Where every switch stands on a lap of this kind with this driver, as long as no run or item wants otherwise;
        a copy that may be changed."""
        found = self._defaults.get((kind, driver, wet))
        if found is None:
            found = {switch.switch: switch.wanted(kind, driver, wet) for switch in self.car.switches}
            self._defaults[kind, driver, wet] = found
        return dict(found)

    def wanted(
        self, run: RunState | None, leg: int, again: bool = False, instead: LapKind | None = None
    ) -> dict[str, Position]:
        """Position of every switch on a planned lap of a run; momentary and stationary ones keep their default.

        ``again``: this planned lap is driven once more, and what is done of it is not. ``instead``: a lap of this kind
        is driven in its place, without its items. A cool-down lap that a board lends to the timed lap after it has
        nothing of its own.
        """
        if run is not None and instead is None and lent(self.plan.medium, run.laps, leg):
            leg, again = leg + 1, False
        base = self.without_items(run, leg, instead)
        if run is None or not run.items:
            return base
        found = dict(base)
        for item in sorted(run.items, key=lambda one: one.leg):
            procedure = self.procedures.get(item.item.do)
            if procedure is None or item.state in ("dropped", "not_done"):
                continue
            behind = item.leg < leg or (item.leg == leg and (item.behind or (again and item.state in DONE)))
            stays = behind and not (item.item.put_back and procedure.put_back)
            if (item.leg == leg and not behind and instead is None) or stays:
                asked = item_switches(procedure, item, base)
                found.update({name: position for name, position in asked.items() if name in found})
        return found

    def without_items(self, run: RunState | None, leg: int, instead: LapKind | None = None) -> dict[str, Position]:
        """The same without what items ask for: the defaults, and over them the run's own positions; a copy."""
        kind: LapKind | None = instead or (run.laps[leg] if run is not None and run.laps else None)
        ready = run.set_up_as if run is not None else None
        # What was set in the garage stays while the car is out: another plan counts from the next run on.
        wet = run.left_wet if run is not None and run.state == "running" and run.left_wet is not None else self.wet
        by = kind, self.driver, wet, id(self.plan), id(ready)
        kept = self._bases.get(by)
        if kept is None or kept[0] is not self.plan or kept[1] is not ready:
            # Plan and run are held as well: by an id alone something else could be meant in time.
            kept = self._bases[by] = self.plan, ready, self._base(kind, ready, wet)
        return dict(kept[2])

    def _base(self, kind: LapKind | None, ready: Run | None, wet: bool) -> dict[str, Position]:
        driver = self.plan.driver_of(ready) if ready is not None else self.driver
        found = self.defaults(kind, driver, wet)
        for holder in (self.plan.original(ready), ready) if ready is not None else ():
            found.update({name: position for name, position in holder.switches.items() if name in found})
        return found

    def item_wants(self, run: RunState, item: ItemState) -> dict[str, Position]:
        """Positions that this item asks for on its lap, of the switches that the car has."""
        procedure = self.procedures.get(item.item.do)
        if procedure is None:
            return {}
        base = self.without_items(run, item.leg)
        return {name: to for name, to in item_switches(procedure, item, base).items() if name in base}

    def changes(
        self, before: Mapping[str, Position | None], after: Mapping[str, Position], free: bool = False,
        parked: bool = False,
    ) -> dict[str, Position]:
        """What must be changed between two laps: the switches a driver is told to move, with the position to go to.

        ``free``: a bias within its free range counts as in place. Not so between two laps of the plan: a step that an
        item asks for is meant, however small. ``parked``: the car stands, so stationary switches can be moved.
        """
        found: dict[str, Position] = {}
        others = [name for name, position in after.items() if before.get(name) is not position]
        for name in sorted(others) if len(others) > 1 else others:
            stands = before.get(name)
            switch = self.known(name)
            if switch is None or switch.kind == "momentary" or (switch.kind == "stationary" and not parked):
                continue
            near = self._near_enough(switch, stands, after[name]) if free else same_position(stands, after[name])
            if not near:
                found[name] = after[name]
        return found

    def stands(self, name: str) -> Position | None:
        """Where the switch is taken to stand: measured if there is a measurement, else believed."""
        return self.measured.get(name, self.believed.get(name))

    def differs(self, wanted: Mapping[str, Position], parked: bool = False) -> dict[str, Position]:
        """Switches that do not stand where they are wanted; stationary ones only where the car is ``parked``."""
        measured, believed = self.measured, self.believed
        standing = {name: measured.get(name, believed.get(name)) for name in wanted}
        return self.changes(standing, wanted, free=True, parked=parked)

    def measured_off(self, positions: Mapping[str, Position]) -> list[str]:
        """Which of these switches telemetry shows at another position."""
        off = self.differs(positions)
        return [name for name in sorted(off) if name in self.measured]

    def measured_at(self, positions: Mapping[str, Position]) -> bool:
        """Does telemetry show all of these switches in place?"""
        return all(name in self.measured for name in positions) and not self.differs(positions)

    def wrong(self, wanted: Mapping[str, Position]) -> tuple[list[str], list[str]]:
        """``(measured wrong, unverified)`` among the switches that must be in place when a timed lap starts."""
        watch = self.watched(wanted)
        off = self.differs({name: wanted[name] for name in watch if name in wanted})
        wrong = [name for name in sorted(off) if name in self.measured]
        unsure = [name for name in sorted({*off, *self.in_doubt()}) if name not in self.measured and name in watch]
        return wrong, unsure

    def watched(self, wanted: Mapping[str, Position]) -> tuple[str, ...]:
        """The switches that must be in place when a timed lap starts."""
        return self.car.forbidden_on_timed or tuple(sorted(wanted))

    def in_doubt(self) -> list[str]:
        """Switches without telemetry that were moved and that nothing shows to be back."""
        return sorted({*self.owed, *self.doubted} - set(self.measured)) if self.owed or self.doubted else []

    def _near_enough(self, switch: Switch, stands: Position | None, wanted: Position) -> bool:
        if same_position(stands, wanted):
            return True
        if switch.kind == "bias" and switch.free_range and stands is not None:
            return abs(float(stands) - float(wanted)) <= switch.free_range + 1e-9
        return False

    # -- evidence ------------------------------------------------------------------------------------------------

    def told(
        self, positions: Mapping[str, Position], sure: bool, told_t: float | None, check: str | None = None,
        now: float = 0.0,
    ) -> None:
        """A call was made, or may have been; what telemetry speaks of is left to it.

        Args:
            positions: what the call asks for.
            sure: the driver read it back, or did it.
            told_t: when it was said, session seconds; None when nobody knows. What was said later stands.
            check: the check list that it is a part of.
            now: when that is learnt, session seconds.
        """
        self.confirms += sure and bool(positions)
        for name, position in positions.items():
            later = told_t is not None and told_t > self.told_t.get(name, told_t)
            again = later and check is not None and (self.read.get(name) == check or name in self.unanswered)
            stands = same_position(self.believed.get(name), position)
            if check is not None:
                self.read[name], self.read_t[name] = check, now if told_t is None else told_t
            if name in self.measured or (again and not sure and stands and name in self.verified):
                continue  # read once more for others of its group: the driver has answered about this one
            if told_t is not None and told_t < self.told_t.get(name, told_t):
                if sure and stands and told_t >= self.told_elsewhere_t.get(name, told_t):
                    self.said(name, position, sure)  # an answer to the first time, and nothing else was told since
                continue
            if told_t is not None:
                self.told_t[name] = told_t
                self.told_elsewhere_t.update({} if stands else {name: told_t})
            self.said(name, position, sure)
            self.unsaid |= {name} if not sure and told_t is None else set()
            if again and not sure:
                self.doubted.add(name)  # read twice to no answer: the driver may have heard anything
                (self.unheeded.add if stands else self.unheeded.discard)(name)

    def unheard(self, positions: Mapping[str, Position]) -> None:
        """A call ended over which nobody was heard: what it asks to be moved is taken to stand where it stood, but
        nobody knows. A preset may have taken along what it sets."""
        moved = {name: to for name, to in positions.items() if not same_position(self.believed.get(name), to)}
        presets = [known for name in moved if (known := self.known(name)) is not None and known.kind == "preset"]
        taken_along = {other for preset in presets for other in preset.sets if other in self._known}
        doubtful = {*moved, *taken_along} - set(self.measured)
        self.doubted |= doubtful
        self.verified -= doubtful

    def said(self, name: str, position: Position, sure: bool) -> None:
        """The driver was told (``sure``: and read it back or did it)."""
        before = self.believed.get(name)
        self.believed[name] = position
        self.unsaid.discard(name)
        self._spread(name, position, before, sure)
        if sure:
            self.verified.add(name)
            self.owed.pop(name, None)
            self.doubted.discard(name)
            self.unanswered.discard(name)
        else:
            self.verified.discard(name)
            self.doubted.update(() if same_position(before, position) else {name})

    def overtaken(self, name: str, t: float) -> bool:
        """Guard: a later report of this switch came before this one of session second ``t``, which tells no more where
        it stands. One that is older still is no late one, nor is a second one in a row that goes on from the first: the
        clock of the telemetry was put back."""
        newest, late = self.reported_t.get(name, t), self.overtaken_t.pop(name, t)
        if newest - OVERTAKEN_S <= t < newest and late >= t:
            self.overtaken_t[name] = t
            return True
        self.reported_t[name] = t
        return False

    def measure(self, name: str, position: Position, t: float) -> None:
        """Telemetry says where the switch stands; a preset moves the others it sets. ``measured_before``: where it
        stood before its last move, and when telemetry showed that move."""
        stood = self.measured.get(name)
        if stood is not None and not same_position(stood, position):
            self.measured_before[name] = (stood, t)
        self.measured[name] = position
        self.measured_t[name] = t
        self.unsaid.discard(name)
        before, self.believed[name] = self.believed.get(name), position
        self._spread(name, position, before, sure=True)
        self.verified.add(name)
        self.doubted.discard(name)
        self.unanswered.discard(name)
        if name in self.owed and same_position(self.owed[name], position):
            del self.owed[name]

    def _spread(self, name: str, position: Position, before: Position | None, sure: bool) -> None:
        """A preset takes the switches it sets along; those with telemetry speak for themselves. Where nobody knows
        whether it was pressed, and where it was let go, which may leave what it set or not, they are doubted."""
        preset = self.known(name)
        if preset is None or preset.kind != "preset":
            return
        moved, home = not same_position(before, position), same_position(position, preset.default)
        for other, to in sorted(preset.sets.items()):
            stands, known = self.believed.get(other), self.known(other)
            if other in self.measured or known is None:
                continue
            may = known.default if home else to
            if moved and (home or not sure) and not same_position(stands, may):
                self.doubted.add(other)
            if not home:
                self.believed[other] = to
                self.verified.discard(other)

    def owe(self, name: str, position: Position) -> None:
        """A put-back was not confirmed and its lap is gone: it stays owed."""
        if not same_position(self.stands(name), position) or name not in self.verified:
            self.owed[name] = position

    def release_list(
        self, wanted: Mapping[str, Position], again: bool = False, check: str | None = None
    ) -> dict[str, Position]:
        """What the check before release reads out: everything the first time, then what differs, is owed or in doubt.

        Args:
            wanted: where every switch is wanted as the car leaves.
            again: it was read out for this leaving already, and the plan changed since.
            check: the check list that is being read; what was read of it stays on it, so that its groups stay.
        """
        if not self.checked_before and not again:
            return {name: wanted[name] for name in sorted(wanted) if self._read_out(name, wanted[name])}
        begun = {name for name, by in self.read.items() if by == check}
        names = sorted({*self.differs(wanted, parked=True), *self.owed, *self.in_doubt(), *begun, *self.unanswered})
        return {name: wanted[name] for name in names if name in wanted and not self._of_the_lane(name)}

    def answered(self, call: str) -> None:
        """The driver's answer to this call, a brief, was entered."""
        self.briefs.add(call)

    @property
    def answers_entered(self) -> bool:
        """Is this an engineer who enters what the driver answers, about switches or to one brief after another before
        they are read out? Then no answer means something."""
        return self.confirms >= ANSWERS_ENTERED or len(self.briefs) >= BRIEFS_ANSWERED

    def moved_t(self, name: str) -> float:
        """When telemetry last showed the switch in another position than before, session seconds; else -infinity."""
        return self.measured_before[name][1] if name in self.measured_before else float("-inf")

    def unread(self, positions: Mapping[str, Position]) -> bool:
        """Does nothing show that these stand so, neither telemetry nor the driver's word, who was not asked twice?
        What telemetry shows elsewhere is told by itself (``left_over``)."""
        off = set(self.differs(positions, parked=True)) - set(self.measured)
        return any(name in off or not (name in self.measured or name in self.verified or name in self.unheeded)
                   for name in positions)

    def left(self) -> None:
        """The car left the garage: the check list is behind it."""
        self.checked_before = True
        if self.answers_entered:
            self.unanswered |= {name for name in self.read if name not in self.verified}
            # Read last, it could not be read again, or not in time: nobody knows what the driver heard.
            self.doubted |= self.unanswered - set(self.measured)
        self.read.clear()
        self.read_t.clear()
        self.unheeded.clear()

    def _read_out(self, name: str, wanted: Position) -> bool:
        """The first check has every switch; a preset only where one is on, or to be: its button has no position."""
        switch = self.known(name)
        if switch is None or switch.kind != "preset":
            return switch is not None and switch.kind != "momentary" and not self._of_the_lane(name)
        return not (same_position(self.stands(name), switch.default) and same_position(wanted, switch.default))

    def _of_the_lane(self, name: str) -> bool:
        """Guard: the driver works it at the pit entry and exit; where it stands in the garage is no fault."""
        switch = self.known(name)
        return switch is not None and switch.lane is not None

    def cards(self, wanted: Mapping[str, Position], parked: bool = False) -> tuple[SwitchCard, ...]:
        """The published switch card; ``parked``: in pit lane or garage what belongs there stands right."""
        return tuple(self._card(switch, self._right(switch, wanted, parked)) for switch in self.car.switches)

    def _right(self, switch: Switch, wanted: Mapping[str, Position], parked: bool) -> Position:
        if parked and switch.lane is not None and same_position(self.measured.get(switch.switch), switch.lane):
            return switch.lane
        return wanted.get(switch.switch, switch.default)

    def _card(self, switch: Switch, wanted: Position) -> SwitchCard:
        """One card; it is made anew only when something on it changed."""
        name = switch.switch
        shown = (wanted, self.believed.get(name), self.measured.get(name), name in self.verified, name in self.owed)
        card = self._cards.get(name)
        # By identity: 1, 1.0 and true are equal, but not the same on the wire.
        if card is None or (card.wanted is not shown[0] or card.believed is not shown[1]
                            or card.measured is not shown[2] or card.verified != shown[3] or card.owed != shown[4]):
            believed, measured, verified, owed = shown[1:]
            card = SwitchCard(switch=name, word=switch.word, wanted=wanted, believed=believed, measured=measured,
                              verified=verified, owed=owed)
            self._cards[name] = card
        return card
