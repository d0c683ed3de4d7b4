"""What pydantic found, in plain words and at its place in the file.

Pydantic names a place by field, list index and, inside a union, by the alternative it tried. Here each error is
brought back to a path that the file really has; the alternatives of one union become one finding.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from difflib import get_close_matches
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError

from pitwall.checks.codes import finding
from pitwall.errors import FilePath, Finding, PathPart
from pitwall.model.base import Refused
from pitwall.model.timetable import TIME_OF_DAY_PATTERN

Details = Mapping[str, Any]
LineOf = Callable[[FilePath], int | None]

_TYPES = {
    "string_type": "text", "int_type": "a whole number", "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number", "float_parsing": "a number", "bool_type": "true or false",
    "bool_parsing": "true or false",
    "tuple_type": "a list", "list_type": "a list", "dict_type": "keys and values", "model_type": "keys and values",
    "model_attributes_type": "keys and values", "dict_attributes_type": "keys and values",
    "timezone_aware": "a time with an offset, such as 2031-05-16T10:30:00+02:00",
    "datetime_type": "a time such as 2031-05-16T10:30:00+02:00",
    "datetime_parsing": "a time such as 2031-05-16T10:30:00+02:00",
    "datetime_from_date_parsing": "a time such as 2031-05-16T10:30:00+02:00",
    "datetime_object_invalid": "a time such as 2031-05-16T10:30:00+02:00",
}  # fmt: skip
_BOUNDS = {
    "greater_than": ("gt", "more than {}"), "greater_than_equal": ("ge", "{} or more"),
    "less_than": ("lt", "less than {}"), "less_than_equal": ("le", "{} or less"),
    "finite_number": (None, "a finite number"),
    "too_short": ("min_length", "at least {} entries"), "too_long": ("max_length", "at most {} entries"),
    "string_too_short": ("min_length", "at least {} characters"),
    "string_too_long": ("max_length", "at most {} characters"),
}  # fmt: skip
_PATTERNS = {
    "^[a-z0-9-]{1,32}$": "lower-case letters, digits and hyphens, at most 32",
    "^[a-z][a-z0-9_]{0,47}$": "a name in snake_case, such as radio_check",
    TIME_OF_DAY_PATTERN: "a time of day from 00:00 to 23:59, such as 08:30",
}
_MEANT = {"int": "whole", "integer": "whole", "float": "number", "real": "number", "str": "text", "string": "text"}
"""Words of programmers for what the files call otherwise."""
_OTHER_PATTERN = "what pitwall writes there itself"


def near(word: str, choices: tuple[str, ...] | list[str]) -> str | None:
    """``did you mean 'x'?`` for the nearest choice, or None when nothing is near."""
    by_lower = {choice.lower(): choice for choice in choices}
    found = get_close_matches(word.lower(), list(by_lower), n=1, cutoff=0.6)
    return f"did you mean {by_lower[found[0]]!r}?" if found else None


def shown(value: object) -> str:
    """A value as it stands in a message: short, and in the words of the file."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "keys and values" if value else "empty braces"
    if isinstance(value, list | tuple):
        short = len(value) <= 6 and all(isinstance(one, str | int | float) for one in value)
        text = f"[{', '.join(shown(one) for one in value)}]" if short else ""
        return text if 2 < len(text) <= 60 else f"a list of {len(value)}" if value else "an empty list"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def findings_from(
    error: ValidationError, data: Any, model: type[BaseModel], line_of: LineOf = lambda path: None
) -> list[Finding]:
    """Every error as a finding with a path; file and line are filled in by the reader of the file.

    Args:
        error: what pydantic found.
        data: the data that was validated.
        model: the model it was validated against.
        line_of: the line of a path in the file, for messages that name a second line.
    """
    grouped: dict[FilePath, list[Details]] = {}
    refused: list[Finding] = []
    for details in error.errors(include_url=False):
        path, reason = _path_in(data, details["loc"], details["type"]), reason_of(details)
        if reason is None:
            grouped.setdefault(path, []).append(details)
        else:
            first = (*path, *reason.first) if reason.first is not None else None
            refused.append(refusal(_path_in(data, (*path, *reason.at), "value_error"), reason, first, line_of))
    for path in [path for path in grouped if any(other[: len(path)] == path != other for other in grouped)]:
        # A list whose entries are wrong is counted without them: that it is too short is their fault.
        grouped[path] = [details for details in grouped[path] if not _long_enough(details)]
    return refused + [made for path, group in grouped.items() if group for made in _findings_at(path, group, model)]


def _long_enough(details: Details) -> bool:
    """Guard: what counts as too short has as many entries as it needs."""
    value = details["input"]
    return details["type"] == "too_short" and isinstance(value, list | tuple) and (
        len(value) >= details["ctx"]["min_length"])


