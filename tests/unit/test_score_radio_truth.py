"""What had to be said on a day, and from when that could be known: days put together by hand from plain truth."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from pitwall.model.events import CarCrossed, Event, SessionPrepared, Stamped, StatusChanged, SwitchReported
from pitwall.model.outputs import Alert, Ask, Prompt
from pitwall.rehearsal.truth import CarTruth, ChancePassed, DrivenLap, SpokenCall, SwitchMoved, WrongSwitch
from simulations.score_alerts_judge import standing
from simulations.score_radio_alerts import alert_figures, by_switch
from simulations.score_radio_judge import Duty
from simulations.score_radio_truth import BOX_S, REMINDS_S, car_days, planned
from tests.unit.engine_stage import CAR, MAIN, plan, setup

LAPS = "out, 2 timed, in"


def lap(number: int, start: float, end: float, kind: Any = "timed", **more: Any) -> DrivenLap:
    """One lap of the run ``long``; meant to be timed unless it says otherwise."""
    values = {"car": CAR, "number": number, "run": "long", "kind": kind, "meant": "out" if kind == "out" else "timed",
              "start_s": start, "end_s": end, "time_s": end - start}
    return DrivenLap.model_validate(values | more)


def prompt(call: str, kind: str, t: float, **more: Any) -> Prompt:
    """One prompt as it was shown at ``t``."""
    return Prompt.model_validate({
        "id": f"{call}.{t:g}", "t": t, "car": CAR, "call": call, "revision": 0, "kind": kind,
        "text": "Words to be said", "short": "Words", "say_from_s": t, "say_by_s": t + 5, "spoken_s": 2.0,
        "priority": 90, "state": "due", **more,
    })  # fmt: skip


def said(call: str, start: float) -> SpokenCall:
    """The call on the channel for two seconds."""
    return SpokenCall(car=CAR, call=call, prompt=f"{call}.0", kind="session", action="none", text="Words",
                      start_s=start, end_s=start + 2.0, say_from_s=start, say_by_s=start, in_window=True,
                      car_was="timed", lap=1, phase=0.1)


def evidence_of(*laps: DrivenLap, prompts: tuple[Prompt, ...] = (), events: tuple[Event, ...] = (),
                calls: tuple[SpokenCall, ...] = (), switches: tuple[SwitchMoved, ...] = (),
                chances: tuple[ChancePassed, ...] = (), run: str = LAPS) -> Any:
    """A day of these laps on which every fact was received when it happened, and no alert was ever raised."""
    prepared = SessionPrepared(id="prepared", t=0.0, setup=setup(plan(MAIN | {"run": "long", "laps": run})))
    lines = [CarCrossed(id=f"line-{one.number}", t=one.start_s, car=CAR, loop="line") for one in laps]
    stamped = [Stamped(seq=number, received_t=event.t, event=event)
               for number, event in enumerate((prepared, *lines, *events))]
    truth = CarTruth(car=CAR, laps=laps, calls=calls, never_spoken=(), boxes=(), procedures=(), releases=(),
                     switches=switches, chances=chances, listening=((0.0, 2000.0),), keys_pressed=0, refusals=(),
                     driver_spoke_s=0.0, engineer_spoke_s=0.0)
    recorded: dict[str, list[Prompt]] = {}
    for one in prompts:
        recorded.setdefault(one.call, []).append(one)
    return SimpleNamespace(events=stamped, outcome=SimpleNamespace(cars={CAR: truth}),
                           recorder=SimpleNamespace(calls=recorded, alert_changes=()))


def duties(*laps: DrivenLap, **day: Any) -> dict[str, Duty]:
    """What had to be said on such a day, by key."""
    return {duty.key: duty for duty in car_days(evidence_of(*laps, **day))[CAR].duties}


def test_the_second_box_call_reminds_no_earlier_at_its_second_attempt() -> None:
    """A call that is made anew has a number behind its name, and is of use from the same moment."""
    for call in (f"{CAR}-long-box-1-0-again", f"{CAR}-long-box-1-0-again~2"):
        found = duties(lap(1, 100, 190), prompts=(prompt(call, "box", 160.0, act_at_s=180.0),),
                       chances=(ChancePassed(lap=1, t=180.0),))
        (duty,) = found.values()
        assert duty.useful_s == pytest.approx(180.0 - BOX_S - REMINDS_S)


def test_a_timed_lap_that_a_slow_period_spoilt_is_driven_again() -> None:
    """A lap after it is no lap beyond the plan, so nobody need have called the car in; after two clean ones it is."""
    for flags, owed in (((), True), (("slow",), False), (("red",), False), (("yellow",), True)):
        laps = (lap(1, 0, 100, "out"), lap(2, 100, 190), lap(3, 190, 280, flags=flags), lap(4, 280, 370))
        found = duties(*laps, chances=(ChancePassed(lap=4, t=360.0),))
        assert ("box 4 none" in found) == owed, flags


def test_a_switch_that_was_knocked_is_known_from_its_telemetry_on() -> None:
    """Four seconds before the line nobody could have said it in the lap before; a switch left over from before is known
    from the plan."""
    position = Ask(action="set_switch", switch="torque_map", position=1)
    for why, known in (("knocked", 186.0), ("left_wrong", 100.0)):
        moved = SwitchMoved(car=CAR, t=186.0, switch="torque_map", position=2, why=why)  # type: ignore[arg-type]
        wrong = WrongSwitch(switch="torque_map", position=2, allowed=(1,))
        found = duties(lap(1, 0, 100, "out"), lap(2, 100, 190), lap(3, 190, 280, wrong=(wrong,)), switches=(moved,),
                       events=(SwitchReported(id="s", t=186.0, car=CAR, switch="torque_map", position=2),),
                       prompts=(prompt(f"{CAR}-back", "switch", 186.2, place="line", act_at_s=190.0, ask=position),))
        assert found[f"put-back 3 {CAR}-back"].known_s == known


def test_the_news_of_the_flag_is_told_by_either_of_its_calls() -> None:
    """Over the line before it was told, the driver hears of the flag by the call for the lap that it is on then."""
    status = StatusChanged(id="flag", t=200.0, status="finished")
    first, second = f"{CAR}-session-1-flag_out", f"{CAR}-session-2-finished"
    shown = (prompt(first, "session", 200.0), prompt(second, "session", 204.0))
    found = duties(lap(1, 100, 204), lap(2, 204, 330), events=(status,), prompts=shown,
                   calls=(said(second, 206.0),))
    (duty,) = (one for one in found.values() if one.kind == "session")
    assert duty.calls == (first, second)
    late = duties(lap(1, 100, 204), lap(2, 204, 330), events=(status,),
                  prompts=(shown[0], shown[1].model_copy(update={"t": 230.0})))
    assert next(iter(late.values())).calls == (first,)


def test_what_the_driver_never_heard_of_need_not_be_cleared() -> None:
    """The yellow that could have been told is a duty all the same."""
    flags = (StatusChanged(id="y", t=200.0, status="yellow", scope=("5",)),
             StatusChanged(id="g", t=210.0, status="green", scope=("5",)))
    shown = prompt(f"{CAR}-session-1-yellow", "session", 200.0)
    for calls, owed in (((), 1), ((said(f"{CAR}-session-1-yellow", 203.0),), 2)):
        found = duties(lap(1, 100, 300), events=flags, prompts=(shown,), calls=calls)
        assert len([one for one in found.values() if one.kind == "session"]) == owed
    clear_for_all = duties(lap(1, 100, 300), events=(flags[0], flags[1].model_copy(update={"scope": "all"})),
                           prompts=(shown,))
    assert len(clear_for_all) == 2


def test_a_switch_that_is_knocked_on_a_lap_that_was_not_to_be_a_timed_one_is_no_miss() -> None:
    """The plan has a cool-down lap there, and the driver, who had not heard so at the line, goes on: nothing on it
    needs the switch in place. On a lap that is planned as a timed one somebody must be told."""
    moved = (SwitchMoved(car=CAR, t=0.0, switch="torque_map", position=1, why="start"),
             SwitchMoved(car=CAR, t=220.0, switch="torque_map", position=4, why="knocked"))
    told = (SwitchReported(id="s", t=220.0, car=CAR, switch="torque_map", position=4),)
    laps = (lap(1, 0, 100, "out"), lap(2, 100, 190, timed_number=1),
            lap(3, 190, 280, timed_number=2, switches={"torque_map": 1}))
    for run, knocked in (("out, 2 timed, in", 1), ("out, 1 timed, cool, 1 timed, in", 0)):
        figures = alert_figures(evidence_of(*laps, switches=moved, events=told, run=run))
        assert (figures.knocked, figures.knocks_told) == (knocked, 0)


def test_a_switch_that_is_knocked_into_its_place_is_no_miss() -> None:
    """It began the lap where it must not stand, which is told of by itself, and was knocked to where the plan has it:
    an alert then would be counted as a false one. Knocked to another wrong place it must be told."""
    laps = (lap(1, 0, 100, "out"), lap(2, 100, 190, timed_number=1, switches={"torque_map": 4}))
    for position, knocked in ((2, 0), (3, 1)):
        moved = (SwitchMoved(car=CAR, t=0.0, switch="torque_map", position=4, why="start"),
                 SwitchMoved(car=CAR, t=120.0, switch="torque_map", position=position, why="knocked"))
        told = (SwitchReported(id="s", t=120.0, car=CAR, switch="torque_map", position=position),)
        figures = alert_figures(evidence_of(*laps, switches=moved, events=told))
        assert (figures.knocked, figures.knocks_told) == (knocked, 0)


def test_a_switch_that_is_knocked_out_of_place_on_a_timed_lap_is_a_miss_whatever_the_driver_meant_it_to_be() -> None:
    """He had meant to come in, and drove the timed lap that is planned there. That no timed lap follows, or that the
    switch is back in place as the next one begins, does not put it right on this one."""
    laps = (lap(1, 0, 100, "out"), lap(2, 100, 190, timed_number=1),
            lap(3, 190, 280, timed_number=2, meant="in", switches={"torque_map": 2}))
    moved = tuple(SwitchMoved(car=CAR, t=t, switch="torque_map", position=position, why=why)  # type: ignore[arg-type]
                  for t, position, why in ((0.0, 2, "start"), (220.0, 4, "knocked"), (279.0, 2, "asked")))
    told = (SwitchReported(id="s", t=220.0, car=CAR, switch="torque_map", position=4),)
    for after in ((), (lap(4, 280, 370, timed_number=3),)):
        figures = alert_figures(evidence_of(*laps, *after, switches=moved, events=told, run="out, 3 timed, in"))
        assert (figures.knocked, figures.knocks_told) == (1, 0)


def test_of_an_alert_about_several_switches_each_is_told_while_it_is_listed() -> None:
    """From the moment at which it is listed to the one at which it is no longer; nothing is told of one that is not."""
    def told(t: float, *switches: str, active: bool = True) -> Alert:
        return Alert.model_validate({
            "id": "switch-wrong-41-flap", "t": t, "car": CAR, "kind": "switch_wrong", "priority": "high", "text": "off",
            "active": active, "help": "", "since_s": 10.0, "switches": dict.fromkeys(switches, "off")})

    found = by_switch([told(10, "flap", "push"), told(15, "flap"), told(20, "flap", "push"),
                       told(30, "flap", "push", active=False)])
    assert standing(found) == {"switch-wrong-41-flap": [(10, 30)], "switch-wrong-41-push": [(10, 15), (20, 30)]}
    assert {one.since_s for one in found if one.id == "switch-wrong-41-push" and one.active} == {10, 20}


def test_which_timed_laps_were_planned_as_such() -> None:
    """A timed lap that a flag spoilt or that was far too slow is driven again, and so planned; one on which the driver
    should have cooled the car is not, nor is any after it."""
    out, cool = lap(1, 0, 100, "out"), {"kind": "cool", "meant": "cool"}
    runs: list[tuple[tuple[DrivenLap, ...], list[bool]]] = [
        ((lap(2, 100, 190), lap(3, 190, 320, **cool), lap(4, 320, 410)), [True, False, True]),
        ((lap(2, 100, 190, flags=("slow",)), lap(3, 190, 280), lap(4, 280, 400, **cool), lap(5, 400, 490)),
         [True, True, False, True]),
        ((lap(2, 100, 230, "cool"), lap(3, 230, 320)), [True, True]),
        ((lap(2, 100, 190), lap(3, 190, 280), lap(4, 280, 370)), [True, False, False]),
    ]
    for laps, expected in runs:
        day = evidence_of(out, *laps, run="out, 1 timed, cool, 1 timed, in")
        assert [planned(day, day.outcome.cars[CAR], one) for one in laps] == expected


def test_which_timed_laps_of_a_resumed_run_were_planned_as_such() -> None:
    """A run that a red flag cut goes on at the lap that was broken off, and after a cool-down lap with the timed one
    behind it. A lap on which the driver should have cooled the car is no timed one of the plan then either."""
    out, red = lap(1, 0, 100, "out"), {"kind": "in", "flags": ("red",)}
    again, cool = lap(5, 500, 600, "out"), {"kind": "cool", "meant": "cool"}
    runs: list[tuple[tuple[DrivenLap, ...], dict[int, bool]]] = [
        ((lap(2, 100, 220, **red), again, lap(6, 600, 690), lap(7, 690, 780)), {2: True, 6: True, 7: False}),
        ((lap(2, 100, 220, **red), again, lap(6, 600, 690), lap(7, 690, 820, **cool), lap(8, 820, 910)),
         {2: True, 6: True, 7: False, 8: True}),
        ((lap(2, 100, 190), lap(3, 190, 320, "in", meant="cool", flags=("red",)), again, lap(6, 600, 690)),
         {2: True, 6: True}),
        ((lap(2, 100, 190), lap(3, 190, 280), lap(4, 280, 400, **red), again, lap(6, 600, 690)),
         {2: True, 3: False, 4: False, 6: False}),
    ]
    for laps, expected in runs:
        day = evidence_of(out, *laps, run="out, 1 timed, cool, 1 timed, in")
        truth = day.outcome.cars[CAR]
        assert {one.number: planned(day, truth, one) for one in laps if one.number in expected} == expected


def test_what_was_said_before_a_switch_was_knocked_was_another_duty() -> None:
    """Told, done, and knocked away again: what is owed from then on is the second call, not the first."""
    position = Ask(action="set_switch", switch="torque_map", position=1)
    wrong = WrongSwitch(switch="torque_map", position=2, allowed=(1,))
    moved = SwitchMoved(car=CAR, t=150.0, switch="torque_map", position=2, why="knocked")
    first, second = f"{CAR}-back", f"{CAR}-back~2"
    shown = tuple(prompt(name, "switch", t, place="line", act_at_s=190.0, ask=position)
                  for name, t in ((first, 120.0), (second, 151.0)))
    found = duties(lap(1, 0, 100, "out"), lap(2, 100, 190), lap(3, 190, 280, wrong=(wrong,)), switches=(moved,),
                   events=(SwitchReported(id="s", t=150.0, car=CAR, switch="torque_map", position=2),), prompts=shown,
                   calls=(said(first, 122.0), said(second, 155.0)))
    assert found[f"put-back 3 {second}"].calls == (second,)


def test_two_pieces_of_news_within_a_second_are_two_duties() -> None:
    """The clear of a sector half a second before the flag is not the call that tells the flag."""
    flags = (StatusChanged(id="y", t=190.0, status="yellow", scope=("5",)),
             StatusChanged(id="g", t=199.5, status="green", scope=("5",)),
             StatusChanged(id="f", t=200.0, status="finished"))
    names = [f"{CAR}-session-{number}" for number in (1, 2, 3)]
    shown = tuple(prompt(f"{name}-{status}", "session", t) for name, status, t in zip(
        names, ("yellow", "green", "finished"), (190.0, 199.5, 200.0), strict=True))
    found = duties(lap(1, 100, 300), events=flags, prompts=shown, calls=(said(f"{names[0]}-yellow", 192.0),))
    told = {duty.key.rpartition(" ")[2]: duty.calls for duty in found.values()}
    assert (told["green"], told["finished"]) == ((f"{names[1]}-green",), (f"{names[2]}-finished",))
