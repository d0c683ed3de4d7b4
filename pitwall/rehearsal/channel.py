"""One car's radio channel: one voice at a time."""

from __future__ import annotations

from typing import Literal

from pitwall.model.events import ChannelReported
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.truth import Voice, VoiceHeard

PAUSE_S = 0.4  # between two voices


class Channel:
    """Who talks, and until when. Taking a busy channel is a mistake of the world's own code."""

    def __init__(self, car: str, agenda: Agenda, feed: Feed, reported: bool, prefix: str) -> None:
        self._car, self._agenda, self._feed, self._reported, self._prefix = car, agenda, feed, reported, prefix
        self._busy_until = float("-inf")
        self._count = 0
        self.spoke_s: dict[Voice, float] = {"engineer": 0.0, "driver": 0.0}
        self.heard: list[VoiceHeard] = []

    def free_from(self, t: float) -> float:
        """The earliest moment, from ``t`` on, at which nobody talks as far as one can hear now."""
        return max(t, self._busy_until)

    def take(self, who: Voice, t: float, length_s: float, about: str = "") -> float:
        """Talk from ``t`` for so long; returns the end.

        Args:
            who: whose voice.
            t: from when, session seconds.
            length_s: for how long.
            about: the call that is said or read back; empty for what the driver says unasked.

        Raises:
            ValueError: when somebody else is talking.
        """
        if t < self._busy_until - 1e-9:
            taken = f"the channel is taken until {self._busy_until:.3f} s"
            raise ValueError(f"car {self._car}: {who} talks at {t:.3f} s, {taken}")
        end = t + length_s
        self._busy_until = end
        self.spoke_s[who] += length_s
        self.heard.append(VoiceHeard(who=who, about=about, start_s=round(t, 3), end_s=round(end, 3)))
        if self._reported:
            self._report(t, who)
            self._agenda.at(end, lambda at: self._report(at, "nobody"))
        return end

    def _report(self, t: float, talking: Literal["engineer", "driver", "nobody"]) -> None:
        self._count += 1
        message = f"{self._prefix}-{self._car}-ch-{self._count}"
        fact = ChannelReported(id=message, t=round(t, 3), car=self._car, talking=talking)
        self._feed.message(fact, f"{self._car}-channel")
