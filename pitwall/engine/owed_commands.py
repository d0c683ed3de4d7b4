"""The desk's words on answers owed: the driver asked something, and it was answered. One key each."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from pitwall.engine.answers import Answer, Handler, Refusal
from pitwall.engine.call import Call
from pitwall.engine.owed import MOST_OPEN, TAKEN_BACK, Question, call_key, close, reopen
from pitwall.engine.team import TeamCar
from pitwall.model.events import CommandGiven


def _asked(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    if len(car.owed.open) >= MOST_OPEN:
        raise Refusal(f"{MOST_OPEN} questions are open already: answer or skip one first")
    question, new = car.owed.asked(min(command.t, now), command.by, command.text, command.id)
    if not new:
        return Answer(f"{question.named} is noted already, by {question.by}")
    return Answer(f"{question.named} noted: the driver waits for an answer")


def _answered(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    question = _meant(command, car)
    if not question.open:
        return Answer(f"{question.named} is {question.state} already" + _by(question))
    call = call_of(car, question)
    t = min(command.t, now)
    if call is not None and call.open and car.signal(call, "said", now, f"answered, {command.by}", command.id):
        call.said_t, call.said_by = t, command.by
    close(question, "answered", t, command.by, command.id)
    left = len(car.owed.open)
    return Answer(f"{question.named} answered" + (f"; {left} more open" if left else ""))


def _by(question: Question) -> str:
    return f", by {question.closed_by}" if question.closed_by else ""


def _meant(command: CommandGiven, car: TeamCar) -> Question:
    """The question that the command names; else the one that has waited longest, else the last that was closed."""
    if command.question is not None:
        found = car.owed.find(command.question)
        if found is None:
            known = ", ".join(str(one.number) for one in car.owed.open)
            there = f"open are: {known}" if known else "none is open"
            raise Refusal(f"no question {command.question} of car {car.car}; {there}")
        return found
    waiting = car.owed.open
    if waiting:
        return waiting[0]
    over = [one for one in car.owed.questions if one.state != TAKEN_BACK]
    closed = max(over, key=lambda one: (one.closed_t or 0.0, one.number), default=None)
    if closed is None:
        raise Refusal(f"no answer is owed to the driver of car {car.car}; 'asked' notes a question")
    return closed


def call_of(car: TeamCar, question: Question) -> Call | None:
    """The latest call for the answer to this question."""
    return car.book.latest.get(call_key(question))


def taken_back(command: CommandGiven, car: TeamCar) -> tuple[str, Callable[[float], str]] | None:
    """What ``undo`` does to one of these commands: in words, and how; None where it did nothing."""
    for question in car.owed.questions:
        if command.command == "asked" and question.because == command.id:
            return question.named, partial(_never_asked, car, question, command)
        if command.command == "answered" and question.closed_because == command.id:
            return f"answer to {question.named}", partial(_not_answered, question)
    return None


def _never_asked(car: TeamCar, question: Question, command: CommandGiven, now: float) -> str:
    close(question, TAKEN_BACK, now, command.by, command.id)
    return f"{len(car.owed.open)} questions open"


def _not_answered(question: Question, now: float) -> str:
    reopen(question)
    return "the driver waits for it again"


def not_dropped(car: TeamCar, call: Call) -> None:
    """The skip of this answer is taken back: the driver waits again."""
    for question in car.owed.questions:
        if question.state == "dropped" and call.spec.kind == "answer" and call.because == question.closed_because:
            reopen(question)


HANDLERS: dict[str, Handler] = {"asked": _asked, "answered": _answered}
