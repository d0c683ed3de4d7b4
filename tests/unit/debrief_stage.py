"""A debrief with a row of every kind, made by hand: what the pages must show whatever the engine says of a session."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from pitwall.comments.changes import findings
from pitwall.debrief import model as debrief
from pitwall.debrief.model import CarDebrief, Debrief, LapRow, SessionSummary, Uncertain
from pitwall.model.comments import Comment, Remark

GREEN = datetime(2031, 5, 16, 8, 30, tzinfo=UTC)
HOSTILE = ('<script>alert(1)</script> & "quoted" </style> $x^2$ %PDF <b>bold</b> \x00\x1b[31m \u202eturned\u202c '
           "=1+1 <para> &amp; 漢字 Ünal Łoś")


def uncertain(value: float, spread: float = 0.4) -> Uncertain:
    """A value with as much on either side."""
    return Uncertain(value=value, low=value - spread, high=value + spread)


def session(**changes: object) -> SessionSummary:
    """An hour that was stopped once."""
    given: dict[str, object] = {
        "event": "Saltmarsh Park spring test", "session": "practice-1", "team": "Gannet", "circuit": "Saltmarsh Park",
        "circuit_length_m": 4900, "scheduled_s": 3600, "began_s": -60, "ended_s": 3700, "green_time": GREEN,
        "time_of_day_from": "journal", "state": "closed", "journal": "practice-1.sqlite", "facts": 1234, "restarts": 1,
        "gaps_s": ((900.0, 12.0),), "failed_facts": 1,
        "statuses": (
            debrief.StatusSpan(status="green", from_s=0, to_s=1100),
            debrief.StatusSpan(status="red", from_s=1100, to_s=1640),
            debrief.StatusSpan(status="yellow", from_s=1640, to_s=3600, sectors=("m4", "m5")),
            debrief.StatusSpan(status="finished", from_s=3600, to_s=3700),
        ),
    }
    return SessionSummary.model_validate(given | changes)


def laps(run: str, first: int, count: int) -> tuple[LapRow, ...]:
    """Out, so many timed, in; one lap a hundred seconds."""
    kinds = ["out", *["timed"] * count, "in"]
    return tuple(
        LapRow(car="41", number=first + at, run=run, lap_of_run=at + 1, kind=kind, start_s=100.0 * (first + at),
               end_s=100.0 * (first + at) + 92.5 + at, start_time=GREEN + timedelta(seconds=100.0 * (first + at)),
               lap_time_s=92.437 + at / 8 if kind == "timed" else None,
               sectors=(debrief.Sector(loop="s1", t=1.0, seconds=30.25), debrief.Sector(loop="s2")), driver="ines",
               tyres="B1", compound="medium", tyre_laps=at, fuel_kg=20 - 1.7 * at, status=("green", "yellow"),
               clean="traffic" if at == 2 else "clean", clean_at="s2" if at == 2 else "", lost_s=0.81,
               car_ahead_s=4.5, expected=debrief.Expected(median_s=92.6, low_s=91.9, high_s=93.8)
               if kind == "timed" else None, inferred=("end",) if kind == "in" else ())
        for at, kind in enumerate(kinds)
    )


def run(name: str, want: str, state: str, **more: object) -> debrief.RunRow:
    """A run of the plan."""
    given: dict[str, object] = {
        "run": name, "want": want, "state": state, "planned_laps": "out, 3 timed, in", "laps": "out, 3 timed, in",
        "timed_wanted": 3, "timed_done": 3 if state == "done" else 0, "driver": "ines", "tyres": "B1", "fuel_kg": 24,
        "items": 2, "items_done": 1, "planned_span_s": (200.0, 800.0),
    }
    return debrief.RunRow.model_validate(given | more)


def item(name: str, run_name: str, outcome: str, text: str) -> debrief.ItemRow:
    """An item on its lap."""
    return debrief.ItemRow.model_validate({
        "item": f"{run_name}-{name}", "do": name, "run": run_name, "lap": "timed lap 2", "want": "must",
        "place": "turn 4", "arguments": {"seconds": 5, "by": -1.5, "open": True}, "outcome": outcome, "reason": text,
        "t": 512.0,
    })


def call(text: str, at: float, state: str = "done", way: str = "short") -> debrief.CallRow:
    """A call of a run."""
    return debrief.CallRow.model_validate({
        "call": f"c{at}", "kind": "switch", "text": text, "run": "holds", "lap": "timed lap 1", "say_from_s": at,
        "say_by_s": at + 6, "spoken_s": 1.6, "said_s": at + 2 if state == "done" else None, "state": state,
        "reason": "telemetry shows the position", "way": way,
    })


def window(run_name: str, text: str) -> debrief.DataWindow:
    """Where the data of a hold are."""
    return debrief.DataWindow(
        item=f"{run_name}-hold", do="constant_speed_hold", run=run_name, lap_number=4, lap="timed lap 2", what="hold",
        place="turn 4", from_s=uncertain(743.4), to_s=uncertain(748.6), from_time=GREEN + timedelta(seconds=743.4),
        to_time=GREEN + timedelta(seconds=748.6), from_m=uncertain(1310, 6), to_m=uncertain(1597, 6),
        speed_mps=uncertain(55.2, 0.3), lap_evidence="crossings", from_evidence="positions", to_evidence="positions",
        place_evidence="positions", speed_evidence="positions", evidence="positions", evidence_text=text,
        outcome="done",
        switches=(debrief.SwitchAt(switch="flap", word="flap", position="open", evidence="measured", since_s=700),
                  debrief.SwitchAt(switch="bb", word="brake bias", position=-1.5, evidence="told", moved=True)),
    )


def said_by_the_driver(text: str) -> tuple[Comment, ...]:
    """Comments with and without words and remarks, the same thing in two runs, and two that cannot both hold."""
    mid_four = Remark(turn=4, phase="mid", what="understeer", severity=3)
    return (
        Comment(comment=1, t=880, by="ann", text=text, run="holds", lap="timed lap 2", driver="ines", tagged_by="tom",
                remarks=(mid_four, Remark(about="grip", what="good"))),
        Comment(comment=2, t=885, by="ann", run="holds", driver="ines",
                remarks=(Remark(turn=9, phase="exit", about="traction", what="wheelspin", severity=4),)),
        Comment(comment=3, t=890, by="ann", text="or is it", run="holds", driver="ines",
                remarks=(Remark(turn=4, phase="mid", what="oversteer"),)),
        Comment(comment=4, t=1890, by="ann", text="better there", run="baseline", driver="ines",
                remarks=(mid_four.model_copy(update={"severity": 1, "trend": "better"}),)),
        Comment(comment=5, t=1899, by="ann"),
    )


def car(text: str = "held back: a car is alongside", name: str = "41") -> CarDebrief:
    """One car with a row of each kind; ``text`` is what people wrote, everywhere where people write."""
    stint, comments = debrief.Stint(from_s=250, to_s=900), said_by_the_driver(text)
    return CarDebrief(
        car=name, drivers=("ines", "maro"), alternate="short", best_lap_s=92.437,
        runs=(run("holds", "must", "done", purpose=text, stints=(stint,), best_lap_s=92.437, clean_laps=3,
                  median_clean_s=92.9),
              run("baseline", "must", "cut", reason=text, timed_done=1,
                  stints=(debrief.Stint(from_s=1000, to_s=1100), debrief.Stint(from_s=1700, to_s=1900))),
              run("compare", "should", "dropped", reason="dropped at the desk", laps="out, 1 timed, in"),
              run("starts", "could", "skipped", planned_span_s=None)),
        items=(item("constant_speed_hold", "holds", "done", text), item("flap_compare", "holds", "probably_done", ""),
               item("switch_compare", "baseline", "not_done", text), item("coast_down", "baseline", "done_badly", text),
               item("practice_start", "starts", "to_come", "")),
        data_windows=(window("holds", text),), laps=(*laps("holds", 3, 3), *laps("baseline", 10, 2)),
        switches=tuple(debrief.SwitchMove.model_validate(one) for one in (
            {"t": -60, "switch": "flap", "word": "flap", "position": "closed", "evidence": "assumed"},
            {"t": -60, "switch": "bb", "word": "brake bias", "position": 56, "evidence": "assumed"},
            {"t": 702.5, "switch": "flap", "word": "flap", "position": "open", "before": "closed",
             "evidence": "measured", "run": "holds", "lap_number": 4},
        )),
        calls=(call(text, 300), call("flap open", 640, "missed"), call("box", 860, "late", "outside"),
               call("radio check", 250, "unconfirmed", "full")),
        radio=debrief.RadioStatistics(
            calls=4, in_time=1, in_window=1, beside_window=0, shown=0, settled=0,
            unconfirmed=1, late=1, missed=1, skipped=0, withdrawn=0, open=0,
            by_kind={"switch": 4}, reasons={text: 2}, spoken_s=6.4, mean_load_s=1.2, most_load_s=3.2,
            load=(debrief.MinuteLoad(from_s=300, spoken_s=3.2, calls=2),
                  debrief.MinuteLoad(from_s=360, spoken_s=1, calls=1)),
        ),
        questions=(debrief.QuestionRow(question=1, asked_s=400, text=text),
                   debrief.QuestionRow(question=2, asked_s=500, text="gap?", answered_s=530, by="ann")),
        changes=(debrief.ChangeRow(t=1200, what="compare dropped", by="ann", why=text, revision=3),),
        comments=comments, said=findings(comments, (*laps("holds", 3, 3), *laps("baseline", 10, 2)), ()),
        notes=("No positions were heard.",),
    )


def full(text: str = "held back: a car is alongside", **of_session: object) -> Debrief:
    """A debrief with something in every table."""
    return Debrief(
        session=session(**of_session), cars=(car(text), car(text, "58")),
        alerts=debrief.AlertStatistics(
            raised=2, by_kind={"late_call": 2}, by_priority={"high": 2}, held_back=1, held_reasons={text: 1},
            acknowledged=1, rates=(debrief.TenMinutes(from_s=0, raised=2),), mean_rate=0.3, most_in_ten=2,
        ),
        alert_rows=tuple(debrief.AlertRow.model_validate(one) for one in (
            {"alert": "a1", "car": "41", "kind": "late_call", "priority": "high", "from_s": 303, "text": text},
            {"alert": "a2", "kind": "feed_silent", "priority": "low", "from_s": 900, "to_s": 912, "text": "silent",
             "acknowledged_s": 905},
        )),
        changes=(debrief.ChangeRow(t=950, what="status yellow", by="ann", why=text, about="correction"),),
        notes=("One fact was left out.",),
    )


def empty() -> Debrief:
    """The debrief of a session in which nothing happened at all."""
    radio = debrief.RadioStatistics(calls=0, in_time=0, in_window=0, beside_window=0, shown=0,
                                    settled=0, unconfirmed=0, late=0, missed=0, skipped=0,
                                    withdrawn=0, open=0, spoken_s=0)
    return Debrief(
        session=session(statuses=(), gaps_s=(), restarts=0, green_time=None, time_of_day_from="none",
                        state="not_begun"),
        cars=(CarDebrief(car="41", radio=radio),), alerts=debrief.AlertStatistics(raised=0),
    )


def made(name: str) -> Debrief:
    """A debrief by its name: ``full``, ``hostile`` or ``empty``."""
    return {"full": full(), "hostile": full(HOSTILE), "empty": empty()}[name]
