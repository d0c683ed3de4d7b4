"""A procedure against itself, the cars and the lap: every blank, figure and switch it speaks of must exist, and what it
says must be short, in the right order, and not be misheard.
"""

from __future__ import annotations

import string
from collections.abc import Iterator, Sequence

from pitwall.checks.around import meant
from pitwall.checks.codes import finding
from pitwall.checks.items import argument_words, blank, fits_argument
from pitwall.checks.library_sense import (
    check_evidence,
    check_orders,
    check_room_behind,
    check_steps,
    check_types,
    check_where,
)
from pitwall.checks.names import bad_position, unknown_switch
from pitwall.errors import FilePath, Finding
from pitwall.model.car import Car
from pitwall.model.plan import Scalar
from pitwall.model.procedure import Ending, Procedure
from pitwall.model.setup import CallTiming
from pitwall.radio.library import procedure_phrases
from pitwall.radio.soundalike import Phrase, misheard
from pitwall.radio.speech import spoken_s
from pitwall.track.lapmap import LapMap

MOST_SAID_S = 8.0
"""A sentence on the lap may take so long: what a long straight gives on an out-lap (common practice, no source)."""
MOST_SAID_STANDING_S = 15.0
TOP_MPS = 105.0
"""Faster than this is meant in km/h (common practice, no source)."""
STANDING = ("garage", "pit_lane")
PLACE_BLANKS = ("after", "at", "place")
"""Blanks that are filled with the item's place; every other blank is an argument."""


def check_procedure(
    procedure: Procedure, cars: Sequence[tuple[str, Car]], lap: LapMap | None = None, calls: CallTiming | None = None
) -> tuple[Finding, ...]:
    """All findings of one procedure.

    Args:
        procedure: the procedure.
        cars: (name of the car file, car) of the event; a switch must be on one of them at least.
        lap: the lap of the event's circuit, for holds; None: unknown.
        calls: how fast the engineer speaks.
    """
    rate = (calls or CallTiming()).words_per_minute
    found = (*_arguments(procedure), *_texts(procedure), *_references(procedure), *_switches(procedure, cars),
             *_put_back(procedure), *check_steps(procedure), *check_where(procedure), *check_types(procedure, cars),
             *check_evidence(procedure))
    if not any(one.code == "PW131" for one in found):
        found = (*found, *_length(procedure, rate), *_wording(procedure), *check_orders(procedure, cars))
    return (*found, *_slow(procedure), *check_room_behind(procedure, lap), *_fits_somewhere(procedure, lap))


def _arguments(procedure: Procedure) -> Iterator[Finding]:
    """Each argument against itself, and whether anything takes it."""
    endings = (procedure.hold.end if procedure.hold is not None else None, procedure.early_end)
    words = [(step.say, step.say_measured, step.say_begun, step.short) for step in procedure.steps]
    texts = [text for step in words for text in step if text]
    texts += [ending.say for ending in endings if ending is not None]
    texts += [str(part) for pair in procedure.switches.items() for part in pair]
    hold = procedure.hold
    named = {str(value) for value in (hold.seconds, hold.speed()[1], hold.gear)} if hold is not None else set()
    named |= {procedure.by, "switch"} if procedure.by is not None else set()
    for name, argument in procedure.arguments.items():
        path: FilePath = ("arguments", name)
        if argument.low is not None and argument.high is not None and argument.low > argument.high:
            yield finding("PW143", path=(*path, "low"), found=f"low {argument.low:g} above high {argument.high:g}",
                          expected="low at or below high")
        elif argument.default is not None and not fits_argument(argument, argument.default):
            yield finding("PW143", path=(*path, "default"), found=f"default {argument.default!r}",
                          expected=argument_words(argument))
        if name not in named and not any(f"{{{name}" in text for text in texts):
            yield finding("PW144", path=path, found=f"argument {name!r}, which no text, hold or switch takes",
                          expected=f"{{{name}}} in a text, or the name in 'hold', 'switches' or 'by'")


