"""What is true, entered by hand: each command checked, carried out as the feed's fact would be, and answered in words.

The rules for what a hand and the feed say of the same thing stand in ``engine/hands.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from difflib import get_close_matches
from functools import partial

from pitwall.engine import after_closed, comment_places, hand_car, refused_last
from pitwall.engine.answers import Answer, Refusal
from pitwall.engine.car import DOUBLE_S
from pitwall.engine.hand_clock import FRESH_S
from pitwall.engine.hand_words import in_garage, lap_words, place_words, tenths
from pitwall.engine.hands import Done, Hands
from pitwall.engine.laps import LapRecord
from pitwall.engine.plan_guards import meant
from pitwall.engine.set_run import OUT_AT_LEAST
from pitwall.engine.team import TeamCar
from pitwall.model.events import ClockReported, CommandGiven, StatusChanged
from pitwall.model.units import clock_text

AHEAD_S = 2.0
"""A moment this far ahead of ours is a sender's clock, not a mistake."""
LINE_AT_LEAST = 0.5
"""Share of the way from the pit exit at a quick lap's pace before which no car is at the line, as for whole laps."""
CLOCK_OVER_S = 60.0
"""So much more than the scheduled length may stand on a clock that is read off early."""
IN_MIND_S = 300.0
"""What a hand entered so long ago is not what it takes back without saying so (common practice, no source)."""
TELL_AGE_S = 60.0
FORGOTTEN_FROM = 1.7
"""A lap of so many usual ones is two with a line press forgotten between them (common practice, no source)."""


def answer(command: CommandGiven, hands: Hands, now: float) -> Answer | None:
    """Carry out a command that says what is true; None for any other command, after the close only if it can mean
    something.

    Raises:
        Refusal: with the reason in words.
    """
    after_closed.demand_meaning(command, hands.clock, now)
    hands.given_t = now
    handler = HANDLERS.get(command.command)
    if handler is None:
        return None
    # Session time may stand at zero until the green light, while a screen's own idea of it runs on.
    if command.t > now + AHEAD_S and command.command != "undo" and hands.clock.status != "waiting":
        raise Refusal(f"{tenths(command.t)} lies ahead: it is {tenths(now)}; say what has happened")
    return handler(command, hands, now)


# -- where the car is --------------------------------------------------------------------------------------------------


def _cross(command: CommandGiven, hands: Hands, now: float) -> Answer:
    car, loop = hands.team[command.car], command.loop or "line"
    if loop not in car.lap_map.loops:
        known = ", ".join(car.lap_map.loop_order)
        raise Refusal(f"no loop {loop!r} on this circuit; there are {known}")
    if command.forgotten:
        return _forgotten(command, hands, now)
    lap, t = car.track.lap, min(command.t, now)
    if loop == "line" and lap is not None and lap.start_phase > 0 and not lap.inferred_start and car.track.on_track:
        since, usual = t - lap.start_t, (1.0 - lap.start_phase) * car.track.pace.quick_s()
        if 0.0 <= since < LINE_AT_LEAST * usual and hands.had(command.car, "cross", "line", t) is None:
            raise Refusal(f"line at {tenths(t)} cannot be: car {car.car} left the pits {since:.0f} s before, at "
                          f"{tenths(lap.start_t)}; was that exit wrong, take it back with 'undo'")
    return _seen(command, hands, "cross", loop, now)


def _pit(command: CommandGiven, hands: Hands, now: float) -> Answer:
    if command.where is None:
        raise Refusal("say which in 'where': entry or exit")
    track = hands.team[command.car].track
    lap, t = track.lap, min(command.t, now)
    out = lap is not None and track.on_track and lap.start_phase > 0
    if command.where == "exit" and out and lap is not None:
        since = t - lap.start_t
        if DOUBLE_S < since < OUT_AT_LEAST * track.pace.lap_s("out") and not hands.had(command.car, "pit", "exit", t):
            raise Refusal(f"car {command.car} left the pits at {tenths(lap.start_t)} and is on that lap: enter the pit "
                          "entry with its time (--at) before, or 'undo' that exit")
    return _seen(command, hands, "pit", command.where, now)


