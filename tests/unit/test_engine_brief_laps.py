"""A brief that is true no longer, for time was lost in the garage: told anew in short, once, before the release."""

from __future__ import annotations

from typing import Any

from pitwall.engine.brief_laps import in_words
from pitwall.model.plan import LapKind
from pitwall.model.rules import Regulations
from tests.unit.engine_stage import MAIN, Stage, plan, regulations, setup
from tests.unit.test_engine_for_the_flag import STARTS, WINDOWS

LAST = MAIN | {"run": "last", "release": {"not_before": 400}}
SAID = "Next run is last: two timed laps."


def briefed(duration_s: float = 900, run: dict[str, Any] | None = None, **more: Any) -> Stage:
    """The car waits for its release at 400 s, the session lasts so long, and its brief was told."""
    made = Stage(setup(plan(run or LAST), regulations=regulations(duration_s=duration_s, **more)), begin=-600.0).green()
    made.wait(165)
    assert made.call("last-1-brief").spec.text == SAID
    made.command("said", call=made.call("last-1-brief").id)
    return made


def briefs(made: Stage) -> list[str]:
    """What was due as a brief, in the order in which it was."""
    return [one.text for one in made.prompts(state="due") if one.kind == "brief"]


def red(made: Stage, from_s: float, to_s: float) -> Stage:
    """A red flag, under a clock that runs on; the pit exit opens with the green."""
    made.status(from_s, "red")
    made.status(to_s, "green")
    return made


def test_after_a_red_flag_the_laps_that_are_left_are_told_anew() -> None:
    """Out at 510 s at the soonest, two minutes of out-lap, the flag at 700: one lap can begin, and not two. The
    correction is short, it comes before the release, and only once."""
    made = red(briefed(700), 200, 480)
    made.wait(519)
    assert briefs(made) == [SAID, "Correction, last: time for one timed lap only."]
    call = made.call("last-1-brief-anew-1")
    assert call.spec.say_by_s <= (made.car.release_s or 0.0)
    made.command("said", call=call.id)
    made.leave(560)
    made.wait(580)
    assert len(briefs(made)) == 2


def test_a_red_flag_that_takes_no_lap_leaves_the_brief_as_it_was() -> None:
    """The session is long enough for both laps: nothing is told twice."""
    made = red(briefed(1500), 200, 480)
    made.wait(560)
    assert briefs(made) == [SAID]


def test_a_run_that_is_none_any_more_is_called_off() -> None:
    """Not even the out-lap is over before the flag: the driver, who waits in the car, hears that once."""
    made = red(briefed(700), 200, 640)
    made.wait(690)
    assert briefs(made) == [SAID, "Last is off: no timed lap can start before the flag any more."]


def test_a_run_that_was_not_briefed_is_not_called_off() -> None:
    """Who was told nothing has nothing to be put right: the alert tells the desk."""
    made = Stage(setup(plan(LAST), regulations=regulations(duration_s=700)), begin=-600.0).green()
    red(made, 100, 640).wait(690)
    assert briefs(made) == []


def test_where_time_is_short_from_the_beginning_the_brief_says_so() -> None:
    """The plan has two timed laps, and there is time for one: nobody is sent out for two."""
    made = Stage(setup(plan(LAST), regulations=regulations(duration_s=590)), begin=-600.0).green()
    made.wait(165)
    assert briefs(made) == ["Next run is last: time for one timed lap only."]


def test_a_lap_more_or_less_by_the_desk_is_told_too() -> None:
    """The brief was read out, then the desk gives the run another lap, and takes it back: each is put right."""
    made = briefed(1500)
    made.wait(180)
    made.command("extend", run="last")
    made.wait(200)
    made.command("said", call=made.call("last-1-brief-anew-1").id)
    made.command("shorten", run="last")
    made.wait(220)
    assert briefs(made) == [SAID, "Correction, last: three timed laps.", "Correction, last: two timed laps."]


def test_a_lap_for_the_flag_of_this_window_takes_no_laps_from_a_run_that_waits_for_the_next() -> None:
    """The pit exit is closed for so long that the run, which was briefed, waits for the second window; before that the
    car is readied for the practice starts after the flag of the first. That lap of theirs has no timed one: the run
    keeps its four, and the driver is told nothing else."""
    made = Stage(setup(plan(MAIN | {"laps": "out, 4 timed, in", "release": {"not_before": 400}},
                            STARTS | {"window": "one"}), regulations=Regulations.model_validate({
        "regulations": 1, "sessions": [{"session": "p1", "windows": WINDOWS}], "after_flag_items": ["standing_start"],
    })), begin=-600.0).green()
    made.wait(170)
    made.command("said", call=made.call("main-1-brief").id)
    made.status(300, None, pit_exit="closed")
    made.status(1110, None, pit_exit="open")
    made.wait(1150)
    assert made.prompts("starts-1-brief", "due") != []
    made.status(1202, "finished")
    made.status(1800, "green", pit_exit="open")
    made.wait(1990)
    assert [text for text in briefs(made) if "main" in text] == ["Next run is main: four timed laps."]
    assert made.car.progress.runs[0].brief_laps == 4


def test_the_laps_of_a_brief_in_words() -> None:
    """A cool-down lap behind the last lap that can begin is not driven, and not told."""
    kinds: list[LapKind] = ["out", "timed", "cool", "timed", "cool", "timed", "in"]
    assert in_words(kinds, None) == in_words(kinds, 3) == "three timed laps with two cool-down laps"
    assert in_words(kinds, 2) == "time for two timed laps with one cool-down lap only"
    assert in_words(kinds, 1) == "time for one timed lap only"
