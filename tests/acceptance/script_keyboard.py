"""A person at the live view of a script: keys alone, through the very desk and board that the terminal uses."""

from __future__ import annotations

from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.desk import Desk
from pitwall.model.outputs import Health, Output, Prompt
from pitwall.track.lapmap import LapMap
from tests.acceptance.script import Script

PRESSED_AFTER_S = (0.4, 0.2, 0.6, 0.3, 0.5)
"""How late a thumb is, one press after the other."""
SAYS_AFTER_S = 1.5


class Keyboard:
    """One seat. Keys act on the car that its screen shows."""

    def __init__(self, play: Script, by: str, car: str = "41") -> None:
        self.play, self.board = play, Board()
        self.desk = Desk(self.board, by, f"keys-{by}", car)
        self._presses = 0
        play.screens.append(self.board.take)

    def press(self, t: float, key: str) -> Keyboard:
        """Press a key at ``t``."""
        self.play.at(t).do(lambda: self._pressed(key))
        return self

    def says_every_call(self) -> Keyboard:
        """Say each call as it comes due, and press the key for it."""

        def hear(output: Output | Health) -> None:
            if isinstance(output, Prompt) and output.state == "due" and output.car == self.desk.car:
                self.play.clock.call_at(self.play.clock.now() + SAYS_AFTER_S, lambda: self._pressed("s"))

        self.play.screens.append(hear)
        return self

    def _pressed(self, key: str) -> None:
        command = self.desk.press(key, self.play.clock.now())
        if command is not None:
            self.play.give(command)

    def thumb_s(self) -> float:
        """How late the next press is."""
        self._presses += 1
        return PRESSED_AFTER_S[self._presses % len(PRESSED_AFTER_S)]


class SeenCar:
    """A car that somebody watches from the pit wall: pit exit, line and pit entry are pressed as it passes them."""

    def __init__(self, keys: Keyboard, lap_map: LapMap) -> None:
        self._keys, self._map = keys, lap_map
        self.t = 0.0
        self.passed: list[float] = []

    def leaves(self, t: float) -> SeenCar:
        """Past the pit exit at ``t``."""
        return self._passes(t, "o")

    def lap(self, seconds: float, *, forgotten: bool = False) -> SeenCar:
        """Past the line after so long; ``forgotten``: nobody pressed."""
        return self._passes(self.t + seconds, "" if forgotten else "l")

    def comes_in(self, seconds: float) -> SeenCar:
        """Past the pit entry, at the pace of a lap of ``seconds``."""
        return self._passes(self.t + seconds * self._map.pit_entry, "i")

    def last_chance(self, seconds: float) -> float:
        """When the car is at the last place for the pit entry on the lap that begins now, at that pace."""
        return self.t + seconds * self._map.last_chance

    def _passes(self, t: float, key: str) -> SeenCar:
        self.t = t
        self.passed.append(t)
        if key:
            self._keys.press(t + self._keys.thumb_s(), key)
        return self
