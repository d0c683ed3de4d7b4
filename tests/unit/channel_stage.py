"""A stage for one car's channel in tests: calls with their rooms, the reports of the radio desk, and time going on."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import lru_cache
from typing import Any, Literal

from pitwall.engine.call import Call, CallSpec
from pitwall.engine.calls import CallBook
from pitwall.engine.channel import ChannelBook
from pitwall.engine.situation import Situation
from pitwall.engine.view import situation
from pitwall.model.events import ChannelReported
from pitwall.radio.pending import Spans
from pitwall.radio.ways import Room
from tests.unit.engine_stage import CAR, Stage, plan, setup

HERE = ("main", 0, 1)
AFTER_S = 2.0  # from the end of a sentence to "unconfirmed"
FULL, SHORT = "Hold gear five after turn four.", "Hold"
FULL_S, SHORT_S = 2.7, 0.7


class Sure(Situation):
    """The car is exactly where it is expected."""

    def strays(self, t: float) -> float:
        """Never."""
        return 0.0


@lru_cache
def on_track(medium: str = "two_way") -> Situation:
    """Car 41 on its out-lap, exactly where it is expected."""
    stage = Stage(setup(plan(medium=medium))).green()
    stage.leave(50.0)
    seen = situation(stage.car, stage.session.clock, 50.0)
    return Sure(**{one.name: getattr(seen, one.name) for one in fields(Situation)})


def call(key: str = "hold", stretches: Spans | None = ((110.0, 120.0),), *, from_s: float = 100.0, by: float = 160.0,
         **changes: Any) -> CallSpec:
    """A procedure call of 2.7 s (0.7 s in short) with room on these listening stretches until ``by``."""
    values: dict[str, Any] = {
        "key": key, "kind": "procedure", "text": FULL, "short": SHORT, "say_from_s": from_s, "say_by_s": by - FULL_S,
        "spoken_s": FULL_S, "lead_s": 20.0, "act_at_s": by + 3.0, "room": Room(stretches, from_s, by),
    }  # fmt: skip
    return CallSpec(**(values | changes))


class Radio:
    """One car's channel and its book of calls."""

    def __init__(self, medium: str = "two_way", keys: int = 0) -> None:
        self.at, self.channel, self.book = on_track(medium), ChannelBook(), CallBook(CAR, AFTER_S)
        self.book.keys = keys
        self.told: list[tuple[float, str, str]] = []
        self.specs: tuple[CallSpec, ...] = ()

    def place(self, now: float, *specs: CallSpec) -> dict[str, CallSpec]:
        """The specs as the channel plan has them, by key; nothing else happens."""
        at = replace(self.at, now=now)
        return {spec.key: spec for spec in self.channel.place(at, specs, self.book)}

    def go(self, now: float, *specs: CallSpec) -> Radio:
        """The rules say what should be said (what they said before, if nothing is given), and it is planned."""
        self.specs = specs or self.specs
        self.book.reconcile([*self.place(now, *self.specs).values()], now, "", False, HERE)
        return self.tick(now)

    def tick(self, now: float) -> Radio:
        """Time passes; prompts are noted."""
        self.book.tick(now)
        self.told += [(now, call.spec.key, call.state) for call in self.book.take_changed()]
        return self

    def until(self, end: float, *, every: float = 0.5, begin: float = 100.0) -> Radio:
        """The laps ahead are laid out anew again and again, as positions come in."""
        steps = round((end - begin) / every)
        for step in range(steps + 1):
            self.go(begin + step * every)
        return self

    def talk(self, t: float, talking: Literal["engineer", "driver", "nobody"]) -> bool:
        """The radio desk reports who talks."""
        event = ChannelReported(id=f"talk-{t:g}", t=t, car=CAR, talking=talking)
        return self.channel.heard(event, self.book)

    def said(self, now: float, key: str = "hold") -> None:
        """The key is pressed."""
        self.book.keys += 1
        assert self.book.signal(self[key], "said", now)

    def __getitem__(self, key: str) -> Call:
        """The latest call of that key."""
        return self.book.latest[key]

    def window(self, key: str = "hold") -> tuple[float, float]:
        """When it may be said, to a tenth of a second."""
        spec = self[key].spec
        return round(spec.say_from_s, 1), round(spec.say_by_s, 1)

    def states(self, key: str = "hold") -> list[str]:
        """The states that were published of it, in order."""
        return [state for _, name, state in self.told if name == key]
