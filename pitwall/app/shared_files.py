"""The files that all cars of an event share: regulations, circuit, settings and the procedure library."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pitwall.app.day_checks import check_day
from pitwall.app.filing import Filed, Files, may_be_there
from pitwall.checks.around import meant, near_only
from pitwall.checks.car import check_car_switches
from pitwall.checks.circuit import check_circuit
from pitwall.checks.codes import finding
from pitwall.checks.library import check_procedure
from pitwall.checks.spoken import check_switch_words
from pitwall.errors import UserError
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.eventfile import EventFile, SettingsFile
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations
from pitwall.model.setup import CallTiming, CarLimits, Driver, GarageWork
from pitwall.track.lapmap import LapMap


@dataclass(frozen=True)
class Shared:
    """The shared files, as far as they could be read.

    ``unread`` holds the names (and file stems) of procedures with errors of their own: nobody calls them unknown.
    """

    regulations: Filed[Regulations]
    circuit: Filed[Circuit]
    settings: Filed[SettingsFile]
    procedures: dict[str, Filed[Procedure]]
    unread: frozenset[str]

    @property
    def calls(self) -> CallTiming:
        """How calls are timed; the defaults while the settings file has errors."""
        return self.settings.model.calls if self.settings.model is not None else CallTiming()

    @property
    def garage(self) -> GarageWork:
        """What work beside the runs' own takes; the defaults while the settings file has errors."""
        return self.settings.model.garage if self.settings.model is not None else GarageWork()

    def library(self) -> dict[str, Procedure]:
        """The sound procedures, by name."""
        return {name: filed.model for name, filed in self.procedures.items() if filed.model and filed.is_sound}


def read_shared(files: Files, event_path: Path, event: EventFile, filed: Filed[EventFile]) -> Shared:
    """Read the shared files of an event and check them against each other."""
    folder = event_path.parent
    regulations = files.read_named(folder / event.regulations, Regulations, filed, ("regulations",))
    circuit = files.read_named(folder / event.circuit, Circuit, filed, ("circuit",))
    settings: Filed[SettingsFile] = Filed(SettingsFile(settings=1))
    if event.settings is not None:
        settings = files.read_named(folder / event.settings, SettingsFile, filed, ("settings",))
    procedures, unread = _read_library(files, folder / event.procedures, filed)
    shared = Shared(regulations, circuit, settings, procedures, unread)
    _check_after_flag(files, shared)
    _check_session(files, event, filed, regulations)
    _check_drivers(files, event, filed)
    check_day(files, event, filed, regulations)
    return shared


def _read_library(
    files: Files, folder: Path, event: Filed[EventFile]
) -> tuple[dict[str, Filed[Procedure]], frozenset[str]]:
    found: dict[str, Filed[Procedure]] = {}
    unread: set[str] = set()
    paths = files.listing(folder)
    if paths is None:
        code = "PW002" if may_be_there(folder) else "PW001"
        files.note(event, finding(code, path=("procedures",), found=f"no folder {folder.name!r}",
                                  expected="a folder with one file for each procedure"))
        return {}, frozenset()
    for path in paths:
        filed = files.read(path, Procedure)
        if filed.model is None or not filed.is_sound:
            unread.update({path.stem, *filed.said_names()})
        elif filed.model.name in found:
            files.note(filed, finding("PW111", path=("name",), found=f"procedure {filed.model.name!r} again",
                                      expected=f"another name than in {found[filed.model.name].name}"))
        else:
            found[filed.model.name] = filed
            if path.stem != filed.model.name:
                files.note(filed, finding("PW110", path=("name",), found=f"{filed.model.name!r} in {path.name}",
                                          expected=f"{path.stem!r}, as the file is called"))
    return found, frozenset(unread)


def _check_after_flag(files: Files, shared: Shared) -> None:
    known = {*shared.procedures, *shared.unread}
    if shared.regulations.model is None or not known:
        return
    for index, name in enumerate(shared.regulations.model.after_flag_items):
        if name not in known:
            files.note(shared.regulations, finding(
                "PW113", path=("after_flag_items", index), found=f"unknown procedure {name!r}",
                expected="a procedure of the library", suggestion=meant(name, sorted(known))))


