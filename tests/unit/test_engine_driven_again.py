"""A timed lap that a slow period spoilt is driven again, and what was to be done on it with it."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.app.debrief_items import lap_of
from pitwall.app.debrief_watch import CarWatch
from pitwall.engine.call import Call
from pitwall.engine.driven_again import AGAIN
from pitwall.engine.run_state import ItemState
from pitwall.model.outputs import Prompt
from pitwall.model.procedure import Procedure
from tests.unit.debrief_stage import laps
from tests.unit.engine_stage import MAIN, PROCEDURES, Stage, plan, setup

LAPS = "out, 3 timed, in"
STEADY = Procedure.model_validate({
    "procedure": 1, "name": "steady", "purpose": "test", "laps": ["timed"], "place": "needed", "data_window": "hold",
    "done_when": ["speed", "driver"],
    "steps": [{"say": "After {after}: steady.", "short": "{after}: steady", "where": "place", "reaction_s": 3}],
})  # fmt: skip
ASKED = Procedure.model_validate({
    "procedure": 1, "name": "asked", "purpose": "test", "laps": ["timed"], "data_window": "none",
    "steps": [{"say": "How is the wind?", "short": "Wind?", "where": "lap_start", "offset_s": 14, "reaction_s": 2}],
})  # fmt: skip
LATER = Procedure.model_validate({
    "procedure": 1, "name": "later", "purpose": "test", "laps": ["timed"],
    "steps": [{"say": "Comparison lap.", "short": "Comparison", "where": "lap_start", "offset_s": 25}],
})  # fmt: skip
FLAP = {"do": "flap_lap", "on": {"timed": 1}}


def on_timed_lap(*rows: dict[str, Any], laps: str = LAPS) -> tuple[Stage, float, list[ItemState]]:
    """The car has begun its first timed lap; the moment, and the run's items. All may be said on timed laps."""
    library = PROCEDURES | {"steady": STEADY, "asked": ASKED, "later": LATER}
    made = plan(MAIN | {"laps": laps, "items": list(rows)}, quiet={"timed": "all"})
    stage = Stage(setup(made, procedures=library)).green()
    stage.drive(200, 125)
    assert stage.car.progress.current is not None
    return stage, 325.0, stage.car.progress.current.items


def words(stage: Stage, item: ItemState) -> list[Call]:
    """The calls that were made for this item, in order."""
    return [call for call in stage.car.book.calls.values() if call.spec.item == item.key]


def say(stage: Stage, item: ItemState, *, read_back: bool) -> Call:
    """The latest call of the item is said now."""
    call = words(stage, item)[-1]
    stage.command("said", call=call.id)
    if read_back:
        stage.command("confirm", call=call.id)
    return call


def spoil(stage: Stage, t: float) -> None:
    """A slow period of forty seconds, early on the lap; then the lap goes on to its second loop."""
    stage.status(t + 15, "slow")
    stage.status(t + 55, "green")
    stage.cross(t + 90, "2")


@pytest.mark.parametrize("read_back", [True, False])
def test_what_was_told_for_a_spoilt_lap_is_told_again_for_the_next(read_back: bool) -> None:
    """Said, or even read back before the slow period: somebody's word about a lap that does not count. The words come
    again for the lap that does, and only that one makes it done."""
    stage, t, (item,) = on_timed_lap(FLAP)
    stage.wait(t + 3)
    first = say(stage, item, read_back=read_back)
    assert item.state == ("done" if read_back else "called")
    spoil(stage, t)
    assert (item.state, item.attempt, item.leg, item.reason) == ("called", 1, 1, AGAIN)
    stage.cross(t + 130)
    again = words(stage, item)[-1]
    assert again.id != first.id
    assert "due" in [one.state for one in stage.made(Prompt) if one.id.startswith(f"{again.id}.")]
    assert not item.behind
    say(stage, item, read_back=True)
    assert item.state == "done"
    stage.lap(t + 130, 100)
    assert (item.state, stage.car.progress.current.pointer) == ("done", 2)  # type: ignore[union-attr]


def test_an_answer_that_comes_after_the_flag_is_for_the_lap_before_it() -> None:
    """Said before the slow period and read back during it: not done, for the lap was spoilt by then. Nor is it a minute
    later, when nothing spoke against it."""
    stage, t, (item,) = on_timed_lap(FLAP)
    stage.wait(t + 3)
    first = say(stage, item, read_back=False)
    stage.status(t + 5, "slow")
    stage.command("confirm", call=first.id)
    assert (first.state, item.state) == ("done", "called")


def test_told_once_it_is_done_as_far_as_is_known_when_nobody_says_it_again() -> None:
    """Nobody finds the time to say it a second time: the driver was told, and goes on with it."""
    stage, t, (item,) = on_timed_lap(FLAP)
    stage.wait(t + 3)
    say(stage, item, read_back=False)
    spoil(stage, t)
    stage.cross(t + 130)
    stage.lap(t + 130, 100)
    assert (item.state, item.reason) == ("probably_done", AGAIN)


