"""Timed laps that began with a switch out of place: by the alerts, in the lap table and on the first page."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest

from pitwall.app.debrief_switches import switches_off
from pitwall.app.debrief_watch import CarWatch, Flag, LapStart, Moved, Retold
from pitwall.app.debriefing import debrief
from pitwall.debrief.contents import document_of
from pitwall.debrief.contents_summary import summary_sections
from pitwall.debrief.document import Words
from pitwall.debrief.model import CarDebrief
from pitwall.debrief.notes import Notes
from pitwall.debrief.session import alert_rows
from pitwall.debrief.wording import best_lap
from pitwall.engine.laps import LapRecord
from pitwall.engine.switches import SwitchBoard
from pitwall.engine.team import TeamCar
from pitwall.model.events import Stamped, TimeReached
from pitwall.model.laps_in_doubt import switch_words
from pitwall.model.outputs import Alert
from tests.unit.debrief_stage import car as car_row
from tests.unit.debrief_stage import full
from tests.unit.engine_stage import MAIN, car_file, plan, setup
from tests.unit.kept_stage import Kept

LINE_S, HEARD_S = 100.0, 101.0
FACT = Stamped(seq=0, event=TimeReached(id="t", t=0.0), received_t=0.0)
WRONG, UNSURE = "torque stands at 2, this timed lap needs 4", "torque: nothing shows that it is at 4"


def off(raised: float, over: float | None, *moves: float, kind: str = "switch_wrong", lap: str = "timed",
        planned: str = "timed", flags: tuple[Flag, ...] = (), retold: tuple[Retold, ...] = ()) -> Any:
    """What is said of a lap from second 100 to 190, heard of at 101, of one alert and the moves of its switch."""
    notes, words = Notes(), WRONG if kind == "switch_wrong" else UNSURE
    alert = told(raised, {"torque": words}, kind=kind)
    notes.take(FACT, [alert] if over is None else [alert, alert.model_copy(update={"t": over, "active": False})])
    car = SimpleNamespace(car="58", switches=SimpleNamespace(car=SimpleNamespace(
        switches=[SimpleNamespace(switch="torque"), SimpleNamespace(switch="deploy")])),
        progress=SimpleNamespace(find=lambda _: SimpleNamespace(laps=("out", planned, "in"))))
    watch = CarWatch(legs={3: ("runs", 1)}, moves=[Moved(t, "torque", 4, 2, "measured", "runs", 3) for t in moves])
    start = LapStart(3, LINE_S, HEARD_S, "bryn", None, None, None, None)
    record = cast(LapRecord, SimpleNamespace(number=3, kind=lap, end_t=190.0))
    return switches_off(notes, flags, cast(TeamCar, car), watch, record, start, retold)


def told(t: float, switches: dict[str, str], **more: Any) -> Alert:
    """An alert about these switches, as it is told at ``t``."""
    values = {"id": "switch-wrong-58-torque", "t": t, "car": "58", "kind": "switch_wrong", "priority": "high",
              "active": True, "help": "", "since_s": t, "text": "; ".join(switches.values()), "switches": switches}
    return Alert.model_validate(values | more)


@pytest.mark.parametrize(("raised", "over", "moves"), [
    (98.0, 190.0, ()),  # told as the car had to be over the line
    (101.0, None, ()),  # to the end of the journal
    (102.0, 190.0, (60.0,)),  # telemetry was late; it was moved long before
    (98.0, 105.0, (104.5,)),  # put right on the lap
])
def test_a_lap_that_began_with_a_switch_off(raised: float, over: float | None, moves: tuple[float, ...]) -> None:
    """What was told of the beginning of the lap is told of the lap, though the switch was put right on it."""
    assert off(raised, over, *moves) == ((WRONG,), ())


@pytest.mark.parametrize(("raised", "over", "moves"), [
    (40.0, 101.0, ()),  # it was of the lap before, and over as this one began
    (150.0, 190.0, (149.0,)),  # moved in the middle of the lap
    (103.0, 190.0, (102.0,)),  # moved by mistake just after the line
    (101.0, 106.0, ()),  # taken back: a call before the line had asked for it, or the driver's word
])
def test_a_lap_that_began_with_its_switches_in_place(raised: float, over: float, moves: tuple[float, ...]) -> None:
    """What belongs to another lap, came later or was wanted by a procedure is not told of the lap's beginning."""
    assert off(raised, over, *moves) == ((), ())


def test_a_flag_that_ends_an_alert_does_not_take_it_back() -> None:
    """The flag falls a few seconds after the line, the next lap is the in-lap, the alert is over: the lap began so."""
    assert off(101.5, 106.1, flags=(Flag(106.0, "finished", ()),)) == ((WRONG,), ())
    assert off(101.5, 106.1, flags=(Flag(99.0, "green", ()), Flag(104.0, "yellow", ()))) == ((), ())


