"""When a call was said is the moment of its key, not that at which the key was told."""

from __future__ import annotations

import pytest

from pitwall.debrief.model import CallRow
from pitwall.debrief.notes import Notes
from pitwall.debrief.radio import call_rows
from pitwall.model import events as ev
from pitwall.model.outputs import Prompt
from tests.unit.engine_stage import CAR, setup

PROMPT = {"type": "prompt", "car": CAR, "call": "call", "kind": "switch", "text": "Engine 2.", "short": "engine 2",
          "say_from_s": 100.0, "say_by_s": 103.0, "spoken_s": 1.5, "priority": 50, "way": "full", "parts": [],
          "parts_said": 0, "medium": "two_way", "board": []}


class Told:
    """A car's notes, told fact by fact."""

    def __init__(self) -> None:
        self.notes, self.revision = Notes(), 0
        self._take(-300.0, ev.SessionPrepared(id="prepared", t=-300.0, setup=setup()))
        self.prompt(100.0, "due")

    def _take(self, received_t: float, event: ev.Event, *prompts: Prompt) -> None:
        self.notes.take(ev.Stamped(seq=self.notes.facts, received_t=received_t, event=event), prompts)

    def _prompt(self, t: float, state: str, **more: object) -> Prompt:
        self.revision += 1
        values = {"id": f"prompt-{self.revision}", "revision": self.revision, "t": t, "state": state}
        return Prompt.model_validate(PROMPT | values | more)

    def prompt(self, t: float, state: str, **more: object) -> Told:
        """The engine tells it as time goes by."""
        self._take(t, ev.TimeReached(id=f"time-{t}", t=t), self._prompt(t, state, **more))
        return self

    def key(self, pressed: float, told: float, state: str = "said", command: str = "said") -> Told:
        """A key of that moment comes in, and the call is told to be in that state."""
        given = ev.CommandGiven.model_validate({"id": f"key-{told}", "t": pressed, "car": CAR, "command": command,
                                                "by": "ann", "call": "call"})
        self._take(told, given, self._prompt(told, state, because=given.id))
        return self

    @property
    def row(self) -> CallRow:
        """The call in the debrief."""
        return call_rows(self.notes.cars[CAR])[0]


def test_a_key_that_is_told_later_counts_when_it_was_pressed() -> None:
    """``--at``: begun in its window, though the key came in ten seconds after it."""
    row = Told().key(102.0, 112.0).row
    assert (row.said_s, row.begun_s, row.counted_as) == (102.0, 100.5, "in_window")
    punctual = Told().key(112.0, 112.0).row
    assert (punctual.said_s, punctual.counted_as) == (112.0, "beside_window")


def test_no_key_is_of_the_future() -> None:
    """A clock that goes before the daemon's says nothing: then it counts as it came in."""
    assert Told().key(130.0, 102.0).row.said_s == 102.0


def test_what_is_told_once_more_stays_where_it_was() -> None:
    """Other words of a call that was said say nothing of when; one that is asked for again was said then."""
    told = Told().key(102.0, 104.0).prompt(109.0, "said", caution="a car close behind")
    assert told.row.said_s == 102.0
    assert told.prompt(120.0, "due").key(121.0, 125.0).row.said_s == 121.0


def test_without_a_key_it_is_when_the_engine_told_it() -> None:
    """As the radio desk heard it; what a driver confirmed is told as that comes."""
    assert Told().prompt(102.5, "said").row.said_s == 102.5
    shown = Told().key(101.0, 108.0, "done", "confirm")
    assert shown.notes.cars[CAR].calls["call"].told_s == pytest.approx(108.0)
    assert shown.row.counted_as == "shown"
