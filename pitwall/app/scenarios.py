"""From a scenario file to a rehearsal: the scenario, the session's setup as long as it wants it, and the seed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pitwall.app.filing import Files
from pitwall.app.loading import load_setup
from pitwall.app.resources import find_shipped, shipped
from pitwall.errors import FileProblem, UserError
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.scenario import Scenario


@dataclass(frozen=True)
class Rehearsal:
    """What is rehearsed; daemon and world get the same setup."""

    scenario: Scenario
    setup: SessionSetup
    seed: int


def load_rehearsal(name: str, seed: int | None = None) -> Rehearsal:
    """Read a scenario and everything it names.

    Args:
        name: a path, or the name of a shipped scenario (``practice_hour.yaml``).
        seed: instead of the scenario's own.

    Raises:
        UserError: when there is no such scenario.
        FileProblem: with every error of every file.
    """
    path = locate(name, "simulations")
    files = Files()
    scenario = files.read(path, Scenario).model
    if scenario is None or files.has_errors:
        raise FileProblem(files.sorted_findings())
    folder = path.parent
    setup = load_setup(
        folder / scenario.event,
        session=scenario.session,
        plan_overrides={car: folder / plan for car, plan in sorted(scenario.plans.items())},
    )
    return Rehearsal(scenario, scenario.fitted(setup), scenario.seed if seed is None else seed)


def locate(name: str, kind: str) -> Path:
    """A file by path, else among the shipped ones: by its bare name, or by its path as it stands in the repository.

    Args:
        name: what the person wrote.
        kind: ``simulations`` or ``config``.

    Raises:
        UserError: when neither is there; names the shipped ones.
    """
    path = Path(name)
    if path.is_file():
        return path
    bare = path.name if path.parent in (Path("."), Path(kind)) else ""
    found = find_shipped(kind, bare)
    if found is None:
        offered = ", ".join(names(kind))
        raise UserError(f"no file {name!r}, and none of that name ships with pitwall. Shipped: {offered}")
    return found


def names(kind: str) -> tuple[str, ...]:
    """The names of the shipped scenarios or event files, sorted."""
    wanted = "scenario:" if kind == "simulations" else "event:"
    return tuple(sorted(path.name for path in shipped(kind).glob("*.yaml") if _starts(path, wanted)))


def _starts(path: Path, key: str) -> bool:
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return False
    return any(line.startswith(key) for line in lines)
