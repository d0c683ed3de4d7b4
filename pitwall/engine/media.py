"""How the calls reach the driver: spoken, spoken without an answer, or hung out on a board at the pit wall.

A *one-way* radio carries every call; nothing is read back, so nothing waits for it and what was asked for stays
unverified until it is seen.

A *board* is read once a lap, as the car passes the line. A call goes onto the last pass before the driver acts, so it
is acted on within the lap that follows; what is to be asked is asked in the garage once the car is back
(``rules/back_in_the_garage.py``). It must hang ``READY_BEFORE_S`` before the pass. What an item asks for on the
out-lap, or as the lap after it begins, is told in the garage. A pass has one board: its three lines go to the most
important calls, and those that hang keep theirs. What finds no room, or would contradict what hangs there, is advised
against with that reason, and so is what the car cannot be shown in time. Switches go up in twos at most, each from a
line of its own, those first that would spoil a timed lap. What another lap than a timed one needs is shown as that lap
begins, and acted on at once; what must have changed by the first line is told in the garage (``rules/first_line.py``),
where people speak to one another.
A cool-down lap before a timed one has no switches of its own: one pass cannot ask for them and for their put-back
(``model/plan.py``, ``lent``). A change that did not hang a lap ahead is shown at the line of the lap that needs it.

A box board that did not hang as the car passed is too late for that lap, and the in-lap is the one after the next pass:
the board for that pass is asked for while the car is still on the lap before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import NamedTuple

from pitwall.engine.call import PRIORITY, Call, CallSpec
from pitwall.engine.calls import CallBook
from pitwall.engine.rules.box import AGAIN, next_lap_key
from pitwall.engine.situation import Situation
from pitwall.model.car import Position, same_position
from pitwall.model.plan import lent
from pitwall.model.record import altered
from pitwall.radio.board import HANG_S, MOST_LINES, READY_BEFORE_S, board_lines, board_parts

SWITCHES_SHOWN = 2  # changes that a driver takes in from one board (common practice, no source)
AFTER_THE_OUT_LAP = "On the lap after the out-lap: "
READ_S = 5.0  # from reading the board to acting on it (common practice, no source)
GARAGE_FROM_S, GARAGE_BY_S = 120.0, 15.0
AT_ONCE = ("session", "safety", "stop")
PRE_EMPT = (*AT_ONCE, "box")
FACE_TO_FACE = ("garage", "pit lane", "pit exit")
HUNG = ("said", "done", "late", "unconfirmed")
NO_PASS = "The car does not pass the pit wall before it: it cannot be shown"
AT_ITS_LINE = "-at-its-line"
TOO_LONG = "Too long for a board: write it yourself"
TOO_LATE = "Too late for this pass of the pit wall: show nothing. The box moves one lap."
TOO_LATE_AFTER_FLAG = "Too late for this pass of the pit wall: show nothing. After the flag the car comes in by itself."


class Pass(NamedTuple):
    """A pass of the pit wall: the number of the session's lap that begins there, and when, session seconds."""

    number: int
    t: float


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
    carried: list[tuple[Pass, CallSpec]] = []
    for spec in chain.from_iterable(_in_twos(at, spec) for spec in specs):
        if spec.kind in ("question", "answer") and spec.item is not None and spec.place not in FACE_TO_FACE:
            continue  # nobody can answer on track, and before the lap there is nothing to tell
        if at.legs and spec.leg == 0 and spec.item is not None and spec.lap != "garage":
            yield _in_the_garage(at, spec)
        elif _before_any_pass(at, spec, book):
            text = f"{AFTER_THE_OUT_LAP}{spec.short}."
            yield _in_the_garage(at, altered(spec, text=text, short=text, place="garage", spoken_s=at.spoken(text)))
        elif _face_to_face(at, spec):
            yield spec
        elif spec.kind not in ("question", "answer") and (spec.kind != "box" or spec.key.endswith(AGAIN)):
            passed_at = _passes(at, spec, book)
            if book is not None and spec.kind == "box":
                carried += _for_the_next_lap(at, spec, passed_at, book)
                if _told_in_the_garage(at, spec, passed_at, book):
                    continue
            remedy = _at_its_own_line(at, spec, passed_at, book)
            if remedy is not None:
                carried.append(remedy)
            elif passed_at is not None:
                carried.append((passed_at, spec))
            elif spec.kind != "pace" and (spec.kind != "box" or at.run is None or not at.run.out_in):
                # Nobody misses a lap time, and the brief said: straight back in. Nothing of it can be spoken.
                yield altered(spec, against=NO_PASS, medium="board", spoken_s=0.0)
    yield from _shared(at, carried, book)


