"""From files to a checked setup: an event, or one plan with the event it belongs to. All errors of all files at once.

``read_event`` and ``read_plan`` return what they could make together with every finding; ``load_setup`` and
``load_plan_setup`` are the same for callers who want a setup or an exception.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pitwall.app.filing import Filed, Files
from pitwall.app.resources import demo_event
from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.library import check_procedure
from pitwall.checks.plan import check_plan
from pitwall.errors import FileProblem, Finding, UserError
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.eventfile import EventFile, SettingsFile
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations
from pitwall.model.setup import CallTiming, Driver, SessionSetup
from pitwall.track.lapmap import LapMap, lap_map

EVENT_FILE = "event.yaml"
FOLDERS_UP = 2


@dataclass(frozen=True)
class Loaded:
    """What came of reading: the setup (None when there are errors), every finding, and where it was read from.

    ``around`` holds for each car's plan what it was checked against; ``plans`` the sound plans by car.
    """

    setup: SessionSetup | None
    findings: tuple[Finding, ...]
    event_path: Path
    plans: Mapping[str, Plan] = field(default_factory=dict)
    around: Mapping[str, Around] = field(default_factory=dict)

    @property
    def errors(self) -> tuple[Finding, ...]:
        """The findings that stop a session from being prepared."""
        return tuple(item for item in self.findings if item.severity == "error")


def load_setup(
    event_path: Path | str, *, session: str | None = None, plan_overrides: Mapping[str, Path | str] | None = None
) -> SessionSetup:
    """Read and check an event with all its files.

    Args:
        event_path: the event file.
        session: the session to prepare instead of the event file's own.
        plan_overrides: car -> plan file to use instead of the event file's.

    Raises:
        FileProblem: with every error of every file.
    """
    return _setup_of(read_event(event_path, session=session, plan_overrides=plan_overrides))


def load_plan_setup(plan_path: Path | str, event_path: Path | str | None = None) -> SessionSetup:
    """Read and check one plan with the event it belongs to; the setup holds that plan only.

    Args:
        plan_path: the plan file.
        event_path: the event file; when left out it is looked for (:func:`find_event`).

    Raises:
        FileProblem: with every error of every file.
    """
    return _setup_of(read_plan(plan_path, event_path))


def _setup_of(loaded: Loaded) -> SessionSetup:
    if loaded.errors or loaded.setup is None:
        raise FileProblem(loaded.errors)
    return loaded.setup


def find_event(plan_path: Path) -> Path:
    """The event file for a plan: beside it, up to two folders above it, else the demo event that ships with pitwall."""
    folder = plan_path.absolute().parent
    for candidate in (folder, *folder.parents[:FOLDERS_UP]):
        if (candidate / EVENT_FILE).is_file():
            return candidate / EVENT_FILE
    return demo_event()


def read_event(
    event_path: Path | str, *, session: str | None = None, plan_overrides: Mapping[str, Path | str] | None = None
) -> Loaded:
    """As :func:`load_setup`, but findings are returned and nothing is raised for them."""
    return _Reading(Path(event_path), session).event(dict(plan_overrides or {}))


def read_plan(plan_path: Path | str, event_path: Path | str | None = None) -> Loaded:
    """As :func:`load_plan_setup`, but findings are returned and nothing is raised for them."""
    chosen = Path(event_path) if event_path is not None else find_event(Path(plan_path))
    return _Reading(chosen, None).one_plan(Path(plan_path))


@dataclass
class _Base:
    """The files that all cars share, as far as they could be read."""

    regulations: Filed[Regulations]
    circuit: Filed[Circuit]
    settings: Filed[SettingsFile]
    procedures: dict[str, Filed[Procedure]]
    unread: frozenset[str]


class _Reading:
    """One reading of an event: opens files, collects findings, and puts the setup together at the end."""

    def __init__(self, event_path: Path, session: str | None) -> None:
        self.path, self.session = event_path, session
        self.files = Files()
        self.cars: dict[str, Filed[Car]] = {}
        self.plans: dict[str, Filed[Plan]] = {}
        self.around: dict[str, Around] = {}

    def event(self, overrides: dict[str, Path | str]) -> Loaded:
        """Every car of the event."""
        event = self.files.read(self.path, EventFile)
        if event.model is None:
            return self._result(None)
        base = self._base(event)
        for car, entry in event.model.cars.items():
            self.cars[car] = self.files.read(self._beside(entry.car), Car)
            plan_path = Path(overrides[car]) if car in overrides else self._beside(entry.plan)
            self._plan_for(car, self.files.read(plan_path, Plan), event, base)
        self._check_overrides(event, overrides)
        return self._finish(event, base)

    def one_plan(self, plan_path: Path) -> Loaded:
        """The car of one plan only."""
        plan = self.files.read(plan_path, Plan)
        event = self.files.read(self.path, EventFile)
        if event.model is None:
            return self._result(None)
        base = self._base(event)
        car = plan.model.car if plan.model is not None else None
        entry = event.model.cars.get(car) if car is not None else None
        if car is None or entry is None:
            if plan.model is not None:
                self._check(plan, Filed(), event, base)
            return self._finish(event, base)
        self.cars[car] = self.files.read(self._beside(entry.car), Car)
        self._plan_for(car, plan, event, base)
        return self._finish(event, base)

    def _beside(self, name: str) -> Path:
        return self.path.parent / name

    def _base(self, event: Filed[EventFile]) -> _Base:
        assert event.model is not None
        regulations = self.files.read(self._beside(event.model.regulations), Regulations)
        circuit = self.files.read(self._beside(event.model.circuit), Circuit)
        settings: Filed[SettingsFile] = Filed(SettingsFile(settings=1))
        if event.model.settings is not None:
            settings = self.files.read(self._beside(event.model.settings), SettingsFile)
        procedures, unread = self._library(event)
        self._check_regulations(regulations, procedures, unread)
        self._check_session(event, regulations)
        self._check_quiet_places(circuit)
        return _Base(regulations, circuit, settings, procedures, unread)

    def _library(self, event: Filed[EventFile]) -> tuple[dict[str, Filed[Procedure]], frozenset[str]]:
        assert event.model is not None
        folder = self._beside(event.model.procedures)
        found: dict[str, Filed[Procedure]] = {}
        unread: set[str] = set()
        paths = self.files.listing(folder)
        if paths is None:
            self.files.note(event, finding(
                "PW001" if not folder.exists() else "PW002", path=("procedures",), found=f"no folder {str(folder)!r}",
                expected="a folder with one file for each procedure"))
            return {}, frozenset()
        for path in paths:
            filed = self.files.read(path, Procedure)
            if filed.model is None:
                unread.update({path.stem, *filed.said_names()})
            elif filed.model.name in found:
                self.files.note(filed, finding("PW111", path=("name",), found=f"procedure {filed.model.name!r} again",
                                               expected=f"another name than in {found[filed.model.name].name}"))
            else:
                self._check_stem(path, filed)
                found[filed.model.name] = filed
        return found, frozenset(unread)

    def _check_stem(self, path: Path, filed: Filed[Procedure]) -> None:
        assert filed.model is not None
        if path.stem != filed.model.name:
            self.files.note(filed, finding("PW110", path=("name",), found=f"{filed.model.name!r} in {path.name}",
                                           expected=f"{path.stem!r}, as the file is called"))

    def _check_regulations(
        self, regulations: Filed[Regulations], procedures: Iterable[str], unread: frozenset[str]
    ) -> None:
        known = {*procedures, *unread}
        if regulations.model is None or not known:
            return
        for index, name in enumerate(regulations.model.after_flag_items):
            if name not in known:
                self.files.note(regulations, finding("PW113", path=("after_flag_items", index),
                                                     found=f"{name!r}", expected="a procedure of the library"))

    def _check_session(self, event: Filed[EventFile], regulations: Filed[Regulations]) -> None:
        assert event.model is not None
        if regulations.model is None:
            return
        known = ", ".join(window.session for window in regulations.model.sessions)
        if self.session is not None and regulations.model.window(self.session) is None:
            raise UserError(f"unknown session {self.session!r}: {regulations.name} has {known}")
        if regulations.model.window(event.model.session) is None:
            self.files.note(event, finding("PW107", path=("session",), found=f"unknown session {event.model.session!r}",
                                           expected=f"a session of {regulations.name}", suggestion=f"there are {known}"))

    def _check_quiet_places(self, circuit: Filed[Circuit]) -> None:
        if circuit.model is None:
            return
        known = circuit.model.place_names()
        for index, name in enumerate(circuit.model.quiet_places):
            if " ".join(name.lower().split()) not in {" ".join(one.lower().split()) for one in known}:
                self.files.note(circuit, finding("PW204", path=("quiet_places", index), found=f"unknown place {name!r}",
                                                 expected=f"one of: {', '.join(known)}"))

    def _check_overrides(self, event: Filed[EventFile], overrides: Mapping[str, Path | str]) -> None:
        assert event.model is not None
        unknown = sorted(set(overrides) - set(event.model.cars))
        if unknown:
            raise UserError(f"no car {', '.join(unknown)} in {event.name}: it has {', '.join(event.model.cars)}")

    def _plan_for(self, car: str, plan: Filed[Plan], event: Filed[EventFile], base: _Base) -> None:
        assert event.model is not None
        if plan.model is None:
            return
        self.plans[car] = plan
        if plan.model.car != car:
            self.files.note(plan, finding("PW106", path=("car",), found=f"car {plan.model.car!r}",
                                          expected=f"{car!r}, the car that {event.name} gives this plan to"))
        self._check(plan, self.cars[car], event, base)
        driver = event.model.cars[car].driver
        if driver is not None and driver != plan.model.driver and plan.model.driver in event.model.drivers:
            self.files.note(plan, finding("PW112", path=("driver",), found=f"driver {plan.model.driver!r}",
                                          expected=f"{driver!r} as in {event.name}"))
        for key, name in plan.model.alternates.items():
            self._alternate(key, name, plan, car, event, base)

    def _alternate(
        self, key: str, name: str, plan: Filed[Plan], car: str, event: Filed[EventFile], base: _Base
    ) -> None:
        path = plan.path.parent / name if plan.path is not None else Path(name)
        if not path.exists():
            self.files.note(plan, finding("PW001", path=("alternates", key), found=f"no file {name!r}",
                                          expected="a plan, as a path from this file's folder"))
            return
        other = self.files.read(path, Plan)
        if other.model is not None:
            self._check(other, self.cars[car], event, base, keep_around=False)

    def _check(
        self, plan: Filed[Plan], car: Filed[Car], event: Filed[EventFile], base: _Base, keep_around: bool = True
    ) -> None:
        assert plan.model is not None and event.model is not None
        calls = base.settings.model.calls if base.settings.model is not None else CallTiming()
        around = Around(
            regulations=base.regulations.sound, circuit=base.circuit.sound, car=car.sound,
            lap=_lap(base.circuit.sound, car.sound, calls),
            procedures={name: filed.model for name, filed in base.procedures.items() if filed.model and filed.is_sound},
            unread_procedures=base.unread | {name for name, filed in base.procedures.items() if not filed.is_sound},
            drivers=tuple(event.model.drivers) if event.is_sound else None,
            cars=tuple(event.model.cars) if event.is_sound else None,
            wet=event.model.wet, car_file=car.short_name or "the car file",
            circuit_file=base.circuit.short_name or "the circuit file", library="the procedure library",
            unread_runs=plan.said_names(("runs",), "run"),
        )
        if keep_around:
            self.around[plan.model.car] = around
        for found in check_plan(plan.model, around):
            self.files.note(plan, found)

    def _finish(self, event: Filed[EventFile], base: _Base) -> Loaded:
        cars = [(filed.short_name, filed.model) for filed in self.cars.values() if filed.model and filed.is_sound]
        for filed in base.procedures.values():
            if filed.model is not None:
                for found in check_procedure(filed.model, cars):
                    self.files.note(filed, found)
        if self.files.has_errors or not self.plans:
            return self._result(None)
        return self._result(self._setup(event, base))

    def _setup(self, event: Filed[EventFile], base: _Base) -> SessionSetup:
        assert event.model is not None and base.regulations.model is not None and base.circuit.model is not None
        assert base.settings.model is not None
        plans = {car: filed.model for car, filed in self.plans.items() if filed.model is not None}
        sole = next(iter(plans.values())).session if len(plans) == 1 else event.model.session
        return SessionSetup(
            event=event.model.name, team=event.model.team, wet=event.model.wet, session=self.session or sole,
            regulations=base.regulations.model, circuit=base.circuit.model,
            cars={car: filed.model for car, filed in self.cars.items() if filed.model is not None},
            drivers={name: Driver(driver=name, spoken=entry.spoken) for name, entry in event.model.drivers.items()},
            plans=plans,
            procedures={name: filed.model for name, filed in base.procedures.items() if filed.model is not None},
            field_cars=event.model.field_cars, calls=base.settings.model.calls, forecast=base.settings.model.forecast,
        )

    def _result(self, setup: SessionSetup | None) -> Loaded:
        plans = {car: filed.model for car, filed in self.plans.items() if filed.model is not None and filed.is_sound}
        return Loaded(setup, self.files.sorted_findings(), self.path, plans, self.around)


def _lap(circuit: Circuit | None, car: Car | None, calls: CallTiming) -> LapMap | None:
    if circuit is None or (car is None and not circuit.timing_only):
        return None
    try:
        return lap_map(circuit, car, calls)
    except UserError:
        return None  # an unknown quiet place: reported already, with its line in the circuit file
