"""Going on from a journal, refusing one of other files, putting one aside."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitwall.app.journals import changed_parts, open_journal, put_aside
from pitwall.errors import JournalError, UserError
from pitwall.model.events import Event, PlanFileRead, SessionPrepared, Stamped, StatusChanged, TimeReached
from pitwall.model.setup import CallTiming, SessionSetup
from pitwall.testing import tiny_setup


async def _begun(path: Path, setup: SessionSetup) -> None:
    journal = await open_journal(path, setup)
    await journal.append([Stamped(seq=0, received_t=0.0, event=SessionPrepared(id="prepared", t=0.0, setup=setup))])
    await journal.close()


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


async def test_same_files_go_on(tmp_path: Path) -> None:
    """A journal of the same setup opens again with what it holds, though the setup went through JSON."""
    path = tmp_path / "event" / "practice-1.sqlite"
    await _begun(path, tiny_setup())
    journal = await open_journal(path, tiny_setup())
    assert journal.stored == 1
    await journal.close()


async def test_other_files_are_refused_with_the_remedy(tmp_path: Path) -> None:
    """The message names what changed and offers --fresh; the journal is left as it was and unlocked."""
    path = tmp_path / "practice-1.sqlite"
    await _begun(path, tiny_setup())
    with pytest.raises(UserError, match=r"changed: calls.*--fresh"):
        await open_journal(path, tiny_setup(calls=CallTiming(lead_s=33)))
    journal = await open_journal(path, tiny_setup())
    await journal.close()


async def test_a_changed_plan_is_no_reason_to_refuse_a_journal(tmp_path: Path) -> None:
    """Plans change in mid-session: the daemon goes on, and the changed plan is proposed to the desk."""
    path = tmp_path / "practice-1.sqlite"
    await _begun(path, tiny_setup())
    (car,) = tiny_setup().plans
    plan = tiny_setup().plans[car].model_copy(update={"medium": "board"})
    journal = await open_journal(path, tiny_setup(plans={car: plan}, alternates={car: {"wet": plan}}))
    assert journal.stored == 1
    await journal.close()


async def _went_on(path: Path, *facts: Event) -> None:
    journal = await open_journal(path, tiny_setup())
    await journal.append([Stamped(seq=at, received_t=fact.t, event=fact) for at, fact in enumerate(facts, 1)])
    await journal.close()


async def test_a_session_that_is_over_is_not_gone_on_with_under_plans_that_it_never_had(tmp_path: Path) -> None:
    """Nothing of it can come any more: the plans are of another session, most likely of another folder. Where it was
    told of them while it ran it is the same one."""
    (car,) = tiny_setup().plans
    plan = tiny_setup().plans[car].model_copy(update={"medium": "board"})
    closed = StatusChanged(id="closed", t=700.0, status="closed")
    other, told = tmp_path / "other.sqlite", tmp_path / "told.sqlite"
    for path, facts in ((other, [closed]),
                        (told, [PlanFileRead(id="read", t=300.0, car=car, file="plan.yaml", plan=plan), closed])):
        await _begun(path, tiny_setup())
        await _went_on(path, *facts)
    with pytest.raises(UserError, match=rf"is over since 11:40.*car {car}.*--fresh.*--journal"):
        await open_journal(other, tiny_setup(plans={car: plan}))
    for path, setup in ((other, tiny_setup()), (told, tiny_setup(plans={car: plan}))):
        journal = await open_journal(path, setup)
        assert journal.stored > 1
        await journal.close()


async def test_fresh_keeps_the_old_journal(tmp_path: Path) -> None:
    """--fresh twice gives two numbered journals beside the new one, each readable."""
    path = tmp_path / "practice-1.sqlite"
    await _begun(path, tiny_setup())
    for _ in range(2):
        journal = await open_journal(path, tiny_setup(), fresh=True)
        assert journal.stored == 0
        await journal.close()
        await _begun(path, tiny_setup())
    kept = await open_journal(tmp_path / "practice-1.1.sqlite", tiny_setup())
    assert kept.stored == 1
    await kept.close()
    assert (tmp_path / "practice-1.2.sqlite").exists()


async def test_fresh_refuses_a_journal_in_use(tmp_path: Path) -> None:
    """A journal that a daemon writes is not pulled away from under it."""
    path = tmp_path / "practice-1.sqlite"
    journal = await open_journal(path, tiny_setup())
    with pytest.raises(JournalError, match="in use"):
        await open_journal(path, tiny_setup(), fresh=True)
    await journal.close()


async def test_journal_that_does_not_begin_with_a_session_is_refused(tmp_path: Path) -> None:
    """A journal whose first fact is not the setup cannot be gone on with."""
    path = tmp_path / "practice-1.sqlite"
    journal = await open_journal(path, tiny_setup())
    await journal.append([Stamped(seq=0, received_t=0.0, event=TimeReached(id="x", t=0.0))])
    await journal.close()
    with pytest.raises(JournalError, match="--fresh"):
        await open_journal(path, tiny_setup())


def test_put_aside_without_a_journal_does_nothing(tmp_path: Path) -> None:
    """There is nothing to rename before the first session."""
    assert put_aside(tmp_path / "none.sqlite") is None


def test_changed_parts_names_cars_and_files() -> None:
    """A changed plan is named with its car, an added procedure with its name, and equal setups with nothing."""
    old = tiny_setup()
    assert changed_parts(old, tiny_setup()) == ()
    plan = old.plans["41"].model_copy(update={"medium": "board"})
    more = old.procedures | {"again": old.procedures["radio_check"]}
    assert changed_parts(old, tiny_setup(plans={"41": plan}, procedures=more)) == ("plans 41", "procedures again")


@pytest.mark.parametrize("fresh", [False, True])
async def test_folder_is_refused_and_left_in_place(tmp_path: Path, fresh: bool) -> None:
    """A folder in the place of a journal is named with what to give instead; --fresh does not rename it."""
    with pytest.raises(UserError, match=r"is a folder, give a file, for example .*practice-1\.sqlite"):
        await open_journal(tmp_path, tiny_setup(), fresh=fresh)
    assert _names(tmp_path) == []
    assert _names(tmp_path.parent).count(tmp_path.name) == 1
