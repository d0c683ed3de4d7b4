"""News for the whole track that still holds and that nobody said in its time: it is told anew until it is said.

A driver who never heard that the track is green again goes on slowly, and one whose red flag was taken back goes on
coming in. So such a call does not just lapse. Whether it was said is known only where the radio desk reports talk;
elsewhere it ends unconfirmed, for few press a key in such a moment. What somebody took off the list by hand stays off.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.call import Call
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.situation import StatusNews, news_key

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

LAPSED = ("withdrawn", "unconfirmed", "missed")


def tell_again(car: TeamCar, clock: SessionClock, now: float) -> None:
    """Put news of which the call lapsed without a word in its own place once more, as far as it still holds."""
    if not car.track.on_track or not car.channel.talk.known:
        return
    for news in [news for news in car.news if not news.sectors and news.status == clock.status]:
        call = car.book.latest.get(news_key(news))
        if call is not None and _lapsed(car, call):
            car.told += 1
            car.news = [*(one for one in car.news if one is not news), StatusNews(car.told, now, news.status)]


def _lapsed(car: TeamCar, call: Call) -> bool:
    """Guard: it is open no more though nobody said it, and nobody took it off the list."""
    talk = car.channel.talk
    said = call.said_t is not None or call.id in car.channel.spoken or talk.who == "engineer"
    return call.state in LAPSED and call.because is None and not said