def _seen(command: CommandGiven, hands: Hands, what: str, place: str, now: float) -> Answer:
    t, car = min(command.t, now), hands.team[command.car]
    left = hands.left_after(command.car, t) if what == "cross" else None
    if left is not None:
        raise Refusal(f"{place_words_of(what, place)} at {tenths(t)} cannot be: car {car.car} was in the pits and left "
                      f"at {tenths(left)}; was that exit wrong, take it back with 'undo'")
    had = hands.had(command.car, what, place, t)
    if had is not None:
        who = "the feed" if had.by is None else "you" if had.by == command.by else had.by
        has = "have" if who == "you" else "has"
        return Answer(f"{who} {has} the {place_words(had)} already at {tenths(had.t or 0.0)}")
    if (what, place) == ("cross", "line") and hands.stood_in_garage(command.car, t):
        raise Refusal(in_garage(car, f"line at {tenths(t)}"))
    hands.hears(now)
    laps = len(car.track.laps)
    why_not = hands.saw(command, what, place, t, now)
    if why_not is not None:
        raise Refusal(why_not)
    comment_places.look_again(hands.team[command.car], now)
    words = f"{place_words_of(what, place)} at {tenths(t)}"
    _can_undo(command, hands, words)
    ended = car.track.laps[-1] if len(car.track.laps) > laps else None
    return Answer(f"{words}: {_lap_words(car, ended)}{hand_car.where(car)}")


def place_words_of(what: str, place: str) -> str:
    """``line``, ``loop 2``, ``pit entry``."""
    return f"pit {place}" if what == "pit" else place if place == "line" else f"loop {place}"


def _lap_words(car: TeamCar, ended: LapRecord | None) -> str:
    if ended is None or ended.end_t is None or ended.ended_at != "line":
        return ""
    took = tenths(ended.lap_time_s if ended.lap_time_s is not None else ended.end_t - ended.start_t)
    kind = lap_words(ended.kind)
    if not _double(car, ended):
        return f"{kind} of {took}; "
    # The question and its remedy in front, where no screen cuts them off; the kind is only what such a length makes it.
    by_length = "" if ended.start_phase > 0 else f", by its length a {kind}"
    return f"was a line press forgotten? press f, or 'cross' with forgotten=true; lap of {took}{by_length}; "


def _double(car: TeamCar, lap: LapRecord) -> bool:
    """Guard: this lap took about as long as two."""
    if lap.end_t is None or lap.ended_at != "line" or lap.disturbed or lap.crossings:
        return False
    usual = car.track.pace.quick_s() if lap.start_phase == 0.0 else car.track.pace.lap_s("out")
    return lap.end_t - lap.start_t >= FORGOTTEN_FROM * usual


def _forgotten(command: CommandGiven, hands: Hands, now: float) -> Answer:
    """The press is put where the line should have been: a share of the long lap, by what such laps usually take."""
    car = hands.team[command.car]
    doubles = [lap for lap in car.track.laps[-6:] if _double(car, lap)]
    running = car.track.lap if car.track.on_track else None
    lap = doubles[-1] if doubles else running
    if lap is None or lap.crossings:
        raise Refusal("no recent lap took about twice the usual time: give the time of the line (--at)")
    first, second = _expected_pair(hands, car, lap)
    if lap.end_t is not None:
        t = lap.start_t + (lap.end_t - lap.start_t) * first / (first + second)
    elif now < lap.start_t + first:
        raise Refusal(f"the running lap began at {tenths(lap.start_t)}: its line is not due before "
                      f"{tenths(lap.start_t + first)}")
    else:
        t = lap.start_t + first
    hands.hears(now)
    why_not = hands.saw(command, "cross", "line", round(t, 1), now, guessed=True)
    if why_not is not None:
        raise Refusal(why_not)
    comment_places.look_again(hands.team[command.car], now)
    words = f"forgotten line put in at about {tenths(t)}"
    _can_undo(command, hands, words)
    return Answer(f"{words}: {hand_car.where(car)}")


def _expected_pair(hands: Hands, car: TeamCar, lap: LapRecord) -> tuple[float, float]:
    """What the two laps with the forgotten line between them usually take: the planned ones, if that is about the time
    that they took, else two timed ones."""
    history = hands.histories[car.car]
    ending = None if lap.end_t is None else history.near("cross", "line", lap.end_t, 0.001)
    pace = car.track.pace if ending is None else history.pace_before(ending)
    quick = pace.quick_s()
    first = pace.lap_s("out") if lap.start_phase > 0 else quick
    progress = ending.before.progress if ending is not None and ending.before is not None else car.progress
    run = progress.current
    if run is None or run.pointer >= len(run.laps):
        return first, quick
    after = run.resume_at if run.pointer == 0 else run.pointer + 1
    kinds = (run.laps[run.pointer], run.laps[min(after, len(run.laps) - 1)])
    planned = (pace.lap_s(kinds[0]), pace.lap_s(kinds[1]))
    took = None if lap.end_t is None else lap.end_t - lap.start_t
    fits = took is None or abs(sum(planned) - took) < abs(first + quick - took)
    return planned if fits else (first, quick)


