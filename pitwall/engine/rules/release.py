"""Garage calls: the brief, the switch check, fire-up, and the release, counted back from the expected release moment.

pitwall releases nobody: the release controller and the pit exit light decide; the prompt says when the plan would go.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.brief_laps import in_words, off_key
from pitwall.engine.call import CallSpec
from pitwall.engine.offered_again import NOT_YET_S
from pitwall.engine.rules.after_flag import what_of
from pitwall.engine.rules.procedure import makes_it_a_cool_lap
from pitwall.engine.run_state import RunState
from pitwall.engine.situation import Situation
from pitwall.model.car import Position, position_text
from pitwall.model.outputs import Ask
from pitwall.model.plan import CallClass
from pitwall.model.record import altered

STAYS_OPEN_S = 240.0  # work may overrun: the call to go is not too late until the car has gone
GROUP = 4  # the check list is read in groups of three or four (common practice, no source)
MIN_WINDOW_S = 20.0
COMES_IN_S = 5.0
PUT_RIGHT_S = 60.0  # so long what a driver was told in the garage may be put right (a choice of ours)
GOES = ("leave", "fire_up")
LAST_CHECK_S = 5.0  # before the release: after that the driver has other things to do


def calls(at: Situation) -> Iterable[CallSpec]:
    """The garage calls of the next run, as long as it can still be one: none is to be said after that."""
    last = at.leave_by_s
    yield from _called_off(at)
    for spec in () if at.too_late and at.block is None else _calls(at):
        if last is None:
            yield spec
        elif spec.say_from_s <= last and (spec.ask.action not in GOES or (at.release_s or 0.0) <= last):
            yield altered(spec, say_by_s=min(spec.say_by_s, last))


def _calls(at: Situation) -> Iterable[CallSpec]:
    run, release = at.run, at.release_s
    if run is None or release is None or at.track.on_track or at.stopped_by_flag or at.kept_in or not at.feed_speaks:
        return
    goes_for = at.block or run
    timing, name = at.timing, f"{goes_for.run.run}-{run.leavings + 1}"
    if at.driver_out is not None:
        yield _driver_change(at, name, release)
    yield _garage(
        at,
        f"{name}-brief{_edition(run.brief_edition)}",
        "brief",
        _brief(at) if at.block is None else _brief_of_block(at, at.block),
        f"Brief: {goes_for.run.run}",
        *_told_from_to(at, run, release),
        Ask(action="none"),
    )
    yield from _check(at, name, release)
    if at.clock.pit_exit == "closed" and at.clock.status != "waiting":
        return
    if at.clock.status == "waiting" and release < 0:
        return
    fire = "Fire up, tyres on." if at.driver_out is None else f"{at.driver} is in the car. Fire up, tyres on."
    yield _garage(
        at,
        f"{name}-fire-up{_again(at.fire_ups)}",
        "release",
        fire,
        "Fire up",
        release - timing.fire_up_s,
        release + STAYS_OPEN_S,
        Ask(action="fire_up"),
    )
    gap = run.run.release.gap_ahead_s
    keep = f", keep {gap:.0f} seconds to the car ahead." if gap else "."
    yield _garage(
        at,
        f"{name}-leave{_again(at.recalls)}",
        "release",
        f"Leave when the release controller clears you{keep}",
        "Leave when clear",
        release,
        release + STAYS_OPEN_S,
        Ask(action="leave"),
        caution="The release controller and the pit exit light decide.",
        waits=at.clock.status == "waiting",
    )


def _again(number: int) -> str:
    return f"-{number}" if number else ""


def _soon(at: Situation, release: float) -> float:
    """From when on the driver can be spoken to in the garage: the car has just passed the pit entry, and the prompt
    wants its lead; sooner only where the stop is so short that the engine is fired up before."""
    if at.run is not None and (at.run.brief_edition or at.run.check_edition):
        return at.since_s + COMES_IN_S  # the car stood here already, and what is told anew is news
    return at.since_s + max(COMES_IN_S, min(at.timing.lead_s, release - at.timing.fire_up_s - at.since_s))


def _edition(number: int) -> str:
    """What is told anew because the plan changed is a call of its own."""
    return f"-anew-{number}" if number else ""


def _called_off(at: Situation) -> Iterable[CallSpec]:
    """The driver was briefed for a run that is none any more: told once, for he waits in the car for it."""
    run = at.run
    if run is None or run.off_s is None or at.block is not None or at.track.on_track or at.stopped_by_flag:
        return
    text = f"{_name(run).capitalize()} is off: no timed lap can start before the flag any more."
    by = run.off_s + PUT_RIGHT_S
    yield _garage(at, off_key(run), "brief", text, f"{run.run.run} is off", run.off_s, by, Ask(action="none"))


def _told_from_to(at: Situation, run: RunState, release: float) -> tuple[float, float]:
    """From when to when the brief may be begun: before the release as it is expected; what is put right, at once."""
    since, whole_s = run.brief_cut_s, run.brief_anew_s
    if since is None and whole_s is not None and at.now < whole_s + 2 * PUT_RIGHT_S:
        since = whole_s  # long after that it is wanted only where a red flag took it away: before the release, as ever
    if since is not None and at.block is None:
        return since, since + PUT_RIGHT_S
    return release - at.timing.brief_s, release - at.timing.release_check_s + 20.0


def _name(run: RunState) -> str:
    return run.run.run.replace("-", " ")


def _brief(at: Situation) -> str:
    run = at.run
    assert run is not None
    body = "out and straight back in" if run.out_in else in_words([leg.kind for leg in at.legs], run.brief_laps)
    if run.brief_cut_s is not None:
        return f"Correction, {_name(run)}: {body}."
    # The laps name the cool-down lap already.
    named = {item.item.do for item in run.items if item.state == "planned"}
    items = sorted(do.replace("_", " ") for do in named if not _is_the_cool_lap(at, do))
    what = f" Items: {', '.join(items)}." if items else ""
    who = f" {at.driver} drives." if at.driver_out is not None else ""
    name = _name(run)
    return f"Next {'is' if name.startswith('run') else 'run is'} {name}: {body}.{who}{what}"


def _brief_of_block(at: Situation, block: RunState) -> str:
    items = [item for item in block.items if item.state == "planned" and item.item.do in at.clock.after_flag_items]
    what = ", ".join(f"{what_of(item)}{f' at {item.item.at}' if item.item.at else ''}" for item in items)
    return f"No timed lap any more. After the flag: {what}. Be on track when it falls."


def _is_the_cool_lap(at: Situation, do: str) -> bool:
    procedure = at.procedures.get(do)
    return procedure is not None and makes_it_a_cool_lap(procedure)


def _driver_change(at: Situation, name: str, release: float) -> CallSpec:
    """Told as the stop begins, or, when the car stands for long, in time for the change and the brief after it."""
    begin = max(_soon(at, release), release - at.timing.brief_s - at.change_s)
    text = f"Driver change: {at.driver} in, {at.driver_out} out."
    return _garage(at, f"{name}-driver-change", "brief", text, f"Driver change: {at.driver}", begin,
                   begin + at.change_s, Ask(action="none"))


def _check(at: Situation, name: str, release: float) -> Iterable[CallSpec]:
    """The switch check list in groups, each a call of its own."""
    run, timing = at.run, at.timing
    assert run is not None
    wanted = at.switches.wanted(run, 0)
    key = f"{name}-check{_edition(run.check_edition)}"
    listed = list(at.switches.release_list(wanted, run.check_edition > 0, key).items())
    begin = max(release - timing.release_check_s, _soon(at, release))
    for number, start in enumerate(range(0, len(listed), GROUP)):
        group = dict(listed[start : start + GROUP])
        first = begin + number * 12.0
        spec = _read_out(at, f"{key}-{number + 1}", f"Switch check {number + 1}", group, first, first + 35.0)
        # Where drivers' answers are entered, a group without one is read once more, while there is time for it.
        unread = at.switches.answers_entered and at.switches.unread(group)
        latest = release - LAST_CHECK_S
        # Its own window may be over by then: a second reading that closes as it opens is none.
        again = unread and any(at.switches.read.get(name) == key for name in group)
        by = max(spec.say_by_s, latest) if again else spec.say_by_s
        yield altered(spec, not_done=unread, unanswered=unread, latest_s=latest, say_by_s=by)
    # The rest of the list first: read last, it may be read once more where no answer comes.
    unread = any(at.switches.read.get(name) != key for name, _ in listed)
    over_s = begin + 12.0 * (len(listed) // GROUP) + 35.0
    left = [] if unread and at.now < over_s else list(_left_over(at, wanted, key).items())
    for start in range(0, len(left), GROUP):
        # On track it costs a listening stretch, and what may be moved at a standstill only can not be mended there.
        group = dict(left[start : start + GROUP])
        latest, begin = release - LAST_CHECK_S, NOT_YET_S + max([at.switches.read_t[name] for name in group])
        more = f"{start // GROUP + 1}" if start else ""
        spec = _read_out(at, f"{key}-left{more}", "Switch check", group, begin, latest)
        yield altered(spec, not_done=True, latest_s=latest)


def _left_over(at: Situation, wanted: dict[str, Position], check: str) -> dict[str, Position]:
    """What this check list asked for a while ago, and telemetry still shows elsewhere."""
    board = at.switches
    # With a board the driver is told of the out-lap's changes too before he leaves, and may make them at once: what
    # was moved since then is no fault of the check list.
    made_for_it_s = 0.0 if at.plan.medium == "board" else NOT_YET_S
    read = {name: board.read_t[name] for name, by in board.read.items() if by == check and name in board.measured}
    return {name: wanted[name] for name in sorted(board.differs(wanted, parked=True))
            if name in read and read[name] + NOT_YET_S <= at.now and board.moved_t(name) <= read[name] + made_for_it_s}


def _read_out(
    at: Situation, key: str, short: str, group: dict[str, Position], begin: float, by: float
) -> CallSpec:
    words = []
    for name, position in group.items():
        switch = at.switches.known(name)
        words.append(f"{switch.word if switch is not None else name} {position_text(position)}")
    ask = Ask(action="check_switches", positions=group)
    return _garage(at, key, "switch", f"Switch check: {', '.join(words)}.", short, begin, by, ask)


def _garage(
    at: Situation,
    key: str,
    kind: CallClass,
    text: str,
    short: str,
    begin: float,
    by: float,
    ask: Ask,
    caution: str | None = None,
    waits: bool = False,
) -> CallSpec:
    run = at.run
    assert run is not None
    if ask.action not in GOES:
        # A short stop leaves less time than the usual countdown: read out at once then, and keep a fair window.
        begin = max(begin, _soon(at, at.release_s or 0.0))
        by = max(by, begin + MIN_WINDOW_S)
    return CallSpec(
        key=key,
        kind=kind,
        text=text,
        short=short,
        place="garage",
        say_from_s=begin,
        say_by_s=by,
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        act_at_s=at.release_s,
        run=run.run.run,
        lap="garage",
        ask=ask,
        caution=caution,
        waits=waits,
    )
