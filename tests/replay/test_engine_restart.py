"""The real engine, restarted anywhere: the same decisions follow, no call is doubled, the gap is marked."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

import numpy as np
import pytest

from pitwall.app.debrief_watch import NotedSession
from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import Evidence, rehearse_instant
from pitwall.engine.session import Session
from pitwall.journal.replay import decisions
from pitwall.model import events as ev
from pitwall.model.events import Stamped
from pitwall.model.outputs import Prompt
from pitwall.pace.kept import Bend
from tests.replay.fork import Learned, copy_of, decided, first_difference, replayed, restarted, state_of, unlike
from tests.replay.harness import restart_equals
from tests.replay.recorded import everything, quiet_run, red_flag

GAP_S = 25.0


def _hour() -> tuple[Stamped, ...]:
    """The journal of one rehearsed practice hour: two cars of ours and eighteen others."""
    kept: list[Evidence] = []
    asyncio.run(rehearse_instant(load_rehearsal("practice_hour", 11), witness=kept.append))
    return kept[0].events


def _unwatched() -> Session:
    """An engine that does not draw up what screens show: that is no decision, and a fifth of the cost."""
    session = Session()
    session.notices.shown = False
    return session


def test_the_short_journal_holds_what_it_should() -> None:
    """It has commands of many kinds, a yellow and a red flag, an alert, and some hundred events of each kind of
    life."""
    events = everything()
    assert 300 <= len(events) <= 500
    commands = {one.event.command for one in events if isinstance(one.event, ev.CommandGiven)}
    assert {"said", "confirm", "drop", "keep_in", "let_go", "box", "extend", "skip", "quiet", "comment"} <= commands
    statuses = {one.event.status for one in events if isinstance(one.event, ev.StatusChanged)}
    assert {"green", "yellow", "red"} <= statuses
    assert any(output.type == "alert" for one in decisions(events, Session()) for output in one.outputs)


@pytest.mark.parametrize(
    ("journal", "first", "step"),
    [(everything, 1, 2), (everything, 2, 2), (quiet_run, 1, 3), (red_flag, 2, 3)],
    ids=["everything, odd events", "everything, even events", "quiet run", "red flag"],
)
def test_restart_at_every_event_decides_the_same(journal: object, first: int, step: int) -> None:
    """Restarted before each event in turn (each third one of the two journals that hold less), the engine decides the
    same on all that follows, and is soon in the very state of one that never went away."""
    events: Sequence[Stamped] = journal()  # type: ignore[operator]  # one of the functions above
    difference, never_back = first_difference(events, range(first, len(events), step))
    assert difference is None, str(difference)
    assert [(fork.index, fork.unlike) for fork in never_back if fork.index < len(events) - 10] == []


def test_restart_at_fifty_places_of_the_hour_decides_the_same() -> None:
    """The same at fifty places of the practice hour, drawn by a seed; at one of them the copy that is followed is
    proved to be in the state that a fresh engine reaches by a replay."""
    events = _hour()
    drawn = np.random.default_rng(20310516).choice(np.arange(1, len(events)), size=50, replace=False)
    places = sorted(int(index) for index in drawn)
    difference, never_back = first_difference(events, places, _unwatched)
    assert difference is None, str(difference)
    assert [(fork.index, fork.unlike) for fork in never_back if fork.index < len(events) - 10] == []
    session = replayed(events[: places[20]])
    assert state_of(copy_of(session)) == state_of(session) == state_of(replayed(events[: places[20]]))


def test_a_copy_is_what_a_replay_of_the_journal_makes() -> None:
    """The forks of the tests above are deep copies; a fresh engine that is given the same events is in the same
    state."""
    events = everything()
    for length in (60, 190, 330):
        session = replayed(events[:length])
        assert state_of(copy_of(session)) == state_of(session) == state_of(replayed(events[:length]))


def test_a_copy_shares_nothing_that_changes() -> None:
    """What happens to a copy does not happen to the original."""
    events = everything()
    session = replayed(events[:150])
    before = state_of(session)
    fork = copy_of(session)
    for stamped in events[150:250]:
        fork.handle(stamped)
    assert state_of(session) == before
    assert state_of(fork) != before


def test_what_was_learned_is_compared_by_its_values() -> None:
    """Two that hold the same values are the same, whether they share one or hold it twice, and whichever sign a value
    has that is no number; one other value is seen, and where it stands."""
    shared = [1.0, 2.0]
    once, twice = Learned({"of": [shared, shared]}), Learned({"of": [shared, [1.0, 2.0]]})
    assert once.bytes != twice.bytes
    assert once == twice
    assert Learned(np.array([1.0, np.nan])) == Learned(np.array([1.0, -np.nan]))
    assert once != Learned({"of": [shared, [1.0, 2.5]]})
    assert "2.0 and 2.5" in unlike([once], [Learned({"of": [shared, [1.0, 2.5]]})])


def test_what_one_has_worked_out_before_is_not_compared() -> None:
    """A bend that was asked for stretches is the same as one that was not, also where the bytes tell the two apart;
    one of another shape is not."""
    points = ((0.0, 0.0), (0.5, 0.4), (1.0, 1.0))
    asked, fresh, other = Bend(points), Bend(points), Bend(((0.0, 0.0), (0.5, 0.41), (1.0, 1.0)))
    assert asked.spans(((0.25, 0.75),)) == ((0.2, pytest.approx(0.7)),)
    shared = [1.0]
    once, twice = Learned([asked, shared, shared]), Learned([fresh, shared, [1.0]])
    assert once.bytes != twice.bytes
    assert once == twice
    assert once != Learned([other, shared, [1.0]])


@pytest.fixture
def events() -> tuple[Stamped, ...]:
    """The facts of a rehearsal; it has a loop of its own, so it is driven before that of the test runs."""
    return everything()


async def test_a_recovered_host_decides_as_its_engine_did(events: tuple[Stamped, ...]) -> None:
    """The long way, through the host's own recovery from the stored events, at every thirteenth of them."""
    kinds = ("prompt", "alert", "answered", "refused", "lap_judged")
    difference = await restart_equals(
        events, Session, range(1, len(events), 13), same=lambda output: output if output.type in kinds else None
    )
    assert difference is None


