"""Comparisons that have nothing left to be compared with.

A comparison is worth something beside a timed lap of the same run *without* it: one on which its switches stood
elsewhere, planned so or not, and nothing else was compared. One such lap that was not spoilt, and began with its
switches in place, is enough. Where the run was never to have one, what it is compared with is elsewhere, and nothing is
said of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pitwall.app.next_rest import plain_laps
from pitwall.debrief.model import LapRow, SwitchMove
from pitwall.debrief.windows import OUT_OF_PLACE, SET_WITHIN_S, ItemDone, lap_spoilt
from pitwall.engine.run_state import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.car import position_text
from pitwall.model.debrief_rows import Outcome
from pitwall.model.plan import Scalar

AS_TOLD = ("confirmed", "told", "unconfirmed")
NOTHING_LEFT = "nothing left to compare it with"


@dataclass(frozen=True)
class Compared:
    """A comparison of a run with the timed lap on which it was to be made, and where its switches were to stand on it.
    ``words``: those switches as the team has them."""

    item: str
    outcome: Outcome
    lap: LapRow
    wants: Mapping[str, Scalar]
    words: tuple[str, ...]

    @property
    def made(self) -> bool:
        """False: the lap was driven without it."""
        return self.outcome in ("done", "probably_done")


def nothing_left(
    car: TeamCar, items: Sequence[ItemDone], laps: Sequence[LapRow], moves: Sequence[SwitchMove], *, over: bool
) -> Mapping[str, str]:
    """By key of each comparison that was made and has nothing left to be compared with: why not, in words.

    Args:
        car: as it stands.
        items: what is known of each item, in the order of the plan.
        laps: of the car; what was done on one as told is no mistake there.
        moves: of its switches.
        over: the session was closed. Before that a run that still has laps to come is not judged.
    """
    known, found = {one.row.item: one for one in items}, dict[str, str]()
    for run in car.progress.runs:
        if not over and run.state != "done":
            continue
        timed = [lap for lap in laps if lap.run == run.run.run and lap.kind == "timed"]
        compared = tuple(_compared(car, run, known))
        planned = plain_laps(run.laps, [(one.item, one.leg) for one in run.items], car.setup.procedures)
        stood = [_as_told(move, timed) for move in moves]
        for one in compared:
            had_some = planned or any(_alike(one, other) and one.wants != other.wants for other in compared)
            why = _why_not(one, timed, compared, stood) if one.made and had_some else ""
            if why:
                found[one.item] = why
    return found


def _compared(car: TeamCar, run: RunState, known: Mapping[str, ItemDone]) -> Iterator[Compared]:
    """Comparisons of a run on timed laps that were driven."""
    for item in run.items:
        done = known.get(item.key)
        if done is not None and done.procedure.compares and done.wants and done.lap is not None and (
                done.lap.kind == "timed"):
            words = tuple(switch.word for switch in car.switches.car.switches if switch.switch in done.wants)
            yield Compared(item.key, done.row.outcome, done.lap, done.wants, words)


def _as_told(move: SwitchMove, timed: Sequence[LapRow]) -> SwitchMove:
    """What was told on a timed lap is for the next one, and is made at the line: only telemetry shows that the driver
    acted at once."""
    if move.evidence not in AS_TOLD:
        return move
    line_s = next((lap.end_s for lap in timed if lap.start_s + SET_WITHIN_S < move.t < lap.end_s), move.t)
    return move.model_copy(update={"t": line_s})


def _without(
    one: Compared, timed: Sequence[LapRow], compared: Sequence[Compared], moves: Sequence[SwitchMove]
) -> list[LapRow]:
    """The timed laps of its run that this comparison is compared with."""
    seen = any(move.switch in one.wants and move.evidence == "measured" for move in moves)
    same = {one.lap.number, *(other.lap.number for other in compared if other.made and other.wants == one.wants
                              and not seen)}
    others = [other for other in compared if not _alike(one, other) and not _stood(other.wants, one.lap, moves)]
    return [lap for lap in timed if lap.number not in same and not _stood(one.wants, lap, moves)
            and not any(_stood(other.wants, lap, moves) for other in others)]


def _alike(one: Compared, other: Compared) -> bool:
    """Guard: the same switches are compared."""
    return one.wants.keys() == other.wants.keys()


def _stood(wants: Mapping[str, Scalar], lap: LapRow, moves: Sequence[SwitchMove]) -> bool:
    """Guard: the switches stood so on that lap, or may have; what is set about the line is set for the lap."""
    return all(to in _positions([move for move in moves if move.switch == name], lap) for name, to in wants.items())


def _positions(moves: Sequence[SwitchMove], lap: LapRow) -> set[Scalar]:
    begin, end = lap.start_s + SET_WITHIN_S, lap.end_s - SET_WITHIN_S
    before = [move.position for move in moves if move.t <= begin]
    return {*before[-1:], *(move.position for move in moves if begin < move.t < end)}


def _why_not(
    one: Compared, timed: Sequence[LapRow], compared: Sequence[Compared], moves: Sequence[SwitchMove]
) -> str:
    """Why none of these laps is one to compare this with; nothing where one is."""
    told = []
    for lap in _without(one, timed, compared, moves):
        # A lap that was to have a comparison, and was driven without it, had the switch of that where it was before.
        own = {word for other in compared if other.lap.number == lap.number for word in other.words}
        off = [text for text in lap.switches_wrong if not any(text.startswith(f"{word} st") for word in own)]
        faults = [*([f"{OUT_OF_PLACE}: {'; '.join(off)}"] if off else []), *lap_spoilt(lap)]
        if not faults:
            return ""
        told.append(f"lap {lap.number} {' and '.join(faults)}")
    told = told or [*_moved_early(one, timed, moves)]
    return f"{NOTHING_LEFT}: {'; '.join(told) or 'no timed lap without it was driven'}"


def _moved_early(one: Compared, timed: Sequence[LapRow], moves: Sequence[SwitchMove]) -> Iterator[str]:
    """Laps that began without this comparison and got its switches on the way: the driver acted before the line."""
    for lap in timed:
        begin, end = lap.start_s + SET_WITHIN_S, lap.end_s - SET_WITHIN_S
        on_it = [move for move in moves if begin < move.t < end and move.position == one.wants.get(move.switch)]
        if lap.number != one.lap.number and on_it and _stood(one.wants, lap, moves):
            words = ", ".join(f"{move.word} at {position_text(move.position)} from {move.t - lap.start_s:.0f} s on"
                              for move in on_it)
            yield f"lap {lap.number} began without it and had {words}"
