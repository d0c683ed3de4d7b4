"""One table of topics: what travels where, as which model, how. Codec, AsyncAPI file and subscriptions follow from it.

Every topic lies under ``pitwall/1/<session>/``. A pattern's ``{car}`` and ``{alert}`` are one topic level each. A car
is a slug and stands as it is; an alert id may hold anything, so the characters that MQTT gives a meaning
(``/ + # $``), the percent sign and controls are percent-encoded.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from typing import Literal
from urllib.parse import quote, unquote

from pydantic import BaseModel

from pitwall.errors import UserError
from pitwall.model.base import SLUG_PATTERN
from pitwall.model.events import (
    CarCrossed,
    CarPitted,
    CarPositioned,
    CarSighted,
    ChannelReported,
    ClockReported,
    CommandGiven,
    StatusChanged,
    SwitchReported,
    TyreReported,
    WeatherReported,
)
from pitwall.model.outputs import (
    AdviceState,
    Alert,
    Answered,
    ClockState,
    CommentNoted,
    Corrected,
    DeskState,
    FieldState,
    ForecastState,
    Health,
    LadderState,
    LapJudged,
    PlanState,
    Prompt,
    Proposal,
    Refused,
    RunDebrief,
)

ROOT = "pitwall/1"
MAX_FACT_BYTES = 64 * 1024
"""A fact or command larger than this is refused."""
MAX_STATE_BYTES = 1024 * 1024
"""What the daemon publishes may be larger (a test day's plan), up to this."""

Direction = Literal["in", "out"]
_SLUG = re.compile(SLUG_PATTERN)
_LEVEL = re.compile(r"\{(car|alert)\}")


@dataclass(frozen=True)
class Topic:
    """One row: ``pattern`` below the session, who sends it, the model, and how it is published.

    ``direction`` is as the daemon sees it: ``in`` is a fact or a command, ``out`` a decision.
    """

    pattern: str
    direction: Direction
    model: type[BaseModel]
    qos: int
    retain: bool
    sender: str
    summary: str

    @functools.cached_property
    def levels(self) -> tuple[str, ...]:
        """Names of the levels that vary: ``()``, ``("car",)`` or ``("alert",)``."""
        return tuple(_LEVEL.findall(self.pattern))


TOPICS: tuple[Topic, ...] = (
    Topic("timing/crossing", "in", CarCrossed, 1, False, "feed", "A car passed a timing loop."),
    Topic("timing/pit", "in", CarPitted, 1, False, "feed", "A car entered or left the pit lane."),
    Topic("timing/position", "in", CarPositioned, 0, False, "feed", "Where a car is on the lap; optional."),
    Topic("timing/sighting", "in", CarSighted, 0, False, "feed", "Where a car is, as a share of the lap; optional."),
    Topic("timing/status", "in", StatusChanged, 1, False, "feed", "Status of the track, its sectors, the pit exit."),
    Topic("timing/clock", "in", ClockReported, 1, False, "feed", "The official clock, with its rate."),
    Topic("timing/weather", "in", WeatherReported, 1, False, "feed", "Weather at the circuit; optional."),
    Topic("car/{car}/switch", "in", SwitchReported, 1, False, "telemetry", "A switch stands at a position; optional."),
    Topic("car/{car}/tyre", "in", TyreReported, 1, False, "telemetry", "A tyre's temperature or pressure; optional."),
    Topic("radio/{car}/channel", "in", ChannelReported, 1, False, "radio desk", "Who is talking; optional."),
    Topic("desk/{car}/command", "in", CommandGiven, 1, False, "screen, keypad or script",
          "What the desk asks for; exactly one answer follows."),
    Topic("prompt/{car}", "out", Prompt, 1, False, "daemon", "One prompt, each time it changes state."),
    Topic("desk/{car}/state", "out", DeskState, 1, True, "daemon", "What the engineer needs at a glance."),
    Topic("desk/{car}/answer", "out", Answered, 1, False, "daemon", "A command's effect in words."),
    Topic("alert/{alert}", "out", Alert, 1, True, "daemon", "A condition; an empty message clears it when it is over."),
    Topic("clock", "out", ClockState, 0, True, "daemon", "The session clock as pitwall keeps it, once a second."),
    Topic("plan/{car}", "out", PlanState, 1, True, "daemon", "Every run and item: planned, forecast and actual spans."),
    Topic("plan/{car}/proposal", "out", Proposal, 1, True, "daemon",
          "A changed plan that waits for adopt or decline; an empty message clears it."),
    Topic("forecast/{car}", "out", ForecastState, 1, True, "daemon", "The chance that each run still fits."),
    Topic("advice", "out", AdviceState, 1, True, "daemon",
          "Changed plans that the forecast advises, best first; an empty message clears it."),
    Topic("ladder", "out", LadderState, 1, True, "daemon",
          "Under a red flag: the best plan for a restart at several moments; an empty message clears it."),
    Topic("field", "out", FieldState, 1, True, "daemon", "Who is on track."),
    Topic("laps/{car}", "out", LapJudged, 1, False, "daemon", "A lap ended, or its kind is believed anew."),
    Topic("comment/{car}", "out", CommentNoted, 1, False, "daemon",
          "What the driver said, when it is noted, completed or taken back."),
    Topic("debrief/{car}", "out", RunDebrief, 1, True, "daemon",
          "What came of the car's last run: laps, items, where the data are; told as it comes in."),
    Topic("health", "out", Health, 1, True, "daemon", "Online or offline; offline is the daemon's will."),
    Topic("corrected", "out", Corrected, 1, False, "daemon", "Better evidence replaced what was believed."),
    Topic("refused", "out", Refused, 1, False, "daemon", "A command or fact that was not taken, and why."),
)

BY_MODEL: dict[type[BaseModel], Topic] = {row.model: row for row in TOPICS}


def _matcher(pattern: str) -> re.Pattern[str]:
    return re.compile(_LEVEL.sub(r"(?P<\1>[^/]+)", pattern))


_MATCHERS = tuple((row, _matcher(row.pattern)) for row in TOPICS)


def check_slug(what: str, value: str) -> str:
    """Return the value if it can stand as a topic level for a session or a car.

    Raises:
        UserError: when it is not 1 to 32 lower-case letters, digits or hyphens.
    """
    if not _SLUG.fullmatch(value):
        raise UserError(f"{what} {value!r} cannot stand in a topic: use 1 to 32 lower-case letters, digits or hyphens")
    return value


def level_text(value: str) -> str:
    """An alert id as one topic level. Whatever MQTT gives a meaning, and everything not plain ASCII, is encoded.

    Raises:
        UserError: when the id is empty: an empty level cannot be told from a slip of the pen.
    """
    if not value:
        raise UserError("an alert without an id cannot be published: give it one")
    return quote(value, safe=":,@")


def topic_of(session: str, row: Topic, levels: dict[str, str] | None = None) -> str:
    """The full topic of one message.

    Raises:
        UserError: when the session or car cannot be a topic level.
    """
    return _full_topic(session, row.pattern, tuple((levels or {}).items()))


@functools.lru_cache(maxsize=4096)  # a session has few topics, and each message is for one of them
def _full_topic(session: str, pattern: str, levels: tuple[tuple[str, str], ...]) -> str:
    path = pattern
    for name, value in levels:
        path = path.replace(f"{{{name}}}", check_slug("car", value) if name == "car" else level_text(value))
    return f"{ROOT}/{check_slug('session', session)}/{path}"


def filter_of(session: str, row: Topic) -> str:
    """The subscription filter that takes every message of this row."""
    return f"{ROOT}/{check_slug('session', session)}/{_LEVEL.sub('+', row.pattern)}"


def filters(session: str, direction: Direction, retained: bool | None = None) -> tuple[str, ...]:
    """The filters of every row in this direction (of the retained or the fleeting ones only, if asked)."""
    rows = (row for row in TOPICS if row.direction == direction and retained in (None, row.retain))
    return tuple(filter_of(session, row) for row in rows)


@dataclass(frozen=True)
class Place:
    """A topic taken apart: whose session, which row, and the levels that vary."""

    session: str
    row: Topic
    levels: dict[str, str]


@functools.lru_cache(maxsize=1024)  # the same few topics, message after message; nobody changes what is returned
def place_of(topic: str) -> Place | None:
    """Take a topic apart; None when it is none of ours (other root, unknown row, session or car not a slug)."""
    head, _, rest = topic.removeprefix(ROOT + "/").partition("/")
    if not topic.startswith(ROOT + "/") or not _SLUG.fullmatch(head):
        return None
    for row, matcher in _MATCHERS:
        match = matcher.fullmatch(rest)
        if match is not None:
            levels = {name: value if name == "car" else unquote(value) for name, value in match.groupdict().items()}
            return Place(head, row, levels) if _SLUG.fullmatch(levels.get("car", "0")) else None
    return None


@functools.lru_cache(maxsize=8192)  # few filters and topics, asked for every message: a third of the time of the bus
def matches(topic_filter: str, topic: str) -> bool:
    """True when an MQTT filter takes a topic: ``+`` is one level, ``#`` the rest and its parent.

    MQTT 3.1.1, 4.7.1-2, 4.7.1-3 and 4.7.2-1: a leading wildcard never takes a topic that starts with ``$``.
    """
    wanted, given = topic_filter.split("/"), topic.split("/")
    if given[0].startswith("$") and wanted[0] in ("+", "#"):
        return False
    for number, level in enumerate(wanted):
        if level == "#":
            return True
        if number >= len(given) or level not in ("+", given[number]):
            return False
    return len(wanted) == len(given)


def covers(allowed: str, wanted: str) -> bool:
    """True when every topic that the filter ``wanted`` takes is also taken by the filter ``allowed``."""
    outer, inner = allowed.split("/"), wanted.split("/")
    if inner[0].startswith("$") and outer[0] in ("+", "#"):
        return False
    for number, level in enumerate(outer):
        if level == "#":
            return True
        if number >= len(inner) or inner[number] == "#" or level not in ("+", inner[number]):
            return False
    return len(outer) == len(inner)


def is_filter(text: str) -> bool:
    """True for a well-formed filter: ``#`` only at the end, wildcards alone in their level, no NUL, not empty."""
    levels = text.split("/")
    return bool(text) and "\0" not in text and not any(
        ("#" in level and (level != "#" or number != len(levels) - 1)) or ("+" in level and level != "+")
        for number, level in enumerate(levels)
    )
