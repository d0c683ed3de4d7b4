"""From a scenario file to a rehearsal: the scenario, the session's setup as long as it wants it, and the seed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pitwall.app.filing import Files, display_name
from pitwall.app.loading import load_setup
from pitwall.app.resources import find_shipped, shipped
from pitwall.app.timetable import entries_for
from pitwall.app.yaml_lines import near_file_name, read_document
from pitwall.errors import FileProblem, UserError
from pitwall.model.eventfile import EventFile
from pitwall.model.setup import SessionSetup
from pitwall.model.timetable import TimetableEntry
from pitwall.rehearsal.scenario import Scenario


@dataclass(frozen=True)
class Rehearsal:
    """What is rehearsed; daemon and world get the same setup. The files are those that setup was read from."""

    scenario: Scenario
    setup: SessionSetup
    seed: int
    scenario_file: Path
    event_file: Path
    plan_files: Mapping[str, str]
    """Car -> its plan, as it is written in the event file or the scenario."""
    timetable: tuple[TimetableEntry, ...] = ()
    """The day on which the session is, by the clock of the event."""

    @property
    def plan_names(self) -> dict[str, str]:
        """Car -> the name of its plan file, the same on every machine."""
        return {car: Path(name).name for car, name in self.plan_files.items()}

    def in_words(self) -> str:
        """Scenario, event and plans in three lines, with the files they come from."""
        plans = ", ".join(f"car {car} {name}" for car, name in self.plan_names.items())
        return (
            f"rehearsing {self.scenario.name!r} ({display_name(self.scenario_file)}), seed {self.seed}\n"
            f"  event  {self.setup.event} ({display_name(self.event_file)}), session {self.setup.session}\n"
            f"  plans  {plans}"
        )


def load_rehearsal(name: str, seed: int | None = None, event: str | None = None) -> Rehearsal:
    """Read a scenario and everything it names.

    Args:
        name: a path, or the name of a shipped scenario (``practice_hour.yaml``).
        seed: instead of the scenario's own.
        event: an event file instead of the scenario's, a path or the name of a shipped one. It comes with its own
            plans; the session is the scenario's when this event has one of that name, else the event's own choice.

    Raises:
        UserError: when there is no such scenario or event, or when an event is given in a scenario's place.
        FileProblem: with every error of every file.
    """
    path = locate(name, "simulations")
    if is_event(path):
        raise UserError(f"{name}: this is an event: pitwall rehearse practice_hour.yaml --event {name}")
    files = Files()
    scenario = files.read(path, Scenario).model
    if scenario is None or files.has_errors:
        raise FileProblem(files.sorted_findings())
    if event is not None:
        event_file, plans = locate(event, "config"), {}
        setup = _of_session(event_file, scenario.session)
    else:
        event_file, plans = path.parent / scenario.event, dict(sorted(scenario.plans.items()))
        setup = load_setup(
            event_file, session=scenario.session,
            plan_overrides={car: path.parent / plan for car, plan in plans.items()},
        )
    own = files.read(event_file, EventFile).model
    assert own is not None  # it was read without errors a moment ago
    plan_files = {car: plans.get(car, entry.plan) for car, entry in own.cars.items()}
    used = scenario.seed if seed is None else seed
    timetable = entries_for(own, setup.regulations, setup.session)
    return Rehearsal(scenario, scenario.fitted(setup), used, path, event_file, plan_files, timetable)


def _of_session(event_file: Path, session: str | None) -> SessionSetup:
    """The event's setup for this session if it has one of that name, else for its own."""
    setup = load_setup(event_file)
    if session == setup.session or session not in {window.session for window in setup.regulations.sessions}:
        return setup
    return load_setup(event_file, session=session)


def is_event(path: Path) -> bool:
    """True for a file that looks like an event: it may have faults, but it is meant as one."""
    try:
        data = read_document(path).data
    except FileProblem:
        return False
    # Scenarios name their event, plans have no key of that name.
    return isinstance(data, dict) and "event" in data and "scenario" not in data and "plan" not in data


def locate(name: str, kind: str) -> Path:
    """A file by path, else among the shipped ones: by its bare name, or by its path as it stands in the repository.

    Args:
        name: what the person wrote.
        kind: ``simulations`` or ``config``.

    Raises:
        UserError: when neither is there; names the nearest, and all shipped ones.
    """
    path = Path(name)
    found = path if path.is_file() else shipped_of(name, kind)
    if found is not None:
        return found
    offered = names(kind)
    if path.is_dir():
        raise UserError(f"{name!r} is a folder, expected a file in it or a shipped name: {', '.join(offered)}")
    bare = _bare(path, kind)
    meant = near_file_name(bare, offered)
    hint = f"did you mean {meant!r}?" if meant else None
    raise UserError(f"no file {name!r}, and none of that name ships with pitwall{f': {hint}' if hint else '.'} "
                    f"Shipped: {', '.join(offered)}")


def shipped_of(name: str, kind: str) -> Path | None:
    """The shipped file that this means, by its bare name or its path in the repository; None when there is none."""
    return find_shipped(kind, _bare(Path(name), kind))


def _bare(path: Path, kind: str) -> str:
    return path.name if path.parent in (Path("."), Path(kind)) else ""


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
