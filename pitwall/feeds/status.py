"""From the many status messages of a recording to the changes that matter.

Theory. The session is in one phase: waiting, running, red, finished or closed; while it runs, the whole course may be
slow or yellow, and marshal sectors may be yellow on their own. Each message moves this state or is an echo of one that
already did; only moves become facts. In particular:

* Before a session or a part begins, ``green`` only says that the track is clear: the part begins with ``started``.
* ``started`` or a whole-track ``green`` ends a red flag; ``clear`` does not, it ends cautions only.
* A whole-track ``yellow`` is the track's summary of its sectors. With a yellow sector known, or named within
  ``SUMMARY_S``, it adds nothing; else it stands for a yellow whose place nobody told.
* After the chequered flag the track going green restarts nothing: it clears the sectors that were yellow.
* After ``finished`` a session in parts goes on with ``inactive`` (waiting) and a new ``started``. Closed is the end.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from pitwall.feeds.recording import StatusRow
from pitwall.feeds.status_words import Meaning, marshal_sector, meaning
from pitwall.model.events import SessionStatus, StatusChanged

SUMMARY_S = 1.0
"""The same happening is told by several sources within this time (0.2 s in the recordings at hand)."""

Phase = Literal["waiting", "running", "red", "finished", "closed"]


@dataclass(frozen=True)
class StatusStory:
    """The changes in order, and the words that nobody knows with how often they came."""

    changes: tuple[StatusChanged, ...]
    unknown_words: Counter[str]


@dataclass
class _Track:
    rows: Sequence[StatusRow]
    phase: Phase = "waiting"
    caution: Literal["", "yellow", "slow", "ending"] = ""
    sectors: list[str] = field(default_factory=list)
    changes: list[StatusChanged] = field(default_factory=list)

    def say(self, t: float, status: SessionStatus, sectors: Iterable[str] = (), ending: bool = False) -> None:
        scope = tuple(sorted(sectors))
        self.changes.append(
            StatusChanged(
                id=f"status-{round(t * 1000)}-{len(self.changes)}", t=t, status=status, scope=scope or "all",
                ending=ending,
            )
        )

    def enter(self, t: float, phase: Phase, status: SessionStatus) -> None:
        if self.phase not in (phase, "closed"):
            self.phase, self.caution = phase, ""
            if status == "green":
                self.sectors.clear()
            self.say(t, status)

    def sector(self, t: float, name: str, said: Meaning) -> None:
        if said in (Meaning.YELLOW, Meaning.SLOW, Meaning.RED) and name not in self.sectors:
            self.sectors.append(name)
            self.say(t, "yellow", [name])
        elif said in (Meaning.CLEAR, Meaning.GREEN) and name in self.sectors:
            self.sectors.remove(name)
            self.say(t, "green", [name])

    def clear(self, t: float) -> None:
        if self.phase == "running" and (self.caution or self.sectors):
            self.caution = ""
            self.sectors.clear()
            self.say(t, "green")
        elif self.sectors:
            self.say(t, "green", self.sectors)
            self.sectors.clear()

    def yellow(self, index: int, t: float) -> None:
        if self.phase == "running" and not self.caution and not self.sectors and not self._sector_follows(index, t):
            self.caution = "yellow"
            self.say(t, "yellow")

    def _sector_follows(self, index: int, t: float) -> bool:
        for row in self.rows[index + 1 :]:
            if row.t > t + SUMMARY_S:
                return False
            if marshal_sector(row.scope) is not None and meaning(row.word) is Meaning.YELLOW:
                return True
        return False

    def slow(self, t: float, ending: bool) -> None:
        now: Literal["slow", "ending"] = "ending" if ending else "slow"
        if self.phase != "running" or self.caution == now or (ending and self.caution != "slow"):
            return
        self.caution = now
        self.say(t, "slow", ending=ending)

    def whole_track(self, index: int, t: float, said: Meaning) -> None:
        if said is Meaning.STARTED or (said is Meaning.GREEN and self.phase == "red"):
            self.enter(t, "running", "green")
        elif said in (Meaning.GREEN, Meaning.CLEAR):
            self.clear(t)
        elif said is Meaning.YELLOW:
            self.yellow(index, t)
        elif said in (Meaning.SLOW, Meaning.SLOW_ENDING):
            self.slow(t, said is Meaning.SLOW_ENDING)
        elif said in PHASES:
            self.enter(t, *PHASES[said])


PHASES: dict[Meaning, tuple[Phase, SessionStatus]] = {
    Meaning.WAITING: ("waiting", "waiting"),
    Meaning.RED: ("red", "red"),
    Meaning.FINISHED: ("finished", "finished"),
    Meaning.CLOSED: ("closed", "closed"),
}


def tell_status(rows: Iterable[StatusRow]) -> StatusStory:
    """Turn a recording's status messages into changes.

    A recording in which nobody says ``started`` begins at session second zero, its green light.
    """
    ordered = sorted(rows, key=lambda row: row.t)
    if not any(meaning(row.word) is Meaning.STARTED for row in ordered):
        ordered = sorted([*ordered, StatusRow(0.0, "started", "session", "")], key=lambda row: row.t)
    track = _Track(ordered)
    unknown: Counter[str] = Counter()
    for index, row in enumerate(ordered):
        said = meaning(row.word)
        if said is None:
            unknown[row.word] += 1
            continue
        name = marshal_sector(row.scope)
        if name is not None:
            track.sector(row.t, name, said)
        else:
            track.whole_track(index, row.t, said)
    return StatusStory(tuple(track.changes), unknown)
