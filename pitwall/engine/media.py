"""How the calls reach the driver: spoken, spoken without an answer, or hung out on a board at the pit wall.

A *one-way* radio carries every call; nothing is read back, so nothing waits for it and what was asked for stays
unverified until it is seen.

A *board* is read once a lap, as the car passes the line. A call goes onto the last pass before the driver acts, so it
is acted on within the lap that follows; it must hang ``READY_BEFORE_S`` before the pass. What an item asks for on the
out-lap is told in the garage. The three lines of a pass go to the most important calls; what finds no room is advised
against with that reason, and tried again like any call that is held back. Switches go up in twos at most, each from a
line of its own, those first that would spoil a timed lap; what must have changed by the first line is told in the
garage (``rules/first_line.py``), where people speak to one another.

A box board that did not hang as the car passed is too late for that lap, and the in-lap is the one after the next pass:
the board for that pass is asked for while the car is still on the lap before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain

from pitwall.engine.call import PRIORITY, CallSpec
from pitwall.engine.calls import CallBook
from pitwall.engine.rules.box import AGAIN, next_lap_key
from pitwall.engine.situation import Situation
from pitwall.model.car import Position
from pitwall.model.record import altered
from pitwall.radio.board import MOST_LINES, READY_BEFORE_S, board_lines

SWITCHES_SHOWN = 2  # changes that a driver takes in from one board (common practice, no source)
READ_S = 5.0  # from reading the board to acting on it (common practice, no source)
HANG_S = 3.0  # to hang out a board in haste (common practice, no source)
GARAGE_FROM_S, GARAGE_BY_S = 120.0, 15.0
AT_ONCE = ("session", "safety", "stop")
NO_PASS = "The car does not pass the pit wall before it: it cannot be shown"
TOO_LONG = "Too long for a board: write it yourself"
TOO_LATE = "Too late for this pass of the pit wall: show nothing. The box moves one lap."


def convey(at: Situation, specs: Iterable[CallSpec], book: CallBook | None = None) -> list[CallSpec]:
    """The calls as the plan's medium carries them. ``book``: which boards hung; None: each that was asked for."""
    if at.plan.medium == "two_way":
        return list(specs)
    if at.plan.medium == "one_way":
        return [spec if _face_to_face(at, spec) else altered(spec, medium="one_way") for spec in specs]
    return [*_on_boards(at, specs, book)]


def _face_to_face(at: Situation, spec: CallSpec) -> bool:
    return not at.track.on_track or spec.lap == "garage"


def _on_boards(at: Situation, specs: Iterable[CallSpec], book: CallBook | None) -> Iterator[CallSpec]:
    carried: list[tuple[float, CallSpec]] = []
    for spec in chain.from_iterable(_in_twos(at, spec) for spec in specs):
        if at.legs and spec.leg == 0 and spec.item is not None and spec.lap != "garage":
            yield _in_the_garage(at, spec)
        elif _face_to_face(at, spec):
            yield spec
        elif spec.kind not in ("question", "answer") and (spec.kind != "box" or spec.key.endswith(AGAIN)):
            passes = _passes(at, spec)
            if book is not None and spec.kind == "box":
                carried += _for_the_next_lap(at, spec, passes, book)
            if passes is not None:
                carried.append((passes, spec))
            elif spec.kind != "box" or at.run is None or not at.run.out_in:  # the brief said: straight back in
                yield altered(spec, caution=_with(NO_PASS, spec.caution))
    yield from _shared(at, carried)


def _for_the_next_lap(
    at: Situation, spec: CallSpec, passes: float | None, book: CallBook
) -> Iterator[tuple[float, CallSpec]]:
    """The car passed without it: the box moves one lap, and its board hangs at the next pass."""
    leg, run = at.legs[-1], at.run
    if book.may_have_hung(spec.key) or (passes is not None and at.now <= passes - HANG_S):
        return
    if run is None or not leg.running or (run.out_in and leg.start_phase > 0):
        return
    act_at = leg.end_s + at.track.pace.lap_s("in") * at.track.pace.bend(at.lap_map.last_chance)
    yield leg.end_s, altered(spec, key=next_lap_key(run), act_at_s=act_at, lap_number=at.track.lap_number + 1)


