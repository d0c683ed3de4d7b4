"""The queue in front of the journal: what it remembers, thins and refuses."""

from __future__ import annotations

from typing import get_args

import pytest

from pitwall.debrief.notes import CarNotes, Notes
from pitwall.model.events import CarPositioned, Event, Stamped, TyreReported, WeatherReported
from pitwall.model.outputs import Ask, Prompt
from pitwall.runtime.intake import CHATTER, Intake, SeenIds
from tests.replay.toy import command, crossing


def position(n: int, t: float, car: str = "41") -> CarPositioned:
    """A position."""
    return CarPositioned(id=f"p:{car}:{n}", t=t, car=car, distance_m=1.0)


def test_chatter_names_are_event_names() -> None:
    """Every kind that may be dropped exists; crossings, pit signals, status and commands are not among them."""
    names = {member.model_fields["type"].default for member in get_args(get_args(Event)[0])}
    assert names > CHATTER
    assert not CHATTER & {"car_crossed", "car_pitted", "status_changed", "command_given", "session_prepared",
                          "time_reached", "forecast_ready", "restarted", "prompt_delivered", "link_changed"}


def test_ids_of_facts_are_kept_and_those_of_chatter_in_bounds() -> None:
    """However much chatter comes by, a command is known for ever; old chatter is forgotten."""
    seen = SeenIds(chatter_limit=100)
    seen.add(command("c:1", 0.0))
    for n in range(1000):
        seen.add(position(n, float(n)))
    assert "c:1" in seen
    assert "p:41:999" in seen
    assert "p:41:0" not in seen
    assert len(seen._chatter) == 100


@pytest.mark.parametrize(("t", "let_in"), [(10.1, False), (10.2, True), (9.5, False), (-55.0, True), (11.0, True)])
def test_position_comes_in_only_after_its_pause(t: float, let_in: bool) -> None:
    """At 5 Hz: not after 0.1 s, after 0.2 s; an older one is worthless unless the feed began again."""
    intake = Intake(position_every_s=0.2)
    assert intake.offer(position(1, 10.0), 10.0)
    assert intake.offer(position(2, t), 10.0) is let_in
    assert intake.offer(position(2, t, car="58"), 10.0)
    assert intake.counts.thinned == (0 if let_in else 1)


def test_thinned_position_does_not_move_the_pause() -> None:
    """The pause counts from the last position that came in: at 20 Hz exactly every fourth passes."""
    intake = Intake(position_every_s=0.2)
    taken = [n for n in range(20) if intake.offer(position(n, n * 0.05), 0.0)]
    assert taken == [0, 4, 8, 12, 16]


def hold_call(act_at_s: float, state: str = "planned", action: str = "procedure") -> Prompt:
    """A call for what the driver is to do at a place."""
    return Prompt(id="p", t=0.0, car="41", call="c", revision=1, kind="procedure", text="Hold.", short="Hold",
                  say_from_s=act_at_s - 20, say_by_s=act_at_s - 5, act_at_s=act_at_s, spoken_s=2.0, priority=50,
                  state=state, ask=Ask(action=action))


def let_in(intake: Intake, begin: float, car: str = "41") -> int:
    """How many positions of one second at 10 Hz are let in."""
    return sum(intake.offer(position(int(begin * 10) + n, begin + n * 0.1, car=car), 0.0) for n in range(10))


def test_positions_about_a_procedure_are_all_kept() -> None:
    """At 10 Hz every one counts from shortly before the driver is to act until well after it, for that car alone."""
    intake = Intake(position_every_s=0.15)
    intake.look_closely([hold_call(100.0)])
    assert [let_in(intake, begin) for begin in (80.0, 96.0, 125.0, 131.0)] == [5, 10, 10, 5]
    assert [let_in(intake, begin, "58") for begin in (80.0, 96.0, 125.0, 131.0)] == [5, 5, 5, 5]


def test_about_a_procedure_a_position_that_was_overtaken_is_kept() -> None:
    """There the debrief can use it, in the order of its time; the same moment again, one that is nearly as old, and any
    outside that span are thinned as ever, and the newest stays the newest."""
    intake = Intake(position_every_s=0.15)
    intake.look_closely([hold_call(100.0)])
    came = (99.0, 100.0, 99.4, 99.4, 99.45, 98.0, 94.0, 100.05, 100.1)
    taken = [intake.offer(position(n, t), 0.0) for n, t in enumerate(came)]
    assert taken == [True, True, True, False, False, True, False, False, True]


def test_positions_stand_in_the_notes_in_the_order_of_their_time() -> None:
    """One that came after later ones stands before them, of two of one moment the first counts, and what is a minute
    older is of a feed that started over."""
    notes = Notes(cars={"41": CarNotes()})
    for seq, t in enumerate((100.0, 100.3, 100.1, 100.1, 100.2, 40.0)):
        notes.take(Stamped(seq=seq, received_t=t, event=position(seq, t)), ())
    assert notes.cars["41"].at_s == [100.0, 100.1, 100.2, 100.3]


def test_a_call_that_is_off_or_for_something_else_keeps_no_more_positions() -> None:
    """Withdrawn, skipped and missed calls, and calls that are no procedure, leave the pause as it is; calls that follow
    closely make one span."""
    intake = Intake(position_every_s=0.15)
    intake.look_closely([hold_call(100.0, state) for state in ("withdrawn", "skipped", "missed")])
    intake.look_closely([hold_call(100.0, action="set_switch")])
    assert let_in(intake, 100.0) == 5
    intake.look_closely([hold_call(200.0), hold_call(212.0)])
    assert [let_in(intake, begin) for begin in (196.0, 240.0)] == [10, 10]


def test_full_queue_takes_facts_only() -> None:
    """Chatter is refused from the limit on, facts make the queue longer; taking makes room."""
    intake = Intake(queue_limit=3)
    assert all(intake.offer(crossing(n, 0.0), 0.0) for n in range(5))
    assert not intake.offer(WeatherReported(id="w:1", t=0.0, rain=True), 0.0)
    assert not intake.offer(TyreReported(id="t:1", t=0.0, car="41", corner="fl"), 0.0)
    assert (intake.counts.over_limit, intake.counts.dropped, len(intake)) == (2, 2, 5)
    assert intake.full
    assert [event.id for _, event in intake.take(4)] == ["x:41:0", "x:41:1", "x:41:2", "x:41:3"]
    assert not intake.full
    assert intake.offer(WeatherReported(id="w:1", t=0.0, rain=True), 0.0)


def test_batch_put_back_stays_first() -> None:
    """What could not be stored comes out first again, in its order."""
    intake = Intake()
    for n in range(4):
        intake.offer(crossing(n, 0.0), float(n))
    batch = intake.take(3)
    intake.put_back(batch)
    assert intake.take(10) == [*batch, (3.0, crossing(3, 0.0))]
    assert intake.take(10) == []