def reason_of(details: Details) -> Refused | None:
    """The refusal of a model that names its place itself, or None."""
    error = details["ctx"].get("error") if details["type"] == "value_error" else None
    return error if isinstance(error, Refused) else None


def refusal(path: FilePath, reason: Refused, first: FilePath | None, line_of: LineOf) -> Finding:
    """The finding for what a model refused at ``path``; ``first`` is where the value stands that it disagrees with."""
    line = line_of(first) if first is not None else None
    found = reason.found if line is None else f"{reason.found} (first in line {line})"
    return finding(reason.code, path=path, found=found, expected=reason.expected, suggestion=reason.suggestion)


def _path_in(data: Any, loc: tuple[PathPart, ...], kind: str) -> FilePath:
    """The part of ``loc`` that the data has; names of union alternatives fall out. A missing key stays at the end."""
    path: list[PathPart] = []
    for index, part in enumerate(loc):
        last = index == len(loc) - 1
        if isinstance(data, dict) and (str(part) in data or (last and kind == "missing")):
            path.append(str(part))
            data = data.get(str(part))
        elif isinstance(data, list) and isinstance(part, int) and part < len(data):
            path.append(part)
            data = data[part]
    return tuple(path)


def _findings_at(path: FilePath, group: list[Details], model: type[BaseModel]) -> Iterator[Finding]:
    if len(group) == 1:
        yield _one(path, group[0], model)
        return
    expected = list(dict.fromkeys(text for details in group if (text := _expected(details)) is not None))
    precise = [details for details in group if details["type"] in ("value_error", "string_pattern_mismatch")]
    if precise or not expected:
        yield _one(path, (precise or group)[0], model)
        return
    yield finding("PW014", path=path, found=shown(group[0]["input"]), expected=" or ".join(expected))


def _one(path: FilePath, details: Details, model: type[BaseModel]) -> Finding:
    kind = details["type"]
    special = _SPECIAL.get(kind)
    if special is not None:
        return special(path, details, model)
    if kind in _BOUNDS:
        length = len(details["input"]) if kind in ("string_too_short", "string_too_long") else None
        found = shown(details["input"]) if length is None else f"{length} characters"
        return finding("PW015", path=path, found=found, expected=_expected(details))
    if kind in _TYPES:
        return finding("PW014", path=path, found=shown(details["input"]), expected=_expected(details),
                       suggestion=_type_hint(details) or _shape_hint(path, details, model))
    return finding("PW016", path=path, found=f"{shown(details['input'])} ({details['msg']})")


def _expected(details: Details) -> str | None:
    kind = details["type"]
    if kind in _BOUNDS:
        key, words = _BOUNDS[kind]
        bound = details["ctx"][key] if key is not None else ""
        return words.format(f"{bound:g}" if isinstance(bound, float) else bound)
    if kind == "literal_error":
        return _one_of(_literal_choices(details))
    return _TYPES.get(kind)


def _type_hint(details: Details) -> str | None:
    value, kind = details["input"], details["type"]
    if value is None:
        return "a key with nothing behind it has no value: write one or delete the line"
    if kind == "string_type":
        return f"put it in quotes: \"{shown(value)}\"" if isinstance(value, int | float) else None
    if isinstance(value, str) and kind in ("float_parsing", "int_parsing"):
        number = re.match(r"^\s*([-+]?\d+)[,.]?(\d*)\s*([a-zA-Z%/]*)\s*$", value)
        if number and number.group(3):
            return "leave the unit out: it is in the name of the key"
        if number:
            return "decimals have a point, and no spaces"
    return None


def _shape_hint(path: FilePath, details: Details, model: type[BaseModel]) -> str | None:
    """How to write a list, or keys and values, where something else stands."""
    value, kind = details["input"], details["type"]
    if kind in ("tuple_type", "list_type"):
        if isinstance(value, dict):
            return "begin each entry with '- '"
        return f"write [{value}]" if isinstance(value, str) and re.fullmatch(r"\w{1,20}", value) else None
    holder = model_at(model, path)
    if _TYPES[kind] == "keys and values" and holder is not None:
        names = [info.alias or name for name, info in holder.model_fields.items()]
        needed = [info.alias or name for name, info in holder.model_fields.items() if info.is_required()]
        return f"such as {{{', '.join(f'{name}: ...' for name in needed or names[:2])}}}"
    return None


def _unknown_key(path: FilePath, details: Details, model: type[BaseModel]) -> Finding:
    holder = model_at(model, path[:-1])
    known = sorted(_written_names(holder)) if holder is not None else []
    key = str(path[-1]) if path else "?"
    return finding("PW011", path=path, found=f"unknown key {key!r}", suggestion=near(key, known),
                   expected=f"one of: {', '.join(known)}" if known else "no such key here")