def _can_undo(command: CommandGiven, hands: Hands, what: str) -> None:
    """What a car was seen to do, or set to, can be taken out of its history again."""

    def back(now: float) -> str:
        entry = hands.histories[command.car].find(command.id)
        if entry is None:
            raise Refusal(f"{what} stands: the feed says so, too, or it lies too far back")
        if not hands.take_out(command.car, entry, now):
            raise Refusal(f"{what} lies too far back: say where the car is with 'set_car'")
        return hand_car.where(hands.team[command.car])

    hands.remember(command, what, back)


# -- the session -------------------------------------------------------------------------------------------------------


def _status(command: CommandGiven, hands: Hands, now: float) -> Answer:
    if command.status is None:
        raise Refusal("say which in 'status': green, yellow, slow, red, finished, waiting or closed")
    clock, known = hands.clock, _sectors(hands)
    wrong = [sector for sector in command.sectors if known and sector not in known]
    if wrong:
        near = get_close_matches(wrong[0], known, 1)
        raise Refusal(f"no marshal sector {wrong[0]!r}" + (f": did you mean {near[0]!r}?" if near else
                                                           f"; there are {', '.join(known)}"))
    shown = "slow period ending" if command.ending else f"status {command.status}"
    where = f" in {', '.join(command.sectors)}" if command.sectors else ""
    left = clock.remaining(now)
    if command.status == "closed" and not command.sectors and clock.running and left > 0.0:
        _demand_why(command, f"{clock_text(left)} are left, and a closed session is over for every car")
    if not command.sectors and command.status == clock.status and (not command.ending or clock.slow_ending):
        return Answer(f"{shown}{where} holds already since {tenths(clock.since_s)}")
    # The green light is zero: session time leapt there at a press in the minutes before.
    t = max(min(command.t, now), min(now, 0.0)) if clock.status == "waiting" else min(command.t, now)
    hands.hears(now)
    fact = StatusChanged(
        id=command.id, t=min(t, now), status=command.status, ending=command.ending, scope=command.sectors or "all",
        pit_exit=command.pit_exit, opens_at_s=command.opens_at_s,
    )
    hands.status(fact, command.by)
    _can_undo_clock(command, hands, shown + where)
    return Answer(f"{shown}{where} at {tenths(fact.t)}: {_clock_words(hands, now)}")


def _demand_why(command: CommandGiven, doubt: str) -> None:
    """What is hardly meant is taken only with a reason."""
    if not (command.text or "").strip():
        raise Refusal(f"{doubt}; if that is so, enter it again and say why in 'text'")


def _sectors(hands: Hands) -> tuple[str, ...]:
    setup = next(iter(hands.team.values())).setup
    return tuple(sector.sector for sector in setup.circuit.marshal_sectors)


def _pit_exit(command: CommandGiven, hands: Hands, now: float) -> Answer:
    if command.pit_exit is None and command.opens_at_s is None:
        raise Refusal("say 'pit_exit': open or closed, or when it opens in 'opens_at_s'")
    opens = "" if command.opens_at_s is None else f", opens at {tenths(command.opens_at_s)}"
    if command.pit_exit == hands.clock.pit_exit and not opens:
        return Answer(f"the pit exit is {command.pit_exit} already")
    hands.hears(now)
    hands.status(StatusChanged(id=command.id, t=min(command.t, now), pit_exit=command.pit_exit,
                               opens_at_s=command.opens_at_s), command.by)
    _can_undo_clock(command, hands, f"pit exit {command.pit_exit or ''}".strip())
    return Answer(f"pit exit {hands.clock.pit_exit}{opens}")


def _clock(command: CommandGiven, hands: Hands, now: float) -> Answer:
    if command.remaining_s is None:
        raise Refusal("say how much time is left in 'remaining_s'")
    clock = hands.clock
    if hands.clocks.fresh(now):
        spoke = now - (hands.clocks.official_t or now)
        left = clock_text(clock.remaining(now))
        raise Refusal(
            f"the official clock says {left}, {spoke:.0f} s ago, and counts: a clock by hand is for when it is silent "
            f"for {FRESH_S:.0f} s"
        )
    whole = clock.window_now.length_s if clock.window_now is not None else clock.duration_s
    if command.remaining_s > whole + CLOCK_OVER_S:
        _demand_why(command, f"{clock_text(command.remaining_s)} left is more than the whole session of "
                             f"{clock_text(whole)} (a plain number is seconds)")
    running = clock.running if command.running is None else command.running
    # Before the green light session time may leap at this very word (somebody joins in the middle): it holds from now.
    t = now if clock.status == "waiting" else min(command.t, now)
    fact = ClockReported(id=command.id, t=t, remaining_s=command.remaining_s, running=running, rate=clock.rate)
    hands.hears(now)
    was = clock.remaining(now)
    hands.clocks.note(fact, now, command.by)
    clock.set_by_hand(fact)
    hands.all_changed()
    _can_undo_clock(command, hands, f"clock {clock_text(command.remaining_s)}")
    return Answer(f"{_clock_words(hands, now)}; it was {clock_text(was)}")


