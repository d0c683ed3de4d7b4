"""Opening the journal of a session: go on from it, refuse it when the files changed, or put it aside and start anew."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pitwall.errors import JournalError, UserError
from pitwall.journal.lock import WriterLock
from pitwall.journal.sqlite import SqliteJournal
from pitwall.model.events import PlanFileRead, SessionPrepared, Stamped, StatusChanged
from pitwall.model.setup import SessionSetup
from pitwall.model.units import clock_text

SIDE_FILES = ("", "-wal", "-shm")
MAY_CHANGE = ("plans ", "alternates ")
"""Parts of a setup that may differ from the journal's: plans change, and a changed one is proposed to the desk."""


async def open_journal(path: Path, setup: SessionSetup, *, fresh: bool = False) -> SqliteJournal:
    """Open the journal for this setup, making it if need be.

    Args:
        path: the file.
        setup: what the daemon is about to run.
        fresh: put an existing journal aside (renamed, never deleted) and start a new one.

    Raises:
        UserError: when the journal is a folder, was begun with other files than plans, or is of a session that is over
            and never had these plans; says which and what to do.
        JournalError: when it is in use, damaged, newer or cannot be written.
    """
    _refuse_folder(path, setup.session)
    if fresh:
        put_aside(path)
    journal = await SqliteJournal.open(path)
    try:
        facts = await journal.read()
        if facts:
            _check_same(path, facts, setup)
    except BaseException:
        await journal.close()
        raise
    return journal


def put_aside(path: Path) -> Path | None:
    """Rename a journal and its side files to the next free number; returns the new name, None when there was none.

    Raises:
        JournalError: when a daemon is writing it.
    """
    if not path.exists():
        return None
    lock = WriterLock(path)
    try:
        number = 1
        while (target := path.with_name(f"{path.stem}.{number}{path.suffix}")).exists():
            number += 1
        for side in SIDE_FILES:
            old = path.with_name(path.name + side)
            if old.exists():
                old.rename(target.with_name(target.name + side))
    except OSError as problem:
        raise JournalError(f"{path}: cannot be put aside ({problem.strerror}); move it away by hand") from problem
    finally:
        lock.release()
    return target


def changed_parts(old: SessionSetup, new: SessionSetup) -> tuple[str, ...]:
    """Which parts of two setups differ, by name: ``plans 41``, ``circuit``."""
    changed: list[str] = []
    for name in type(new).model_fields:
        before, after = getattr(old, name), getattr(new, name)
        if isinstance(after, dict):
            keys = sorted(set(before) | set(after))
            changed += [f"{name} {key}" for key in keys if before.get(key) != after.get(key)]
        elif before != after:
            changed.append(name)
    return tuple(changed)


def _refuse_folder(path: Path, session: str) -> None:
    if path.is_dir():
        raise UserError(f"{path}: is a folder, give a file, for example {path / f'{session}.sqlite'}")


def _check_same(path: Path, facts: Sequence[Stamped], setup: SessionSetup) -> None:
    first = facts[0].event
    if not isinstance(first, SessionPrepared):
        raise JournalError(f"{path}: does not begin with a session; it is damaged. Start over with --fresh.")
    # Both through JSON: a setup that was stored and read again must compare equal to itself.
    again = SessionSetup.model_validate_json(setup.model_dump_json())
    changed = [part for part in changed_parts(first.setup, again) if not part.startswith(MAY_CHANGE)]
    if changed:
        raise UserError(
            f"the journal {path} was begun with other files (changed: {', '.join(changed)}). To go on with it, put the "
            "files back as they were; to start over, add --fresh (the old journal is kept under another name) "
            "or name another file with --journal."
        )
    closed_s, strange = _closed(facts), _never_had(facts, first.setup, again)
    if closed_s is not None and strange:
        raise UserError(
            f"the journal {path} is of a session that is over since {clock_text(closed_s)}, and never had the "
            f"{'plan' if len(strange) == 1 else 'plans'} of car {', car '.join(strange)}: nothing is left to go on "
            "with. To start over, add --fresh (the old journal is kept under another name) or name another file with "
            f"--journal; what came of the old one tells: pitwall debrief {path}"
        )


def _closed(facts: Sequence[Stamped]) -> float | None:
    """The session second at which the session was closed, where nothing opened it again."""
    told = [one.event for one in facts if isinstance(one.event, StatusChanged) and one.event.status is not None]
    return told[-1].t if told and told[-1].status == "closed" else None


def _never_had(facts: Sequence[Stamped], old: SessionSetup, new: SessionSetup) -> list[str]:
    """Cars whose plan is neither that of the beginning nor one of a plan file that was read while the session ran."""
    read = [one.event for one in facts if isinstance(one.event, PlanFileRead)]
    return sorted(car for car, plan in new.plans.items()
                  if plan != old.plans.get(car) and all(plan != one.plan for one in read if one.car == car))