class _Forgetful(Session):
    """An engine that lays everything out anew when it is restarted, and so decides at moments of its own."""

    def _restarted(self, event: ev.Restarted) -> None:
        super()._restarted(event)
        self._all_dirty()


def test_the_comparison_sees_an_engine_that_decides_otherwise() -> None:
    """An engine that does a little more on a restart is found out, with the event and what it decided."""
    events = everything()
    difference, _ = first_difference(events, range(1, len(events)), make=_Forgetful)
    assert difference is not None
    assert "restarted before event" in str(difference)
    assert difference.got != difference.expected


def _due_calls(events: Sequence[Stamped]) -> list[tuple[int, Prompt]]:
    """Every call with the number of the event at which it came due."""
    return [
        (one.stamped.seq, output)
        for one in decisions(events, Session())
        for output in one.outputs
        if isinstance(output, Prompt) and output.state == "due"
    ]


def test_calls_that_fell_into_the_gap_are_late_and_never_due() -> None:
    """Killed as a call comes due and back after its time: it is late, with the gap as its reason; nothing whose time is
    over is shown as due."""
    events = quiet_run()
    tried = 0
    for seq, call in _due_calls(events):
        at = events[seq]
        back = at.received_t + GAP_S
        if not at.received_t < call.say_by_s <= back:
            continue
        session = replayed(events[: seq + 1])
        outputs = [output for output in restarted(session, at, GAP_S) if isinstance(output, Prompt)]
        mine = [output for output in outputs if output.call == call.call]
        assert [output.state for output in mine][:1] == ["late"], (call.call, mine)
        assert "pitwall was down" in (mine[0].reason or "")
        assert all(output.say_by_s > back for output in outputs if output.state == "due")
        tried += 1
    assert tried > 5


def test_calls_that_were_to_come_in_the_gap_are_missed_with_that_reason() -> None:
    """Killed before a call was even shown and back after its time: it is missed, and the reason is the gap."""
    events = quiet_run()
    found: list[Prompt] = []
    for seq in range(20, len(events) - 1, 7):
        session = replayed(events[: seq + 1])
        found += [
            output
            for output in restarted(session, events[seq], GAP_S)
            if isinstance(output, Prompt) and output.state == "missed"
        ]
    assert found
    assert all("pitwall was down" in (output.reason or "") for output in found)


@pytest.mark.parametrize("gap_s", [0.0, GAP_S])
def test_no_prompt_id_is_used_for_two_contents(gap_s: float) -> None:
    """Over a restart, whatever its gap, a prompt's id is never given to another content."""
    events = everything()
    for index in range(10, len(events), 29):
        session = Session()
        said: dict[str, Prompt] = {}
        outputs = [output for one in decisions(events[:index], session) for output in one.outputs]
        outputs += restarted(session, events[index - 1], gap_s)
        rest = [one for one in events[index:] if one.received_t >= events[index - 1].received_t + gap_s]
        outputs += [output for one in rest for output in decided(session.handle(one))]
        for output in outputs:
            if isinstance(output, Prompt):
                assert said.setdefault(output.id, output) == output, (index, output.id)


def test_a_journal_that_is_gone_over_unseen_leaves_the_same_engine() -> None:
    """Nothing was drawn up for screens on the way, as in a daemon that goes on after it was killed: what stands, what
    is asked for and all that follows are the same, what is shown included."""
    events = everything()
    for cut in (40, len(events) // 2, len(events) - 20):
        seen, noted = Session(), NotedSession()
        with noted.unseen():
            for one in events[:cut]:
                seen.handle(one)
                noted.handle(one)
        assert tuple(noted.standing()) == tuple(seen.standing())
        assert noted.open_wishes() == seen.open_wishes()
        assert [noted.handle(one) for one in events[cut:]] == [seen.handle(one) for one in events[cut:]]
