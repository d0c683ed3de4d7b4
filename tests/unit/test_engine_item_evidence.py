"""An item that is a switch position: telemetry that shows another one outweighs the word that it was done.

The comparison is on timed lap 2 and steps the bias from 55 to 53; laps take 100 s, so every line is known beforehand.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pitwall.app.debriefing import debrief
from pitwall.app.next_plan import next_plan
from pitwall.engine.item_evidence import SHOWN
from pitwall.engine.progress import ItemState
from pitwall.model.debrief_rows import ItemRow
from tests.unit.engine_stage import MAIN, PROCEDURES, plan, setup
from tests.unit.test_app_next_plan import BOTH, Kept

STEP = PROCEDURES["bias_step"].model_copy(update={"done_when": ("switch", "crossing")})
ITEM = {"do": "bias_step", "on": {"timed": 2}, "want": "must", "with": {"switch": "brake_bias", "by": -2.0}}
PACE = MAIN | {"run": "pace", "laps": "out, 1 timed, cool, 1 timed, in", "items": [ITEM]}
NOT_SET = "bias stood at 55, 53 was wanted"
LAST_S = 565.0
"""Timed lap 2 begins: 200 at the pit exit, 125 to the line, a lap, 140 for the cool-down lap."""


class Paced(Kept):
    """The run up to the line at which timed lap 2 begins, where the engineer confirms the words of the item."""

    def __init__(self, stood: float | None = 55, laps: str = PACE["laps"], **procedure: Any) -> None:
        step = STEP.model_copy(update=procedure)
        library = PROCEDURES | {"bias_step": step}
        super().__init__(setup(plan(PACE | {"laps": laps}), procedures=library, regulations=BOTH))
        self.green()
        if stood is not None:
            self.switch(10, "brake_bias", stood)
        t = self.drive(200, 125, 100, 140)
        assert t == LAST_S
        self.confirm(t + 10)

    def confirm(self, t: float) -> None:
        """The engineer says that the item was done."""
        self.wait(t)
        self.command("confirm", call=self.call("bias_step-3-1-0-0").id)

    @property
    def item(self) -> ItemState:
        """The comparison."""
        return self.car.progress.runs[0].items[0]

    def row(self) -> ItemRow:
        """What the debrief says of it, the session being closed."""
        (found,) = debrief(self.close().facts, "x").cars[0].items
        return found


@pytest.mark.parametrize("done_when", [("switch", "crossing"), ("driver",)])
def test_confirmed_and_measured_elsewhere_is_not_done(done_when: tuple[str, ...], tmp_path: Path) -> None:
    """The bias stood at 55 all the lap: whoever confirmed it, it was not done, nor does a later word change that. The
    debrief says why, and the next plan asks for it again."""
    stage = Paced(done_when=done_when)
    stage.home(stage.lap(LAST_S, 100))
    assert (stage.item.state, stage.item.reason) == ("not_done", NOT_SET)
    stage.confirm(800)
    assert stage.item.state == "not_done"
    row = stage.wait(3500).row()  # nothing that comes to the end of the hour takes it back
    assert (row.outcome, row.reason) == ("not_done", NOT_SET)
    rest = next_plan(stage.journal(tmp_path)).plan.runs
    assert [[one.do for one in run.items] for run in rest] == [["bias_step"]]


def test_a_lap_with_the_switch_as_wanted_is_done_by_telemetry() -> None:
    """Set before the line, measured after it, and put back just before the next one: that is the comparison."""
    stage = Paced()
    stage.switch(LAST_S + 12, "brake_bias", 53)
    stage.cross(LAST_S + 30, "1")
    stage.cross(LAST_S + 70, "2")
    stage.switch(LAST_S + 98, "brake_bias", 55)
    stage.cross(LAST_S + 100)
    assert stage.item.state not in ("not_done", "planned")
    stage = Paced(stood=53)
    stage.lap(LAST_S, 100)
    assert (stage.item.state, stage.item.reason) == ("done", SHOWN)


def test_without_telemetry_of_the_switch_a_word_makes_it_probably_done() -> None:
    """What the file wants shown by the switch, and nothing shows, is at most probably done; a late word, too."""
    stage = Paced(stood=None)
    assert stage.item.state == "called"
    stage.home(stage.lap(LAST_S, 100))
    assert (stage.item.state, stage.item.reason) == ("probably_done", "confirmed, desk")
    stage.confirm(800)
    assert stage.item.state == "probably_done"
    assert stage.row().outcome == "probably_done"


def test_where_the_driver_may_say_so_his_word_is_enough_without_telemetry() -> None:
    """A file that counts the driver's word as evidence is done by it."""
    stage = Paced(stood=None, done_when=("switch", "driver"))
    assert stage.item.state == "done"
    stage.lap(LAST_S, 100)
    assert stage.item.state == "done"


def test_on_a_slow_lap_put_in_it_was_not_done_and_is_tried_again() -> None:
    """The driver backs off on the lap of the item, the bias where it was. There is no time to call the change for the
    timed lap that follows: it is tried on the one after, and where there is none it was not done."""
    for laps, last in (("out, 1 timed, cool, 1 timed, in", False), ("out, 1 timed, cool, 2 timed, in", True)):
        stage = Paced(laps=laps)
        t = stage.lap(LAST_S, 150)
        run = stage.car.progress.current
        assert run is not None
        assert (run.pointer, stage.item.state) == (3, "planned"), "the slow lap did not count"
        stage.wait(t + 20)
        assert (stage.item.state, stage.item.leg) == ("planned", 4 if last else 3)
        stage.cross(t + 30, "1")
        stage.cross(t + 70, "2")
        if last:
            stage.wait(t + 85)
            (change,) = (call for call in stage.car.book.calls.values() if call.open and call.spec.ask.position == 53)
            stage.command("said", call=change.id)
            stage.switch(t + 90, "brake_bias", 53)
        stage.cross(t + 100)
        if last:
            stage.lap(t + 100, 100)
        assert (stage.item.state, stage.item.reason) == (("done", SHOWN) if last else ("not_done", NOT_SET))


def test_the_window_knows_what_telemetry_showed_though_nothing_moved() -> None:
    """A switch that is measured where it was taken to stand is measured, and no move: its windows say so."""
    for stood, evidence in ((55, "measured"), (None, "assumed")):
        stage = Paced(stood, by=None, done_when=("driver",))  # an item that asks for no position
        stage.home(stage.lap(LAST_S, 100))
        (window,) = debrief(stage.close().facts, "x").cars[0].data_windows
        (bias,) = (one for one in window.switches if one.switch == "brake_bias")
        assert (bias.evidence, bias.position, window.outcome) == (evidence, 55, "done")
