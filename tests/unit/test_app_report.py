"""The report of a rehearsal: every call is counted once, and nothing of the machine is in it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from pitwall.app.report import MachinePace, Recorder, as_json, as_text, make_report
from pitwall.model.outputs import (
    Alert,
    CarOutlook,
    ForecastState,
    ItemProgress,
    PlanState,
    RunProgress,
)
from pitwall.rehearsal.truth import CarTruth, DrivenLap, FeedCounts, WorldOutcome, WrongSwitch
from pitwall.testing import CAR, prompt


def _lap(kind: str, number: int, wrong: tuple[WrongSwitch, ...] = ()) -> DrivenLap:
    return DrivenLap.model_validate(
        {"car": CAR, "number": number, "kind": kind, "meant": kind, "start_s": 0.0, "end_s": 90.0, "time_s": 90.0,
         "wrong": wrong}
    )


def _outcome(*laps: DrivenLap) -> WorldOutcome:
    truth = CarTruth(car=CAR, laps=laps, calls=(), never_spoken=(), boxes=(), procedures=(), releases=(), switches=(),
                     keys_pressed=0, refusals=(), driver_spoke_s=0.0, engineer_spoke_s=0.0)
    return WorldOutcome(scenario="test day", seed=4, ended_s=3700.0, flag_s=3600.0, finished=True, reference_lap_s=88.0,
                        cars={CAR: truth}, field=(), flags=(),
                        feed=FeedCounts(sent=1, lost=0, doubled=0, held_back=0))


def _history(recorder: Recorder, call: str, *states: str, reason: str | None = None) -> None:
    for revision, state in enumerate(states, start=1):
        last = revision == len(states)
        recorder.take([prompt(call, revision=revision, state=state, reason=reason if last else None)])


def _report(recorder: Recorder, *laps: DrivenLap) -> dict[str, Any]:
    return make_report(recorder, _outcome(*laps), event="test event", plans={CAR: "plan.yaml"}, session_s=3600.0,
                       digest="abc")


def test_every_call_is_counted_once() -> None:
    """Each call counts by how it ended; one that was in doubt before it was done is settled, not in its window."""
    recorder = Recorder()
    _history(recorder, "a", "shown", "due", "said", "done")
    _history(recorder, "b", "shown", "due", "unconfirmed", "done")
    _history(recorder, "c", "due", "unconfirmed", reason="no word")
    _history(recorder, "d", "due", "late", reason="gap")
    _history(recorder, "e", "planned", "missed", reason="gap")
    _history(recorder, "f", "shown", "withdrawn", reason="red flag")
    _history(recorder, "g", "shown", "skipped")
    _history(recorder, "h", "shown")
    calls = _report(recorder)["calls"]
    ends = dict.fromkeys(
        ("in_time", "settled", "unconfirmed", "late", "missed", "withdrawn", "skipped", "open"), 1
    )
    assert {name: calls[name] for name in ends} == ends
    assert calls["planned"] == sum(ends.values())
    assert calls["reasons"]["missed"] == {"gap": 1}
    assert calls["reasons"]["withdrawn"] == {"red flag": 1}
    assert calls["by_kind"] == {"box": 8}


def test_text_says_what_became_of_calls_that_were_late() -> None:
    """A call shown as late that was done after all is not in the count of late ones: the text says where it went."""
    recorder = Recorder()
    _history(recorder, "a", "due", "late", "done")
    _history(recorder, "b", "due", "late", reason="gap")
    text = as_text(_report(recorder))
    assert "1 late or unconfirmed at first, settled by what happened" in text
    assert "0 unconfirmed, 1 late and 0 missed to the end" in text


def test_older_revisions_change_nothing() -> None:
    """A revision that comes again, as after a restart, is not counted and does not undo a later one."""
    recorder = Recorder()
    _history(recorder, "a", "shown", "due", "said", "done")
    recorder.restate([prompt("a", revision=2, state="due")])
    assert _report(recorder)["calls"]["in_time"] == 1


def test_laps_come_from_the_truth() -> None:
    """Timed laps and those with a switch that they must not have are the world's own."""
    wrong = (WrongSwitch(switch="torque_map", position=3, allowed=(1,)),)
    report = _report(Recorder(), _lap("out", 1), _lap("timed", 2), _lap("timed", 3, wrong), _lap("in", 4, wrong))
    laps = report["laps"]
    assert (laps["timed"], laps["forbidden_switch"], laps["all"]) == (2, 1, 4)
    assert laps["switches"] == {"torque_map": 1}
    assert ("2 timed, 1 with a switch that it must not have (as the world had them;\n"
            "              the debrief counts what was known of them)") in as_text(report)


