"""Alerts: raised once, kept while their condition holds, held back with a reason, and over with it."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, get_args

import pytest

from pitwall.engine.alerts.book import IDLE_UNDER, KINDS, AlertBook
from pitwall.engine.alerts.kinds import PRIORITIES
from pitwall.engine.must_watch import MustWatch
from pitwall.model.events import Restarted
from pitwall.model.outputs import Alert, Answered, CarOutlook, HeldBack, Output, Refused, RunOutlook
from pitwall.model.setup import ForecastSettings
from tests.unit.engine_stage import CIRCUIT, MAIN, SPARE, Stage, plan, setup


def kinds(outputs: list[Output]) -> list[tuple[str, bool]]:
    """Kind and activity of the alerts among outputs."""
    return [(one.kind, one.active) for one in outputs if isinstance(one, Alert)]


# -- the book ----------------------------------------------------------------------------------------------------------


def test_a_worse_loss_or_less_time_is_never_less_urgent() -> None:
    """Priorities follow consequence and time to act, both ways, and only what harms a car or spoils a run at once is
    high."""
    urgency = {"low": 0, "medium": 1, "high": 2}
    losses, times = ("comfort", "lap", "run", "car"), ("minutes", "lap", "seconds")
    for less, more in pairwise(losses):
        assert all(urgency[PRIORITIES[less, time]] <= urgency[PRIORITIES[more, time]] for time in times)  # type: ignore[index]
    for longer, shorter in pairwise(times):
        assert all(urgency[PRIORITIES[loss, longer]] <= urgency[PRIORITIES[loss, shorter]] for loss in losses)  # type: ignore[index]
    assert {kind for kind, (priority, _) in KINDS.items() if priority == "high"} == {
        "switch_wrong", "fuel_short", "tyre_pressure_low", "stayed_out", "pace_under_red"}


def test_every_kind_has_a_priority_a_remedy_and_a_rule_when_it_is_idle() -> None:
    """The tables of the book cover the kinds of the model, no more and no less."""
    known = set(get_args(Alert.model_fields["kind"].annotation))
    assert set(KINDS) == set(IDLE_UNDER) == known
    assert all(remedy.endswith(".") for _, remedy in KINDS.values())


def test_an_alert_is_raised_once_and_over_once() -> None:
    """While it is active the same condition says nothing more; over, it is told once, and may be raised again."""
    book = AlertBook()
    (raised,) = book.hold("fuel_short", "41", "short of fuel", 10, "green")
    assert isinstance(raised, Alert)
    assert (raised.id, raised.priority, raised.since_s, raised.active) == ("fuel-short-41", "high", 10, True)
    assert book.hold("fuel_short", "41", "shorter still", 20, "green") == []
    (over,) = book.over("fuel_short", "41", 30)
    assert isinstance(over, Alert)
    assert (over.active, over.since_s, over.t) == (False, 10, 30)
    assert book.over("fuel_short", "41", 31) == []
    assert kinds(book.hold("fuel_short", "41", "again", 40, "green")) == [("fuel_short", True)]
    assert book.count == {"fuel_short": 2}


def test_details_and_cars_tell_alerts_apart() -> None:
    """Two switches, two cars: four alerts, each over by itself."""
    book = AlertBook()
    for car in ("41", "58"):
        for switch in ("flap", "torque_map"):
            book.hold("switch_wrong", car, "wrong", 0, "green", switch)
    assert len(book.active) == 4
    book.over("switch_wrong", "41", 1, "flap")
    assert sorted(book.active) == ["switch-wrong-41-torque_map", "switch-wrong-58-flap", "switch-wrong-58-torque_map"]


@pytest.mark.parametrize(("kind", "status"), [(kind, status) for kind, idle in IDLE_UNDER.items() for status in idle])
def test_what_is_idle_is_held_back_with_a_reason_once(kind: str, status: Any) -> None:
    """Nobody wants to hear of it now: not raised, and the drop is on record, once for each reason."""
    book = AlertBook()
    (held,) = book.hold(kind, "41", "text", 5, status)
    assert isinstance(held, HeldBack)
    assert status in held.reason
    assert book.hold(kind, "41", "text", 6, status) == []
    assert book.active == {}
    book.over(kind, "41", 7)
    assert len(book.hold(kind, "41", "text", 8, status)) == 1, "a new occurrence is a new record"


def test_acknowledging_keeps_the_alert_active() -> None:
    """A hand took note; the condition goes on."""
    book = AlertBook()
    book.hold("feed_stale", None, "no feed", 5, "green")
    (noted,) = book.acknowledge("feed-stale", 6, "c1")
    assert isinstance(noted, Alert)
    assert (noted.acknowledged, noted.active, noted.because, noted.car) == (True, True, "c1", None)
    assert book.acknowledge("smoke", 6, "c1") == []


def test_the_end_of_the_session_ends_every_alert() -> None:
    """All over, in the order of their names, and nothing stays active."""
    book = AlertBook()
    for kind in ("switch_wrong", "feed_stale", "car_silent"):
        book.hold(kind, "41", "text", 5, "green")
    assert [one.id for one in book.all_over(9) if isinstance(one, Alert)] == [
        "car-silent-41", "feed-stale-41", "switch-wrong-41",
    ]  # fmt: skip
    assert book.active == {}


# -- the conditions ---------------------------------------------------------------------------------------------------


def outlook(chance: float, *runs: tuple[str, str, float]) -> CarOutlook:
    """What the forecast says of a car."""
    return CarOutlook(car="41", musts_chance=chance, spare_q50_s=10, runs=tuple(
        RunOutlook.model_validate({"run": run, "want": want, "chance": share, "end_q10_s": 1, "end_q50_s": 2,
                                   "end_q90_s": 3, "last_release_s": 1830})
        for run, want, share in runs
    ))  # fmt: skip


def test_an_overrun_warns_below_one_chance_and_clears_above_another() -> None:
    """Between the two nothing flickers; the must in most danger is named with when it must leave."""
    book, rules, musts = AlertBook(), ForecastSettings(), MustWatch()
    runs = (("a", "must", 0.5), ("b", "must", 0.3), ("c", "could", 0.0))
    (raised,) = musts.look(outlook(0.3, *runs), book, rules, "green", 10)
    assert isinstance(raised, Alert)
    assert raised.text == "Car 41: b may not fit: 30 % likely; leave by 30:30"
    between = (rules.warn_below + rules.clear_above) / 2
    assert musts.look(outlook(between, *runs), book, rules, "green", 20) == []
    assert kinds(musts.look(outlook(rules.clear_above, *runs), book, rules, "green", 30)) == [("overrun", False)]
    assert musts.look(outlook(between, *runs), book, rules, "green", 40) == []


def test_what_is_only_nice_to_have_may_not_fit() -> None:
    """Plans are over-full on purpose: without a must in danger there is no alarm."""
    nothing = MustWatch().look(outlook(0.0, ("c", "could", 0.0)), AlertBook(), ForecastSettings(), "green", 10)
    assert nothing == []


def test_fuel_for_the_lap_the_car_is_on() -> None:
    """Loaded for three laps and the reserve: on the fourth it is short. The load of the run that it repeats counts."""
    for more in ({"fuel_kg": 8.5}, {"same_as": "spare"}):
        stage = Stage(setup(plan(MAIN | {"laps": "out, 4 timed, in"} | more, SPARE | {"fuel_kg": 8.5}))).green()
        t = stage.drive(200, 125, 100)
        stage.wait(t + 50)
        assert not [one for one in stage.made(Alert) if one.kind == "fuel_short"]
        t = stage.lap(t, 100)
        stage.wait(t + 10)
        (alert,) = [one for one in stage.made(Alert) if one.kind == "fuel_short"]
        assert alert.text == "Car 41: about 0.6 kg at the end of this lap, the reserve is 2.0 kg"
        stage.pit(t + 90, "entry")
        stage.wait(t + 100)
        assert ("fuel_short", False) in kinds(stage.outputs)


def test_the_fuel_of_a_run_that_was_broken_off_is_told_before_the_car_leaves_again() -> None:
    """Filled for its five laps and the reserve, it is called in before any of them counts: out- and in-lap are driven
    twice, and the crew hears in the garage what is missing. Filled, it is over."""
    laps = {"laps": "out, 3 timed, in", "fuel_kg": 5 * 2.0 + 2.0}  # the car of these tests: 2 kg a lap, 2 in reserve
    stage = Stage(setup(plan(MAIN | laps))).green()
    t = stage.lap(stage.drive(200), 125)
    stage.command("box")
    t = stage.home(t)
    stage.wait(t + 120)
    (alert,) = [one for one in stage.made(Alert) if one.kind == "fuel_to_go_on"]
    assert alert.priority == "medium"
    assert alert.text == "Car 41 goes on with main on about 8.1 kg: its 5 laps and the reserve take 12.0 kg"
    stage.command("set_fuel", fuel_kg=12.0)
    stage.wait(t + 140)
    assert ("fuel_to_go_on", False) in kinds(stage.outputs)
    assert "fuel-to-go-on-41" not in stage.session.alerts.active


def test_a_car_that_leaves_again_on_its_run_has_been_filled() -> None:
    """In after three laps with almost nothing left, out again on the same run: it was filled, nobody entered how much,
    and nothing is told. Once somebody enters that it is too little, it is."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 6 timed, in", "fuel_kg": 9}))).green()
    t = stage.drive(200, 125, 100)
    stage.command("box")
    t = stage.home(t)
    again = stage.drive(t + 400, 125, 100)
    assert stage.car.progress.runs[0].leavings == 2
    stage.wait(again + 20)
    told = [one.t for one in stage.made(Alert) if one.kind == "fuel_short" and one.active]
    assert [moment for moment in told if moment > t + 100] == []
    stage.command("set_fuel", fuel_kg=3.0)
    stage.wait(again + 40)
    assert "fuel-short-41" in stage.session.alerts.active


