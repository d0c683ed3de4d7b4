"""A car set by hand: which lap of which run it is on, its switches, its tyres, its fuel.

``set_car`` is also how a session is joined in the middle. A car of which nothing was followed yet, and that is said
to be on a run, makes the runs before that one *skipped*: pitwall was not there, and nobody calls for them again.
"""

from __future__ import annotations

from collections.abc import Callable

from pitwall.engine.answers import Answer, Refusal
from pitwall.engine.call import Call
from pitwall.engine.hand_words import lap_words, tenths
from pitwall.engine.hands import MEASURED_S, Hands
from pitwall.engine.history import Entry, follow
from pitwall.engine.plan_guards import meant
from pitwall.engine.run_state import RunState
from pitwall.engine.set_run import JOINED, begins_at_line, choose_run, put_on_lap, put_on_track
from pitwall.engine.stood import put_back, standing, stood
from pitwall.engine.switch_names import switch_named
from pitwall.engine.team import TeamCar
from pitwall.model.car import position_text, same_position
from pitwall.model.events import CommandGiven
from pitwall.model.plan import LapKind


def where(car: TeamCar) -> str:
    """Where a car is believed to be: ``car 41 on timed lap 2 of baseline``, ``car 41 in its garage, next: compare``."""
    track, run = car.track, car.progress.current
    if not track.on_track:
        place = "in the pit lane" if track.state == "pit_lane" else "in its garage"
        following = car.progress.next
        return f"car {car.car} {place}" + (f", next: {following.run.run}" if following is not None else "")
    if run is None:
        return f"car {car.car} on lap {track.lap_number}, on no run of the plan"
    kind, planned = track.lap_kind, run.lap_label(run.pointer)
    place = f"car {car.car} on {planned} of {run.run.run}"
    if kind is None or planned.startswith(lap_words(kind)):
        return place
    return f"{place}, {'an' if kind[0] in 'aeiou' else 'a'} {lap_words(kind)}"


# -- set_car -----------------------------------------------------------------------------------------------------------


def _set_car(command: CommandGiven, hands: Hands, now: float) -> Answer:
    car = hands.team[command.car]
    wished = (command.in_garage, command.run, command.lap, command.lap_kind)
    if wished == (None, None, None, None):
        raise Refusal("say what is so: 'in_garage', or the 'run' with 'lap' (1 is the out-lap) and 'lap_kind'")
    run = _run(command, car)
    on_a_lap = command.lap is not None or command.lap_kind is not None
    standing = command.in_garage if command.in_garage is not None else not car.track.on_track and not on_a_lap
    _demand_sense(command, car, run, standing)
    t = min(command.t, now)

    def act(one: TeamCar, entry: Entry) -> None:
        if standing:
            _stands(one, entry, command.run, t)
        else:
            _runs(one, entry, command, t)

    hands.hears(now)
    before, expected = _skipped(car), car.progress.current or car.progress.next
    hands.act(command, "set_car", act, now)
    skipped = [name for name in _skipped(car) if name not in before]
    # Where the car is was no change of the plan; that it drives another run than was expected is one.
    planned = run is not None and run is not expected
    _remember(command, hands, "car set", planned=planned)
    return Answer(where(car) + (f"; {', '.join(skipped)} skipped, as nobody saw them" if skipped else ""),
                  plan_changed=planned)


def _skipped(car: TeamCar) -> list[str]:
    return [run.run.run for run in car.progress.runs if run.state == "skipped" and run.reason == JOINED]


def _demand_sense(command: CommandGiven, car: TeamCar, run: RunState | None, standing: bool) -> None:
    lap = car.track.lap
    if standing and (command.lap is not None or command.lap_kind is not None):
        raise Refusal("a car in its garage is on no lap: leave out 'lap' and 'lap_kind'")
    if command.lap is not None:
        meant = run or car.progress.current or car.progress.next
        if meant is None or not 1 <= command.lap <= len(meant.laps):
            laps = "" if meant is None else f": {meant.run.run} has {len(meant.laps)} laps"
            raise Refusal(f"lap {command.lap} is no lap of the run{laps}, 1 is the out-lap")
    if command.lap_kind == "out" and car.track.on_track and lap is not None and lap.start_phase == 0:
        raise Refusal("this lap began at the line: 'undo' that, or enter the 'pit' exit with its time (--at)")


