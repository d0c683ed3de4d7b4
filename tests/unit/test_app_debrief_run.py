"""Which run a debrief is cut to: the last one, one by its name, and what is said where there is none."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest

from pitwall.app.debrief_run import cut_to_run
from pitwall.app.debriefing import made_of
from pitwall.cli.main import main
from pitwall.debrief.model import Debrief
from pitwall.debrief.pages import page_of
from pitwall.errors import UserError
from pitwall.journal.codec import encode
from pitwall.model.events import Stamped
from tests.acceptance.script import Script
from tests.acceptance.script_plans import MORE, WORK, press_every_key, session
from tests.recount.sessions import gone_over


@cache
def played() -> tuple[Stamped, ...]:
    """The run ``work`` from 300 to 929, then two laps of ``more`` from 1200 on."""
    play: Script = session(WORK, MORE)
    press_every_key(play)
    play.car().leaves(300).lap(112).lap(92).lap(92).lap(130).lap(93).comes_in(110)
    play.car().leaves(1200).lap(112).lap(92)
    return tuple(play.run(until=1450).events)


def whole(until_s: float = 1450.0) -> Debrief:
    """The debrief as the journal was at that moment: the daemon still runs on it."""
    noted = gone_over("journal", [encode(one) for one in played() if one.received_t <= until_s]).noted
    assert noted is not None
    return made_of(noted, "practice-1.sqlite")


def test_last_is_the_run_that_the_car_came_back_from() -> None:
    """While it is on the next one, and before it left for it; a run by its name may be one that it is still on."""
    assert cut_to_run(whole(1100), "last").run == "work"
    assert cut_to_run(whole(), "last").run == "work"
    on_track = cut_to_run(whole(), "more")
    assert [lap.kind for lap in on_track.cars[0].laps] == ["out", "timed"]
    assert "nobody has seen it come back" in page_of(on_track)


def test_before_any_came_back_last_is_the_one_that_it_is_on() -> None:
    """The car left for the first time, and drove two laps."""
    cut = cut_to_run(whole(550), "last", "41")
    assert (cut.run, len(cut.cars[0].laps)) == ("work", 2)


def test_the_page_of_a_run_says_nothing_of_the_other() -> None:
    """One file, with the run in its title and no row of another run."""
    page = page_of(cut_to_run(whole(), "work"))
    assert "<title>Debrief of run work, car 41" in page
    assert "more" not in {run.run for run in cut_to_run(whole(), "work").cars[0].runs}
    assert "Run more" not in page


@pytest.mark.parametrize(("run", "car", "until_s", "said"), [
    ("holds", None, 1450, "no run 'holds' was driven. Car 41 has driven: work, more;"),
    ("more", "41", 1100, "no run 'more' was driven. Car 41 has driven: work; without a whole lap yet: more."),
    ("last", "41", 200, "car 41 has driven no run yet. Car 41 has driven: none; without a whole lap yet: work, more."),
    ("last", None, 200, "no car has driven a run yet."),
    ("last", "7", 1450, "there is no car 7; its cars are: 41"),
])
def test_what_is_not_there_is_told_with_what_is(run: str, car: str | None, until_s: float, said: str) -> None:
    """The error names the journal, and the cars or the runs that there are."""
    with pytest.raises(UserError) as told:
        cut_to_run(whole(until_s), run, car)
    assert str(told.value).startswith(f"practice-1.sqlite: {said}")


def test_with_two_cars_it_is_asked_whose() -> None:
    """Nothing is chosen for the person: both have driven a last run."""
    (car,) = whole().cars
    two = whole().model_copy(update={"cars": (car, car.model_copy(update={"car": "58"}))})
    with pytest.raises(UserError, match="cars 41, 58 have driven a run; say whose with --car CAR"):
        cut_to_run(two, "last")
    assert cut_to_run(two, "last", "58").cars[0].car == "58"


def test_the_command_prints_it_and_writes_its_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside those of the whole session, under a name of its own; ``--json`` has the run's rows."""
    journal = tmp_path / "practice-1.jsonl"
    journal.write_bytes(b"\n".join(encode(one) for one in played()) + b"\n")
    assert main(["debrief", str(journal), "--run", "last", "--json", "--out", str(tmp_path / "out")]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["run"], told["alerts"], [run["run"] for run in told["cars"][0]["runs"]]) == ("work", None, ["work"])
    assert sorted(one.name for one in (tmp_path / "out").iterdir()) == ["debrief-41-work.html", "debrief-41-work.pdf"]
    assert main(["debrief", str(journal), "--car", "41"]) != 0
    assert "--car goes with --run" in capsys.readouterr().err
