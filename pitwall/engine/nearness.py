"""When the calls of a car must be laid out anew, and when what happened can move none of them.

The plan of the channel is made anew when the laps, the calls or the run change, when talk may push a call away or give
it room, and every few seconds for the time alone. Who talks long before a call moves nothing: by then it is commonly
over, and the next look finds it if it is not.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pitwall.engine.calls import CallBook

if TYPE_CHECKING:
    from pitwall.engine.call import CallSpec
    from pitwall.engine.channel import Talk

TALK_S = 3.0  # a transmission commonly takes so long
SOON_S = 2 * TALK_S  # talk that begins so long before a call moves nothing: by then it is commonly over


@dataclass
class Laid:
    """What the last plan of one channel left behind it.

    ``begins``: when each call that waits for the channel begins, by its key. ``cut``: it was made around talk that took
    time in which one of them might have begun.
    """

    begins: dict[str, float] = field(default_factory=dict)
    cut: bool = False

    def note(self, planned: Iterable[CallSpec], cut: bool) -> None:
        """The channel was planned."""
        self.begins, self.cut = {spec.key: spec.say_from_s for spec in planned}, cut

    def first_s(self, but: str | None = None) -> float:
        """When the first of the calls begins, leaving one out; infinity where none waits."""
        return min([begin for key, begin in self.begins.items() if key != but], default=float("inf"))

    def moved_by(self, before: str, talk: Talk, book: CallBook) -> bool:
        """Guard: that somebody began or ended to talk just now may move a call.

        ``before``: who talked until then. What the engineer says is at its place, and stays there until its key should
        have come; the others move only if they are near.
        """
        now = talk.since_s
        said = book.find(talk.saying) if talk.saying is not None and "engineer" in (before, talk.who) else None
        first = self.first_s(said.spec.key if said is not None else None)
        if talk.who == "nobody":
            return self.cut or first <= now + TALK_S
        return before != "nobody" or first <= now + SOON_S
