"""Every afternoon that a small plan can have, lived through: the truth that the static proof is measured against.

Not imported by pitwall, and written from the other end: here nothing is abstract. The whole wheel is there, the
daemon's own switch board and plan progress say what is wanted, listed, owed and gone on with, the calls have the groups
that the daemon makes, and a world goes through the session call by call. Wherever the day can go another way it is
copied and goes both ways. Worlds that are equal in everything are lived once, and no afternoon has more than
``MOST_OUT_OF_PLAN`` things out of plan. What was out of plan is counted, so the first world to reach a timed lap with a
wrong switch has the fewest things out of plan.
"""

from __future__ import annotations

import copy
import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pitwall.engine import items
from pitwall.engine.progress import PlanProgress, RunState
from pitwall.engine.switches import SwitchBoard
from pitwall.model.car import Car, Position, Switch, same_position
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure

ON_THE_ROAD, BEFORE_RELEASE = 2, 4  # switches in one call, as the daemon's rules have them
ALONE = 1  # on the road, where the listening stretches are known and no board is shown
MOST_OUT_OF_PLAN = 4  # things out of plan on one afternoon; the shortest story of a wrong start has hardly ever more
MOST_WORLDS = 1_000
NESTED_PRESETS = 3
T = 0.0  # no clock is needed: what happens has an order, not a time

Wrong = tuple[str, str, int]
"""(switch, run, index of the timed lap in the run's laps)."""


Missed = Callable[[str, int, frozenset[str]], bool]


class TooManyWorlds(Exception):
    """The plan is not small."""


@dataclass
class World:
    """One afternoon so far."""

    board: SwitchBoard
    progress: PlanProgress
    wheel: dict[str, Position]
    told: dict[str, Position]
    spoke: set[str] = field(default_factory=set)
    asked: dict[str, set[tuple[str, str]]] = field(default_factory=dict)
    on_track: bool = False
    missed: int = 0
    shared: bool = False

    def twin(self) -> World:
        """The same afternoon, to go another way."""
        board = copy.copy(self.board)
        for name in ("believed", "verified", "measured", "measured_t", "owed", "doubted"):
            setattr(board, name, getattr(board, name).copy())
        self.shared = True  # until one of the two changes it
        return World(board, self.progress, dict(self.wheel), dict(self.told), set(self.spoke),
                     {run: set(asked) for run, asked in self.asked.items()}, self.on_track, self.missed, shared=True)

    def own_progress(self) -> PlanProgress:
        """The progress of this world alone, to be changed."""
        if self.shared:
            progress, self.shared = copy.copy(self.progress), False
            progress.runs = [copy.copy(run) for run in self.progress.runs]
            for run in progress.runs:
                run.items = [copy.copy(item) for item in run.items]
            self.progress = progress
        return self.progress

    def key(self) -> tuple[Any, ...]:
        """Everything on which the rest of the day depends."""
        board = self.board
        runs = tuple(
            (run.state, run.pointer, run.timed_done, run.resume_at, run.boxed_early, run.boxed_from,
             tuple((item.leg, item.state) for item in run.items))
            for run in self.progress.runs)
        return (
            self.on_track, self.missed, runs, _texts(self.wheel), _texts(self.told), tuple(sorted(self.spoke)),
            _texts(board.believed), tuple(sorted(board.verified)), _texts(board.owed), board.checked_before,
            tuple((run, tuple(sorted(asked))) for run, asked in sorted(self.asked.items())),
        )


def _texts(positions: Mapping[str, Position]) -> tuple[tuple[str, str], ...]:
    return tuple((name, _text(position)) for name, position in sorted(positions.items()))


def _text(position: Position) -> str:
    try:
        return f"{float(position):.6g}"
    except ValueError:
        return str(position).lower()


@dataclass(frozen=True)
class Truth:
    """``wrong``: for each number of missed calls allowed, each wrong start with the fewest things out of plan."""

    wrong: tuple[dict[Wrong, int], ...]
    worlds: int
    stands: dict[tuple[str, int], set[tuple[str, str]]]