def _run(command: CommandGiven, car: TeamCar) -> RunState | None:
    if command.run is None:
        return None
    run = car.progress.find(command.run)
    names = [one.run.run for one in car.progress.runs]
    if run is None:
        raise Refusal(f"no run {command.run!r} in the plan of car {car.car}{meant(command.run, names)}")
    if not run.laps or run.state in ("done", "dropped"):
        raise Refusal(f"run {command.run} is {run.state if run.laps else 'a block without laps'}; name another")
    return run


def _stands(car: TeamCar, entry: Entry, run: str | None, t: float) -> None:
    track = car.track
    if track.on_track:
        follow(car, track.come_in(max(t, track.lap.start_t if track.lap is not None else t)), entry.clock, entry.now)
    if track.state == "pit_lane":
        follow(car, track.park(t), entry.clock, entry.now)
    if run is not None:
        choose_run(car, run, entry.now)


def _runs(car: TeamCar, entry: Entry, command: CommandGiven, t: float) -> None:
    track = car.track
    out = command.lap_kind in (None, "out", "installation") and (command.lap or 1) == 1
    if command.run is not None:
        choose_run(car, command.run, entry.now)
    from_pits = track.lap is not None and track.lap.start_phase > 0
    if not track.on_track or (from_pits and begins_at_line(car, command.lap, command.lap_kind)):
        if track.pit_entry_t is not None:
            t = max(t, track.pit_entry_t)
        happened = put_on_track(track, t, entry.clock.disturbed, from_pits=out)
        follow(car, happened, entry.clock, entry.now)
    if command.lap is not None or command.lap_kind is not None:
        put_on_lap(car, command.lap, _kind(command.lap_kind), entry.now)


def _kind(kind: LapKind | None) -> LapKind | None:
    return "in" if kind == "installation" else kind


def _remember(command: CommandGiven, hands: Hands, what: str, *, planned: bool = False) -> None:
    def back(now: float) -> str:
        entry = hands.histories[command.car].find(command.id)
        if entry is None or not hands.take_out(command.car, entry, now):
            raise Refusal(f"{what} at {tenths(command.t)} lies too far back: set it anew")
        return where(hands.team[command.car])

    hands.remember(command, what, back, planned=planned)


# -- switches, tyres, fuel ---------------------------------------------------------------------------------------------


def _set_switch(command: CommandGiven, hands: Hands, now: float) -> Answer:
    car = hands.team[command.car]
    board = car.switches
    switch = switch_named(command.switch or "", board.car.switches)
    if command.position is None or not switch.can_be_set(command.position):
        raise Refusal(f"{switch.switch} cannot stand at {command.position!r}, only at {switch.positions_text()}")
    if switch.kind == "momentary" and not same_position(command.position, switch.default):
        raise Refusal(f"{switch.word} springs back to {position_text(switch.default)}: it stays nowhere else")
    name, position = switch.switch, command.position
    measured = board.measured.get(name)
    fresh = measured is not None and now - board.measured_t.get(name, now) <= MEASURED_S
    if fresh and measured is not None:
        if same_position(measured, position):
            return Answer(f"telemetry shows {switch.word} at {position_text(position)} already")
        ago = f"{now - board.measured_t[name]:.0f} s ago"
        shown = position_text(measured)
        raise Refusal(f"telemetry shows {switch.word} at {shown}, {ago}, and counts: enter what it does not measure")
    before = stood(board, name)
    board.measured.pop(name, None)
    board.measured_t.pop(name, None)
    board.said(name, position, sure=True)
    left = standing(board, before)
    hands.positions[car.car, name] = (position, command.by)
    unsaid = _see_positions(car, name, now)

    def back(now: float) -> str:
        if hands.positions.pop((car.car, name), None) is None:
            raise Refusal(f"{switch.word} stands as telemetry shows it since")
        put_back(board, before, left)
        for call in unsaid:
            call.unfounded = True  # nobody made it: still wanted, it comes again
        stands = board.stands(name)
        return f"{switch.word} at {position_text(stands) if stands is not None else 'an unknown position'}"

    hands.remember(command, f"{switch.word} {position_text(position)}", back)
    return Answer(f"{switch.word} stands at {position_text(position)}")