def test_procedures_come_from_the_last_plan_state() -> None:
    """Items done and probably done count as done; the others keep their reasons."""
    states = ("done", "probably_done", "not_done", "dropped")
    items = tuple(
        ItemProgress.model_validate({"item": f"i{n}", "do": "radio_check", "lap": "out", "want": "must", "state": state,
                                     "reason": "no time" if state == "dropped" else None})
        for n, state in enumerate(states)
    )
    run = RunProgress(run="first", want="must", state="done", laps=("out", "in"), timed_wanted=0, items=items)
    recorder = Recorder()
    recorder.take([PlanState(id="p1", t=1.0, car=CAR, revision=1, runs=())])
    recorder.take([PlanState(id="p2", t=2.0, car=CAR, revision=2, runs=(run,))])
    procedures = _report(recorder)["procedures"]
    assert "procedures  2 of 4 done, 1 of them only probably (as the calls went;\n" in as_text(_report(recorder))
    assert (procedures["planned"], procedures["done"]) == (4, 2)
    assert procedures["reasons"] == {"no reason given": 1, "no time": 1}


def test_every_run_is_named() -> None:
    """What was run and what was not, with how far it came and why it ended."""
    rows = (("first", "done", 3, None), ("second", "cut", 1, "the red flag"), ("third", "dropped", 0, "no time left"),
            ("fourth", "planned", 0, None), ("fifth", "done", 3, None))
    runs = tuple(RunProgress.model_validate({
        "run": name, "want": "must", "state": state, "laps": ("out", "timed", "timed", "timed", "in"),
        "timed_wanted": 3, "timed_done": done, "reason": reason}) for name, state, done, reason in rows)  # fmt: skip
    recorder = Recorder()
    recorder.take([PlanState(id="p1", t=1.0, car=CAR, revision=1, runs=runs)])
    report = _report(recorder)
    assert [(one["run"], one["state"], one["timed_done"]) for one in report["runs"][CAR]] == [one[:3] for one in rows]
    lines = as_text(report).splitlines()
    at = lines.index(f"  runs        car {CAR}: 2 of 5 done: first, fifth")
    assert [line.strip() for line in lines[at + 1 : at + 4]] == [
        "second (must): cut, 1 of 3 timed: the red flag", "third (must): not run: no time left",
        "fourth (must): not run"]


def test_a_run_that_ended_without_the_laps_that_count_is_cut_and_not_done() -> None:
    """It is over, but nobody reads it as done; one that counts with fewer laps than wanted, or went on for longer, is
    done, and says so."""
    rows = (("low", 0, False, "the session ended"), ("half", 1, True, "ended early, still counts"),
            ("full", 2, True, None), ("long", 4, True, None))
    runs = tuple(RunProgress.model_validate({
        "run": name, "want": "must", "state": "done", "laps": ("out", "timed", "timed", "in"), "timed_wanted": 2,
        "timed_done": done, "counts": counts, "reason": reason}) for name, done, counts, reason in rows)  # fmt: skip
    recorder = Recorder()
    recorder.take([PlanState(id="p1", t=1.0, car=CAR, revision=1, runs=runs)])
    report = _report(recorder)
    assert [one["state"] for one in report["runs"][CAR]] == ["cut", "done", "done", "done"]
    lines = as_text(report).splitlines()
    at = lines.index(f"  runs        car {CAR}: 3 of 4 done: half (1 of 2 timed), full, long (4 timed, 2 planned)")
    assert lines[at + 1].strip() == "low (must): cut, 0 of 2 timed: the session ended"


