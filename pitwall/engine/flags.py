"""What a change of status does to our cars: news for drivers, releases counted back anew, the end of the session."""

from __future__ import annotations

from pitwall.engine import called_in, driven_again, windows
from pitwall.engine.calling_again import hold_release
from pitwall.engine.offered_again import HEARD
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.situation import StatusNews, news_key
from pitwall.engine.team import TeamCar

STANDS_BESIDE = ("finished", "flag_out", "ending")  # news for the whole track that end no yellow
RUNNING_BEFORE = ("waiting", "yellow", "slow", "green")


def status_changed(
    car: TeamCar,
    clock: SessionClock,
    changed: tuple[str, ...],
    before: str,
    sectors_before: tuple[str, ...],
    now: float,
) -> None:
    """Bring one car in line with the new status.

    Args:
        car: one of ours.
        clock: already changed.
        changed: what ``SessionClock.change`` returned, not empty.
        before: the status before.
        sectors_before: the yellow sectors before.
        now: session second.
    """
    status = clock.status
    if before == "finished" and status not in ("finished", "closed") and car.progress.current is not None:
        car.progress.current.flag_fell = False  # the session goes on: an extension, or the flag was entered wrongly
    if status == "red" and "status" in changed and car.progress.current is not None:
        car.progress.current.called_before_red = car.progress.current.called_in
    if status == "finished" and "status" in changed:
        flag_falls(car, clock, now)
    elif "status" in changed and not (before == "waiting" and status == "green"):
        _tell(car, status, (), now)
    elif "sectors" in changed:
        new = tuple(sector for sector in clock.yellow_sectors if sector not in sectors_before)
        clear = tuple(sector for sector in sectors_before if sector not in clock.yellow_sectors)
        _tell(car, "yellow" if new else "green", new or clear, now)
    elif "ending" in changed:
        _tell(car, "ending", (), now)
    opened = clock.pit_exit == "open" and ("pit_exit" in changed or "status" in changed)
    # The exit may close and open while the track stays green: a waiting car is then called anew as well.
    apart = "pit_exit" in changed and before != "waiting"
    if opened and (apart or before not in RUNNING_BEFORE) and not car.track.on_track:
        hold_release(car, now)
    if clock.window and before == "waiting" and opened and not car.track.on_track:
        car.release_floor = max(car.release_floor, now)  # a window that opens late: count from its own green light
    if "status" in changed and clock.windows and before in ("waiting", "finished"):
        windows.turned(car, clock, now)
    if status == "waiting" and "status" in changed:
        car.since_s = now  # another part of the session is to come: its garage calls begin from here
    if "status" in changed:
        car.progress.revision += 1


def apply(
    car: TeamCar,
    clock: SessionClock,
    changed: tuple[str, ...],
    before: str,
    sectors_before: tuple[str, ...],
    now: float,
) -> None:
    """Everything that a changed status does to one car: news, releases, its running lap, and the end of the session."""
    status_changed(car, clock, changed, before, sectors_before, now)
    if "status" in changed and clock.disturbed and car.track.lap is not None:
        car.track.lap.disturbed = True
        driven_again.look(car, now)
    if "status" in changed and clock.status == "closed":
        session_closed(car, now)


def taken_back(car: TeamCar, clock: SessionClock, since: float, now: float) -> None:
    """A status was entered wrongly and is taken back: who heard of it is told what holds; who did not hears nothing."""
    fresh = [news for news in car.news if news.t >= since]
    heard = [call for call in car.book.calls.values() if call.spec.key.startswith("session-")
             and (call.state in HEARD or called_in.may_be_said(car, call, now)) and (call.due_t or now) >= since]
    car.news = [news for news in car.news if news not in fresh]
    if heard:
        _tell(car, clock.status, (), now)
    for sector in sorted(clock.yellow_sectors):
        if heard or not any(sector in news.sectors and news.status == "yellow" for news in car.news):
            _tell(car, "yellow", (sector,), now)  # what was entered wrongly had taken its place; once more does no harm


def flag_falls(car: TeamCar, clock: SessionClock, now: float) -> None:
    """The session time is over. A timed lap that has begun may be finished where the regulations say so; any other lap
    is the in-lap now."""
    lap, run = car.track.lap, car.progress.current
    if run is not None:
        run.flag_fell = run.expected_kind != "in" or run.called_for_flag
    begun = lap is not None and lap.start_phase == 0.0 and car.track.state in ("timed", "cool")
    if begun and clock.regulations.finish_started_lap:
        car.told_finish_s = None
        _tell(car, "flag_out", (), now)
        return
    if car.track.on_track:
        car.progress.box_now()
        car.track.move("called_in")
    car.told_finish_s = now
    _tell(car, "finished", (), now)


def _tell(car: TeamCar, status: str, sectors: tuple[str, ...], now: float) -> None:
    """News for the driver. It takes the place of older news of the same kind that nobody has said yet: a yellow that is
    over is not announced, and a clear is not announced to a driver who never heard of the yellow."""
    if status in ("waiting", "closed"):
        return
    waiting = [news for news in car.news if not _was_said(car, news, now)]
    unsaid = [news for news in waiting if bool(news.sectors) == bool(sectors)]
    if sectors:
        unsaid = [news for news in unsaid if set(news.sectors) & set(sectors)]
    else:
        # Word for the whole track says what holds everywhere; only a yellow stands beside the flag that ends a session.
        stands = ("yellow",) if status in STANDS_BESIDE else ()
        unsaid += [news for news in waiting if news.sectors and news.status not in stands]
    car.news = [news for news in car.news if news not in unsaid]
    if sectors and status == "green" and unsaid:
        return
    car.told += 1
    car.news.append(StatusNews(car.told, now, status, sectors))


def _was_said(car: TeamCar, news: StatusNews, now: float) -> bool:
    """Guard: the call of this news is no longer open: said, or its time is over and it may have been. One that is being
    said, or waits for its key, counts as well."""
    call = car.book.latest.get(news_key(news))
    return call is not None and (not call.open or car.channel.being_said(call, now))


def session_closed(car: TeamCar, now: float) -> None:
    """The session closed: nothing is said any more, and what never began is skipped."""
    for call in list(car.book.calls.values()):
        if call.open:
            car.signal(call, "withdraw", now, "session closed")
        elif call.state == "said":
            car.signal(call, "settle", now, "session closed")
    car.progress.skip_what_cannot_be(now)
