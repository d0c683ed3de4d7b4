"""Commands of the other families beside those of the hand: noted in the car's history, and taken back by ``undo``.

Taken back can be: box, extend, shorten, drop, keep_in, let_go, quiet (gone over again without them), skip (the call
comes again if there is still time for it), and what was noted of the driver's questions and comments. A changed plan is
changed back by another change. What was said was said; but the key may have been a slip, and that shows at once: an
undo that names the call takes ``said`` back within ``SLIP_S``, and the call comes again.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial

from pitwall.engine import called_in, comment_commands, items, owed_commands
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.answers import Refusal
from pitwall.engine.belief import Belief, take
from pitwall.engine.changing_back import line_back
from pitwall.engine.commands import answer, call_meant
from pitwall.engine.hands import Hands
from pitwall.engine.history import Entry
from pitwall.engine.replan import in_use, take_plan
from pitwall.engine.team import TeamCar
from pitwall.model.comments import Comment
from pitwall.model.events import CommandGiven
from pitwall.model.plan import Alternate, Plan

SLIP_S = 6.0
"""A slip of the hand is seen on the screen within five seconds; one more for its way here."""

AGAIN = ("box", "extend", "shorten", "drop", "keep_in", "let_go", "quiet")
"""Commands that do the same again when the inputs of a car are gone over once more."""


CHANGES = ("amend", "adopt")
"""Commands whose plan is changed back by another change, which an undo writes."""
OF_CALLS = ("said", "skip", "defer", "repeat")
"""Commands about one call: they change no plan, so nobody ever goes back to what was believed before them. Most that a
desk gives are of these, and to take a belief out costs more than to carry them out."""


@dataclass(frozen=True)
class Before:
    """A car before a command: what was believed (None for those ``OF_CALLS``), and what shows afterwards that something
    changed."""

    belief: Belief | None
    shows: tuple[object, ...]
    comment: Comment | None = None
    driven: Alternate | None = None
    said: tuple[float | None, str | None] = (None, None)
    """When the call was said, and by whom, before this command says it (again)."""
    plans: Mapping[str, Plan] = field(default_factory=dict)
    """The plans in use before a command that ``CHANGES`` them, by car: one that is advised may change several."""


def before(car: TeamCar, command: CommandGiven, team: Mapping[str, TeamCar], now: float) -> Before:
    """To be taken before the command is carried out."""
    plans = {name: in_use(one) for name, one in team.items()} if command.command in CHANGES else {}
    belief = None if command.command in OF_CALLS else take(car)
    call = call_meant(command, car, now)
    said = (None, None) if call is None else (call.said_t, call.said_by)
    return Before(belief, _shows(car), car.comments.find(command.comment or 0), car.desk.driven, said, plans)


def _shows(car: TeamCar) -> tuple[object, ...]:
    return (car.quiet, car.kept_in, car.progress.revision, car.plan)


def note(hands: Hands, command: CommandGiven, was: Before, planned: bool, now: float) -> None:
    """A command was carried out; ``planned``: it changed the plan."""
    car = hands.team[command.car]
    if command.command == "skip":
        _remember_skip(hands, command, car)
    if command.command == "said":
        _remember_said(hands, command, car, was, now)
    if command.command in ("asked", "answered"):
        undone = owed_commands.taken_back(command, car)
        if undone is not None:
            hands.remember(command, *undone)
    if command.command == "comment":
        noted = comment_commands.taken_back(command, car, was.comment)
        if noted is not None:
            hands.remember(command, *noted[:2], comment=noted[2])
    if _shows(car) == was.shows:
        return
    if command.command in AGAIN:
        hands.remember(command, command.command, partial(_take_back, hands, command), planned=planned)
        act = partial(_once_more, command.model_copy(update={"revision": None}))
    elif planned:
        hands.remember(command, command.command, partial(_changed_back, hands, command, was))
        act = partial(_planned, in_use(car), f"{command.by}: {command.text or command.command}")
    else:
        return
    if was.belief is None:
        return  # a command of a call: nothing was kept to go back to
    entry = Entry(command.id, command.command, now, copy.copy(hands.clock), act, by=command.by)
    hands.histories[car.car].note(entry).before = was.belief


def _changed_back(hands: Hands, command: CommandGiven, was: Before, now: float) -> str:
    """What an undo is told of a changed plan: it stands, and there is a way back."""
    how = (f"'switch_plan' with alternate={was.driven or 'dry'}" if command.command == "switch_plan"
           else _ways_back(hands, command, was) or "'amend' with the changes the other way round")
    raise Refusal(f"a change of the plan is changed back by another one: {how}; 'undo' once more takes back what was "
                  "entered before it")


def _ways_back(hands: Hands, command: CommandGiven, was: Before) -> str | None:
    """A line to be given for each car whose plan is another one; None where one of them cannot be changed back so."""
    changed = [name for name, plan in was.plans.items() if in_use(hands.team[name]) != plan]
    lines = [line_back(hands.team[name], was.plans[name], command.by) for name in changed]
    return " and ".join(line for line in lines if line is not None) if lines and None not in lines else None


def _once_more(command: CommandGiven, car: TeamCar, entry: Entry) -> None:
    with suppress(Refusal):
        answer(command, car, AlertBook(), entry.now)


def _planned(plan: Plan, why: str, car: TeamCar, entry: Entry) -> None:
    take_plan(car, plan, entry.now, why)


def _take_back(hands: Hands, command: CommandGiven, now: float) -> str:
    entry = hands.histories[command.car].find(command.id)
    if entry is None or not hands.take_out(command.car, entry, now):
        raise Refusal(f"{command.command} lies too far back to be taken back")
    car = hands.team[command.car]
    if command.command == "box":
        called_in.anew(car, entry.now)
    shown = [word for word, on in (("quiet", car.quiet), ("kept in", car.kept_in)) if on]
    states = f" ({', '.join(shown)})" if shown else ""
    return f"car {car.car} is as before{states}{called_in.words(car, now)}"


def _remember_skip(hands: Hands, command: CommandGiven, car: TeamCar) -> None:
    call = next((one for one in car.book.calls.values() if one.because == command.id), None)
    if call is None:
        return

    def back(now: float) -> str:
        call.unfounded = True
        owed_commands.not_dropped(car, call)
        found = items.find_item(car.progress.runs, call.spec.item)
        if found is not None:
            key = found[1].key
            retried = command.model_copy(update={"id": f"{command.id}-back"[:128]})
            hands.act(retried, "retry", partial(_retry, key), now)
        return f"{call.spec.short!r} comes again if there is still time for it"

    hands.remember(command, f"skip of {call.spec.short!r}", back)


def _remember_said(hands: Hands, command: CommandGiven, car: TeamCar, was: Before, given: float) -> None:
    call = next((one for one in car.book.calls.values() if one.because == command.id and one.state == "said"), None)
    if call is None:
        return

    def back(now: float) -> str:
        if now > given + SLIP_S * max(1.0, hands.clock.rate):
            raise Refusal(f"what was said was said: that can be taken back for {SLIP_S - 1:g} s only")
        if call.state != "said":
            raise Refusal(f"{call.id} is {call.state}: it cannot be taken back any more")
        if was.said[0] is not None:
            # It was said before, and asked for once more: that it was said, and what came of it, stands.
            car.book.repeat(call, now, "not said again: the key was a slip", None)
            call.said_t, call.said_by = was.said
            return f"{call.spec.short!r} was not said again: it is due once more"
        car.signal(call, "unsaid", now, "not said: the key was a slip", None)
        call.because, call.said_t, call.said_by = None, None, None
        found = items.find_item(car.progress.runs, call.spec.item)
        if found is not None:
            found[1].signal("call_lost", now)
        return f"{call.spec.short!r} was not said: it comes again if there is still time for it"

    hands.remember(command, f"said of {call.spec.short!r}", back, call=call.id)


def _retry(key: str, car: TeamCar, entry: Entry) -> None:
    found = items.find_item(car.progress.runs, key)
    if found is not None:
        found[1].signal("retry", entry.now)