def _check_session(files: Files, event: EventFile, filed: Filed[EventFile], regulations: Filed[Regulations]) -> None:
    if regulations.model is None or regulations.model.window(event.session) is not None:
        return
    known = [window.session for window in regulations.model.sessions]
    files.note(filed, finding("PW107", path=("session",), found=f"unknown session {event.session!r}",
                              expected=f"a session of {regulations.name} ({', '.join(known)})",
                              suggestion=near_only(event.session, known)))


def _check_drivers(files: Files, event: EventFile, filed: Filed[EventFile]) -> None:
    for car, entry in event.cars.items():
        if entry.driver is not None and entry.driver not in event.drivers:
            files.note(filed, finding("PW105", path=("cars", car, "driver"), found=f"unknown driver {entry.driver!r}",
                                      expected="one of drivers", suggestion=meant(entry.driver, event.drivers)))


def demand_session(regulations: Filed[Regulations], session: str) -> None:
    """The session asked for on the command line must be one of the regulations'.

    Raises:
        UserError: when it is not.
    """
    if regulations.model is not None and regulations.model.window(session) is None:
        known = ", ".join(window.session for window in regulations.model.sessions)
        raise UserError(f"unknown session {session!r}: {regulations.name} has {known}")


def check_plan_session(
    files: Files, plan: Filed[Plan], served: str | None, regulations: Filed[Regulations]
) -> None:
    """A plan of the event that was made for another session than the one to serve, and one that there is."""
    if plan.model is None or served is None or plan.model.session == served:
        return
    if regulations.model is None or regulations.model.window(plan.model.session) is None:
        return
    files.note(plan, finding("PW117", path=("session",), found=f"a plan of {plan.model.session!r}",
                             expected=f"one of {served!r}, the session to be served"))


def drivers_of(event: EventFile) -> dict[str, Driver]:
    """The drivers of the event, as the session knows them."""
    return {
        name: Driver(driver=name, spoken=entry.spoken, quiet=entry.quiet, minimum_laps=entry.minimum_laps,
                     minimum_s=entry.minimum_s, most_laps=entry.most_laps, most_s=entry.most_s)
        for name, entry in event.drivers.items()
    }


def limits_of(event: EventFile) -> dict[str, CarLimits]:
    """What the cars of the event may do at most, where it is limited."""
    return {
        car: CarLimits(most_laps=entry.most_laps, most_km=entry.most_km)
        for car, entry in event.cars.items()
        if entry.most_laps is not None or entry.most_km is not None
    }


def check_library(files: Files, shared: Shared, cars: list[tuple[str, Car]], lap: LapMap | None = None) -> None:
    """Every procedure against itself, the cars of the event and the lap of its circuit."""
    for filed in shared.procedures.values():
        if filed.model is not None:
            for found in check_procedure(filed.model, cars, lap, shared.calls):
                files.note(filed, found)


def check_loops_and_stretches(files: Files, circuit: Filed[Circuit]) -> None:
    """Loops and stretches of the circuit file that can be read and contradict one another."""
    for found in check_circuit(circuit.sound) if circuit.sound is not None else ():
        files.note(circuit, found)


def check_words(files: Files, car: Filed[Car]) -> None:
    """What the switches of a car are called on the radio, and whether their figures agree."""
    for found in (*check_car_switches(car.model), *check_switch_words(car.model)) if car.model is not None else ():
        files.note(car, found)


def check_car_drivers(files: Files, car: Filed[Car], drivers: list[str]) -> None:
    """Switch defaults in a car file for a driver whom the event does not have."""
    for index, switch in enumerate(car.model.switches if car.model is not None else ()):
        for number, default in enumerate(switch.defaults):
            if default.driver is not None and default.driver not in drivers:
                files.note(car, finding(
                    "PW114", path=("switches", index, "defaults", number, "driver"),
                    found=f"unknown driver {default.driver!r}", expected="a driver of the event file",
                    suggestion=meant(default.driver, drivers)))
