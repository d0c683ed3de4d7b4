"""Figures of a debrief, reckoned a second time: plainly, from the rows of the journal as text, and from what the
engine put out. None of the debrief's own code, and none of the engine's classes, has a part in the second reckoning."""

from __future__ import annotations

import json
from collections import Counter
from functools import cache
from pathlib import Path
from statistics import median
from typing import Any

import pytest

from pitwall.app.debriefing import debrief, debrief_of
from pitwall.debrief.model import CarDebrief, Debrief
from pitwall.engine.session import Session
from pitwall.journal.replay import read_lines, replay
from pitwall.model.outputs import Alert

GOLDEN = Path(__file__).resolve().parents[1] / "replay" / "golden"
JOURNALS = ("everything", "quiet_run", "questions", "red_flag")
Row = dict[str, Any]
HEARD = ("said", "done")
DOUBTED = ("late", "unconfirmed")


@cache
def made(name: str) -> Debrief:
    """The debrief of a golden journal."""
    return debrief_of(GOLDEN / f"{name}.jsonl")


@cache
def rows(name: str) -> list[Row]:
    """The journal's rows as they are stored."""
    return [json.loads(line) for line in (GOLDEN / f"{name}.jsonl").read_text(encoding="utf-8").splitlines()]


@cache
def told(name: str) -> tuple[list[Row], list[Row]]:
    """What the engine put out on these facts, and what stands at the end; as plain data."""
    session, outputs = replay(read_lines(GOLDEN / f"{name}.jsonl"), Session)
    return [one.model_dump(mode="json") for one in outputs], [one.model_dump(mode="json") for one in session.standing()]


def facts(name: str, kind: str, car: str | None = None) -> list[Row]:
    """The facts of one type, of one car, in the order of the journal."""
    return [row["event"] | {"received_t": row["received_t"]} for row in rows(name)
            if row["event"]["type"] == kind and car in (None, row["event"].get("car"))]


def outputs(name: str, kind: str, car: str | None = None) -> list[Row]:
    """What was put out of one type, for one car."""
    return [one for one in told(name)[0] if one["type"] == kind and car in (None, one.get("car"))]


def pressed(name: str, prompt: Row) -> float:
    """The moment of the key by which this came to be told; that of the prompt where it was no key."""
    keys = [one["t"] for one in facts(name, "command_given") if one["id"] == prompt["because"]
            and one["command"] in ("said", "answered")]
    return float(min([prompt["t"], *keys]))


def cars(name: str) -> list[CarDebrief]:
    """The cars of a debrief."""
    return list(made(name).cars)


def test_the_journals_have_what_is_reckoned_again() -> None:
    """An empty debrief would agree with everything: of each kind of row there is at least one to check."""
    every = [car for name in JOURNALS for car in cars(name)]
    for kind in ("runs", "items", "laps", "calls", "data_windows", "switches", "changes", "comments", "questions"):
        assert any(getattr(car, kind) for car in every), kind
    assert any(one.evidence == "measured" for car in every for one in car.switches)
    assert any(made(name).alert_rows for name in JOURNALS)
    assert {one.about for car in every for one in car.changes} == {"plan", "correction"}
    assert any(lap.kind == "cool" for car in every for lap in car.laps)
    for figure in ("in_time", "in_window", "beside_window", "shown", "settled", "unconfirmed", "withdrawn", "open"):
        assert any(getattr(car.radio, figure) for car in every), figure
    for name in JOURNALS:
        assert cars(name)
        assert all(car.runs and car.laps and car.calls and car.radio.load for car in cars(name)), name


@pytest.mark.parametrize("name", JOURNALS)
def test_session(name: str) -> None:
    """Counts and spans of the summary are those of the rows."""
    session, received = made(name).session, [row["received_t"] for row in rows(name)]
    setup = rows(name)[0]["event"]["setup"]
    assert session.facts == len(received)
    assert (session.began_s, session.ended_s) == (round(received[0], 3), round(max(received), 3))
    assert session.restarts == len(facts(name, "restarted"))
    gaps = [(round(one["t"], 3), round(one["gap_s"], 3)) for kind in ("restarted", "resumed")
            for one in facts(name, kind) if one["gap_s"] > 0]
    assert sorted(session.gaps_s) == sorted(gaps)
    assert (session.event, session.session) == (setup["event"], setup["session"])
    assert [one.car for one in made(name).cars] == sorted(setup["plans"])
    states = [one["status"] for one in outputs(name, "clock_state")]
    assert {span.status for span in session.statuses} >= set(states)
    for span, after in zip(session.statuses, session.statuses[1:], strict=False):
        assert span.to_s == after.from_s


