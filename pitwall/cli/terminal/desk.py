"""The keys of the live view: which car and prompt they mean, and the command that comes of a key."""

from __future__ import annotations

from typing import Any

from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.pad import CommentLine
from pitwall.model.commands import RecordCommand
from pitwall.model.events import CallCommand, CommandGiven, PlanCommand
from pitwall.model.outputs import Alert, Prompt, Proposal

ON_OPEN: dict[str, CallCommand] = {"s": "said", "x": "skip", "d": "defer"}
ON_SAID: dict[str, CallCommand] = {"r": "repeat", "c": "confirm"}
TRUTH: dict[str, dict[str, Any]] = {
    "l": {"command": "cross"},
    "i": {"command": "pit", "where": "entry"},
    "o": {"command": "pit", "where": "exit"},
    "f": {"command": "cross", "forgotten": True},
    "e": {"command": "status", "status": "red"},
    "g": {"command": "status", "status": "green"},
    "u": {"command": "undo"},
}
"""What happened, one key each; of the car that is shown, or of the session."""
OWED: dict[str, RecordCommand] = {"k": "asked", "w": "answered"}
KEYS = (*ON_OPEN, *ON_SAID, *TRUTH, *OWED, "m", "a", "p", "v", "n", "b")
ANSWERS: dict[str, PlanCommand] = {"y": "adopt", "n": "decline"}
DEALT_WITH = ("late", "said", "done", "withdrawn", "skipped", "missed")
WAS_SAID = ("said", "late", "unconfirmed")


