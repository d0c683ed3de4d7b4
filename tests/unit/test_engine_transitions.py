"""The state tables: what is not written is refused, what comes from outside is always taken, and nothing is a trap."""

from __future__ import annotations

import itertools

import pytest

from pitwall.engine import transitions as tables
from pitwall.engine.transitions import TABLES, step
from pitwall.errors import IllegalTransition, InternalError

FIRST = {"session": "waiting", "car": "garage", "call": "planned", "run": "planned", "item": "planned"}
ILLEGAL = [
    (name, state, signal)
    for name, table in TABLES.items()
    for state, signal in itertools.product(tables.states(table), tables.signals(table))
    if (state, signal) not in table
]
LEGAL = [(name, state, signal, target) for name, table in TABLES.items() for (state, signal), target in table.items()]


@pytest.mark.parametrize(("name", "state", "signal"), ILLEGAL)
def test_what_the_table_does_not_hold_is_illegal(name: str, state: str, signal: str) -> None:
    """Every pair of a known state and a known signal without a row raises, naming table, state and signal."""
    with pytest.raises(IllegalTransition) as caught:
        step(name, state, signal)
    assert (caught.value.table, caught.value.state, caught.value.signal) == (name, state, signal)
    assert isinstance(caught.value, InternalError)
    assert not tables.allowed(TABLES[name], state, signal)


@pytest.mark.parametrize(("name", "state", "signal", "target"), LEGAL)
def test_what_the_table_holds_is_taken(name: str, state: str, signal: str, target: str) -> None:
    """Each row of each table leads where it says."""
    assert step(name, state, signal) == target
    assert tables.allowed(TABLES[name], state, signal)


@pytest.mark.parametrize("name", TABLES)
def test_an_unknown_word_is_illegal(name: str) -> None:
    """A state or signal that no table speaks of is refused, not guessed at."""
    for state, signal in (("asleep", tables.signals(TABLES[name])[0]), (FIRST[name], "sing")):
        with pytest.raises(IllegalTransition):
            step(name, state, signal)


@pytest.mark.parametrize(("state", "signal"), [*itertools.product(tables.states(tables.CAR), tables.CAR_OUTSIDE)])
def test_outside_signals_are_taken_in_every_car_state(state: str, signal: str) -> None:
    """A feed may send anything in any order, so each of its signals has a row in every state of a car."""
    assert tables.allowed(tables.CAR, state, signal)


def test_car_signals_are_outside_or_inside() -> None:
    """The two lists together name each car signal once."""
    assert sorted((*tables.CAR_OUTSIDE, *tables.CAR_INSIDE)) == list(tables.signals(tables.CAR))


@pytest.mark.parametrize("status", ["waiting", "green", "yellow", "slow", "red", "finished", "closed"])
def test_every_status_may_be_sent_while_the_session_is_open(status: str) -> None:
    """Race control may go from any open status to any other; after closed only closed is taken."""
    for state in tables.states(tables.SESSION):
        assert tables.allowed(tables.SESSION, state, status) == (state != "closed" or status == "closed")


@pytest.mark.parametrize("state", tables.CALL_FINAL)
def test_a_final_call_has_no_way_out(state: str) -> None:
    """Missed, skipped, withdrawn and done calls stay what they are."""
    assert [signal for (one, signal) in tables.CALL if one == state] == []


def test_a_call_at_rest_only_leaves_on_evidence_or_a_hand() -> None:
    """Unconfirmed and late calls change by evidence or by the engineer's keys; time alone moves them nowhere."""
    for state in set(tables.CALL_REST) - set(tables.CALL_FINAL):
        ways = {signal for (one, signal), target in tables.CALL.items() if one == state and target != state}
        assert ways <= {"said", "said_late", "skip", "evidence", "repeat"}


def test_call_states_are_open_said_or_at_rest() -> None:
    """Open, said and resting states together are all the states there are, without overlap."""
    together = [*tables.CALL_OPEN, "said", *tables.CALL_REST]
    assert sorted(together) == list(tables.states(tables.CALL))
    assert set(tables.CALL_FINAL) < set(tables.CALL_REST)


@pytest.mark.parametrize("name", TABLES)
def test_every_state_can_be_reached(name: str) -> None:
    """From the first state some chain of signals leads to each other one."""
    table, seen, edge = TABLES[name], {FIRST[name]}, [FIRST[name]]
    while edge:
        state = edge.pop()
        for (one, _), target in table.items():
            if one == state and target not in seen:
                seen.add(target)
                edge.append(target)
    assert sorted(seen) == list(tables.states(table))


@pytest.mark.parametrize(("name", "ends"), [
    ("session", {"closed"}), ("call", set(tables.CALL_REST)), ("run", {"done", "skipped", "dropped"}),
    ("item", {"done", "not_done", "dropped", "probably_done"}),
])  # fmt: skip
def test_every_state_can_come_to_an_end(name: str, ends: set[str]) -> None:
    """No state is a trap: from each there is a way to one in which the thing may be left for ever."""
    table, can_end = TABLES[name], set(ends)
    while True:
        more = {state for (state, _), target in table.items() if target in can_end} - can_end
        if not more:
            break
        can_end |= more
    assert sorted(can_end) == list(tables.states(table))


@pytest.mark.parametrize("name", TABLES)
def test_the_diagram_draws_each_arrow_of_its_table(name: str) -> None:
    """One arrow for each pair of states, with every signal that leads along it; a signal that stays draws none."""
    lines = tables.diagram(name).splitlines()
    drawn = set()
    for line in lines[1:]:
        arrow, _, words = line.strip().partition(": ")
        state, _, target = arrow.partition(" --> ")
        drawn |= {(state, signal, target) for signal in words.split(", ")}
    rows = {(state, signal, target) for (state, signal), target in TABLES[name].items() if state != target}
    assert lines[0] == "stateDiagram-v2"
    assert drawn == rows
    assert len(lines) - 1 == len({(state, target) for state, _, target in rows})


def test_a_table_with_two_rows_for_one_pair_cannot_be_written() -> None:
    """A contradiction in a table is found when the module is read, not when a car happens on it."""
    with pytest.raises(ValueError, match="two rows for 'a' on 'go'"):
        tables._table([("a b", "go", "b"), ("a", "go", "=")])


def test_tables_cannot_be_changed() -> None:
    """The tables are read-only for everyone."""
    with pytest.raises(TypeError):
        tables.CAR["garage", "fly"] = "out"  # type: ignore[index]  # that is what is tested