@pytest.mark.parametrize("name", ["questions", "quiet_run", "red_flag"])
def test_laps(name: str) -> None:
    """Laps are what lies between pit exit, lines and pit entry; lap times and sectors are differences of crossings."""
    for car in cars(name):
        seen = sorted((round(one["t"], 3), one.get("loop") or one["where"]) for kind in ("car_crossed", "car_pitted")
                      for one in facts(name, kind, car.car))
        begun, own, passed = None, [], {}
        for t, what in seen:
            if what == "exit":
                begun, passed = t, {}
            elif begun is not None and what in ("line", "entry"):
                own.append((begun, t, passed))
                begun, passed = (t, {}) if what == "line" else (None, {})
            elif begun is not None:
                passed[what] = t
        assert [(lap.start_s, lap.end_s) for lap in car.laps] == [(begin, end) for begin, end, _ in own]
        for at, lap in enumerate(car.laps):
            whole = lap.kind in ("timed", "cool")
            assert lap.lap_time_s == (pytest.approx(lap.end_s - lap.start_s, abs=2e-3) if whole else None)
            loops = {one.loop: one.t for one in lap.sectors if one.loop != "line" and one.t is not None}
            assert loops == own[at][2]
            if whole:
                parts = [one.seconds or 0.0 for one in lap.sectors]
                assert sum(parts) == pytest.approx(lap.end_s - lap.start_s, abs=5e-3)
        times = [lap.lap_time_s for lap in car.laps if lap.lap_time_s is not None]
        assert car.best_lap_s == (min(times) if times else None)


@pytest.mark.parametrize("name", JOURNALS)
def test_runs_and_items(name: str) -> None:
    """Runs and items end as the engine's last word on the plan has them; counts and medians follow from the rows."""
    for car in cars(name):
        plan = next(one for one in told(name)[1] if one["type"] == "plan_state" and one["car"] == car.car)
        assert [(run.run, run.state, run.timed_done, run.timed_wanted, run.planned_span_s) for run in car.runs] == [
            (run["run"], run["state"], run["timed_done"], run["timed_wanted"],
             tuple(run["planned_span_s"]) if run["planned_span_s"] else None)
            for run in plan["runs"]
        ]
        states = {item["item"]: item["state"] for run in plan["runs"] for item in run["items"]}
        assert [item.item for item in car.items] == list(states)
        for item in car.items:
            fits = {"done": ("done", "done_badly"), "probably_done": ("probably_done", "done_badly"),
                    "not_done": ("not_done",), "dropped": ("not_done",), "planned": ("to_come", "not_done"),
                    "called": ("to_come", "probably_done")}
            assert item.outcome in fits[states[item.item]]
        for run in car.runs:
            own = [lap for lap in car.laps if lap.run == run.run]
            clean = [lap.lap_time_s for lap in own
                     if lap.kind == "timed" and lap.clean == "clean" and not lap.switches_wrong]
            assert run.clean_laps == len(clean)
            assert run.median_clean_s == (round(median(clean), 3) if clean else None)
            assert run.best_lap_s == min((lap.lap_time_s for lap in own if lap.lap_time_s), default=None)
            items = [item for item in car.items if item.run == run.run]
            assert run.items == len(items)
            assert run.items_done == sum(item.outcome in ("done", "probably_done") for item in items)


