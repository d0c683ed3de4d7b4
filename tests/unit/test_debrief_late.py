"""Why there was no time left for a must: red flags, runs that were made longer, and a late leaving."""

from __future__ import annotations

from typing import Any

from pitwall.app.debriefing import debrief
from pitwall.debrief.contents_late import made_longer, time_lost
from pitwall.debrief.contents_lost import lost_to
from pitwall.debrief.contents_summary import summary_sections
from pitwall.debrief.document import Points
from pitwall.debrief.model import CarDebrief, ChangeRow, SessionSummary, StatusSpan
from pitwall.model.debrief_rows import Stint
from tests.unit import debrief_stage as stage
from tests.unit.engine_stage import MAIN, SPARE, plan, setup
from tests.unit.kept_stage import Kept


def a_session(*reds: tuple[float, float], flag: float = 3600.0) -> SessionSummary:
    """An hour with these red flags; the chequered flag fell then."""
    spans = [StatusSpan(status="red", from_s=since, to_s=to) for since, to in reds]
    spans.append(StatusSpan(status="finished", from_s=flag, to_s=flag + 60))
    return stage.full().session.model_copy(update={
        "scheduled_s": 3600.0, "state": "closed", "statuses": tuple(spans)})


def a_car(*changes: ChangeRow, left: float = 3000.0, **more: Any) -> CarDebrief:
    """A car that drove ``base``, and ``compare`` too late for its laps."""
    base = stage.run("base", "must", "done", stints=(Stint(from_s=1500.0, to_s=2500.0),)).model_copy(
        update={"planned_span_s": (1400.0, 2000.0), "planned_laps": "out, 4 timed, in"})
    lost = stage.run("compare", "must", "done", stints=(Stint(from_s=left, to_s=3700.0),)).model_copy(
        update={"planned_span_s": (2240.0, 2800.0), "planned_laps": "out, 2 timed, in", "counts": False, **more})
    return stage.car().model_copy(update={"runs": (base, lost), "changes": changes, "items": ()})


def told(car: CarDebrief, session: SessionSummary) -> str:
    """Of the run that was lost."""
    return time_lost(car.runs[1], car, session)


def test_a_red_flag_of_minutes_is_named_with_what_it_took() -> None:
    """Several together; where the clock stood under them the flag fell later, and nothing was lost. Of a run that is no
    must nothing is told."""
    car = a_car(left=2240.0)
    assert told(car, a_session((1740.0, 2400.0))) == " Red flag took 11 min (0:29:00–0:40:00)."
    assert told(car, a_session((600.0, 660.0), (1740.0, 2400.0))) == (
        " Red flags took 12 min (0:10:00–0:11:00, 0:29:00–0:40:00).")
    assert told(car, a_session((1740.0, 2400.0), flag=4260.0)) == ""
    assert told(car, a_session((1740.0, 1770.0))) == ""
    should = car.runs[1].model_copy(update={"want": "should"})
    assert time_lost(should, car, a_session((1740.0, 2400.0))) == ""
    running = a_session((1740.0, 2400.0)).model_copy(update={"state": "running"})
    assert told(car, running) == "", "it may still be driven"
    assert told(a_car(counts=True), a_session((1740.0, 2400.0))) == "", "somebody ended it, and it counts"


def test_a_late_leaving_is_named_and_how_long_the_car_stood_before_it() -> None:
    """Against the first plan; what of it was under a red flag is no fault of the garage."""
    late = " It left at 0:50:00, 12 min 40 s later than first planned"
    assert told(a_car(), a_session()) == (
        f"{late}; the car stood in the pits for 8 min 20 s before it, 4 min were planned.")
    assert told(a_car(), a_session((2500.0, 2740.0), flag=3840.0)) == f"{late}."
    assert told(a_car(left=2250.0), a_session()) == ""
    assert told(a_car(stints=()), a_session()) == "", "what never left left at no time"


def test_a_run_that_was_made_longer_is_named_and_what_was_taken_back_is_not() -> None:
    """Also a must that was driven before it, with who did it; not one that was made shorter."""
    changes = (ChangeRow(t=700.0, what="base: 4 timed laps become 3; fuel of base: 16 kg instead of 18 kg", by="ann"),
               ChangeRow(t=800.0, what="run base: now 5 timed laps; every must fits: 81% (90% before)", by="ann",
                         why="it is dry"),
               ChangeRow(t=900.0, what="run base: now 6 timed laps", by="ann", stands=False))
    car = a_car(*changes, left=2240.0)
    assert told(car, a_session()) == " Made longer at 0:13:20: base, 3 timed laps to 5, by ann (it is dry)."
    back = ChangeRow(t=540.0, what="compare: box this lap", by="ann", stands=False)
    lesser = a_car(back).runs[0].model_copy(update={"want": "could"})
    car = a_car(back).model_copy(update={"runs": (lesser, a_car().runs[1])})
    assert lost_to(car.runs[1], car).endswith(" No change of the plan names them.")


def test_what_the_desk_did_and_took_back_stands_no_more() -> None:
    """The engine's own words: a longer run is told as one, until it is taken back."""
    made = Kept(setup(plan(MAIN | {"run": "base"}, SPARE | {"run": "compare", "want": "must"}))).green()
    t = made.leave(200).lap(200, 125, from_exit=True)
    made.command("extend", laps=1)
    made.command("amend", changes=[{"do": "set_laps", "run": "compare", "laps": "out, 3 timed, in"}], text="more")
    longer = made_longer(debrief(made.facts, "x").cars[0])
    assert [(one.run, one.before, one.laps) for one in longer] == [("base", 2, 3), ("compare", 1, 3)]
    made.command("undo", of="extend")
    for seconds in (100, 100):
        t = made.lap(t, seconds)
    made.home(t)
    made.status(3600, "closed")
    whole = debrief(made.facts, "x")
    assert [one.stands for one in whole.cars[0].changes if one.about == "plan"] == [False, True, False]
    assert [one.run for one in made_longer(whole.cars[0])] == ["compare"]
    points = [point.text for section in summary_sections(whole.cars[0], whole) for block in section.blocks
              if isinstance(block, Points) for point in block.points]
    assert not any("base" in point for point in points)
