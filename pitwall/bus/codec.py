"""Between bytes on a topic and typed models, both ways: facts and commands in, decisions out.

The daemon uses :func:`fact_from` and :func:`message_for`; a client uses :func:`message_for_fact` and
:func:`output_from`. Which model belongs to which topic stands in ``topics.py`` and nowhere else.

On the wire a fact has no ``type`` (the topic says it) and no ``car`` where the topic names the car; a field ``car``
that contradicts the topic is refused. Fields that we do not know are passed over, so that a newer sender still works.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NoReturn, cast

from pydantic import BaseModel, ValidationError
from pydantic_core import to_json

from pitwall.bus.payload import complaint, control_character, may_hold_controls, read_object, readable_id, shown
from pitwall.bus.topics import BY_MODEL, MAX_FACT_BYTES, MAX_STATE_BYTES, Place, Topic, place_of, topic_of
from pitwall.errors import PayloadError
from pitwall.model.events import OF_READINGS, CarCrossed, CarPositioned, ChannelReported, CommandGiven, Event, Fact
from pitwall.model.outputs import AdviceState, Alert, Health, LadderState, Output, Proposal
from pitwall.model.record import record

WIRE_NAMES: dict[type[BaseModel], dict[str, str]] = {
    CarCrossed: {"speed_mps": "speed"},
    CarPositioned: {"speed_mps": "speed"},
}
"""Where a field is called otherwise on the wire: our name to the wire's. ``speed`` is in metres per second."""

BY_HAND = (CommandGiven, ChannelReported)
"""Sent by keypads, foot switches and people, who know no session seconds: ``t`` may be left out, and is then the moment
at which the message came."""

SESSION_SECONDS = ("t", "opens_at_s")
"""Files may write these as '+00:08:00'; on the wire they are numbers."""


@record
class Message:
    """What is published: a full topic, the bytes, and how."""

    topic: str
    payload: bytes
    qos: int
    retain: bool


@dataclass(frozen=True)
class Cleared:
    """An empty message on a retained topic: what it held is over. ``levels`` names the car or the alert."""

    topic: str
    model: type[BaseModel]
    levels: dict[str, str]


def fact_from(topic: str, payload: bytes, now: float) -> Event:
    """Read a fact or a command that arrived.

    Args:
        topic: full topic.
        payload: the bytes, at most 64 KiB.
        now: the receiver's session seconds; the time of what comes from a hand and carries none (``BY_HAND``).

    Raises:
        PayloadError: for anything that is not what the topic promises; it carries the message's id if readable.
    """
    place = _place(topic, "in")
    fields = read_object(topic, payload, MAX_FACT_BYTES)
    message_id = readable_id(fields)
    model = place.row.model
    known = _known_fields(topic, place, fields, message_id)
    if may_hold_controls(payload):
        _refuse_controls(topic, known, message_id)
    if message_id is not None and message_id.startswith(OF_READINGS):
        reason = f"id {shown(message_id)} begins with {OF_READINGS!r}, as only the daemon's own do: give it another"
        raise PayloadError(topic, reason, message_id)
    if model in BY_HAND:
        known.setdefault("t", now)
    return cast(Event, _validated(topic, model, known, message_id, to_json(known)))


def message_for_fact(session: str, fact: Fact) -> Message:
    """What a feed, a desk or the rehearsed world publishes for a fact.

    Raises:
        PayloadError: when the fact has no topic (facts that the daemon makes itself) or is too large.
    """
    row = _row_for(type(fact), "in")
    if row is None:
        raise PayloadError(session, f"{type(fact).__name__} is never sent over the bus")
    fields = fact.model_dump(mode="json", exclude_none=True, exclude={"type", *row.levels})
    wire_names = WIRE_NAMES.get(type(fact))
    renamed = fields if wire_names is None else {wire_names.get(name, name): value for name, value in fields.items()}
    topic = topic_of(session, row, {name: getattr(fact, name) for name in row.levels})
    payload = to_json(renamed)
    return _sized(Message(topic, payload, row.qos, row.retain), MAX_FACT_BYTES)


def message_for(session: str, output: Output | Health) -> Message | None:
    """What the daemon publishes for a decision; None for those that stay inside.

    An alert that is over, and a proposal, advice or ladder that stands no more, clears its topic with an empty retained
    message.

    Raises:
        PayloadError: when it is larger than a megabyte.
        UserError: when a car or session cannot be a topic level.
    """
    row = _row_for(type(output), "out")
    if row is None:
        return None
    names = {"alert": "id"}
    topic = topic_of(session, row, {level: getattr(output, names.get(level, level)) for level in row.levels})
    over = isinstance(output, Alert | Proposal | AdviceState | LadderState) and not output.active
    payload = b"" if over else output.model_dump_json().encode()
    return _sized(Message(topic, payload, row.qos, row.retain), MAX_STATE_BYTES)