def _clock_words(hands: Hands, now: float) -> str:
    runs = "" if hands.clock.running else ", clock stopped"
    return f"{clock_text(hands.clock.remaining(now))} left{runs}, pit exit {hands.clock.pit_exit}"


def _can_undo_clock(command: CommandGiven, hands: Hands, what: str) -> None:
    def back(now: float) -> str:
        given = hands.clocks.find(command.id)
        if given is None or given.by is None:
            raise Refusal(f"{what} stands: the feed says so, too, or it lies too far back")
        hands.take_out_of_clock(given, now)
        return f"{hands.clock.status}, {_clock_words(hands, now)}"

    hands.remember(command, what, back, all_cars=True)


# -- taking back -------------------------------------------------------------------------------------------------------


def _undo(command: CommandGiven, hands: Hands, now: float) -> Answer:
    named = command.comment is not None
    mine = [one for one in hands.done
            if one.by == command.by and one.car in (command.car, None) and one.call == command.call]
    left = [one for one in mine if (one.comment == command.comment if named else not one.passed)
            and (not one.refused if command.of is None and not named else command.of in (None, one.command))]
    if not left:
        raise Refusal(_nothing_left(command, mine))
    last, mind_s = left[-1], IN_MIND_S * max(1.0, hands.clock.rate)
    age_s, ages = now - last.t, partial(_age_words, rate=hands.clock.rate)
    plain = not named and command.of is None and command.call is None
    if age_s > mind_s and not named and command.of is None:
        raise Refusal(f"the last entry of {command.by} for car {command.car} that is left is {last.what}, given at "
                      f"{clock_text(last.t)}, {ages(age_s)}: 'undo' with of={last.command} takes it back")
    if plain and (asked := refused_last.take(command, hands.team[command.car], now - mind_s)) is not None:
        raise Refusal(f"nothing is taken back: {asked}, given last by {command.by}, did nothing; "
                      f"'undo' once more takes back what was entered before it: {last.what}, {ages(age_s)}")
    # Pressed once too often: what the driver said, noted before, must not go with what was wrong.
    for one in mine:
        one.passed |= one.comment not in (None, last.comment)
    try:
        became, car = last.back(now), hands.team[command.car]
    except Refusal:
        last.refused = True
        raise
    hands.done.remove(last)
    if last.planned:
        car.desk.undone |= {last.id, command.id}
    comment_places.look_again(car, now)
    ago = f" (given {ages(age_s)})" if age_s >= TELL_AGE_S else ""
    quiet = "QUIET IS ON, session, safety and box calls only; " if car.quiet and last.car is not None else ""
    return Answer(f"{quiet}taken back: {last.what}{ago}; {became}", plan_changed=last.planned,
                  takes_back_t=last.t if last.planned else None)


def _nothing_left(command: CommandGiven, mine: Sequence[Done]) -> str:
    """Why nothing is taken back: a name that nothing was entered under, or nothing but comments is left."""
    there = sorted({one.command for one in mine if one.command})
    if command.of is not None and command.of not in there:
        return (f"{command.by} entered no {command.of!r} for car {command.car} that can be taken back"
                f"{meant(command.of, there)}")
    kept = sorted({one.comment for one in mine if one.comment is not None})
    but = f", but for {' and '.join(f'comment={number}' for number in kept)}: name it so" if kept else ""
    what = f"of comment {command.comment} " if command.comment is not None else ""
    what = f"of {command.of} " if command.of is not None else what
    return (f"nothing {what}that {command.by} entered for car {command.car} is left to take back{but}; "
            "what was said was said")


def _age_words(age_s: float, rate: float) -> str:
    """How long ago, in time of the session; where that is not the time of the people, in theirs as well."""
    theirs = f", {clock_text(age_s / rate)} by your own clock" if rate > 1.0 else ""
    return f"{clock_text(age_s)} ago{theirs}"


Handler = Callable[[CommandGiven, Hands, float], Answer]
HANDLERS: dict[str, Handler] = {
    "cross": _cross,
    "pit": _pit,
    "status": _status,
    "clock": _clock,
    "pit_exit": _pit_exit,
    "undo": _undo,
    **hand_car.HANDLERS,
}
