"""Items that wait for a moment of the session or for another item: on which of their laps they are done."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.run_state import ItemState
from pitwall.model.plan import Item
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import LAP_S, MAIN, PROCEDURES, Stage, plan, setup

TWICE = Procedure.model_validate(
    {
        "procedure": 1, "name": "twice", "purpose": "test", "laps": ["cool"],
        "steps": [{"say": "First time.", "short": "First", "where": "lap_start", "offset_s": 12, "repeat": "once"},
                  {"say": "Each time.", "short": "Each", "where": "lap_start", "offset_s": 40}],
    }
)  # fmt: skip
LIBRARY = {**PROCEDURES, "twice": TWICE}
CHECK: dict[str, Any] = {"do": "radio_check", "on": "cool", "when": {"not_before": "+0:10:00"}}


def stage(*items: dict[str, Any], laps: str = "out, 1 timed, cool, 1 timed, cool, 1 timed, cool, in") -> Stage:
    """A run with these items that left at 200 s; laps begin at 325, 425, 525 and so on."""
    made = Stage(setup(plan({**MAIN, "laps": laps, "items": list(items)}), procedures=LIBRARY)).green()
    made.leave(200)
    return made


def lap(made: Stage, begin: float, seconds: float = LAP_S) -> float:
    """One lap from the line, with a look at it half a second before its end."""
    return made.lap(begin, seconds)


def item(made: Stage, name: str) -> ItemState:
    """The item of that procedure."""
    (found,) = [one for one in made.car.progress.runs[0].items if one.item.do == name]
    return found


def test_an_item_waits_for_a_moment_of_the_session() -> None:
    """Not before ten minutes: of the cool-down laps from 425, 700 and 975 s the second is the first on which the
    driver acts late enough, and there it is called, once."""
    made = stage(CHECK)
    t = lap(made, made.lap(200, 125, from_exit=True))
    assert item(made, "radio_check").leg == 4
    assert not made.has_call("radio_check-2-0-0") or not made.call("radio_check").told
    t = lap(made, t, 150)
    t = lap(made, t)
    made.wait(t + 30)
    assert made.call("radio_check").spec.act_at_s == pytest.approx(t + 15, abs=2)
    assert item(made, "radio_check").state in ("called", "planned")
    lap(made, t, 150)
    assert item(made, "radio_check").state == "probably_done"
    assert len([call for call in made.car.book.calls.values() if call.spec.kind == "procedure"]) == 1


def test_a_car_that_is_late_brings_it_back_to_an_earlier_lap() -> None:
    """Stopped for a while on track, the car passes the earlier lap after the moment: the item goes back to it."""
    made = stage(CHECK)
    t = made.lap(200, 125, from_exit=True)
    assert item(made, "radio_check").leg == 4
    made.cross(t + 30, "1")
    made.cross(t + 250, "2")
    made.cross(t + 290, "line")
    made.wait(t + 292)
    assert item(made, "radio_check").leg == 2
    begins = next(leg.start_s for leg in made.car.legs if leg.index == 2)
    assert begins < t + 400
    assert made.call("radio_check").spec.act_at_s == pytest.approx(begins + 15, abs=2)


def test_a_moment_that_no_lap_reaches_is_why_it_was_not_done() -> None:
    """The run is over before: the item says what it waits for while the car is out, and then why it was not done."""
    made = stage({**CHECK, "when": {"not_before": 3000}}, laps="out, 1 timed, cool, in")
    t = lap(made, lap(made, made.lap(200, 125, from_exit=True)), 150)
    assert item(made, "radio_check").waits == "waits for 50:00"
    made.home(t)
    made.wait(made.now + 90)
    assert (item(made, "radio_check").state, item(made, "radio_check").reason) == ("not_done", "waits for 50:00")
    assert not [call for call in made.car.book.calls.values() if "radio_check" in call.id and call.told]


def test_an_item_waits_for_another_item() -> None:
    """Planned for the first cool-down lap, it follows the comment, which is on the second: the first lap on which
    both are in order is that one only if its place comes later, else the next."""
    made = stage({"do": "comment", "on": {"cool": 2}},
                 {"do": "radio_check", "on": "cool", "when": {"after_item": "comment"}})  # fmt: skip
    made.wait(240)
    assert item(made, "radio_check").leg == 4  # comment 14 s, radio check 15 s into the lap
    made = stage({"do": "radio_check", "on": {"cool": 2}},
                 {"do": "comment", "on": "cool", "when": {"after_item": "radio_check"}})  # fmt: skip
    made.wait(240)
    assert item(made, "comment").leg == 6


def test_an_item_whose_other_was_dropped_is_not_called() -> None:
    """The desk drops what it waits for: it is not done, with that reason."""
    made = stage({"do": "comment", "on": {"cool": 1}},
                 {"do": "radio_check", "on": {"cool": [2, 3]}, "when": {"after_item": "comment"}})  # fmt: skip
    made.wait(240)
    made.command("drop", run="main", item="comment")
    made.wait(250)
    assert item(made, "radio_check").waits == "waits for comment, which was not done"
    assert not [call for call in made.car.book.calls.values() if "radio_check" in call.id and call.open]


def test_in_the_garage_the_laps_of_the_next_run_are_looked_at() -> None:
    """Before leaving it stands on the lap that is expected to be late enough, in the plan that is shown as well."""
    made = Stage(setup(plan({**MAIN, "laps": "out, 1 timed, cool, 1 timed, cool, in", "items": [
        {**CHECK, "when": {"not_before": 400}}]}))).green().wait(30)  # fmt: skip
    assert item(made, "radio_check").leg == 4
    assert item(made, "radio_check").waits is None


def test_a_step_that_is_said_once_is_said_on_the_first_lap_only() -> None:
    """Of an item on two laps the step with 'repeat: once' comes on the first; the others on each."""
    made = stage({"do": "twice", "on": {"cool": [1, 2]}})
    made.wait(240)
    texts = sorted(call.spec.text for call in made.car.book.calls.values() if call.spec.kind == "procedure")
    assert texts == ["Each time.", "Each time.", "First time."]


def test_a_when_that_names_nothing_is_refused() -> None:
    """An empty 'when' was meant to say something; one without laps does not say where the item may go."""
    with pytest.raises(ValueError, match="not_before"):
        Item.model_validate({"do": "radio_check", "on": "out", "when": {}})
    with pytest.raises(ValueError, match="the laps on which it may be done"):
        Item.model_validate({"do": "radio_check", "when": {"not_before": 60}})
