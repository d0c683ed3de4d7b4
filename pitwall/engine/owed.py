"""Answers owed to the driver: what was asked over the radio or in the garage and has no answer yet.

A question is open from the key that notes it until it is answered or dropped. As long as it is open, a rule
(``rules/owed.py``) asks for its answer in the next free window; what becomes of that call closes the question or has it
told again. Like all that was said and heard it is an act, not a belief: going over a car's history again moves nothing
here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from pitwall.engine.call import Call
from pitwall.model.outputs import OpenQuestion
from pitwall.model.units import clock_text

OLD_S = 180.0  # a driver who waits longer than this thinks that nobody heard (common practice, no source)
SAME_S = 8.0  # two seats that note a question within this heard the same one (common practice, no source)
MOST_OPEN = 12
WORDS_SHOWN = 80
KEY = "answer"
TAKEN_BACK = "taken back"
"""The state of a question that was noted by a slip: it was never asked."""


@dataclass
class Question:
    """One question of the driver. ``told`` counts how often its answer was called for in vain; ``because`` and
    ``closed_because`` are the commands that noted and closed it."""

    number: int
    t: float
    by: str
    text: str | None = None
    state: str = "open"
    closed_t: float | None = None
    closed_by: str | None = None
    told: int = 0
    because: str = ""
    closed_because: str = ""

    @property
    def open(self) -> bool:
        """The driver still waits."""
        return self.state == "open"

    @property
    def words(self) -> str | None:
        """What was asked, in one line of fair length; None when nobody wrote it down."""
        if not self.text:
            return None
        return self.text if len(self.text) <= WORDS_SHOWN else f"{self.text[: WORDS_SHOWN - 1].rstrip()}…"

    def old(self, now: float) -> bool:
        """Guard: the driver has waited for long."""
        return self.open and now - self.t >= OLD_S

    @property
    def named(self) -> str:
        """``question 2 of 12:40`` and what it was, for answers to the desk and for alerts."""
        words = self.words
        return f"question {self.number} of {clock_text(self.t)}" + (f" ({words})" if words else "")


@dataclass
class OwedAnswers:
    """Every question of one car's session, in the order in which they were noted."""

    questions: list[Question] = field(default_factory=list)

    @property
    def open(self) -> tuple[Question, ...]:
        """Those that wait for an answer, the longest waiting first."""
        return tuple(question for question in self.questions if question.open)

    def find(self, number: int) -> Question | None:
        """The question of that number."""
        return next((question for question in self.questions if question.number == number), None)

    def asked(self, t: float, by: str, text: str | None, because: str) -> tuple[Question, bool]:
        """Note a question; returns it, and whether it is a new one: two seats may have heard the same."""
        words = " ".join((text or "").split()) or None
        last = next((one for one in reversed(self.open) if abs(t - one.t) <= SAME_S), None)
        if last is not None and (words is None or last.text is None or words == last.text):
            last.text = last.text or words
            return last, False
        question = Question(len(self.questions) + 1, t, by, words, because=because)
        self.questions.append(question)
        return question, True

    def follow(self, changed: Iterable[Call], now: float) -> None:
        """Calls changed state: one that was made answers its question, one that was skipped drops it, and one whose
        time went by without a word is called for again."""
        for call in changed:
            question = self.find(_number(call)) if call.spec.kind == "answer" else None
            if question is None or not question.open:
                continue
            if call.said_t is not None or call.state == "done":
                close(question, "answered", now, call.said_by, "")
            elif call.state == "skipped":
                close(question, "dropped", now, None, call.because or "")
            elif call.state in ("unconfirmed", "missed", "late"):
                question.told += 1

    def shown(self) -> tuple[OpenQuestion, ...]:
        """The open ones as they are published."""
        return tuple(
            OpenQuestion(question=one.number, asked_s=round(one.t, 1), by=one.by, text=one.words) for one in self.open
        )


def close(question: Question, state: str, t: float, by: str | None, because: str) -> None:
    """The driver waits no longer."""
    question.state, question.closed_t, question.closed_by, question.closed_because = state, t, by, because


def reopen(question: Question) -> None:
    """It was closed by mistake: its answer is called for anew."""
    close(question, "open", 0.0, None, "")
    question.told += 1


def call_key(question: Question) -> str:
    """Key of the call that answers it. Called for again it is another call: nothing shows that the first was made."""
    return f"{KEY}-{question.number}" + (f"-again-{question.told}" if question.told else "")


def _number(call: Call) -> int:
    parts = call.spec.key.split("-")
    return int(parts[1]) if len(parts) > 1 and parts[0] == KEY and parts[1].isdigit() else 0
