"""A debrief after a status that was entered wrongly: the session's course is what held."""

from __future__ import annotations

from pitwall.app.debrief_cars import changes, questions
from pitwall.app.debrief_watch import NotedSession, Retold
from pitwall.model.events import Event, Stamped
from pitwall.model.outputs import Output
from tests.unit.engine_stage import Stage


class NotedStage(Stage):
    """A stage beside which a debrief is noted."""

    def __init__(self) -> None:
        self.noted = NotedSession()
        super().__init__()

    def handle(self, event: Event) -> tuple[Output, ...]:
        """As any stage, and the same fact to the debrief."""
        self.noted.handle(Stamped(seq=self._seq, received_t=self.now, event=event))
        return super().handle(event)

    @property
    def course(self) -> list[tuple[float, str, tuple[str, ...]]]:
        """The statuses of the session, each from when on."""
        return [(flag.t, flag.status, flag.sectors) for flag in self.noted.flags]


def test_a_green_that_is_taken_back_leaves_one_red_flag() -> None:
    """It stood from its own beginning to the green that was none of a slip."""
    stage = NotedStage()
    stage.green()
    stage.status(600, "red")
    stage.command("status", 1000, status="green")
    assert stage.course[-1] == (1000, "green", ())
    stage.command("undo", 1007)
    stage.status(1200, "green")
    assert stage.course == [(-300, "waiting", ()), (0, "green", ()), (600, "red", ()), (1200, "green", ())]
    assert stage.noted.failures == 0
    assert stage.noted.retold == [Retold(1007, 1000)]


def test_what_came_after_a_status_that_is_taken_back_stays() -> None:
    """A yellow sector that race control told in between is a fact of its own, from when it was told."""
    stage = NotedStage()
    stage.green()
    stage.command("status", 600, status="red")
    stage.status(610, "yellow", scope=["2"])
    stage.command("undo", 620)
    assert stage.course[1:] == [(0, "green", ()), (610, "green", ("2",))]


def test_a_switch_that_was_entered_by_a_slip_never_moved() -> None:
    """Neither the move nor the way back stands in the table; what is entered after it, or stays entered, does."""
    stage = NotedStage()
    stage.green()
    stage.switch(10, "torque_map", 2)
    stage.command("set_switch", 200, switch="brake_bias", position=54)
    stage.command("set_switch", 205, switch="flap", position="open")
    stage.command("undo", 210)
    stage.command("undo", 215)
    stage.command("set_switch", 400, switch="brake_bias", position=56)
    moves = [(one.t, one.switch, one.position) for one in stage.noted.cars["41"].moves if one.before is not None]
    assert moves == [(400, "brake_bias", 56)]
    assert [one.t for one in stage.noted.cars["41"].moves] == sorted(one.t for one in stage.noted.cars["41"].moves)
    assert stage.noted.failures == 0


def test_quiet_stands_among_the_changes_as_its_undoing_does() -> None:
    """Both times that it was pressed, and what became of it."""
    stage = NotedStage()
    stage.green()
    stage.command("quiet", 100)
    stage.command("quiet", 200)
    stage.command("undo", 210)
    rows = changes(stage.noted, stage.noted.session.team["41"])
    assert [(one.t, one.what.split(";")[0], one.by) for one in rows] == [
        (100, "quiet: session, safety and box calls only", "desk"), (200, "quiet is over: all calls again", "desk"),
        (210, "QUIET IS ON, session, safety and box calls only", "desk")]


def test_a_question_that_was_taken_back_was_never_asked() -> None:
    """The driver waits for no answer to it; one that stays noted has its number still."""
    stage = NotedStage()
    stage.green()
    stage.command("asked", 100, text="gap behind?")
    stage.command("undo", 104)
    stage.command("asked", 200, text="gap ahead?")
    stage.command("asked", 300, text="gap behind?")
    stage.command("answered", 320, question=2)
    rows = questions(stage.noted.session.team["41"])
    assert [(one.question, one.text, one.answered_s) for one in rows] == [
        (2, "gap ahead?", 320), (3, "gap behind?", None)]