class Desk:
    """Turns keys into commands. Each command names the call that the person saw, so a late key never hits another."""

    def __init__(self, board: Board, hand: str, mark: str, car: str | None = None) -> None:
        """Start with nothing chosen.

        Args:
            board: what is on the screen.
            hand: who presses, for the record.
            mark: makes the ids of this desk's commands unlike any other desk's.
            car: the car to begin with; the first one known when left out.
        """
        self._board, self._hand, self._mark = board, hand, mark
        self._car, self._call = car, ""
        self._given = 0
        self.helping = False
        self.looking: Proposal | None = None
        """The changed plan that is shown: it is adopted or declined as it was seen."""
        self.writing: CommentLine | None = None
        """The comment that is being typed: every key belongs to it."""

    @property
    def car(self) -> str | None:
        """The car whose prompts are shown."""
        cars = self._board.cars()
        return self._car if self._car in cars or not cars else cars[0]

    def chosen(self, now: float) -> int:
        """Where the chosen call stands in the list: it keeps the mark when the list moves. No choice: the top."""
        prompts = self._board.prompts(self.car, now) if self.car else ()
        return next((at for at, prompt in enumerate(prompts) if prompt.call == self._call), 0)

    def press(self, key: str, now: float) -> CommandGiven | None:
        """What a key asks for: a command, or None when it only moves the choice or there is nothing to act on.

        A key that does nothing leaves its reason in the board's ``hint``.
        """
        self._board.hint = ""
        if self.writing is not None:
            return self._typed(self.writing, key)
        if self.looking is not None:
            return self._decide(key, now)
        if self.helping or key == "?":
            self.helping = not self.helping
            return None
        if key in ("tab", "up", "down") or key.isdigit():
            self._move(key, now)
            return None
        if key not in KEYS:
            self._board.hint = f"the key {key!r} does nothing"
            return None
        car = self.car
        if car is None:
            self._board.hint = "no car is known yet: waiting for the daemon"
            return None
        return self._asked(key, car, now)

    def _asked(self, key: str, car: str, now: float) -> CommandGiven | None:
        if key == "p":
            self.looking = next(iter(self._board.waiting(car)), None)
            self._board.hint = "" if self.looking is not None else f"no changed plan waits for car {car}"
            return None
        if key == "b":
            self._reopen(car)
            return None
        if key == "n":
            self.writing = CommentLine(car, now, self._board.turns)
            return None
        if key in TRUTH:
            return self._command(car, now, **TRUTH[key])
        if key in OWED:
            return self._of_questions(key, car, now)
        if key == "m":
            return self._command(car, now, command="quiet")
        if key == "v":
            return self._command(car, now, command="advise")
        if key == "a":
            alert = self._unnoted()
            if alert is None:
                self._board.hint = "no alert waits to be acknowledged"
                return None
            named = alert.car if alert.car in self._board.cars() else car
            return self._command(named, now, command="acknowledge", alert=alert.id)
        prompt = self._meant(key, now, self._board.prompts(car, now))
        if prompt is None:
            told = "there is no call to act on now" if key in ON_OPEN else "nothing was said a moment ago"
            self._board.hint = f"car {car}: {told}"
            return None
        if key in ON_OPEN:
            self._call = ""  # dealt with: on to what is most pressing
        return self._command(car, now, command=ON_OPEN.get(key) or ON_SAID[key], call=prompt.call)

    def _reopen(self, car: str) -> None:
        """The comment that was noted last, by whomever: to be tagged now, or put in other words."""
        desk = self._board.desks.get(car)
        if desk is None or not desk.comments:
            self._board.hint = f"no comment on car {car} yet"
        else:
            self.writing = CommentLine.of(car, desk.comments[-1], self._board.turns)

    def _typed(self, line: CommentLine, key: str) -> CommandGiven | None:
        """A key of the comment; the command is of the moment at which it was begun."""
        ended = line.press(key)
        self.writing = None if ended else line
        return self._command(line.car, line.t, command="comment", **line.given()) if ended == "keep" else None

    def _of_questions(self, key: str, car: str, now: float) -> CommandGiven | None:
        """The driver asked something, or has the answer that is owed for longest."""
        if key == "k":
            return self._command(car, now, command="asked")
        desk = self._board.desks.get(car)
        waiting = desk.questions if desk is not None else ()
        if not waiting:
            self._board.hint = f"car {car}: no answer is owed to the driver"
            return None
        return self._command(car, now, command="answered", question=waiting[0].question)

    def _decide(self, key: str, now: float) -> CommandGiven | None:
        """The changed plan is on the screen: one key adopts it, one declines it, one shows the next, any other closes
        it. One of several cars is answered for the car that is shown, where it is among them."""
        seen, self.looking = self.looking, None
        if seen is not None and key == "p":
            names = [one.id for one in self._board.waiting(self.car or seen.car)]
            at = names.index(seen.id) + 1 if seen.id in names else 0
            self.looking = next(iter(self._board.waiting(self.car or seen.car)[at:]), None)
            return None
        if seen is None or key not in ANSWERS:
            return None
        car = self.car if self.car is not None and self.car in seen.cars else seen.car
        return self._command(car, now, command=ANSWERS[key], proposal=seen.id)

    def _move(self, key: str, now: float) -> None:
        cars = self._board.cars()
        if key in ("up", "down"):
            self._choose(key, now)
        elif key == "tab" and cars:
            at = cars.index(self.car) if self.car in cars else -1
            self._show(cars[(at + 1) % len(cars)])
        elif key.isdigit() and 1 <= int(key) <= len(cars):
            self._show(cars[int(key) - 1])
        else:
            self._board.hint = f"there is no car {key} in the list" if cars else "no car is known yet"

    def _show(self, car: str) -> None:
        if car == self.car:
            self._board.hint = f"car {car} is shown already"
        else:
            self._car, self._call = car, ""

    def _choose(self, key: str, now: float) -> None:
        prompts = self._board.prompts(self.car, now) if self.car else ()
        at = self.chosen(now) + (1 if key == "down" else -1)
        if 0 <= at < len(prompts):
            self._call = prompts[at].call
        else:
            end = "last" if key == "down" else "first"
            self._board.hint = f"this is the {end} call" if prompts else "there is no call to choose now"

    def _meant(self, key: str, now: float, prompts: tuple[Prompt, ...]) -> Prompt | None:
        chosen = prompts[self.chosen(now)] if prompts else None
        if key in ON_OPEN:
            return None if chosen is not None and chosen.state in DEALT_WITH else chosen
        if chosen is not None and chosen.state in WAS_SAID:
            return chosen
        # Nobody moves the mark down to confirm what was said a moment ago.
        return max((p for p in prompts if p.state in WAS_SAID), key=lambda p: (p.t, p.call), default=None)

    def _unnoted(self) -> Alert | None:
        """The first in the picture, of whichever car."""
        return next((alert for alert in self._board.standing() if alert.active and not alert.acknowledged), None)

    def _command(self, car: str, now: float, **values: Any) -> CommandGiven:
        self._given += 1
        facts = {"id": f"{self._mark}-{self._given}", "t": now, "car": car, "by": self._hand} | values
        return CommandGiven.model_validate(facts)