def _before_any_pass(at: Situation, spec: CallSpec, book: CallBook | None) -> bool:
    """Guard: what an item wants as the lap after the out-lap begins: no board can show it a lap ahead."""
    ahead = spec.leg == 1 and bool(at.legs) and at.legs[0].index == 0 and spec.item is not None
    return ahead and spec.kind not in ("question", "answer") and _passes(at, spec, book) is None


def _for_the_next_lap(
    at: Situation, spec: CallSpec, passed_at: Pass | None, book: CallBook
) -> Iterator[tuple[Pass, CallSpec]]:
    """The car passed without it: the box moves one lap, and its board hangs at the next pass."""
    leg, run = at.legs[-1], at.run
    if book.may_have_hung(spec.key) or (passed_at is not None and at.now <= passed_at.t - HANG_S):
        return
    if run is None or not leg.running or (run.out_in and leg.start_phase > 0) or at.stopped_by_flag:
        return  # after the flag everybody comes in, and there is no next lap
    act_at = leg.end_s + at.track.pace.lap_s("in") * at.track.pace.bend(at.lap_map.last_chance)
    number = at.track.lap_number + 1
    yield Pass(number, leg.end_s), altered(spec, key=next_lap_key(run), act_at_s=act_at, lap_number=number)


def _told_in_the_garage(at: Situation, spec: CallSpec, passed_at: Pass | None, book: CallBook) -> bool:
    """Guard: straight back in was told before leaving, the car is over the line all the same, and no board was to hang
    there: none was missed. The one for the next pass is asked for."""
    if at.run is None or not at.run.out_in or passed_at is None or book.may_have_hung(spec.key):
        return False
    return at.now >= passed_at.t


def _at_its_own_line(
    at: Situation, spec: CallSpec, passed_at: Pass | None, book: CallBook | None
) -> tuple[Pass, CallSpec] | None:
    """A change for the next lap that did not hang as this one began, or is needed only since: the pass that begins that
    lap is the last that can show it, and it is acted on at once. Some seconds late, and not for the whole lap."""
    leg = at.legs[0] if at.legs else None
    if book is None or leg is None or not leg.running or spec.place != "line" or spec.leg != leg.index:
        return None
    if (passed_at is not None and at.now <= passed_at.t) or book.may_have_hung(spec.key) or at.stopped_by_flag:
        return None
    told = [call.spec.asked for call in book.calls.values()
            if call.spec.pass_number == at.track.lap_number and book.may_have_hung(call.spec.key)]
    if all(any(same_position(one.get(name), to) for one in told) for name, to in spec.asked.items()):
        return None
    again = altered(spec, key=f"{spec.key}{AT_ITS_LINE}", place=None, act_at_s=leg.end_s + READ_S, not_done=False,
                    unanswered=False)  # before that line nobody can have done it
    return Pass(at.track.lap_number + 1, leg.end_s), again


