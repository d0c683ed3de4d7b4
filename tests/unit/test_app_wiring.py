"""The compositions' small decisions; what they do as a whole is in the acceptance tests."""

from __future__ import annotations

import socket
from datetime import UTC, datetime, timedelta
from typing import cast

import pytest
from structlog.testing import capture_logs

from pitwall.app import starting, wiring, world_side
from pitwall.app.scenarios import load_rehearsal
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.errors import BrokerError, InternalError
from pitwall.model.rules import Regulations
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.world import World
from pitwall.runtime.clock import wall_seconds
from pitwall.testing import SESSION, tiny_setup
from tests.acceptance.processes import QUICK_DAY


def _opens(in_s: float) -> SessionSetup:
    opens = datetime.fromtimestamp(wall_seconds(), UTC) + timedelta(seconds=in_s)
    session = {"session": SESSION, "duration_s": 600, "opens_at": opens.isoformat()}
    return tiny_setup(regulations=Regulations.model_validate({"regulations": 1, "sessions": [session]}))


@pytest.mark.parametrize(("in_s", "second"), [(900.0, -900.0), (-300.0, 300.0)])
def test_session_time_follows_the_opening_time(in_s: float, second: float) -> None:
    """A quarter of an hour before the opening it is second -900; five minutes into the session, second 300."""
    assert starting.starting_second(_opens(in_s)) == pytest.approx(second, abs=2.0)


@pytest.mark.parametrize("in_s", [200_000.0, -700.0])
def test_session_of_another_day_begins_before_its_green_light(in_s: float) -> None:
    """An opening time that is days off, or a session that is over by the clock, starts a minute before the green."""
    assert starting.starting_second(_opens(in_s)) == -starting.PREPARED_BEFORE_S
    assert starting.starting_second(tiny_setup()) == -starting.PREPARED_BEFORE_S


async def test_busy_port_says_what_to_do() -> None:
    """When something listens on the port, the message offers another port and the broker that is there."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(BrokerError, match=rf"--port.*--broker mqtt://127\.0\.0\.1:{port}"):
            await wiring.rehearse_at_speed(load_rehearsal("short_demo"), 1000.0, port=port)


async def test_instant_rehearsal_gives_the_same_report_twice_in_one_process() -> None:
    """Nothing of one rehearsal is left over for the next one, and another seed is another session."""
    rehearsal = load_rehearsal(str(QUICK_DAY), 3)
    first = await wiring.rehearse_instant(rehearsal)
    other = await wiring.rehearse_instant(load_rehearsal(str(QUICK_DAY), 4))
    assert first == await wiring.rehearse_instant(rehearsal)
    assert first["digest"] != other["digest"]
    assert first["calls"]["open"] == 0
    assert first["laps"]["timed"] > 0


async def test_that_nobody_takes_notes_changes_nothing_else() -> None:
    """Without screens and without a journal nobody notes what a debrief needs: every prompt, fact and lap is the same
    as with notes."""
    rehearsal = load_rehearsal(str(QUICK_DAY), 3)
    alone, noted = [await wiring.instant_evidence(rehearsal, screens=screens) for screens in (False, True)]
    assert alone.events == noted.events
    assert alone.recorder.calls == noted.recorder.calls
    assert alone.recorder.alert_changes == noted.recorder.alert_changes
    assert alone.outcome == noted.outcome


@pytest.mark.parametrize(("late", "warned"), [([0.1] * 95 + [9.0] * 5, True), ([0.1] * 99 + [9.0], False), ([], False)])
def test_machine_that_falls_behind_is_told(late: list[float], warned: bool) -> None:
    """One prompt in twenty that comes seconds late is a warning; a single one, or none heard, is not."""
    side = world_side.WorldSide(cast(World, None), MemoryBus(MemoryBroker()), late)
    with capture_logs() as logs:
        kept = world_side.pace_of(side, 300.0)
    assert bool(logs) is kept.fell_behind is warned


async def test_time_that_stands_still_is_an_error_and_not_a_hang(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wake-up that arms itself again at the same moment ends the rehearsal with a message that names the moment."""
    start = World.start

    def looping(world: World) -> None:
        start(world)

        def again(t: float) -> None:
            world._agenda.at(t, again)

        world._agenda.at(12.5, again)

    monkeypatch.setattr(World, "start", looping)
    monkeypatch.setattr(wiring, "MOST_AT_ONE_MOMENT", 200)
    with pytest.raises(InternalError, match=r"stands still at 12\.500 s"):
        await wiring.rehearse_instant(load_rehearsal("short_demo"))
