"""A story of the proof in the trade's words: what happens, call by call, until a timed lap starts wrong."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pitwall.checks.flow.course import Spot, spot
from pitwall.checks.flow.search import LapStart, Wrong
from pitwall.checks.flow.stakes import Stake
from pitwall.checks.flow.state import Event
from pitwall.checks.items import Placed, filled
from pitwall.model.car import Car, position_text
from pitwall.model.plan import Plan, Run
from pitwall.model.procedure import Procedure
from pitwall.radio.wording import LAP_WORDS
from pitwall.track.likely import lap_indices

MISSED = {
    "read_back": "is read back and not done", "unanswered": "is not answered and not done", "unsaid": "is not said",
}


def spot_text(at: Spot) -> str:
    """A position as it is said."""
    return position_text(at)


def lap_name(run: Run, lap: int) -> str:
    """``timed lap 2``, ``out-lap``; the number only where the run has several of that kind."""
    kind = run.laps[lap]
    if run.laps.count(kind) == 1:
        return LAP_WORDS[kind]
    return f"{LAP_WORDS[kind]} {run.laps[: lap + 1].count(kind)}"


@dataclass(frozen=True)
class Teller:
    """Tells the stories of one plan."""

    plan: Plan
    car: Car
    procedures: Mapping[str, Procedure]

    @property
    def runs(self) -> list[Run]:
        """The runs by the index that the proof uses: those with laps."""
        return [run for run in self.plan.runs if run.laps]

    def word(self, name: str) -> str:
        """What the team calls a switch."""
        switch = self.car.switch(name)
        return switch.word if switch is not None else name

    def lap(self, at: LapStart) -> str:
        """``timed lap 2 of holds``."""
        run = self.runs[at[0]]
        return f"{lap_name(run, at[1])} of {run.run}"

    def told(self, names: tuple[str, ...], to: tuple[Spot, ...]) -> str:
        """``flap closed, engine 2``."""
        return ", ".join(f"{self.word(name)} {spot_text(at)}" for name, at in zip(names, to, strict=True))

    def story(self, wrong: Wrong) -> str:
        """The whole story in one line, the wrong start last."""
        said = [self._event(event, wrong) for event in wrong.events]
        end = (f"{self.lap(wrong.at)} starts with {self.word(wrong.switch)} at {spot_text(wrong.stands)}, "
               f"not {spot_text(wrong.wanted)}")
        return "; ".join([*self._opening(wrong), *said, end])

    def stake(self, stake: Stake) -> str:
        """``holds, end of the out-lap: engine 2, deploy attack -> timed lap 1``."""
        call, run = stake.call, self.runs[stake.call.run]
        where = f"switch check before {run.run}" if call.lap is None else self._when(call.run, call.lap, call.next_lap)
        named = [(name, to) for name, to in zip(call.names, call.to, strict=True) if name in stake.switches]
        said = self.told(tuple(name for name, _ in named), tuple(to for _, to in named))
        return f"{where}: {said} -> {self._laps(stake.spoilt, call.run)}"

    def _when(self, run: int, lap: int, following: int) -> str:
        name = lap_name(self.runs[run], lap)
        if self.runs[run].laps[following] != "timed" and self.plan.changes_wait(self.runs[run].laps[lap]):
            name, place = lap_name(self.runs[run], following), "start"
        else:
            place = "end"
        return f"{self.runs[run].run}, {place} of {name}"

    def _laps(self, spoilt: tuple[LapStart, ...], home: int) -> str:
        by_run: dict[int, list[int]] = {}
        for run, lap in spoilt:
            by_run.setdefault(run, []).append(lap)
        parts = []
        for run, laps in by_run.items():
            kinds = self.runs[run].laps
            numbers = [kinds[: lap + 1].count("timed") for lap in laps]
            text = f"timed lap {numbers[0]}" if len(laps) == 1 else f"timed laps {', '.join(map(str, numbers))}"
            parts.append(text if run == home else f"{text} of {self.runs[run].run}")
        return "; ".join(parts)

    # -- how it began, and what went on ----------------------------------------------------------------------------

    def _opening(self, wrong: Wrong) -> list[str]:
        """The item that has the switch where it is wrong, if one does, on the last lap before it."""
        run = self.runs[wrong.at[0]]
        found: tuple[int, str, str] | None = None
        for placed in self._items(run):
            for lap in lap_indices(run, placed.item.on):
                preset = self._asks(placed, wrong)
                if preset is not None and lap <= wrong.at[1] and (found is None or lap >= found[0]):
                    found = lap, placed.item.do, preset
        if found is None:
            return []
        what = f"{self.word(wrong.switch)} at {spot_text(wrong.stands)}"
        if found[2]:
            what = f"{self.word(found[2])} on, which puts {what}"
        return [f"{found[1]} has {what} on {self.lap((wrong.at[0], found[0]))}"]

    def _items(self, run: Run) -> Iterator[Placed]:
        for number, item in enumerate(run.items):
            yield Placed(0, run, item, self.procedures.get(item.do), ("items", number))

    def _asks(self, placed: Placed, wrong: Wrong) -> str | None:
        """The preset by which an item has the switch where it is wrong; "" where it does so itself, else None."""
        procedure = placed.procedure
        if procedure is None:
            return None
        for name, position in procedure.switches.items():
            switch, to = filled(placed, name), filled(placed, position)
            if switch == wrong.switch and to is not None and spot(to) == wrong.stands:
                return ""
            preset = self.car.switch(str(switch))
            sets = preset.sets.get(wrong.switch) if preset is not None else None
            if preset is not None and sets is not None and spot(sets) == wrong.stands and to != preset.default:
                return preset.switch
        stepped = procedure.by is not None and placed.argument("switch") == wrong.switch
        return "" if stepped else None

    def _event(self, event: Event, wrong: Wrong) -> str:
        run = self.runs[event.run]
        here = f"{lap_name(run, event.lap)} of {run.run}" if event.lap is not None else f"the garage before {run.run}"
        if event.what == "missed":
            return self._missed(event, run)
        return {
            "left_out": lambda: f"{event.do} on {lap_name(run, event.next_lap or 0)} of {run.run} is left out",
            "taken_out": lambda: f"{event.do} on {lap_name(run, event.next_lap or 0)} of {run.run} is taken out after "
                                 "the call for its switch",
            "dropped": lambda: f"{run.run} is dropped",
            "broken_off": lambda: f"a red flag ends {run.run} on {lap_name(run, event.lap or 0)}",
            "called_in": lambda: f"{run.run} is called in early, on {lap_name(run, event.lap or 0)}",
            "home": lambda: f"{self.word(event.switches[0])} goes home to {spot_text(event.to[0])} by itself on {here}",
            "free": lambda: f"the driver moves {self.word(event.switches[0])} to {spot_text(event.to[0])} on {here}, "
                            "as far as he may",
            "reset": lambda: f"letting {self.word(event.switches[0])} go puts what it sets at the default, too",
            "order": lambda: f"{' and '.join(self.word(name) for name in event.switches)} are set in this order",
        }[event.what]()

    def _missed(self, event: Event, run: Run) -> str:
        said, how = self.told(event.switches, event.to), MISSED[event.how or "unsaid"]
        if event.lap is None:
            return f"in the switch check before {run.run} {said} {how}"
        changed = {name for placed in self._items(run) if event.lap in lap_indices(run, placed.item.on)
                   for name in event.switches if self._touches(placed, name)}
        what = "the put-back" if set(event.switches) <= changed else "the call"
        return f"{what} '{said}' at the {self._when(event.run, event.lap, event.next_lap or 0).split(', ', 1)[1]} {how}"

    def _touches(self, placed: Placed, name: str) -> bool:
        procedure = placed.procedure
        if procedure is None:
            return False
        named = {filled(placed, one) for one in procedure.switches}
        if procedure.by is not None:
            named.add(placed.argument("switch"))
        return name in named
