"""The keys of the live view: which car and prompt they mean, and the command that comes of a key."""

from __future__ import annotations

from pitwall.cli.terminal.board import Board
from pitwall.model.events import CallCommand, CommandGiven
from pitwall.model.outputs import Alert, Prompt

ON_OPEN: dict[str, CallCommand] = {"s": "said", "x": "skip", "d": "defer"}
ON_SAID: dict[str, CallCommand] = {"r": "repeat", "c": "confirm"}
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
        self._car, self.chosen = car, 0
        self._given = 0

    @property
    def car(self) -> str | None:
        """The car whose prompts are shown."""
        cars = self._board.cars()
        return self._car if self._car in cars or not cars else cars[0]

    def press(self, key: str, now: float) -> CommandGiven | None:
        """What a key asks for: a command, or None when it only moves the choice or there is nothing to act on."""
        car = self.car
        if key in ("tab", "up", "down") or key.isdigit():
            self._move(key, now)
            return None
        if car is None:
            return None
        prompts = self._board.prompts(car, now)
        if key in ON_OPEN or key in ON_SAID:
            prompt = self._meant(key, prompts)
            command = ON_OPEN.get(key) or ON_SAID[key]
            return self._command(car, now, command=command, call=prompt.call) if prompt else None
        if key == "m":
            return self._command(car, now, command="quiet")
        alert = self._unnoted(car)
        if key == "a" and alert is not None:
            return self._command(car, now, command="acknowledge", alert=alert.id)
        return None

    def _move(self, key: str, now: float) -> None:
        cars = self._board.cars()
        if key == "tab" and cars:
            at = cars.index(self.car) if self.car in cars else -1
            self._car, self.chosen = cars[(at + 1) % len(cars)], 0
        elif key.isdigit() and 1 <= int(key) <= len(cars):
            self._car, self.chosen = cars[int(key) - 1], 0
        elif key in ("up", "down"):
            most = len(self._board.prompts(self.car, now)) - 1 if self.car else 0
            self.chosen = max(0, min(most, self.chosen + (1 if key == "down" else -1)))

    def _meant(self, key: str, prompts: tuple[Prompt, ...]) -> Prompt | None:
        chosen = prompts[min(self.chosen, len(prompts) - 1)] if prompts else None
        if key in ON_OPEN:
            return chosen
        if chosen is not None and chosen.state in WAS_SAID:
            return chosen
        # Nobody moves the mark down to confirm what was said a moment ago.
        return max((p for p in prompts if p.state in WAS_SAID), key=lambda p: (p.t, p.call), default=None)

    def _unnoted(self, car: str) -> Alert | None:
        alerts = [alert for alert in self._board.alerts.values() if alert.active and not alert.acknowledged]
        mine = [alert for alert in alerts if alert.car in (car, None)] or alerts
        return min(mine, key=lambda alert: (alert.since_s, alert.id), default=None)

    def _command(self, car: str, now: float, **values: str) -> CommandGiven:
        self._given += 1
        facts = {"id": f"{self._mark}-{self._given}", "t": now, "car": car, "by": self._hand} | values
        return CommandGiven.model_validate(facts)
