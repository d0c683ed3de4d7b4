"""Publishing a recorded session onto the bus, message by message, as its feed did on the day."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pitwall.app.clients import WorldLink
from pitwall.app.lifecycle import Lifecycle
from pitwall.bus.address import BrokerAddress
from pitwall.bus.mqtt import MqttBus
from pitwall.errors import UserError
from pitwall.feeds.recording import Recording, read_recording
from pitwall.feeds.replay import Replay, ReplayPlayer
from pitwall.runtime.clock import LiveClock

WAIT_BEFORE_GREEN_S = 60.0


@dataclass(frozen=True)
class Replayed:
    """What became of a replay."""

    session: str
    sent: int
    of: int
    dropped: int
    unknown_words: dict[str, int]
    counts: dict[str, int]
    finished: bool


def recording_in(folder: Path) -> Recording:
    """Read the recording that somebody named.

    Raises:
        UserError: when there is no such folder.
        FileProblem: with every fault of the recording.
    """
    if not folder.is_dir():
        raise UserError(f"{folder}: no such folder: give the one that holds a recording's meta.json and events.csv")
    return read_recording(folder)


async def replay(
    recording: Recording, address: BrokerAddress | str, session: str, rate: float, begin_s: float | None = None
) -> Replayed:
    """Play a recording at ``rate`` session seconds a second.

    Args:
        recording: as ``pitwall/feeds/recording.py`` read it.
        address: of the broker.
        session: under which session it is published.
        rate: speed.
        begin_s: session second to begin at; a minute before the green light, or the first message if that is later.

    Raises:
        UserError: when the address or the session cannot be used.
        BrokerError: when no broker answers.
    """
    first = Replay(recording).first_s
    begin = max(first, -WAIT_BEFORE_GREEN_S) if begin_s is None else begin_s
    feed = Replay(recording, rate=rate, begin_s=begin, passages=True)
    async with Lifecycle() as life:
        life.stop_on_signals()
        bus = MqttBus(address)
        await life.start("link", bus.start, bus.stop)
        link = WorldLink(bus, session)
        player = ReplayPlayer(feed, LiveClock(begin, rate), link.send)
        player.start()
        finished = await life.wait_until(lambda: player.done)
        player.stop()
        await life.stop()
        return Replayed(
            session=session, sent=player.sent - bus.dropped, of=len(feed.facts), dropped=bus.dropped,
            unknown_words=dict(sorted(feed.unknown_words.items())), counts=feed.counts(), finished=finished,
        )