def _in_twos(at: Situation, spec: CallSpec) -> list[CallSpec]:
    """A change of several switches as boards of one or two, those first that would spoil a timed lap."""
    positions, parts = spec.ask.positions, spec.short.split(", ")
    if _face_to_face(at, spec) or spec.ask.action != "set_switch" or len(parts) != len(positions):
        return [spec]
    spoils = at.switches.car.forbidden_on_timed
    order = sorted(zip(positions.items(), parts, strict=True), key=lambda one: bool(spoils) and one[0][0] not in spoils)
    most = SWITCHES_SHOWN if spec.place == "line" else 1  # beside the box there may be room for one
    groups: list[list[tuple[tuple[str, Position], str]]] = []
    for one in order:
        lines = board_parts([part for _, part in [*groups[-1], one]]) if groups else None
        if groups and lines is not None and len(groups[-1]) < most:
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


def _board_of(spec: CallSpec) -> tuple[str, ...] | None:
    if spec.ask.action == "set_switch":
        return board_parts(spec.short.split(", "))
    parts = board_parts(spec.short.split(", ")) if spec.kind == "run" and spec.place is None else None
    if parts is not None:
        return parts  # the laps of the run, those between two cool-down laps on a line
    # What kind of lap it is says its first clause: the lines beside it are wanted for switches.
    return board_lines(spec.short.partition(", ")[0] if _names_the_lap(spec) else spec.short)


def _names_the_lap(spec: CallSpec) -> bool:
    """Guard: it says what the lap is that begins with the pass, such as a cool-down lap."""
    return spec.kind == "run" and (spec.place == "lap start" or spec.ask.lap_kind == "cool")


def _in_the_garage(at: Situation, spec: CallSpec) -> CallSpec:
    """What the driver does on the out-lap is told before leaving; on track it is too late for it."""
    leaves = at.legs[0].start_s
    begin = max(leaves - GARAGE_FROM_S, at.since_s + GARAGE_BY_S) if not at.track.on_track else leaves - GARAGE_FROM_S
    by = max(leaves - GARAGE_BY_S, begin) if not at.track.on_track else leaves - GARAGE_BY_S
    # People stand beside one another: no listening stretch of the lap is of any use, and none is to be waited for.
    return altered(spec, say_from_s=min(begin, by), say_by_s=by, latest_s=None, waits=False, room=None)


def _passes(at: Situation, spec: CallSpec, book: CallBook | None) -> Pass | None:
    """The pass of the board that carries this call; None when the car does not pass before the driver must act."""
    passes = [Pass(at.track.lap_number + ahead, leg.start_s) for ahead, leg in enumerate(at.legs)
              if leg.start_phase == 0.0]
    if spec.kind in AT_ONCE or spec.act_at_s is None:
        hung = book is None or book.may_have_hung(spec.key)
        return next((one for one in passes if one.t > spec.say_from_s + HANG_S and (hung or one.t > at.now)), None)
    read_s = 0.0 if _names_the_lap(spec) else READ_S  # what lap it is, is read as it begins, and not a lap ahead
    return next((one for one in reversed(passes) if one.t + read_s <= spec.act_at_s), None)


def _shared(
    at: Situation, shown: list[tuple[Pass, CallSpec]], book: CallBook | None = None
) -> Iterator[CallSpec]:
    """Each pass is one board of three lines; they go by priority, then by who acts first. What hangs has its lines for
    good, and only a flag, a warning or the box takes them."""
    boards: dict[int, _Board] = {}
    for call in book.latest.values() if book is not None else ():
        number = call.spec.pass_number
        if number is not None and number >= at.track.lap_number and call.state in HUNG and _hangs(call) and not any(
                one.number == number and _takes_the_place(spec, call.spec) for one, spec in shown):
            boards.setdefault(number, _Board()).hang(call.spec)
    order = sorted(shown, key=lambda one: (one[0].number, -_rank(at, one[1]), _harmless(at, one[1]),
                                           one[1].act_at_s or one[0].t, one[1].key))  # fmt: skip
    for passed_at, spec in order:
        board = boards.setdefault(passed_at.number, _Board())
        made = _on_board(at, spec, passed_at, _board_of(spec))
        why = None if spec.key in board.keys else board.refuses(made)
        if why is None and spec.key not in board.keys:
            board.hang(made)
        yield made if why is None else altered(made, against=why)