def _texts(procedure: Procedure) -> Iterator[Finding]:
    yield from _blanks_of_steps(procedure)
    for path, ending in _endings(procedure):
        for key in ("say", "short"):
            text = getattr(ending, key)
            if "{" in text or "}" in text:
                yield finding("PW131", path=(*path, key), found=f"a blank in {text!r}",
                              expected="plain words: what ends a procedure is said as it stands")


def _endings(procedure: Procedure) -> Iterator[tuple[FilePath, Ending]]:
    if procedure.hold is not None and procedure.hold.end is not None:
        yield ("hold", "end"), procedure.hold.end
    if procedure.early_end is not None:
        yield ("early_end",), procedure.early_end


def _blanks_of_steps(procedure: Procedure) -> Iterator[Finding]:
    known = [*procedure.arguments, *PLACE_BLANKS]
    for index, step in enumerate(procedure.steps):
        for key in ("say", "say_measured", "say_begun", "short"):
            path: FilePath = ("steps", index, key)
            try:
                blanks = string.Formatter().parse(getattr(step, key) or "")
                names = [name for _, name, _, _ in blanks if name is not None]
            except ValueError as error:
                yield finding("PW131", path=path, found=f"braces that do not match ({error})", expected="{name}")
                continue
            for name in names:
                if name not in known:
                    yield finding("PW131", path=path, found=f"the blank {{{name}}}",
                                  expected=f"one of: {', '.join(known)}", suggestion=meant(name, known))
                elif name in PLACE_BLANKS and name not in procedure.arguments and procedure.place != "needed":
                    yield finding("PW131", path=path, expected="'place: needed'",
                                  found=f"the blank {{{name}}}, but an item may leave its place out")


def _references(procedure: Procedure) -> Iterator[Finding]:
    names: list[tuple[FilePath, str]] = []
    if procedure.hold is not None:
        pairs = (("seconds", procedure.hold.seconds), procedure.hold.speed()[:2], ("gear", procedure.hold.gear))
        names += [(("hold", key), value) for key, value in pairs if isinstance(value, str)]
    if procedure.by is not None:
        # A step needs to know which switch: the argument called 'switch' says it.
        names += [(("by",), procedure.by), (("by",), "switch")]
    for switch, position in procedure.switches.items():
        names += [(("switches", switch), text) for text in (blank(switch), blank(position)) if text is not None]
    for path, name in names:
        if name not in procedure.arguments:
            yield finding("PW132", path=path, found=f"{name!r}", expected="an argument of the procedure",
                          suggestion=meant(name, procedure.arguments))


def _switches(procedure: Procedure, cars: Sequence[tuple[str, Car]]) -> Iterator[Finding]:
    for name, position in procedure.switches.items():
        if blank(name) is not None or not cars:
            continue
        owners = [car for _, car in cars if car.switch(name) is not None]
        if not owners:
            yield unknown_switch(name, ("switches", name), cars[0][1], cars[0][0])
        elif blank(position) is None and not any(_allows(car, name, position) for car in owners):
            yield bad_position(name, position, ("switches", name), owners[0])


def _allows(car: Car, name: str, position: Scalar) -> bool:
    switch = car.switch(name)
    return switch is not None and switch.can_be_set(position)


def _put_back(procedure: Procedure) -> Iterator[Finding]:
    changes = bool(procedure.switches) or procedure.by is not None
    if changes and not procedure.put_back:
        yield finding("PW133", path=("put_back",), found="'put_back: false' for every item of the procedure",
                      expected="no 'put_back' here; an item that means it says so itself")
    for index, step in enumerate(procedure.steps):
        if step.kind == "switch" and not changes:
            yield finding("PW133", path=("steps", index, "kind"),
                          found=f"step {index + 1} tells a switch change that 'switches' does not name",
                          expected="the switch and its position under 'switches'")