def test_a_car_unseen_on_track() -> None:
    """Long enough without a loop: an alert, over when it is seen again."""
    stage = Stage(setup(plan(MAIN))).green().leave(200)
    stage.cross(240, "1")
    stage.wait(240 + 200)
    (alert,) = [one for one in stage.made(Alert) if one.kind == "car_silent"]
    assert 240 + 180 <= alert.t <= 240 + 190
    stage.cross(500, "2")
    stage.wait(510)
    assert ("car_silent", False) in kinds(stage.outputs)


def test_a_green_by_hand_finds_no_feed_that_fell_silent_under_red() -> None:
    """Under red nobody had to send anything: the silence counts from the green, whoever gave it."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.leave(200)
    stage.status(240, "red")
    stage.command("status", 640, status="green")
    stage.wait(700)
    assert not [one for one in stage.made(Alert) if one.kind == "feed_stale"]
    stage.wait(760)
    first = next(one for one in stage.made(Alert) if one.kind == "feed_stale")
    assert first.text == "No timing message for 90 s while cars are on track"


def test_a_car_that_nobody_saw_come_in_under_red_has_not_stopped_as_the_green_comes() -> None:
    """Under red it need not have sent anything: how long it is unseen counts from the end of it."""
    stage = Stage(setup(plan(MAIN))).green().leave(200)
    stage.cross(240, "1")
    stage.status(260, "red")
    stage.status(900, "green")
    stage.cross(910, car="7")
    stage.wait(1070)
    assert not [one for one in stage.made(Alert) if one.kind == "car_silent"]
    stage.cross(1080, car="7")
    stage.wait(1090)
    (alert,) = [one for one in stage.made(Alert) if one.kind == "car_silent"]
    assert alert.text == "Car 41 not seen on track for 14:00"


def test_nobody_misses_a_feed_while_only_a_car_that_stopped_is_out() -> None:
    """Ours are in the garage, and one of the others stands out there: a feed that has nothing to tell is not silent.
    As soon as somebody runs it must speak."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.pit(100, "exit", "7")
    stage.cross(180, car="7")
    stage.leave(200)
    for t, loop in ((240, "1"), (275, "2"), (325, "line"), (365, "1"), (400, "2")):
        stage.cross(t, loop)
    stage.pit(430, "entry")
    stage.wait(1500)
    assert stage.session.field.tracks["7"].state == "stopped"
    assert not [one for one in stage.made(Alert) if one.kind == "feed_stale"]
    stage.leave(1600)
    stage.wait(1700)
    assert [one.kind for one in stage.made(Alert)][-1] == "feed_stale"
    stage.wait(1900)
    assert "feed-stale" in stage.session.alerts.active, "that all cars are taken to have stopped is no end of it"


