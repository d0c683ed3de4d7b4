"""What the status words of recordings mean to us: the one table.

Sources name things differently, and one happening is often told three times: by the session ("aborted"), by race
control ("red") and by the track's summary ("red"). The table gives each word its meaning; ``feeds/status.py`` makes
one change out of the three. A word that is not here is counted and reported, never fatal.
"""

from __future__ import annotations

import re
from enum import Enum


class Meaning(Enum):
    """What a word says."""

    WAITING = "the session, or its next part, has not begun"
    STARTED = "the session, or its next part, begins, or goes on after a red flag"
    GREEN = "race control shows green"
    CLEAR = "a caution is over"
    YELLOW = "a yellow flag, single or double"
    SLOW = "the whole course is slowed down"
    SLOW_ENDING = "the slow period is about to end"
    RED = "the session is stopped"
    FINISHED = "the chequered flag"
    CLOSED = "the session is over for good"
    NO_NEWS = "known, and nothing that changes the status"


WORDS: dict[str, Meaning] = {
    "inactive": Meaning.WAITING,
    "waiting": Meaning.WAITING,
    "started": Meaning.STARTED,
    "resumed": Meaning.STARTED,
    "restarted": Meaning.STARTED,
    "green": Meaning.GREEN,
    "clear": Meaning.CLEAR,
    "all_clear": Meaning.CLEAR,
    "yellow": Meaning.YELLOW,
    "double_yellow": Meaning.YELLOW,
    "vsc": Meaning.SLOW,
    "vsc_deployed": Meaning.SLOW,
    "sc": Meaning.SLOW,
    "sc_deployed": Meaning.SLOW,
    "safety_car": Meaning.SLOW,
    "full_course_yellow": Meaning.SLOW,
    "slow": Meaning.SLOW,
    "vsc_ending": Meaning.SLOW_ENDING,
    "sc_ending": Meaning.SLOW_ENDING,
    "aborted": Meaning.RED,
    "suspended": Meaning.RED,
    "red": Meaning.RED,
    "red_flag": Meaning.RED,
    "finished": Meaning.FINISHED,
    "chequered": Meaning.FINISHED,
    "finalised": Meaning.CLOSED,
    "finalized": Meaning.CLOSED,
    "ends": Meaning.CLOSED,
    "closed": Meaning.CLOSED,
}

_PART = re.compile(r"^part_\d{1,2}$")
_SECTOR = re.compile(r"^(?:marshal )?sector\s+(\S{1,16})$")


def meaning(word: str) -> Meaning | None:
    """The meaning of a word, whatever its case and hyphens; None when nobody told us."""
    plain = re.sub(r"[\s-]+", "_", word.strip().lower())
    if _PART.match(plain):
        return Meaning.NO_NEWS
    return WORDS.get(plain)


def marshal_sector(scope: str) -> str | None:
    """``"sector 10"`` is marshal sector ``"10"``; None for the whole track."""
    match = _SECTOR.match(scope.strip().lower())
    return match.group(1) if match else None