def _missing_key(path: FilePath, details: Details, model: type[BaseModel]) -> Finding:
    key = str(path[-1]) if path else "?"
    given = details["input"]
    written = [str(name) for name in given] if isinstance(given, dict) else []
    holder = model_at(model, path[:-1])
    unknown = [name for name in written if holder is None or name not in _written_names(holder)]
    close = get_close_matches(key, unknown, n=1, cutoff=0.6)
    return finding("PW012", path=path[:-1], found=f"no key {key!r}", expected="one, it has no default",
                   suggestion=f"is {close[0]!r} meant to be {key!r}?" if close else example_line(holder, key))


_EXAMPLES = {
    "car": "41", "driver": "ines", "session": "practice-1", "run": "baseline", "want": "must", "do": "radio_check",
    "runs": "[{run: baseline, want: must, laps: 'out, 3 timed, in'}]", "compound": "medium",
    "opens_at": '"2031-05-16T10:30:00+02:00"', "duration_s": "3600", "sessions": "[{session: practice-1, "
    "duration_s: 3600}]", "circuit": "circuit.yaml", "regulations": "regulations.yaml", "procedures": "procedures",
    "plan": "plans/plan_41.yaml",
}  # fmt: skip
"""What may stand behind a key that must not be missing, as an example only."""


def example_line(holder: type[BaseModel] | None, key: str) -> str | None:
    """``add a line such as 'driver: ines'``, or None where no example would help."""
    info = {(one.alias or name): one for name, one in holder.model_fields.items()}.get(key) if holder else None
    if info is not None and get_origin(info.annotation) is Literal:
        return f"add a line '{key}: {get_args(info.annotation)[0]}'"
    return f"add a line such as '{key}: {_EXAMPLES[key]}'" if key in _EXAMPLES else None


def _wrong_word(path: FilePath, details: Details, model: type[BaseModel]) -> Finding:
    choices = _literal_choices(details)
    if len(path) == 1 and choices == ["1"]:
        return finding("PW017", path=path, found=f"version {shown(details['input'])}", expected="version 1",
                       suggestion="this pitwall knows version 1 of the format")
    word = str(details["input"])
    meant = _MEANT.get(word.lower())
    return finding("PW013", path=path, found=shown(details["input"]), expected=_one_of(choices),
                   suggestion=f"did you mean {meant!r}?" if meant in choices else near(word, choices))


def _sentence(path: FilePath, details: Details, model: type[BaseModel]) -> Finding:
    reason = str(details["ctx"]["error"])
    found, _, expected = reason.partition(": expected ")
    if expected:
        return finding("PW016", path=path, found=found, expected=expected)
    if reason.startswith("expected ") and not isinstance(details["input"], dict | BaseModel):
        return finding("PW016", path=path, found=shown(details["input"]), expected=reason.removeprefix("expected "))
    return finding("PW016", path=path, found=reason)


def _wrong_form(path: FilePath, details: Details, model: type[BaseModel]) -> Finding:
    pattern = str(details["ctx"]["pattern"])
    value = str(details["input"])
    return finding("PW016", path=path, found=shown(value), expected=_PATTERNS.get(pattern, _OTHER_PATTERN),
                   suggestion=_tidied(value, pattern))


def _tidied(value: str, pattern: str) -> str | None:
    joint = "-" if "-]" in pattern else "_"
    tidy = re.sub(r"[^a-z0-9]+", joint, value.lower()).strip(joint)
    return f"write {tidy!r}" if re.match(pattern, tidy) else None


_SPECIAL: dict[str, Callable[[FilePath, Details, type[BaseModel]], Finding]] = {
    "extra_forbidden": _unknown_key,
    "missing": _missing_key,
    "literal_error": _wrong_word,
    "value_error": _sentence,
    "string_pattern_mismatch": _wrong_form,
}


def _literal_choices(details: Details) -> list[str]:
    text = str(details["ctx"]["expected"])
    return re.findall(r"'([^']*)'", text) or [part.strip() for part in re.split(r", | or ", text)]


def _one_of(choices: list[str]) -> str:
    return f"one of: {', '.join(choices)}" if len(choices) > 1 else repr(choices[0]) if choices else "another word"


def _written_names(model: type[BaseModel]) -> set[str]:
    return {info.alias or name for name, info in model.model_fields.items()}


def model_at(model: type[BaseModel], path: FilePath) -> type[BaseModel] | None:
    """The model of the mapping at this path, or None when the path leaves the models."""
    here: type[BaseModel] | None = model
    into_mapping = False
    for part in path:
        if here is None:
            return None
        if isinstance(part, int):
            continue
        if into_mapping:
            into_mapping = False
            continue
        info = {info.alias or name: info for name, info in here.model_fields.items()}.get(part)
        if info is None:
            return None
        here, into_mapping = _first_model(info.annotation), _holds_mapping(info.annotation)
    return None if into_mapping else here


def _first_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _first_model(part)) is not None), None)


def _holds_mapping(annotation: Any) -> bool:
    return get_origin(annotation) is dict or any(get_origin(part) is dict for part in get_args(annotation))
