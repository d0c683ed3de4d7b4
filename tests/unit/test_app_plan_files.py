"""Plan files watched on a real disk: what an editor does to a file, and what the engine is told of it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pitwall.app.loading import read_event
from pitwall.app.plan_files import PlanWatch
from pitwall.app.serving import to_serve
from pitwall.engine.session import Session
from pitwall.errors import FileProblem
from pitwall.journal.sqlite import SqliteJournal
from pitwall.model.events import CommandGiven, PlanFileRead, SessionPrepared, Stamped

CONFIG = Path(__file__).resolve().parents[2] / "config"


class Bench:
    """The demo event in a folder of its own, a session prepared from it, and its plan files watched."""

    def __init__(self, folder: Path) -> None:
        shutil.copytree(CONFIG, folder, dirs_exist_ok=True)
        self.event = folder / "event.yaml"
        self.plan = folder / "plans" / "plan_41.yaml"
        self.session, self.seq = Session(), 0
        self.loaded = read_event(self.event)
        assert self.loaded.setup is not None
        self.give(SessionPrepared(id="prepared", t=-60.0, setup=self.loaded.setup))
        self.watch = self.watching()

    def watching(self) -> PlanWatch:
        """A watch as a daemon begins it."""
        return PlanWatch(self.loaded.plan_files, self.session, lambda event: None, lambda: 10.0, lambda: self.seq)

    def give(self, event: SessionPrepared | PlanFileRead | CommandGiven) -> None:
        """One fact for the engine."""
        self.session.handle(Stamped(seq=self.seq, received_t=event.t, event=event))
        self.seq += 1

    def looks(self, times: int = 2) -> list[PlanFileRead]:
        """What so many looks tell; the engine hears it."""
        found = [fact for _ in range(times) for fact in self.watch.look()]
        for fact in found:
            self.give(fact)
        return found

    def edit(self, old: str, new: str) -> None:
        """Change the text of the plan in place."""
        text = self.plan.read_text(encoding="utf-8")
        assert old in text
        self.plan.write_text(text.replace(old, new), encoding="utf-8")

    @property
    def proposed(self) -> tuple[str, ...]:
        """What the proposal that stands would change."""
        offer = self.session.team["41"].desk.offer
        return offer.shown.lines if offer is not None else ()


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A bench in a folder that goes with the test."""
    return Bench(tmp_path / "event")


def test_files_as_they_were_read_tell_nothing(bench: Bench) -> None:
    """The plans that the session was prepared from are known."""
    assert bench.looks(4) == []


def test_an_edit_is_told_once_it_is_whole(bench: Bench) -> None:
    """One look to see the change, one to see that nothing more comes; then it is told once, and proposed."""
    bench.edit("out, 8 timed, in", "out, 6 timed, in")
    assert bench.looks(1) == []
    (fact,) = bench.looks(1)
    assert (fact.car, fact.file, fact.alternate, fact.problem) == ("41", "plan_41.yaml", None, None)
    assert bench.looks(3) == []
    assert bench.proposed == ("long: 8 timed laps become 6",)


