"""A debrief after a status that was entered wrongly: the session's course is what held."""

from __future__ import annotations

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
