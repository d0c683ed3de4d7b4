"""Fakes and builders for tests, ours and yours: a small session, a decider that does as told, sinks that remember."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.events import Stamped
from pitwall.model.outputs import ForecastAnswer, ForecastWanted, Output, Prompt
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations
from pitwall.model.setup import Driver, SessionSetup

CAR, SESSION = "41", "practice-1"


def tiny_setup(**changes: Any) -> SessionSetup:
    """A session of ten minutes on a timing-only circuit: one car, one run of two timed laps, one procedure.

    Args:
        changes: fields of the setup to replace.
    """
    values: dict[str, Any] = {
        "event": "Test event",
        "session": SESSION,
        "team": "Test team",
        "regulations": Regulations.model_validate(
            {"regulations": 1, "sessions": [{"session": SESSION, "duration_s": 600}]}
        ),
        "circuit": Circuit.model_validate(
            {
                "circuit": 1, "name": "Test circuit", "lap_s": 90,
                "loops": [{"loop": "line"}, {"loop": "1", "at_share": 0.3}, {"loop": "2", "at_share": 0.7}],
                "pit": {"entry_share": 0.95, "exit_share": 0.05, "last_chance_share": 0.93, "lane_s": 25},
            }
        ),
        "cars": {CAR: Car.model_validate(
            {
                "car": 1, "name": "Test car", "mass_kg": 700, "power_w": 400_000, "drag_area_m2": 1.0,
                "downforce_area_m2": 3.0, "grip": 1.6, "brake_mps2": 30, "traction_mps2": 10, "fuel_per_lap_kg": 1.8,
                "switches": [{"switch": "torque_map", "kind": "rotary", "word": "torque", "positions": [1, 2, 3],
                              "default": 1}],
            }
        )},
        "drivers": {"driver_a": Driver(driver="driver_a", spoken="A")},
        "plans": {CAR: Plan.model_validate(
            {
                "plan": 1, "car": CAR, "driver": "driver_a", "session": SESSION,
                "runs": [{"run": "first", "want": "must", "laps": "out, 2 timed, in",
                          "items": [{"do": "radio_check", "on": "out"}]}],
            }
        )},
        "procedures": {"radio_check": Procedure.model_validate(
            {
                "procedure": 1, "name": "radio_check", "purpose": "can we hear each other",
                "steps": [{"say": "Radio check", "short": "Radio check", "where": "pit_exit"}],
            }
        )},
    }
    return SessionSetup(**(values | changes))


def prompt(call: str = "41-box-1", **more: Any) -> Prompt:
    """A prompt with sensible values; ``more`` replaces them. Its id is call and revision."""
    values: dict[str, Any] = {
        "revision": 1, "t": 100.0, "car": CAR, "kind": "box", "text": "Box, box, come in this lap", "short": "Box",
        "say_from_s": 110.0, "say_by_s": 125.0, "act_at_s": 130.0, "spoken_s": 2.0, "priority": 80, "state": "shown",
    } | more
    return Prompt(id=f"{call}.{values['revision']}", call=call, **values)


class ScriptedDecider:
    """Stands in for the engine: a function decides; every fact and what stands are remembered."""

    def __init__(self, decide: Callable[[Stamped], Sequence[Output]] = lambda stamped: ()) -> None:
        self._decide = decide
        self.facts: list[Stamped] = []
        self.stands: tuple[Output, ...] = ()
        self.wishes: tuple[Output, ...] = ()

    def handle(self, stamped: Stamped) -> tuple[Output, ...]:
        """Remember the fact and decide as told."""
        self.facts.append(stamped)
        return tuple(self._decide(stamped))

    def standing(self) -> tuple[Output, ...]:
        """What was put into ``stands``."""
        return self.stands

    def open_wishes(self) -> tuple[Output, ...]:
        """What was put into ``wishes``."""
        return self.wishes


class RecordingSink:
    """Remembers what it was given."""

    def __init__(self) -> None:
        self.taken: list[Output] = []
        self.restated: list[tuple[Output, ...]] = []

    def take(self, outputs: Sequence[Output]) -> None:
        """Remember these."""
        self.taken.extend(outputs)

    def restate(self, standing: Sequence[Output]) -> None:
        """Remember what stands."""
        self.restated.append(tuple(standing))


class SilentForecaster:
    """Takes questions and never answers."""

    def __init__(self) -> None:
        self.asked: list[ForecastWanted] = []

    def ask(self, wanted: ForecastWanted, answer: Callable[[ForecastAnswer], None]) -> None:
        """Remember the question."""
        self.asked.append(wanted)