def test_a_file_still_being_written_is_not_read(bench: Bench) -> None:
    """Half a file, then the rest: as long as it changes from look to look nothing is told."""
    whole = bench.plan.read_text(encoding="utf-8").replace("out, 8 timed, in", "out, 6 timed, in")
    for share in (3, 2, 1):
        bench.plan.write_text(whole[: len(whole) // share], encoding="utf-8")
        assert bench.looks(1) == []
    assert [fact.problem for fact in bench.looks(1)] == [None]


def test_an_editor_that_renames_and_one_that_only_comments(bench: Bench) -> None:
    """A file put in place by renaming is read like any; a comment, or the same plan in other words, is no change."""
    new = bench.plan.with_suffix(".new")
    new.write_text(bench.plan.read_text("utf-8").replace("[240, 360, 600]", "[240, 380, 600]"), encoding="utf-8")
    bench.plan.unlink()
    assert bench.looks(1) == []  # gone for a moment
    new.rename(bench.plan)
    assert len(bench.looks(2)) == 1
    assert bench.proposed == ("garage work after holds: 240, 380, 600 s instead of 240, 360, 600 s",)
    bench.edit("runs:\n", "# what we want to do\nruns:\n")
    assert bench.looks(3) == []


def test_a_bad_file_is_an_alert_and_mending_it_ends_the_alert(bench: Bench) -> None:
    """Errors are told with file and line; the proposal that stood is withdrawn; a good file clears the alert."""
    bench.edit("out, 8 timed, in", "out, 6 timed, in")
    bench.looks()
    bench.edit("tyres: C1", "tyres: C9")
    (fact,) = bench.looks()
    assert fact.plan is None
    assert fact.problem is not None
    assert "plan_41.yaml:" in fact.problem
    assert "unknown tyre set 'C9'" in fact.problem
    (alert,) = bench.session.alerts.active.values()
    assert (alert.id, alert.text) == ("plan-file-41", fact.problem)
    assert bench.proposed == ()
    bench.edit("tyres: C9", "tyres: C1")
    bench.looks()
    assert not bench.session.alerts.active
    assert bench.proposed == ("long: 8 timed laps become 6",)


def test_a_file_put_back_as_it_was_withdraws_the_proposal(bench: Bench) -> None:
    """The edit is undone in the file: nothing waits any more."""
    bench.edit("out, 8 timed, in", "out, 6 timed, in")
    bench.looks()
    bench.edit("out, 6 timed, in", "out, 8 timed, in")
    assert len(bench.looks()) == 1
    assert bench.proposed == ()


def test_a_deleted_file_is_an_alert_until_it_is_back(bench: Bench) -> None:
    """The file is gone for good: said so; back with the plan in use, the alert is over and nothing is proposed."""
    text = bench.plan.read_text(encoding="utf-8")
    bench.plan.unlink()
    (fact,) = bench.looks()
    assert fact.problem is not None
    assert "the file is gone" in fact.problem
    bench.plan.write_text(text, encoding="utf-8")
    assert [one.problem for one in bench.looks()] == [None]
    assert not bench.session.alerts.active
    assert bench.proposed == ()


def test_only_new_doubts_come_with_a_changed_plan(bench: Bench) -> None:
    """A warning that the plan in use has already is not told again; one that the edit makes is."""
    bench.edit("{do: tyre_warm_up, on: out}", "{do: tyre_warm_up}")
    (fact,) = bench.looks()
    assert len(fact.warnings) == 1
    assert "'tyre_warm_up' on no lap in particular" in fact.warnings[0]
    bench.edit("wear on the medium set", "wear of the medium set")
    (fact,) = bench.looks()
    assert len(fact.warnings) == 1, "nobody has taken it yet"
    bench.give(CommandGiven(id="adopt", t=20.0, car="41", command="adopt", by="bryn"))
    bench.edit("wear of the medium set", "wear on the medium set")
    (fact,) = bench.looks()
    assert fact.warnings == ()


def test_an_alternate_that_is_not_driven_is_kept_for_the_switch(bench: Bench) -> None:
    """The wet plan changes while the dry one is driven: nothing is proposed, and the switch goes to the new one."""
    wet = bench.plan.with_name("plan_41_wet.yaml")
    wet.write_text(wet.read_text(encoding="utf-8").replace("out, 5 timed, in", "out, 4 timed, in"), encoding="utf-8")
    (fact,) = bench.looks()
    assert fact.alternate == "wet"
    assert bench.proposed == ()
    learn = bench.session.team["41"].desk.latest["wet"].find("learn")
    assert learn is not None
    assert learn.timed_laps == 4


def test_a_daemon_that_starts_again_proposes_what_was_edited_meanwhile(bench: Bench) -> None:
    """A new watch over the same session tells what differs from what the session knows, and nothing else."""
    bench.edit("out, 8 timed, in", "out, 6 timed, in")
    bench.watch = bench.watching()
    assert len(bench.looks()) == 1
    assert bench.proposed == ("long: 8 timed laps become 6",)
    bench.watch = bench.watching()
    assert bench.looks() == []


def test_a_plan_of_another_car_is_refused(bench: Bench) -> None:
    """Somebody saved the wrong plan under this name."""
    bench.edit("car: 41\n", "car: 58\n")
    (fact,) = bench.looks()
    assert fact.problem is not None
    assert "car '58'" in fact.problem


async def test_a_plan_with_errors_keeps_nobody_from_going_on(bench: Bench, tmp_path: Path) -> None:
    """Served again while a plan file has errors: the session in the journal is served; without one, or with errors in
    another file, the errors are told."""
    file = tmp_path / "journal.sqlite"

    def journal_of(event: str, session: str) -> Path:
        return file

    bench.edit("tyres: C1", "tyres: C9")
    with pytest.raises(FileProblem, match="C9"):
        to_serve(bench.event, None, journal_of, fresh=False)
    journal = await SqliteJournal.open(file)
    assert bench.loaded.setup is not None
    prepared = SessionPrepared(id="prepared", t=-60.0, setup=bench.loaded.setup)
    await journal.append([Stamped(seq=0, received_t=-60.0, event=prepared)])
    await journal.close()
    served = to_serve(bench.event, None, journal_of, fresh=False)
    assert served.setup == bench.loaded.setup
    assert served.journal == file
    assert served.plan_files["41"][None] == bench.plan
    with pytest.raises(FileProblem, match="C9"):
        to_serve(bench.event, None, journal_of, fresh=True)
    settings = bench.event.with_name("settings.yaml")
    settings.write_text("settings: 1\ncalls: {lead_s: soon}\n", encoding="utf-8")
    with pytest.raises(FileProblem, match="lead_s"):
        to_serve(bench.event, None, journal_of, fresh=False)
