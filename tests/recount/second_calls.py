"""How long the words of a call take, when it was said, and on which lap it belongs: reckoned again from its words, from
the keys that were pressed and from the plan."""

from __future__ import annotations

import re

from tests.recount.own import Own, engine, near
from tests.recount.sessions import Row, Told

BREATH_S, FIGURE_S = 0.3, 0.15
"""Before the first word, and at each figure; the rest goes at the rate of the setup."""
LABEL = re.compile(r"(timed lap|cool-down lap) (\d+)")
KINDS = {"timed lap": "timed", "cool-down lap": "cool"}


def words_in(figure: str) -> int:
    """Words of a figure said in pairs, an odd digit first: ``102.4`` is one, oh-two, point, four."""
    parts = re.split(r"[.:]", figure)
    return sum((len(part) + 1) // 2 for part in parts) + len(parts) - 1


def spoken_s(told: Told, text: str) -> float:
    """Seconds that a text takes to say."""
    figures = re.findall(r"\d+(?:[.:]\d+)*", text)
    letters = re.findall(r"[A-Za-z']+", text)
    words = len(letters) + sum(words_in(figure) for figure in figures)
    rate: float = told.setup["calls"]["words_per_minute"]
    return BREATH_S + 60 * words / rate + FIGURE_S * len(figures) if words else 0.0


def length(told: Told, prompt: Row) -> Own:
    """The length of what is said: of its words as they stand. What is said in parts is the engine's choice, and so is
    how long an answer takes that nobody has worded yet; with a radio desk it learns how fast he speaks."""
    unworded = prompt["text"].startswith("Answer the driver")
    if told.facts("channel_reported") or prompt["parts"] or unworded:
        return engine(prompt["spoken_s"])
    return Own(spoken_s(told, prompt["text"]), off=0.051)


def _key(told: Told, prompt: Row) -> Row | None:
    """The key by which a call was said."""
    given = next((row for row in told.facts("command_given") if row["id"] == prompt["because"]), None)
    return given if given is not None and given["command"] in ("said", "answered") else None


def moment(told: Told, prompt: Row) -> float:
    """When it was spoken, in session seconds: as the key was pressed, which may be told later, and never after it came
    in; without one the engine took it from what followed."""
    key = _key(told, prompt)
    found: float = prompt["t"] if key is None else min(key["t"], key["received_t"])
    return found


def said_at(told: Told, prompt: Row) -> Own | None:
    """When it was said, and whether that is the recount's own or the engine's."""
    return near(moment(told, prompt), 3, *(() if _key(told, prompt) is not None else ("engine",)))


def item_label(told: Told, car: str, run: str, item: str, text: str) -> Own:
    """The lap that the plan names for an item: the number stands in its ``on``, or it is the only one of its kind."""
    match = LABEL.fullmatch(text)
    driven = next(one for one in told.plans[car]["runs"] if one["run"] == run)
    at = item.removeprefix(f"{run}-").rpartition("-")[2]
    if match is None or not at.isdecimal() or int(at) >= len(driven["laps"]):
        return engine(text)
    before = driven["laps"][: int(at) + 1]
    words = {kind: name for name, kind in KINDS.items()}
    return Own(f"{words[before[-1]]} {before.count(before[-1])}" if before[-1] in words else f"on no lap {match[2]}")
