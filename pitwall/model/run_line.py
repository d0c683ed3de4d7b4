"""A whole run in one line, as it is said at the desk, and read back to the same run.

    long: out, 8 timed, in · B2 · 40 kg · should
    holds: out, 2 timed, in · B1 · must 3 · not before 5:00 · gap 8 s · do constant_speed_hold on out, in after "turn 4"

The name, then parts in any order with ``·``, ``;`` or ``|`` between them. What is no plain word stands in double
quotes.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from difflib import get_close_matches
from typing import Any, get_args

from pitwall.model.plan import Item, LapKind, Run, Scalar, ThreePoint, Want, parse_laps, write_laps
from pitwall.model.run_line_words import NUMBER, QUOTED, Words
from pitwall.model.units import clock_text, seconds_from_text

EXAMPLE = "long: out, 8 timed, in · B2 · 40 kg · should"
SEPARATOR = " · "

_PARTS = re.compile(rf"(?:{QUOTED}|[^·;|\"])+")
_PLAIN = re.compile(r"[A-Za-z_][A-Za-z0-9_-]*")
_TYRE_WORD = re.compile(r"[A-Z][A-Za-z0-9-]*")
_WANTS: tuple[str, ...] = get_args(Want)
_KINDS: tuple[str, ...] = get_args(LapKind)


# -- writing -----------------------------------------------------------------------------------------------------------


def write_run(run: Run) -> str:
    """The run in one line; :func:`parse_run` makes the same run of it."""
    return f"{run.run}: {SEPARATOR.join([*_head(run), *_rest(run), *map(_item, run.items)])}"


def brief_run(run: Run) -> str:
    """Laps, tyres, fuel and class, as a list of changes tells them: ``out, 8 timed, in · B2 · 40 kg · should``."""
    return SEPARATOR.join(_head(run))


def _head(run: Run) -> Iterator[str]:
    if run.laps:
        yield write_laps(run.laps)
    if run.tyres is not None:
        yield run.tyres if _TYRE_WORD.fullmatch(run.tyres) else f"tyres {_text(run.tyres)}"
    if run.fuel_kg is not None:
        yield f"{_figure(run.fuel_kg)} kg"
    if run.driver is not None:
        yield f"driver {run.driver}"
    yield run.want if run.value == 1.0 else f"{run.want} {_figure(run.value)}"


def _rest(run: Run) -> Iterator[str]:
    yield from _release(run)
    if run.after_garage_s != Run.model_fields["after_garage_s"].default:
        work = run.after_garage_s
        yield f"work {_figure(work.low_s)}/{_figure(work.likely_s)}/{_figure(work.high_s)} s"
    if run.crew:
        yield f"crew {_list(run.crew)}"
    if run.switches:
        yield f"switches {_pairs(run.switches)}"
    if run.shorten_to is not None:
        yield f"shorten to {run.shorten_to}"
    if run.before:
        yield f"before {', '.join(run.before)}"
    if run.same_as is not None:
        yield f"same as {run.same_as}"
    if run.group is not None:
        yield f"group {_text(run.group)}"
    if run.dry_only:
        yield "dry only"
    if run.also_on:
        yield f"also on {', '.join(run.also_on)}"
    if run.feedback:
        yield f"feedback {', '.join(run.feedback)}"
    yield from _flags(run)
    if run.purpose:
        yield f"for {json.dumps(run.purpose, ensure_ascii=False)}"


def _flags(run: Run) -> Iterator[str]:
    if run.after_flag is not None:
        yield f"after flag {run.after_flag}"
    if run.window is not None:
        yield f"window {_text(run.window)}"
    if run.cut_by_flag != "resume":
        yield f"cut by flag {run.cut_by_flag}"


def _release(run: Run) -> Iterator[str]:
    release = run.release
    if release.not_before is not None:
        yield f"not before {_time(release.not_before)}"
    if release.not_after is not None:
        yield f"not after {_time(release.not_after)}"
    if release.gap_ahead_s is not None:
        yield f"gap {_figure(release.gap_ahead_s)} s"


def _item(item: Item) -> str:
    words = [f"do {item.do}"]
    if item.times != 1:
        words.append(f"times {item.times}")
    if item.on:
        words.append("on " + ", ".join(" ".join([one.kind, *map(str, one.numbers)]) for one in item.on))
    for key, place in (("after", item.after), ("at", item.at)):
        if place is not None:
            words.append(f"{key} {_text(place)}")
    if item.when is not None and item.when.not_before is not None:
        words.append(f"not before {_time(item.when.not_before)}")
    if item.when is not None and item.when.after_item is not None:
        words.append(f"once {item.when.after_item}")
    if item.arguments:
        words.append(f"with {_pairs(item.arguments)}")
    if item.want != "should":
        words.append(f"want {item.want}")
    if not item.put_back:
        words.append("stays")
    if item.why is not None:
        words.append(f"why {_text(item.why)}")
    return " ".join(words)


def _figure(value: float) -> str:
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(float(value))


def _time(seconds: float) -> str:
    text = clock_text(seconds)
    return text if NUMBER.fullmatch(text) is None and _read_time(text) == seconds else f"{_figure(seconds)} s"


def _read_time(text: str) -> object:
    try:
        return seconds_from_text(text)
    except ValueError:
        return None


def _text(value: str) -> str:
    """A text as it may stand bare, else in quotes; words with a meaning of their own in a line are quoted as well."""
    taken = (*_WANTS, *_KINDS, "on", "after", "at", "not", "once", "with", "want", "stays", "why", "times", "true",
             "false", "null")
    bare = _PLAIN.fullmatch(value) is not None and value not in taken
    return value if bare else json.dumps(value, ensure_ascii=False)


def _scalar(value: Scalar) -> str:
    return _text(value) if isinstance(value, str) else json.dumps(value)


def _pairs(values: dict[str, Scalar]) -> str:
    return ", ".join(f"{_text(name)}={_scalar(value)}" for name, value in values.items())


def _list(values: tuple[str, ...]) -> str:
    return ", ".join(_text(value) for value in values)


# -- reading -----------------------------------------------------------------------------------------------------------


def parse_run(text: str) -> Run:
    """Read a run from one line (see the module's examples).

    Raises:
        ValueError: naming every part that could not be read, and what the run lacks.
    """
    name, colon, body = text.partition(":")
    if not colon:
        raise ValueError(f"{text!r}: a run in one line begins with its name, such as {EXAMPLE!r}")
    found: dict[str, Any] = {"run": name.strip(), "items": []}
    faults = []
    for part in _PARTS.findall(body):
        try:
            if part.strip():
                _take(part.strip(), found)
        except ValueError as fault:
            faults.append(str(fault))
    if "want" not in found and not any(word in fault for word in _WANTS for fault in faults):
        faults.append(f"run {found['run']!r}: say must, should or could, such as in {EXAMPLE!r}")
    if faults:
        raise ValueError("; ".join(faults))
    return Run.model_validate(found)


def run_from_line(value: object) -> object:
    """A run that is given as one line becomes the run; everything else is left to the model.

    Raises:
        ValueError: as :func:`parse_run`.
    """
    return parse_run(value) if isinstance(value, str) else value


def _take(part: str, found: dict[str, Any]) -> None:
    """Note what one part of the line says."""
    words = Words(part)
    first = words.peek()
    if first.rstrip(",").lower() in (*_KINDS, "out-in"):
        found["laps"] = parse_laps(part)
        return
    if first in _WANTS:
        found["want"] = words.take()
        if words.left:
            found["value"] = words.figure()
    elif words.taken("do"):
        found["items"].append(_read_item(words))
    elif NUMBER.fullmatch(first):
        found["fuel_kg"] = words.figure()
        if not words.taken("kg"):
            raise ValueError(f"{part!r} in a run's line: a number alone says nothing; fuel is '{first} kg'")
    elif not _take_named(words, found):
        if len(words.left) > 1:
            raise ValueError(f"{part!r} in a run's line is not known; it reads such as {EXAMPLE!r}")
        _take_tyres(part, words.text(), found)
    if words.left:
        raise ValueError(f"{part!r} in a run's line: {' '.join(words.left)!r} is too much")


def _take_tyres(part: str, word: str, found: dict[str, Any]) -> None:
    """A word that is nothing else is a tyre set; where there is one already it is a slip."""
    near = get_close_matches(word, _WANTS, n=1)
    if near and not _TYRE_WORD.fullmatch(word):
        raise ValueError(f"{part!r} in a run's line is not known; did you mean {near[0]!r}?")
    if "tyres" in found:
        raise ValueError(f"{part!r} in a run's line is not known, and its tyres are {found['tyres']} already")
    found["tyres"] = word


def _take_named(words: Words, found: dict[str, Any]) -> bool:
    """A part that begins with its own word; False for any other."""
    release = found.setdefault("release", {})
    if len(words.left) == 1:
        return False
    if words.taken("not", "before"):
        release["not_before"] = words.time()
    elif words.taken("not", "after"):
        release["not_after"] = words.time()
    elif words.taken("gap"):
        release["gap_ahead_s"] = words.figure()
        words.taken("s")
    elif words.taken("work"):
        found["after_garage_s"] = _read_work(words)
    elif words.taken("dry", "only"):
        found["dry_only"] = True
    elif words.taken("after", "flag"):
        found["after_flag"] = words.take()
    elif words.taken("cut", "by", "flag"):
        found["cut_by_flag"] = words.take()
    elif words.taken("switches"):
        found["switches"] = dict(words.several(words.pair))
    elif words.taken("same", "as"):
        found["same_as"] = words.take()
    elif words.taken("shorten", "to"):
        found["shorten_to"] = int(words.figure())
    else:
        return _take_text(words, found)
    return True


def _take_text(words: Words, found: dict[str, Any]) -> bool:
    if words.taken("also", "on"):
        found["also_on"] = tuple(words.several(words.text))
        return True
    key = words.peek()
    fields = {"tyres": "tyres", "driver": "driver", "group": "group", "window": "window", "for": "purpose"}
    if key not in (*fields, "crew", "before", "feedback"):
        return False
    words.take()
    if key in fields:
        found[fields[key]] = words.text()
    else:
        found[key] = tuple(words.several(words.text))
    return True


def _read_work(words: Words) -> ThreePoint:
    low = words.figure()
    if not words.taken("/"):
        words.taken("s")
        return ThreePoint(low_s=low, likely_s=low, high_s=low)
    likely = words.figure()
    if not words.taken("/"):
        raise ValueError(f"{words.part!r} in a run's line: expected quick/likely/slow seconds")
    high = words.figure()
    words.taken("s")
    return ThreePoint(low_s=low, likely_s=likely, high_s=high)


def _read_item(words: Words) -> dict[str, Any]:
    item: dict[str, Any] = {"do": words.take()}
    while words.left:
        key = words.take()
        if key == "times":
            item["times"] = int(words.figure())
        elif key == "on":
            item["on"] = words.several(lambda: _read_lap(words))
        elif key in ("after", "at", "why"):
            item[key] = words.text()
        elif key == "not" and words.taken("before"):
            item.setdefault("when", {})["not_before"] = words.time()
        elif key == "once":
            item.setdefault("when", {})["after_item"] = words.take()
        elif key == "with":
            item["with"] = dict(words.several(words.pair))
        elif key == "want":
            item["want"] = words.take()
        elif key == "stays":
            item["put_back"] = False
        else:
            raise ValueError(f"{words.part!r} in a run's line: {key!r} is not known there")
    return item


def _read_lap(words: Words) -> dict[str, Any]:
    kind, numbers = words.take(), []
    while words.peek().isdigit():
        numbers.append(int(words.take()))
    return {"kind": kind, "numbers": tuple(numbers)}
