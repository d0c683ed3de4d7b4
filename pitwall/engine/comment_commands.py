"""The desk notes what the driver said: words first, remarks afterwards, or both at once.

``comment`` without words stamps the moment. Named by its number in ``comment``, it gets its words and remarks later;
what is given then takes the place of what was there, what is left out stays. ``shorthand`` is a whole comment: its
remarks and its free text, also where it has none, take the place of both, unless ``text`` gives the words. The same
words in ``text`` and ``shorthand`` are read where they can be, and kept as words where they cannot: the answer says
which.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection
from functools import partial
from typing import Any

from pitwall.comments.changes import closed_by
from pitwall.comments.matrix import place_words
from pitwall.comments.shorthand import ShorthandError, parse
from pitwall.engine import drivers
from pitwall.engine.answers import Answer, Handler, Refusal
from pitwall.engine.hand_words import lap_words
from pitwall.engine.items import COMMENTED
from pitwall.engine.laps import LapRecord
from pitwall.engine.plan_guards import meant
from pitwall.engine.progress import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.comments import Comment, Remark
from pitwall.model.events import OF_READINGS, CommandGiven, CommentRead

LONGEST_ID = 128


def _comment(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    given, why = _given(command, car)
    if command.comment is not None:
        return _completed(command, car, given, why, now)
    noted = car.comments.note(Comment(**_where(command, car, now), by=command.by, because=command.id, **given), now)
    if command.run is not None or command.lap is not None:
        car.comments.named.add(noted.comment)
    _answers(car, noted, now)
    closes = _closes(car, noted.comment)
    return Answer(f"comment {noted.comment} noted{why}{closes}" + ("" if given else ": its words are still to come"))


def _answers(car: TeamCar, noted: Comment, now: float) -> None:
    """What is asked in the garage is for a comment on the run before: one that is noted then answers it without a key.
    On track a question lapses by itself, and counts as asked."""
    for call in car.book.asking("procedure"):
        procedure = car.setup.procedures.get(call.spec.ask.procedure or "")
        asks = procedure is not None and "comment" in procedure.done_when and call.spec.kind == "question"
        if asks and call.state == "due" and call.spec.lap == "garage" and call.spec.run == noted.run:
            car.signal(call, "evidence", now, COMMENTED)


def _closes(car: TeamCar, number: int) -> str:
    """Which complaints of a place the comment ends because it says of the whole car that they are gone; in words."""
    places = dict.fromkeys(place_words(one.remark) for one in closed_by(number, car.comments.comments))
    return f": gone everywhere, so it is no longer open for {', '.join(places)}" if places else ""


def _given(command: CommandGiven, car: TeamCar) -> tuple[dict[str, Any], str]:
    """What the command says of the comment (nothing for a stamped moment), and why its words are only words, if so."""
    if command.text is not None and not command.text.strip():
        raise Refusal("a comment needs its words in 'text'")
    remarks, text, why = tuple(command.remarks or ()), command.text, ""
    if command.shorthand is not None:
        either = text == command.shorthand  # one field for both: read it if it can be read, and lose nothing
        read = car.comments.readings.get(command.id) or as_read(command, car.setup.circuit.all_turns)
        if read.problem is None:
            remarks += read.remarks or ()
            text = read.text or "" if either and read.remarks else text or read.text or ""
        elif not either:
            raise Refusal(read.problem)
        else:
            why = f" as words, not counted: {read.briefly}"
    _known_turns(remarks, car)
    given: dict[str, Any] = {} if text is None else {"text": text}
    if remarks or command.shorthand is not None:  # a whole comment: nothing of the one before is counted on beside it
        given |= {"remarks": remarks, "tagged_by": command.by if remarks else None}
    if command.shorthand is not None:
        given["typed"] = command.shorthand.strip()
    return given, why


def as_read(command: CommandGiven, turns: Collection[int]) -> CommentRead:
    """How the shorthand of this command reads by the rules of today.

    Args:
        command: one with ``shorthand``.
        turns: those that the circuit has; none: not known.
    """
    own = f"{OF_READINGS}{command.id}"
    if len(own) > LONGEST_ID:
        own = f"{OF_READINGS}{hashlib.sha256(command.id.encode()).hexdigest()}"
    head: dict[str, Any] = {"id": own, "t": command.t, "car": command.car, "command": command.id}
    try:
        typed = parse(command.shorthand or "", turns)
    except ShorthandError as problem:
        return CommentRead(**head, problem=str(problem), briefly=problem.briefly)
    return CommentRead(**head, remarks=typed.remarks or None, text=typed.text or None)


def _known_turns(remarks: tuple[Remark, ...], car: TeamCar) -> None:
    """Guard: remarks are of turns that the circuit has, where anybody numbered them."""
    known = car.setup.circuit.all_turns
    for turn in (one.turn for one in remarks):
        if turn is not None and known and turn not in known:
            raise Refusal(f"there is no turn {turn} at this circuit: its turns are {min(known)} to {max(known)}")


def _completed(command: CommandGiven, car: TeamCar, given: dict[str, Any], why: str, now: float) -> Answer:
    number = command.comment or 0
    was = car.comments.find(number)
    if was is None:
        known = ", ".join(str(one.comment) for one in car.comments.comments[-5:])
        raise Refusal(f"no comment {number} of car {car.car}" + (f" (the last are {known})" if known else ""))
    if command.run is not None or command.lap is not None:
        given |= _on(command, car, {"run": was.run})
        car.comments.named.add(number)
    if not given:
        raise Refusal(f"comment {number}: give its words in 'text', or what it says in 'shorthand'")
    changed = was.model_copy(update=given)
    if changed == was:
        return Answer(f"comment {number} says so already")
    car.comments.put(changed, now)
    done = "completed" if not was.remarks and not was.text else "changed"
    return Answer(f"comment {number} {done}{why}{_closes(car, number)}")


# -- of which lap and run -------------------------------------------------------------------------------------------


def _where(command: CommandGiven, car: TeamCar, now: float) -> dict[str, Any]:
    """The run and the lap of its moment; those that the desk names go before."""
    t = min(command.t, now)
    lap = lap_at(car, t)
    run = run_at(car, lap, t)
    found: dict[str, Any] = {"t": command.t, "run": run.run.run if run is not None else None}
    found["driver"] = driver_at(car, run, lap)
    if lap is not None:
        found |= lap_of(car, lap, run)
    return found | _on(command, car, found)


def lap_of(car: TeamCar, lap: LapRecord, run: RunState | None) -> dict[str, Any]:
    """Its number of the session, its kind, and which lap of its run it is in words: ``timed lap 2``, ``out-lap``."""
    if lap is car.track.lap and run is not None and run.laps and car.progress.current is run:
        return {"lap_number": lap.number, "lap_kind": car.track.lap_kind, "lap": run.lap_label(run.pointer)}
    kind = car.track.lap_kind if lap is car.track.lap else lap.kind
    words = None if kind is None else lap_words(kind)
    if kind in ("timed", "cool"):
        before = sum(one.run == lap.run and one.kind == kind for one in car.track.laps if one.number < lap.number)
        words = f"{words} {before + 1}"
    return {"lap_number": lap.number, "lap_kind": kind, "lap": words}


def lap_at(car: TeamCar, t: float) -> LapRecord | None:
    """The lap that was driven then; None in the pits."""
    if car.track.lap is not None and t >= car.track.lap.start_t:
        return car.track.lap
    return next((lap for lap in reversed(car.track.laps) if lap.start_t <= t < (lap.end_t or lap.start_t)), None)


def run_at(car: TeamCar, lap: LapRecord | None, t: float) -> RunState | None:
    """The run that was driven then, or the last one before."""
    if lap is not None and lap is not car.track.lap and lap.run is not None:
        return car.progress.find(lap.run)
    before = [one for one in car.progress.runs if one.start_t is not None and one.start_t <= t and one.run.laps]
    return car.progress.current or max(before, key=lambda one: one.start_t or 0.0, default=None)


def driver_at(car: TeamCar, run: RunState | None, lap: LapRecord | None) -> str:
    """Who drove that lap, or is to drive that run."""
    driver = car.drove.get(lap.number) if lap is not None else None
    return driver or (drivers.of_run(car, run) if run is not None else car.seated)


def _on(command: CommandGiven, car: TeamCar, found: dict[str, Any]) -> dict[str, Any]:
    """The run and lap that the desk names: the comment is of those, whenever it was made."""
    if command.run is None and command.lap is None:
        return {}
    name = command.run or found.get("run")
    run = car.progress.find(name or "")
    if run is None:
        known = meant(name or "", [one.run.run for one in car.progress.runs])
        raise Refusal(f"no run {name!r} in the plan of car {car.car}{known}")
    named: dict[str, Any] = {"run": run.run.run, "lap": None, "lap_number": None, "lap_kind": None}
    named["driver"] = drivers.of_run(car, run)
    if command.lap is not None:
        driven = [lap for lap in (*car.track.laps, car.track.lap) if lap is not None and lap.run == run.run.run]
        if not 1 <= command.lap <= len(driven):
            raise Refusal(f"run {run.run.run} has {len(driven)} laps so far: no lap {command.lap}")
        named |= lap_of(car, driven[command.lap - 1], run)
    return named


# -- taken back -----------------------------------------------------------------------------------------------------


def taken_back(
    command: CommandGiven, car: TeamCar, was: Comment | None
) -> tuple[str, Callable[[float], str], int] | None:
    """What ``undo`` does to one of these commands: in words, how, and to which comment; None where it did nothing.

    Args:
        was: the comment before the command; None when it was not there.
    """
    if was is None:
        noted = next((one for one in car.comments.comments if one.because == command.id), None)
        if noted is None:
            return None
        return f"comment {noted.comment}", partial(_never_said, car, noted), noted.comment
    if car.comments.find(was.comment) == was:
        return None
    return f"change of comment {was.comment}", partial(_as_before, car, was), was.comment


def _never_said(car: TeamCar, noted: Comment, now: float) -> str:
    car.comments.take_out(noted, now)
    return f"{len(car.comments.comments)} comments noted"


def _as_before(car: TeamCar, was: Comment, now: float) -> str:
    if car.comments.find(was.comment) is None:
        raise Refusal(f"comment {was.comment} is taken back itself")
    car.comments.put(was, now)
    return f"comment {was.comment} is as before"


HANDLERS: dict[str, Handler] = {"comment": _comment}
