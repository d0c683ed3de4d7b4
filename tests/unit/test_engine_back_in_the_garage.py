"""What an item has for the garage waits until the car stands there: nobody reads it out to a car in the pit lane."""

from __future__ import annotations

from typing import Any

from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import CHECKS, MAIN, PROCEDURES, Stage, plan, setup

BITE = {"do": "bite_check", "on": "out"}


TWO_STEPS = Procedure.model_validate({
    "procedure": 1, "purpose": "test", "name": "clutch_check", "laps": ["out", "installation"], "stationary": True,
    "steps": [{"say": "Clutch in, hold.", "short": "Clutch in", "where": "garage"},
              {"say": "Clutch out, slowly.", "short": "Clutch out", "where": "garage", "offset_s": 20}],
})


def back_in(run: dict[str, object], **more: Any) -> Stage:
    """The car left before its garage calls were made; a little slower than expected it is in the pit lane at 360 s."""
    made = Stage(setup(plan(run, MAIN), **more), begin=-600.0).green()
    made.leave(250)
    made.cross(275, "1")
    made.cross(315, "2")
    made.pit(360, "entry")
    return made


def told(made: Stage) -> list[float]:
    """When the bite point was due."""
    return [one.t for one in made.prompts("bite_check", "due") if one.t > 250]


def test_what_is_for_the_garage_waits_until_the_car_stands() -> None:
    """The car left for its installation lap before anybody could tell the driver of the bite point. On the way in it is
    not told; in the garage, where the clutch can be tried, it is, and then it is done."""
    made = back_in(CHECKS | {"release": {"not_before": 400}, "items": [BITE]})
    stands_s = 360 + made.car.setup.calls.garage_after_s
    made.wait(stands_s + 2)
    assert made.car.track.state == "garage"
    assert told(made) == []
    made.wait(stands_s + 60)
    (t,) = told(made)
    assert stands_s < t <= stands_s + 30
    call = made.prompts("bite_check", "due")[-1].call
    made.command("said", call=call)
    made.command("confirm", call=call)
    (item,) = made.car.progress.runs[0].items
    assert item.state == "done"


def test_every_step_for_the_garage_is_told_in_its_order() -> None:
    """Two steps of one item: each is a call of its own, and the key for the first does not silence the second."""
    run = CHECKS | {"release": {"not_before": 400}, "items": [{"do": "clutch_check", "on": "out"}]}
    made = back_in(run, procedures=PROCEDURES | {"clutch_check": TWO_STEPS})
    said: list[str] = []
    for t in range(400, 500):
        made.wait(float(t))
        for call in [one for one in made.car.book.begun_by(made.now) if one.state == "due" and "clutch" in one.id]:
            said.append(call.spec.text)
            made.command("said", call=call.id)
    assert said == ["Clutch in, hold.", "Clutch out, slowly."]
    made.wait(700)
    assert made.car.progress.runs[0].items[0].state == "done"


def test_what_was_told_before_leaving_is_not_told_again() -> None:
    """The driver heard it in the garage: back from the lap nothing is left of it."""
    made = Stage(setup(plan(CHECKS | {"release": {"not_before": 400}, "items": [BITE]}, MAIN)), begin=-600.0).green()
    made.wait(320)
    call = made.prompts("bite_check", "due")[-1].call
    made.command("said", call=call)
    made.command("confirm", call=call)
    made.leave(400)
    made.cross(425, "1")
    made.cross(465, "2")
    made.pit(491, "entry")
    made.wait(700)
    assert [one.call for one in made.prompts("bite_check", "due")] == [call]


def test_a_long_run_is_not_followed_by_what_was_to_precede_it() -> None:
    """Before its out-lap it would have been of use; after the run nobody is told what was to be done before it."""
    made = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, in", "items": [BITE]})), begin=-600.0).green()
    made.leave(10)
    t = made.drive(10, 125, 100)
    made.pit(t + 95, "entry")
    made.wait(t + 300)
    assert [one for one in made.prompts("bite_check", "due") if one.t > t] == []
