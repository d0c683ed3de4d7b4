"""A brief that is true no longer, for time was lost in the garage: told anew in short, once, before the release."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.brief_laps import in_words
from pitwall.model.events import ChannelReported
from pitwall.model.plan import LapKind
from pitwall.model.rules import Regulations
from tests.unit.engine_stage import CAR, MAIN, Stage, plan, regulations, setup
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


def test_a_run_that_is_one_again_is_briefed_anew_and_called_off_anew() -> None:
    """The driver was told that it is off, then the clock is extended: he is briefed in full before he is told to fire
    up. Should it be off once more, he hears that, too."""
    made = red(briefed(700), 200, 640)
    made.wait(660)
    made.command("said", call=made.call("last-1-off").id)
    made.clock(670, 600.0)
    made.wait(680)
    off = "Last is off: no timed lap can start before the flag any more."
    assert briefs(made) == [SAID, off, SAID]
    assert made.prompts("last-1-brief-anew-1", "due")[0].t <= made.prompts("last-1-fire-up~2", "due")[0].t
    made.command("said", call=made.call("last-1-brief-anew-1").id)
    made.clock(690, 60.0)
    made.wait(700)
    assert briefs(made) == [SAID, off, SAID, off]


def test_a_run_that_nobody_heard_is_off_keeps_its_brief() -> None:
    """The clock is extended before the driver could be told: he knows of nothing but his run."""
    made = red(briefed(700), 200, 640)
    made.wait(642)
    assert made.call("last-1-off").state == "shown"
    made.clock(643, 600.0)
    made.wait(690)
    assert briefs(made) == [SAID]


def test_a_brief_that_may_be_on_the_air_is_not_given_another_number_under_the_same_key() -> None:
    """It stands for ten seconds as the flag moves nearer: nobody knows whether it is being read out. It keeps its
    words, and a whole one with the number that is true takes its place."""
    made = Stage(setup(plan(LAST | {"laps": "out, 4 timed, in"}), regulations=regulations(duration_s=900)),
                 begin=-600.0).green().wait(170)
    made.clock(172, 470.0)
    made.wait(174)
    first = made.call("last-1-brief")
    assert (first.spec.text, first.state) == ("Next run is last: four timed laps.", "withdrawn")
    assert briefs(made) == [first.spec.text, "Next run is last: time for two timed laps only."]
    made.command("said", call=made.call("last-1-brief-anew-1").id)
    made.wait(300)
    assert len(briefs(made)) == 2


@pytest.mark.parametrize("on_the_air", [True, False])
def test_where_the_radio_desk_tells_who_talks_only_a_brief_on_the_air_keeps_its_number(on_the_air: bool) -> None:
    """The flag moves nearer while the engineer reads the brief out: he ends it, and what he said is put right. Where
    nobody talks it is not being read, and simply says what is true."""
    made = Stage(setup(plan(LAST | {"laps": "out, 4 timed, in"}), regulations=regulations(duration_s=900)),
                 begin=-600.0).green().wait(100)

    def talks(t: float, who: str) -> None:
        made.give(ChannelReported.model_validate({"id": f"talk-{t:g}", "t": t, "car": CAR, "talking": who}))

    talks(101, "nobody")
    made.wait(170)
    if on_the_air:
        talks(171, "engineer")
    made.clock(172, 470.0)
    if on_the_air:
        talks(174, "nobody")
    made.wait(175)
    made.command("said", call=made.call("last-1-brief").id)
    made.wait(300)
    four, two = "Next run is last: four timed laps.", "time for two timed laps only."
    after = [f"Correction, last: {two}"] if on_the_air else [f"Next run is last: {two}"]
    assert briefs(made) == [four, *after]
    assert made.call("last-1-brief").spec.text == (four if on_the_air else after[0])


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