@pytest.mark.parametrize(("taken_back", "since", "raised", "moves", "off_then"), [
    (121.0, 60.0, 125.0, (), True),
    (121.0, 60.0, 125.0, (110.0,), False),  # it was moved on the lap
    (121.0, 60.0, 140.0, (), False),  # that long after it, it is of something else
    (121.0, 110.0, 125.0, (), False),  # the lap had begun before what was taken back
    (99.0, 60.0, 125.0, (), False),  # it was taken back before the lap began
])
def test_a_lap_that_began_under_a_status_that_was_taken_back(
    taken_back: float, since: float, raised: float, moves: tuple[float, ...], off_then: bool
) -> None:
    """Under a red flag by a slip of the hand nobody is told that a switch is out of place: the lap began with it all
    the same, and the alert comes once the flag is taken back."""
    assert off(raised, 190.0, *moves, retold=(Retold(taken_back, since),)) == (((WRONG,) if off_then else ()), ())


TORQUE = {"switch": "torque", "word": "torque", "kind": "rotary", "positions": [1, 2, 3, 4], "default": 4}


@pytest.mark.parametrize(("stood", "told"), [(2, ("torque stood at 2, driven as a timed lap it needed 4",)), (4, ()),
                                             (3, ())])  # fmt: skip
def test_an_in_lap_that_was_driven_timed_is_judged_by_its_line(stood: int, told: tuple[str, ...]) -> None:
    """The car stayed out and nobody was alarmed, for the plan could still come true: what telemetry had shown at the
    line says what the lap was driven with. Either the lap's own positions or those of its place's items are right."""
    assert at_the_line(stood, measured_from=50.0) == (told, ())
    assert at_the_line(stood, measured_from=110.0) == ((), ()), "telemetry spoke only on the lap"


def at_the_line(stood: int, measured_from: float) -> Any:
    """What is said of a lap that was to be an in-lap: torque stood there at its line and moved on it, no alert."""
    board = SwitchBoard(car_file(switches=[TORQUE], forbidden_on_timed=[]), plan(MAIN), {}, wet=False)
    car = SimpleNamespace(car="58", switches=board, progress=SimpleNamespace(
        find=lambda _: SimpleNamespace(laps=("out", "timed", "in"))))  # fmt: skip
    watch = CarWatch(legs={3: ("runs", 2)}, measured_from={"torque": measured_from}, moves=[
        Moved(40.0, "torque", stood, 1, "measured", "runs", 2),
        Moved(118.0, "torque", 1, stood, "measured", "runs", 3)])
    start = LapStart(3, LINE_S, HEARD_S, "bryn", None, None, None, None, ({"torque": 4}, {"torque": 3}))
    record = cast(LapRecord, SimpleNamespace(number=3, kind="timed", end_t=190.0))
    return switches_off(Notes(), (), cast(TeamCar, car), watch, record, start)


def test_that_an_in_lap_was_driven_as_a_timed_lap_shows_by_its_pace() -> None:
    """The car stayed out: only a loop far from the line shows that its switches matter. As nobody moved them since the
    line, the lap began so; an alert of the next lap, or of a switch moved on this one, is none about its beginning."""
    assert off(150.0, 195.0, planned="in") == ((WRONG,), ())
    assert off(150.0, 195.0, 130.0, planned="in") == ((), ())
    assert off(190.5, 230.0, planned="in") == ((), ())
    assert off(150.0, 195.0) == ((), ())


def test_unverified_is_kept_apart_and_only_timed_laps_count() -> None:
    """What nothing shows is not told as wrong; on other laps a switch may stand as it likes."""
    assert off(90.0, 190.0, kind="switch_unverified") == ((), (UNSURE,))
    assert off(90.0, 190.0, lap="cool") == ((), ())


def test_each_switch_of_one_alert_has_its_own_time() -> None:
    """Two are told in one alert, one is put right soon: of each is known from when to when it was told, and the row of
    the alert names both."""
    notes, deploy = Notes(), "deploy stands at harvest, this timed lap needs attack"
    both, one = told(101.0, {"torque": WRONG, "deploy": deploy}), told(120.0, {"torque": WRONG}, since_s=101.0)
    for number, alert in enumerate((both, one, one.model_copy(update={"t": 190.0, "active": False}))):
        notes.take(Stamped(seq=number, event=TimeReached(id=f"t{number}", t=alert.t), received_t=alert.t), [alert])
    (noted,) = notes.alerts
    assert {name: (of.from_s, of.over_s, of.words) for name, of in noted.switches.items()} \
        == {"torque": (101.0, 190.0, WRONG), "deploy": (101.0, 120.0, deploy)}
    (row,) = alert_rows(notes)
    assert (row.text, row.from_s, row.to_s) == (f"{WRONG}; {deploy}", 101.0, 190.0)


