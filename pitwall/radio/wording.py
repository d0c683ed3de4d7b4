"""The words of a call: templates of the library filled in, numbers as they are said, the place before the action."""

from __future__ import annotations

import string
from collections.abc import Mapping
from functools import lru_cache

from pitwall.errors import UserError
from pitwall.model.car import Position, Switch, position_text
from pitwall.model.plan import LapKind, Scalar

_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")

LAP_WORDS: dict[LapKind, str] = {
    "out": "out-lap", "timed": "timed lap", "cool": "cool-down lap", "in": "in-lap", "installation": "installation lap",
}  # fmt: skip


def count_word(number: int) -> str:
    """``3`` as ``three``; figures beyond twelve."""
    return _SMALL[number] if 0 <= number < len(_SMALL) else str(number)


def laps_phrase(number: int, noun: str = "timed lap") -> str:
    """``one timed lap``, ``three timed laps``."""
    return f"{count_word(number)} {noun}{'' if number == 1 else 's'}"


def run_phrase(timed: int, cool: int) -> str:
    """``three timed laps``, ``three timed laps with one cool-down lap``: what is driven between out-lap and in-lap."""
    return laps_phrase(timed) + (f" with {laps_phrase(cool, 'cool-down lap')}" if cool else "")


def fill(template: str, values: Mapping[str, Scalar]) -> str:
    """Fill ``{name}`` in a template.

    Raises:
        UserError: naming the word in braces that nothing gives a value for.
    """
    return _filled(template, tuple([(name, _as_said(value)) for name, value in values.items()]))


@lru_cache(maxsize=512)  # the same sentences with every fact
def _filled(template: str, words: tuple[tuple[str, str], ...]) -> str:
    known = dict(words)
    try:
        text = string.Formatter().vformat(template, (), known)
    except (KeyError, IndexError, ValueError, AttributeError, TypeError) as error:
        raise UserError(f"cannot fill {template!r}: {error}; known words: {', '.join(sorted(known))}") from error
    return text[:1].upper() + text[1:]


def _as_said(value: Scalar) -> str:
    # Small counts are words: a digit alone is easily lost in the noise.
    return count_word(value) if type(value) is int and 1 <= value < len(_SMALL) else position_text(value)


def switch_words(switch: Switch, position: Position, believed: Position | None) -> tuple[str, str]:
    """A switch change as (text, short). A bias is said as a number of steps where the present position is believed.

    No "to" before a figure: through noise it is a two (``soundalike``). Nor with a toggle: "flap open" says it.
    """
    if switch.kind == "bias" and believed is not None and switch.step:
        steps = round((float(position) - float(believed)) / switch.step)
        if steps and abs(steps) <= 6:
            way = "up" if steps > 0 else "down"
            amount = f"{count_word(abs(steps))} {way}"
            return f"{switch.word} {amount}, makes {position_text(position)}", f"{switch.word} {amount}"
    said = position_text(position)
    plain = said[:1].isdigit() or switch.kind == "toggle"
    return f"{switch.word} {said}" if plain else f"{switch.word} to {said}", f"{switch.word} {said}"


def lap_time_words(seconds: float) -> str:
    """A lap time as written on a board: ``1:27.4``."""
    minutes, rest = divmod(round(seconds, 1), 60)
    return f"{int(minutes)}:{rest:04.1f}"