def _length(procedure: Procedure, words_per_minute: float) -> Iterator[Finding]:
    """The longest filling of each sentence; the short form is for when there is no time and must be shorter."""
    longest: dict[str, float] = {}
    for phrase in procedure_phrases(procedure):
        longest[phrase.source] = max(longest.get(phrase.source, 0.0), spoken_s(phrase.text, words_per_minute))
    for index, step in enumerate(procedure.steps):
        source = f"procedure {procedure.name}, step {index + 1}"
        say, short = longest.get(f"{source}, say"), longest.get(f"{source}, short")
        most = MOST_SAID_STANDING_S if step.where in STANDING else MOST_SAID_S
        if say is not None and say > most:
            yield finding("PW134", path=("steps", index, "say"), expected=f"{most:g} s or less",
                          found=f"{say:.1f} s to say it at {words_per_minute:g} words a minute")
        if say is not None and short is not None and short > say:
            yield finding("PW134", path=("steps", index, "short"), expected=f"less than the {say:.1f} s of 'say'",
                          found=f"a short form that takes {short:.1f} s")


def _wording(procedure: Procedure) -> Iterator[Finding]:
    yield from _wording_of_steps(procedure)
    for path, ending in _endings(procedure):
        for key in ("say", "short"):
            for one in misheard([Phrase(f"procedure {procedure.name}", getattr(ending, key), "procedure")]):
                yield finding("PW135", path=(*path, key), found=f"{one.text!r}: {one.why}", expected=one.remedy)


def _wording_of_steps(procedure: Procedure) -> Iterator[Finding]:
    told: set[tuple[str, str, str]] = set()
    for one in misheard(procedure_phrases(procedure)):
        _, step, key = one.source.rsplit(", ", 2)
        if not one.fault or (step, key, one.rule) in told:
            continue  # the same with another figure in it
        told.add((step, key, one.rule))
        path: FilePath = ("steps", int(step.removeprefix("step ")) - 1, key)
        yield finding("PW136" if one.rule == "place" else "PW135", path=path, found=f"{one.text!r}: {one.why}",
                      expected=one.remedy)


def _slow(procedure: Procedure) -> Iterator[Finding]:
    slows = procedure.hold is not None or procedure.clear_behind_s > 0
    if procedure.stationary and "timed" in procedure.laps and not slows:
        yield finding("PW139", path=("laps",), expected="laps of 'out', 'cool', 'in'",
                      found="timed laps among the laps of a procedure that stops the car")
    if not slows:
        return
    if procedure.caution is None:
        yield finding("PW137", path=(), found=f"{procedure.name!r} has no 'caution'", expected="what to look out for")
    if procedure.clear_behind_s == 0:
        yield finding("PW137", path=("hold",), found="a hold without 'clear_behind_s'",
                      expected="the seconds behind the car that must be free")
    if "timed" in procedure.laps or not procedure.laps:
        yield finding("PW139", path=("laps",) if procedure.laps else (), expected="laps of 'out', 'cool', 'in'",
                      found="timed laps among its laps" if procedure.laps else "no 'laps', so any lap")


def _fits_somewhere(procedure: Procedure, lap: LapMap | None) -> Iterator[Finding]:
    hold = procedure.hold
    if hold is None or lap is None or lap.timing_only:
        return
    key, value, to_mps = hold.speed()
    seconds, speed = _default(procedure, hold.seconds), _default(procedure, value)
    if seconds is None or speed is None or seconds <= 0 or speed <= 0:
        return
    checks = [lap.hold_fits(place, seconds, speed * to_mps, hold.settle_s) for place in lap.places]
    if not any(one.fits for one in checks):
        most = max((one.available_m or 0.0 for one in checks), default=0.0)
        unit = "m/s" if key == "speed_mps" else "km/h"
        kph = to_mps == 1.0 and speed > TOP_MPS
        yield finding("PW138", path=("hold",), found=f"{seconds:g} s at {speed:g} {unit}, by default",
                      expected=f"a hold for one of the straights of {lap.circuit}, {most:.0f} m at most",
                      suggestion="is it meant in km/h? then write 'speed_kph'" if kph else None)


def _default(procedure: Procedure, value: str | float) -> float | None:
    """A figure as it is when the item says nothing."""
    if not isinstance(value, str):
        return float(value)
    known = procedure.arguments.get(value)
    default = known.default if known is not None else None
    return float(default) if isinstance(default, int | float) and not isinstance(default, bool) else None
