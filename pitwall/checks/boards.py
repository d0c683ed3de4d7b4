"""What each pass of the pit wall is to show, laid out as the daemon does it: three lines, to the most important first.

What finds no room is not shown as that lap begins. A switch that a timed lap needs is then shown at the line of that
lap, which so begins with it wrong: that is said of the lap. A cool-down lap before a timed one has no switches of its
own (``model/plan.py``, ``lent``), so an item cannot ask for one there.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.flow.course import Spot
from pitwall.checks.flow.stakes import Call, calls_of
from pitwall.checks.flow.story import lap_name, spot_text
from pitwall.checks.items import Placed, placed_items
from pitwall.checks.media import STANDING, asks, short_of
from pitwall.checks.switches import changes, wanted
from pitwall.errors import Finding
from pitwall.model.car import Car, position_text, same_position
from pitwall.model.plan import Plan, Run, lent
from pitwall.radio.board import LINE_CHARACTERS, MOST_LINES, board_lines
from pitwall.radio.wording import switch_words
from pitwall.track.likely import lap_indices

BOX, NAME, SWITCH, ITEM, OTHER = range(5)
"""Which goes first, as in ``engine/media.py``: the box, what lap it is, switches of a timed lap, items, the rest."""
COOL_NOW = "Cool-down lap"


class Shown(NamedTuple):
    """What is to go up together as a lap begins. ``timed``: the lap that starts wrong where it does not."""

    run: int
    lap: int
    rank: int
    harmless: bool
    lines: tuple[str, ...]
    timed: int | None = None
    words: str = ""


class Pass(NamedTuple):
    """A pass of the pit wall: what hangs there, and what finds no room."""

    run: int
    lap: int
    hung: tuple[Shown, ...]
    left: tuple[Shown, ...]


def check_boards(plan: Plan, around: Around) -> Iterator[Finding]:
    """Passes that are to show more than a board holds, with what is left out and the timed laps that this spoils; items
    that ask for a switch on a cool-down lap that cannot show it. What belongs to the out-lap is told in the garage."""
    if plan.medium != "board" or around.car is None:
        return
    yield from _on_lent_laps(plan, around)
    for one in passes(plan, around):
        run = plan.runs[one.run]
        if one.left:
            needed = [line for shown in (*one.hung, *one.left) for line in shown.lines]
            yield finding(
                "PW219", path=("runs", one.run), expected=f"{MOST_LINES} lines of {LINE_CHARACTERS} letters",
                found=f"{len(needed)} lines on the {lap_name(run, one.lap)} of {run.run!r}: {' / '.join(needed)}; not "
                      f"shown: {'; '.join(_left_out(shown) for shown in one.left)}")
        for lap in sorted({shown.timed for shown in one.left if shown.timed is not None}):
            words = ", ".join(shown.words for shown in one.left if shown.timed == lap)
            yield finding(
                "PW221", path=("runs", one.run), expected=f"all that it needs in {MOST_LINES} lines, a lap before it",
                found=f"{lap_name(run, lap)} of {run.run!r} starts without {words}: shown only as it begins")


def _left_out(shown: Shown) -> str:
    board = " / ".join(shown.lines)
    if shown.rank == OTHER:
        return f"{board} (no timed lap needs it)"
    return board


def board_words(plan: Plan, around: Around) -> list[str]:
    """For the summary: the settings of cool-down laps that are not asked for, as their put-back would have no pass."""
    if plan.medium != "board" or around.car is None:
        return []
    found = []
    for run in plan.runs:
        for lap in range(len(run.laps)):
            own = _of_its_own(plan, run, around.car, around.wet) if lent(plan.medium, run.laps, lap) else ""
            if own:
                found.append(f"{lap_name(run, lap)} of {run.run}: {own} not asked for: the board of that pass is for "
                             "the switches of the timed lap after it")
    return found


def _of_its_own(plan: Plan, run: Run, car: Car, wet: bool) -> str:
    """What a cool-down lap would have otherwise than the timed laps."""
    moved = [(switch, wanted(plan, run, switch, wet, "cool")) for switch in car.switches
             if switch.kind not in ("momentary", "stationary")]
    return ", ".join(f"{switch.word} {position_text(cool)}" for switch, cool in moved
                     if not same_position(cool, wanted(plan, run, switch, wet)))


def _on_lent_laps(plan: Plan, around: Around) -> Iterator[Finding]:
    assert around.car is not None
    for placed in placed_items(plan, around):
        laps = [lap for lap in lap_indices(placed.run, placed.item.on) if lent(plan.medium, placed.run.laps, lap)]
        moved = next((one.switch.word for one in changes(placed, around.car)), None)
        if laps and moved is not None:
            yield finding(
                "PW213", path=(*placed.path, "on"), expected="it on a timed lap, or a second cool-down lap behind it",
                found=f"{moved} for {placed.item.do!r} on the {lap_name(placed.run, laps[0])}, with its put-back at "
                      "the same pass")


def passes(plan: Plan, around: Around) -> Iterator[Pass]:
    """Every pass of the pit wall that the plan needs, in order, as far as it is used."""
    lines: dict[tuple[int, int], list[Shown]] = {}
    for shown in (*_of_the_laps(plan, around), *_of_items(plan, around), *_of_switches(plan, around)):
        if shown.lap > 0:
            lines.setdefault((shown.run, shown.lap), []).append(shown)
    for (index, lap), wanted_here in sorted(lines.items()):
        hung: list[Shown] = []
        left: list[Shown] = []
        for shown in sorted(wanted_here, key=lambda one: (one.rank, one.harmless)):
            taken = sum(len(one.lines) for one in hung)
            clash = shown.rank == ITEM and any(one.rank == NAME for one in hung)
            (left if taken + len(shown.lines) > MOST_LINES or clash else hung).append(shown)
        yield Pass(index, lap, tuple(hung), tuple(left))


def _of_the_laps(plan: Plan, around: Around) -> Iterator[Shown]:
    """The box, and that a lap is a cool-down lap where no item of it says so."""
    named = {(placed.index, lap) for placed in placed_items(plan, around) if _names_the_lap(placed)
             for lap in lap_indices(placed.run, placed.item.on)}
    for index, run in enumerate(plan.runs):
        if run.laps and not run.out_in and run.laps[-1] == "in":
            yield Shown(index, len(run.laps) - 1, BOX, False, ("BOX",))
        for lap, kind in enumerate(run.laps):
            if kind == "cool" and run.laps[lap - 1] != "cool" and (index, lap) not in named:
                yield Shown(index, lap, NAME, False, board_lines(COOL_NOW) or ())


def _names_the_lap(placed: Placed) -> bool:
    procedure = placed.procedure
    return procedure is not None and procedure.laps == ("cool",) and procedure.steps[0].where == "lap_start"


def _of_items(plan: Plan, around: Around) -> Iterator[Shown]:
    for placed in placed_items(plan, around):
        laps = () if placed.run.out_in or placed.procedure is None else lap_indices(placed.run, placed.item.on)
        for number, lap in enumerate(laps):
            for step in placed.procedure.steps if placed.procedure is not None else ():
                if step.where in STANDING or asks(step) or (number > 0 and step.repeat != "each_lap"):
                    continue
                short, names = short_of(placed, step), step.kind == "run" and step.where == "lap_start"
                if short is not None:
                    # What kind of lap it is says its first clause, as the daemon has it.
                    lines = board_lines(short.partition(", ")[0] if names else short) or (short,)
                    before = lap - (step.where == "lap_start" and step.offset_s <= 0)
                    yield Shown(placed.index, before, NAME if names else ITEM, False, lines)


def _of_switches(plan: Plan, around: Around) -> Iterator[Shown]:
    """What a timed lap needs is shown a lap before it; what another lap needs, as it begins."""
    assert around.car is not None
    driven = [index for index, run in enumerate(plan.runs) if run.laps]
    for call in calls_of(plan, around.car, around.procedures, around.wet):
        if call.lap:
            yield from _of_call(driven[call.run], plan.runs[driven[call.run]], call, around.car)


def _of_call(index: int, run: Run, call: Call, car: Car) -> Iterator[Shown]:
    """One call as boards: in twos for the line of a timed lap, else each by itself, those first that would spoil it."""
    for_next, spoils = run.laps[call.next_lap] == "timed", car.forbidden_on_timed
    borrowed = lent("board", run.laps, call.next_lap)
    timed = call.next_lap if for_next else call.next_lap + 1 if borrowed else None
    groups: list[list[tuple[str, Spot, tuple[str, ...]]]] = []
    ordered = sorted(zip(call.names, call.to, call.was, strict=True),
                     key=lambda one: bool(spoils) and one[0] not in spoils)
    for name, to, was in ordered:
        switch = car.switch(name)
        short = switch_words(switch, to, was)[1] if switch is not None else name
        lines = board_lines(short) or (short,)
        fits = groups and sum(len(one[2]) for one in groups[-1]) + len(lines) <= MOST_LINES
        if fits and len(groups[-1]) < (2 if for_next else 1):
            groups[-1].append((name, to, lines))
        else:
            groups.append([(name, to, lines)])
    for group in groups:
        shown = tuple(line for _, _, lines in group for line in lines)
        words = ", ".join(f"{switch.word if (switch := car.switch(name)) else name} {spot_text(to)}"
                          for name, to, _ in group)
        harmless = bool(spoils) and all(name not in spoils for name, _, _ in group)
        yield Shown(index, (call.lap or 0) if for_next else call.next_lap, OTHER if timed is None else SWITCH, harmless,
                    shown, timed, words)
