"""Every state table of the engine, in one place; the theory first.

A *table* maps (state, signal) to the next state. States and signals are plain words. A pair that is not in the table
is illegal: ``step`` raises IllegalTransition, because the caller should not have let it happen. Signals that come
from outside (a feed may send anything in any order) therefore have a row in **every** state; signals that pitwall gives
itself have rows only where they make sense. Guards, the questions that choose between two signals, are named
functions beside the code that knows the answer (``engine/car.py``, ``engine/calls.py``).

Five tables:

* ``SESSION``: status of the session as race control gives it. Closed is final.
* ``CAR``: where a car is. The *outside* signals are pit_exit, pit_entry, line, loop, lane_line, silence; judgement and
  plan give judged_timed, judged_cool, called_in, let_run, parked.
* ``CALL``: the life of a call. Nobody presses "said" for every call, so a call whose time passed without evidence is
  *unconfirmed* until what happens next settles it; it never raises an alarm by itself.
* ``RUN``: a run of the plan. * ``ITEM``: one item on one lap.

``diagram`` draws any of them in Mermaid for the documents, from the table itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from pitwall.errors import IllegalTransition

Table = Mapping[tuple[str, str], str]


def _table(rows: Iterable[tuple[str, str, str]]) -> Table:
    """Rows of (states separated by blanks, signal, next state; ``=`` stays) as a frozen table."""
    made: dict[tuple[str, str], str] = {}
    for states, signal, target in rows:
        for state in states.split():
            if (state, signal) in made:
                raise ValueError(f"two rows for {state!r} on {signal!r}")
            made[state, signal] = state if target == "=" else target
    return MappingProxyType(made)


_OPEN = "waiting green yellow slow red finished"
SESSION = _table(
    [
        (_OPEN, "waiting", "waiting"),
        (_OPEN, "green", "green"),
        (_OPEN, "yellow", "yellow"),
        (_OPEN, "slow", "slow"),
        (_OPEN, "red", "red"),
        (_OPEN, "finished", "finished"),
        (_OPEN + " closed", "closed", "closed"),
    ]
)
"""Race control may go from any open status to any other (a session may be stopped before it began, or resumed after a
finish in parts). Nothing follows closed but closed."""

_TRACK = "out timed cool in out_in"
CAR = _table(
    [
        ("garage pit_lane stopped " + _TRACK, "pit_exit", "out"),
        ("garage pit_lane stopped " + _TRACK, "pit_entry", "pit_lane"),
        # A line seen from the garage: the pit exit was missed. After the line a lap is taken as timed until judged.
        ("garage pit_lane stopped " + _TRACK, "line", "timed"),
        # A loop seen from the garage or after a stop: the car is on a lap whose beginning nobody saw.
        ("garage pit_lane stopped", "loop", "out"),
        (_TRACK, "loop", "="),
        # The finish line beside the pit lane sees cars that came in.
        ("garage pit_lane", "lane_line", "="),
        ("stopped " + _TRACK, "lane_line", "timed"),
        (_TRACK, "silence", "stopped"),
        ("garage pit_lane stopped", "silence", "="),
        ("pit_lane", "parked", "garage"),
        # A car that had fallen silent on a lap from the line is seen on it again: timed until judged, as at the line.
        ("timed cool in stopped", "judged_timed", "timed"),
        ("timed cool", "judged_cool", "cool"),
        ("timed cool in", "called_in", "in"),
        ("out out_in", "called_in", "out_in"),
        ("in", "let_run", "timed"),
        ("out_in", "let_run", "out"),
    ]
)
CAR_OUTSIDE = ("pit_exit", "pit_entry", "line", "loop", "lane_line", "silence")
CAR_INSIDE = ("parked", "judged_timed", "judged_cool", "called_in", "let_run")

_OPEN_CALL = "planned shown due"
CALL = _table(
    [
        ("planned", "lead", "shown"),
        ("planned shown", "open", "due"),
        ("shown due", "retimed", "planned"),
        # The rest of it is still to be said, in the next stretch.
        ("shown due", "part_said", "planned"),
        (_OPEN_CALL, "said", "said"),
        ("unconfirmed", "said", "said"),
        ("shown due unconfirmed", "said_late", "late"),
        ("said late unconfirmed", "repeat", "due"),
        # The key was a slip, taken back at once: whatever is still of use is offered again.
        ("said", "unsaid", "withdrawn"),
        ("shown due", "expired", "unconfirmed"),
        # What it asked for happened, and nobody says that the driver was told: he may have seen the flags.
        ("due unconfirmed", "came_in", "unconfirmed"),
        (_OPEN_CALL, "passed", "missed"),
        ("planned", "gap", "missed"),
        ("shown due", "gap", "late"),
        ("unconfirmed", "gap", "unconfirmed"),
        (_OPEN_CALL + " unconfirmed", "skip", "skipped"),
        (_OPEN_CALL, "withdraw", "withdrawn"),
        (_OPEN_CALL + " said unconfirmed late", "evidence", "done"),
        ("said", "settle", "done"),
        ("unconfirmed", "settle", "unconfirmed"),
        ("late", "settle", "late"),
    ]
)
CALL_REST = ("unconfirmed", "late", "missed", "skipped", "withdrawn", "done")
"""States in which a call may be left for ever. Unconfirmed and late may still be settled by later evidence."""
CALL_OPEN = ("planned", "shown", "due")
CALL_FINAL = ("missed", "skipped", "withdrawn", "done")

RUN = _table(
    [
        ("planned", "choose", "next"),
        ("next", "unchoose", "planned"),
        ("planned next cut skipped", "leave", "running"),
        ("running", "complete", "done"),
        ("running", "break_off", "cut"),
        # The car is seen to be on another run; a run that had ended early goes on.
        ("running", "put_back", "planned"),
        ("done", "resume", "running"),
        ("cut", "choose", "next"),
        ("next cut", "give_up", "done"),
        ("planned next", "skip", "skipped"),
        ("planned next cut running", "drop", "dropped"),
    ]
)

ITEM = _table(
    [
        ("planned", "call", "called"),
        ("planned called probably_done", "confirm", "done"),
        # Telemetry shows that the switch was elsewhere, whoever said that it was done.
        ("called done probably_done", "not_set", "not_done"),
        # So do the loops of a lap that was driven at full pace.
        ("called done probably_done", "contradicted", "not_done"),
        ("called", "lap_over", "probably_done"),
        ("planned", "lap_over", "not_done"),
        ("called", "call_lost", "planned"),
        # Its lap was spoilt and is driven again: what was said of it is for the lap to come.
        ("called done probably_done", "spoilt", "called"),
        ("planned called", "drop", "dropped"),
        ("planned called", "fail", "not_done"),
        ("not_done", "retry", "planned"),
    ]
)

TABLES: Mapping[str, Table] = MappingProxyType({"session": SESSION, "car": CAR, "call": CALL, "run": RUN, "item": ITEM})


def states(table: Table) -> tuple[str, ...]:
    """Every state a table speaks of, sorted."""
    return tuple(sorted({state for state, _ in table} | set(table.values())))


def signals(table: Table) -> tuple[str, ...]:
    """Every signal a table speaks of, sorted."""
    return tuple(sorted({signal for _, signal in table}))


def allowed(table: Table, state: str, signal: str) -> bool:
    """True when the table has a row for this pair."""
    return (state, signal) in table


def step(name: str, state: str, signal: str) -> str:
    """The next state.

    Args:
        name: which table, a key of ``TABLES``.
        state: where we are.
        signal: what happened.

    Raises:
        IllegalTransition: when the table has no row for it.
    """
    try:
        return TABLES[name][state, signal]
    except KeyError:
        raise IllegalTransition(name, state, signal) from None


def diagram(name: str) -> str:
    """The table as a Mermaid state diagram; one arrow for each pair of states, its signals joined."""
    arrows: dict[tuple[str, str], list[str]] = {}
    for (state, signal), target in sorted(TABLES[name].items()):
        if state != target:
            arrows.setdefault((state, target), []).append(signal)
    lines = [f"    {state} --> {target}: {', '.join(found)}" for (state, target), found in sorted(arrows.items())]
    return "\n".join(["stateDiagram-v2", *lines])
