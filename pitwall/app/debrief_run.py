"""Which run of which car a debrief is cut to, from what somebody asked for; and what there is, where that is not it."""

from __future__ import annotations

from pitwall.debrief.model import CarDebrief, Debrief
from pitwall.debrief.one_run import driven, last_run, of_run
from pitwall.errors import UserError

LAST = "last"
"""Stands for the run from which the car came back last; a run of that name is meant first."""


def cut_to_run(debrief: Debrief, run: str, car: str | None = None) -> Debrief:
    """The debrief of one run: ``last``, or the name of a run.

    Args:
        debrief: the whole one.
        run: ``last`` or a name.
        car: whose; may be left out where one car alone has driven such a run.

    Raises:
        UserError: for a car or run that is not there or has driven no lap, and where several cars are meant; it names
            what there is.
    """
    where = debrief.session.journal
    cars = debrief.cars if car is None else [one for one in debrief.cars if one.car == car]
    if not cars:
        names = ", ".join(one.car for one in debrief.cars) or "none"
        raise UserError(f"{where}: there is no car {car}; its cars are: {names}")
    found = [(one, name) for one in cars if (name := _found(one, run, debrief)) is not None]
    if len(found) > 1:
        what = "have driven a run" if run == LAST else f"have driven a run {run}"
        raise UserError(f"{where}: cars {', '.join(one.car for one, _ in found)} {what}; say whose with --car CAR")
    if not found:
        missing = "no car has driven a run yet" if run == LAST and car is None else (
            f"car {car} has driven no run yet" if run == LAST else f"no run {run!r} was driven")
        raise UserError(f"{where}: {missing}. {' '.join(_what_there_is(one) for one in cars)}")
    (one, name), = found
    return of_run(debrief, one.car, name)


def _found(car: CarDebrief, run: str, debrief: Debrief) -> str | None:
    names = driven(car)
    if run in names:
        return run
    return last_run(car, debrief.session) if run == LAST else None


def _what_there_is(car: CarDebrief) -> str:
    """The runs of a car that drove a lap, in order, and those that did not."""
    names = driven(car)
    planned = [one.run for one in car.runs if one.run not in names]
    return (f"Car {car.car} has driven: {', '.join(names) or 'none'}; "
            f"without a whole lap yet: {', '.join(planned) or 'none'}.")