def _takes_the_place(news: CallSpec, older: CallSpec) -> bool:
    """Guard: it is later news of the same: TRACK GREEN beside RED FLAG says nothing, so that comes down."""
    number, before = (one.key.split("-")[1] if one.key.startswith("session-") else "" for one in (news, older))
    return bool(number and before) and int(number) > int(before) and _where(news) == _where(older)


def _where(news: CallSpec) -> str:
    """The sector that it is of, whether in words or as it hangs; empty where it is of the whole track."""
    words = news.short.upper().replace(" /", "")
    return words.rpartition(" ")[0] if words.startswith("SECTOR") else ""


def _hangs(call: Call) -> bool:
    """Guard: it was advised, or somebody says that he hung it all the same."""
    return call.spec.against is None or call.said_t is not None


def _rank(at: Situation, spec: CallSpec) -> int:
    """What lap it is comes before its switches; a change that no timed lap needs after what the lap is driven for."""
    if _names_the_lap(spec):
        return PRIORITY["switch"] + 1
    needed = spec.kind != "switch" or spec.place == "line" or spec.key.endswith(AT_ITS_LINE) or _for_a_timed(at, spec)
    return PRIORITY[spec.kind] if needed else PRIORITY["procedure"] - 1


def _for_a_timed(at: Situation, spec: CallSpec) -> bool:
    """Guard: it is shown as a cool-down lap begins, and what it asks for is for the timed lap after that."""
    return at.run is not None and spec.leg is not None and lent("board", at.run.laps, spec.leg)


def _harmless(at: Situation, spec: CallSpec) -> bool:
    return not any(name in at.switches.car.forbidden_on_timed for name in spec.asked)


@dataclass
class _Board:
    """What hangs, or is to hang, at one pass."""

    keys: dict[str, CallSpec] = field(default_factory=dict)

    def hang(self, spec: CallSpec) -> None:
        """This call has its lines."""
        self.keys[spec.key] = spec

    def refuses(self, spec: CallSpec) -> str | None:
        """Why this call may not hang here as well; None where it may."""
        before = [one for one in self.keys.values() if spec.kind not in PRE_EMPT or one.kind in PRE_EMPT]
        hangs = "; ".join(one.text for one in before)
        if any(_contradict(one, spec) for one in before):
            return f"it would contradict the board: {hangs}"
        needed = len(spec.board) or MOST_LINES
        return f"the board is full: {hangs}" if needed + sum(len(one.board) for one in before) > MOST_LINES else None


def _contradict(one: CallSpec, other: CallSpec) -> bool:
    """Guard: one speaks of the lap after this one, the other of this one, and a driver cannot tell which is which."""
    asked, kinds = other.asked, {one.kind, other.kind}
    if any(name in asked and not same_position(to, asked[name]) for name, to in one.asked.items()):
        return True
    if kinds == {"run"}:
        return one.leg != other.leg
    return "run" in kinds and not kinds.isdisjoint(("box", "procedure"))


def _on_board(at: Situation, spec: CallSpec, passed_at: Pass, lines: tuple[str, ...] | None) -> CallSpec:
    passes = passed_at.t
    by = passes - READY_BEFORE_S
    if spec.kind in AT_ONCE and by < spec.say_from_s:
        by = passes - HANG_S
    text = " / ".join(lines) if lines is not None else spec.short
    begin = spec.say_from_s if spec.kind in AT_ONCE else by - at.timing.window_s
    late = TOO_LATE_AFTER_FLAG if at.stopped_by_flag else TOO_LATE
    return altered(
        spec,
        medium="board",
        board=lines or (),
        pass_number=passed_at.number,
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
        late_text=late if spec.late_text is not None else None,
    )


def _with(first: str, caution: str | None) -> str:
    return first if caution is None else f"{first}. {caution}"