@pytest.mark.parametrize(("lap_s", "laps"), [(100, (150, 100, 160, 100)), (130, (195, 130, 215, 130))])
def test_a_car_alone_that_only_the_line_sees_is_neither_silent_nor_is_its_feed(
    lap_s: float, laps: tuple[float, ...]
) -> None:
    """Nothing is to be told between two passes, and a slow lap takes long: the alerts came on every such lap. A feed
    that is silent for longer than the slowest lap is missed as ever, and so is the car in the end."""
    bare = CIRCUIT.model_copy(update={"loops": CIRCUIT.loops[:1], "lap_s": lap_s})
    stage = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}), circuit=bare)).green().leave(200)
    t = 200.0
    for lap in laps:
        t += lap
        stage.wait(t - 1).cross(t)
    assert not {one.kind for one in stage.made(Alert)} & {"feed_stale", "car_silent"}
    slowest = 1.7 * lap_s
    stage.wait(t + slowest + 6)
    (stale,) = [one for one in stage.made(Alert) if one.kind == "feed_stale"]
    assert t + slowest <= stale.t <= t + slowest + 6
    stage.wait(t + max(180, slowest) + 12)
    assert "car-silent-41" in stage.session.alerts.active


def test_a_feed_that_fell_silent() -> None:
    """No timing message while a car is out: raised after 90 s, over with the next message; not in the garage."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.wait(150)
    assert not stage.made(Alert)
    stage.leave(200)
    stage.wait(280)
    assert not [one for one in stage.made(Alert) if one.kind == "feed_stale"]
    stage.wait(300)
    (alert,) = [one for one in stage.made(Alert) if one.kind == "feed_stale"]
    assert alert.car is None
    stage.cross(310, "1")
    stage.wait(316)
    assert ("feed_stale", False) in kinds(stage.outputs)


# -- the pipeline ------------------------------------------------------------------------------------------------------


def reasons(outputs: list[Output]) -> list[str]:
    """Why alerts were held back."""
    return [one.reason for one in outputs if isinstance(one, HeldBack)]


def test_a_shelved_alert_comes_back_if_it_still_holds() -> None:
    """Laid aside it is over for the screens, works on underneath, and is raised again when its time is up."""
    book = AlertBook()
    book.hold("fuel_short", "41", "short", 10, "green")
    (gone,) = book.shelve("fuel-short-41", 20, 60, "c1")
    assert isinstance(gone, Alert)
    assert (gone.active, gone.because) == (False, "c1")
    assert reasons(book.hold("fuel_short", "41", "short", 30, "green")) == ["shelved until 1:20"]
    assert book.hold("fuel_short", "41", "short", 79, "green") == []
    assert kinds(book.hold("fuel_short", "41", "short", 80, "green")) == [("fuel_short", True)]


def test_an_alert_that_comes_and_goes_is_kept_until_it_is_quiet() -> None:
    """Three cycles in a minute: the third end is not told before a minute without it has passed."""
    book = AlertBook()
    told: list[tuple[float, bool]] = []
    for begin in (0.0, 20.0, 40.0):
        told += [(begin, on) for _, on in kinds(book.hold("feed_stale", None, "silent", begin, "green"))]
        told += [(begin + 10, on) for _, on in kinds(book.over("feed_stale", None, begin + 10))]
    assert told == [(0, True), (10, False), (20, True), (30, False), (40, True)]
    book.hold("feed_stale", None, "silent", 70, "green")
    assert book.active["feed-stale"].text == "silent (comes and goes)"
    for t in range(75, 135, 5):
        assert book.over("feed_stale", None, t) == []
    assert kinds(book.over("feed_stale", None, 135)) == [("feed_stale", False)]


def test_in_a_flood_only_what_is_urgent_is_shown_and_the_rest_follows() -> None:
    """The twelfth alert in ten minutes waits, with its reason, unless it is urgent; after the flood it is raised."""
    book = AlertBook()
    for number in range(11):
        book.hold("in_overdue", "41", "late", number, "green", f"s{number}")
    assert kinds(book.hold("car_silent", "58", "unseen", 11, "green")) == [("car_silent", True)], "another engineer's"
    held = book.hold("car_silent", "41", "unseen", 12, "green")
    assert reasons(held) == ["too many alerts at once: only urgent ones are shown"]
    assert kinds(held) == [("many_alerts", True)], "and it says so"
    assert kinds(book.hold("plan_file", "41", "line 3", 12, "green")) == [("plan_file", True)], "told once or never"
    assert book.calm(13) == []
    assert kinds(book.hold("fuel_short", "41", "short", 13, "green")) == [("fuel_short", True)]
    assert kinds(book.calm(640)) == [("many_alerts", False)]
    assert kinds(book.hold("car_silent", "41", "unseen", 640, "green")) == [("car_silent", True)]


def test_alerts_for_everybody_count_for_each_engineer() -> None:
    """Six of the feed and five of a car are eleven for its engineer; what is everybody's waits while anybody is in a
    flood, and a car that is heard of only then has those of before."""
    book = AlertBook()
    for number in range(6):
        book.hold("feed_stale", None, "silent", number, "green", f"f{number}")
    for number in range(5):
        book.hold("in_overdue", "41", "late", 6 + number, "green", f"s{number}")
    assert reasons(book.hold("car_silent", "41", "unseen", 12, "green")) != []
    assert reasons(book.hold("clock_unknown", None, "none", 12, "green")) != []
    for number in range(5):
        book.hold("in_overdue", "58", "late", 13 + number, "green", f"s{number}")
    assert reasons(book.hold("car_silent", "58", "unseen", 20, "green")) != []
    told = {alert.car for alert in book.active.values() if alert.kind == "many_alerts"}
    assert told == {"41", "58", None}


def test_what_another_alert_explains_is_not_raised_beside_it() -> None:
    """A car that has not left by a feed that is silent may have left long ago."""
    book = AlertBook()
    book.hold("feed_stale", None, "silent", 5, "green")
    assert reasons(book.hold("release_overdue", "41", "stands", 6, "green")) == ["explained by feed-stale"]
    book.over("feed_stale", None, 60)
    assert kinds(book.hold("release_overdue", "41", "stands", 61, "green")) == [("release_overdue", True)]


def test_an_on_delay_wants_the_condition_without_a_break() -> None:
    """A release that is overdue for a moment between two looks is no alert."""
    book = AlertBook()
    assert book.hold("release_overdue", "41", "stands", 0, "green") == []
    book.over("release_overdue", "41", 5)
    assert book.hold("release_overdue", "41", "stands", 9, "green") == []
    assert book.hold("release_overdue", "41", "stands", 14, "green") == []
    assert kinds(book.hold("release_overdue", "41", "stands", 19, "green")) == [("release_overdue", True)]


def test_a_noted_alert_that_stands_asks_again() -> None:
    """Urgent and still there three minutes after somebody took note: it wants to be noted once more."""
    book = AlertBook()
    book.hold("fuel_short", "41", "short", 0, "green")
    book.acknowledge("fuel-short-41", 10, "c1")
    assert book.hold("fuel_short", "41", "short", 189, "green") == []
    (again,) = book.hold("fuel_short", "41", "short", 190, "green")
    assert isinstance(again, Alert)
    assert not again.acknowledged


def test_the_desk_shelves_an_alert_for_a_while_with_a_most() -> None:
    """For ten minutes when nothing else is said; for longer than half an hour it is refused, not shortened."""
    stage = Stage(setup(plan(MAIN))).green().leave(200)
    stage.cross(240, "1")
    stage.wait(240 + 200)
    (alert,) = [one for one in stage.made(Alert) if one.kind == "car_silent"]
    refused = stage.command("shelve", alert=alert.id, for_s=1801)
    assert isinstance(refused, Refused)
    assert "at most 30 min" in refused.reason
    unknown = stage.command("shelve", alert="smoke")
    assert isinstance(unknown, Refused)
    assert unknown.reason == f"no alert 'smoke' is active (there are: feed-stale, {alert.id})"
    answered = stage.command("shelve", alert=alert.id)
    assert isinstance(answered, Answered)
    assert answered.effect == f"shelved until 17:20: {alert.text}"
    assert alert.id not in stage.session.alerts.active


def test_a_restart_takes_no_alert_off() -> None:
    """A car stands here still: after a restart the alert is among what is told again, and nothing ends it meanwhile."""
    stage = Stage(setup(plan(MAIN))).green().wait(400)
    assert "release-overdue-41" in stage.session.alerts.active
    stage.now += 60.0
    stage.handle(Restarted(id="restarted:0", t=stage.now, gap_s=60.0))
    assert "release-overdue-41" in [one.id for one in stage.session.standing() if isinstance(one, Alert)]
    stage.wait(stage.now + 240)
    assert [one.active for one in stage.made(Alert) if one.kind == "release_overdue"] == [True]


def test_a_key_pressed_as_the_alert_goes_is_answered() -> None:
    """The feed speaks again in the moment in which somebody takes note of its silence: noted, once, and not refused."""
    stage = Stage(setup(plan(MAIN))).green().leave(200)
    stage.wait(300)
    assert "feed-stale" in stage.session.alerts.active
    stage.cross(310, "1")
    stage.wait(316)
    answered = stage.command("acknowledge", alert="feed-stale")
    assert isinstance(answered, Answered)
    assert answered.effect.startswith("acknowledged: No timing message")
    last = [one for one in stage.made(Alert) if one.kind == "feed_stale"][-1]
    assert (last.active, last.acknowledged) == (False, True)
    assert isinstance(stage.command("acknowledge", alert="feed-stale"), Refused)


def test_a_standing_alert_is_silent_under_red_and_back_with_the_green() -> None:
    """Fuel is told under red, an overrun is not: it goes with its reason on record, and is back if it still holds."""
    book = AlertBook()
    book.hold("overrun", "41", "does not fit", 0, "green")
    book.hold("fuel_short", "41", "short", 0, "green")
    off = book.hold("overrun", "41", "does not fit", 10, "red")
    assert (kinds(off), reasons(off)) == ([("overrun", False)], ["idle while the session is red"])
    assert book.hold("overrun", "41", "does not fit", 15, "red") == [], "once on record"
    assert book.hold("fuel_short", "41", "short", 10, "red") == []
    assert kinds(book.hold("overrun", "41", "does not fit", 70, "green")) == [("overrun", True)]


def test_cars_that_run_by_no_known_clock_are_told() -> None:
    """Started in the middle, before anybody gave a status or a time: told once the feed had time to say it, and over
    with the green light or the official clock."""
    for way in ("green", "clock"):
        stage = Stage()
        stage.leave(10)
        stage.wait(25)
        assert not [one for one in stage.made(Alert) if one.kind == "clock_unknown"]
        stage.wait(45)
        (alert,) = [one for one in stage.made(Alert) if one.kind == "clock_unknown"]
        assert "neither a green light nor the official clock" in alert.text
        if way == "green":
            stage.green(60)
        else:
            stage.clock(60, 3000)
        stage.wait(70)
        assert ("clock_unknown", False) in kinds(stage.outputs)


def test_a_session_that_waits_knows_enough() -> None:
    """Nobody is on track before the green light: that is no alert."""
    stage = Stage().wait(200)
    assert not [one for one in stage.made(Alert) if one.kind == "clock_unknown"]
