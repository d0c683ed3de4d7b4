"""News on the channel: awaited windows, what is soon overtaken, the moment of the flag."""

from __future__ import annotations

from pitwall.engine.chances_to_say import AFTER_FLAG_S, BEFORE_FLAG_S
from pitwall.engine.rules.lap_kind import calls as lap_calls
from pitwall.engine.view import situation
from tests.unit.channel_stage import FULL_S, SHORT, Radio, call
from tests.unit.engine_stage import MAIN, Stage, plan, regulations, setup


def test_news_that_is_awaited_needs_less_time_to_begin_in() -> None:
    """A window of a good second serves when it opens seconds after the news was shown; one that opens at once does not
    while a longer one follows."""
    for opens, begins in ((101.0, 111.0), (104.5, 104.8)):
        news = call("news", ((opens, opens + 2.4), (111.0, 119.0)), kind="session", from_s=100, say_from_s=100.0,
                    by=119, text=SHORT, spoken_s=0.7)
        placed = Radio().place(100, news)["news"]
        assert abs(placed.say_from_s - begins) < 0.6


def test_what_is_soon_overtaken_takes_the_first_window_that_can_be_hit() -> None:
    """The end of a slow period is told at once in a short window; other news waits for the longer one after it."""
    for soon, begins in ((True, 101.0), (False, 111.0)):
        news = call("news", ((101.0, 103.0), (111.0, 119.0)), kind="session", from_s=100, say_from_s=100.0, by=119,
                    text=SHORT, spoken_s=0.7, soon_over=soon)
        assert abs(Radio().place(100, news)["news"].say_from_s - begins) < 0.6


def test_nothing_that_can_wait_is_on_the_channel_as_the_flag_falls() -> None:
    """A lap time would be read back over the flag, which everybody knows to come: it is said after it. A put-back
    before a line that the car reaches before the flag cannot wait."""
    radio = Radio()
    flag = radio.at.clock.end_s(100)
    stretch = ((flag - 4.0, flag + 20.0),)
    for kind, act, waits in (("pace", None, True), ("switch", flag - 0.5, False)):
        spec = call("one", stretch, kind=kind, from_s=flag - 6, by=flag + 18, act_at_s=act)
        placed = radio.place(flag - 5, spec)["one"]
        begin, end = placed.say_from_s, placed.say_from_s + FULL_S
        assert (begin >= flag + AFTER_FLAG_S or end <= flag - BEFORE_FLAG_S) is waits


def test_nobody_is_told_to_push_on_a_lap_that_the_flag_takes() -> None:
    """The flag falls before the line at which the next timed lap would begin: it will not be one."""
    for duration_s, told in ((3600.0, True), (380.0, False)):
        made = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}),
                           regulations=regulations(duration_s=duration_s))).green()
        made.drive(100, 120, 90)
        made.wait(345)
        at = situation(made.car, made.session.clock, 345.0)
        keys = [spec.key for spec in lap_calls(at) if spec.ask.lap_kind == "timed"]
        assert bool(keys) is told