class Afternoons:
    """All afternoons of one plan."""

    def __init__(
        self, plan: Plan, car: Car, procedures: Mapping[str, Procedure], wet: bool = False, misses: int = 1,
        on_the_road: int = ON_THE_ROAD,
    ) -> None:
        self.on_the_road = on_the_road
        self.plan, self.car, self.procedures, self.misses = plan, car, procedures, misses
        board = SwitchBoard(car, plan, procedures, wet)
        self.first = World(board, PlanProgress(plan), dict(board.believed), dict(board.believed))
        for switch in car.switches:
            if switch.measured:
                board.measure(switch.switch, self.first.wheel[switch.switch], T)
        self._script: tuple[Missed, str] | None = None
        self.watched = set(car.forbidden_on_timed) or {
            switch.switch for switch in car.switches if switch.kind != "stationary"}

    def live(self, most_worlds: int = MOST_WORLDS) -> Truth:
        """Go through all of them, those with the least out of plan first.

        Raises:
            TooManyWorlds: when there are more than ``most_worlds``.
        """
        seen: set[Any] = set()
        wrong: tuple[dict[Wrong, int], ...] = tuple({} for _ in range(self.misses + 1))
        stands: dict[tuple[str, int], set[tuple[str, str]]] = {}
        layers: list[list[World]] = [[self.first]]
        for cost, layer in enumerate(layers):
            for world in layer:
                key = world.key()
                # The same with a call less missed can do all that this one can.
                if key in seen or (world.missed and (key[0], 0, *key[2:]) in seen):
                    continue
                seen.add(key)
                if len(seen) > most_worlds:
                    raise TooManyWorlds
                self._look(world, cost, wrong, stands)
                for more, following in self._what_may_happen(world):
                    if cost + more > MOST_OUT_OF_PLAN:
                        continue
                    while len(layers) <= cost + more:
                        layers.append([])
                    (layer if more == 0 else layers[cost + more]).append(following)
        return Truth(wrong, len(seen), stands)

    def _look(self, world: World, cost: int, wrong: Sequence[dict[Wrong, int]], stands: dict[Any, Any]) -> None:
        run = world.progress.current
        if not world.on_track or run is None:
            return
        stands.setdefault((run.run.run, run.pointer), set()).update(_texts(world.wheel))
        if run.laps[run.pointer] != "timed":
            return
        wanted = world.board.wanted(run, run.pointer)
        off = world.board.changes(world.wheel, {name: wanted[name] for name in self.watched}, free=True, parked=True)
        for name in off:
            for allowed in range(world.missed, self.misses + 1):
                wrong[allowed].setdefault((name, run.run.run, run.pointer), cost)

    def as_planned(
        self, missed: Missed | None = None, how: str = "yes", red: tuple[str, int] | None = None
    ) -> list[tuple[str, int, dict[str, Position]]]:
        """One afternoon with nothing out of plan but the calls that ``missed`` picks: the wheel at each lap start.

        Args:
            missed: of (run, lap that the call is for, switches it names), is it missed?
            how: what the driver answers to a missed call: yes, maybe or no (see ``_missed``).
            red: the run and lap on which a red flag comes, before any call of that lap; the first time only.
        """
        self._script = (missed or (lambda run, leg, names: False), how)
        found: list[tuple[str, int, dict[str, Position]]] = []
        world: World | None = self.first.twin()
        while world is not None:
            run = world.progress.current
            if world.on_track and run is not None:
                found.append((run.run.run, run.pointer, dict(world.wheel)))
            if red is not None and world.on_track and run is not None and (run.run.run, run.pointer) == red:
                red = None
                _, world = next(self._cut(world, [], 0, run, boxed=False))
                continue
            world = next((after for cost, after in self._what_may_happen(world) if cost == 0), None)
        self._script = None
        return found

    # -- one moment after the other --------------------------------------------------------------------------------

    def _what_may_happen(self, world: World) -> Iterator[tuple[int, World]]:
        for cost, stirred in self._by_themselves(world):
            for more, following in self._on_track(stirred) if world.on_track else self._in_the_garage(stirred):
                yield cost + more, following
        nxt = world.progress.next
        if not world.on_track and nxt is not None:
            other = world.twin()
            other.own_progress().drop_run(_same(other, nxt), T, "dropped")
            yield 1, other

    def _by_themselves(self, world: World) -> Iterator[tuple[int, World]]:
        """Free ranges used (on track), pages gone home."""
        worlds: list[tuple[int, World]] = [(0, world)]
        for switch in self.car.switches:
            so_far = list(worlds)
            for there in self._drifts(world, switch):
                for cost, before in so_far:
                    other = before.twin()
                    other.wheel[switch.switch] = there
                    if switch.kind == "paged":
                        other.told[switch.switch] = there
                    self._telemetry(other, switch)
                    if len(worlds) > 80:
                        raise TooManyWorlds
                    worlds.append((cost + 1, other))
        return iter(worlds)

    def _drifts(self, world: World, switch: Switch) -> list[Position]:
        name = switch.switch
        if switch.kind == "paged" and switch.home is not None and not same_position(world.wheel[name], switch.home):
            return [switch.home]
        if switch.kind == "bias" and switch.free_range and world.on_track:
            about, low, high = float(world.told[name]), float(switch.low or 0), float(switch.high or 0)
            places = {round(min(max(about + by, low), high), 6) for by in (-switch.free_range, 0, switch.free_range)}
            return [place for place in sorted(places) if not same_position(place, world.wheel[name])]
        return []

    def _in_the_garage(self, world: World) -> Iterator[tuple[int, World]]:
        state = world.progress.next
        if state is None:
            return
        for cost, ready in self._left_out(world, state, 0):
            listed = list(ready.board.release_list(ready.board.wanted(_same(ready, state), 0)).items())
            groups = [dict(listed[at:at + BEFORE_RELEASE]) for at in range(0, len(listed), BEFORE_RELEASE)]
            for more, out in self._speak(ready, groups, None):
                out.own_progress().leave(T)
                out.board.left()
                out.on_track = True
                out.spoke.clear()
                yield cost + more, out

    def _on_track(self, world: World) -> Iterator[tuple[int, World]]:
        run = world.progress.current
        assert run is not None
        if run.out_in or run.pointer == len(run.laps) - 1:
            home = world.twin()
            self._park(home, red=False)
            yield 0, home
            return
        following = run.resume_at if run.pointer == 0 else run.pointer + 1
        for out, before in self._taken_out(world, run, run.pointer):
            for cost, ready in self._left_out(before, run, following):
                groups = self._calls_between(ready, following)
                for more, on in self._speak(ready, groups, run.run.run):
                    for late, changed in self._thought_over(on, run, following, groups):
                        self._cross_the_line(changed, following)
                        yield out + cost + more + late, changed
        yield from self._end_here(world, run, following)

    def _taken_out(self, world: World, run: RunState, leg: int) -> Iterator[tuple[int, World]]:
        """The engineer takes out none, some or all items that are being done, or whose switches were called for."""
        kept = [number for number, item in enumerate(run.items) if item.leg == leg
                and world.board.item_wants(run, item) and item.state in ("planned", "called")]
        yield from self._without_some(world, run, kept, "taken out")

    def _thought_over(self, world: World, run: RunState, following: int, told: Sequence[Mapping[str, Position]]
                      ) -> Iterator[tuple[int, World]]:
        """The calls of this lap are made; then an item of the next one is taken out: what it changed must go back."""
        said = {name: to for group in told for name, to in group.items()}
        for count, other in self._taken_out(world, run, following):
            if not count:
                yield 0, other
                continue
            back = {name: to for group in self._calls_between(other, following) for name, to in group.items()
                    if name not in said or not same_position(said[name], to)}
            for more, after in self._speak(other, _in_groups(back, self.on_the_road), run.run.run):
                yield count + more, after

    def _end_here(self, world: World, run: RunState, following: int) -> Iterator[tuple[int, World]]:
        """A red flag, or the run called in: after none, some or all of the calls of this lap."""
        for cost, ready in self._left_out(world, run, following):
            yield from self._cut(ready, self._calls_between(ready, following), cost, run, boxed=False)
        last = len(run.laps) - 1
        if run.pointer > 0 and not self.plan.may_say("switch", run.laps[last - 1]):
            for cost, ready in self._left_out(world, run, last):
                off = ready.board.differs(ready.board.wanted(_same(ready, run), last))
                yield from self._cut(ready, _in_groups(off, self.on_the_road), cost, run, boxed=True)

    def _cut(self, world: World, groups: list[dict[str, Position]], cost: int, run: RunState, boxed: bool
             ) -> Iterator[tuple[int, World]]:
        """By a red flag and, where the run then counts with fewer laps, called in; called in and a flag on top."""
        apart = run.enough(cut=True) != run.enough(cut=False)
        for number in range(len(groups) + 1):
            for more, spoken in self._speak(world, groups[:number], run.run.run, may_miss=False):
                for red in (True, False) if apart else (not boxed,):
                    ended = spoken.twin()
                    if boxed:
                        ended.own_progress().box_now()
                    self._park(ended, red)
                    yield cost + more + 1 + (boxed and red), ended

    def _left_out(self, world: World, run: RunState, leg: int) -> Iterator[tuple[int, World]]:
        """The engineer takes out none, some or all items of the lap to come."""
        planned = [number for number, item in enumerate(run.items) if item.leg == leg and item.state == "planned"]
        yield from self._without_some(world, run, planned, "left out")

    def _without_some(self, world: World, run: RunState, items: list[int], why: str) -> Iterator[tuple[int, World]]:
        """None, some or all of these items gone: how many, and the world without them."""
        for count in range(len(items) + 1):
            for gone in itertools.combinations(items, count):
                other = world.twin()
                if gone:
                    other.own_progress()
                for number in gone:
                    _same(other, run).items[number].signal("fail", T, why)
                yield count, other

    def _calls_between(self, world: World, following: int) -> list[dict[str, Position]]:
        run, board = world.progress.current, world.board
        assert run is not None
        before, after = run.laps[run.pointer], run.laps[following]
        wanted = board.wanted(run, following)
        if after != "timed" and not self.plan.may_say("switch", before):
            return _in_groups(board.differs(wanted), self.on_the_road)
        planned = board.changes(board.wanted(run, run.pointer), wanted)
        off = board.differs(wanted)
        names = {name: to for name, to in {**off, **planned}.items()
                 if name in off or not (name in world.spoke and name in board.measured)}
        return list(reversed(_in_groups(names, self.on_the_road)))

    def _cross_the_line(self, world: World, following: int) -> None:
        run = world.own_progress().current
        assert run is not None
        leg = run.pointer
        for item in run.items:
            if item.leg == following:
                item.signal("call", T)
            if item.leg == leg == 0:
                item.signal("call", T)
        world.progress.lap_done(run.laps[leg])
        items.lap_over(run, leg, self.procedures, T)
        assert run.pointer == following
        world.spoke.clear()

    def _park(self, world: World, red: bool) -> None:
        run = world.own_progress().current
        assert run is not None
        for item in run.items:
            if item.leg == run.pointer and run.boxed_from is None:
                item.signal("call", T)
        ended = world.progress.come_in(T, red)
        assert ended is not None
        items.run_over(ended, self.procedures, T)
        base = world.board.wanted(ended, 0)
        for name, position in sorted(world.asked.get(ended.run.run, ())):
            if _text(base[name]) != position:
                world.board.owe(name, base[name])
        if ended.state not in ("cut", "next"):
            world.asked.pop(ended.run.run, None)
        world.on_track = False
        world.spoke.clear()

    # -- speaking and doing ----------------------------------------------------------------------------------------

    def _speak(self, world: World, groups: Iterable[Mapping[str, Position]], run: str | None, may_miss: bool = True
               ) -> Iterator[tuple[int, World]]:
        """The calls, one after the other; each is made, or missed while misses are left."""
        worlds: list[tuple[int, World]] = [(0, world.twin())]
        if self._script is not None:
            yield self._by_script(world.twin(), groups, run, *self._script)
            return
        for group in groups:
            further: list[tuple[int, World]] = []
            for cost, before in worlds:
                further += [(cost + more, after) for more, after in self._made(before, group, run)]
                if may_miss and before.missed < self.misses:
                    further += [(cost + 1, self._missed(before, group, run, how)) for how in ("yes", "maybe", "no")]
            worlds = further
        yield from worlds

    def _by_script(
        self, world: World, groups: Iterable[Mapping[str, Position]], run: str | None, missed: Missed, how: str
    ) -> tuple[int, World]:
        state = world.progress.next if run is None else world.progress.current
        assert state is not None
        leg = 0 if run is None else state.resume_at if state.pointer == 0 else state.pointer + 1
        for group in groups:
            if missed(state.run.run, leg, frozenset(group)):
                world = self._missed(world, group, run, how)
                continue
            _, world = next(self._made(world, group, run))
        return 0, world

    def _missed(self, world: World, group: Mapping[str, Position], run: str | None, how: str) -> World:
        """Nothing is done. The driver read it back all the same (yes), said nothing (maybe), or was not told (no)."""
        other = world.twin()
        other.missed += 1
        if how == "no":
            return other
        self._hear(other, group, run, sure=how == "yes")
        return other

    def _hear(self, world: World, group: Mapping[str, Position], run: str | None, sure: bool) -> None:
        for name, position in group.items():
            if run is not None:
                world.asked.setdefault(run, set()).add((name, _text(position)))
            if name not in world.board.measured:
                world.board.said(name, position, sure)

    def _made(self, world: World, group: Mapping[str, Position], run: str | None) -> Iterator[tuple[int, World]]:
        orders: Iterable[tuple[str, ...]] = [tuple(group)]
        if any(_switch(self.car, name).kind == "preset" for name in group):
            orders = itertools.permutations(group)
        for number, order in enumerate(orders):
            worlds: list[tuple[int, World]] = [(int(number > 0), world.twin())]
            self._hear(worlds[0][1], group, run, sure=True)
            for name in order:
                worlds = [(cost + more, after) for cost, before in worlds
                          for more, after in self._turn(before, _switch(self.car, name), group[name])]
            yield from worlds

    def _turn(self, world: World, switch: Switch, position: Position) -> Iterator[tuple[int, World]]:
        name = switch.switch
        moves = not same_position(world.wheel[name], position)
        self._put(world, switch, position)
        if switch.kind != "preset" or not moves:
            yield 0, world
        elif not same_position(position, switch.default):
            self._preset(world, switch, let_go=False, depth=0)
            yield 0, world
        else:
            reset = world.twin()
            yield 0, world
            self._preset(reset, switch, let_go=True, depth=0)
            if reset.key() != world.key():
                yield 1, reset

    def _put(self, world: World, switch: Switch, position: Position) -> None:
        world.wheel[switch.switch] = world.told[switch.switch] = position
        self._telemetry(world, switch)

    def _telemetry(self, world: World, switch: Switch) -> None:
        if switch.measured:
            world.board.measure(switch.switch, world.wheel[switch.switch], T)
            world.spoke.add(switch.switch)

    def _preset(self, world: World, preset: Switch, let_go: bool, depth: int) -> None:
        for name, target in sorted(preset.sets.items()):
            other = _switch(self.car, name)
            to = other.default if let_go else target
            moves = not same_position(world.wheel[name], to)
            self._put(world, other, to)
            if other.kind == "preset" and moves and depth < NESTED_PRESETS:
                self._preset(world, other, same_position(to, other.default), depth + 1)


