"""What a script waits for: patterns over what the daemon published, and the facts that a script sends.

A pattern names a message and fields of it. A field is given as a value, or as ``has("words")`` for a text that contains
them, or as any function of the field: ``prompt(kind="box", say_by_s=before(430))``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from pitwall.model import events as ev
from pitwall.model import outputs as out


@dataclass(frozen=True)
class AlertCleared:
    """The retained alert was cleared: its condition is over."""

    type: str
    alert: str


Heard = BaseModel | AlertCleared
Question = Callable[[Any], bool]


@dataclass(frozen=True)
class Test:
    """A question to one field, with the words that a failure prints."""

    words: str
    asked: Question

    __test__ = False  # pytest collects classes by name

    def __call__(self, value: Any) -> bool:
        return value is not None and self.asked(value)

    def __repr__(self) -> str:
        return self.words


def has(text: str) -> Test:
    """A text that contains these words."""
    return Test(f"has {text!r}", lambda value: text.lower() in str(value).lower())


def before(limit: float) -> Test:
    """A number below this one."""
    return Test(f"before {limit:.1f}", lambda value: value < limit)


def after(limit: float) -> Test:
    """A number above this one."""
    return Test(f"after {limit:.1f}", lambda value: value > limit)


def about(value: float, within: float) -> Test:
    """A number near this one."""
    return Test(f"about {value:.2f}", lambda found: abs(found - value) <= within)


def one_of(*values: object) -> Test:
    """One of these values."""
    return Test(f"one of {values}", lambda value: value in values)


@dataclass(frozen=True)
class Pattern:
    """A message of one type whose fields are as given."""

    type: str
    fields: dict[str, Any] = field(default_factory=dict)

    def matches(self, heard: Heard) -> bool:
        """True for a message of this kind."""
        if getattr(heard, "type", None) != self.type:
            return False
        return all(_fits(getattr(heard, name), wanted) for name, wanted in self.fields.items())

    def __str__(self) -> str:
        return f"{self.type}({', '.join(f'{name}={wanted!r}' for name, wanted in self.fields.items())})"


def _fits(value: Any, wanted: Any) -> bool:
    if callable(wanted):
        return bool(wanted(value))
    return bool(value == wanted)


def prompt(**fields: Any) -> Pattern:
    """A prompt of car 41, unless another car is named."""
    return Pattern("prompt", {"car": "41"} | fields)


def alert(kind: str, **fields: Any) -> Pattern:
    """An alert that is raised or changes while it is active."""
    return Pattern("alert", {"kind": kind, "active": True} | fields)


def alert_cleared(kind: str) -> Pattern:
    """An alert of that kind is over."""
    return Pattern("alert_cleared", {"alert": Test(f"of kind {kind}", lambda name: _kind_of(name) == kind)})


def _kind_of(alert_id: str) -> str:
    kinds = out.Alert.model_fields["kind"].annotation.__args__  # type: ignore[union-attr]  # a Literal
    plain = alert_id.replace("-", "_")
    return max((kind for kind in kinds if plain == kind or plain.startswith(f"{kind}_")), key=len, default="")


def any_alert(*but: str) -> Pattern:
    """Any alert at all, or any but of some kinds."""
    kind = {"kind": Test(f"any but {' and '.join(but)}", lambda name: name not in but)} if but else {}
    return Pattern("alert", {"active": True} | kind)


def answered(command_id: str | None = None, **fields: Any) -> Pattern:
    """The effect of a command."""
    return Pattern("answered", ({"because": command_id} if command_id else {}) | fields)


def refused(command_id: str | None = None, **fields: Any) -> Pattern:
    """A command or fact that was not taken."""
    return Pattern("refused", ({"because": command_id} if command_id else {}) | fields)


def forecast_asked(**fields: Any) -> Pattern:
    """The engine asked for a forecast."""
    return Pattern("forecast_wanted", fields)


def forecast(**fields: Any) -> Pattern:
    """A forecast of car 41 was published."""
    return Pattern("forecast_state", {"car": "41"} | fields)


def advice(**fields: Any) -> Pattern:
    """What the forecast advises, as long as something of it stands."""
    return Pattern("advice_state", {"active": True} | fields)


def ladder(**fields: Any) -> Pattern:
    """The ladder under a red flag, as long as it stands."""
    return Pattern("ladder_state", {"active": True} | fields)


def lap(**fields: Any) -> Pattern:
    """A lap of car 41 ended, or its kind is believed anew."""
    return Pattern("lap_judged", {"car": "41"} | fields)


def desk(**fields: Any) -> Pattern:
    """The desk's state of car 41."""
    return Pattern("desk_state", {"car": "41"} | fields)


def clock(**fields: Any) -> Pattern:
    """The session clock as published."""
    return Pattern("clock_state", fields)


def run(name: str, **fields: Any) -> Pattern:
    """A plan of car 41 in which this run is as given."""

    def so(runs: tuple[out.RunProgress, ...]) -> bool:
        found = next((one for one in runs if one.run == name), None)
        return found is not None and all(_fits(getattr(found, key), wanted) for key, wanted in fields.items())

    shown = ", ".join(f"{key}={wanted!r}" for key, wanted in fields.items())
    return Pattern("plan_state", {"car": "41", "runs": Test(f"{name} with {shown}", so)})


def item(do: str, **fields: Any) -> Pattern:
    """A plan of car 41 in which an item of this procedure is as given."""

    def so(runs: tuple[out.RunProgress, ...]) -> bool:
        items = [found for one in runs for found in one.items if found.do == do]
        return any(all(_fits(getattr(found, key), wanted) for key, wanted in fields.items()) for found in items)

    shown = ", ".join(f"{key}={wanted!r}" for key, wanted in fields.items())
    return Pattern("plan_state", {"car": "41", "runs": Test(f"{do} with {shown}", so)})


@dataclass(frozen=True)
class Told:
    """A fact that the script sends; id and, unless it says otherwise, the time of happening come from the script."""

    model: type[ev.Fact]
    fields: dict[str, Any]
    happened: float | None = None
    id: str | None = None

    def made(self, id: str, t: float) -> ev.Fact:
        """The fact itself."""
        when = t if self.happened is None else self.happened
        return self.model.model_validate({"id": self.id or id, "t": when, **self.fields})


def crossing(loop: str, car: str = "41", happened: float | None = None, id: str | None = None, **more: Any) -> Told:
    """A car passed a timing loop; ``happened`` earlier than it is pushed: a late message."""
    return Told(ev.CarCrossed, {"car": car, "loop": loop, **more}, happened, id)


def pit(where: str, car: str = "41", happened: float | None = None) -> Told:
    """A car entered or left the pit lane."""
    return Told(ev.CarPitted, {"car": car, "where": where}, happened)


def status(name: str | None = None, sectors: tuple[str, ...] = (), **more: Any) -> Told:
    """Race control changed the status, of some sectors or of all."""
    fields: dict[str, Any] = {"status": name, **more}
    return Told(ev.StatusChanged, fields | ({"scope": sectors} if sectors else {}))


def switch(name: str, position: Any, car: str = "41") -> Told:
    """Telemetry: a switch stands there."""
    return Told(ev.SwitchReported, {"car": car, "switch": name, "position": position})


def command(name: str, by: str = "desk", car: str = "41", id: str | None = None, **more: Any) -> Told:
    """The desk asks for something."""
    return Told(ev.CommandGiven, {"car": car, "command": name, "by": by, **more}, id=id)
