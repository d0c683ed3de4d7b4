"""From files to a checked setup: an event, or one plan with the event it belongs to. All errors of all files at once.

``read_event`` and ``read_plan`` return what they could make together with every finding; ``load_setup`` and
``load_plan_setup`` are the same for callers who want a setup or an exception.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pitwall.app.filing import Filed, Files, may_be_there
from pitwall.app.resources import demo_event
from pitwall.app.shared_files import (
    Shared,
    check_car_drivers,
    check_library,
    check_loops_and_stretches,
    check_plan_session,
    check_words,
    demand_session,
    drivers_of,
    limits_of,
    read_shared,
)
from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.plan import check_plan
from pitwall.errors import FileProblem, Finding, UserError
from pitwall.model.car import Car
from pitwall.model.eventfile import EventFile
from pitwall.model.plan import Alternate, Plan
from pitwall.model.setup import SessionSetup
from pitwall.track.lapmap import LapMap, lap_map

EVENT_FILE = "event.yaml"
FOLDERS_UP = 2


@dataclass(frozen=True)
class Loaded:
    """What came of reading: the setup (None when there are errors), every finding, and where it was read from.

    ``around`` holds for each car's plan what it was checked against; ``plans`` the sound plans by car; ``plan_files``
    where the plan (None) and its alternates of each car lie.
    """

    setup: SessionSetup | None
    findings: tuple[Finding, ...]
    event_path: Path
    plans: Mapping[str, Plan] = field(default_factory=dict)
    around: Mapping[str, Around] = field(default_factory=dict)
    plan_files: Mapping[str, Mapping[Alternate | None, Path]] = field(default_factory=dict)
    event: EventFile | None = None

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


class _Reading:
    """One reading of an event: opens files, collects findings, and puts the setup together at the end."""

    def __init__(self, event_path: Path, session: str | None) -> None:
        self.path, self.session = event_path, session
        self.files = Files()
        self.cars: dict[str, Filed[Car]] = {}
        self.plans: dict[str, Filed[Plan]] = {}
        self.around: dict[str, Around] = {}
        self.alternates: dict[str, dict[Alternate, Plan]] = {}
        self.plan_files: dict[str, dict[Alternate | None, Path]] = {}
        self.laps: dict[int, LapMap | None] = {}
        self.read: EventFile | None = None
        self.served: str | None = None

    def event(self, overrides: dict[str, Path | str]) -> Loaded:
        """Every car of the event."""
        filed = self.files.read(self.path, EventFile)
        event = self.read = filed.model
        if event is None:
            return self._result(None)
        shared = read_shared(self.files, self.path, event, filed)
        self.served = self.session or event.session
        if self.session is not None:
            demand_session(shared.regulations, self.session)
        unknown = sorted(set(overrides) - set(event.cars))
        if unknown and filed.is_sound:
            raise UserError(f"no car {', '.join(unknown)} in {filed.name}: it has {', '.join(event.cars)}")
        for car, entry in event.cars.items():
            self.cars[car] = self.files.read_named(self._beside(entry.car), Car, filed, ("cars", car, "car"))
            plan_path = Path(overrides[car]) if car in overrides else self._beside(entry.plan)
            self.plan_files[car] = {None: plan_path}
            plan = self.files.read(plan_path, Plan) if car in overrides else (
                self.files.read_named(plan_path, Plan, filed, ("cars", car, "plan")))
            self._take_plan(car, plan, event, filed, shared)
        return self._finish(event, filed, shared)

    def one_plan(self, plan_path: Path) -> Loaded:
        """The car of one plan only."""
        plan = self.files.read(plan_path, Plan)
        filed = self.files.read(self.path, EventFile)
        event = self.read = filed.model
        if event is None:
            return self._result(None)
        shared = read_shared(self.files, self.path, event, filed)
        car = plan.model.car if plan.model is not None else None
        if car is not None and car in event.cars:
            self.cars[car] = self.files.read_named(self._beside(event.cars[car].car), Car, filed, ("cars", car, "car"))
            self._take_plan(car, plan, event, filed, shared)
        elif plan.model is not None:
            self._check(plan, plan.model, Filed(), event, filed, shared)
        return self._finish(event, filed, shared)

    def _beside(self, name: str) -> Path:
        return self.path.parent / name

    def _take_plan(
        self, car: str, plan: Filed[Plan], event: EventFile, filed: Filed[EventFile], shared: Shared
    ) -> None:
        if plan.model is None:
            return
        self.plans[car] = plan
        if plan.model.car != car:
            self.files.note(plan, finding("PW106", path=("car",), found=f"car {plan.model.car!r}",
                                          expected=f"{car!r}, the car that {filed.name} gives this plan to"))
        self.around[car] = self._check(plan, plan.model, self.cars[car], event, filed, shared)
        check_plan_session(self.files, plan, self.served, shared.regulations)
        driver = event.cars[car].driver
        if driver in event.drivers and driver != plan.model.driver and plan.model.driver in event.drivers:
            self.files.note(plan, finding("PW112", path=("driver",), found=f"driver {plan.model.driver!r}",
                                          expected=f"{driver!r} as in {filed.name}"))
        for key, name in plan.model.alternates.items():
            path = (plan.path or Path()).parent / name
            if not may_be_there(path):
                self.files.note(plan, finding("PW001", path=("alternates", key), found=f"no file {name!r}",
                                              expected="a plan, as a path from this file's folder"))
                continue
            other = self.files.read(path, Plan)
            self.plan_files.setdefault(car, {})[key] = path
            if other.model is not None:
                if other.model.car != car:
                    self.files.note(other, finding("PW106", path=("car",), found=f"car {other.model.car!r}",
                                                   expected=f"{car!r}, the car of {plan.name}"))
                self.alternates.setdefault(car, {})[key] = other.model
                check_plan_session(self.files, other, self.served, shared.regulations)
                # A plan for the rain is judged with the switch defaults of the wet, whatever the event begins in.
                wet = {"wet": True, "dry": False}.get(key, event.wet)
                self._check(other, other.model, self.cars[car], event, filed, shared, wet)

    def _check(
        self, filed: Filed[Plan], plan: Plan, car: Filed[Car], event: EventFile, event_filed: Filed[EventFile],
        shared: Shared, wet: bool | None = None,
    ) -> Around:
        around = Around(
            regulations=shared.regulations.sound,
            circuit=shared.circuit.with_whole("segments", "places", "loops"),
            car=car.with_whole("switches"), car_figures=car.is_sound,
            lap=self._lap(car.sound, shared),
            procedures=shared.library(), unread_procedures=shared.unread,
            drivers=tuple(event.drivers) if event_filed.is_sound else None,
            cars=tuple(event.cars) if event_filed.is_sound else None,
            wet=event.wet if wet is None else wet, car_file=car.short_name or "the car file",
            circuit_file=shared.circuit.short_name or "the circuit file",
            unread_runs=filed.said_names(("runs",), "run"), calls=shared.calls, garage=shared.garage,
            people=drivers_of(event) if event_filed.is_sound else {}, limits=limits_of(event).get(plan.car),
        )
        for found in check_plan(plan, around):
            self.files.note(filed, found)
        return around

    def _lap(self, car: Car | None, shared: Shared) -> LapMap | None:
        # All plans of a car are driven on the same lap: working it out is a fifth of the time that reading takes.
        if id(car) not in self.laps:
            circuit = shared.circuit.sound
            lost = circuit is None or (car is None and not circuit.timing_only)
            self.laps[id(car)] = None if circuit is None or lost else lap_map(circuit, car, shared.calls)
        return self.laps[id(car)]

    def _finish(self, event: EventFile, filed: Filed[EventFile], shared: Shared) -> Loaded:
        sound = [(car.short_name, car.sound) for car in self.cars.values() if car.sound is not None]
        lap = self._lap(sound[0][1], shared) if sound else None
        check_library(self.files, shared, sound, lap)
        check_loops_and_stretches(self.files, shared.circuit)
        for car in {id(car): car for car in self.cars.values()}.values():
            check_words(self.files, car)
            if filed.is_sound:
                check_car_drivers(self.files, car, list(event.drivers))
        if self.files.has_errors or not self.plans:
            return self._result(None)
        return self._result(self._setup(event, shared))

    def _setup(self, event: EventFile, shared: Shared) -> SessionSetup:
        # No errors were found, so every file has its model.
        regulations, circuit, settings = shared.regulations.model, shared.circuit.model, shared.settings.model
        assert regulations is not None
        assert circuit is not None
        assert settings is not None
        plans = {car: filed.model for car, filed in self.plans.items() if filed.model is not None}
        sole = next(iter(plans.values())).session
        return SessionSetup(
            event=event.name, team=event.team, wet=event.wet, session=self.served or sole,
            regulations=regulations, circuit=circuit,
            cars={car: filed.model for car, filed in self.cars.items() if filed.model is not None},
            drivers=drivers_of(event), limits=limits_of(event), garage=settings.garage,
            time_zone=None if event.day is None else event.day.time_zone,
            plans=plans, alternates=self.alternates, procedures=shared.library(), field_cars=event.field_cars,
            calls=settings.calls, forecast=settings.forecast, crew=settings.crew,
        )

    def _result(self, setup: SessionSetup | None) -> Loaded:
        plans = {car: filed.model for car, filed in self.plans.items() if filed.model is not None and filed.is_sound}
        return Loaded(setup, self.files.sorted_findings(), self.path, plans, self.around, self.plan_files, self.read)