def _see_positions(car: TeamCar, name: str, now: float) -> list[Call]:
    """Calls that asked for this position, and whose others are known to stand, are done. Those that nobody had said."""
    board, unsaid = car.switches, list[Call]()
    for call in list(car.book.calls.values()):
        asked = call.spec.asked
        if call.state not in ("due", "said", "unconfirmed", "late") or name not in asked:
            continue
        sure = all(one in board.verified and same_position(board.stands(one), to) for one, to in asked.items())
        if sure and call.spec.ask.action != "procedure":
            unsaid += [call] if call.said_t is None else []
            car.signal(call, "evidence", now, "seen by hand")
    return unsaid


def _set_tyres(command: CommandGiven, hands: Hands, now: float) -> Answer:
    car = hands.team[command.car]
    known = sorted(car.plan.tyre_sets)
    tyres = command.tyres or car.carried.tyres
    if tyres is None:
        raise Refusal(f"say which set in 'tyres'; the plan has {', '.join(known) or 'none'}")
    if tyres not in known and tyres != car.carried.tyres and command.tyre_laps is None:
        sets = ", ".join(known) or "none"
        raise Refusal(f"no set {tyres!r} in the plan, which has {sets}; of another, say its laps in 'tyre_laps'")
    laps = command.tyre_laps

    def act(one: TeamCar, entry: Entry) -> None:
        worn = tyres == one.carried.tyres
        done = one.carried.tyre_laps(one.track) if worn else one.carried.done_on(tyres, one.plan)
        one.carried.fit(tyres, laps if laps is not None else done or 0, one.track)
        one.carried.by_hand("tyres")

    hands.act(command, "set_tyres", act, now)
    _remember(command, hands, f"tyres {tyres}")
    return Answer(f"car {car.car} on {tyres}, {car.carried.tyre_laps(car.track)} laps old")


def _set_fuel(command: CommandGiven, hands: Hands, now: float) -> Answer:
    car, fuel_kg = hands.team[command.car], command.fuel_kg
    if fuel_kg is None:
        raise Refusal("say how much is in the car in 'fuel_kg'")
    most = car.switches.car.most_fuel_kg(car.setup.duration_s, car.track.pace.quick_s())
    if fuel_kg > most and not (command.text or "").strip():
        raise Refusal(f"{fuel_kg:g} kg are more than laps without a stop burn in twice the session ({most:.0f} kg); if "
                      "that is so, enter it again and say why in 'text'")

    def act(one: TeamCar, entry: Entry) -> None:
        one.carried.fill(fuel_kg, one.track)
        one.carried.by_hand("fuel")

    hands.act(command, "set_fuel", act, now)
    _remember(command, hands, f"fuel {fuel_kg:g} kg")
    per_lap, reserve = car.switches.car.fuel_per_lap_kg, car.switches.car.fuel_reserve_kg
    laps = f", about {max(0.0, fuel_kg - reserve) / per_lap:.1f} laps to the reserve" if per_lap else ""
    return Answer(f"car {car.car}: {fuel_kg:g} kg{laps}")


HANDLERS: dict[str, Callable[[CommandGiven, Hands, float], Answer]] = {
    "set_car": _set_car,
    "set_switch": _set_switch,
    "set_tyres": _set_tyres,
    "set_fuel": _set_fuel,
}
