"""What a driver does that nobody asked for: talks on the radio, and knocks a switch by mistake."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.channel import PAUSE_S, Channel
from pitwall.rehearsal.draws import Rng, between, moments
from pitwall.rehearsal.scenario import DriverHabits, Talks
from pitwall.rehearsal.teamcar import TeamCar

ANSWER = 1.6  # an answer is longer than what a driver says unasked


class Unasked:
    """Talk and knocks of whoever sits in one team car, planned lap by lap."""

    def __init__(self, team: TeamCar, habits: Mapping[str, DriverHabits], talks: Talks, medium: str, channel: Channel,
                 agenda: Agenda, rng: Rng, talk_rng: Rng) -> None:
        self._team, self._every, self._talks, self._medium = team, habits, talks, medium
        self._channel, self._agenda, self._rng, self._talk_rng = channel, agenda, rng, talk_rng

    def lap(self, t: float, kind: str, lap_s: float) -> None:
        """A lap of this kind begins, which will take so long: when the driver talks on it, and knocks a switch."""
        self._plan_talk(t, kind, lap_s)
        self._plan_knock(t, lap_s)

    def eased(self, t: float, rest_s: float) -> None:
        """The driver eases off for the rest of the lap: there is time to talk."""
        if self._talks.insists:
            self._plan_talk(t, "other", rest_s)

    def answer(self, t: float, call: str) -> None:
        """Answer a question."""
        self._talk(max(1.0, between(self._talk_rng, self._talks.length_s)) * ANSWER, t, call)

    def _plan_talk(self, t: float, kind: str, lap_s: float) -> None:
        share = {"timed": self._talks.timed, "out": self._talks.out}.get(kind, self._talks.other)
        middle = max(self._talks.length_s[1], 0.5)
        for begin in moments(self._talk_rng, 3600.0 * share / middle, t + 2.0, t + lap_s):
            length = max(0.5, between(self._talk_rng, self._talks.length_s))
            if self._medium == "two_way":
                self._agenda.at(begin, partial(self._talk, length))

    def _talk(self, length_s: float, t: float, about: str = "") -> None:
        free = self._channel.free_from(t)
        if free <= t:
            self._channel.take("driver", t, length_s, about)
        elif self._talks.insists and self._team.car.where == "track":
            self._agenda.at(free + PAUSE_S, lambda at: self._talk(length_s, at, about))

    def _plan_knock(self, t: float, lap_s: float) -> None:
        names = sorted(self._team.wheel.positions)
        for moment in moments(self._rng, self._every[self._team.seated].knocks_per_hour, t, t + lap_s):
            name = names[int(self._rng.integers(len(names)))] if names else ""
            self._agenda.at(moment, partial(self._knock, name))

    def _knock(self, name: str, t: float) -> None:
        position = self._team.wheel.neighbour(name, self._rng)
        if position is not None and self._team.car.where == "track":
            self._team.wheel.put(t, name, position, "knocked", moving=True)
