"""Plan files watched while the daemon runs: each change that is whole and new becomes the fact ``PlanFileRead``.

Editors write in many ways: in place, half and then the rest, to another file that is renamed, or by taking the file
away first. So a file is read once its content is the same in two looks, and what counts is the plan in it: a comment
changes nothing. A plan is checked against the session as it was prepared, which is what the engine runs, and not
against other files that may lie beside it by now. Nothing here changes a plan: the engine proposes, a person decides.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import structlog

from pitwall.app.filing import Files
from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.plan import check_plan
from pitwall.engine.session import Session
from pitwall.errors import Finding
from pitwall.model.events import PlanFileRead
from pitwall.model.plan import Alternate, Plan
from pitwall.model.setup import SessionSetup
from pitwall.runtime.ports import Submit
from pitwall.track.lapmap import lap_map

_log = structlog.get_logger(__name__)

LOOK_EVERY_S = 1.0
GONE = "gone"
MOST_TEXT = 2000
READ_AT_MOST = 2**21  # more than a plan may have: what lies behind it makes no plan of it
MOST_WARNINGS = 40

PlanFiles = Mapping[str, Mapping[Alternate | None, Path]]
"""Where the plan (None) and the alternates of each car lie."""


def around_setup(setup: SessionSetup, car: str) -> Around:
    """What a changed plan of this car is checked against: the session as it was prepared."""
    mine = setup.cars[car]
    lap = lap_map(setup.circuit, mine, setup.calls)
    return Around(
        regulations=setup.regulations, circuit=setup.circuit, car=mine, lap=lap, procedures=setup.procedures,
        drivers=tuple(setup.drivers) or None, cars=tuple(setup.cars), wet=setup.wet, calls=setup.calls,
    )


def read_changed_plan(path: Path, car: str, around: Around) -> tuple[Plan | None, tuple[Finding, ...]]:
    """Read and check one plan file; the plan is None when there are errors in it."""
    files = Files()
    filed = files.read(path, Plan)
    if filed.model is not None:
        if filed.model.car != car:
            files.note(filed, finding("PW106", path=("car",), found=f"car {filed.model.car!r}",
                                      expected=f"{car!r}, as when the daemon began"))
        for found in check_plan(filed.model, around):
            files.note(filed, found)
    named = tuple(replace(one, file=path.name) for one in files.sorted_findings())
    return (None if files.has_errors else filed.model), named


@dataclass
class _Watched:
    """One file, what its content was when it was last read, and what the engine knows of it."""

    car: str
    alternate: Alternate | None
    path: Path
    known: Plan | None
    read: str | None = None
    seen: str | None = None
    problem: str | None = None


class PlanWatch:
    """Looks at the plan files of an event, and tells what changed in them."""

    def __init__(
        self, files: PlanFiles, session: Session, tell: Submit, now: Callable[[], float], stored: Callable[[], int]
    ) -> None:
        """Watch these files from now on; a file that differs from what the session knows is told as well.

        Args:
            files: where they lie; those of cars without a plan in the session are left out.
            session: prepared, or gone on from its journal.
            tell: takes the facts.
            now: session seconds.
            stored: how many facts the journal holds, which makes ids that no earlier life has used.
        """
        self._session, self._tell, self._now, self._stored, self._told = session, tell, now, stored, 0
        self._around = {car: around_setup(session.setup, car) for car in sorted(set(files) & set(session.team))}
        self._watched = [
            self._begun(session, car, kind, path) for car in self._around for kind, path in files[car].items()
        ]

    def _begun(self, session: Session, car: str, kind: Alternate | None, path: Path) -> _Watched:
        known = session.team[car].desk.latest.get(kind)
        return _Watched(car, kind, path, known, problem=_standing(session, car, kind))

    async def run(self) -> None:
        """Look once a second. Reading is done beside the loop: a folder on a slow network holds up nobody."""
        while True:
            try:
                facts = await asyncio.to_thread(self.look)
            except Exception:
                _log.exception("plan files could not be looked at")
                facts = ()
            for fact in facts:
                self._tell(fact)
            await asyncio.sleep(LOOK_EVERY_S)

    def look(self) -> tuple[PlanFileRead, ...]:
        """One look at every file: what is new since the last one, and whole."""
        found = [self._look_at(one) for one in self._watched]
        return tuple(fact for fact in found if fact is not None)

    def _look_at(self, one: _Watched) -> PlanFileRead | None:
        content = _content(one.path)
        settled, one.seen = content == one.seen, content
        if not settled or content == one.read:
            return None
        one.read = content
        if content == GONE:
            return self._bad(one, f"{one.path.name}: the file is gone; put it back")
        plan, findings = read_changed_plan(one.path, one.car, self._around[one.car])
        if _content(one.path) != content:
            one.read = None  # written again meanwhile: the next look reads it
            return None
        errors = [item for item in findings if item.severity == "error"]
        if plan is None:
            more = f" (and {len(errors) - 1} more: pitwall check)" if len(errors) > 1 else ""
            return self._bad(one, (errors[0].text() if errors else one.path.name) + more)
        return self._good(one, plan, findings)

    def _good(self, one: _Watched, plan: Plan, findings: tuple[Finding, ...]) -> PlanFileRead | None:
        if plan == one.known and one.problem is None:
            return None
        one.known, one.problem = plan, None
        base = self._session.team[one.car].desk.base.get(one.alternate)
        had = {_doubt(item) for item in check_plan(base, self._around[one.car])} if base is not None else set()
        new = tuple(item.text() for item in findings if _doubt(item) not in had)
        return self._fact(one, plan=plan, warnings=new[:MOST_WARNINGS])

    def _bad(self, one: _Watched, problem: str) -> PlanFileRead | None:
        if problem == one.problem:
            return None
        one.problem = problem
        return self._fact(one, problem=problem[:MOST_TEXT])

    def _fact(
        self, one: _Watched, *, plan: Plan | None = None, warnings: tuple[str, ...] = (), problem: str | None = None
    ) -> PlanFileRead:
        self._told += 1
        name = f"plan-file:{one.car}:{one.alternate or 'plan'}:{self._stored()}:{self._told}"
        return PlanFileRead(id=name, t=self._now(), car=one.car, file=one.path.name[:255], alternate=one.alternate,
                            plan=plan, warnings=warnings, problem=problem)


def _doubt(item: Finding) -> tuple[str, str]:
    """A warning whatever line it stands in: those of the plan as it was taken over are not told again."""
    return item.code, item.found


def _content(path: Path) -> str:
    """What the file holds, told apart by its digest; a file that cannot be read is told apart by the reason."""
    try:
        with path.open("rb") as file:
            return hashlib.sha256(file.read(READ_AT_MOST)).hexdigest()
    except FileNotFoundError:
        return GONE
    except OSError as problem:
        return f"unreadable: {problem.errno}"


def _standing(session: Session, car: str, kind: Alternate | None) -> str | None:
    """The problem that an earlier life of the daemon left standing."""
    alert = session.alerts.active.get("-".join(part for part in ("plan-file", car, kind) if part))
    return alert.text if alert is not None else None
