"""What a car asks of whoever drives it: how to drive the next lap, whether to come in, what to do in the pit lane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

from pitwall.rehearsal.control import Notice
from pitwall.rehearsal.truth import DrivenKind


@dataclass(frozen=True)
class LapIntent:
    """How the pilot means to drive the lap that begins: its pace, and by how much this lap bends the usual shares."""

    meant: Literal["timed", "cool", "in"]
    lap_s: float
    bend: float = 0.0
    spoilt: bool = False


@dataclass(frozen=True)
class OpenLap:
    """The lap being driven."""

    number: int
    kind: DrivenKind
    meant: DrivenKind
    start_s: float
    spoilt: bool = False
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stop:
    """What a pilot does in the pit lane: seconds standing in the pit box, and whether to go straight out again."""

    standing_s: float = 0.0
    through: bool = False


class Pilot(Protocol):
    """Decides for one car."""

    def out_lap(self, t: float) -> LapIntent:
        """The car passes the pit exit."""

    def next_lap(self, t: float) -> LapIntent:
        """The car crosses the line."""

    def comes_in(self, t: float) -> bool:
        """The car is at the last place from which the pit entry can be taken."""

    def in_lane(self, t: float) -> Stop:
        """The car has come into the pit lane."""

    def in_garage(self, t: float) -> None:
        """The car stands in its garage."""

    def lap_ended(self, lap: OpenLap, t: float, entry_s: float | None) -> None:
        """A lap is over: at the line, or in the pit lane."""

    def sees(self, t: float, notice: Notice) -> None:
        """The boards changed."""
