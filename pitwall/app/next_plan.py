"""From the journal of a session to a draft of the next session's plan: what is left, and in what state the car is.

The draft says what came from where. It decides nothing: what a person has to fill in or to choose is listed at its top.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import ValidationError

from pitwall.app.debriefing import gone_over, made_of, read_to_the_cut
from pitwall.app.next_rest import Carried
from pitwall.app.next_runs import carried_runs, left_behind, only_probable, too_late
from pitwall.app.next_sets import next_sets, sets_in_words
from pitwall.app.plain_words import findings_from
from pitwall.debrief.model import CarDebrief, RunRow
from pitwall.engine.team import TeamCar
from pitwall.errors import FileProblem, UserError
from pitwall.model.car import position_text
from pitwall.model.plan import NOTES_MOST, Plan, StartsWith
from pitwall.model.setup import SessionSetup
from pitwall.model.subjects import Subject

FROM, NEW_LINE = re.compile(r"\[from [a-z0-9-]+\] "), "\n"
"""So begins what a draft notes of a session; a person's own note that begins with "From" is none of these."""


@dataclass(frozen=True)
class Draft:
    """A plan, and what is to be read beside it.

    Attributes:
        decide: what must be filled in or decided, a sentence each.
        sources: by run, where it comes from; only of those that were carried.
    """

    plan: Plan
    journal: str
    session: str
    decide: tuple[str, ...]
    sources: dict[str, str]


def next_plan(journal: Path, car: str | None = None, template: Plan | None = None, session: str | None = None) -> Draft:
    """The draft of a car's next plan.

    Args:
        journal: of the session that is over.
        car: which; may be left out where the journal has one, or the template names it.
        template: the plan that the next session has already; what is left is added to it.
        session: the next session; the template's, or the next of the regulations, when left out.

    Raises:
        JournalError: as ``read_to_the_cut``.
        UserError: when the journal has no such car, or several and none is named.
        FileProblem: when what was left and what was given do not make a plan; it names the place in the draft.
    """
    found = read_to_the_cut(journal)
    noted = gone_over(found.events)
    team = noted.session.team
    name = _car_of(car, template, tuple(sorted(team)))
    made = made_of(noted, journal.name).car(name)
    assert made is not None  # every car of the team has its part
    draft = _draft(team[name], made, template, session, journal.name)
    return replace(draft, decide=(found.cut, *draft.decide)) if found.cut else draft


def _car_of(car: str | None, template: Plan | None, cars: tuple[str, ...]) -> str:
    name = car or (template.car if template is not None else cars[0] if len(cars) == 1 else None)
    if name is None:
        raise UserError(f"the journal has the cars {', '.join(cars)}: say which with --car")
    if name not in cars:
        raise UserError(f"the journal has no car {name}: there {'is' if len(cars) == 1 else 'are'} {', '.join(cars)}")
    if template is not None and template.car != name:
        raise UserError(f"the template is a plan of car {template.car}, not of car {name}")
    return name


def _draft(car: TeamCar, made: CarDebrief, template: Plan | None, session: str | None, journal: str) -> Draft:
    over = car.setup.session
    base = template or car.plan
    carried = carried_runs(car, made.items, over, template.runs if template is not None else ())
    decide = [*_session_words(car.setup, base, template, session), *(line for one in carried for line in one.decide)]
    runs = (*(template.runs if template is not None else ()), *(one.run for one in carried))
    if not runs:
        decide.append("runs: nothing was left of this session; a plan needs at least one run")
    owed = [one for one in made.items if car.desk.left_with(one.run) is None]
    decide += [*left_behind(car, made.items), *too_late(car, made.items, runs), *only_probable(owed, carried),
               *(_otherwise(run) for run in made.runs if run.stints and run.otherwise)]
    if template is None and base.alternates:
        decide.append("alternates: those of the session that is over are left out; name the files of the next ones")
    sets, unknown = next_sets(car, template, runs)
    decide += unknown
    fitted = car.carried.tyres if car.carried.tyres in sets else None
    plan = base.model_copy(update={
        "session": session or (template.session if template is not None else _next_session(car.setup) or over),
        "starts_with": StartsWith(tyres=fitted, fuel_kg=_fuel(car), switches=base.starts_with.switches),
        "tyre_sets": sets, "runs": runs,
        "alternates": base.alternates if template is not None else {},
    })  # fmt: skip
    asked = tuple(dict.fromkeys(one.remark.about for one in made.said.open))
    plan, told = _with_feedback(plan, asked)
    checked = _checked(plan, journal)
    left = [*_car_state(car, checked), *_switches(made), *_complaints(made)]
    checked = checked.model_copy(update={"notes": _notes(base, template, over, left)})
    return Draft(plan=checked, journal=journal, session=over, decide=(*decide, *told), sources=_sources(carried))


