"""What may stand in one cell, and how it is read back to the very value that was written.

    a scalar            3    4.5    yes    no    attack    "3" (text that would read as something else)
    keys and values     torque_map=3; brake_bias=56.5
    a list              tyres, floor
    laps of an item     out; timed 1 3; in

A text that begins with a sign that spreadsheets take for a formula stays text: the writers of files see to that.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from pitwall.model.plan import LapChoice, Scalar

YES, NO = "yes", "no"
_WHOLE = re.compile(r"[-+]?\d{1,300}", re.ASCII)
_NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d{1,3})?", re.ASCII)
_LIKE_A_NUMBER = re.compile(r"[-+\u2212\u2013]?[\s.,'\u2019]*\d[\s\d.,'\u2019]*([eE][-+]?\d+)?")
_PLAIN = re.compile(r"[A-Za-z_][A-Za-z0-9_./+ -]*")
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_PART = re.compile(r'\s*((?:"(?:[^"\\]|\\.)*"|[^;"])*)\s*(?:;|$)')
_LIST_PART = re.compile(r'\s*((?:"(?:[^"\\]|\\.)*"|[^,"])*)\s*(?:,|$)')


class CellError(ValueError):
    """A cell that cannot be read: what was found, and what was expected.

    ``parts``: the same of each of its parts that cannot be read, where they are several; ``read``: what its others say.
    """

    def __init__(self, message: str, parts: Sequence[CellError] = (), read: object = None) -> None:
        super().__init__(message)
        self.parts, self.read = tuple(parts) or (self,), read


def scalar(value: Scalar) -> str:
    """A number, yes or no, or text, so that :func:`read_scalar` gives the same."""
    if isinstance(value, bool):
        return YES if value else NO
    if isinstance(value, int | float):
        return repr(value)
    plain = _PLAIN.fullmatch(value) and value == value.strip() and value.lower() not in (YES, NO)
    return value if plain else json.dumps(value, ensure_ascii=False)


def read_scalar(cell: str) -> Scalar:
    """The value that a text stands for.

    Raises:
        CellError: when quotes are not closed, or it is all but a number: ``56,5`` is not taken for text, nor guessed.
    """
    found = cell.strip()
    if found.lower() in (YES, NO):
        return found.lower() == YES
    number = read_number(found)
    if number is not None:
        return number
    if _LIKE_A_NUMBER.fullmatch(found):
        point = with_a_point(found)
        remedy = f"a number with a decimal point, {point}" if point else "a number such as 56.5"
        raise CellError(f"found {shortened(found)}, expected {remedy}, or a text in quotes")
    if found.startswith('"'):
        try:
            read = json.loads(found)
        except ValueError:
            raise CellError(f"found {shortened(found)}, expected the closing quotes of a text") from None
        return str(read)
    return found


def with_a_point(found: str) -> str | None:
    """``56.5`` for ``56,5``; None where the comma may part thousands, or is not alone."""
    whole, comma, rest = found.partition(",")
    if not comma or not rest.isdecimal() or not whole.lstrip("+-").isdecimal() or len(rest) == 3:
        return None
    return f"{whole}.{rest}"


def read_number(cell: str) -> int | float | None:
    """The number that a text stands for, or None."""
    found = cell.strip()
    if _WHOLE.fullmatch(found):
        return int(found)
    return float(found) if _NUMBER.fullmatch(found) else None


def shortened(found: str) -> str:
    """What a message shows of a cell."""
    return repr(found if len(found) <= 60 else f"{found[:57]}...")


def text(value: str | None) -> str | None:
    """A text as it stands; only one that begins with quotes, or is nothing but blanks, is put in quotes."""
    if value is None or (value.strip() and not value.startswith('"')):
        return value
    return json.dumps(value, ensure_ascii=False)


def label(value: str | None) -> str | None:
    """A name that is looked up: blanks around it, which nobody sees in a cell, are its own only within quotes."""
    if value is None or value == value.strip():
        return text(value)
    return json.dumps(value, ensure_ascii=False)


def read_text(cell: str) -> str:
    """The text of a cell."""
    return str(read_scalar(cell)) if cell.startswith('"') else cell


def read_word(cell: str) -> str:
    """A name or a word of a list: blanks around it mean nothing."""
    return read_text(cell.strip())


def mapping(values: Mapping[str, Scalar]) -> str:
    """``torque_map=3; brake_bias=56.5``."""
    return "; ".join(f"{_key(name)}={scalar(value)}" for name, value in values.items())


def _key(name: str) -> str:
    return name if _NAME.fullmatch(name) else json.dumps(name, ensure_ascii=False)


def _key_and_value(part: str) -> tuple[str, str] | None:
    if not part.startswith('"'):
        name, equals, value = part.partition("=")
        return (name.strip(), value) if equals else None
    try:
        name, end = json.JSONDecoder().raw_decode(part)
    except ValueError:
        return None
    rest = part[end:].lstrip()
    return (str(name), rest[1:]) if rest.startswith("=") else None


def read_mapping(cell: str) -> dict[str, Scalar]:
    """Keys and values.

    Raises:
        CellError: naming each part without ``=``, each value that is none, and each key that stands there twice.
    """
    found: dict[str, Scalar] = {}
    wrong: list[CellError] = []
    for part in _parts(_PART, cell):
        try:
            name, value = _pair(part)
            if name in found:
                raise CellError(f"found {shortened(name)} twice, expected each key once")
            found[name] = read_scalar(value)
        except CellError as problem:
            wrong.append(problem)
    if wrong:
        raise CellError(str(wrong[0]), wrong, found)
    return found


def _pair(part: str) -> tuple[str, str]:
    pair = _key_and_value(part)
    if pair is None or not pair[0] or not pair[1].strip():
        raise CellError(f"found {shortened(part)}, expected parts such as torque_map=3 with ';' between them")
    return pair


def listed(values: Iterable[str]) -> str:
    """``tyres, floor``: text that would read otherwise stands in quotes."""
    return ", ".join(
        value if _PLAIN.fullmatch(value) and value == value.strip() else json.dumps(value, ensure_ascii=False)
        for value in values
    )


def read_list(cell: str) -> list[str]:
    """The entries of a list, each as text.

    Raises:
        CellError: when quotes are not closed.
    """
    return [read_text(part) for part in _parts(_LIST_PART, cell)]


def laps_of_item(choices: Iterable[LapChoice]) -> str:
    """``out; timed 1 3``."""
    return "; ".join(" ".join([choice.kind, *map(str, choice.numbers)]) for choice in choices)


def read_laps_of_item(cell: str) -> list[dict[str, Any]]:
    """On which laps an item sits.

    Raises:
        CellError: naming each part that cannot be read.
    """
    found, wrong = [], []
    for part in _parts(_PART, cell):
        kind, *numbers = part.replace(",", " ").split()
        if all(number.isascii() and number.isdigit() for number in numbers):
            found.append({"kind": kind, "numbers": [int(number) for number in numbers]})
        else:
            what = f"found {shortened(part)}, expected a kind of lap and numbers, such as 'timed 1 3'"
            wrong.append(CellError(what))
    if wrong:
        raise CellError(str(wrong[0]), wrong)
    return found


def _parts(pattern: re.Pattern[str], cell: str) -> list[str]:
    found, at, whole = [], 0, cell.strip()
    while at < len(whole):
        match = pattern.match(whole, at)
        if match is None or match.end() == at:
            raise CellError(f"found {shortened(whole[at:])}, expected the closing quotes of a text")
        if match[1].strip():
            found.append(match[1].strip())
        at = match.end()
    return found