def _in_twos(at: Situation, spec: CallSpec) -> list[CallSpec]:
    """A change of several switches as boards of one or two, those first that would spoil a timed lap."""
    positions, parts = spec.ask.positions, spec.short.split(", ")
    if _face_to_face(at, spec) or spec.ask.action != "set_switch" or len(parts) != len(positions):
        return [spec]
    spoils = at.switches.car.forbidden_on_timed
    order = sorted(zip(positions.items(), parts, strict=True), key=lambda one: bool(spoils) and one[0][0] not in spoils)
    groups: list[list[tuple[tuple[str, Position], str]]] = []
    for one in order:
        lines = _lines([part for _, part in [*groups[-1], one]]) if groups else None
        if groups and lines is not None and len(groups[-1]) < SWITCHES_SHOWN:
            groups[-1].append(one)
        else:
            groups.append([one])
    return [_of_group(spec, number, group) for number, group in enumerate(groups)]


def _of_group(spec: CallSpec, number: int, group: list[tuple[tuple[str, Position], str]]) -> CallSpec:
    positions, short = dict(pair for pair, _ in group), ", ".join(part for _, part in group)
    single = next(iter(positions)) if len(positions) == 1 else None
    ask = spec.ask.model_copy(update={"switch": single, "position": positions[single] if single else None,
                                      "positions": {} if single else positions})
    return altered(spec, key=spec.key if number == 0 else f"{spec.key}-{number}", text=short, short=short, ask=ask)


def _lines(parts: list[str]) -> tuple[str, ...] | None:
    """Each part from a line of its own, so that a figure never stands with another switch; None when it is too long."""
    found = [board_lines(part) for part in parts]
    lines = tuple(line for part in found for line in part or ())
    return lines if None not in found and len(lines) <= MOST_LINES else None


def _board_of(spec: CallSpec) -> tuple[str, ...] | None:
    return _lines(spec.short.split(", ")) if spec.ask.action == "set_switch" else board_lines(spec.short)


def _in_the_garage(at: Situation, spec: CallSpec) -> CallSpec:
    """What the driver does on the out-lap is told before leaving; on track it is too late for it."""
    leaves = at.legs[0].start_s
    begin = max(leaves - GARAGE_FROM_S, at.since_s + GARAGE_BY_S) if not at.track.on_track else leaves - GARAGE_FROM_S
    by = max(leaves - GARAGE_BY_S, begin) if not at.track.on_track else leaves - GARAGE_BY_S
    return altered(spec, say_from_s=min(begin, by), say_by_s=by, latest_s=None, waits=False)


def _passes(at: Situation, spec: CallSpec) -> float | None:
    """When the car passes the board that carries this call; None when it does not before the driver must act."""
    passes = sorted(leg.start_s for leg in at.legs if leg.start_phase == 0.0)
    if spec.kind in AT_ONCE or spec.act_at_s is None:
        return next((t for t in passes if t > spec.say_from_s + HANG_S), None)
    return max((t for t in passes if t + READ_S <= spec.act_at_s), default=None)


def _shared(at: Situation, shown: list[tuple[float, CallSpec]]) -> Iterator[CallSpec]:
    """Each pass has three lines; they go by priority, then by who acts first."""
    room: dict[float, int] = {}
    first: dict[float, str] = {}
    order = sorted(shown, key=lambda one: (one[0], -PRIORITY[one[1].kind], one[1].act_at_s or one[0], one[1].key))
    for passes, spec in order:
        lines = _board_of(spec)
        needed, left = len(lines or ()), room.get(passes, MOST_LINES)
        made = _on_board(at, spec, passes, lines)
        if needed <= left:
            room[passes] = left - needed
            first.setdefault(passes, made.text)
            yield made
        else:
            yield altered(made, against=f"the board is full: {first[passes]}")


def _on_board(at: Situation, spec: CallSpec, passes: float, lines: tuple[str, ...] | None) -> CallSpec:
    by = passes - READY_BEFORE_S
    if spec.kind in AT_ONCE and by < spec.say_from_s:
        by = passes - HANG_S
    text = " / ".join(lines) if lines is not None else spec.short
    begin = spec.say_from_s if spec.kind in AT_ONCE else by - at.timing.window_s
    return altered(
        spec,
        medium="board",
        board=lines or (),
        text=text,
        short=text,
        say_from_s=min(begin, by),
        say_by_s=by,
        latest_s=passes - HANG_S,
        act_at_s=spec.act_at_s if spec.act_at_s is not None else passes,
        spoken_s=0.0,
        lead_s=max(spec.lead_s, at.timing.lead_s) if spec.kind == "box" else spec.lead_s,  # it is put together first
        waits=False,
        caution=spec.caution if lines is not None else _with(TOO_LONG, spec.caution),
        late_text=TOO_LATE if spec.late_text is not None else None,
    )


def _with(first: str, caution: str | None) -> str:
    return first if caution is None else f"{first}. {caution}"