def test_that_an_alert_came_and_went_is_on_its_row() -> None:
    """Of one switch as of several, of which one is put right before the others."""
    deploy = "deploy stands at harvest, this timed lap needs attack"
    for also, row_text in (({}, WRONG), ({"deploy": deploy}, f"{WRONG}; {deploy}")):
        notes, goes = Notes(), f"{WRONG} (comes and goes)"
        first, later = told(101.0, {"torque": WRONG, **also}), told(120.0, {"torque": WRONG}, since_s=101.0, text=goes)
        for alert in (first, later, later.model_copy(update={"t": 190.0, "active": False})):
            notes.take(FACT, [alert])
        (row,) = alert_rows(notes)
        assert row.text == f"{row_text} (comes and goes)"


def marked() -> CarDebrief:
    """A car whose best lap had a switch out of place, one lap more the same, one that nothing showed."""
    car = car_row()
    changes = {4: {"switches_wrong": (WRONG,)}, 6: {"switches_wrong": (WRONG,)}, 11: {"switches_unverified": (UNSURE,)}}
    laps = tuple(lap.model_copy(update=changes.get(lap.number, {})) for lap in car.laps)
    return car.model_copy(update={"laps": laps})


def test_the_first_page_names_the_laps() -> None:
    """Which laps, of how many, and what stood where; wrong and unverified in two sentences; none, and none is said."""
    whole, car = full(), marked()
    first = summary_sections(car, whole)[0].blocks
    timed = sum(lap.kind == "timed" for lap in car.laps)
    said = [(one.lead, one.text) for one in first if isinstance(one, Words)]
    assert (f"2 of {timed} timed laps began with a switch out of place:", f"laps 4, 6 ({WRONG}).") in said
    assert (f"1 of {timed} timed laps began with a switch that nothing showed to be in place:",
            f"lap 11 ({UNSURE}).") in said
    assert not any("began with a switch" in one.lead for one in summary_sections(whole.cars[0], whole)[0].blocks
                   if isinstance(one, Words))


def test_a_word_in_the_lap_table_and_beside_the_best_lap() -> None:
    """Neither by colour nor by a mark alone: a word beside the lap, and beside the best one."""
    car = marked()
    laps = {lap.number: lap for lap in car.laps}
    assert [switch_words(laps[one]) for one in (4, 5, 11)] == [["switch wrong"], [], ["switch unverified"]]
    best = laps[4].lap_time_s
    assert best is not None
    assert best_lap(best, car.laps).endswith(" (switch wrong)")
    shown = document_of(full().model_copy(update={"cars": (car,)}))
    table = next(one for one in shown.tables if one.caption.endswith("laps by run"))
    cells = {row[0]: row[7] for group in table.groups for row in group.rows}
    assert (cells["4"], cells["5"][:6]) == ("switch wrong", "traffi")


def test_a_call_that_nobody_said_leaves_its_switch_called_and_unconfirmed() -> None:
    """The flap was asked for and nobody pressed a key: the engine takes it for moved, and the table says on what. With
    the key it was told, and with an answer of the driver confirmed; so also where these come soon after."""

    def evidence(*keys: str, late: bool = False) -> list[tuple[Any, str]]:
        flap = {"do": "flap_lap", "on": {"timed": 2}}
        made = Kept(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [flap]})))
        t = made.green().leave(200).lap(200, 125, from_exit=True)
        call = made.call("1-2-switch-0")
        given_up_s = call.spec.say_by_s + call.spec.spoken_s + made.car.book.unconfirmed_after_s + 1.0
        for key in keys:
            made.wait(max(made.now, given_up_s if late else call.spec.say_from_s + 0.5))
            assert (call.state == "unconfirmed") is (late and key == keys[0])
            made.command(key, call=call.id)
        for seconds in (100, 100):
            t = made.lap(t, seconds)
        made.home(t)
        moves = debrief(made.close().facts, "x").cars[0].switches
        return [(one.position, one.evidence) for one in moves if one.switch == "flap"]

    assert evidence()[:2] == [("closed", "assumed"), ("open", "unconfirmed")]
    assert evidence("said")[:2] == [("closed", "assumed"), ("open", "told")]
    assert evidence("confirm")[:2] == [("closed", "assumed"), ("open", "confirmed")]
    assert evidence("said", late=True)[:2] == [("closed", "assumed"), ("open", "told")]
    assert evidence("said", "confirm", late=True)[:2] == [("closed", "assumed"), ("open", "confirmed")]
    assert evidence("confirm", late=True)[:2] == [("closed", "assumed"), ("open", "confirmed")]
