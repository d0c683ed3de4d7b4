"""Any specs, moments and signals leave the book of calls in order."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.call import CallSpec
from pitwall.engine.calls import CallBook
from pitwall.engine.transitions import CALL, CALL_FINAL, CALL_OPEN, CALL_REST, signals

WINDOW = st.tuples(st.floats(0, 300), st.floats(0, 30))
SPECS = st.lists(
    st.tuples(
        st.sampled_from(["a", "b", "c"]), WINDOW, st.sampled_from(["box", "procedure", "pace", "session"]),
        st.sampled_from(["Hold.", "Stay out."]), st.integers(0, 3), st.none() | st.integers(1, 4),
        st.none() | st.floats(0, 60), st.sampled_from([None, "Too late."]),
    ),
    max_size=4,
)  # fmt: skip
DONE = st.one_of(
    st.tuples(st.just("rules"), SPECS, st.sampled_from(["", "red flag"]), st.booleans()),
    st.tuples(st.just("signal"), st.sampled_from(signals(CALL)), st.integers(0, 9)),
    st.tuples(st.just("repeat"), st.integers(0, 9)),
    st.tuples(st.just("defer"), st.integers(0, 9)),
    st.tuples(st.just("gap"), st.floats(0, 100)),
)
SCRIPT = st.lists(st.tuples(st.floats(0, 25), DONE), max_size=30)


def made(drawn: Any) -> CallSpec:
    """A spec from what was drawn."""
    key, (begin, length), kind, text, leg, lap_number, late_by, late_text = drawn
    return CallSpec(
        key=key, kind=kind, text=text, short=text, say_from_s=begin, say_by_s=begin + length, spoken_s=2.0, lead_s=10.0,
        act_at_s=begin + length + 5, run="main", leg=leg, lap_number=lap_number, late_text=late_text,
        latest_s=None if late_by is None else begin + length + late_by,
    )  # fmt: skip


def do(book: CallBook, now: float, what: Any, lap: int) -> None:
    """One thing happens to the book."""
    calls = list(book.calls.values())
    if what[0] == "rules":
        specs = {spec.key: spec for spec in map(made, what[1])}
        book.reconcile(specs.values(), now, what[2], what[3], ("main", lap % 4, lap))
    elif what[0] == "gap":
        book.after_gap(now - what[1], now)
    elif calls:
        call = calls[what[-1] % len(calls)]
        if what[0] == "signal":
            book.signal(call, what[1], now, "a reason")
        elif what[0] == "repeat":
            book.repeat(call, now, "repeat", "c")
        elif call.open:
            book.defer(call, now, "deferred", "c")


@settings(max_examples=200, deadline=None)
@given(script=SCRIPT)
def test_any_script_keeps_the_book_in_order(script: list[tuple[float, Any]]) -> None:
    """Nothing raises; revisions of a call rise one by one or more, never twice with the same id; final states stay;
    what was never shown is told only when it was missed or became late; and at the end nothing is open."""
    book, now, revisions, final = CallBook("41", 2.0), 0.0, dict[str, int](), dict[str, str]()
    published: dict[str, dict[str, Any]] = {}
    for lap, (gap, what) in enumerate(script):
        now += gap
        do(book, now, what, lap)
        book.tick(now)
        for call in book.take_changed():
            prompt = call.prompt(now)
            assert call.revision > revisions.get(call.id, -1)
            assert prompt.id not in published
            assert prompt.id == f"{call.id}.{call.revision}"
            assert call.shown_t is not None or prompt.state not in ("planned", "shown", "due", "withdrawn")
            revisions[call.id] = call.revision
            published[prompt.id] = prompt.model_dump(exclude={"t"})
        for name, call in book.calls.items():
            assert call.open == (name in book.live) == (call.state in CALL_OPEN)
            assert name not in final or call.state == final[name]
            if call.state in CALL_FINAL:
                final[name] = call.state
            assert call.spec.say_by_s >= call.spec.say_from_s - 1e-6
    for _ in range(3 * len(book.calls) + 3):
        following = book.next_moment(now)
        if following is None:
            break
        assert following > now
        now = following
        book.tick(now)
    assert book.next_moment(now) is None
    assert all(call.at_rest or call.state == "said" for call in book.calls.values())
    for call in book.calls.values():
        book.signal(call, "settle", now)
    assert {call.state for call in book.calls.values()} <= set(CALL_REST)


@settings(max_examples=100, deadline=None)
@given(script=SCRIPT, specs=SPECS, moment=st.floats(0, 300))
def test_the_same_rules_asked_twice_change_nothing(script: list[tuple[float, Any]], specs: Any, moment: float) -> None:
    """Asking the rules again at the same moment tells the engineer nothing new."""
    book, now = CallBook("41", 2.0), 0.0
    for lap, (gap, what) in enumerate(script):
        now += gap
        do(book, now, what, lap)
        book.tick(now)
    wanted = {spec.key: spec for spec in map(made, specs)}.values()
    now = max(now, moment)
    for _ in range(2):
        book.take_changed()
        book.reconcile(wanted, now, "", False, ("main", 1, 1))
        book.tick(now)
    assert book.take_changed() == []