def test_a_hold_that_positions_showed_before_it_stays_done() -> None:
    """Its data are there, whatever became of the rest of the lap; one of which there is only the driver's word is to be
    done once more, at its place, and is not done as long as nobody says it again."""
    for proven in (True, False):
        stage, t, (item,) = on_timed_lap({"do": "steady", "on": {"timed": 1}, "after": "turn 1"})
        item.state = "done"
        if proven:
            stage.car.holds.proven[item.key] = (t + 12.0, "positions: 54.8 to 55.3 m/s for 5 s")
        spoil(stage, t)
        assert (item.state, item.attempt) == ("done", 0), "the hold may be going on: it is looked at with the line"
        stage.cross(t + 130)
        assert (item.state, item.behind, item.attempt) == (("done", True, 0) if proven else ("planned", False, 1))
        assert any(call.id.endswith("-1-0") for call in words(stage, item)) == (not proven)
        if not proven:
            stage.command("skip", call=words(stage, item)[-1].id)
        stage.lap(t + 130, 100)
        assert item.state == ("done" if proven else "not_done")


def test_what_is_not_of_the_lap_is_not_done_twice() -> None:
    """A question was asked and answered on the lap: that it was spoilt changes nothing about it."""
    stage, t, (item,) = on_timed_lap({"do": "asked", "on": {"timed": 1}})
    stage.wait(t + 13)
    say(stage, item, read_back=True)
    spoil(stage, t)
    stage.cross(t + 130)
    assert (item.state, item.behind, len(words(stage, item))) == ("done", True, 1)


def test_an_item_not_yet_told_stays_on_its_lap() -> None:
    """The slow period takes its call back. The lap is driven again, so the item does not move to another one."""
    stage, t, (item,) = on_timed_lap({"do": "later", "on": {"timed": 1}})
    assert words(stage, item)[-1].open
    stage.status(t + 2, "slow")
    assert words(stage, item)[-1].state == "withdrawn"
    stage.status(t + 55, "green")
    stage.cross(t + 90, "2")
    stage.cross(t + 130)
    assert (item.state, item.leg) == ("planned", 1)
    stage.wait(t + 153)
    say(stage, item, read_back=True)
    assert item.state == "done"


def test_a_lap_that_is_spoilt_twice_is_driven_a_third_time() -> None:
    """The slow period begins anew on the lap that is driven again: told for that one, it is told once more."""
    stage, t, (item,) = on_timed_lap(FLAP)
    stage.wait(t + 3)
    say(stage, item, read_back=True)
    spoil(stage, t)
    stage.cross(t + 130)
    stage.wait(t + 133)
    say(stage, item, read_back=True)
    assert (item.state, item.attempt) == ("done", 1)
    spoil(stage, t + 130)
    assert (item.state, item.attempt) == ("called", 2)
    stage.cross(t + 260)
    stage.wait(t + 263)
    say(stage, item, read_back=True)
    stage.lap(t + 260, 100)
    assert (item.state, item.attempt, len({call.id for call in words(stage, item)})) == ("done", 2, 3)


def test_a_slow_period_that_was_entered_by_mistake_spoils_nothing() -> None:
    """Taken back by the same hand, the lap counts and what was read back is done."""
    stage, t, (item,) = on_timed_lap(FLAP)
    stage.wait(t + 3)
    say(stage, item, read_back=True)
    stage.wait(t + 15)
    stage.command("status", status="slow")
    assert item.state == "called"
    stage.command("undo")
    (item,) = stage.car.progress.current.items  # type: ignore[union-attr]
    assert (item.state, item.attempt) == ("done", 0)


def test_a_run_cut_by_a_red_flag_begins_with_the_lap_that_was_broken_off() -> None:
    """Read back on the lap that the red flag ended: on the resumed run it is told and done anew, and the next lap is
    none that is driven again."""
    stage, t, (item,) = on_timed_lap(FLAP)
    stage.wait(t + 3)
    say(stage, item, read_back=True)
    stage.status(t + 15, "red")
    stage.home(t, 140)
    assert (item.state, item.attempt) == ("planned", 1)
    stage.status(t + 300, "green", pit_exit="open")
    begin = stage.drive(t + 400, 125)
    run = stage.car.progress.current
    assert run is not None
    assert (run.pointer, run.spoilt, run.again) == (1, False, False)
    stage.wait(begin + 3)
    say(stage, item, read_back=True)
    assert item.state == "done"


def test_the_debrief_looks_for_it_on_the_lap_that_counts() -> None:
    """Two laps stood for the planned one. Told for the first, which a flag spoilt, the item was done on the second,
    told anew or not; what was measured on the first, before the flag, is there."""
    stage, _, (item,) = on_timed_lap(FLAP)
    run = stage.car.progress.current
    assert run is not None
    rows = laps("main", 1, 3)
    watch = CarWatch(legs={1: ("main", 0), 2: ("main", 1), 3: ("main", 1), 4: ("main", 2)})
    spoilt, driven = rows[1], rows[2]
    assert lap_of(run, item, watch, rows, spoilt.start_s) == spoilt
    item.void_t = spoilt.start_s + 15
    assert lap_of(run, item, watch, rows, spoilt.start_s) == driven
    assert lap_of(run, item, watch, rows, driven.start_s) == driven
    item.void_t, item.behind = None, True
    assert lap_of(run, item, watch, rows, None) == spoilt


def test_an_answer_entered_twice_does_not_count_for_the_lap_to_come() -> None:
    """A call that is done may be confirmed once more; said for a lap that was spoilt, it settles nothing."""
    stage, t, (item,) = on_timed_lap(FLAP)
    stage.wait(t + 3)
    first = say(stage, item, read_back=True)
    spoil(stage, t)
    again = stage.command("confirm", call=first.id)
    assert again.type == "refused"
    assert "told and driven again" in again.reason
    assert item.state == "called"
    stage.cross(t + 130)
    stage.wait(t + 133)
    assert words(stage, item)[-1] is not first, "its words came again"