def test_a_run_whose_must_items_were_not_done_says_so() -> None:
    """Its laps were driven; who reads that it is done must not think that it brought what it had to."""
    items = tuple({"item": f"i{at}", "do": "hold", "lap": "out-lap", "want": want, "state": state} for at, (want, state)
                  in enumerate((("must", "not_done"), ("must", "dropped"), ("must", "done"), ("should", "not_done"))))
    rows = (("whole", 3, items[2:]), ("part", 3, items), ("more", 4, items[1:]))
    runs = tuple(RunProgress.model_validate({
        "run": name, "want": "must", "state": "done", "laps": ("out", "timed", "timed", "timed", "in"),
        "timed_wanted": 3, "timed_done": done, "items": own}) for name, done, own in rows)  # fmt: skip
    recorder = Recorder()
    recorder.take([PlanState(id="p1", t=1.0, car=CAR, revision=1, runs=runs)])
    report = _report(recorder)
    assert [one["musts_left"] for one in report["runs"][CAR]] == [0, 2, 1]
    assert (f"  runs        car {CAR}: 3 of 3 done: whole, part (2 must items not done), "
            "more (4 timed, 3 planned; 1 must item not done)") in as_text(report).splitlines()


def test_alert_counts_each_time_it_is_raised() -> None:
    """An alert that is told again while it lasts counts once, one that comes back counts again."""

    def alert(active: bool, acknowledged: bool = False) -> Alert:
        return Alert(id="overrun:41", t=1.0, car=CAR, kind="overrun", priority="high", active=active,
                     acknowledged=acknowledged, text="no", help="drop", since_s=1.0)

    recorder = Recorder()
    recorder.take([alert(True), alert(True, acknowledged=True), alert(False), alert(True)])
    assert _report(recorder)["alerts"] == {"overrun": 2}


def test_forecast_lists_the_chance_of_each_car_by_time() -> None:
    """One entry a moment, with every car of that moment; the text shows first and last. A must that is lost has no
    chance, whatever those have that are still to come."""
    recorder = Recorder()
    for t, car, chance, lost in ((2.0, "58", 0.9, ()), (1.0, CAR, 0.4, ()), (2.0, CAR, 0.8, ()),
                                 (3.0, "58", 1.0, ("low",))):
        outlook = CarOutlook(car=car, musts_chance=chance, runs=(), spare_q50_s=0.0)
        recorder.take([ForecastState(id=f"{t}{car}", t=t, car=car, plan_revision=1, outlook=outlook, musts_lost=lost)])
    report = _report(recorder)
    assert report["forecast"] == [
        {"t": 1.0, "musts_chance": {CAR: 0.4}},
        {"t": 2.0, "musts_chance": {CAR: 0.8, "58": 0.9}},
        {"t": 3.0, "musts_chance": {"58": 0.0}},
    ]
    assert "car 58: chance that every must-run fits: 90% at the start, 0% at the end" in as_text(report)
    assert "car 41: chance that every must-run fits: 40% at the start, 80% at the end" in as_text(report)


def test_report_is_the_same_text_every_time() -> None:
    """As JSON it is sorted, and it reads back to itself."""
    recorder = Recorder()
    _history(recorder, "a", "due", "missed", reason="too late")
    report = _report(recorder)
    assert as_json(report) == as_json(json.loads(as_json(report)))
    text = as_text(report)
    assert text.startswith("test day, seed 4: 1:00:00 session")
    assert "1 x missed: too late" in text
    assert "event       test event" in text
    assert f"plans       car {CAR} plan.yaml" in text
    assert (report["event"], report["plans"]) == ("test event", {CAR: "plan.yaml"})
    assert "alerts      none" in text


@pytest.mark.parametrize(("late_s", "said"), [
    (9.0, "machine     fell behind at 30 times life: one prompt in twenty was 9 s of the session late or more"),
    (0.3, "machine     kept up at 30 times life: one prompt in twenty was 0.3 s of the session late or more"),
])
def test_the_end_says_whether_the_machine_kept_up(late_s: float, said: str) -> None:
    """Who reads the figures of a rehearsal on the real clock must know whether they mean anything. At an instant there
    is nothing to say, and the same seed gives the same report."""
    report = make_report(Recorder(), _outcome(), event="test event", plans={}, session_s=3600.0, digest=None,
                         machine=MachinePace(30.0, late_s, 2 * late_s))
    assert said in as_text(report)
    assert report["machine"]["fell_behind"] is (late_s > 2.0)
    assert "machine" not in _report(Recorder())
