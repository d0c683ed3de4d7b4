"""News for the whole track that still holds and that nobody said in its time: it is told anew until it is said.

A driver who never heard that the track is green again goes on slowly, and one whose red flag was taken back goes on
coming in. So such a call does not just lapse. Whether it was said is known for sure only where the radio desk reports
talk. Where keys are pressed and none was for this call, it comes once more, and not without end: few press a key in
such a moment. A red flag and a full-course slow are told on until the car is slower, whoever presses what: at pace
there it is in danger, and others are. To a pit board nobody speaks: whether it hung is known only where keys are
pressed. What somebody took off the list by hand stays off.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.call import Call
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.situation import StatusNews, news_key
from pitwall.engine.slowed import slowed

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

SLOWS = ("red", "slow")
LAPSED = ("withdrawn", "unconfirmed", "missed")
MOST_AGAIN = 10
"""So often nobody lets news go by: a radio desk that has fallen silent reports that nobody said it, whoever says it (a
choice of ours)."""
NEWS_S = 30.0  # older than any call of it can be, but a board's, which is for the next pass of the pit wall


def tell_again(car: TeamCar, clock: SessionClock, now: float) -> None:
    """Put news of which the call lapsed without a word in its own place once more, as far as it still holds."""
    if not car.track.on_track:
        return
    for news in [news for news in car.news if not news.sectors and news.status == clock.status]:
        call = car.book.latest.get(news_key(news))
        if call is not None and _lapsed(car, call) and _wanted(car, clock, news, now):
            car.told += 1
            kept = (one for one in car.news if one is not news)
            car.news = [*kept, StatusNews(car.told, now, news.status, again=news.again + 1)]


def _wanted(car: TeamCar, clock: SessionClock, news: StatusNews, now: float) -> bool:
    """Guard: it is told once more, by what is known of what was said, and of what the car does."""
    keys = car.book.keys >= FEW_KEYS
    if car.plan.medium == "board":
        return keys
    if car.channel.talk.known and news.again < MOST_AGAIN:
        return True
    if news.status in SLOWS:
        return not slowed(car, clock.since_s, now)
    return keys and news.again == 0


def still_news(car: TeamCar, now: float) -> list[StatusNews]:
    """News of which a call may still come, or has one that is open, such as a board that is to hang."""
    calls = {news: car.book.latest.get(news_key(news)) for news in car.news}
    return [news for news, call in calls.items() if now <= news.t + NEWS_S or (
        call is not None and call.open and call.spec.medium == "board")]


def _lapsed(car: TeamCar, call: Call) -> bool:
    """Guard: it is open no more though nobody said it, and nobody took it off the list."""
    talk = car.channel.talk
    said = call.said_t is not None or call.id in car.channel.spoken or talk.who == "engineer"
    return call.state in LAPSED and call.because is None and not said
