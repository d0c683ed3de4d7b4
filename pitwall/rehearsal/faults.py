"""What goes wrong with our own cars and with the feed, by chance: drawn before the start, from streams of its own.

A tyre that gets hot or loses its air, a car that stops on track, a run that leaves with too little fuel (the crew finds
out, and somebody enters it at the desk), a feed that falls silent. With the defaults nothing of it happens.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from pitwall.model.events import CommandGiven, Fact
from pitwall.model.plan import Run
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.draws import Rng, Streams, between, happens, moments
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.scenario import FaultHabits
from pitwall.rehearsal.teamcar import TeamCar
from pitwall.rehearsal.truth import FaultShown
from pitwall.rehearsal.tyres import TyreModel

APART_S = 60.0        # a silence keeps this distance from the one before
NOTICED_S = 20.0      # from the wheels turning to the word that too little was filled
FILLED_PART = 0.5     # of what the plan wants beyond the reserve


class Faults:
    """All faults of one session. ``shown`` is the truth of them."""

    def __init__(self, habits: FaultHabits, flag_s: float, agenda: Agenda, feed: Feed, streams: Streams, prefix: str,
                 press: Callable[[Fact], None]) -> None:
        self._habits, self._flag_s, self._agenda, self._feed = habits, flag_s, agenda, feed
        self._streams, self._prefix, self._press = streams, prefix, press
        self._teams: dict[str, TeamCar] = {}
        self._tyres: dict[str, TyreModel] = {}
        self._filled: list[FaultShown] = []
        self._silences: list[FaultShown] = []

    def enter(self, number: str, team: TeamCar) -> None:
        """One of our cars; before the world starts."""
        self._teams[number] = team
        habits = self._habits
        if habits.tyres_every_s > 0:
            self._tyres[number] = TyreModel(team.car, habits.tyres_every_s, self._feed, self._agenda, self._prefix,
                                            self._streams.stream("tyres", number))
        if habits.short_fills > 0:
            team.fills = partial(self._fill, number, team, self._streams.stream("faults", "fuel", number))

    def start(self, begin: float) -> None:
        """Arm everything."""
        habits = self._habits
        for number, team in sorted(self._teams.items()):
            rng = self._streams.stream("faults", "stops", number)
            for t in moments(rng, habits.stops_per_hour, 30.0, self._flag_s):
                self._agenda.at(t, partial(team.car.stops_from, between(rng, habits.stop_s)))
        for number, tyres in sorted(self._tyres.items()):
            tyres.start(begin)
            rng = self._streams.stream("faults", "tyres", number)
            for t in moments(rng, habits.tyre_hot_per_hour, 30.0, self._flag_s):
                self._agenda.at(t, partial(tyres.goes_wrong, "tyre_hot", between(rng, habits.tyre_hot_s)))
            for t in moments(rng, habits.pressure_losses_per_hour, 30.0, self._flag_s):
                self._agenda.at(t, partial(tyres.goes_wrong, "pressure_loss", self._flag_s))
        rng, over = self._streams.stream("faults", "feed"), float("-inf")
        for t in moments(rng, habits.silences_per_hour, 30.0, self._flag_s):
            lasts = between(rng, habits.silence_s)
            if t > over + APART_S:
                over = t + lasts
                self._feed.falls_silent(t, over)
                self._silences.append(FaultShown(what="feed_silence", start_s=round(t, 3), end_s=round(over, 3)))

    def shown(self, t: float) -> tuple[FaultShown, ...]:
        """Everything so far, in order of time."""
        stops = [FaultShown(what="stopped", car=number, start_s=round(begin, 3), end_s=round(min(end, t), 3))
                 for number, team in sorted(self._teams.items()) for begin, end in team.car.halts]
        tyres = [one for each in self._tyres.values() for one in each.faults(t)]
        found = [*stops, *self._silences, *self._filled, *tyres]
        return tuple(sorted(found, key=lambda one: (one.start_s, one.what, one.car or "")))

    def _fill(self, number: str, team: TeamCar, rng: Rng, run: Run | None, wanted_kg: float, t: float) -> float:
        """What the crew really fills: now and then too little, which is known and entered once the car has left."""
        short = happens(rng, self._habits.short_fills)
        if run is None or len(run.laps) < 4 or not short:
            return wanted_kg
        reserve = team.reserve_kg
        filled = round(reserve + FILLED_PART * max(0.0, wanted_kg - reserve), 1)
        self._filled.append(FaultShown(what="fuel_short", car=number, start_s=round(t, 3), end_s=round(t, 3),
                                       detail=run.run))
        command = f"{self._prefix}-{number}-fuel-{len(self._filled)}"
        self._agenda.at(t + NOTICED_S, lambda at: self._press(CommandGiven(
            id=command, t=at, car=number, command="set_fuel", fuel_kg=filled, by="crew")))
        return filled
