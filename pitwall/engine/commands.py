"""What the desk may ask for, and its one answer: an effect in words, or a refusal that says why.

The same command from two seats is no error: the second hears what already holds.
"""

from __future__ import annotations

import math

from pitwall.engine import called_in, driven_again, handover, hold_evidence, items
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.answers import Answer, Handler, Refusal
from pitwall.engine.call import SAID_GRACE_S, Call
from pitwall.engine.calling_again import hold_release
from pitwall.engine.comment_commands import HANDLERS as COMMENT_HANDLERS
from pitwall.engine.crew_seen import seen
from pitwall.engine.item_evidence import word_suffices
from pitwall.engine.owed_commands import HANDLERS as OWED_HANDLERS
from pitwall.engine.parts import part_said
from pitwall.engine.plan_commands import HANDLERS as PLAN_HANDLERS
from pitwall.engine.plan_commands import demand_current
from pitwall.engine.plan_guards import meant
from pitwall.engine.talk_times import PUSH_TO_TALK
from pitwall.engine.team import TeamCar
from pitwall.model.events import CommandGiven
from pitwall.model.units import clock_text

__all__ = ["Answer", "Refusal", "answer"]

MOST_NAMED = 4
"""So many of the calls that come next are named to a hand that named none of them."""
SHELVED_S = 600.0
"""For so long an alert is shelved when the desk does not say."""


def answer(command: CommandGiven, car: TeamCar, alerts: AlertBook, now: float) -> Answer:
    """Carry out one command.

    Raises:
        Refusal: with the reason in words.
    """
    if command.command == "acknowledge":
        return _acknowledge(command, alerts, now)
    if command.command == "shelve":
        return _shelve(command, alerts, now)
    if command.command == "take_over":
        return Answer(handover.take_over(car, command.by, alerts))
    handler = _HANDLERS.get(command.command)
    if handler is None:
        raise Refusal(f"{command.command} is not taken yet")
    return handler(command, car, now)


def call_meant(command: CommandGiven, car: TeamCar, now: float) -> Call | None:
    """The call that a command is about: the one that it names, else the one that is talked of or due first."""
    if command.call is not None:
        return car.book.find(command.call)
    counted = car.channel.times.meant(car.book, now) if command.command == "said" else None
    return counted or car.book.due_first()


def _call(command: CommandGiven, car: TeamCar, now: float) -> Call:
    call = call_meant(command, car, now)
    if call is None and command.call is None:
        raise Refusal(f"no call is due; name one in 'call'{_there(car)}")
    if call is None:
        raise Refusal(f"no call {command.call!r} for car {car.car}{_there(car)}")
    return call


def _there(car: TeamCar) -> str:
    """The calls that may be named. Ids of calls all look alike: the nearest one says nothing, those that wait for a
    hand do."""
    known = [call.id for call in car.book.outstanding()][:MOST_NAMED]
    return f" (there are: {', '.join(known)})" if known else ""