def output_from(topic: str, payload: bytes) -> Output | Health | Cleared:
    """Read a decision that the daemon published; :class:`Cleared` when a retained topic was emptied.

    Raises:
        PayloadError: for anything that is not what the topic promises.
    """
    place = _place(topic, "out")
    if not payload and place.row.retain:
        return Cleared(topic, place.row.model, place.levels)
    fields = read_object(topic, payload, MAX_STATE_BYTES)
    message_id = readable_id(fields)
    model = place.row.model
    # Where nothing in them is escaped the bytes are as good as the fields written out once more.
    text = json.dumps(fields) if may_hold_controls(payload) else payload
    output = _validated(topic, model, fields, message_id, text, prune=True)
    for level, value in place.levels.items():
        own = getattr(output, "id" if level == "alert" else level)
        if own != value:
            raise PayloadError(topic, f"the topic says {level} {shown(value)}, the message {shown(own)}", message_id)
    return cast("Output | Health", output)


def _place(topic: str, direction: str) -> Place:
    place = place_of(topic)
    if place is None or place.row.direction != direction:
        wanted = "facts and commands" if direction == "in" else "what the daemon says"
        raise PayloadError(topic[:200], f"not a topic for {wanted}: see 'pitwall schema asyncapi'")
    return place


def _row_for(model: type[BaseModel], direction: str) -> Topic | None:
    row = BY_MODEL.get(model)
    return row if row is not None and row.direction == direction else None


def _sized(message: Message, most: int) -> Message:
    if len(message.payload) > most:
        raise PayloadError(message.topic, f"the message would have {len(message.payload)} bytes: at most {most}")
    return message


@functools.cache
def _names_of(model: type[BaseModel]) -> tuple[str, ...]:
    return tuple(sorted(set(model.model_fields) - {"type"}))


def _known_fields(topic: str, place: Place, fields: dict[str, Any], message_id: str | None) -> dict[str, Any]:
    """The fields that the model has, under our names, with the car from the topic."""

    def refuse(reason: str) -> NoReturn:
        raise PayloadError(topic, reason, message_id)

    model = place.row.model
    wire_names = WIRE_NAMES.get(model, {})
    names = _names_of(model)
    known: dict[str, Any] = {name: fields[name] for name in names if name in fields}
    for name in wire_names:
        spellings = [spelling for spelling in (wire_names.get(name), name) if spelling in fields]
        if len(spellings) > 1:
            refuse(f"both {spellings[0]!r} and {spellings[1]!r} are given: keep one")
        if spellings:
            known[name] = fields[spellings[0]]
    for name in SESSION_SECONDS:
        if isinstance(known.get(name), str):
            refuse(f"field {name!r} is {shown(known[name])}: expected a number of session seconds")
    for level, value in place.levels.items():
        if known.setdefault(level, value) not in (value, _as_number(value)):
            refuse(f"the topic says {level} {value!r}, the message {shown(known[level])}")
    return known


def _refuse_controls(topic: str, known: dict[str, Any], message_id: str | None) -> None:
    """After it the fields can be written out whatever they hold: no text has half of a surrogate pair."""
    found = control_character(known)
    if found is not None:
        raise PayloadError(topic, f"a text holds the control character {shown(found)}: leave it out", message_id)


def _as_number(value: str) -> int | None:
    return int(value) if value.isdecimal() else None


def _validated(
    topic: str, model: type[BaseModel], fields: dict[str, Any], message_id: str | None, text: str | bytes,
    prune: bool = False,
) -> BaseModel:
    """Validate strictly: JSON's own types only, no text for numbers. With ``prune`` unknown fields are dropped.

    ``text``: the fields, written out.
    """
    try:
        return model.model_validate_json(text, strict=True)
    except ValidationError as error:
        extra = [detail["loc"] for detail in error.errors() if detail["type"] == "extra_forbidden"]
        if not prune or not extra:
            raise PayloadError(topic, complaint(model, error, WIRE_NAMES.get(model, {})), message_id) from None
    for location in extra:
        _without(fields, location)
    return _validated(topic, model, fields, message_id, json.dumps(fields))


def _without(fields: Any, location: Sequence[int | str]) -> None:
    *path, last = location
    for key in path:
        fields = fields[key]
    del fields[last]