def _switch(car: Car, name: str) -> Switch:
    switch = car.switch(name)
    assert switch is not None
    return switch


def _same(world: World, run: RunState) -> RunState:
    found = world.progress.find(run.run.run)
    assert found is not None
    return found


def _in_groups(names: Mapping[str, Position], most: int) -> list[dict[str, Position]]:
    listed = sorted(names.items())
    return [dict(listed[at:at + most]) for at in range(0, len(listed), most)]


def live_all(
    plan: Plan, car: Car, procedures: Mapping[str, Procedure], wet: bool = False, misses: int = 1,
    most_worlds: int = MOST_WORLDS,
) -> Truth:
    """The truth about one small plan, on a circuit where each switch is a call of its own on the road and on one where
    they are told in twos: what goes wrong on one of them can go wrong. Without a preset no switch has a bearing on
    another, and it is the same. Errors as :meth:`Afternoons.live`.
    """
    presets = any(switch.kind == "preset" for switch in car.switches)
    lived = [Afternoons(plan, car, procedures, wet, misses, most).live(most_worlds)
             for most in ((ON_THE_ROAD, ALONE) if presets else (ON_THE_ROAD,))]
    wrong: tuple[dict[Wrong, int], ...] = tuple({} for _ in range(misses + 1))
    stands: dict[tuple[str, int], set[tuple[str, str]]] = {}
    for truth in lived:
        for together, found in zip(wrong, truth.wrong, strict=True):
            for one, cost in found.items():
                together[one] = min(cost, together.get(one, cost))
        for at, spots in truth.stands.items():
            stands.setdefault(at, set()).update(spots)
    return Truth(wrong, sum(truth.worlds for truth in lived), stands)