def _said(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    call = _call(command, car, now)
    if call is car.channel.times.meant(car.book, now) and (call.open or call.said_by == PUSH_TO_TALK):
        car.book.keys += 1  # the same talk, and now its key
        call.said_by = call.said_by and command.by
        return Answer(f"{call.id} said" if not call.open else f"{call.id}: this part is counted already")
    if call.state in ("said", "done", "late"):
        return Answer(f"{call.id} is {call.state} already" + (f", by {call.said_by}" if call.said_by else ""))
    if call.state in ("withdrawn", "missed", "skipped"):
        return _noted(command, car, call)
    # Late is what can no longer be acted on; outside its best window but still of use is in time.
    in_time = max(call.spec.last_moment_s, call.spec.latest_s or 0.0)
    said_t = min(command.t, now)
    if call.spec.parts[1:] and call.state in ("shown", "due"):
        _keyed(car, call, command.by, said_t)
        part_said(car.book, call, now, f"said by {command.by}", command.id)
        car.book.keys += 1
        return Answer(f"{call.id}: part {call.parts_said} said; what remains comes in the next stretch")
    late = said_t > in_time + call.spec.spoken_s + SAID_GRACE_S
    signal = "said_late" if late and call.state in ("shown", "due", "unconfirmed") else "said"
    if not car.signal(call, signal, now, f"said by {command.by}", command.id):
        raise Refusal(f"{call.id} is {call.state}: it cannot be said any more")
    call.said_t, call.said_by = said_t, command.by
    _keyed(car, call, command.by, call.said_t)
    car.book.keys += 1
    return Answer(f"{call.id} {'said late' if late else 'said'}")


def _keyed(car: TeamCar, call: Call, by: str, t: float) -> None:
    """The key of a call was pressed, by whoever has the radio where nobody has taken it over by name."""
    if car.engineer is None:
        car.channel.waits.is_with(by)
    if not car.channel.talk.known:
        car.channel.waits.keyed(call, t)
    car.channel.times.key(call, by, t)


def _noted(command: CommandGiven, car: TeamCar, call: Call, answered: bool = False) -> Answer:
    """The call left the stack while it was being spoken: what was said was said, and what it asked to be moved stands
    there now, whatever the plan wants since."""
    call.said_by = call.said_by or command.by
    call.said_t = command.t if call.said_t is None else call.said_t
    car.switches.told(call.spec.asked, answered, command.t, None)
    items.said_all_the_same(car.progress.runs, call, command.t)
    why = f"noted; {call.id} was {call.state}: {call.reason or 'no reason given'}"
    return Answer(why)


def _skip(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    call = _call(command, car, now)
    if call.state == "skipped":
        return Answer(f"{call.id} is skipped already")
    if not car.signal(call, "skip", now, f"skipped by {command.by}", command.id):
        raise Refusal(f"{call.id} is {call.state}: it cannot be skipped any more")
    return Answer(f"{call.id} skipped")


def _defer(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    call = _call(command, car, now)
    if call.spec.kind in ("box", "session", "safety", "stop"):
        raise Refusal(f"a {call.spec.kind} call cannot be deferred; skip it, or change the plan")
    if not call.open:
        raise Refusal(f"{call.id} is {call.state}: it cannot be deferred any more")
    shift = car.book.defer(call, now, f"deferred by {command.by}", command.id)
    if shift > 0:
        return Answer(f"{call.id} deferred by {shift:.0f} s")
    if call.spec.item is None:
        raise Refusal(f"{call.id} cannot wait: it must be said by {call.spec.say_by_s:.0f} s")
    car.signal(call, "withdraw", now, f"deferred by {command.by}", command.id)
    return Answer(f"{call.id} deferred: it comes back on the next lap of the run that allows it, if there is one")


def _repeat(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    call = _call(command, car, now)
    if call.open:
        return Answer(f"{call.id} is {call.state}: still to be said")
    if call.spec.kind == "box" and call.spec.act_at_s is not None and now + call.spec.spoken_s > call.spec.act_at_s:
        raise Refusal("too late for the pit entry: say nothing until the car is past it")
    if not car.book.repeat(call, now, f"repeat asked by {command.by}", command.id):
        raise Refusal(f"{call.id} is {call.state}: it cannot be repeated")
    return Answer(f"{call.id} is due again")


def _confirm(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    call = car.book.find(command.call) if command.call else _last_said(car)
    if call is None:
        raise Refusal("nothing was said that could be confirmed; name a call in 'call'")
    of = items.find_item(car.progress.runs, call.spec.item)
    if of is not None and hold_evidence.insisted(of[1], call, command.by, now):
        car.signal(call, "evidence", now, f"confirmed, {command.by}", command.id)
        return Answer(f"{of[1].item.do} of {of[0].run.run} is done, by your word: {of[1].reason}", plan_changed=True)
    if call.state == "done":
        # A hold that was told long ago is only probably done: the driver's word comes late, and settles it.
        found = items.find_item(car.progress.runs, call.spec.item)
        if found is not None and driven_again.void(found[1], call.said_t):
            raise Refusal(driven_again.why_void(found[1], call.id))
        settles = found is not None and word_suffices(car.setup.procedures.get(found[1].item.do))
        if found is not None and settles and found[1].signal("confirm", now, f"confirmed, {command.by}"):
            return Answer(f"{found[1].item.do} of {found[0].run.run} is done: confirmed", plan_changed=True)
        if found is not None and found[1].state == "not_done":
            raise Refusal(f"{found[1].item.do} of {found[0].run.run} was not done: {found[1].reason}")
        return Answer(f"{call.id} is done already")
    if call.state in ("withdrawn", "missed", "skipped"):
        return _noted(command, car, call, answered=True)
    call.confirmed = True
    if not car.signal(call, "evidence", now, f"confirmed, {command.by}", command.id):
        call.confirmed = False
        raise Refusal(f"{call.id} is {call.state}: it cannot be confirmed")
    return Answer(f"{call.id} confirmed")


def _last_said(car: TeamCar) -> Call | None:
    said = [call for call in car.book.calls.values() if call.state in ("said", "unconfirmed", "late")]
    return max(said, key=lambda call: (call.said_t or call.ended_t or 0.0, call.id), default=None)


def _quiet(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    car.quiet = not car.quiet
    return Answer("quiet: session, safety and box calls only" if car.quiet else "quiet is over: all calls again")


def _box(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    if not car.track.on_track:
        raise Refusal(f"car {car.car} is not on track")
    run = car.progress.current
    if run is None:
        raise Refusal(f"car {car.car} is on no run of the plan; tell the driver yourself")
    if run.expected_kind == "in":
        run.flag_was_s = math.inf  # not for the flag alone any more
        return Answer(f"car {car.car} is to box this lap already", did_nothing=True)
    last = car.track.earliest(car.lap_map.last_chance)
    past = car.track.seen_phase > car.lap_map.last_chance or (last is not None and now > last)
    if past and car.plan.medium != "board" and len(car.legs) > 1 and car.legs[1].kind == "in":
        # The command and the word that the car is over the line cross each other: it was given for that very lap.
        return Answer(f"{run.run.run}: too late for the pit entry on this lap: say nothing until the car is past it; "
                      "the next lap is the in-lap already, and nothing moves", did_nothing=True)
    run.boxed_past = past and car.plan.medium != "board"
    car.progress.box_now()
    car.track.move("called_in")
    if car.plan.medium == "board":
        late = "no board can be shown for this lap any more: the box moves one lap, its board hangs at the next pass"
        return Answer(f"{run.run.run}: {late}", plan_changed=True)
    if past:
        late = "too late for the pit entry on this lap: say nothing until the car is past it; the box moves one lap"
        return Answer(f"{run.run.run}: {late}", plan_changed=True)
    return Answer(f"{run.run.run}: box this lap", plan_changed=True)


def _extend(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    return _change_laps(command, car, +(command.laps or 1), now)


def _shorten(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    return _change_laps(command, car, -(command.laps or 1), now)


def _change_laps(command: CommandGiven, car: TeamCar, by: int, now: float) -> Answer:
    name = command.run
    run = car.progress.find(name) if name else (car.progress.current or car.progress.next)
    if run is None:
        raise Refusal(
            _no_run(name, car)
            if name
            else "no run is going on or to come; name one in 'run'"
        )
    if run.state in ("done", "dropped", "skipped"):
        raise Refusal(f"run {run.run.run} is {run.state}")
    demand_current(command, car)
    was_in = run.expected_kind == "in"
    planned = {item.key: run.item_label(item) for item in run.items if item.state == "planned"}
    if not car.progress.change_laps(run, by, now):
        raise Refusal(
            f"run {run.run.run} cannot be {'extended' if by > 0 else 'shortened'} by {abs(by)}: "
            f"{_timed(run.timed_wanted)}, on lap {run.pointer + 1} of {len(run.laps)}"
        )
    if was_in and run.expected_kind != "in":
        car.track.move("let_run")
    lost = [f"{item.item.do} on {planned[item.key]}" for item in run.items
            if item.key in planned and item.state in ("dropped", "not_done")]
    told = f"; not done, for its lap falls away: {', '.join(lost)}" if lost else ""
    if run.too_short:
        told = f"; with fewer than {run.run.shorten_to} ('shorten_to' of the plan) it does not count as driven{told}"
    told += called_in.words(car, now) if was_in else ""
    return Answer(f"run {run.run.run}: now {_timed(run.timed_wanted)}{told}", plan_changed=True)


def _timed(laps: int) -> str:
    return f"{laps} timed lap{'' if laps == 1 else 's'}"


def _drop(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    reason = f"dropped by {command.by}" + (f": {command.text}" if command.text else "")
    if command.item is not None:
        return _drop_item(command, car, now, reason)
    found = car.progress.find(command.run or "")
    if found is None and command.run:
        raise Refusal(_no_run(command.run, car))
    if found is None:
        raise Refusal("say what to drop: 'run', or 'item' with or without its 'run'")
    if found.state == "dropped":
        return Answer(f"run {found.run.run} is dropped already")
    if found.state == "running":
        raise Refusal(f"run {found.run.run} is on track: box the car, or shorten the run")
    if not car.progress.drop_run(found, now, reason):
        raise Refusal(f"run {found.run.run} is {found.state}: it cannot be dropped")
    car.since_s = now
    return Answer(f"run {found.run.run} dropped", plan_changed=True)


def _no_run(name: str, car: TeamCar) -> str:
    return f"no run {name!r} in the plan of car {car.car}{meant(name, [run.run.run for run in car.progress.runs])}"


def _drop_item(command: CommandGiven, car: TeamCar, now: float, reason: str) -> Answer:
    """One item by its key, or whatever is left of one by its name and run."""
    named = [
        (run, item)
        for run in car.progress.runs
        for item in run.items
        if item.key == command.item or (run.run.run == command.run and item.item.do == command.item)
    ]
    if not named:
        known = [item.item.do if command.run else item.key for run in car.progress.runs for item in run.items
                 if command.run in (None, run.run.run)]
        raise Refusal(f"no item {command.item!r} in the plan of car {car.car}{meant(command.item or '', known)}")
    dropped = [run.item_words(item) for run, item in named if item.signal("drop", now, reason)]
    if dropped:
        car.progress.revision += 1
        return Answer(f"{', '.join(dropped)} dropped", plan_changed=True)
    run, last = named[-1]
    if all(item.state == "dropped" for _, item in named):
        return Answer(f"{run.item_words(last)} is dropped already")
    raise Refusal(f"{run.item_words(last)} is {last.state.replace('_', ' ')}: it cannot be dropped")


def _keep_in(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    if car.track.on_track:
        raise Refusal(f"car {car.car} is on track; 'box' brings it in")
    if car.kept_in:
        return Answer(f"car {car.car} is kept in already")
    car.kept_in = True
    return Answer(f"car {car.car} is kept in until 'let_go'")


def _let_go(command: CommandGiven, car: TeamCar, now: float) -> Answer:
    if not car.kept_in:
        return Answer(f"car {car.car} is not kept in")
    car.kept_in = False
    hold_release(car, now)
    return Answer(f"car {car.car} may be released again")


def _shelve(command: CommandGiven, alerts: AlertBook, now: float) -> Answer:
    if command.alert is None:
        raise Refusal("name the alert in 'alert'")
    alert = alerts.active.get(command.alert)
    if alert is None:
        raise Refusal(f"no alert {command.alert!r} is active{meant(command.alert, alerts.active)}")
    try:
        gone = alerts.shelve(command.alert, now, command.for_s or SHELVED_S, command.id)
    except ValueError as too_long:
        raise Refusal(str(too_long)) from None
    return Answer(f"shelved until {clock_text(now + (command.for_s or SHELVED_S))}: {alert.text}", tuple(gone))


def _acknowledge(command: CommandGiven, alerts: AlertBook, now: float) -> Answer:
    if command.alert is None:
        raise Refusal("name the alert in 'alert'")
    alert = alerts.active.get(command.alert) or alerts.gone.get(command.alert)
    if alert is None:
        raise Refusal(f"no alert {command.alert!r} is active{meant(command.alert, alerts.active)}")
    if alert.acknowledged:
        return Answer(f"acknowledged already: {alert.text}")
    return Answer(f"acknowledged: {alert.text}", tuple(alerts.acknowledge(command.alert, now, command.id)))


_HANDLERS: dict[str, Handler] = {
    **PLAN_HANDLERS,
    **OWED_HANDLERS,
    **COMMENT_HANDLERS,
    "said": _said,
    "skip": _skip,
    "defer": _defer,
    "repeat": _repeat,
    "confirm": _confirm,
    "quiet": _quiet,
    "box": _box,
    "extend": _extend,
    "shorten": _shorten,
    "drop": _drop,
    "keep_in": _keep_in,
    "let_go": _let_go,
    "seen": seen,
}