@pytest.mark.parametrize("name", JOURNALS)
def test_calls(name: str) -> None:
    """Calls are counted as the prompts say; the load is what lies in each minute, second by second."""
    for car in cars(name):
        history: dict[str, list[Row]] = {}
        for prompt in outputs(name, "prompt", car.car):
            history.setdefault(prompt["call"], []).append(prompt)
        ends = {call: told[-1] for call, told in history.items()}
        doubted = {call for call, told in history.items() if any(one["state"] in DOUBTED for one in told)}
        heard = {call for call, end in ends.items() if end["state"] in HEARD}
        count, radio = Counter(end["state"] for end in ends.values()), car.radio
        assert radio.calls == len(history) == len(car.calls)
        assert (radio.in_time, radio.settled) == (len(heard - doubted), len(heard & doubted))
        counted = Counter(one.counted_as for one in car.calls)
        assert radio.in_time == counted["in_window"] + counted["beside_window"] + counted["shown"]
        for row in car.calls:
            if row.counted_as in ("in_window", "beside_window"):
                assert row.begun_s is not None
                near = row.say_from_s - 1.0 <= row.begun_s <= row.say_by_s + 1.0
                assert (row.counted_as == "in_window") == near, row
        for state in ("unconfirmed", "late", "missed", "skipped", "withdrawn"):
            assert getattr(radio, state) == count[state]
        assert radio.open == count["planned"] + count["shown"] + count["due"]
        assert radio.by_kind == Counter(end["kind"] for end in ends.values())
        first = {call: next((pressed(name, one) for one in told if one["state"] in (*HEARD, *DOUBTED)), None)
                 for call, told in history.items()}
        spoken = [(first[call] - ends[call]["spoken_s"], first[call]) for call in heard]
        assert radio.spoken_s == pytest.approx(sum(end - begin for begin, end in spoken), abs=0.06)
        seconds = [t for lap in car.laps for t in (*range(int(lap.start_s), int(lap.end_s)), lap.end_s)]
        out = {int(t // 60) for t in seconds}
        assert [one.from_s for one in radio.load] == [60.0 * minute for minute in sorted(out)]
        for one in radio.load:
            within = sum(max(0.0, min(end, one.from_s + 60) - max(begin, one.from_s)) for begin, end in spoken)
            assert one.spoken_s == pytest.approx(within, abs=0.01)
        assert radio.most_load_s == max((one.spoken_s for one in radio.load), default=0)
        keys = [one for one in facts(name, "command_given", car.car) if one["command"] == "said"]
        assert {one["call"] for one in keys if one.get("call")} <= set(history)
        for row in car.calls:
            last_said = [pressed(name, one) for one in history[row.call] if one["state"] == "said"]
            assert row.said_s == (round(last_said[-1], 3) if last_said else None)


@pytest.mark.parametrize("name", JOURNALS)
def test_alerts(name: str) -> None:
    """Alerts are counted as they were raised, in ten minutes each, and in any ten minutes by trying all of them."""
    raised, standing = [], {}
    for alert in outputs(name, "alert"):
        if alert["active"] and alert["id"] not in standing:
            raised.append(alert)
            standing[alert["id"]] = alert
        elif not alert["active"]:
            standing.pop(alert["id"], None)
    found, session = made(name).alerts, made(name).session
    assert found.raised == len(raised) == len(made(name).alert_rows)
    assert found.by_kind == Counter(one["kind"] for one in raised)
    assert found.by_priority == Counter(one["priority"] for one in raised)
    assert found.held_back == len(outputs(name, "held_back"))
    assert sum(row.to_s is None for row in made(name).alert_rows) == len(standing)
    times = [one["t"] for one in raised]
    assert sum(one.raised for one in found.rates) == len(times)
    for one in found.rates:
        assert one.raised == sum(one.from_s <= t < one.from_s + 600 for t in times)
    assert found.most_in_ten == max((sum(t <= other < t + 600 for other in times) for t in times), default=0)
    length = session.ended_s - session.began_s
    assert found.mean_rate == pytest.approx(len(times) * 600 / length, abs=1e-3)


def test_alerts_that_stand_as_the_journal_ends() -> None:
    """Of a journal that was cut in the middle: what was raised and not cleared until then has no end."""
    whole = read_lines(GOLDEN / "questions.jsonl")
    part = [one for one in whole if one.received_t <= 430]
    _, told_then = replay(part, Session)
    up = {one.id: one.active for one in told_then if isinstance(one, Alert)}
    found = debrief(part, "journal").alert_rows
    assert any(up.values())
    assert {row.alert for row in found if row.to_s is None} == {name for name, active in up.items() if active}


@pytest.mark.parametrize("name", JOURNALS)
def test_what_hands_did(name: str) -> None:
    """Comments, questions, changes of the plan and measured switches are those of the journal's rows."""
    for car in cars(name):
        commands = facts(name, "command_given", car.car)
        taken = {one["because"] for one in outputs(name, "answered", car.car)}
        said = [one.get("text") or (one.get("shorthand") or "").partition(":")[2].strip() for one in commands
                if one["command"] == "comment" and one["id"] in taken]
        assert {one.text for one in car.comments} <= {*said, ""}
        assert bool(car.comments) == bool(said)
        changes = [one for one in car.changes if one.about == "plan"]
        assert {one.by for one in changes} <= {one["by"] for one in commands}
        corrected = [one.what for one in car.changes if one.about == "correction"]
        hands = {one["id"] for one in commands if one["command"] in ("undo", "quiet", "keep_in", "let_go")}
        told = [one["text"] for one in outputs(name, "corrected", car.car)]
        told += [one["effect"] for one in outputs(name, "answered", car.car) if one["because"] in hands]
        assert sorted(corrected) == sorted(told)
        reported = [(one["switch"], one["position"]) for one in facts(name, "switch_reported", car.car)]
        moved = [(one.switch, one.position) for one in car.switches if one.evidence == "measured"]
        assert [one for one in moved if one not in reported] == []
        last = dict(reported)
        for switch in last:
            assert next(one.position for one in reversed(car.switches) if one.switch == switch) == last[switch]


@pytest.mark.parametrize("name", JOURNALS)
def test_data_windows(name: str) -> None:
    """A window of a whole lap has the lap's ends; its length over its time is its speed; all lie in their intervals."""
    for car in cars(name):
        laps = {lap.number: lap for lap in car.laps}
        for window in car.data_windows:
            lap = laps[window.lap_number]
            if window.what == "lap":
                assert window.from_time == lap.start_time
            for one in (window.from_s, window.to_s, window.from_m, window.to_m, window.speed_mps):
                assert one is None or one.low <= one.value <= one.high
            if window.what == "lap":
                assert (window.from_s.value, window.to_s.value) == (lap.start_s, lap.end_s)
            if window.what == "lap" and window.speed_mps and window.from_m and window.to_m:
                mean = (window.to_m.value - window.from_m.value) / (lap.end_s - lap.start_s)
                assert window.speed_mps.value == pytest.approx(mean, abs=0.01)