def _notes(base: Plan, template: Plan | None, over: str, left: Iterable[str]) -> str:
    """What people should know of the session that is over, behind the notes that are there already; what that session's
    own plan had from the one before it is left out."""
    kept = [line for line in base.notes.splitlines() if template is not None or not FROM.match(line)]
    # A control character, which a driver's comment may hold, would not come back from every kind of file.
    plain = (" ".join("".join(one if one.isprintable() else " " for one in line).split()) for line in left)
    made = "\n".join([*kept, *(f"[from {over}] {line}" for line in plain)])
    return made if len(made) <= NOTES_MOST else f"{made[:NOTES_MOST - 4].rpartition(NEW_LINE)[0]}\n..."


def _otherwise(run: RunRow) -> str:
    """A run that was driven on other tyres, or with other fuel, than it was planned with."""
    on, planned = ([one for one in (tyres, None if kg is None else f"{kg:.0f} kg") if one is not None]
                   for tyres, kg in ((run.tyres, run.fuel_kg), (run.planned_tyres, run.planned_fuel_kg)))
    return (f"{run.run}: it was driven on {' with '.join(on)}, planned {'was' if len(planned) == 1 else 'were'} "
            f"{' and '.join(planned)}; is that worth what it was for")


def _checked(plan: Plan, journal: str) -> Plan:
    """The same plan, gone over anew: its parts were valid, but nobody has looked at them together."""
    try:
        return Plan.model_validate(plan.model_dump(by_alias=True, warnings=False))
    except ValidationError as error:
        file, data = f"draft from {journal}", plan.model_dump(by_alias=True, mode="json", warnings=False)
        found = [replace(one, file=file) for one in findings_from(error, data, Plan)]
        raise FileProblem([*found, f"{file}: nothing was written; mend the template or the argument that this comes "
                           "from, or give a template that has this run in another form"]) from None  # fmt: skip


def _sources(carried: tuple[Carried, ...]) -> dict[str, str]:
    return {one.run.run: one.source for one in carried}


# -- the session ----------------------------------------------------------------------------------------------------


def _next_session(setup: SessionSetup) -> str | None:
    names = [one.session for one in setup.regulations.sessions]
    after = names[names.index(setup.session) + 1 :] if setup.session in names else []
    return after[0] if after else None


def _session_words(setup: SessionSetup, base: Plan, template: Plan | None, session: str | None) -> Iterator[str]:
    names = [one.session for one in setup.regulations.sessions]
    if session is not None and session not in names:
        yield (f"session: {session} is none of the regulations of {setup.event} ({', '.join(names)}); mend the name, "
               "or see to it that the next event has it")
    if session is not None or template is not None:
        return
    following = _next_session(setup)
    if following is None:
        yield f"session: the regulations name none after {setup.session}; it is left at that"
    else:
        yield f"session: {following} is the next of the regulations; the event file must name the same"


# -- the car --------------------------------------------------------------------------------------------------------


def _fuel(car: TeamCar) -> float | None:
    left = car.carried.fuel(car.track, car.switches.car.fuel_per_lap_kg)
    return None if left is None else round(left, 1)


def _complaints(made: CarDebrief) -> Iterator[str]:
    for one in made.said.open:
        yield f"still complained of: {one.words} ({one.driver or 'driver'}, {one.run or 'no run'})"


def _car_state(car: TeamCar, plan: Plan) -> Iterator[str]:
    yield from sets_in_words(car, plan.tyre_sets)
    left = _fuel(car)
    if left is not None:
        yield f"fuel: about {left:g} kg by the burn of the car file; weigh or measure it"


def _switches(made: CarDebrief) -> Iterator[str]:
    first: dict[str, object] = {}
    last: dict[str, object] = {}
    words: dict[str, str] = {}
    for move in made.switches:
        first.setdefault(move.switch, move.position)
        last[move.switch], words[move.switch] = move.position, move.word
    for switch, position in last.items():
        if position != first[switch]:
            at_first, now = (position_text(one) for one in (first[switch], position))  # type: ignore[arg-type]  # scalars
            yield f"{words[switch]} was left at {now}; as the session began it stood at {at_first}"
    for change in made.said.changes:
        moved = [one.text for one in change.between if one.kind == "switch"]
        other = [one.text for one in change.between if one.kind != "switch"]
        if moved:
            also = f" (but also {', '.join(other)})" if other else ""
            yield (f"{', '.join(moved)}{also}: {change.before.words}, then {change.after.words}"
                   f" ({change.direction}, {change.before.run} to {change.after.run})")


# -- the driver -----------------------------------------------------------------------------------------------------


def _with_feedback(plan: Plan, subjects: tuple[Subject, ...]) -> tuple[Plan, list[str]]:
    """What the driver complained of is asked again on the first run with timed laps."""
    at = next((index for index, run in enumerate(plan.runs) if run.timed_laps), None)
    if at is None or not subjects:
        return plan, []
    run = plan.runs[at]
    wanted = tuple(dict.fromkeys((*run.feedback, *subjects)))
    runs = (*plan.runs[:at], run.model_copy(update={"feedback": wanted}), *plan.runs[at + 1 :])
    told = f"{run.run}: 'feedback' asks for what the driver complained of ({', '.join(subjects)}); leave it, or not"
    return plan.model_copy(update={"runs": runs}), [told]
