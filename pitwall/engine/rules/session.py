"""Session calls: a change of status, said at once to a car on track; and the flag that falls at the end of this lap."""

from __future__ import annotations

import math
from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.situation import Situation, StatusNews, news_key
from pitwall.model.outputs import Ask
from pitwall.model.record import altered
from pitwall.radio.board import HANG_S
from pitwall.radio.ways import Room

SAY_WITHIN_S = 8.0
WAITS_S = 20.0  # at most so long for a stretch on which the driver can listen (common practice, no source)
OPENS_WITHIN_S = {"red": 5.0, "slow": 16.0, "yellow": 16.0, "ending": 8.0}
"""At most so long for a stretch to open: news of danger, which the flags and lights around the track tell the driver as
well, and a slow period that is about to end (3 and 13 s before the track was clear and green, as recorded once). Common
practice, no source."""
HOPED_S = 4.0  # a red flag waits no longer for a stretch on which not every driver listens (a choice of ours)
ROOM_S = 3.0  # of a stretch to begin in, so that it can be hit though the car comes a little later or sooner
FLAG_SAY_WITHIN_S = 15.0
LAST_LAP_WORD_PHASE = 0.9  # a lap that slows into the flag is announced up to here (common practice, no source)

# In short no more than the word of the trade: every driver knows what follows from it, and two words find a place where
# five find none.
_WORDS: dict[str, tuple[str, str, Ask]] = {
    "red": (
        "Red flag, red flag. Slow down, come back to the pits.",
        "Red flag",
        Ask(action="return_to_pits"),
    ),
    "slow": ("Full-course slow. Keep to the slow-period speed.", "Full-course slow", Ask(action="slow")),
    "green": ("Track is green.", "Track green", Ask(action="resume")),
    "yellow": ("Yellow flag, be ready to slow down.", "Yellow", Ask(action="slow")),
    "finished": ("Chequered flag. In-lap now, bring it back.", "Chequered flag", Ask(action="return_to_pits")),
    "flag_out": (
        "Chequered flag is out. Finish this lap, then in-lap.",
        "Flag out",
        Ask(action="none"),
    ),
    "ending": ("Slow period is ending, be ready.", "Slow ending", Ask(action="none")),
}


def calls(at: Situation) -> Iterable[CallSpec]:
    """One call for each piece of news that is fresh, and the last-lap call."""
    if at.track.on_track:
        for news in at.news:
            spec = _news_call(at, news)
            # Wanted until it is over for the book as well: what lapses unsaid is unconfirmed, not withdrawn.
            by = max(spec.say_by_s, spec.room.end_by_s if spec.room is not None else 0.0, _shown_at(at, news))
            if at.now <= by + spec.spoken_s + at.timing.unconfirmed_after_s:
                yield spec
    yield from _last_lap(at)


def _shown_at(at: Situation, news: StatusNews) -> float:
    """With a pit board: when the car passes the board that shows it; else 0."""
    if at.plan.medium != "board":
        return 0.0
    passes = [leg.start_s for leg in at.legs if leg.start_phase == 0.0 and leg.start_s > news.t + HANG_S]
    return min(passes, default=0.0)


def _news_call(at: Situation, news: StatusNews) -> CallSpec:
    text, short, ask = _WORDS[news.status]
    if news.sectors:
        where = " and ".join(news.sectors)
        place = f"Sector {where}"
        if news.status == "green":
            text, short = f"{place} is clear.", f"{place} clear"
        else:
            text, short = f"{place}: yellow flag, slow there.", f"{place} yellow"
    return CallSpec(
        key=news_key(news),
        kind="session",
        text=text,
        short=short,
        say_from_s=news.t,
        say_by_s=news.t + SAY_WITHIN_S,
        spoken_s=at.spoken(text),
        lead_s=0.0,
        ask=ask,
        act_at_s=None,
        room=_room(at, news, at.spoken(short)),
        soon_over=news.status == "ending",
    )


def _room(at: Situation, news: StatusNews, length_s: float) -> Room | None:
    """From now on, until no stretch that opens in time is left: one that was awaited is not given up for opening a
    little later than it was thought."""
    if not at.legs:
        return None
    waits = OPENS_WITHIN_S.get(news.status, WAITS_S - length_s)
    hoped = at.hopeful(at.legs[:2])
    if hoped is not None and news.status == "red":
        hoped = tuple([(begin, end) for begin, end in hoped if begin <= news.t + HOPED_S])
    leaves_s = _leaves_the_track(at, length_s)
    room = altered(at.room(at.legs[:2], news.t, min(news.t + waits + length_s, leaves_s)), hopeful=hoped)
    serve = [begin for begin, end in room.stretches or () if end - max(begin, at.now) >= length_s + ROOM_S]
    in_time = [begin for begin in serve if begin <= news.t + waits]
    if not in_time:
        return room
    by = min(in_time[-1] + ROOM_S + length_s, news.t + WAITS_S, leaves_s)
    return altered(room, end_by_s=max(room.end_by_s, by))


def _leaves_the_track(at: Situation, length_s: float) -> float:
    """When the car takes the pit entry, if the call can be over by then; else infinity. Behind it the driver can listen
    all the way, but news of the track is told too late there: he has left it."""
    leg = next((leg for leg in at.legs[:2] if leg.kind in ("in", "installation")), None)
    if leg is None:
        return math.inf
    entry_s = leg.at(at.lap_map.pit_entry)
    return entry_s if entry_s >= at.now + length_s else math.inf


def _last_lap(at: Situation) -> Iterable[CallSpec]:
    """On a lap that the flag will end: said early in the lap, so the driver knows that no other follows."""
    lap = at.track.lap
    if at.stopped_by_flag or not at.clock.running or lap is None or not at.legs or lap.start_phase > 0:
        return
    leg = at.legs[0]
    flag_s = at.clock.end_s(at.now)
    if leg.kind in ("in", "installation") or not leg.running or flag_s >= leg.end_s:
        return
    text = "Flag falls on this lap. Finish it, then in-lap."
    yield CallSpec(
        key=f"last-lap-{lap.number}",
        kind="session",
        text=text,
        short="Flag this lap",
        say_from_s=lap.start_t + 1.0,
        say_by_s=lap.start_t + 1.0 + FLAG_SAY_WITHIN_S,
        spoken_s=at.spoken(text),
        lead_s=0.0,
        lap_number=lap.number,
        latest_s=leg.at(LAST_LAP_WORD_PHASE),
        room=at.room((leg,), lap.start_t + 1.0, leg.at(LAST_LAP_WORD_PHASE)),
    )
