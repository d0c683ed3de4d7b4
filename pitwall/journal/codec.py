"""Stored form of one stamped event: compact JSON that begins with its format version.

    {"v":1,"seq":17,"received_t":63.2,"wall_s":1700000063.2,"event":{"id":"x-17","t":62.9,"type":"car_crossed",...}}

Fields that are None are left out (every optional field of an event means None by default; a test holds that), except
in ``session_prepared``, which is stored whole.

When the shape of a stored event changes: raise ``FORMAT`` by one and add an entry to ``UPCASTERS`` that turns the old
record into the next version's. Records are brought up step by step when read; what is stored is never rewritten.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from pydantic import ValidationError

from pitwall.errors import JournalError
from pitwall.model.base import STORED
from pitwall.model.events import SessionPrepared, Stamped

Record = dict[str, Any]
Upcaster = Callable[[Record], Record]

FORMAT = 1
UPCASTERS: Mapping[int, Upcaster] = {}
"""From version n to n + 1, by n."""


def encode(stamped: Stamped) -> bytes:
    """One stamped event as bytes, in the current format."""
    whole = isinstance(stamped.event, SessionPrepared)
    body = stamped.model_dump_json(exclude_none=not whole)
    return f'{{"v":{FORMAT},{body[1:]}'.encode()


def decode(
    data: bytes, place: str = "record", *, current: int = FORMAT, upcasters: Mapping[int, Upcaster] = UPCASTERS
) -> Stamped:
    """The stamped event that these bytes hold, brought up to the current format.

    Args:
        data: What ``encode`` wrote, in this or an earlier version.
        place: Where it came from, for the message.
        current: Newest version that can be read.
        upcasters: From version n to n + 1, by n.

    Raises:
        JournalError: when it is damaged, of a newer version, or of one that nothing brings up.
    """
    prefix = b'{"v":%d,' % current
    try:
        if data.startswith(prefix):
            return Stamped.model_validate_json(b"{" + data[len(prefix):], context=STORED)
        record = _brought_up(_record(data, place), place, current, upcasters)
        return Stamped.model_validate_json(json.dumps(record), context=STORED)
    except ValidationError as problem:
        first = problem.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise JournalError(
            f"{place}: not a stored event ({where}: {first['msg']}). The journal is damaged or was edited;"
            " move it away to start a new one, and keep it for the debrief."
        ) from problem


def _record(data: bytes, place: str) -> Record:
    try:
        record = json.loads(data)
    except ValueError as problem:
        raise JournalError(
            f"{place}: not JSON ({problem}). The journal is damaged; move it away to start a new one."
        ) from problem
    if not isinstance(record, dict) or not isinstance(record.get("v"), int) or isinstance(record["v"], bool):
        raise JournalError(f"{place}: no format version. This was not written by pitwall; name another journal.")
    return record


def _brought_up(record: Record, place: str, current: int, upcasters: Mapping[int, Upcaster]) -> Record:
    version: int = record.pop("v")
    if version > current:
        raise JournalError(
            f"{place}: written in format {version} by a newer pitwall; this one reads up to format {current}."
            " Use the newer pitwall, or another journal."
        )
    while version < current:
        if version not in upcasters:
            raise JournalError(f"{place}: format {version} can no longer be read; use the pitwall that wrote it.")
        try:
            record = upcasters[version](record)
        except (KeyError, TypeError, ValueError) as problem:
            raise JournalError(f"{place}: damaged record of format {version} ({problem!r}).") from problem
        version += 1
    return record


_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def canonical(stamped: Stamped) -> bytes:
    """The bytes that a digest is made of: sorted keys, no time of day (nothing is decided by it)."""
    return _CANONICAL.encode(stamped.model_dump(mode="json", exclude={"wall_s"})).encode()


def digest(events: Iterable[Stamped]) -> str:
    """SHA-256 over the canonical bytes, as hexadecimal text: equal digests, equal journals."""
    total = hashlib.sha256()
    for stamped in events:
        body = canonical(stamped)
        # The length keeps two records from reading like one.
        total.update(b"%d:" % len(body))
        total.update(body)
    return total.hexdigest()
